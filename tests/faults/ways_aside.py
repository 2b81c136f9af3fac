"""What one order's way does not pass: orders that come back or change, lots and packs that are refused, people, tools.

Walked by struck people like the whole way, so that the web server is killed at every step of these actions too.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from tests.cast import PASSWORD
from tests.faults.rows import Ledger
from tests.flows.compounding import equipment, received_lot, tested_lot, weighed_lot
from tests.flows.every_door import Child, by_csv
from tests.flows.living import Home
from tests.flows.making import gates_recorded, started
from tests.flows.ordering import checked, enter_and_sign, order_for, screened, verified
from tests.flows.printer import training_printer
from tests.flows.way import Way, delivered_batch, planned_batch

TRACE = Path(__file__).parents[2] / "fixtures" / "formulations" / "fludrocortisone-tablet.toml"
WHY = {"reason": "tried out by a test (invented)"}
ASIDE = "the-ways-aside"


def walk_aside(home: Home, way: Way, ledger: Ledger, fault: str) -> None:
    """Walk every way aside; a way that does not end as it should is a broken row of its own."""
    ways: dict[str, Callable[[Home, Way], None]] = {
        "people": _people,
        "patients": _patients,
        "orders": _orders,
        "packs": _packs,
        "a-run-that-fails": _faulted_run,
        "a-premix": _premix,
        "lots-and-tools": _lots_and_tools,
        "formulations": _formulations,
    }
    for name, walk in ways.items():
        with ledger.row(fault, f"{ASIDE}-{name}") as told:
            walk(home, way)
            told.say("every action on it was done or refused as without the kills")
            told.seen = "records, audit trail"


def _people(home: Home, way: Way) -> None:
    ada = home.tables.one("SELECT code FROM ground_user WHERE username = 'ada.brandt'")
    home.paul.post(f"person/{ada}/grant", {"role": "auditor"})
    home.tomas.post("token", {"name": "ward program", "days": 1})
    token = home.tomas.post("token", {"name": "another program", "days": 1})["code"]
    home.tomas.post(f"token/{token}/revoke")
    assert home.tables.one(f"SELECT count(*) FROM ground_token WHERE digest LIKE '{token}%'") == 0


def _patients(home: Home, way: Way) -> None:
    asked = {
        "identifier_system": "urn:demo:hospital-number", "identifier_value": "D-7777", "family_name": "Inventedwell",
        "given_name": "Pia", "birth_date": "2015-03-02", "sex": "female", "allergies_status": "not recorded",
        "swallowing": "solids", "weight_kg": "30", "weighed_on": home.now().date().isoformat(),
    }  # fmt: skip
    patient = home.rosa.post("patient", asked)["code"]
    home.rosa.post(f"patient/{patient}/correct", {"given_name": "Pina", **WHY})
    today = home.now().date().isoformat()
    height = {"kind": "height", "value": "131", "unit": "cm", "measured_on": today}
    home.rosa.post(f"patient/{patient}/measure", height)
    home.otto.post(f"patient/{patient}/reveal", WHY)
    assert home.rosa.get(f"patient/{patient}")["given_name"] == "Pina"


def _orders(home: Home, way: Way) -> None:
    imported = by_csv(home, Child(number="E-21", family_name="Quillfen", given_name="Uma", birth_date="2016-02-12"))
    seen = {"reference": "original 21", "seen_on": home.now().date().isoformat()}
    assert home.jonas.sign(f"order/{imported}/attest", seen)["state"] == "received"
    home.rosa.post(f"order/{imported}/stop", WHY)
    order = order_for(home, "ASIDE-1", ("2 mg", "07:00"), days=3, patient=_child("Wrenfold", "D-7801"))
    code = enter_and_sign(home, order)
    screened(home, code)
    assert home.rosa.post(f"order/{code}/return", WHY)["state"] == "returned"
    again = {"change_reason": "checked with the ward (invented)"}
    assert home.mira.sign(f"order/{code}/resubmit", again)["state"] == "received"
    screened(home, code)
    order["regimen"]["steps"][0]["dose"] = "2.5 mg"
    assert home.mira.post(f"order/{code}/amend", {"order": order, **again})["state"] == "received"
    home.mira.sign(f"order/{code}/sign")
    screened(home, code)
    unknown = {**_child("Yarrowby", "D-7802"), "allergies": {"status": "not recorded"}}
    asks = enter_and_sign(home, order_for(home, "ASIDE-2", ("2 mg", "07:00"), days=3, patient=unknown))
    screened(home, asks)
    checked(home, asks)
    for one in (code, asks):
        assert home.rosa.post(f"order/{one}/stop", WHY)["state"] == "stopped"


def _packs(home: Home, way: Way) -> None:
    held = list(way.packs.values())[2]
    assert home.rosa.post(f"pack/{held}/quarantine", WHY)["state"] == "quarantined"
    witness = {"witness": "rosa.keller", "witness_password": PASSWORD, **WHY}
    assert home.jonas.post(f"pack/{held}/destroy", witness)["state"] == "destroyed"
    deviation = {"kind": "other", "text": "a lamp failed (invented)", "effect": "none on the units (invented)"}
    found = home.tomas.post("deviation", {**deviation, "batch": way.batch})["code"]
    closing = {
        "investigation": "looked at (invented)",
        "action_taken": "lamp changed (invented)",
        "decision": "may be used",
    }
    home.rosa.sign(f"deviation/{found}/close", closing)


def _faulted_run(home: Home, way: Way) -> None:
    one = verified(home, order_for(home, "ASIDE-3", ("2 mg", "07:00"), days=3, patient=_child("Aldermist", "D-7803")))
    planned_batch(home, way)
    home.tomas.post(f"batch/{way.batch}/cancel", WHY)
    assert home.tomas.get(f"batch/{way.batch}")["state"] == "cancelled"
    home.until("the line is free again", lambda: not home.open_work())
    planned_batch(home, way)
    delivered_batch(home, way)
    with training_printer(home, way.bench.printer_token):
        gates_recorded(home, way)
        started(home, way)
        fault = {"layer": 1, "kind": "film or tank", "text": "the film tore (invented)"}
        home.tomas.post(f"batch/{way.batch}/fault", fault)
        assert home.tomas.get(f"batch/{way.batch}")["state"] == "faulted"
    home.rosa.post(f"order/{one}/stop", WHY)


def _premix(home: Home, way: Way) -> None:
    home.rosa.post(
        "substance",
        {
            "name": "fludrocortisone", "rounding_step_mg": "0.005", "rounding_limit_frac": "0.1",
            "rounding_source": "invented for the tests",
            "limits": [{"per": "dose", "low_mg": "0.01", "high_mg": "1", "source": "invented for the tests"}],
        },
    )  # fmt: skip
    draft = home.nora.post("formulation", {"text": TRACE.read_text(encoding="utf-8")})["code"]
    premix = next(
        one["ingredient"] for one in home.nora.get(f"formulation/{draft}")["recipe"] if one["ingredient"]["premix"]
    )
    due = (home.now() + timedelta(days=90)).date().isoformat()
    fine = {"kind": "balance", "name": "four-place balance", "due_on": due, "check": "inspected (invented)"}
    balance = home.paul.post("equipment", {**fine, "resolution_mg": "0.1", "repeatability_mg": "0.15"})["code"]
    as_is: dict[str, Any] = {
        "assay_frac": "0.992",
        "assay_basis": "as is",
        "assay_expressed_as": "form",
        "loss_on_drying_frac": None,
    }
    parts = []
    for number, part in enumerate(premix["premix"], start=41):
        drug = part["ingredient"]["role"] == "drug"
        parts.append(received_lot(home, {**part, "number": number}, **(as_is if drug else {})))
    lot = home.tomas.post("ingredient-lot/premix", {"ingredient": premix["code"], "target_g": "20"})["code"]
    for number, (part, its) in enumerate(zip(premix["premix"], parts, strict=True), start=1):
        weight = str(Decimal(20000) * Decimal(str(part["mass_frac"])))
        asked = {"item_number": number, "ingredient_lot": its, "actual_mg": weight, "balance": balance}
        home.tomas.post(f"ingredient-lot/{lot}/weigh", asked)
        home.ada.post(f"ingredient-lot/{lot}/check-weighing", {"item_number": number})
    home.tomas.post(f"ingredient-lot/{lot}/mix")
    content = {"top_frac": "0.0178", "middle_frac": "0.0179", "bottom_frac": "0.0178", "u_assay_frac": "0.0001"}
    home.ada.post(f"ingredient-lot/{lot}/assay", {**content, "expressed_as": "moiety"})


def _lots_and_tools(home: Home, way: Way) -> None:
    facts = home.nora.get(f"formulation/{way.bench.formulation}")
    line = facts["recipe"][0]
    refused = received_lot(home, line, approve=False)
    assert home.jonas.post(f"ingredient-lot/{refused}/reject", WHY)["state"] == "rejected"
    lot = weighed_lot(home, way.bench.formulation, way.bench.ingredient_lots, way.bench.balance)
    tested_lot(home, lot, facts["test_plan"])
    assert home.rosa.post(f"resin-lot/{lot}/reject", WHY)["state"] == "rejected"
    for path in (f"resin-lot/{way.bench.resin_lot}", f"ingredient-lot/{way.bench.ingredient_lots[0]}"):
        assert home.tomas.post(f"{path}/block", WHY)["state"] == "blocked"
        home.rosa.sign(f"{path}/unblock")
        assert home.jonas.sign(f"{path}/unblock")["state"] == "approved"
    basket, due = way.bench.wet["basket 1"], (home.now() + timedelta(days=60)).date().isoformat()
    home.tomas.post(f"equipment/{basket}/check", {"due_on": due, "passed": True, "result": "whole (invented)"})
    home.tomas.post(f"equipment/{basket}/clean", {"how": "rinsed twice (invented)"})
    home.tomas.post(f"tank-fill/{way.bench.tank_fill}/empty")
    other = equipment(home, "tank", "tank 2", formulation=way.bench.formulation, capacity_ml="400")
    home.paul.post(f"printer/{way.bench.printer}/tank", {"tank": other})
    for path in (f"resin-lot/{way.bench.resin_lot}", f"ingredient-lot/{way.bench.ingredient_lots[0]}"):
        assert home.tomas.post(f"{path}/close", WHY)["state"] == "exhausted"


def _formulations(home: Home, way: Way) -> None:
    assert home.rosa.post(f"formulation/{way.bench.formulation}/suspend", WHY)["state"] == "suspended"
    assert home.nora.post(f"formulation/{way.bench.formulation}/retire", WHY)["state"] == "retired"


def _child(family_name: str, number: str) -> dict[str, Any]:
    return {
        "identifier": {"system": "urn:demo:hospital-number", "value": number},
        "family_name": family_name,
        "given_name": "Oda",
    }
