"""Orders for tests: one invented child's hydrocortisone, and the way of an order by the services alone."""

from __future__ import annotations

import itertools
from copy import deepcopy
from datetime import datetime
from typing import Any

from dosewright.ground.act import act
from dosewright.ground.models import Work
from dosewright.ground.work import run
from prescriptions import services
from prescriptions.findings import Finding
from prescriptions.intake.order_json import read_order
from prescriptions.intake.order_request import OrderRequest
from prescriptions.queries import order_facts
from prescriptions.services import OrderAnswer
from tests.cast import NOW, Cast, pen

_references = itertools.count(1)

HYDROCORTISONE_ORDER: dict[str, Any] = {
    "patient": {
        "identifier": {"system": "urn:demo:hospital-number", "value": "D-1001"},
        "family_name": "Quillfeather",
        "given_name": "Odalys",
        "birth_date": "2019-05-04",
        "sex": "female",
        "weight": {"value": "20.5", "unit": "kg", "measured_on": "2026-02-27"},
        "height": {"value": "115", "unit": "cm", "measured_on": "2026-02-27"},
        "allergies": {"status": "none"},
        "swallowing": "solids",
        "feeding_tube": False,
        "stricture": False,
        "pregnancy_possible": False,
    },
    "substance": "hydrocortisone",
    "release": "immediate",
    "route": "oral",
    "reason": "no licensed tablet of 1.75 mg",
    "regimen": {
        "steps": [
            {"dose": "3 mg", "times": ["07:00"], "start_date": "2026-03-10", "days": 28},
            {"dose": "2 mg", "times": ["13:00"], "start_date": "2026-03-10", "days": 28},
            {"dose": "1.75 mg", "times": ["19:00"], "start_date": "2026-03-10", "days": 28},
        ]
    },
}
"""One child's unequal daily doses (an invented child)."""


def order_json(*doses: str, **changes: Any) -> dict[str, Any]:
    """Return the demo order with a reference of its own; `doses` replace those of its steps, `patient` parts merge."""
    order = deepcopy(HYDROCORTISONE_ORDER) | {"reference": f"WARD-{next(_references):04d}"}
    for step, dose in zip(order["regimen"]["steps"], doses, strict=False):
        step["dose"] = dose
    patient = changes.pop("patient", {})
    order |= changes
    order["patient"] = patient if "code" in patient else order["patient"] | patient
    return order


def order_request(*doses: str, **changes: Any) -> OrderRequest:
    """Return the demo order as a request."""
    return read_order(order_json(*doses, **changes), today=NOW.date())


def enter_signed(cast: Cast, request: OrderRequest, *, at: datetime = NOW) -> OrderAnswer:
    """Enter an order as its prescriber and sign it at once."""
    shown = services.order_shown(cast.mira, request, source="tests", at=at)
    return services.enter_order(cast.mira, request=request, source="tests", pen=pen(shown), at=at)


def work_off(*kinds: str, at: datetime = NOW) -> int:
    """Run the waiting work whose kind holds one of `kinds` and return how many pieces ended done."""
    waiting = Work.objects.filter(state=Work.WAITING).order_by("pk")
    ids = [row.pk for row in waiting if any(kind in row.kind for kind in kinds)]
    return sum(run(one, clock=lambda: at) for one in ids)


def screen_making(cast: Cast, code: str, *findings: Finding, at: datetime = NOW) -> None:
    """Report the screen "making" as printing does, without printing: with the findings given."""
    with act(cast.worker, "order.screen", at=at, subject=code) as doing:
        services.record_screen(
            doing,
            code,
            order_facts(code).version,
            screen="making",
            occasion="order",
            findings=findings,
            record={"size": "stands in for the provisional size"},
        )


def screened_order(cast: Cast, request: OrderRequest, *, at: datetime = NOW) -> str:
    """Enter, sign and screen an order; return its code."""
    code = enter_signed(cast, request, at=at).code
    work_off("prescriptions.tasks", at=at)
    screen_making(cast, code, at=at)
    return code


def verify(cast: Cast, code: str, *, by: str = "rosa.keller", at: datetime = NOW) -> OrderAnswer:
    """Open the alerts, give reasons where they are needed, and verify."""
    actor = cast.act(by)
    for alert in services.open_alerts(actor, code, at=at):
        if alert.severity == "reason" and alert.standing and not alert.reason:
            services.give_reason(actor, alert.code, reason="weighed against the benefit", at=at)
    return services.verify_order(actor, code, pen=pen(services.verify_shown(actor, code)), at=at)


def verified_order(cast: Cast, request: OrderRequest | None = None, *, at: datetime = NOW) -> str:
    """Return the code of an order that went the way to verified."""
    code = screened_order(cast, request or order_request(), at=at)
    verify(cast, code, at=at)
    return code


def another_child(number: int) -> dict[str, Any]:
    """Return an invented child that is not the demo order's, for `order_request(patient=...)`."""
    return {
        "identifier": {"system": "urn:demo:hospital-number", "value": f"D-{2000 + number}"},
        "family_name": f"Ostrander{'abcdefghij'[number % 10]}",
        "given_name": "Maribel",
        "birth_date": f"2018-{1 + number % 12:02d}-11",
    }
