"""Record pages: page breaks, repeated heads, signatures, cautions, draft marks, fixed bytes."""

from __future__ import annotations

import re
from dataclasses import replace
from io import BytesIO

import pytest
from pypdf import PdfReader

from dosewright.ground.paper.blocks import (
    Column,
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
from dosewright.ground.paper.fit import DoesNotFit, grouped
from dosewright.ground.paper.record import RecordPage, render_record
from dosewright.ground.paper.symbol import plain_symbol
from dosewright.ground.pure.cautions import CAUTIONS
from dosewright.ground.pure.errors import BadInput

DIGEST = "ab" * 32


def record(*blocks, **changes):
    values = {
        "kind": "weighing sheet",
        "title": "Weighing sheet",
        "number": "DC-7KQ3M9PA",
        "state": "original",
        "language": "en",
        "head_lines": ("Larkmoor Ward Pharmacy (invented)",),
        "chain_head": DIGEST,
        "sections": (Section(title="Facts", blocks=blocks or (Rows(rows=(("Resin lot", "RN-7KQ3MA"),)),)),),
    }
    return RecordPage(**(values | changes))


def long_table(rows: int) -> Table:
    return Table(
        columns=(Column(head="Unit mark"), Column(head="Mass", align="right")),
        rows=tuple((f"unit {n}", f"{n} mg") for n in range(rows)),
    )


def pages_of(pdf: bytes) -> list[str]:
    return [" ".join(one.extract_text().split()) for one in PdfReader(BytesIO(pdf)).pages]


def test_same_content_same_bytes():
    assert render_record(record()) == render_record(record())
    assert render_record(record()) != render_record(record(chain_head="cd" * 32))


def test_every_page_has_number_cautions_and_audit_head():
    pages = pages_of(render_record(record(long_table(90))))
    assert len(pages) == 3
    for place, text in enumerate(pages, start=1):
        assert f"page {place} of 3" in text
        assert "DC-7KQ3M9PA" in text
        assert DIGEST in text
        assert all(one.title in text and one.text in text for one in CAUTIONS)
        assert "Unit mark Mass" in text, "the head of a table stands again on every page"


def test_no_row_is_lost_or_doubled_over_page_breaks():
    marks = re.findall(r"\bunit (\d+) \d+ mg", " ".join(pages_of(render_record(record(long_table(137))))))
    assert marks == [str(n) for n in range(137)]


def test_a_heading_never_stands_alone_at_the_foot():
    for rows in range(20, 60):
        sections = (
            Section(title="First", blocks=(long_table(rows),)),
            Section(title="Second heading", blocks=(Note(text="body of the second"),)),
        )
        for text in pages_of(render_record(record(sections=sections))):
            assert ("Second heading" in text) == ("body of the second" in text)


def test_a_table_head_never_stands_without_a_row():
    for rows in range(20, 60):
        sections = (
            Section(title="First", blocks=(Note(text="filler"),) * rows),
            Section(title="Second", blocks=(long_table(1),)),
        )
        for text in pages_of(render_record(record(sections=sections))):
            assert ("Unit mark" in text) == ("unit 0" in text)


def test_drafts_are_marked_on_every_page_and_carry_no_symbol():
    for text in pages_of(render_record(record(long_table(60), state="draft"))):
        assert text.count("DRAFT - not valid") == 2
    title = PdfReader(BytesIO(render_record(record(state="draft")))).metadata.title
    assert title == "Weighing sheet DC-7KQ3M9PA (DRAFT - not valid)"
    assert "DRAFT" not in "".join(pages_of(render_record(record(symbol=plain_symbol("DC-7KQ3M9PA")))))
    with pytest.raises(BadInput, match="draft carries no symbol"):
        record(state="draft", symbol=plain_symbol("DC-7KQ3M9PA"))


def test_a_printed_signature_shows_name_time_and_meaning():
    # 21 CFR 11.50 (benchmark): printed name, date and time, meaning, on any printout
    mark = SignatureMark(
        meaning="Released for supply",
        printed_name="Jorun Vale",
        profession="Pharmacist, 20522",
        time="28 February 2026, 09:05:33 Europe/Lisbon (UTC+00:00)",
        digest=grouped(DIGEST),
    )
    text = pages_of(render_record(record(Signatures(marks=(mark,)))))[0]
    for part in ("Released for supply", "Jorun Vale", "Pharmacist, 20522", mark.time, grouped(DIGEST)):
        assert part in text
    assert "not signed" not in text
    for blank in ("printed_name", "time"):
        assert "not signed" in pages_of(render_record(record(Signatures(marks=(replace(mark, **{blank: ""}),)))))[0]


def test_text_that_does_not_fit_a_cell_is_refused_by_name():
    with pytest.raises(DoesNotFit) as caught:
        render_record(record(Table(columns=(Column(head="A"), Column(head="B")), rows=(("x", "Y" * 90),))))
    assert caught.value.refusals[0].field == "Facts: B"
    with pytest.raises(DoesNotFit, match="Resin lot"):
        render_record(record(Rows(rows=(("Resin lot", "Y" * 120),))))
    with pytest.raises(DoesNotFit, match="a block of the record"):
        render_record(record(Rows(rows=(("Resin lot", "word " * 3000),))))


def test_a_row_with_too_few_cells_is_refused():
    with pytest.raises(BadInput, match="one cell for each column"):
        Table(columns=(Column(head="A"), Column(head="B")), rows=(("x",),))


def test_the_plate_is_drawn_to_scale_with_its_codes():
    zone = PlateZone(
        code="7KQ3C",
        polygon_um=((10_000, 10_000), (60_000, 10_000), (60_000, 40_000), (10_000, 40_000)),
        units=(
            PlateUnit(x_um=20_000, y_um=20_000, footprint_um=(6_000, 6_000)),
            PlateUnit(x_um=40_000, y_um=20_000, footprint_um=(12_000, 5_000), rotation_deg=30.0, is_round=False),
        ),
    )
    test_zone = replace(zone, code="9AD4E", is_test=True)
    drawing = PlateDrawing(width_um=120_000, depth_um=80_000, zones=(zone, test_zone))
    pdf = render_record(record(drawing))
    text = pages_of(pdf)[0]
    for part in ("7KQ3C", "9AD4E test", "120 x 80 mm", "10 mm", "operator's side"):
        assert part in text
    moved = replace(zone, units=(replace(zone.units[0], x_um=21_000),))
    assert render_record(record(replace(drawing, zones=(moved, test_zone)))) != pdf
