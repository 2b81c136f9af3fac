"""Dose against size: the finished lengths of a unit over its dose, with the range that was studied.

Each length has its own dash, mark and word, so that none is told by colour alone; the table beside says the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from dosewright.roof.pages.notation import label_of, number, quantity
from printing.formulary.curves import CurvePoint, DoseCurve

WIDTH, HEIGHT = 560, 300
LEFT, RIGHT, TOP, BOTTOM = 52, 96, 26, 46
TICKS = 5
ROWS = 7
MICROGRAMS_UNDER_MG = 1.0
LEAST_APART = 13.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DosePlot:
    """What a page shows of one range: the plot, and the same as a table."""

    drawing: SafeString
    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """How doses and lengths become places on the drawing."""

    doses: tuple[float, float]
    lengths: tuple[float, float]

    def x(self, dose_mg: float) -> float:
        return LEFT + (dose_mg - self.doses[0]) / (self.doses[1] - self.doses[0]) * (WIDTH - LEFT - RIGHT)

    def y(self, length_mm: float) -> float:
        low, high = self.lengths
        return HEIGHT - BOTTOM - (length_mm - low) / (high - low) * (HEIGHT - TOP - BOTTOM)


def dose_plot(curve: DoseCurve, *, name: str, ordered_mg: float | None = None) -> DosePlot | None:
    """Return the plot of one range; None where nothing of it can be drawn.

    ``ordered_mg`` is the content of one unit of an order [mg]; it is marked.
    """
    if len(curve.points) < 2:
        return None
    frame = _frame(curve, ordered_mg)
    caption = _caption(curve)
    parts = [*_range(curve, frame), *_axes(frame), *_lines(curve, frame), *_ordered(curve, frame, ordered_mg)]
    drawing = format_html(
        '<svg class="dose-plot" viewBox="0 0 {0} {1}" width="{0}" height="{1}" role="img" '
        'aria-labelledby="{2}-title {2}-desc"><title id="{2}-title">{3}</title><desc id="{2}-desc">{4}</desc>{5}</svg>',
        WIDTH,
        HEIGHT,
        f"plot-{name}",
        _("Dose against size: %(caption)s") % {"caption": caption},
        _described(curve, ordered_mg),
        format_html_join("", "{}", ((one,) for one in parts)),
    )
    columns = (_("Dose of one unit"), *(label_of(one) for one in curve.lengths), _("Layers"), _("Mass"), _("Studied"))
    return DosePlot(drawing=drawing, caption=caption, columns=columns, rows=tuple(_rows(curve)))


def _caption(curve: DoseCurve) -> str:
    one = curve.chosen
    return _("%(shape)s, rule %(rule)s, %(orientation)s on %(mount)s") % {
        "shape": one.shape,
        "rule": one.rule.replace("_", " "),
        "orientation": one.orientation,
        "mount": one.mount,
    }


def _described(curve: DoseCurve, ordered_mg: float | None) -> str:
    words = {"low": mass(float(curve.chosen.dose_min_mg)), "high": mass(float(curve.chosen.dose_max_mg))}
    text = _("Finished lengths in millimetres over the dose of one unit; studied from %(low)s to %(high)s.") % words
    if ordered_mg is not None:
        text += " " + _("The ordered dose takes %(dose)s in one unit.") % {"dose": mass(ordered_mg)}
    return text + " " + _("The table beside says the same.")


def _frame(curve: DoseCurve, ordered_mg: float | None) -> _Frame:
    doses = [one.dose_mg for one in curve.points] + ([] if ordered_mg is None else [ordered_mg])
    lengths = [value for one in curve.points for value in one.finished_mm.values()]
    room = 0.06 * (max(lengths) - min(lengths)) or 0.5
    return _Frame(doses=(min(doses), max(doses)), lengths=(max(0.0, min(lengths) - room), max(lengths) + room))


def _range(curve: DoseCurve, frame: _Frame) -> Iterator[SafeString]:
    low, high = (frame.x(float(one)) for one in (curve.chosen.dose_min_mg, curve.chosen.dose_max_mg))
    yield format_html(
        '<rect class="dose-range" x="{}" y="{}" width="{}" height="{}"/>',
        _n(low),
        TOP,
        _n(high - low),
        HEIGHT - TOP - BOTTOM,
    )
    for at in (low, high):
        yield format_html('<path class="dose-edge" d="M{} {}V{}"/>', _n(at), TOP, HEIGHT - BOTTOM)
    yield format_html(
        '<text class="dose-note" text-anchor="middle" x="{}" y="{}">{}</text>',
        _n((low + high) / 2),
        TOP - 8,
        _("studied range"),
    )


def _axes(frame: _Frame) -> Iterator[SafeString]:
    yield format_html('<path class="dose-axis" d="M{0} {1}V{2}H{3}"/>', LEFT, TOP, HEIGHT - BOTTOM, WIDTH - RIGHT)
    small = frame.doses[1] < MICROGRAMS_UNDER_MG
    factor, unit = (1000.0, _("micrograms")) if small else (1.0, "mg")
    for value in ticks(frame.doses[0] * factor, frame.doses[1] * factor):
        x = _n(frame.x(value / factor))
        yield format_html('<path class="dose-axis" d="M{} {}v5"/>', x, HEIGHT - BOTTOM)
        yield format_html('<text text-anchor="middle" x="{}" y="{}">{}</text>', x, HEIGHT - BOTTOM + 18, _text(value))
    for value in ticks(*frame.lengths):
        y = frame.y(value)
        yield format_html('<path class="dose-axis" d="M{} {}h-5"/>', LEFT, _n(y))
        yield format_html('<text text-anchor="end" x="{}" y="{}">{}</text>', LEFT - 8, _n(y + 4), _text(value))
    yield format_html(
        '<text text-anchor="middle" x="{}" y="{}">{}</text>',
        (LEFT + WIDTH - RIGHT) // 2,
        HEIGHT - 8,
        _("dose of one unit, %(unit)s") % {"unit": unit},
    )
    yield format_html('<text x="{}" y="{}">{}</text>', 4, TOP - 8, "mm")


def _lines(curve: DoseCurve, frame: _Frame) -> Iterator[SafeString]:
    ends = _apart([frame.y(curve.points[-1].finished_mm[one]) for one in curve.lengths])
    for place, length in enumerate(curve.lengths):
        path = "L".join(f"{_n(frame.x(p.dose_mg))} {_n(frame.y(p.finished_mm[length]))}" for p in curve.points)
        yield format_html('<path class="dose-line dose-line-{}" d="M{}"/>', place, path)
        yield format_html(
            '<text x="{}" y="{}">{}</text>', WIDTH - RIGHT + 8, _n(ends[place] + 4), label_of(length).lower()
        )


def _ordered(curve: DoseCurve, frame: _Frame, ordered_mg: float | None) -> Iterator[SafeString]:
    if ordered_mg is None:
        return
    x = frame.x(ordered_mg)
    yield format_html('<path class="dose-ordered" d="M{} {}V{}"/>', _n(x), TOP, HEIGHT - BOTTOM)
    for length in curve.lengths:
        y = frame.y(between(curve.points, ordered_mg, length))
        yield format_html('<circle class="dose-dot" cx="{}" cy="{}" r="4"/>', _n(x), _n(y))


def between(points: Sequence[CurvePoint], dose_mg: float, length: str) -> float:
    """Return a finished length [mm] at a dose [mg], on the straight line between the points beside it."""
    after = next((k for k, one in enumerate(points) if one.dose_mg >= dose_mg), len(points) - 1)
    low, high = points[max(after - 1, 0)], points[after]
    if high.dose_mg == low.dose_mg:
        return high.finished_mm[length]
    share = min(max((dose_mg - low.dose_mg) / (high.dose_mg - low.dose_mg), 0.0), 1.0)
    return low.finished_mm[length] + share * (high.finished_mm[length] - low.finished_mm[length])


def _rows(curve: DoseCurve) -> Iterator[tuple[str, ...]]:
    last = len(curve.points) - 1
    ends = {float(curve.chosen.dose_min_mg), float(curve.chosen.dose_max_mg)}
    picks = {k * last // (ROWS - 1) for k in range(ROWS)}
    picks |= {k for k, one in enumerate(curve.points) if one.dose_mg in ends}
    for one in (curve.points[k] for k in sorted(picks)):
        lengths = (quantity("length_mm", round(one.finished_mm[name], 2)) for name in curve.lengths)
        studied = _("yes") if one.studied else _("no")
        yield mass(one.dose_mg), *lengths, str(one.layers), mass(one.mass_mg), studied


def mass(value_mg: float) -> str:
    """Return a mass [mg] in mg, or below one in micrograms, to four digits."""
    digits = Decimal(f"{value_mg:.4g}")
    return quantity("mass_ug", digits * 1000) if value_mg < MICROGRAMS_UNDER_MG else quantity("mass_mg", digits)


def ticks(low: float, high: float) -> list[float]:
    """Return about five round numbers from low to high."""
    step = 10.0 ** math.floor(math.log10((high - low) / TICKS))
    step *= next(one for one in (1, 2, 5, 10) if (high - low) / (step * one) <= TICKS)
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]


def _apart(places: Sequence[float]) -> list[float]:
    """Push labels apart that would lie on each other, from the top down."""
    moved = list(places)
    above = -math.inf
    for place in sorted(range(len(places)), key=lambda one: places[one]):
        moved[place] = max(places[place], above + LEAST_APART)
        above = moved[place]
    return moved


def _text(value: float) -> str:
    return number(Decimal(f"{value:.6g}"))


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
