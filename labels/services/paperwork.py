"""Lays label and certificate content out for paper: words in, page structures out, no database."""

from __future__ import annotations

from dosewright.ground.jurisdictions import Pack
from dosewright.ground.paper.blocks import Block, Note, Rows, Section, SignatureMark, Signatures, Table
from dosewright.ground.paper.columns import fitted_columns
from dosewright.ground.paper.fit import grouped
from dosewright.ground.paper.label import ROLL_100X60, LabelLine, LabelPage, LabelSize
from dosewright.ground.paper.record import RecordPage
from dosewright.ground.paper.symbol import Symbol, gs1_symbol, plain_symbol
from labels.certificate import TITLE, CertificateContent, CertificateSection, Grid, signed_at_words
from labels.content import DRAFT, LabelContent
from labels.wording import Words


def label_page(content: LabelContent, *, words: Words, size: LabelSize = ROLL_100X60, dpi: int = 203) -> LabelPage:
    """Return the label of `content`: patient, product and directions first; a draft without its symbol."""
    return LabelPage(
        title=f"Label {content.number}",
        number=content.number,
        state=content.state,
        language=content.language,
        size=size,
        dpi=dpi,
        symbol=None if content.state == DRAFT else label_symbol(content),
        top=(
            LabelLine(
                field="patient", text=content.patient, role="critical", bold=True, aside=content.patient_identifier
            ),
            LabelLine(
                field="product", text=_capital(content.product), role="critical", bold=True, aside=content.quantity
            ),
            LabelLine(field="directions", text=content.directions, role="critical"),
            LabelLine(field="period", text=content.period, aside=content.route),
            LabelLine(field="precautions", text=" ".join(content.precautions)),
        ),
        beside=(
            LabelLine(
                field="expiry", text=content.expiry, bold=True, aside=words["label"].format(number=content.number)
            ),
            LabelLine(
                field="batch",
                text=f"{words['batch'].format(batch=content.batch)} · {words['pack'].format(pack=content.pack_code)}",
            ),
            LabelLine(field="storage", text=content.storage),
        ),
        foot=(LabelLine(field="foot", role="small", text=_foot(content, words)),),
    )


def label_symbol(content: LabelContent) -> Symbol:
    """Return the GS1 symbol of a label, or the pack's code where the site has no company prefix."""
    return gs1_symbol(content.elements) if content.elements else plain_symbol(content.pack_code)


def certificate_page(content: CertificateContent, *, words: Words, cautions: str | None = None) -> RecordPage:
    """Return the certificate of `content` on A4; only an original carries the document's symbol."""
    sections = [Section(title=one.title, blocks=_blocks(one)) for one in content.sections]
    sections += [
        Section(title="What was not tested", blocks=tuple(Note(text=one, strong=True) for one in content.not_tested)),
        Section(title="Legal basis", blocks=tuple(Note(text=str(one)) for one in content.legal)),
        Section(
            title="Signatures",
            blocks=(
                Signatures(
                    marks=tuple(
                        SignatureMark(
                            meaning=one.meaning,
                            printed_name=one.printed_name,
                            profession=one.profession,
                            time=signed_at_words(one.signed_at, words),
                            digest=grouped(one.digest),
                        )
                        for one in content.signatures
                    )
                ),
            ),
        ),
    ]
    extra = {} if cautions is None else {"cautions": cautions}
    return RecordPage(
        kind="certificate",
        title=TITLE,
        number=content.number,
        state=content.state,
        language=content.language,
        head_lines=content.head_lines,
        sections=tuple(sections),
        chain_head=content.chain_head,
        symbol=None if content.state == DRAFT else plain_symbol(content.number),
        page_words=words["page"],
        **extra,
    )


def law_line(law: Pack) -> str:
    """Return the line that names the law pack a document was made under."""
    return f"Made under law pack {law.id}, {law.name}."


def _foot(content: LabelContent, words: Words) -> str:
    parts = [
        content.unlicensed,
        content.children,
        words["contains"].format(excipients=content.excipients) if content.excipients else "",
        words["prepared_by"].format(name=content.supplier_name, address=content.supplier_address),
        words["prescribed_by"].format(prescriber=content.prescriber),
        words["supplied_on"].format(date=content.supply_date),
        words["order"].format(order=content.serial_number),
        content.licence_number,
    ]
    return " ".join(part for part in parts if part)


def _blocks(section: CertificateSection) -> tuple[Block, ...]:
    blocks: list[Block] = []
    if section.facts:
        blocks.append(Rows(rows=section.facts))
    if section.grid:
        blocks.append(_table(section.grid))
    blocks += [Note(text=remark) for remark in section.remarks]
    return tuple(blocks)


def _table(grid: Grid) -> Table:
    return Table(columns=fitted_columns(grid.heads, grid.rows), rows=grid.rows)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
