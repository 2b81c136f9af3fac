"""The order JSON: what the REST API takes for one order, and ``demo --orders FILE`` as a list.

One order::

    {"reference": "WARD-4-0017",               the sender's own number, unique per source
     "patient": {"identifier": {"system": "urn:demo:hospital-number", "value": "D-1001"},
                 "family_name": "...", "given_name": "...", "birth_date": "2019-05-04",
                 "sex": "female",              female, male, other, unknown
                 "weight": {"value": "16.2", "unit": "kg", "measured_on": "2026-03-01"},   optional; kg or g
                 "height": {"value": "101", "unit": "cm", "measured_on": "2026-03-01"},    optional; cm, m, mm
                 "allergies": {"status": "listed", "entries": ["penicillin, rash"]},
                                               none, listed, not recorded: three different things
                 "swallowing": "solids",       solids, mini-units only, no solids, not assessed
                 "feeding_tube": false, "stricture": false, "pregnancy_possible": false,
                                               optional; left out means not recorded
                 "largest_unit_mm": "8"},      optional; the patient's own limit
                 or {"code": "PA-..."} for a patient of this site
     "substance": "hydrocortisone",
     "release": "immediate",                   immediate, prolonged
     "route": "oral",
     "reason": "no licensed tablet of 1.75 mg",   why a licensed product will not do
     "indication": "...", "legal_basis": "...",   optional
     "prescriber": {"registration": "..."},       optional
     "ready_by": "2026-03-09T15:00:00+00:00",     optional; with its offset
     "regimen": {"steps": [
        {"dose": "3 mg", "times": ["07:00"], "start_date": "2026-03-10", "days": 28}]}}

A dose is text with its unit: ug, mg, g, or per kg or m2 of body ("2 mg/kg", "60 mg/m2", then with an
optional "max_dose" in a mass). A step has either ``days`` or ``stop_date`` (the last day, included), and
one of::

    "times": ["07:00", "19:00"]              local clock times
    "slots": ["with breakfast"]              before breakfast, with breakfast, with lunch, with supper, at bedtime
    "as_needed": {"least_interval": "6 h", "most_per_day": 4, "reason": "pain"}
                                             reason optional where the order has an indication

on every day, or with ``"every_n_days": 2`` (counted from the start) or ``"weekdays": ["monday"]`` on those
alone; names, because some calendars begin the week with Sunday. An order may further say::

    "supply_days": 14                        handed over in supplies of so many days, each in its own containers
    "repeats": {"order": "RX-...", "change": "dose raised for growth"}
                                             what it repeats (or "reference", the sender's own number of it), and
                                             what changed; without "change" nothing but the dates may differ
    "sender_words": "..."                         what the sender wrote besides, for whoever signs and checks

Numbers of JSON are taken for counts only: a dose or a weight as a number is refused, because the next
program may have lost a digit of it. Unknown names are refused. The same shape, for machines, is
``fixtures/contracts/order.schema.json``.
"""

from __future__ import annotations

from datetime import date
from typing import Any, Final

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from dosewright.ground.pure.quantities import Basis
from prescriptions.intake.order_request import RELEASES, ROUTES, KnownPatient, OrderRequest, Repeat
from prescriptions.intake.patient_json import patient_as_json, read_patient, without_identity
from prescriptions.intake.reading import (
    Reader,
    choice_of,
    read_count,
    read_list,
    read_moment,
    text_of,
    within,
    without_none,
)
from prescriptions.intake.regimen_json import read_regimen, step_as_json
from prescriptions.regimens import check_reasons, check_supply_days

ORDER_NAMES: Final = (
    *("reference", "patient", "substance", "release", "route", "reason", "indication", "legal_basis"),
    *("prescriber", "ready_by", "regimen", "supply_days", "repeats", "sender_words"),
)
REPEAT_NAMES: Final = ("order", "reference", "change")
LONGEST_WORDS: Final = 1000
"""Longest words of a sender [characters]: judgement, no source."""
MOST_ORDERS: Final = 1000
"""Most orders of one list: judgement, no source; more come in several files."""


def read_order(value: object, *, today: date) -> OrderRequest:
    """Return the order that ``value`` (from `strict_json.parse`) holds; ``today`` is the site's date.

    Raises BadInput with every refusal, each with a place such as "regimen.steps[0].dose".
    """
    refusals: list[Refusal] = []
    order = Reader(value, "", ORDER_NAMES, refusals)
    known = {
        "reference": order.read("reference", text_of(120)),
        "patient": order.read("patient", within(refusals, lambda v, p, r: read_patient(v, p, r, today))),
        "substance": order.read("substance", text_of(80)),
        "release": order.read("release", choice_of(RELEASES)),
        "route": order.read("route", choice_of(ROUTES)),
        "reason": order.read("reason", text_of(300)),
        "regimen": order.read("regimen", within(refusals, read_regimen)),
        "indication": order.read("indication", text_of(200), needed=False),
        "legal_basis": order.read("legal_basis", text_of(60), needed=False),
        "prescriber_registration": order.read("prescriber", within(refusals, _prescriber), needed=False),
        "ready_by": order.read("ready_by", read_moment, needed=False),
        "supply_days": order.read("supply_days", read_count, needed=False),
        "repeats": order.read("repeats", within(refusals, _repeats), needed=False),
        "sender_words": order.read("sender_words", text_of(LONGEST_WORDS), needed=False),
    }
    refuse_if_any(BadInput, [without_identity(one) for one in refusals])
    request = OrderRequest(**known)  # type: ignore[arg-type]
    refuse_if_any(BadInput, _check_whole(request))
    return request


def read_orders(value: object, *, today: date) -> tuple[OrderRequest | BadInput, ...]:
    """Return for each item of a list its order or its refusal, in order: one bad order stops no other.

    Raises BadInput where ``value`` is no list, empty or too long. A reference that stands twice is
    taken once.
    """
    items = read_list(value, "orders")
    if len(items) > MOST_ORDERS:
        count, limit = str(len(items)), str(MOST_ORDERS)
        raise BadInput.because("orders", "there are too many orders", value=count, limit=limit, unit="order")
    read: list[OrderRequest | BadInput] = []
    first: dict[str, int] = {}
    for index, item in enumerate(items):
        one = _order_or_refusal(item, today=today)
        if isinstance(one, OrderRequest) and first.setdefault(one.reference, index) != index:
            message = f"order {first[one.reference] + 1} of this list has the same reference"
            accepted = "each reference once"
            one = BadInput(Refusal(field="reference", message=message, value=one.reference, accepted=accepted))
        read.append(one)
    return tuple(read)


def order_request_as_json(request: OrderRequest) -> dict[str, Any]:
    """Return ``request`` as the order JSON; reading it again gives an equal request."""
    prescriber = request.prescriber_registration
    return without_none(
        reference=request.reference,
        patient=patient_as_json(request.patient),
        substance=request.substance,
        release=request.release,
        route=request.route,
        reason=request.reason,
        indication=request.indication,
        sender_words=request.sender_words,
        legal_basis=request.legal_basis,
        prescriber=None if prescriber is None else {"registration": prescriber},
        ready_by=None if request.ready_by is None else request.ready_by.isoformat(),
        regimen={"steps": [step_as_json(step) for step in request.regimen.steps]},
        supply_days=request.supply_days,
        repeats=None if request.repeats is None else _repeat_as_json(request.repeats),
    )


def _order_or_refusal(item: object, *, today: date) -> OrderRequest | BadInput:
    try:
        return read_order(item, today=today)
    except BadInput as refusal:
        return refusal


def _prescriber(value: object, place: str, refusals: list[Refusal]) -> str | None:
    return Reader(value, place, ("registration",), refusals).read("registration", text_of(40))


def _repeats(value: object, place: str, refusals: list[Refusal]) -> Repeat | None:
    reader = Reader(value, place, REPEAT_NAMES, refusals)
    parts = {
        "order": reader.read("order", text_of(20), needed=False),
        "reference": reader.read("reference", text_of(120), needed=False),
        "change": reader.read("change", text_of(200), needed=False),
    }
    if reader.is_object and (parts["order"] is None) == (parts["reference"] is None):
        message = "what is repeated is not stated, or stated twice"
        reader.refuse("order", message, accepted="either order or reference", rule="repeats")
    return Repeat(**{name: text or "" for name, text in parts.items()})


def _repeat_as_json(repeat: Repeat) -> dict[str, Any]:
    return without_none(order=repeat.order or None, reference=repeat.reference or None, change=repeat.change or None)


def _check_whole(request: OrderRequest) -> list[Refusal]:
    """Refuse what only shows across the order: a dose by body size without the size, a start before birth."""
    patient, steps = request.patient, request.regimen.steps
    found = [*check_reasons(request.regimen, request.indication), *check_supply_days(request.supply_days)]
    if isinstance(patient, KnownPatient):
        return found
    for name, measure, bases in (
        ("weight", patient.weight, {Basis.PER_KG, Basis.PER_M2}),
        ("height", patient.height, {Basis.PER_M2}),
    ):
        needing = next((step.dose for step in steps if step.dose.basis in bases), None)
        if measure is None and needing is not None:
            message = f"a dose in {needing.unit} needs the patient's {name}"
            accepted = f"a {name} with its date, or a dose in mg"
            place = f"patient.{name}"
            found.append(
                Refusal(
                    field=place,
                    message=message,
                    value=needing.text,
                    accepted=accepted,
                    rule=f"{name}-missing",
                )
            )
    for index, step in enumerate(steps):
        if step.start_date < patient.birth_date:
            place, start = f"regimen.steps[{index}].start_date", step.start_date.isoformat()
            accepted = f"{patient.birth_date.isoformat()} or later"
            message = "the start is before birth"
            found.append(Refusal(field=place, message=message, value=start, accepted=accepted, rule="date"))
    return found
