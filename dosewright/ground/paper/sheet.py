"""Turns the blocks of a record into strips: headings, facts, tables, signatures."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from typing import TYPE_CHECKING

from dosewright.ground.paper.blocks import Block, Note, Rows, Section, SignatureMark, Signatures, Table
from dosewright.ground.paper.canvas import ACCENT, HAIRLINE, INK, QUIET, TINT, Shade, rule, text
from dosewright.ground.paper.fit import wrap
from dosewright.ground.paper.flow import Strip, air
from dosewright.ground.paper.fonts import BOLD, CAP_HEIGHT_EM, REGULAR
from dosewright.ground.paper.plate import plate_strip

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

BODY_PT = 8.5
SMALL_PT = 7.0
HEAD_PT = 7.2
SECTION_PT = 10.5
LINE_PT = 11.2
SMALL_LINE_PT = 9.0
_PAD_PT = 2.6
_LABEL_FRAC = 0.30
COLUMN_GAP_PT = 11.0
_CARD_GAP_PT = 12.0
_CARD_LINES = 4


def section_strips(sections: Sequence[Section], width: float) -> list[Strip]:
    """Return the strips of `sections` for a column of `width` [pt]; raises DoesNotFit or NotPrintable."""
    strips: list[Strip] = []
    for section in sections:
        strips += [air(12.0), _heading(section.title, width), _keep_air(4.0)]
        for place, block in enumerate(section.blocks):
            strips += [air(6.0)] if place else []
            strips += _block_strips(block, width, section.title)
    return strips


def lines_strip(
    lines: Sequence[str], *, size_pt: float, pitch: float, bold: bool = False, shade: Shade = INK, keep: bool = False
) -> Strip:
    """Return `lines` as one strip with line pitch `pitch` [pt]."""

    def draw(canvas: Canvas, x: float, y: float) -> None:
        write_lines(canvas, lines, x, y, size_pt=size_pt, pitch=pitch, bold=bold, shade=shade)

    return Strip(height=len(lines) * pitch, draw=draw, keep=keep)


def write_lines(
    canvas: Canvas,
    lines: Sequence[str],
    x: float,
    y: float,
    *,
    size_pt: float,
    pitch: float,
    bold: bool = False,
    shade: Shade = INK,
    align: str = "left",
) -> None:
    """Write `lines` beneath `y` [pt], each centred in its pitch."""
    for place, line in enumerate(lines):
        baseline = y - place * pitch - (pitch + CAP_HEIGHT_EM * size_pt) / 2
        text(canvas, x, baseline, line, bold=bold, size_pt=size_pt, shade=shade, align=align)


def _block_strips(block: Block, width: float, field: str) -> list[Strip]:
    if isinstance(block, Note):
        return _note(block, width, field)
    if isinstance(block, Rows):
        return [_fact(label, value, width) for label, value in block.rows]
    if isinstance(block, Table):
        return _table(block, width, field)
    if isinstance(block, Signatures):
        return _signatures(block.marks, width)
    return [plate_strip(block, width)]


def _heading(title: str, width: float) -> Strip:
    lines = wrap(title, font=BOLD, size_pt=SECTION_PT, width=width, field="section")

    def draw(canvas: Canvas, x: float, y: float) -> None:
        write_lines(canvas, lines, x, y, size_pt=SECTION_PT, pitch=14.0, bold=True, shade=ACCENT)
        rule(canvas, x, x + width, y - len(lines) * 14.0 - 1.0, width_pt=0.8, shade=ACCENT)

    return Strip(height=len(lines) * 14.0 + 1.5, draw=draw, keep=True)


def _keep_air(height: float) -> Strip:
    return Strip(height=height, draw=lambda canvas, x, y: None, keep=True)


def _note(note: Note, width: float, field: str) -> list[Strip]:
    font = BOLD if note.strong else REGULAR
    lines = wrap(note.text, font=font, size_pt=BODY_PT, width=width, field=field)
    return [lines_strip((line,), size_pt=BODY_PT, pitch=LINE_PT, bold=note.strong) for line in lines]


def _fact(label: str, value: str, width: float) -> Strip:
    column = width * _LABEL_FRAC
    names = wrap(label, font=REGULAR, size_pt=BODY_PT, width=column - COLUMN_GAP_PT, field=label)
    values = wrap(value, font=REGULAR, size_pt=BODY_PT, width=width - column, field=label)
    height = max(len(names), len(values)) * LINE_PT + 2 * _PAD_PT

    def draw(canvas: Canvas, x: float, y: float) -> None:
        write_lines(canvas, names, x, y - _PAD_PT, size_pt=BODY_PT, pitch=LINE_PT, shade=QUIET)
        write_lines(canvas, values, x + column, y - _PAD_PT, size_pt=BODY_PT, pitch=LINE_PT)
        rule(canvas, x, x + width, y - height)

    return Strip(height=height, draw=draw)


def _table(table: Table, width: float, field: str) -> list[Strip]:
    total = sum(column.share for column in table.columns)
    widths = [column.share / total * width for column in table.columns]
    heads = tuple(column.head for column in table.columns)
    head = _cells(table, heads, widths, field, is_head=True)
    return [head, *(_cells(table, row, widths, field, again=head) for row in table.rows)]


def _cells(
    table: Table,
    row: tuple[str, ...],
    widths: Sequence[float],
    field: str,
    *,
    is_head: bool = False,
    again: Strip | None = None,
) -> Strip:
    size_pt = HEAD_PT if is_head else BODY_PT
    pitch = SMALL_LINE_PT if is_head else LINE_PT
    font = BOLD if is_head else REGULAR
    inner = [wide - COLUMN_GAP_PT for wide in widths]
    wrapped = [
        wrap(cell, font=font, size_pt=size_pt, width=wide, field=f"{field}: {column.head}")
        for cell, wide, column in zip(row, inner, table.columns, strict=True)
    ]
    lefts = [0.0, *accumulate(widths)]
    height = max(*map(len, wrapped), 1) * pitch + 2 * _PAD_PT

    def draw(canvas: Canvas, x: float, y: float) -> None:
        if is_head:
            canvas.setFillColorRGB(*TINT)
            canvas.rect(x, y - height, sum(widths), height, stroke=0, fill=1)
        for lines, left, wide, column in zip(wrapped, lefts, inner, table.columns, strict=False):
            place = x + left + {"left": 2.0, "right": wide + 2.0, "centre": wide / 2 + 2.0}[column.align]
            write_lines(
                canvas,
                lines,
                place,
                y - _PAD_PT,
                size_pt=size_pt,
                pitch=pitch,
                bold=is_head,
                shade=QUIET if is_head else INK,
                align=column.align,
            )
        rule(canvas, x, x + sum(widths), y - height, shade=QUIET if is_head else HAIRLINE)

    return Strip(height=height, draw=draw, keep=is_head, again=again)


def _signatures(marks: Sequence[SignatureMark], width: float) -> list[Strip]:
    strips: list[Strip] = []
    for place in range(0, len(marks), 2):
        strips += [_card_row(marks[place : place + 2], width), air(6.0)]
    return strips[:-1]


def _card_row(marks: Sequence[SignatureMark], width: float) -> Strip:
    wide = (width - _CARD_GAP_PT) / 2
    cards = [_card_lines(mark, wide - 12.0) for mark in marks]
    height = max(sum(pitch * len(lines) for lines, _, pitch, _, _ in card) for card in cards) + 10.0

    def draw(canvas: Canvas, x: float, y: float) -> None:
        for place, card in enumerate(cards):
            left = x + place * (wide + _CARD_GAP_PT)
            canvas.setStrokeColorRGB(*HAIRLINE)
            canvas.setLineWidth(0.7)
            canvas.rect(left, y - height, wide, height, stroke=1, fill=0)
            below = y - 5.0
            for lines, size_pt, pitch, bold, shade in card:
                write_lines(canvas, lines, left + 6.0, below, size_pt=size_pt, pitch=pitch, bold=bold, shade=shade)
                below -= len(lines) * pitch

    return Strip(height=height, draw=draw)


_CardPart = tuple[tuple[str, ...], float, float, bool, Shade]


def _card_lines(mark: SignatureMark, width: float) -> list[_CardPart]:
    def part(words: str, size_pt: float, pitch: float, *, bold: bool = False, shade: Shade = INK) -> _CardPart:
        font = BOLD if bold else REGULAR
        return wrap(words, font=font, size_pt=size_pt, width=width, field="signature"), size_pt, pitch, bold, shade

    meaning = part(mark.meaning, BODY_PT, LINE_PT, shade=ACCENT, bold=True)
    if not mark.is_signed:
        return [
            meaning,
            part("not signed", SMALL_PT, SMALL_LINE_PT, shade=QUIET),
            ((), BODY_PT, LINE_PT, False, INK),
            part("name in print, signature, date and time: " + "_" * 8, SMALL_PT, SMALL_LINE_PT * 2, shade=QUIET),
        ]
    parts = [meaning, part(mark.printed_name, BODY_PT + 1, LINE_PT + 1)]
    parts += [part(mark.profession, BODY_PT, LINE_PT, shade=QUIET)] if mark.profession else []
    parts.append(part(mark.time, BODY_PT, LINE_PT))
    parts += [part(f"signed text {mark.digest}", SMALL_PT - 1, SMALL_LINE_PT, shade=QUIET)] if mark.digest else []
    return parts
