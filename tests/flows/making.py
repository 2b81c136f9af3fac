"""Gates, run, removal, finishing, break-off, masses, contents and verdicts, over HTTP, with the refusals on the way."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from tests.flows.client import refusal
from tests.flows.living import Home
from tests.flows.way import Way

READINGS = {"wash": {"strength_percent": "97"}, "dry": {"temperature_c": "40"}, "cure": {"temperature_c": "38"}}
STATEMENTS = ("line clearance", "people trained", "amber light")
SCALE_MG = Decimal("0.01")
HEAVY = Decimal("1.12")
NONE: Mapping[str, str] = {}


def gates_recorded(home: Home, way: Way) -> None:
    """Record every gate of the batch; what is not as planned is refused at the door."""
    batch = home.tomas.get(f"batch/{way.batch}")
    early = refusal(home.tomas, f"batch/{way.batch}/start", status=409)
    assert {"line clearance", "lot", "tank fill", "layer count"} <= {one["field"] for one in early.refused}
    values = {
        "lot": (way.bench.resin_lot, ""),
        "tank fill": (way.bench.tank_fill, ""),
        "print profile": (batch["profile_sha256"], batch["profile_name"]),
        "layer count": (str(batch["layers"]), ""),
        **{gate: ("", f"{gate}: seen (invented)") for gate in STATEMENTS},
    }
    wrong = {
        "lot": way.bench.ingredient_lots[0],
        "layer count": str(batch["layers"] - 1),
        "print profile": "0" * 64,
    }
    for gate, value in wrong.items():
        said = {"gate": gate, "value": value, "statement": values[gate][1]}
        assert refusal(home.tomas, f"batch/{way.batch}/gate", said, status=409).on(gate)["accepted"]
    for gate, (value, statement) in values.items():
        answer = home.tomas.post(f"batch/{way.batch}/gate", {"gate": gate, "value": value, "statement": statement})
        assert gate not in answer["waiting"]
    assert answer["waiting"] == []


def started(home: Home, way: Way) -> None:
    """Start the run once the printer says that it holds the file."""
    home.until(
        "the printer holds the file", lambda: all(one["holds"] for one in home.tomas.get(f"run/{way.batch}")["gates"])
    )
    assert refusal(home.rosa, f"batch/{way.batch}/start", status=403).on("actor")["accepted"] == "technician"
    assert home.tomas.post(f"batch/{way.batch}/start")["state"] == "printing"
    assert refusal(home.tomas, f"batch/{way.batch}/cancel", {"reason": "too late"}, status=409).slug == "conflict"


def printed(home: Home, way: Way) -> None:
    """Wait while the printer prints; see that its layers come in."""
    seen: set[int] = set()

    def over() -> bool:
        run = home.tomas.get(f"run/{way.batch}")
        assert run["state"] in {"printing", "printed"}, run["state"]
        seen.add(run["layer"])
        return bool(run["state"] == "printed")

    home.until("the print", over)
    batch = home.tomas.get(f"batch/{way.batch}")
    assert max(seen) == batch["layers"]
    assert len(seen) > 2, "layers came in while it printed"


def removed(home: Home, way: Way) -> None:
    """Take the rafts off, every zone counted; a zone left out is refused."""
    zones = home.tomas.get(f"batch/{way.batch}")["zones"]
    counts = {zone["code"]: len(zone["units"]) for zone in zones}
    short = {code: counts[code] for code in list(counts)[1:]}
    assert refusal(home.tomas, f"batch/{way.batch}/remove", {"counts": short}, status=422).slug == "bad-input"
    answer = home.tomas.post(f"batch/{way.batch}/remove", {"counts": counts})
    assert (answer["state"], answer["deviations"]) == ("finishing", [])


def finished(home: Home, way: Way) -> None:
    """Wash twice, dry, cure, each in its range; no cure before the dry has ended, no dry cut short."""
    wet = way.bench.wet
    tools = iter([wet["first bath"], wet["second bath"], wet["drying oven"], wet["cure box"]])
    address = f"batch/{way.batch}"
    steps = home.tomas.get(f"run/{way.batch}")["steps"]
    assert [step["kind"] for step in steps] == ["wash", "wash", "dry", "cure"]
    for step in steps:
        number, kind = step["number"], step["kind"]
        home.tomas.post(f"{address}/start-step", {"number": number, "equipment": next(tools)})
        end = {"number": number, **READINGS[kind]}
        if kind == "dry":
            cure = {"number": number + 1, "equipment": wet["cure box"]}
            assert refusal(home.tomas, f"{address}/start-step", cure, status=409).rules == {"wet"}
            assert refusal(home.tomas, f"{address}/end-step", end, status=409).rules == {"too early"}
        home.skip((step["least_s"] + step["most_s"]) / 2)
        assert home.tomas.post(f"{address}/end-step", end)["deviations"] == []
    assert all(step["in_range"] for step in home.tomas.get(f"run/{way.batch}")["steps"])
    assert home.tomas.post(f"{address}/finish")["state"] == "testing"


def measured(home: Home, way: Way) -> None:
    """Break off, weigh and look at one zone after the other; assay the test units."""
    zones = sorted(home.tomas.get(f"batch/{way.batch}")["zones"], key=lambda zone: zone["removal_order"])
    assert refusal(home.tomas, f"zone/{zones[1]['code']}/break-off", {"counted": 1}, status=409).refused
    for zone in zones:
        heavy = 5 if zone["code"] == way.zone_of("2") else 0
        cracked = {"7": "major"} if zone["code"] == way.zone_of("3") else {}
        measured_zone(home, way, zone, heavy=heavy, defects=cracked)


def measured_zone(
    home: Home, way: Way, zone: dict[str, Any], *, heavy: int = 0, defects: Mapping[str, str] = NONE
) -> None:
    """Break off, weigh and look at one zone; the unit of number `heavy` weighs 12 % too much."""
    code = zone["code"]
    units = [unit for unit in zone["units"] if unit["state"] not in {"unaccounted", "not printed"}]
    assert home.tomas.post(f"zone/{code}/break-off", {"counted": len(units)})["deviations"] == []
    masses = [_mass(unit, heavy=unit["number"] == heavy) for unit in units]
    weighed = home.tomas.post(f"zone/{code}/masses", {"masses_mg": masses, "balance": way.bench.balance})
    assert weighed["deviations"] == []
    home.tomas.post(f"zone/{code}/appearance", {"looked_at": len(units), "defects": dict(defects)})
    for unit in units if not zone["line"] else ():
        found = {"unit": unit["code"], "content_mg": str(Decimal(unit["dose_ng"]) / 1_000_000), "method": "assay"}
        home.jonas.post(f"zone/{code}/content", found)


def judged(home: Home, way: Way) -> None:
    """Judge every zone; the unit that is too heavy must be rejected first."""
    heavy = home.tomas.get(f"zone/{way.zone_of('2')}")
    unit = heavy["units"][4]["code"]
    blocked = refusal(home.tomas, f"zone/{heavy['code']}/judge", status=409)
    assert blocked.on(unit)["rule"] == "mass"
    home.tomas.post(f"zone/{heavy['code']}/reject-unit", {"unit": unit, "reason": "12 % too heavy"})
    way.rejected = {unit, home.tomas.get(f"zone/{way.zone_of('3')}")["units"][6]["code"]}
    assert refusal(home.rosa, f"batch/{way.batch}/close", status=409).refused
    for code in (*way.zones.values(), *way.test_zones):
        verdict = home.tomas.post(f"zone/{code}/judge")
        assert (verdict["outcome"], verdict["state"]) == ("passed", "passed"), verdict
    surplus = home.rosa.post(f"batch/{way.batch}/close")
    assert surplus["state"] == "closed"


def made(home: Home, way: Way) -> None:
    """Go the way from a delivered plate file to a closed batch."""
    gates_recorded(home, way)
    started(home, way)
    printed(home, way)
    removed(home, way)
    finished(home, way)
    measured(home, way)
    judged(home, way)


def _mass(unit: Mapping[str, Any], *, heavy: bool) -> str:
    """Return an invented mass within half a percent of what is predicted, on the balance's scale."""
    factor = HEAVY if heavy else 1 + Decimal(unit["number"] % 7 - 3) / 600
    return str((unit["predicted_mass_ug"] * factor / 1000).quantize(SCALE_MG))
