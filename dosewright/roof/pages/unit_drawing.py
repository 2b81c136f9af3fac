"""A unit drawn to scale: as large as it is, with a bar to check a print by, and enlarged with its lengths.

Presentation attributes and classes only, because the content policy forbids inline style.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from dosewright.roof.pages.notation import label_of, quantity
from printing.core.dose.outlines import Corner, Outline, outlines_of

EDGE_MM, APART_MM, BAR_MM, TEXT_MM = 2.0, 4.0, 10.0, 3.0
LARGE_MM = 96.0
FACTORS = (10, 8, 6, 5, 4, 3, 2)
MEASURE_MM = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitDrawing:
    """What a page shows of one unit: both drawings, by how much the second is enlarged, and the lengths in words."""

    true_size: SafeString
    enlarged: SafeString
    factor: int
    lengths: tuple[tuple[str, str], ...]


def unit_drawing(
    shape: str,
    drawn_mm: Mapping[str, float],
    finished_mm: Mapping[str, float],
    *,
    name: str,
    what: str,
    link: str = "",
) -> UnitDrawing:
    """Return the drawings of one unit.

    ``name`` makes identifiers unique on a page, ``what`` says which unit it is; with ``link`` the drawn unit leads
    there. The outlines are those of the drawn lengths; what is measured are the finished ones, and they are told.
    """
    face, side = outlines_of(shape, drawn_mm)
    lengths = tuple((label_of(length), _mm(value)) for length, value in finished_mm.items())
    told = _("%(shape)s: %(lengths)s") % {
        "shape": shape,
        "lengths": ", ".join(f"{word.lower()} {value}" for word, value in lengths),
    }
    factor = _factor(face, side)
    return UnitDrawing(
        true_size=_true_size(face, side, name=name, what=what, told=told, link=link),
        enlarged=_enlarged(face, side, factor, name=name, what=what, told=told),
        factor=factor,
        lengths=lengths,
    )


def _factor(face: Outline, side: Outline) -> int:
    wide = face.size_mm[0] + side.size_mm[0]
    return next((one for one in FACTORS if wide * one <= LARGE_MM), FACTORS[-1])


def _true_size(face: Outline, side: Outline, *, name: str, what: str, told: str, link: str) -> SafeString:
    width = max(2 * EDGE_MM + face.size_mm[0] + APART_MM + side.size_mm[0], BAR_MM + 14.0)
    tall = max(face.size_mm[1], side.size_mm[1])
    height = 2 * EDGE_MM + tall + APART_MM + TEXT_MM
    middle = EDGE_MM + tall / 2
    bodies = format_html(
        "{}{}",
        _body(face, EDGE_MM + face.size_mm[0] / 2, middle, 1.0),
        _body(side, EDGE_MM + face.size_mm[0] + APART_MM + side.size_mm[0] / 2, middle, 1.0),
    )
    if link:
        bodies = format_html('<a href="{}" aria-label="{}">{}</a>', link, what, bodies)
    low = height - EDGE_MM - TEXT_MM / 2
    bar = format_html(
        '<path class="unit-bar" d="M{0} {1}v{2}M{0} {3}h{4}M{5} {1}v{2}"/>'
        '<text x="{6}" y="{7}" font-size="{8}">{9}</text>',
        _n(EDGE_MM),
        _n(low - 1),
        _n(2.0),
        _n(low),
        _n(BAR_MM),
        _n(EDGE_MM + BAR_MM),
        _n(EDGE_MM + BAR_MM + 1.5),
        _n(low + 1),
        _n(TEXT_MM),
        _("10 mm"),
    )
    title = _("%(what)s, true size") % {"what": what}
    desc = _("%(told)s. Seen from above and from the side; printed at 100 %% the bar is 10 mm long.") % {"told": told}
    return _svg("unit-true", f"true-{name}", (width, height), title, desc, format_html("{}{}", bodies, bar), link=link)


def _enlarged(face: Outline, side: Outline, factor: int, *, name: str, what: str, told: str) -> SafeString:
    wide = [one.size_mm[0] * factor for one in (face, side)]
    tall = max(face.size_mm[1], side.size_mm[1]) * factor
    width = 2 * EDGE_MM + sum(wide) + APART_MM + 2 * MEASURE_MM + 10.0
    height = 2 * EDGE_MM + tall + 2 * MEASURE_MM
    middle = EDGE_MM + tall / 2
    at = (EDGE_MM + wide[0] / 2, EDGE_MM + wide[0] + APART_MM + MEASURE_MM + wide[1] / 2)
    parts = [_body(one, x, middle, factor) for one, x in zip((face, side), at, strict=True)]
    parts += [_across(one, x, middle, factor) for one, x in zip((face, side), at, strict=True)]
    parts.append(_up(side, at[1], middle, factor))
    title = _("%(what)s, %(factor)s times enlarged") % {"what": what, "factor": factor}
    desc = _("%(told)s. Seen from above and from the side, with the drawn lengths.") % {"told": told}
    return _svg("unit-large", f"large-{name}", (width, height), title, desc, _joined(parts))


def _body(one: Outline, x: float, y: float, factor: float) -> SafeString:
    path = "".join(_closed(corners, x, y, factor) for corners in (one.corners, one.hole) if corners)
    return format_html('<path class="unit-body" fill-rule="evenodd" d="{}"/>', path)


def _closed(corners: Sequence[Corner], x: float, y: float, factor: float) -> str:
    return "M" + "L".join(f"{_n(x + a * factor)} {_n(y - b * factor)}" for a, b in corners) + "Z"


def _across(one: Outline, x: float, y: float, factor: float) -> SafeString:
    half, down = one.size_mm[0] * factor / 2, one.size_mm[1] * factor / 2
    level = y + down + MEASURE_MM / 2
    return format_html(
        '<path class="unit-measure" d="M{0} {1}v{2}M{0} {3}H{4}M{4} {1}v{2}"/>'
        '<text text-anchor="middle" x="{5}" y="{6}" font-size="{7}">{8}</text>',
        _n(x - half),
        _n(level - 1),
        _n(2.0),
        _n(level),
        _n(x + half),
        _n(x),
        _n(level + TEXT_MM + 1),
        _n(TEXT_MM),
        _mm(one.size_mm[0]),
    )


def _up(one: Outline, x: float, y: float, factor: float) -> SafeString:
    half = one.size_mm[1] * factor / 2
    at = x + one.size_mm[0] * factor / 2 + MEASURE_MM / 2
    return format_html(
        '<path class="unit-measure" d="M{0} {1}h{2}M{3} {1}V{4}M{0} {4}h{2}"/>'
        '<text x="{5}" y="{6}" font-size="{7}">{8}</text>',
        _n(at - 1),
        _n(y - half),
        _n(2.0),
        _n(at),
        _n(y + half),
        _n(at + 1.5),
        _n(y + 1),
        _n(TEXT_MM),
        _mm(one.size_mm[1]),
    )


def _svg(
    look: str, name: str, size_mm: Corner, title: str, desc: str, inside: SafeString, *, link: str = ""
) -> SafeString:
    return format_html(
        '<svg class="{0}" viewBox="0 0 {1} {2}" width="{1}mm" height="{2}mm" role="{6}" '
        'aria-labelledby="{3}-title {3}-desc"><title id="{3}-title">{4}</title><desc id="{3}-desc">{5}</desc>{7}</svg>',
        look,
        _n(size_mm[0]),
        _n(size_mm[1]),
        name,
        title,
        desc,
        "group" if link else "img",
        inside,
    )


def _joined(parts: Sequence[SafeString]) -> SafeString:
    return format_html_join("", "{}", ((one,) for one in parts))


def _mm(value: float) -> str:
    return quantity("length_mm", round(value, 2))


def _n(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")
