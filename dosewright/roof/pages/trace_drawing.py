"""The trace as a picture: one column per kind, from the patient to the ingredient lot, drawn by hand as SVG.

Units of one zone that have the same neighbours are drawn as one box with their count; the tables beside the
picture name each of them. No style attribute is used, for the site's policy forbids it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from dosewright.roof.api.registry import subject_of
from dosewright.roof.pages.notation import address_of

COLUMNS = (
    ("patient",),
    ("order",),
    ("dose line",),
    ("pack", "document"),
    ("unit",),
    ("zone",),
    ("print batch",),
    ("resin lot", "equipment"),
    ("ingredient lot", "person"),
)
WIDTH, GAP, HEIGHT, STEP, TOP = 118, 34, 34, 44, 34
ENOUGH = 3
"""From this many alike units on they are drawn as one box: our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """One box of the picture."""

    kind: str
    codes: tuple[str, ...]
    x: int
    y: int


def drawing(nodes: Sequence[Mapping[str, Any]], edges: Sequence[Mapping[str, Any]], *, centre: str) -> SafeString:
    """Return the picture of a trace as SVG, with a link on every box."""
    groups = _grouped(nodes, edges, centre)
    boxes = _placed(groups)
    where = {code: box for box in boxes for code in box.codes}
    lines = {(where[e["from"]], where[e["to"]]) for e in edges if e["from"] in where and e["to"] in where}
    width = max((box.x for box in boxes), default=0) + WIDTH + 2
    height = max((box.y for box in boxes), default=0) + HEIGHT + 4
    paths = sorted(_path(one, other) for one, other in lines if one != other)
    return format_html(
        '<svg class="trace" viewBox="0 0 {} {}" width="{}" height="{}" role="group" aria-label="{}">{}{}</svg>',
        width,
        height,
        width,
        height,
        _("Trace of %(code)s; the tables below say the same") % {"code": centre},
        format_html_join("", '<path class="edge" d="{}"/>', ((one,) for one in paths)),
        format_html_join("", "{}", ((_drawn(box, centre),) for box in boxes)),
    )


def _grouped(
    nodes: Sequence[Mapping[str, Any]], edges: Sequence[Mapping[str, Any]], centre: str
) -> list[tuple[str, tuple[str, ...]]]:
    beside: dict[str, set[str]] = defaultdict(set)
    for edge in edges:
        beside[edge["from"]].add(edge["to"])
        beside[edge["to"]].add(edge["from"])
    alike: dict[tuple[str, frozenset[str]], list[str]] = defaultdict(list)
    for node in nodes:
        single = node["kind"] != "unit" or node["code"] == centre
        around = frozenset({node["code"]}) if single else frozenset(beside[node["code"]])
        alike[node["kind"], around].append(node["code"])
    groups: list[tuple[str, tuple[str, ...]]] = []
    for (kind, _around), codes in alike.items():
        if len(codes) >= ENOUGH:
            groups.append((kind, tuple(sorted(codes))))
        else:
            groups += [(kind, (code,)) for code in sorted(codes)]
    return groups


def _placed(groups: Sequence[tuple[str, tuple[str, ...]]]) -> list[Box]:
    boxes: list[Box] = []
    place = 0
    for kinds in COLUMNS:
        column = sorted((kinds.index(kind), codes, kind) for kind, codes in groups if kind in kinds)
        for row, (_order, codes, kind) in enumerate(column):
            boxes.append(Box(kind=kind, codes=codes, x=place * (WIDTH + GAP) + 1, y=row * STEP + TOP - 30))
        place += bool(column)
    return boxes


def _path(one: Box, other: Box) -> str:
    left, right = sorted((one, other), key=lambda box: box.x)
    start_y, end_y = left.y + HEIGHT // 2, right.y + HEIGHT // 2
    if left.x == right.x:
        return f"M{left.x + WIDTH} {start_y} q{GAP // 2} {(end_y - start_y) // 2} 0 {end_y - start_y}"
    middle = (left.x + WIDTH + right.x) // 2
    return f"M{left.x + WIDTH} {start_y} C{middle} {start_y} {middle} {end_y} {right.x} {end_y}"


def _drawn(box: Box, centre: str) -> SafeString:
    several = len(box.codes) > 1
    code = box.codes[0]
    subject = subject_of(code)
    label = _("%(count)s units") % {"count": len(box.codes)} if several else code
    body = format_html(
        '<rect class="{}" x="{}" y="{}" width="{}" height="{}" rx="3"/>'
        '<text class="kind" x="{}" y="{}">{}</text><text class="name" x="{}" y="{}">{}</text>',
        "box centre" if centre in box.codes else "box",
        box.x,
        box.y,
        WIDTH,
        HEIGHT,
        box.x + 8,
        box.y + 13,
        box.kind,
        box.x + 8,
        box.y + 27,
        label if len(label) <= 15 else f"{label[:14]}…",
    )
    if several or subject is None:
        return format_html("<g>{}</g>", body)
    return format_html('<a href="{}">{}</a>', address_of(subject, code), body)
