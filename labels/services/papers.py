"""Weighing sheet, plate map and trace report: each drawn from the record as it stands.

A sheet is an original of the record once what it shows is settled (everything weighed and mixed, the plan
approved); before that it is a draft. A trace report is an original: it says what the records say, and when.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dosewright.ground.act import act
from dosewright.ground.documents import Mark, make_document
from dosewright.ground.models import Document, Site
from dosewright.ground.paper.blocks import (
    Note,
    PlateDrawing,
    PlateUnit,
    PlateZone,
    Rows,
    Section,
    SignatureMark,
    Signatures,
    Table,
)
from dosewright.ground.paper.columns import fitted_columns
from dosewright.ground.paper.record import RecordPage, render_record
from dosewright.ground.paper.symbol import plain_symbol
from dosewright.ground.pure.codes import parse, raised_part
from dosewright.ground.pure.notation import format_number
from dosewright.ground.pure.roles import Actor, authorise_read
from labels.queries import tidy_code
from labels.queries.papers import PlateRecord, plate_to_print, resin_lot_to_print
from labels.services.certifying import chain_head, head_lines, local_time
from labels.services.typed import IN_A_FACT, on_paper
from labels.trace import Trace, trace
from labels.wording import date_words
from printing.stock.content import ResinLotRecord

WEIGHING_SHEET, PLATE_MAP, TRACE_REPORT = "weighing sheet", "plate map", "trace report"
BLANK = "____"
"""A place to write on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperAnswer:
    """A document that was made of a record."""

    code: str
    document: str
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A sheet's whole content: what was read of the record, and what stands around it."""

    mark: Mark
    title: str
    language: str
    head_lines: tuple[str, ...]
    chain_head: str
    of: Any


def weighing_sheet(actor: Actor, code: str, *, at: datetime) -> PaperAnswer:
    """Print the weighing sheet of a resin lot; raises NotAllowed, BadInput, NotThere."""
    with act(actor, "document.make", at=at, subject=tidy_code(code)) as doing:
        lot = resin_lot_to_print(actor, code, at=at)
        site = Site.objects.get(pk=actor.site_id)
        document = make_document(
            doing,
            kind=WEIGHING_SHEET,
            state=Document.DRAFT if lot.mixed_at is None else Document.ORIGINAL,
            subject_kind="resin lot",
            subject=lot.code,
            compose=lambda mark: _paper(mark, f"Weighing sheet {lot.code}", site, lot, is_invented=lot.is_invented),
            draw=lambda paper: _draw(paper, WEIGHING_SHEET, _sheet_sections(paper.of, site), site),
        )
    return PaperAnswer(code=lot.code, document=document.code, state=document.state)


def plate_map(actor: Actor, code: str, *, at: datetime) -> PaperAnswer:
    """Print the plate map of a print batch; raises NotAllowed, BadInput, NotThere."""
    with act(actor, "document.make", at=at, subject=tidy_code(code)) as doing:
        plate = plate_to_print(actor, code)
        site = Site.objects.get(pk=actor.site_id)
        document = make_document(
            doing,
            kind=PLATE_MAP,
            state=Document.ORIGINAL if plate.is_approved else Document.DRAFT,
            subject_kind="print batch",
            subject=plate.code,
            compose=lambda mark: _paper(mark, f"Plate map {plate.code}", site, plate, is_invented=site.is_demo),
            draw=lambda paper: _draw(paper, PLATE_MAP, _map_sections(paper.of), site),
        )
    return PaperAnswer(code=plate.code, document=document.code, state=document.state)


def trace_report(actor: Actor, code: str, *, at: datetime) -> PaperAnswer:
    """Print the trace of a code: every record that it touched, by code alone; who may see traces."""
    tidy = parse(code)[1]
    with act(actor, "document.make", at=at, subject=tidy) as doing:
        authorise_read(actor, "trace")
        found = trace(actor, tidy)
        site = Site.objects.get(pk=actor.site_id)
        document = make_document(
            doing,
            kind=TRACE_REPORT,
            state=Document.ORIGINAL,
            subject_kind="trace",
            subject=tidy,
            compose=lambda mark: _paper(mark, f"Trace of {tidy}", site, found, is_invented=site.is_demo),
            draw=lambda paper: _draw(paper, TRACE_REPORT, _trace_sections(paper.of, tidy, at, site), site),
        )
    return PaperAnswer(code=tidy, document=document.code, state=document.state)


def _paper(mark: Mark, title: str, site: Site, of: Any, *, is_invented: bool) -> Paper:
    return Paper(
        mark=mark,
        title=title,
        language=site.language,
        head_lines=head_lines(site, None, mark, is_invented=is_invented),
        chain_head=chain_head(site.pk),
        of=of,
    )


def _draw(paper: Paper, kind: str, sections: tuple[Section, ...], site: Site) -> bytes:
    return render_record(
        RecordPage(
            kind=kind,
            title=paper.title,
            number=paper.mark.code,
            state=paper.mark.state,
            language=paper.language,
            head_lines=paper.head_lines,
            sections=sections,
            chain_head=paper.chain_head,
            symbol=None if paper.mark.state == Document.DRAFT else plain_symbol(paper.mark.code),
        )
    )


def _sheet_sections(lot: ResinLotRecord, site: Site) -> tuple[Section, ...]:
    words = _words(site)
    facts = (
        (
            "Formulation",
            on_paper(f"{lot.formulation}, version {lot.formulation_number}: {lot.formulation_name}", IN_A_FACT),
        ),
        ("Amount to make", f"{format_number(lot.target_g)} g"),
        ("Started", f"{local_time(lot.started_at, site, words)} by {lot.started_by}"),
        ("Mixed", f"{local_time(lot.mixed_at, site, words)} by {lot.mixed_by}" if lot.mixed_at else "not yet"),
        ("In date until", date_words(lot.expires_on, words) if lot.expires_on else "not yet mixed"),
    )
    rows = tuple(
        (
            str(line.number),
            on_paper(line.ingredient_name),
            format_number(line.target_mg),
            f"{format_number(line.low_mg)} to {format_number(line.high_mg)}",
            line.ingredient_lot or BLANK,
            BLANK if line.actual_mg is None else format_number(line.actual_mg),
            line.balance or BLANK,
            on_paper(line.weighed_by) or BLANK,
            on_paper(line.checked_by) or BLANK,
        )
        for line in lot.sheet
    )
    heads = ("No.", "Ingredient", "Target (mg)", "Range (mg)", "Lot", "Weighed (mg)", "Balance", "By", "Checked by")
    table = _table(heads, rows, "No.", "Target (mg)", "Range (mg)", "Weighed (mg)")
    reasons = tuple(Note(text=f"Line {line.number}: {on_paper(line.reason)}") for line in lot.sheet if line.reason)
    sections = [
        Section(title="Resin lot", blocks=(Rows(rows=facts),)),
        Section(title="Weights", blocks=(table, *reasons)),
    ]
    if lot.strength is not None:
        strength = (
            ("Strength by weighing", f"{lot.strength.mg_g:.4g} mg/g"),
            ("Of nominal", f"{100 * lot.strength.fraction_of_nominal:.2f} %: {lot.strength.verdict}"),
        )
        sections.append(Section(title="Strength", blocks=(Rows(rows=strength),)))
    if lot.mixed_at is None:
        marks = (SignatureMark(meaning="Weighed"), SignatureMark(meaning="Checked by a second person"))
        sections.append(Section(title="Signatures", blocks=(Signatures(marks=marks),)))
    return tuple(sections)


def _map_sections(record: PlateRecord) -> tuple[Section, ...]:
    zones = sorted(record.plate["zones"], key=lambda zone: int(zone["removal"]))
    facts = (
        ("Print batch", f"{record.code}, {record.state}"),
        ("Printer", record.printer),
        ("Formulation and resin lot", f"{record.formulation}, {record.resin_lot}"),
        ("Layers", f"{record.layers} of {record.layer_um} um"),
        ("Plan (SHA-256)", on_paper(record.plan_digest)),
    )
    rows = tuple(
        (
            str(zone["removal"]),
            zone["code"],
            raised_part(zone["code"]),
            f"dose line {zone['line']}" if zone["line"] else "test: never for a patient",
            str(len(zone["units"])),
            BLANK,
        )
        for zone in zones
    )
    heads = ("Taken off", "Zone", "Raised code", "For", "Units", "Counted")
    table = _table(heads, rows, "Taken off", "Units")
    return (
        Section(title="Batch", blocks=(Rows(rows=facts),)),
        Section(title="Zones in the order in which they are taken off", blocks=(table,)),
        Section(title="The plate from above", blocks=(_drawing(record.plate),)),
    )


def _table(heads: tuple[str, ...], rows: tuple[tuple[str, ...], ...], *right: str) -> Table:
    return Table(columns=fitted_columns(heads, rows, right=right), rows=rows)


def _drawing(plate: Mapping[str, Any]) -> PlateDrawing:
    width, depth = plate["plate_um"]
    return PlateDrawing(
        width_um=int(width),
        depth_um=int(depth),
        zones=tuple(
            PlateZone(
                code=raised_part(zone["code"]),
                polygon_um=tuple((int(x), int(y)) for x, y in zone["polygon_um"]),
                is_test=zone["test"] is not None,
                units=tuple(
                    PlateUnit(
                        x_um=int(unit["x_um"]),
                        y_um=int(unit["y_um"]),
                        footprint_um=(int(unit["footprint_um"][0]), int(unit["footprint_um"][1])),
                        rotation_deg=float(unit["rotation_deg"]),
                        is_round=zone["outline"] == "round",
                    )
                    for unit in zone["units"]
                ),
            )
            for zone in plate["zones"]
        ),
    )


def _trace_sections(found: Trace, code: str, at: datetime, site: Site) -> tuple[Section, ...]:
    counts: dict[str, int] = {}
    for node in found.nodes:
        counts[node.kind] = counts.get(node.kind, 0) + 1
    facts = (
        ("Traced", code),
        ("Records read", local_time(at, site, _words(site))),
        *((f"Of kind {kind}", str(count)) for kind, count in sorted(counts.items())),
    )
    nodes = _table(("Kind", "Code"), tuple((node.kind, node.code) for node in found.nodes))
    edges = _table(("From", "How", "To"), tuple((edge["from"], edge["how"], edge["to"]) for edge in found.edges))
    return (
        Section(title="Trace", blocks=(Rows(rows=facts),)),
        Section(title="Records", blocks=(nodes,)),
        Section(title="How they touched", blocks=(edges,)),
    )


def _words(site: Site) -> Mapping[str, str]:
    from dosewright.ground.jurisdictions import known_packs, load_pack

    own = [one for one in known_packs() if one[0] == site.jurisdiction]
    return load_pack(*own[-1]).wording(site.language)
