"""Takes a file of orders in: entered, signed or attested, screened by the workers, checked by a pharmacist."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings

from dosewright.ground.documents import write_file
from dosewright.ground.models import User
from dosewright.ground.pure.errors import BadInput, Refused
from dosewright.ground.pure.notation import MicroWord, format_mass
from dosewright.roof.demo.stage import PEOPLE, Stage
from prescriptions.intake.drafts import Intake
from prescriptions.intake.files import read_file as read_intake
from prescriptions.intake.files import read_json
from prescriptions.intake.order_request import OrderRequest, StatedPatient
from prescriptions.queries.facts import order_facts, order_state, screens_reported, standing_alerts
from prescriptions.services import (
    attest_order,
    enter_order,
    give_reason,
    open_alerts,
    order_record,
    order_shown,
    verify_order,
    verify_shown,
)

SCENARIO = settings.ROOT / "fixtures" / "demo" / "orders.json"
SOURCE = "demo"
DAY = re.compile(r"day([+-]\d{1,6})")
WORD: MicroWord = "micrograms"
REASON = "accepted by the demo's pharmacist after reading the alert (invented reason)"


Requests = list[tuple[str, OrderRequest | Refused]]
"""Each order of a file with its reference; a refusal stands in its order's place."""


@dataclass(slots=True, kw_only=True)
class Taken:
    """One order of the file: its code once it has one, and why it was refused when it was."""

    reference: str
    code: str = ""
    refused: list[dict[str, Any]] | None = None


def read_file(path: Path | None, today: date) -> Requests:
    """Return each order of a file (order JSON, CSV or FHIR), or of the scenario with its days counted from `today`.

    A refusal stands in its order's place. Raises BadInput for a file that is none of orders at all.
    """
    if path is None:
        return requests_of(read_json(scenario(today), today=today, source=SOURCE))
    return requests_of(read_intake(path.read_bytes(), today=today, source=SOURCE))


def requests_of(intake: Intake) -> Requests:
    """Return each order of an intake with its reference, or its refusal."""
    return [(one.reference, one.request or BadInput(*one.refusals)) for one in intake.drafts]


def newest_measure(requests: Requests) -> date:
    """Return the day of the newest weight or height in the orders, before which the demo must not begin.

    Without any it is the first day there is, so that nothing holds the demo's beginning.
    """
    patients = [one.patient for _, one in requests if isinstance(one, OrderRequest)]
    measures = [
        measure
        for patient in patients
        if isinstance(patient, StatedPatient)
        for measure in (patient.weight, patient.height)
        if measure is not None
    ]
    return max((one.measured_on for one in measures), default=date.min)


def write_scenario(home: Path, today: date) -> None:
    """Leave the scenario's orders in the home as the order JSON that `demo --orders` and the REST API take."""
    text = json.dumps(scenario(today), indent=1, ensure_ascii=False) + "\n"
    write_file(home / "orders.json", text.encode())


def scenario(today: date) -> Any:
    """Return the scenario's orders with "day+3" and the like as dates."""
    return _dated(json.loads(SCENARIO.read_text(encoding="utf-8")), today)


def take_in(stage: Stage, requests: Requests) -> list[Taken]:
    """Enter every order, wait for both screens, have it checked; return what became of each."""
    taken = enter_all(stage, requests)
    for one in taken:
        if one.code and one.refused is None:
            _check(stage, one)
    return taken


def check_again(stage: Stage, taken: list[Taken]) -> bool:
    """Have orders checked again that planning sent back to the pharmacist; say whether there were any."""
    back = [one for one in taken if one.code and one.refused is None and order_state(one.code) == "received"]
    for one in back:
        _check(stage, one)
    return bool(back)


def enter_all(stage: Stage, requests: Requests) -> list[Taken]:
    """Enter every order, signed by the prescriber or attested; return what became of each."""
    return [_enter(stage, reference, request) for reference, request in requests]


def _enter(stage: Stage, reference: str, request: OrderRequest | Refused) -> Taken:
    if isinstance(request, Refused):
        stage.say(f"order {reference} refused: {request}")
        return Taken(reference=reference, refused=[one.as_dict() for one in request.refusals])
    taken = Taken(reference=reference)
    try:
        taken.code = _signed_or_attested(stage, request)
    except Refused as refused:
        taken.refused = [one.as_dict() for one in refused.refusals]
        stage.say(f"order {request.reference} refused: {refused}")
    return taken


def _signed_or_attested(stage: Stage, request: OrderRequest) -> str:
    username = _prescriber(request)
    if username is not None:
        actor = stage.person(username)
        shown = order_shown(actor, request, source=SOURCE, at=stage.now())
        pen = stage.pen(username, shown)
        return enter_order(actor, request=request, source=SOURCE, pen=pen, at=stage.now()).code
    code = enter_order(stage.person("tomas.lind"), request=request, source=SOURCE, pen=None, at=stage.now()).code
    jonas = stage.person("jonas.weber")
    attest_order(
        jonas,
        code,
        reference=f"original of {request.reference}",
        seen_on=stage.now().date(),
        pen=stage.pen("jonas.weber", order_record(jonas, code)),
        at=stage.now(),
    )
    return code


def _prescriber(request: OrderRequest) -> str | None:
    """Return who signs here: the demo's prescriber, unless the order names somebody who is not on file."""
    if request.prescriber_registration is None:
        return PEOPLE[0][0]
    user = User.objects.filter(registration=request.prescriber_registration, kind=User.PERSON).first()
    return user.username if user is not None and user.username in dict.fromkeys(p[0] for p in PEOPLE) else None


def _check(stage: Stage, taken: Taken) -> None:
    """Open the alerts, give reasons where a reason is enough, and verify; what blocks refuses the order."""
    stage.wait(lambda: len(screens_reported(taken.code)) == 2, f"screening of {taken.code}")
    rosa = stage.person("rosa.keller")
    stage.skip(60)
    for alert in open_alerts(rosa, taken.code, at=stage.now()):
        if alert.severity == "reason" and alert.standing:
            give_reason(rosa, alert.code, reason=REASON, at=stage.now())
    try:
        pen = stage.pen("rosa.keller", verify_shown(rosa, taken.code))
        verify_order(rosa, taken.code, pen=pen, at=stage.now())
    except Refused as refused:
        taken.refused = _blocks(taken.code) or [one.as_dict() for one in refused.refusals]
        stage.say(f"order {taken.code} ({taken.reference}) not verified: {_first(taken.refused)}")
        return
    lines = ", ".join(f"{format_mass(line.dose_mg, WORD)} {line.taken}" for line in order_facts(taken.code).lines)
    stage.say(f"order {taken.code} ({taken.reference}) signed, screened twice, verified: {lines}")


def _blocks(code: str) -> list[dict[str, Any]]:
    """Return what blocks, in the shape of refusals."""
    return [
        {
            "field": one.field,
            "message": one.message,
            "value": one.value,
            "limit": one.limit or None,
            "unit": one.unit or None,
            "accepted": None,
            "rule": one.rule,
        }
        for one in standing_alerts(code)
        if one.severity == "block"
    ]


def _first(refused: list[dict[str, Any]]) -> str:
    return f"{refused[0]['field']}: {refused[0]['message']}"


def _dated(value: Any, today: date) -> Any:
    if isinstance(value, dict):
        return {name: _dated(item, today) for name, item in value.items()}
    if isinstance(value, list):
        return [_dated(item, today) for item in value]
    if isinstance(value, str) and (match := DAY.fullmatch(value)):
        return (today + timedelta(days=int(match[1]))).isoformat()
    return value
