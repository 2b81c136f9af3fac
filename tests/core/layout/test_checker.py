"""The checker by sabotage: every rule it knows is broken here on purpose, and found."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dosewright.ground.pure.errors import BadInput
from printing.core.layout import checker
from printing.core.layout.checker import check_plan, require_sound
from printing.core.layout.expected import found_rules
from printing.core.layout.plan import make_plan
from printing.core.layout.record import plan_record
from tests.core.layout.workloads import expectations, line, request

Record = dict[str, Any]

ASKED = request(
    line(1, count=20), line(2, count=9, footprint_um=(8_000, 8_000), layers=90),
    line(3, count=12, outline="stadium", footprint_um=(12_000, 5_000)), line(4, count=250, formulation="FM-B"),
)  # fmt: skip
SOUND: Record = plan_record(make_plan(ASKED))


def _plate(record: Record, formulation: str = "FM-A") -> Record:
    return next(plate for plate in record["plates"] if plate["formulation"] == formulation)


def _zone(record: Record, number: int | None = 1, formulation: str = "FM-A") -> Record:
    """Return the zone of line `number`, or a test zone."""
    code = None if number is None else line(number).code
    return next(zone for zone in _plate(record, formulation)["zones"] if zone["line"] == code)


def _move_unit(record: Record) -> None:
    _zone(record)["units"][0]["x_um"] += 1


def _nudge_stadium(record: Record) -> None:
    units = _zone(record, 3)["units"]
    units[0]["x_um"], units[0]["y_um"] = units[0]["x_um"] + 2, units[0]["y_um"] + 2


def _shift_zone(record: Record, by: tuple[int, int], number: int = 1) -> None:
    zone = _zone(record, number)
    zone["polygon_um"] = [[x + by[0], y + by[1]] for x, y in zone["polygon_um"]]
    zone["tab_um"][0], zone["tab_um"][1] = zone["tab_um"][0] + by[0], zone["tab_um"][1] + by[1]
    for unit in zone["units"]:
        unit["x_um"], unit["y_um"] = unit["x_um"] + by[0], unit["y_um"] + by[1]


def _over_the_edge(record: Record) -> None:
    zone = _zone(record)
    left = min(x for x, _ in zone["polygon_um"])
    _shift_zone(record, (4_999 - left, 0))


def _onto_a_neighbour(record: Record) -> None:
    here, there = _zone(record)["polygon_um"][0], _zone(record, 2)["polygon_um"][0]
    _shift_zone(record, (there[0] - here[0], there[1] - here[1]))


def _dent(record: Record) -> None:
    zone = _zone(record)
    (x0, y0), (x1, _), *rest = zone["polygon_um"]
    zone["polygon_um"] = [[x0, y0], [(x0 + x1) // 2, y0 + 1], [x1, y0], *rest]


def _clockwise(record: Record) -> None:
    _zone(record)["polygon_um"].reverse()


def _stray(record: Record) -> None:
    """Widen a raft and put its last unit at the far end."""
    zone = _zone(record, 2)
    del _plate(record)["zones"][:]
    _plate(record)["zones"].append(zone)
    left, low = zone["polygon_um"][0]
    high = max(y for _, y in zone["polygon_um"])
    zone["polygon_um"] = [[left, low], [140_000, low], [140_000, high], [left, high]]
    zone["units"][-1]["x_um"] = 134_000


def _lose_unit(record: Record) -> None:
    _zone(record)["units"].pop()


def _swap_units(record: Record) -> None:
    one, other = _zone(record, 1)["units"][0], _zone(record, 2)["units"][0]
    one["code"], other["code"] = other["code"], one["code"]


def _double_unit(record: Record) -> None:
    units = _zone(record)["units"]
    units[1]["code"] = units[0]["code"]


def _patient_unit_in_test_zone(record: Record) -> None:
    _zone(record, None)["units"][0]["code"] = _zone(record)["units"][0]["code"]


def _uneven_parts(record: Record) -> None:
    zones = [zone for plate in record["plates"] for zone in plate["zones"] if zone["line"] == line(4).code]
    assert len(zones) > 1
    zones[0]["units"] += zones[1]["units"][:5]
    del zones[1]["units"][:5]


def _set(path: str, value: Any, number: int | None = 1) -> Callable[[Record], None]:
    def change(record: Record) -> None:
        target = _zone(record, number)
        *way, last = path.split(".")
        for step in way:
            target = target[int(step)] if step.isdigit() else target[step]
        key: Any = int(last) if last.isdigit() else last
        assert target[key] != value
        target[key] = value

    return change


def _set_plate(name: str, value: Any) -> Callable[[Record], None]:
    def change(record: Record) -> None:
        assert _plate(record)[name] != value
        _plate(record)[name] = value

    return change


def _add_layer(record: Record) -> None:
    _plate(record)["layers"] += 1


def _swap_tests(record: Record) -> None:
    tests = [zone for zone in _plate(record)["zones"] if zone["test"] is not None]
    tests[0]["test"], tests[1]["test"] = tests[1]["test"], tests[0]["test"]


def _drop_test(record: Record) -> None:
    zones = _plate(record)["zones"]
    zones.remove(_zone(record, None))
    for place, zone in enumerate(zones, start=1):
        zone["removal"] = place


def _alike(record: Record) -> None:
    zones = _plate(record)["zones"]
    zones[0]["code"], zones[1]["code"] = "ZN-33333", "ZN-33334"


def _same_zone_code(record: Record) -> None:
    zones = _plate(record)["zones"]
    zones[0]["code"] = zones[1]["code"]


def _same_batch(record: Record) -> None:
    record["plates"][0]["batch"] = record["plates"][1]["batch"]


def _unit_on_tab(record: Record) -> None:
    zone = _zone(record)
    x, y = zone["units"][0]["x_um"], zone["units"][0]["y_um"]
    zone["tab_um"][0], zone["tab_um"][1] = x - zone["tab_um"][2] // 2, y - zone["tab_um"][3] // 2


def _tall(record: Record) -> None:
    plate = _plate(record)
    plate["build_height_um"] = plate["layers"] * plate["layer_um"] - 1


SABOTAGE: list[tuple[str, Callable[[Record], None]]] = [
    ("unit-gap", _move_unit),
    ("unit-gap", _onto_a_neighbour),
    ("unit-gap", _nudge_stadium),
    ("raft", _nudge_stadium),
    ("zone-gap", _onto_a_neighbour),
    ("edge", _over_the_edge),
    ("convex", _dent),
    ("convex", _clockwise),
    ("contiguous", _stray),
    ("raft", _set("units.0.y_um", 0)),
    ("tab", _unit_on_tab),
    ("tab", _set("tab_um.2", 13_999)),
    ("tab", lambda record: _set("tab_rotation_deg", 90 - _zone(record)["tab_rotation_deg"])(record)),
    ("count", _lose_unit),
    ("unit-of-line", _lose_unit),
    ("unit-of-line", _swap_units),
    ("unit-code", _double_unit),
    ("test-unit", _patient_unit_in_test_zone),
    ("parts", _uneven_parts),
    ("parts", _set("part.1", 2)),
    ("parts", _set("part.0", 2)),
    ("line", _set("line", "DN-UNKNOWN")),
    ("line", _set("geometry_of", line(2).code)),
    ("one-kind", _set_plate("lot", "RN-B")),
    ("one-kind", _set_plate("formulation", "FM-X")),
    ("one-kind", _set_plate("layer_um", 25)),
    ("geometry", _set("height_um", 3_050)),
    ("geometry", _set("layers", 61)),
    ("geometry", _set("units.3.orientation", "upright")),
    ("geometry", _set("units.3.footprint_um", [6_000, 6_001])),
    ("geometry", _set("outline", "rectangle")),
    ("layers", _add_layer),
    ("layers", _set_plate("base_layers", 11)),
    ("frame", _set_plate("plate_um", [150_000, 145_000])),
    ("frame", _set_plate("gaps_um", {"unit": 1_000, "zone": 5_000, "edge": 5_000})),
    ("frame", _tall),
    ("frame", _set_plate("printer", "PR-B")),
    ("profile", _set_plate("profile", "PF-B")),
    ("resin", _set_plate("resin_ul", 100)),
    ("removal", _set("removal", 99)),
    ("test-plan", _drop_test),
    ("test-plan", _swap_tests),
    ("test-place", _swap_tests),
    ("test-place", _set("test", {"which": "smallest", "where": "centre"}, None)),
    ("code-distance", _alike),
    ("zone-code", _same_zone_code),
    ("batch-code", _same_batch),
    ("record", _set("units.0.x_um", 12.5)),
    ("record", _set("units.0.x_um", True)),
    ("record", _set("polygon_um", [[0, 0], [1, 1]])),
    ("record", _set("units", [])),
    ("record", _set("line", None)),
    ("record", lambda record: record.update(plates=[])),
    ("record", lambda record: record["plates"][0].pop("lot")),
    ("record", lambda record: record["plates"].append("a plate")),
]


def test_the_plan_as_it_came_is_sound() -> None:
    assert check_plan(SOUND, expectations(ASKED)) == []
    require_sound(SOUND, expectations(ASKED))


@pytest.mark.parametrize(("rule", "change"), SABOTAGE, ids=[f"{k}-{rule}" for k, (rule, _) in enumerate(SABOTAGE)])
def test_sabotage_is_found(rule: str, change: Callable[[Record], None]) -> None:
    record = copy.deepcopy(SOUND)
    change(record)
    assert rule in found_rules(check_plan(record, expectations(ASKED)))
    with pytest.raises(BadInput):
        require_sound(record, expectations(ASKED))


def test_a_printer_that_builds_less_high_is_found() -> None:
    wanted = expectations(ASKED)
    low = replace(wanted, printers=(replace(wanted.printers[0], build_height_um=5_000),))
    assert "build-height" in found_rules(check_plan(SOUND, low))


def test_a_height_that_is_not_whole_layers_is_found() -> None:
    wanted = expectations(ASKED)
    odd = replace(wanted.lines[0], height_um=3_001)
    assert "geometry" in found_rules(check_plan(SOUND, replace(wanted, lines=(odd, *wanted.lines[1:]))))


def test_wider_gaps_than_planned_are_found() -> None:
    wanted = expectations(ASKED)
    for name, rule in (
        ("unit_gap_um", "unit-gap"),
        ("zone_gap_um", "zone-gap"),
        ("edge_um", "edge"),
        ("border_um", "raft"),
    ):
        wider = replace(wanted, **{name: getattr(wanted, name) + 1})
        assert rule in found_rules(check_plan(SOUND, wider))


def test_a_line_that_nobody_placed_is_found() -> None:
    wanted = expectations(ASKED)
    forgotten = replace(wanted.lines[0], code="DN-FORGOTTEN", unit_codes=("UN-1",))
    found = check_plan(SOUND, replace(wanted, lines=(*wanted.lines, forgotten)))
    assert {"count", "unit-of-line"} <= found_rules(found)


def test_every_rule_of_the_checker_is_broken_here() -> None:
    folder = Path(checker.__file__).parent
    text = "".join(path.read_text() for path in sorted(folder.glob("check*.py")))
    rules = set(re.findall(r'rule="([a-z-]+)"', text)) | set(re.findall(r'_twice\("([a-z-]+)"', text))
    assert rules == {rule for rule, _ in SABOTAGE} | {"build-height"}


def test_the_checker_knows_nothing_of_the_packer() -> None:
    folder = Path(checker.__file__).parent
    text = "".join(path.read_text() for path in [*folder.glob("check*.py"), folder / "expected.py"])
    imported = set(re.findall(r"printing\.core\.layout\.(\w+)", text))
    assert imported == {"check_codes", "check_counts", "check_geometry", "check_plate", "check_shape", "expected"} - {
        "check_counts"
    }
