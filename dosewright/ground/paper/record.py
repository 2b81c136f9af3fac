"""Record pages on A4: certificate, weighing sheet, plate map, finishing sheet, trace report and their kin."""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

from dosewright.ground.paper.blocks import Section
from dosewright.ground.paper.canvas import (
    ACCENT,
    DRAFT,
    DRAFT_MARK,
    INK,
    QUIET,
    WHITE,
    check_state,
    draft_watermark,
    open_canvas,
    rule,
    text,
)
from dosewright.ground.paper.fit import POINTS_PER_MM, one_line, wrap
from dosewright.ground.paper.flow import Strip, paginate
from dosewright.ground.paper.fonts import BOLD, REGULAR, width_pt
from dosewright.ground.paper.sheet import section_strips, write_lines
from dosewright.ground.paper.symbol import Symbol, draw_modules, modules, side_pt
from dosewright.ground.pure.cautions import cautions_text
from dosewright.ground.pure.errors import BadInput

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

PAGE_MM = (210.0, 297.0)
MARGIN_PT = 17 * POINTS_PER_MM
_TITLE_PT = 17.0
_SMALL_PT = 6.2
_SMALL_PITCH = 7.8
_OFFICE_DPI = 600
_BODY_TOP_PT = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordPage:
    """A record as it is drawn.

    ``number`` is the document's code; ``head_lines`` stand beneath the title (site, address); ``chain_head``
    is the audit trail's last digest when the record was made; ``page_words`` is the pattern of "page 1 of 3".
    """

    kind: str
    title: str
    number: str
    state: str
    language: str
    sections: tuple[Section, ...]
    head_lines: tuple[str, ...] = ()
    chain_head: str = ""
    symbol: Symbol | None = None
    cautions: str = cautions_text()
    page_words: str = "page {page} of {pages}"

    def __post_init__(self) -> None:
        check_state(self.state)
        if self.state == DRAFT and self.symbol is not None:
            raise BadInput.because("symbol", "a draft carries no symbol")


def render_record(record: RecordPage) -> bytes:
    """Return the PDF of `record`: the same bytes for the same content.

    Raises DoesNotFit when a word, a cell or a block does not fit, NotPrintable for characters the face lacks.
    """
    buffer = BytesIO()
    canvas = open_canvas(
        buffer, width_mm=PAGE_MM[0], height_mm=PAGE_MM[1], title=_file_title(record), language=record.language
    )
    furniture = _Furniture(record)
    pages = paginate(
        section_strips(record.sections, furniture.width), first_room=furniture.first_room, room=furniture.room
    )
    for number, strips in enumerate(pages, start=1):
        furniture.draw(canvas, number, len(pages))
        _draw_strips(canvas, strips, furniture.body_top(number))
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _file_title(record: RecordPage) -> str:
    mark = f" ({DRAFT_MARK})" if record.state == DRAFT else ""
    return f"{record.title} {record.number}{mark}"


def _draw_strips(canvas: Canvas, strips: tuple[Strip, ...], y: float) -> None:
    for strip in strips:
        strip.draw(canvas, MARGIN_PT, y)
        y -= strip.height


class _Furniture:
    """What stands around the body on every page: head, title, draft mark, cautions and page number."""

    def __init__(self, record: RecordPage) -> None:
        self.record = record
        self.page_width, self.page_height = (side * POINTS_PER_MM for side in PAGE_MM)
        self.width = self.page_width - 2 * MARGIN_PT
        self.matrix = modules(record.symbol) if record.symbol else None
        self.symbol_side = side_pt(self.matrix, _OFFICE_DPI) if self.matrix else 0.0
        free = self.width - self.symbol_side - 10.0
        self.title = wrap(record.title, font=BOLD, size_pt=_TITLE_PT, width=free, field="title")
        self.heads = [
            line
            for words in record.head_lines
            for line in wrap(words, font=REGULAR, size_pt=8.0, width=free, field="head")
        ]
        self.cautions = wrap(record.cautions, font=REGULAR, size_pt=_SMALL_PT, width=self.width, field="cautions")

    @property
    def top(self) -> float:
        return self.page_height - MARGIN_PT + 14.0

    @property
    def _title_height(self) -> float:
        written = len(self.title) * 21.0 + len(self.heads) * 10.5
        return 14.0 + max(written, self.symbol_side) + 6.0

    @property
    def _foot_top(self) -> float:
        return 30.0 + len(self.cautions) * _SMALL_PITCH + 6.0

    def body_top(self, number: int) -> float:
        """Return where the body of page `number` begins [pt]."""
        return self.top - (self._title_height if number == 1 else _BODY_TOP_PT)

    @property
    def first_room(self) -> float:
        return self.body_top(1) - self._foot_top - 6.0

    @property
    def room(self) -> float:
        return self.body_top(2) - self._foot_top - 6.0

    def draw(self, canvas: Canvas, number: int, pages: int) -> None:
        """Draw head and foot of page `number` of `pages`."""
        if self.record.state == DRAFT:
            draft_watermark(canvas, centre=(self.page_width / 2, self.page_height / 2), size_pt=58, degrees=52)
        self._draw_head(canvas, number)
        self._draw_foot(canvas, number, pages)

    def _draw_head(self, canvas: Canvas, number: int) -> None:
        right = MARGIN_PT + self.width
        label = self.record.number if number == 1 else f"{self.record.title} · {self.record.number}"
        one_line(label, font=BOLD, size_pt=8.0, width=self.width - 110.0, field="number")
        text(canvas, MARGIN_PT, self.top - 8.0, label, bold=True, size_pt=8.0, shade=QUIET)
        self._draw_state(canvas, right)
        if number > 1:
            rule(canvas, MARGIN_PT, right, self.top - 13.0, width_pt=0.8, shade=ACCENT)
            return
        write_lines(canvas, self.title, MARGIN_PT, self.top - 14.0, size_pt=_TITLE_PT, pitch=21.0, bold=True)
        below = self.top - 14.0 - len(self.title) * 21.0
        write_lines(canvas, self.heads, MARGIN_PT, below, size_pt=8.0, pitch=10.5, shade=QUIET)
        if self.matrix:
            draw_modules(
                canvas,
                self.matrix,
                left=right - self.symbol_side,
                top=self.top - 14.0,
                dpi=_OFFICE_DPI,
                page_height=self.page_height,
            )

    def _draw_state(self, canvas: Canvas, right: float) -> None:
        if self.record.state != DRAFT:
            text(
                canvas,
                right,
                self.top - 8.0,
                self.record.state.upper(),
                bold=True,
                size_pt=8.0,
                shade=ACCENT,
                align="right",
            )
            return
        wide = width_pt(DRAFT_MARK, BOLD, 8.0) + 10.0
        canvas.setFillColorRGB(*INK)
        canvas.rect(right - wide, self.top - 12.0, wide, 13.0, stroke=0, fill=1)
        text(canvas, right - wide / 2, self.top - 8.4, DRAFT_MARK, bold=True, size_pt=8.0, shade=WHITE, align="centre")

    def _draw_foot(self, canvas: Canvas, number: int, pages: int) -> None:
        right = MARGIN_PT + self.width
        rule(canvas, MARGIN_PT, right, self._foot_top)
        write_lines(
            canvas, self.cautions, MARGIN_PT, self._foot_top - 3.0, size_pt=_SMALL_PT, pitch=_SMALL_PITCH, shade=QUIET
        )
        words = self.record.page_words.format(page=number, pages=pages)
        text(canvas, right, 24.0, words, size_pt=7.5, shade=INK, align="right")
        if self.record.chain_head:
            head = one_line(
                f"audit trail at {self.record.chain_head}",
                font=REGULAR,
                size_pt=_SMALL_PT,
                width=self.width - 80.0,
                field="chain_head",
            )
            text(canvas, MARGIN_PT, 24.0, head, size_pt=_SMALL_PT, shade=QUIET)
