"""The build plate drawn to scale for the plate map: zones, units, codes, front edge and a scale bar."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dosewright.ground.paper.blocks import PlateDrawing, PlateUnit, PlateZone
from dosewright.ground.paper.canvas import ACCENT, INK, QUIET, TINT, rule, text
from dosewright.ground.paper.fit import one_line
from dosewright.ground.paper.flow import Strip
from dosewright.ground.paper.fonts import BOLD, REGULAR

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

_MOST_HEIGHT_PT = 430.0
_FOOT_PT = 26.0
_CODE_PT = 6.5
_UM_PER_CM = 10_000


def plate_strip(drawing: PlateDrawing, width: float) -> Strip:
    """Return the plate as one strip no wider than `width` [pt], x to the right and y away from the operator."""
    scale = min(width / drawing.width_um, _MOST_HEIGHT_PT / drawing.depth_um)
    wide, deep = drawing.width_um * scale, drawing.depth_um * scale

    def draw(canvas: Canvas, x: float, y: float) -> None:
        left, bottom = x + (width - wide) / 2, y - deep
        canvas.saveState()
        canvas.setStrokeColorRGB(*INK)
        canvas.setLineWidth(1.0)
        canvas.rect(left, bottom, wide, deep, stroke=1, fill=0)
        for zone in drawing.zones:
            _draw_zone(canvas, zone, left, bottom, scale)
        _draw_foot(canvas, drawing, left, bottom, wide, scale)
        canvas.restoreState()

    return Strip(height=deep + _FOOT_PT, draw=draw)


def _draw_zone(canvas: Canvas, zone: PlateZone, left: float, bottom: float, scale: float) -> None:
    points = [(left + x * scale, bottom + y * scale) for x, y in zone.polygon_um]
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    path.close()
    canvas.setFillColorRGB(*TINT)
    canvas.setStrokeColorRGB(*(QUIET if zone.is_test else ACCENT))
    canvas.setLineWidth(0.9)
    canvas.setDash(*((3, 2) if zone.is_test else ()))
    canvas.drawPath(path, stroke=1, fill=1)
    canvas.setDash()
    for unit in zone.units:
        _draw_unit(canvas, unit, left, bottom, scale)
    middle = (min(x for x, _ in points) + max(x for x, _ in points)) / 2
    label = f"{zone.code} test" if zone.is_test else zone.code
    one_line(label, font=BOLD, size_pt=_CODE_PT, width=max(80.0, len(label) * _CODE_PT), field="zone")
    text(canvas, middle, min(y for _, y in points) - _CODE_PT - 0.5, label, bold=True, size_pt=_CODE_PT, align="centre")


def _draw_unit(canvas: Canvas, unit: PlateUnit, left: float, bottom: float, scale: float) -> None:
    wide, deep = (side * scale for side in unit.footprint_um)
    canvas.saveState()
    canvas.translate(left + unit.x_um * scale, bottom + unit.y_um * scale)
    canvas.rotate(unit.rotation_deg)
    canvas.setFillColorRGB(1, 1, 1)
    canvas.setStrokeColorRGB(*INK)
    canvas.setLineWidth(0.5)
    if unit.is_round:
        canvas.ellipse(-wide / 2, -deep / 2, wide / 2, deep / 2, stroke=1, fill=1)
    else:
        canvas.rect(-wide / 2, -deep / 2, wide, deep, stroke=1, fill=1)
    canvas.restoreState()


def _draw_foot(canvas: Canvas, drawing: PlateDrawing, left: float, bottom: float, wide: float, scale: float) -> None:
    size = f"{drawing.width_um / 1000:g} x {drawing.depth_um / 1000:g} mm"
    front = one_line(drawing.front, font=REGULAR, size_pt=7.0, width=wide, field="front")
    text(canvas, left + wide / 2, bottom - 10.0, front, size_pt=7.0, shade=QUIET, align="centre")
    text(canvas, left + wide, bottom - 10.0, size, size_pt=7.0, shade=QUIET, align="right")
    rule(canvas, left, left + _UM_PER_CM * scale, bottom - 8.0, width_pt=1.2, shade=INK)
    text(canvas, left, bottom - 17.0, "10 mm", size_pt=7.0, shade=QUIET)
