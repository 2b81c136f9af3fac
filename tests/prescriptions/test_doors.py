"""The doors of this app: one input each, one service call, every wrong field named, refusals recorded."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from dosewright.ground.models import AuditEntry
from dosewright.ground.pure.errors import BadInput, Conflict, NotAllowed, NotThere
from dosewright.ground.pure.roles import Channel
from dosewright.ground.pure.strict_json import parse
from dosewright.ground.rest import DOORS, LOOKS, plain
from prescriptions import api
from prescriptions.models import Alert, DoseLimit, Order, Patient, Substance
from prescriptions.queries import order_state
from tests.cast import NOW, PASSWORD, Cast
from tests.orders import order_json, screen_making, work_off


def take(cast: Cast, who: str, door: str, raw: Any, code: str = "") -> Any:
    """Go through a door as a person does, with what a request would hold."""
    return plain(DOORS[door]().take(cast.act(who), code, raw, at=NOW))


def shown(cast: Cast, who: str, door: str, code: str) -> dict[str, str]:
    """Return what a signer sends back after looking."""
    seen = DOORS[door]().shown_with_digest(cast.act(who), code, at=NOW)
    return {"shown_digest": seen["shown_digest"], "password": PASSWORD}


def test_an_order_walks_to_verified_by_the_doors_alone(cast: Cast) -> None:
    entered = take(cast, "mira.voss", "order+", {"order": order_json("12 mg", "2 mg", "1 mg")})
    code = entered["code"]
    assert entered == {"code": code, "state": "waiting", "order_version": 1, "version": 1, "repeated": False}
    assert (
        take(cast, "mira.voss", "order/sign", shown(cast, "mira.voss", "order/sign", code), code)["state"] == "received"
    )
    work_off("prescriptions.tasks")
    screen_making(cast, code)
    opened = take(cast, "rosa.keller", "order/open-alerts", {}, code)
    alert = opened["alerts"][0]["code"]
    take(cast, "rosa.keller", "alert/reason", {"reason": "stress cover before surgery"}, alert)
    signed = take(cast, "rosa.keller", "order/verify", shown(cast, "rosa.keller", "order/verify", code), code)
    assert signed["state"] == order_state(code) == "verified"
    seen = LOOKS["order"]().one(cast.rosa, code, at=NOW)
    assert plain(seen)["lines"][0]["dose_mg"] == "12"


def test_an_order_typed_as_text_is_parsed_as_strictly(cast: Cast) -> None:
    import json

    typed = json.dumps(order_json())
    assert take(cast, "mira.voss", "order+", {"order": typed})["state"] == "waiting"
    twice = typed.replace('"route": "oral"', '"route": "oral", "route": "oral"')
    with pytest.raises(BadInput) as refused:
        take(cast, "mira.voss", "order+", {"order": twice})
    assert refused.value.refusals[0].rule == "name-twice"
    assert Order.objects.count() == 1
    assert AuditEntry.objects.filter(action="order.enter", outcome="refused").count() == 1


def test_a_body_of_the_api_is_taken_with_its_decimals(cast: Cast) -> None:
    import json

    body = parse(json.dumps({"order": order_json()}).encode())
    assert body["order"]["regimen"]["steps"][0]["days"] == Decimal(28)
    assert take(cast, "mira.voss", "order+", body)["state"] == "waiting"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"dose": "3 Mg"}, "regimen.steps[0].dose"),
        ({"dose": "3"}, "regimen.steps[0].dose"),
        ({"dose": "NaN mg"}, "regimen.steps[0].dose"),
        ({"dose": "0 mg"}, "regimen.steps[0].dose"),
        ({"dose": "-3 mg"}, "regimen.steps[0].dose"),
        ({"dose": "100 IU"}, "regimen.steps[0].dose"),
        ({"dose": "3.1234567890123 mg"}, "regimen.steps[0].dose"),
        ({"every_n_days": Decimal("1.5")}, "regimen.steps[0].every_n_days"),
    ],
)
def test_bad_orders_name_the_field_and_change_nothing(cast: Cast, changes: dict[str, Any], field: str) -> None:
    order = order_json()
    order["regimen"]["steps"][0] |= changes
    with pytest.raises(BadInput) as refused:
        take(cast, "mira.voss", "order+", {"order": order})
    assert field in {one.field for one in refused.value.refusals}
    assert not Order.objects.exists()
    assert not Patient.objects.exists()
    assert AuditEntry.objects.filter(action="order.enter", outcome="refused").count() == 1


@pytest.mark.parametrize(
    ("raw", "field"),
    [
        ({}, "order"),
        ({"order": "{}", "speed": "fast"}, "speed"),
        ({"order": None}, "order"),
        ([], "body"),
    ],
)
def test_the_envelope_is_strict(cast: Cast, raw: Any, field: str) -> None:
    with pytest.raises(BadInput) as refused:
        take(cast, "mira.voss", "order+", raw)
    assert refused.value.refusals[0].field == field


def test_half_a_pen_is_refused(cast: Cast) -> None:
    with pytest.raises(BadInput):
        take(cast, "mira.voss", "order+", {"order": order_json(), "password": PASSWORD})
    assert not Order.objects.exists()


def test_a_program_enters_and_a_person_signs(cast: Cast) -> None:
    door = DOORS["order+"]()
    code = door.take(cast.act("mira.voss", Channel.TOKEN), "", {"order": order_json()}, at=NOW).code
    pen = shown(cast, "mira.voss", "order/sign", code)
    with pytest.raises(NotAllowed):
        DOORS["order/sign"]().take(cast.act("mira.voss", Channel.TOKEN), code, pen, at=NOW)
    assert take(cast, "mira.voss", "order/sign", pen, code)["state"] == "received"


def test_amend_return_and_resubmit_by_the_doors(cast: Cast) -> None:
    order = order_json(reference="WARD-DOOR")
    code = take(cast, "mira.voss", "order+", {"order": order})["code"]
    take(cast, "mira.voss", "order/sign", shown(cast, "mira.voss", "order/sign", code), code)
    order["regimen"]["steps"][0]["dose"] = "2.5 mg"
    amended = take(cast, "mira.voss", "order/amend", {"order": order, "change_reason": "less is enough"}, code)
    assert (amended["state"], amended["order_version"]) == ("received", 2)
    take(cast, "mira.voss", "order/sign", shown(cast, "mira.voss", "order/sign", code), code)
    take(cast, "rosa.keller", "order/return", {"reason": "please look again"}, code)
    pen = shown(cast, "mira.voss", "order/resubmit", code)
    assert take(cast, "mira.voss", "order/resubmit", {"change_reason": "meant so", **pen}, code)["order_version"] == 2
    assert take(cast, "mira.voss", "order/stop", {"reason": "the child left"}, code)["state"] == "stopped"
    with pytest.raises(Conflict):
        take(cast, "mira.voss", "order/amend", {"order": order, "change_reason": "less is enough"}, code)


def test_query_answer_and_attest_by_the_doors(cast: Cast) -> None:
    order = order_json(prescriber={"registration": "ELSEWHERE-7"})
    code = take(cast, "tomas.lind", "order+", {"order": order})["code"]
    pen = shown(cast, "rosa.keller", "order/attest", code)
    raw = {"reference": "paper 9", "seen_on": "2026-03-02", **pen}
    assert take(cast, "rosa.keller", "order/attest", raw, code)["state"] == "received"
    assert take(cast, "rosa.keller", "order/query", {"question": "meant so?"}, code)["state"] == "queried"
    assert take(cast, "mira.voss", "order/answer", {"answer": "yes"}, code)["state"] == "received"


PATIENT = {
    "identifier_system": "urn:demo:hospital-number",
    "identifier_value": "D-5",
    "family_name": "Quillfeather",
    "given_name": "Odalys",
    "birth_date": "2019-05-04",
    "sex": "female",
    "allergies_status": "none",
    "swallowing": "solids",
    "weight_kg": "20.5",
    "weighed_on": "2026-02-27",
}


def test_patients_by_the_doors(cast: Cast) -> None:
    code = take(cast, "mira.voss", "patient+", PATIENT)["code"]
    measured = take(
        cast,
        "mira.voss",
        "patient/measure",
        {"kind": "height", "value": "1.15", "unit": "m", "measured_on": "2026-03-01"},
        code,
    )
    view = LOOKS["patient"]().one(cast.mira, code, at=NOW)
    assert [(one.code, one.value) for one in view.measures][1] == (measured["measure"], Decimal(115))
    corrected = take(
        cast, "rosa.keller", "patient/correct", {"sex": "male", "family_name": "", "reason": "misread card"}, code
    )
    assert corrected["corrected"] == ["sex"]
    told = take(cast, "otto.krug", "patient/reveal", {"reason": "recall of a lot"}, code)
    assert told["family_name"] == "Quillfeather"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"birth_date": "2026-13-01"}, "birth_date"),
        ({"birth_date": "2026-03-03"}, "birth_date"),
        ({"weight_kg": "45 lb"}, "weight_kg.value"),
        ({"weighed_on": None}, "weight_kg"),
        ({"allergies_status": "listed"}, "allergies"),
        ({"sex": "f"}, "sex"),
        ({"family_name": ""}, "family_name"),
    ],
)
def test_patients_that_are_refused(cast: Cast, change: dict[str, Any], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        take(cast, "mira.voss", "patient+", PATIENT | change)
    assert field in {one.field for one in refused.value.refusals}
    assert not Patient.objects.exists()


LIMIT = {"per": "day", "high_mg": "8", "source": "invented", "basis": "per kg", "age_to_days": 6575}
SUBSTANCE = {
    "name": "Examplinum",
    "rounding_step_mg": "0.5",
    "rounding_limit_frac": "0.1",
    "rounding_source": "invented",
    "limits": [LIMIT],
}


def test_a_substance_by_the_door(cast: Cast) -> None:
    assert take(cast, "rosa.keller", "substance+", SUBSTANCE) == {"name": "examplinum"}
    limit = DoseLimit.objects.get(substance__name="examplinum")
    assert (limit.per, limit.high_mg, limit.basis, limit.since) == ("day", 8, "per kg", NOW.date())
    assert [one.name for one in LOOKS["substance"]().page(cast.mira, after="", limit=1, filters={}, at=NOW).items] == [
        "examplinum"
    ]
    with pytest.raises(Conflict):
        take(cast, "rosa.keller", "substance+", SUBSTANCE)
    with pytest.raises(NotAllowed):
        take(cast, "mira.voss", "substance+", SUBSTANCE | {"name": "another"})


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"rounding_step_mg": "0"}, "rounding_step_mg"),
        ({"rounding_limit_frac": "0.6"}, "rounding_limit_frac"),
        ({"limits": [{"per": "week", "high_mg": "8", "source": "x"}]}, "limits[0].per"),
        ({"limits": [{"per": "day", "high_mg": "0", "source": "x"}]}, "limits[0].high_mg"),
        ({"limits": [{"per": "day", "high_mg": "1", "low_mg": "2", "source": "x"}]}, "limits[0].high_mg"),
        ({"limits": [{"per": "day", "high_mg": "1"}]}, "limits[0].source"),
        ({"limits": [{"per": "day", "high_mg": "1", "source": "x", "most": "2"}]}, "limits[0].most"),
        ({"limits": {}}, "limits"),
        (
            {"limits": [{"per": "day", "high_mg": "1", "source": "x", "from_kg": "9", "to_kg": "9"}]},
            "limits[0].from_kg",
        ),
        ({"moiety_frac": "1.2"}, "moiety_frac"),
        ({"names": {}}, "names"),
        ({"names": ["cortisol"]}, "names[0]"),
        ({"names": [{"name": "cortisol", "kind": "brand", "source": "x"}]}, "names[0].kind"),
        ({"names": [{"name": "cortisol", "kind": "synonym"}]}, "names[0].source"),
        ({"names": [{"name": "salt", "kind": "form", "source": "x"}]}, "names[0].form_frac"),
    ],
)
def test_substances_that_are_refused(cast: Cast, change: dict[str, Any], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        take(cast, "rosa.keller", "substance+", SUBSTANCE | change)
    assert refused.value.refusals[0].field == field
    assert not Substance.objects.filter(name="examplinum").exists()


def test_a_substance_with_names_and_weights_is_shown_in_words(cast: Cast) -> None:
    more = {
        "moiety": "Exampline acid",
        "moiety_frac": "0.9",
        "names": [
            {"name": "Oldname", "kind": "synonym", "source": "invented"},
            {"name": "Examplinum sodium", "kind": "form", "form_frac": "0.95", "source": "invented"},
        ],
        "limits": [LIMIT | {"low_mg": "1", "from_kg": "10", "to_kg": "20.5"}],
    }
    take(cast, "rosa.keller", "substance+", SUBSTANCE | more)
    (seen,) = (
        one
        for one in LOOKS["substance"]().page(cast.mira, after="", limit=9, filters={}, at=NOW).items
        if one.name == "examplinum"
    )
    assert (seen.moiety, seen.moiety_frac) == ("exampline acid", Decimal("0.9"))
    assert seen.names == (
        "examplinum sodium (a form: 1 mg of it makes 0.95 mg; invented)",
        "oldname (the same; invented)",
    )
    assert seen.limits == (
        "at least 1 and at most 8 mg/kg per day, from 0 to before 6575 days of age, from 10 kg, below 20.5 kg, oral: "
        "reason; invented",
    )


def test_looks_page_and_filter(cast: Cast) -> None:
    code = take(cast, "mira.voss", "order+", {"order": order_json("12 mg", "2 mg", "1 mg")})["code"]
    work_off("prescriptions.tasks")
    assert not Alert.objects.exists()
    take(cast, "mira.voss", "order/sign", shown(cast, "mira.voss", "order/sign", code), code)
    work_off("prescriptions.tasks")
    look = {"after": "", "limit": 10, "at": NOW}
    found = LOOKS["alert"]().page(cast.rosa, filters={"order": code}, **look)
    assert [one.rule for one in found.items] == ["limit-dose-high"]
    assert LOOKS["alert"]().one(cast.rosa, found.items[0].code, at=NOW) == found.items[0]
    assert LOOKS["alert"]().page(cast.rosa, filters={"order": "RX-3333333Q"}, **look).items == ()
    assert [row.code for row in LOOKS["order"]().page(cast.rosa, filters={"state": "received"}, **look).items] == [code]
    assert len(LOOKS["patient"]().page(cast.rosa, filters={}, **look).items) == 1
    with pytest.raises(NotThere):
        LOOKS["order"]().one(cast.rosa, "RX-3333333Q", at=NOW)


def test_every_action_of_this_app_has_a_door() -> None:
    from dosewright.ground.pure.roles import ACTIONS

    mine = {name for name in ACTIONS if name.partition(".")[0] in {"patient", "order", "alert", "substance"}}
    assert {one.action for one in DOORS.values() if one.__module__.startswith(api.__name__)} == mine - {"order.screen"}
