"""Columns of a table as wide as their longest words, the rest shared by how much each has to say."""

from __future__ import annotations

from collections.abc import Sequence

from dosewright.ground.paper.blocks import Column
from dosewright.ground.paper.fit import POINTS_PER_MM
from dosewright.ground.paper.fonts import BOLD, REGULAR, width_pt
from dosewright.ground.paper.record import MARGIN_PT, PAGE_MM
from dosewright.ground.paper.sheet import BODY_PT, COLUMN_GAP_PT, HEAD_PT

BODY_WIDTH_PT = PAGE_MM[0] * POINTS_PER_MM - 2 * MARGIN_PT
_MOST_WANTED_PT = 170.0
_SLACK_PT = 0.5


def fitted_columns(
    heads: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[str] = ()
) -> tuple[Column, ...]:
    """Return columns for `heads` over `rows`; those named in `right` are set to the right.

    Words that are together wider than the page still do not fit and are refused when the table is drawn.
    """
    cells = [[row[place] for row in rows] for place in range(len(heads))]
    needed = [_longest_word(head, texts) for head, texts in zip(heads, cells, strict=True)]
    wanted = [_longest_text(texts) for texts in cells]
    more = [max(0.0, want - need) for want, need in zip(wanted, needed, strict=True)]
    rest = max(0.0, BODY_WIDTH_PT - sum(needed))
    part = min(1.0, rest / sum(more)) if sum(more) else 0.0
    even = (rest - part * sum(more)) / len(heads)
    shares = [need + part * extra + even for need, extra in zip(needed, more, strict=True)]
    return tuple(
        Column(head=head, share=share, align="right" if head in right else "left")
        for head, share in zip(heads, shares, strict=True)
    )


def _longest_word(head: str, texts: Sequence[str]) -> float:
    heads = max((width_pt(word, BOLD, HEAD_PT) for word in head.split()), default=0.0)
    words = {word for text in texts for word in text.split()}
    bodies = max((width_pt(word, REGULAR, BODY_PT) for word in words), default=0.0)
    return max(heads, bodies) + COLUMN_GAP_PT + _SLACK_PT


def _longest_text(texts: Sequence[str]) -> float:
    longest = max((width_pt(text, REGULAR, BODY_PT) for text in texts), default=0.0)
    return min(longest, _MOST_WANTED_PT) + COLUMN_GAP_PT
