"""Formulation, ingredient lots, equipment, resin lot, printer and tank: set up over HTTP by who may."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from tests.flows.client import by_token
from tests.flows.living import Home

FORMULATION = Path(__file__).parents[2] / "fixtures" / "formulations" / "hydrocortisone-tablet.toml"
LOT_G = Decimal(400)
TANK_ML = "150"


@dataclass(slots=True, kw_only=True)
class Bench:
    """Codes of what was set up."""

    formulation: str
    balance: str
    wet: dict[str, str]
    ingredient_lots: list[str]
    resin_lot: str
    printer: str
    printer_token: str
    tank_fill: str


def validated_formulation(home: Home) -> str:
    """Draft the demo's formulation, submit it, and have it signed by a scientist and a pharmacist."""
    code = home.nora.post("formulation", {"text": FORMULATION.read_text(encoding="utf-8")})["code"]
    home.nora.post(f"formulation/{code}/submit")
    first = home.nora.sign(f"formulation/{code}/validate")
    assert first["state"] == "in review"
    assert home.rosa.sign(f"formulation/{code}/validate")["state"] == "validated"
    return str(code)


def equipment(home: Home, kind: str, name: str, **more: Any) -> str:
    """Register a piece of equipment and return its code."""
    due = (home.now() + timedelta(days=90)).date().isoformat()
    asked = {"kind": kind, "name": name, "due_on": due, "check": "inspected (invented)", **more}
    return str(home.paul.post("equipment", asked)["code"])


def received_lot(home: Home, line: dict[str, Any], *, approve: bool = True, **changes: Any) -> str:
    """Receive what a line of the recipe asks for, and approve it; return the lot's code."""
    drug = line["ingredient"]["role"] == "drug"
    delivered = {
        "ingredient": line["ingredient"]["code"],
        "supplier_lot": f"INVENTED-{line['number']:02d}",
        "amount_g": "1000",
        "expires_on": (home.now() + timedelta(days=400)).date().isoformat(),
        "certificate_reference": f"invented certificate {line['number']}",
    }
    if drug:
        delivered |= {
            "assay_frac": "0.9950",
            "u_assay_frac": "0.0020",
            "assay_basis": "dried",
            "assay_expressed_as": "moiety",
            "loss_on_drying_frac": "0.0050",
        }
    code = home.tomas.post("ingredient-lot", delivered | changes)["code"]
    if approve:
        assert home.jonas.post(f"ingredient-lot/{code}/approve")["state"] == "approved"
    return str(code)


def weighed_lot(home: Home, formulation: str, lots: list[str], balance: str) -> str:
    """Start a resin lot, weigh every line by one person, check it by another, mix; return its code."""
    lot = home.tomas.post("resin-lot", {"formulation": formulation, "target_g": str(LOT_G)})["code"]
    for line, ingredient_lot in zip(home.tomas.get(f"resin-lot/{lot}")["sheet"], lots, strict=True):
        weight = {
            "item_number": line["number"],
            "ingredient_lot": ingredient_lot,
            "actual_mg": line["target_mg"],
            "balance": balance,
        }
        home.tomas.post(f"resin-lot/{lot}/weigh", weight)
        home.ada.post(f"resin-lot/{lot}/check-weighing", {"item_number": line["number"]})
    assert home.tomas.post(f"resin-lot/{lot}/mix")["state"] == "mixed"
    return str(lot)


def tested_lot(home: Home, lot: str, test_plan: dict[str, Any]) -> None:
    """Record every test before use with a result that conforms, and close the tests."""
    strength = Decimal(str(home.ada.get(f"resin-lot/{lot}")["strength"]["mg_g"])).quantize(Decimal("0.001"))
    figures = {"assay": str(strength), "cure strip": "110"}
    for rule in test_plan["before_use"]:
        for place in rule["places"]:
            value = rule["accepted"][0] if rule["accepted"] else figures[rule["kind"]]
            home.ada.post(f"resin-lot/{lot}/test", {"kind": rule["kind"], "place": place, "value": value})
    assert home.ada.post(f"resin-lot/{lot}/end-tests")["state"] == "tested"


def printer_with_tank(home: Home, tank: str) -> tuple[str, str]:
    """Register a linked printer, calibrate it, and return its code and its token."""
    spec = {
        "name": "training printer 1",
        "kind": "training printer",
        "mode": "link",
        "plate_x_um": 145_000,
        "plate_y_um": 145_000,
        "build_height_um": 60_000,
        "tank_minimum_ul": 60_000,
        "loss_ul": 3_000,
        "tank": tank,
    }
    code = home.paul.post("printer", spec)["code"]
    due = (home.now() + timedelta(days=90)).date().isoformat()
    for kind in ("calibration", "laser check"):
        check = {"kind": kind, "result": "within range (invented)", "passed": True, "due_on": due}
        home.tomas.post(f"printer/{code}/check", check)
    token = home.paul.post(f"printer/{code}/token")["token"]
    assert by_token(home.base_url, token).get("session")["channel"] == "printer"
    return str(code), str(token)


def ready_bench(home: Home) -> Bench:
    """Set everything up that a plan needs, and fill the tank."""
    formulation = validated_formulation(home)
    facts = home.nora.get(f"formulation/{formulation}")
    balance = equipment(home, "balance", "balance 1", resolution_mg="0.01", repeatability_mg="0.02")
    wet = {
        name: equipment(home, kind, name, formulation=formulation, **more)
        for name, kind, more in (
            ("tank 1", "tank", {"capacity_ml": "400"}),
            ("first bath", "bath", {"capacity_ml": "2000"}),
            ("second bath", "bath", {"capacity_ml": "2000"}),
            ("drying oven", "oven", {}),
            ("cure box", "cure box", {}),
            ("basket 1", "basket", {}),
        )
    }
    lots = [received_lot(home, line) for line in facts["recipe"]]
    lot = weighed_lot(home, formulation, lots, balance)
    tested_lot(home, lot, facts["test_plan"])
    assert home.rosa.sign(f"resin-lot/{lot}/approve")["state"] == "approved"
    printer, token = printer_with_tank(home, wet["tank 1"])
    fill = home.tomas.post("tank-fill", {"tank": wet["tank 1"], "resin_lot": lot, "volume_ml": TANK_ML})["code"]
    return Bench(
        formulation=formulation,
        balance=balance,
        wet=wet,
        ingredient_lots=lots,
        resin_lot=lot,
        printer=printer,
        printer_token=token,
        tank_fill=fill,
    )
