"""Bad input over live HTTP: a problem that names field, value and what is accepted; the database as before."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest

from tests.flows.client import Person, Problem, refusal, sign_in
from tests.flows.compounding import Bench, received_lot
from tests.flows.living import Home
from tests.flows.ordering import FAMILY_NAME, enter_and_sign, order_for, screened

MOST_BYTES = 1_000_000
WORDS = "mg, g, ug/kg, mg/kg"


@contextmanager
def nothing_done(home: Home, *, by: str, action: str, refused: int = 1) -> Iterator[None]:
    """Hold that no table gains or loses a row, but the audit trail the refusals of who acted."""
    before, seq = home.tables.counts(), last_entry(home)
    yield
    after = home.tables.counts()
    assert {name: (before[name], after[name]) for name in after if before[name] != after[name]} == {}
    rows = home.tables.all(
        "SELECT u.username, a.action, a.outcome FROM ground_auditentry a JOIN ground_user u ON u.id = a.actor_id "
        f"WHERE a.seq > {seq} ORDER BY a.seq"
    )
    assert rows == [(by, action, "refused")] * refused


def last_entry(home: Home) -> int:
    return int(home.tables.one("SELECT max(seq) FROM ground_auditentry"))


@contextmanager
def caught() -> Iterator[list[Problem]]:
    found: list[Problem] = []
    with pytest.raises(Problem) as raised:
        yield found
    found.append(raised.value)


def named(problem: Problem, field: str, *, value: str, accepted: str) -> None:
    """Hold that the problem names the field with the value and says what would be taken."""
    one = problem.on(field)
    assert value in (one["value"] or ""), one
    assert accepted in (one["accepted"] or ""), one


DOSES = [
    ("NaN mg", "NaN", "a number and a unit"),
    ("Infinity mg", "Infinity", "a number and a unit"),
    ("-Infinity mg", "-Infinity", "a number and a unit"),
    ("0 mg", "0", "a number over 0"),
    ("0.00 mg", "0.00", "a number over 0"),
    ("-3 mg", "-3", "2.5"),
    ("1.2345678901234 mg", "1.2345678901234", "at most 12 digits"),
    ("1000000000000 mg", "1000000000000", "at most 12 digits"),
    ("1e400 mg", "1e400", "2.5"),
    ("3 Mg", "Mg", "mg (Mg is a megagram"),
    ("100 IU", "IU", "a mass such as mg"),
    ("100 U", "U", "a mass such as mg"),
    ("3", "", WORDS),
    ("3,5 mg", "3,5", "2.5"),
    (".5 mg", ".5", "0.5"),
    ("\u0663 mg", "\u0663", "a number and a unit"),
]


@pytest.mark.parametrize(("dose", "value", "accepted"), DOSES, ids=[ascii(one[0]) for one in DOSES])
def test_a_dose_that_is_none_is_refused_by_name(home: Home, dose: str, value: str, accepted: str) -> None:
    order = order_for(home, "BAD-DOSE", ("3 mg", "07:00"), (dose, "13:00"))
    with nothing_done(home, by="mira.voss", action="order.enter"):
        problem = refusal(home.mira, "order", {"order": order}, status=422)
    assert problem.slug == "bad-input"
    assert [one["field"] for one in problem.refused] == ["regimen.steps[1].dose"]
    named(problem, "dose", value=value, accepted=accepted)


def without_weight(home: Home) -> dict[str, Any]:
    order = order_for(home, "BAD-PATIENT", ("0.1 mg/kg", "07:00"))
    del order["patient"]["weight"]
    return order


def in_pounds(home: Home) -> dict[str, Any]:
    day = home.now().date().isoformat()
    return order_for(home, "BAD-PATIENT", patient={"weight": {"value": "45", "unit": "lb", "measured_on": day}})


def not_born(home: Home) -> dict[str, Any]:
    tomorrow = (home.now() + timedelta(days=2)).date().isoformat()
    return order_for(home, "BAD-PATIENT", patient={"birth_date": tomorrow})


def of_nothing_known(home: Home) -> dict[str, Any]:
    return order_for(home, "BAD-SUBSTANCE", substance="unobtainium")


PATIENTS: list[tuple[Callable[[Home], dict[str, Any]], str, str, str]] = [
    (without_weight, "patient.weight", "0.1 mg/kg", "a weight with its date"),
    (in_pounds, "patient.weight.unit", "lb", "kg, g"),
    (not_born, "patient.birth_date", "20", "up to 20"),
    (of_nothing_known, "substance", "unobtainium", "hydrocortisone"),
]


@pytest.mark.parametrize(("build", "field", "value", "accepted"), PATIENTS, ids=[one[0].__name__ for one in PATIENTS])
def test_facts_that_cannot_be_are_refused_by_name(
    home: Home, build: Callable[[Home], dict[str, Any]], field: str, value: str, accepted: str
) -> None:
    with nothing_done(home, by="mira.voss", action="order.enter"):
        problem = refusal(home.mira, "order", {"order": build(home)}, status=422)
    named(problem, field, value=value, accepted=accepted)


def test_pounds_are_named_with_what_they_would_be(home: Home) -> None:
    problem = refusal(home.mira, "order", {"order": in_pounds(home)}, status=422)
    # NIST SP 811 (2008), appendix B.8: 1 lb = 0.45359237 kg exactly
    assert f"{45 * 0.45359237:.2f} kg" in problem.on("unit")["message"]


def a_body(home: Home) -> str:
    return json.dumps({"order": order_for(home, "BAD-BODY")})


BODIES: list[tuple[str, Callable[[str], bytes], str, str, str]] = [
    ("NaN", lambda text: text.replace('"3 mg"', "NaN").encode(), "no-number", "NaN", "finite"),
    ("Infinity", lambda text: text.replace('"3 mg"', "Infinity").encode(), "no-number", "Infinity", "finite"),
    ("minus infinity", lambda text: text.replace('"3 mg"', "-Infinity").encode(), "no-number", "-Inf", "finite"),
    ("1e999", lambda text: text.replace('"3 mg"', "1e999").encode(), "exponent", "1e999", "exponent"),
    ("400 digits", lambda text: text.replace('"3 mg"', "1" * 400).encode(), "digits", "111", "20 digits"),
    (
        "duplicate keys",
        lambda text: text.replace('"route"', '"route": "rectal", "route"').encode(),
        "name-twice",
        "route",
        "each name once",
    ),
    (
        "broken UTF-8",
        lambda text: text.encode().replace(FAMILY_NAME.encode(), b"Qu\xff\xfe"),
        "no-utf-8",
        "ff",
        "UTF-8",
    ),
    ("100,000 brackets", lambda text: b"[" * 100_000, "too-deep", "over 32", "32 levels"),
    (
        "100,000 closed brackets",
        lambda text: b'{"order": ' + b"[" * 100_000 + b"]" * 100_000 + b"}",
        "too-deep",
        "over 32",
        "32 levels",
    ),
    ("half a document", lambda text: text[:-9].encode(), "no-json", "", "one JSON text"),
]


@pytest.mark.parametrize(("name", "build", "rule", "value", "accepted"), BODIES, ids=[one[0] for one in BODIES])
def test_a_body_that_lies_is_refused(
    home: Home, name: str, build: Callable[[str], bytes], rule: str, value: str, accepted: str
) -> None:
    body = build(a_body(home))
    with nothing_done(home, by="mira.voss", action="order.enter"), caught() as found:
        home.mira.post_bytes("order", body)
    assert found[0].status == 422
    assert found[0].rules == {rule}
    named(found[0], "body", value=value, accepted=accepted)


def test_a_body_of_20_mb_is_answered_and_leaves_an_audit_row(home: Home) -> None:
    with nothing_done(home, by="mira.voss", action="order.enter"), caught() as found:
        home.mira.post_bytes("order", b'{"order": "' + b"x" * 20_000_000 + b'"}')
    assert found[0].status == 413
    named(found[0], "body", value="20000013", accepted=f"at most {MOST_BYTES} bytes")


def test_a_form_is_no_json(home: Home) -> None:
    with nothing_done(home, by="mira.voss", action="order.enter"), caught() as found:
        home.mira.post_bytes("order", b"order=3", Content_Type="application/x-www-form-urlencoded")
    assert found[0].status == 415


def test_nobody_is_refused_without_a_row(home: Home) -> None:
    nobody = Person(base_url=home.base_url, username="", password="")
    before, seq = home.tables.counts(), last_entry(home)
    assert refusal(nobody, "order", {"order": {}}, status=401).slug == "who-are-you"
    assert (home.tables.counts(), last_entry(home)) == (before, seq)


def test_a_session_without_its_csrf_token_does_nothing(home: Home) -> None:
    person = sign_in(home.base_url, home.mira.username, home.mira.password)
    del person.headers["X-CSRFToken"]
    before = home.tables.counts()
    refusal(person, "order", {"order": order_for(home, "BAD-CSRF")}, status=403)
    assert home.tables.counts() == before


# ---- formulations, lots, doses outside the range


def test_an_unknown_formulation_is_refused_by_name(home: Home, bench: Bench) -> None:
    unknown = "FM-33333" if bench.formulation != "FM-33333" else "FM-44444"
    with nothing_done(home, by="tomas.lind", action="resin_lot.start"):
        problem = refusal(home.tomas, "resin-lot", {"formulation": unknown, "target_g": "100"}, status=404)
    assert unknown in problem.refused[0]["value"]
    assert problem.refused[0]["accepted"]


@pytest.fixture(scope="module")
def started_lot(home: Home, bench: Bench) -> str:
    """A resin lot of which nothing is weighed."""
    return str(home.tomas.post("resin-lot", {"formulation": bench.formulation, "target_g": "100"})["code"])


def first_line(home: Home, bench: Bench) -> dict[str, Any]:
    (line, *_) = home.nora.get(f"formulation/{bench.formulation}")["recipe"]
    return dict(line)


def weigh(home: Home, bench: Bench, started_lot: str, ingredient_lot: str) -> Problem:
    weight = {"item_number": 1, "ingredient_lot": ingredient_lot, "actual_mg": "65000", "balance": bench.balance}
    with nothing_done(home, by="tomas.lind", action="resin_lot.weigh"):
        return refusal(home.tomas, f"resin-lot/{started_lot}/weigh", weight, status=409)


def test_an_expired_lot_is_not_weighed(home: Home, bench: Bench, started_lot: str) -> None:
    tomorrow = (home.now() + timedelta(days=1)).date().isoformat()
    lot = received_lot(home, first_line(home, bench), expires_on=tomorrow)
    home.skip(2 * 86_400)
    problem = weigh(home, bench, started_lot, lot)
    named(problem, "ingredient_lot", value=lot, accepted="in date")
    assert f"expired on {tomorrow}" in problem.on("ingredient_lot")["message"]


def test_a_blocked_lot_is_not_weighed(home: Home, bench: Bench, started_lot: str) -> None:
    lot = received_lot(home, first_line(home, bench))
    home.ada.post(f"ingredient-lot/{lot}/block", {"reason": "seal broken (invented)"})
    problem = weigh(home, bench, started_lot, lot)
    named(problem, "ingredient_lot", value=lot, accepted="an approved lot")
    assert "blocked" in problem.on("ingredient_lot")["message"]


def test_a_blocked_resin_lot_is_neither_planned_nor_filled(home: Home, bench: Bench) -> None:
    home.ada.post(f"resin-lot/{bench.resin_lot}/block", {"reason": "looks cloudy (invented)"})
    fill = {"tank": bench.wet["tank 1"], "resin_lot": bench.resin_lot, "volume_ml": "10"}
    with nothing_done(home, by="tomas.lind", action="tank.fill"):
        filled = refusal(home.tomas, "tank-fill", fill, status=409)
    plan = {"resin_lot": bench.resin_lot, "printer": bench.printer}
    with nothing_done(home, by="tomas.lind", action="plan.request"):
        planned = refusal(home.tomas, "plan", plan, status=409)
    for problem in (filled, planned):
        assert any("blocked" in f"{one['value']} {one['message']}" for one in problem.refused), problem
    for pharmacist in (home.rosa, home.jonas):
        state = pharmacist.sign(f"resin-lot/{bench.resin_lot}/unblock")["state"]
    assert state == "approved"


def test_a_dose_under_the_range_blocks_with_the_nearest_dose(home: Home, bench: Bench) -> None:
    """The formulation's range is 1 to 6 mg a unit (its fixture, invented)."""
    code = enter_and_sign(home, order_for(home, "OUT-1", ("0.75 mg", "07:00"), ("0.75 mg", "19:00")))
    alerts = [one for one in screened(home, code)["alerts"] if one["rule"] == "cannot-be-made"]
    (alert,) = [one for one in alerts if one["unit"] == "mg"]
    assert {one["severity"] for one in alerts} == {"block"}
    assert "0.75" in alert["value"]
    assert alert["limit"] == "1 to 6"
    assert "nearest doses that can be made: none below, 1 mg" in alert["message"]
    home.rosa.post(f"order/{code}/open-alerts")
    assert home.rosa.shown(f"order/{code}/verify")["shown"] is not None
    problem = refusal(home.rosa, f"order/{code}/verify", status=409, signed=True)
    assert problem.slug == "blocked"
    assert home.rosa.get(f"order/{code}")["state"] == "received"
    assert home.tables.one(
        f"SELECT outcome FROM ground_auditentry WHERE subject = '{code}' ORDER BY seq DESC LIMIT 1"
    ) == ("refused")


def test_a_dose_over_range_and_limit_blocks(home: Home, bench: Bench) -> None:
    code = enter_and_sign(home, order_for(home, "OUT-2", ("30 mg", "07:00")))
    found = {one["rule"]: one for one in screened(home, code)["alerts"]}
    assert (found["limit-dose-high"]["severity"], found["limit-dose-high"]["limit"]) == ("block", "10")
    assert "a tenfold slip? 3 mg" in found["limit-dose-high"]["message"]
    assert found["cannot-be-made"]["severity"] == "block"
    assert "nearest doses that can be made: 12 mg, none above" in found["cannot-be-made"]["message"]
    home.rosa.post(f"order/{code}/open-alerts")
    assert refusal(home.rosa, f"order/{code}/verify", status=409, signed=True).slug == "blocked"
