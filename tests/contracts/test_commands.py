"""`formulation`, `plan`, `trace`, `verify_audit` and `seed` with ``--json``: their contracts and their exit codes."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from dosewright.roof.demo.invented import invented_orders
from dosewright.roof.demo.orders import scenario
from tests.contracts.conftest import Bench
from tests.contracts.running import Teller, holds, manage
from tests.services.stacks import Stack, environment_of


def test_formulations_are_listed_and_shown(bench: Bench) -> None:
    listed = bench.manage("formulation", "--json")
    shown = bench.manage("formulation", bench.formulation, "--json")
    assert (listed.code, shown.code) == (0, 0)
    assert holds("formulation", listed.document)
    assert holds("formulation", shown.document)
    assert listed.document == [shown.document]
    assert shown.document["invented"] is True
    assert sum(one["mass_frac"] for one in shown.document["recipe"]) == pytest.approx(1, abs=1e-9)
    ways = {(one["orientation"], one["mount"]) for one in shown.document["model"]["terms"]}
    assert {(one["orientation"], one["mount"]) for one in shown.document["ranges"]} <= ways


def test_every_end_of_a_validated_range_can_be_made(bench: Bench) -> None:
    for one in bench.manage("formulation", bench.formulation, "--json").document["ranges"]:
        for dose_mg in one["dose_mg"].values():
            way = ("--shape", one["shape"], "--rule", one["rule"], "--layer-um", str(one["layer_um"][0]))
            sized = bench.size(f"{dose_mg} mg", *way)
            assert sized.code == 0, (one, dose_mg)
            assert sized.document["units_per_dose"] == 1


def test_a_plan_is_made_and_shown(bench: Bench) -> None:
    arguments = ("plan", "--resin-lot", bench.resin_lot, "--printer", bench.printer, "--as", "tomas.lind", "--json")
    made = bench.manage(*arguments)
    assert made.code == 0, made
    assert holds("plan", made.document)
    shown = bench.manage("plan", "--show", "--json")
    assert shown.code == 0
    assert holds("plan", shown.document)
    plates = shown.document["plates"]
    assert plates
    assert {one["batch"] for one in plates} == set(made.document["batches"])
    zones = [zone for one in plates for zone in one["zones"]]
    codes = [unit["code"] for zone in zones for unit in zone["units"]]
    assert len(codes) == len(set(codes))
    assert {one["lot"] for one in plates} == {bench.resin_lot}
    assert {one["printer"] for one in plates} == {bench.printer}
    for one in plates:
        single = bench.manage("plan", "--show", one["batch"], "--json")
        assert single.document == {"plates": [one]}
    assert inside_their_zones(plates) == len(codes)


def test_a_plan_of_everything_that_finds_nothing_is_refused(bench: Bench) -> None:
    bench.manage("plan", "--as", "tomas.lind", "--json")
    refused = bench.manage("plan", "--as", "tomas.lind", "--json").refused
    assert refused[0]["field"] == "lines"
    assert refused[0]["accepted"]


def inside_their_zones(plates: list[dict]) -> int:
    """Return how many units' footprints lie inside their zone's polygon, by a general library."""
    from shapely import Polygon, affinity, box

    found = 0
    for zone in (zone for plate in plates for zone in plate["zones"]):
        polygon = Polygon(zone["polygon_um"])
        for unit in zone["units"]:
            wide, deep = unit["footprint_um"]
            placed = affinity.translate(
                affinity.rotate(box(-wide / 2, -deep / 2, wide / 2, deep / 2), unit["rotation_deg"], origin=(0, 0)),
                unit["x_um"],
                unit["y_um"],
            )
            found += polygon.covers(placed)
    return found


@pytest.mark.parametrize(
    ("lot", "printer", "username", "field"),
    [
        ("RN-NONE", "", "tomas.lind", "resin_lot"),
        ("", "PR-NONE", "tomas.lind", "code"),
        ("", "", "mira.voss", "actor"),
        ("", "", "nobody", "user"),
    ],
)
def test_a_plan_that_cannot_be_asked_for_is_refused(
    bench: Bench, lot: str, printer: str, username: str, field: str
) -> None:
    chosen = ("--resin-lot", lot or bench.resin_lot, "--printer", printer or bench.printer, "--as", username)
    refused = bench.manage("plan", *chosen, "--json").refused
    assert refused[0]["field"] == field
    assert refused[0]["value"]
    assert refused[0]["accepted"]


def test_a_batch_that_is_none_is_refused(bench: Bench) -> None:
    refused = bench.manage("plan", "--show", "PB-NONE", "--json").refused
    assert (refused[0]["field"], refused[0]["value"]) == ("batch", "PB-NONE")
    assert refused[0]["accepted"]


def test_an_order_is_traced_to_its_lines_and_its_patient(bench: Bench) -> None:
    answer = bench.manage("trace", bench.orders[0], "--json")
    assert answer.code == 0, answer
    found = answer.document
    assert holds("trace", found)
    kinds = {node["code"]: node["kind"] for node in found["nodes"]}
    assert len(kinds) == len(found["nodes"])
    assert {"order", "dose line", "patient", "person"} <= set(kinds.values())
    assert all({edge["from"], edge["to"]} <= set(kinds) for edge in found["edges"])
    assert (bench.orders[0], "patient") in {(edge["from"], kinds[edge["to"]]) for edge in found["edges"]}


@pytest.mark.parametrize(
    ("code", "username", "field"),
    [
        ("nothing", "otto.krug", "code"),
        ("RX-AAAAAAAA", "otto.krug", "code"),
        ("", "tomas.lind", "actor"),
        ("", "nobody", "user"),
    ],
)
def test_a_trace_that_cannot_be_made_is_refused(bench: Bench, code: str, username: str, field: str) -> None:
    refused = bench.manage("trace", code or bench.orders[0], "--as", username, "--json").refused
    assert refused[0]["field"] == field
    assert refused[0]["accepted"]


def test_an_untouched_trail_is_verified(bench: Bench) -> None:
    answer = bench.process("verify_audit", "--json")
    assert answer.code == 0, answer
    assert holds("verify_audit", answer.document)
    assert answer.document["faults"] == []
    assert answer.document["entries"] == sum(one["length"] for one in answer.document["chains"]) > 0


def test_a_trail_that_is_not_the_anchored_one_is_a_fault(bench: Bench) -> None:
    chain = bench.manage("verify_audit", "--json").document["chains"][0]
    good = bench.manage("verify_audit", "--anchor", f"{chain['site']}:{chain['length']}:{chain['head']}", "--json")
    assert (good.code, good.document["faults"]) == (0, [])
    answer = bench.manage("verify_audit", "--anchor", f"{chain['site']}:3:{'0' * 64}", "--json")
    assert answer.code == 1
    assert holds("verify_audit", answer.document)
    assert [one["where"] for one in answer.document["faults"]] == [f"{chain['site']} entry 3"]


@pytest.mark.parametrize(
    "arguments",
    [
        ("plan",),
        ("plan", "--resin-lot", "RN-X", "--printer", "PR-X"),
        ("trace",),
        ("verify_audit", "--anchor", "nonsense"),
        ("seed", "--orders", "3"),
        ("seed", "--orders", "three", "--seed", "1"),
        ("seed", "--orders", "-1", "--seed", "1"),
        ("formulation", "--no-such-option"),
    ],
)
def test_wrong_usage_is_exit_2_and_prints_no_document(bench: Bench, arguments: tuple[str, ...]) -> None:
    answer = bench.manage(*arguments, "--json")
    assert (answer.code, answer.out) == (2, ""), answer
    assert answer.err


NEEDS_A_SITE = (
    ("formulation",),
    ("size", "--formulation", "FM-X", "--dose", "2 mg"),
    ("plan", "--show"),
    ("plan", "--resin-lot", "RN-X", "--printer", "PR-X", "--as", "tomas.lind"),
    ("trace", "RX-X"),
    ("verify_audit",),
)


def test_a_home_without_a_site_is_exit_3(bare: Stack) -> None:
    assert manage(bare, "formulation", "--json").code == 3
    teller = Teller(bare)
    try:
        for arguments in NEEDS_A_SITE:
            answer = teller.manage(*arguments, "--json")
            assert answer.code == 3, (arguments, answer)
            assert holds("refused", answer.document)
            assert answer.document["refused"][0]["rule"] == "set-up"
    finally:
        teller.end()


def test_an_empty_home_is_seeded_once(tmp_path: Path) -> None:
    home = tmp_path / "home"
    stack = Stack(name="seeded", env=environment_of(home), owner_env={})
    asked = ("seed", "--orders", "3", "--seed", "7", "--json")
    answer = manage(stack, *asked)
    assert answer.code == 0, answer
    found = answer.document
    assert holds("seed", found)
    assert [one["reference"] for one in found["orders"]] == [f"SEED-7-0000{number}" for number in (1, 2, 3)]
    assert all(one["code"] and not one["refused"] for one in found["orders"])
    again = manage(stack, *asked)
    assert again.refused[0]["rule"] == "empty home"


def test_the_same_seed_gives_the_same_orders() -> None:
    day = date(2026, 3, 2)
    assert invented_orders(20, 7, day) == invented_orders(20, 7, day)
    assert invented_orders(20, 7, day) != invented_orders(20, 8, day)


def test_invented_orders_keep_the_contract_of_orders() -> None:
    for order in (*invented_orders(50, 3, date(2026, 3, 2)), *well_formed_scenario()):
        assert holds("order", order)


def well_formed_scenario() -> list[dict]:
    """Return the demo's orders; those that are refused are refused for what they ask, not for their form."""
    return scenario(date(2026, 3, 2))
