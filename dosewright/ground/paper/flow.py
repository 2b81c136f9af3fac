"""Breaks a run of strips into pages: headings stay with what follows, table heads are drawn again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dosewright.ground.paper.fit import too_tall

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

Draw = Callable[["Canvas", float, float], None]
"""Draws with its upper left corner at (x, y) [pt]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """An unbreakable piece of a page.

    ``keep`` holds it on the page of the next strip; ``again`` is drawn above it when it opens a page;
    ``is_air`` marks space that is dropped at the top of a page.
    """

    height: float
    draw: Draw
    keep: bool = False
    again: Strip | None = None
    is_air: bool = False


def air(height: float) -> Strip:
    """Return empty space of `height` [pt]."""
    return Strip(height=height, draw=lambda canvas, x, y: None, is_air=True)


def paginate(strips: Sequence[Strip], *, first_room: float, room: float) -> tuple[tuple[Strip, ...], ...]:
    """Return the strips of each page, `first_room` and `room` [pt] tall.

    Raises DoesNotFit when strips that stay together are taller than a page.
    """
    pages: list[list[Strip]] = [[]]
    left = first_room
    for group in _groups(strips):
        turns = _height(group) > left and bool(pages[-1])
        if turns:
            pages.append([])
            left = room
        placed = _opening(group) if turns else group
        if _height(placed) > left:
            raise too_tall("page", _height(placed), left, "a block of the record")
        pages[-1] += placed
        left -= _height(placed)
    return tuple(tuple(page) for page in pages)


def _height(group: Sequence[Strip]) -> float:
    return sum(one.height for one in group)


def _opening(group: list[Strip]) -> list[Strip]:
    kept = group[1:] if group[0].is_air else group
    again = kept[0].again if kept else None
    return [again, *kept] if again else kept


def _groups(strips: Sequence[Strip]) -> list[list[Strip]]:
    groups: list[list[Strip]] = []
    joins = False
    for strip in strips:
        if joins:
            groups[-1].append(strip)
        else:
            groups.append([strip])
        joins = strip.keep or (strip.is_air and joins)
    return groups
