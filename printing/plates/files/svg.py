"""Figures as SVG: presentation attributes and classes only, because a strict content policy forbids inline style."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from xml.sax.saxutils import escape, quoteattr

from printing.plates.files.figures import Circle, Drawing, Figure, Group, Pill, Polygon, Stroke, Word

LOOKS: dict[str, str] = {
    "plate": 'fill="#f7f5f0" stroke="#33322e" stroke-width="0.5"',
    "usable": 'fill="none" stroke="#9a958a" stroke-width="0.25" stroke-dasharray="2 1.5"',
    "raft": 'fill="#d9e4e6" stroke="#2d5560" stroke-width="0.3"',
    "test-raft": 'fill="#ffffff" stroke="#5c4a1f" stroke-width="0.3"',
    "hatch": 'stroke="#b59b5a" stroke-width="0.25"',
    "tab": 'fill="#ffffff" stroke="#33322e" stroke-width="0.2"',
    "unit": 'fill="#ffffff" stroke="#1d3a42" stroke-width="0.3"',
    "test-unit": 'fill="#fff6dc" stroke="#5c4a1f" stroke-width="0.3"',
    "badge": 'fill="#1d3a42" stroke="#ffffff" stroke-width="0.3"',
    "scale": 'stroke="#33322e" stroke-width="0.4"',
    "origin": 'fill="#33322e"',
    "code": 'fill="#000000" font-family="monospace" font-weight="bold"',
    "badge-text": 'fill="#ffffff" font-family="sans-serif" font-weight="bold"',
    "note": 'fill="#1f1e1b" font-family="sans-serif"',
    "heading": 'fill="#1f1e1b" font-family="sans-serif" font-weight="bold"',
}


def svg_text(
    drawing: Drawing, *, title: str, description: str, name: str, url: Callable[[str], str] | None = None
) -> str:
    """Return `drawing` as SVG with title and description; ``name`` makes its identifiers unique on a page."""
    left, low, width, depth = drawing.window_mm
    role = "img" if url is None else "group"
    marks = f'aria-labelledby="map-{name}-title map-{name}-desc"'
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="plate-map" role="{role}" {marks} '
        f'viewBox="{_n(left)} {_n(-low - depth)} {_n(width)} {_n(depth)}" '
        f'width="{_n(width)}mm" height="{_n(depth)}mm">',
        f'<title id="map-{name}-title">{escape(title)}</title>',
        f'<desc id="map-{name}-desc">{escape(description)}</desc>',
    ]
    for group in drawing.groups:
        lines += _group(group, url)
    return "\n".join([*lines, "</svg>"]) + "\n"


def _group(group: Group, url: Callable[[str], str] | None) -> Iterator[str]:
    linked = group.zone is not None and url is not None
    if linked and url is not None and group.zone is not None:
        yield f"<a href={quoteattr(url(group.zone))} aria-label={quoteattr(group.caption)}>"
    yield f'<g class="{"plate-map-zone" if group.zone else "plate-map-plate"}">'
    if group.zone is not None:
        yield f"<title>{escape(group.caption)}</title>"
    yield from (_figure(figure) for figure in group.figures)
    yield "</g>"
    if linked:
        yield "</a>"


def _figure(figure: Figure) -> str:
    look = f'class="plate-map-{figure.role}" {LOOKS[figure.role]}'
    if isinstance(figure, Polygon):
        points = " ".join(f"{_n(x)},{_n(-y)}" for x, y in figure.corners_mm)
        return f'<polygon {look} points="{points}"/>'
    if isinstance(figure, Circle):
        return f'<circle {look} cx="{_n(figure.x_mm)}" cy="{_n(-figure.y_mm)}" r="{_n(figure.radius_mm)}"/>'
    if isinstance(figure, Pill):
        return _pill(figure, look)
    if isinstance(figure, Stroke):
        (x0, y0), (x1, y1) = figure.from_mm, figure.to_mm
        return f'<line {look} x1="{_n(x0)}" y1="{_n(-y0)}" x2="{_n(x1)}" y2="{_n(-y1)}"/>'
    return _word(figure, look)


def _pill(figure: Pill, look: str) -> str:
    x, y = figure.x_mm - figure.width_mm / 2, -figure.y_mm - figure.depth_mm / 2
    turn = _turn(figure.rotation_deg, figure.x_mm, figure.y_mm)
    return (
        f'<rect {look} x="{_n(x)}" y="{_n(y)}" width="{_n(figure.width_mm)}" height="{_n(figure.depth_mm)}" '
        f'rx="{_n(figure.round_mm)}"{turn}/>'
    )


def _word(figure: Word, look: str) -> str:
    turn = _turn(figure.rotation_deg, figure.x_mm, figure.y_mm)
    return (
        f'<text {look} x="{_n(figure.x_mm)}" y="{_n(-figure.y_mm)}" font-size="{_n(figure.size_mm)}" '
        f'text-anchor="{figure.anchor}"{turn}>{escape(figure.text)}</text>'
    )


def _turn(rotation_deg: float, x: float, y: float) -> str:
    """Return the transform attribute; SVG turns clockwise because its y runs downwards."""
    return f' transform="rotate({_n(-rotation_deg)} {_n(x)} {_n(-y)})"' if rotation_deg else ""


def _n(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text
