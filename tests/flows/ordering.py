"""The order: substance, patient and regimen, signature, screens, clinical check; everything over HTTP."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from tests.flows.client import Person
from tests.flows.living import Home

FAMILY_NAME = "Quillfeather"
GIVEN_NAME = "Odalys"
NUMBER = "D-1001"
"""What must not stand anywhere but where patients are kept; an invented child."""

DOSES = (("3 mg", "07:00"), ("2 mg", "13:00"), ("1.75 mg", "19:00"))
DAYS = 28

LIMITS = [
    {"per": "dose", "low_mg": "0.5", "high_mg": "10", "source": "invented for the tests"},
    {"per": "day", "low_mg": "1", "high_mg": "20", "source": "invented for the tests"},
]


def set_up_substance(home: Home) -> None:
    """Put hydrocortisone on file with invented limits."""
    home.rosa.post(
        "substance",
        {
            "name": "hydrocortisone",
            "rounding_step_mg": "0.25",
            "rounding_limit_frac": "0.1",
            "rounding_source": "invented for the tests",
            "limits": LIMITS,
        },
    )


def order_for(home: Home, reference: str, *doses: tuple[str, str], days: int = DAYS, **changes: Any) -> dict[str, Any]:
    """Return the order JSON of the invented child, its days counted from the home's own."""
    today = home.now().date()
    start = (today + timedelta(days=7)).isoformat()
    weighed = (today - timedelta(days=3)).isoformat()
    steps = [{"dose": dose, "times": [at], "start_date": start, "days": days} for dose, at in doses or DOSES]
    patient = {
        "identifier": {"system": "urn:demo:hospital-number", "value": NUMBER},
        "family_name": FAMILY_NAME,
        "given_name": GIVEN_NAME,
        "birth_date": (today - timedelta(days=7 * 365)).isoformat(),
        "sex": "female",
        "weight": {"value": "20.5", "unit": "kg", "measured_on": weighed},
        "height": {"value": "115", "unit": "cm", "measured_on": weighed},
        "allergies": {"status": "none"},
        "swallowing": "solids",
        "feeding_tube": False,
        "stricture": False,
        "pregnancy_possible": False,
    }
    order = {
        "reference": reference,
        "patient": patient | changes.pop("patient", {}),
        "substance": "hydrocortisone",
        "release": "immediate",
        "route": "oral",
        "reason": "no licensed tablet of 1.75 mg",
        "regimen": {"steps": steps},
    }
    return order | changes


def enter_and_sign(home: Home, order: dict[str, Any]) -> str:
    """Enter an order and have its prescriber sign it; return its code."""
    entered = home.mira.post("order", {"order": order})
    assert entered["state"] == "waiting"
    assert not entered["repeated"]
    signed = home.mira.sign(f"order/{entered['code']}/sign")
    assert signed["state"] == "received"
    return str(entered["code"])


def screened(home: Home, code: str) -> dict[str, Any]:
    """Wait until both houses have screened the order; return it as the pharmacist sees it."""

    def both() -> dict[str, Any] | None:
        order = home.rosa.get(f"order/{code}")
        return order if {one["screen"] for one in order["reports"]} == {"patient", "making"} else None

    return home.until(f"both screens of {code}", both)


def checked(home: Home, code: str, by: Person | None = None) -> dict[str, Any]:
    """Open the alerts, give a reason where one is enough, and verify; return the answer."""
    pharmacist = by or home.rosa
    for alert in pharmacist.post(f"order/{code}/open-alerts")["alerts"]:
        if alert["severity"] == "reason" and alert["standing"]:
            pharmacist.post(f"alert/{alert['code']}/reason", {"reason": "weighed against the benefit, invented"})
    answer = pharmacist.sign(f"order/{code}/verify")
    assert answer["state"] == "verified"
    return dict(answer)


def verified(home: Home, order: dict[str, Any]) -> str:
    """Take an order the way to verified and return its code."""
    code = enter_and_sign(home, order)
    screened(home, code)
    checked(home, code)
    return code
