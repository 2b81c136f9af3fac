"""How values are written: whole, with unit, without a zero or point that can be misread."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dosewright.ground.pure.codes import numbered_code
from dosewright.ground.pure.errors import Refusal
from dosewright.ground.pure.roles import Actor, Channel, Role
from dosewright.roof.api import registry
from dosewright.roof.pages.facts import Table, section_of, table_of
from dosewright.roof.pages.marks import blocker
from dosewright.roof.pages.notation import label_of, written
from dosewright.roof.pages.reader import reading
from dosewright.roof.pages.trace_drawing import drawing
from labels.records import Blocker

registry.load()

# Leading zero, no trailing zero, commas from 1,000 on, no symbol for micro with masses: ISMP list of
# error-prone abbreviations, symbols and dose designations. The rest is the house's choice.
WRITTEN: list[tuple[str, Any, str]] = [
    ("dose_mg", Decimal("2.50"), "2.5 mg"),
    ("dose_mg", Decimal("0.5"), "0.5 mg"),
    ("dose_mg", Decimal("1200"), "1,200 mg"),
    ("dose_mg", "1.75", "1.75 mg"),
    ("predicted_mass_ug", 92_500, "92.5 mg"),
    ("predicted_content_ng", 125_000, "125 micrograms"),
    ("dose_ng", 12_500, "12.5 micrograms"),
    ("dose_ng", 2_500_000, "2.5 mg"),
    ("target_ug", 200_000_000, "200 g"),
    ("height_um", 6_200, "6.2 mm"),
    ("layer_um", 50, "50 µm"),
    ("resin_ul", 1_500, "1.5 mL"),
    ("deviation_frac", Decimal("-0.004"), "−0.4 %"),
    ("assay_frac", Decimal("0.995"), "99.5 %"),
    ("layer_s", Decimal("4.2"), "4.2 s"),
    ("least_s", 5400, "1 h 30 min"),
    ("seconds", 1975, "32 min"),
    ("lot_life_days", 1, "1 day"),
    ("age_days", 2767, "2,767 days, about 7.6 years"),
    ("starts_on", date(2026, 3, 9), "9 Mar 2026"),
    ("start_date", "2026-03-09", "9 Mar 2026"),
    ("active", False, "no"),
    ("anything", None, "–"),
    ("count", 0, "0"),
    ("share", 0.123456789, "0.123457"),
]


@pytest.mark.parametrize(("name", "value", "text"), WRITTEN)
def test_a_value_is_written(name: str, value: Any, text: str) -> None:
    assert written(name, value).text == text


def test_kinds_of_cells() -> None:
    order = numbered_code("order", 7)
    assert written("order", order).link == f"/order/{order}"
    unit = numbered_code("unit", 7)
    assert written("unit", unit).link == ""
    assert written("order", order[:-1] + ("3" if order[-1] != "3" else "4")).kind == "text"
    assert written("state", "received").kind == "state"
    assert written("anything", "0" * 64).kind == "digest"
    assert written("token", "0" * 64).kind == "secret"
    at = written("at", datetime(2026, 3, 2, 9, 0, tzinfo=UTC))
    assert (at.text, at.exact) == ("2 Mar 2026, 09:00", "2026-03-02T09:00:00+00:00")


def test_labels_leave_the_unit_to_the_value() -> None:
    assert [label_of(name) for name in ("dose_mg", "ready_by", "made_at", "birth_date", "seconds", "days")] == [
        "Dose",
        "Ready by",
        "Made",
        "Birth date",
        "Printing time",
        "Days",
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Inner:
    number: int
    dose_mg: Decimal
    times: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outer:
    code: str
    user_id: int
    lines: tuple[Inner, ...]
    one: Inner
    names: tuple[str, ...]
    odd: tuple[Any, ...]


def test_any_record_has_a_page() -> None:
    inner = Inner(number=1, dose_mg=Decimal("2.5"), times=("07:00", "13:00"))
    record = Outer(code="x", user_id=4, lines=(inner, inner), one=inner, names=("a", "b"), odd=({"deep": {"er": 1}},))
    section = section_of(record)
    assert [item.label for item in section.items] == ["Code", "Names"]
    lines, one, odd = section.parts
    assert isinstance(lines, Table)
    assert lines.columns == ("Number", "Dose", "Times")
    assert lines.numeric == (True, True, False)
    assert [cell.text for cell in lines.rows[0][2]] == ["07:00", "13:00"]
    assert (one.title, odd.title) == ("One", "Odd 1")


def test_lengths_by_name_keep_the_unit_of_the_whole() -> None:
    (size,) = section_of({"size_mm": {"diameter": (Decimal("3.6"), Decimal(7))}}).parts
    assert [(item.label, [cell.text for cell in item.cells]) for item in size.items] == [
        ("Diameter", ["3.6 mm", "7 mm"])
    ]


@pytest.mark.parametrize(("role", "link"), [(Role.TECHNICIAN, False), (Role.PHARMACIST, True)])
def test_a_code_leads_only_where_its_reader_may_go(role: Role, link: bool) -> None:
    patient = numbered_code("patient", 1)
    actor = Actor(
        user_id=1,
        username="x",
        printed_name="X",
        registration="",
        site_id=1,
        site_code="S",
        zone=ZoneInfo("UTC"),
        roles=frozenset({role}),
        channel=Channel.PAGE,
    )
    with reading(actor):
        assert bool(written("code", patient).link) is link
    assert written("code", patient).link


def test_what_stands_in_the_way_is_told_in_words() -> None:
    unscreened = Blocker(code="screen", text="the order was not screened", value="RX-1 <", accepted="a screen")
    refused = Refusal(field="resin_lot", message="is weighing", accepted="an approved lot")
    assert blocker("plain") == "plain"
    assert blocker(unscreened) == (
        'the order was not screened: RX-1 &lt; <span class="soft">– accepted: a screen</span>'
    )
    assert blocker(refused) == 'Resin lot: is weighing <span class="soft">– accepted: an approved lot</span>'


def test_two_tables_of_one_name_can_be_told_apart() -> None:
    unit = [{"code": "x"}]
    whole = section_of({"evidence": {"units": unit}, "zone": {"units": unit}})
    labels = [table.label for part in whole.parts for table in part.parts]
    assert labels == ["Evidence: Units", "Zone: Units"]


def test_a_table_shows_chosen_columns_that_exist() -> None:
    table = table_of([{"b": 1, "a": 2}], columns=("a", "c"))
    assert table.columns == ("A",)
    assert table_of([]).rows == ()


def test_the_picture_of_a_trace_groups_alike_units_and_links_the_rest() -> None:
    zone, pack = numbered_code("zone", 1), numbered_code("pack", 1)
    units = [numbered_code("unit", number) for number in range(5)]
    nodes = [{"kind": "zone", "code": zone}, {"kind": "pack", "code": pack}]
    nodes += [{"kind": "unit", "code": code} for code in units]
    edges = [{"from": pack, "to": code, "how": "holds"} for code in units[:4]]
    edges += [{"from": code, "to": zone, "how": "stood in"} for code in units]
    picture = drawing(nodes, edges, centre=pack)
    assert "4 units" in picture
    assert f'href="/trace/{units[4]}"' in picture
    assert f'href="/pack/{pack}"' in picture or f'href="/trace/{pack}"' in picture
    assert picture.count('class="edge"') == 3
    assert 'class="box centre"' in picture
    assert "style=" not in picture
    assert drawing([], [], centre=pack).startswith("<svg")
