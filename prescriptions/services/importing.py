"""Importing a file of orders: each order for itself, or all of them or none where the form asks for it.

Nothing that is imported is signed by it: an order waits for the prescriber it names, or for a pharmacist who
saw the original. Who brought the file is kept as the submitter, apart from who prescribed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.db import IntegrityError

from dosewright.ground.act import Act, act, record_refusal
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.errors import BadInput, Refusal, Refused
from dosewright.ground.pure.roles import Actor, authorise_role
from prescriptions.intake.drafts import UNSENT, Draft, Intake
from prescriptions.intake.fhir_bundle import hold
from prescriptions.intake.files import MOST_BYTES, read_file
from prescriptions.queries.naming import site_today
from prescriptions.services.ordering import enter_order, enter_within
from prescriptions.services.versions import OrderAnswer, compose_request

ACTION = "order.import"


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportedOrder:
    """What became of one order: its code and state, or why it was refused.

    ``repeated`` tells an order that had come before; ``lines`` are those of a CSV file.
    """

    reference: str
    source: str
    lines: tuple[int, ...]
    code: str = ""
    state: str = ""
    repeated: bool = False
    notes: tuple[str, ...] = ()
    refused: tuple[Refusal, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportAnswer:
    """What became of a file: every order in the file's order, and all refusals together.

    ``taken`` and ``repeated`` [orders] count those that are new and those that had come before.
    """

    form: str
    delimiter: str | None
    taken: int
    repeated: int
    orders: tuple[ImportedOrder, ...]
    refused: tuple[Refusal, ...]


def import_file(
    actor: Actor, *, data: bytes, source: str = UNSENT, max_bytes: int = MOST_BYTES, at: datetime
) -> ImportAnswer:
    """Read a file of orders in any of the forms that are taken, and import it; see `import_orders`.

    ``source`` names the sender where the file does not, ``max_bytes`` [bytes] is the most that is read. Raises
    NotAllowed, and BadInput for a file that is none as a whole; that, too, leaves a row in the audit trail.
    """
    try:
        authorise_role(actor, ACTION)
        intake = read_file(data, today=site_today(actor, at), source=source, max_bytes=max_bytes)
    except Refused as refused:
        record_refusal(actor, ACTION, refused, at=at)
        raise
    return import_orders(actor, intake=intake, at=at)


def import_orders(actor: Actor, *, intake: Intake, at: datetime) -> ImportAnswer:
    """Keep the orders of a file; prescribers, pharmacists and technicians.

    An order that came before from the same source with the same content is answered and changes nothing.
    Orders that are refused are told in the answer; each leaves a row in the audit trail. Raises NotAllowed.
    """
    authorise_role(actor, ACTION)
    orders = _whole(actor, intake.drafts, at) if intake.whole else [_one(actor, one, at) for one in intake.drafts]
    return ImportAnswer(
        form=intake.form,
        delimiter=intake.delimiter,
        taken=sum(bool(one.code) and not one.repeated for one in orders),
        repeated=sum(one.repeated for one in orders),
        orders=tuple(orders),
        refused=tuple(_all_refused(intake, orders)),
    )


def _all_refused(intake: Intake, orders: Sequence[ImportedOrder]) -> Iterator[Refusal]:
    """Yield every refusal; in a list of the order JSON with the place of its order before its own."""
    many = intake.form == "orders" and len(orders) > 1
    for number, order in enumerate(orders):
        for one in order.refused:
            yield replace(one, field=f"orders[{number}].{one.field}") if many else one


def _one(actor: Actor, draft: Draft, at: datetime) -> ImportedOrder:
    if draft.request is None:
        return _refused(actor, draft, at)
    try:
        answer = enter_order(actor, request=draft.request, source=draft.source, pen=None, at=at)
    except Refused as refused:
        return _told(draft, refused=draft.placed(refused.refusals))
    return _kept(draft, answer)


def _whole(actor: Actor, drafts: Sequence[Draft], at: datetime) -> list[ImportedOrder]:
    """Keep all in one transaction; look first what each would be refused for, so that all is told at once."""
    looked = [_looked_at(actor, one, at) for one in drafts]
    bad = next((one for one in looked if one.refusals), None)
    if bad is not None:
        return [_refused(actor, one if one.refusals else hold(one, bad.reference), at) for one in looked]
    try:
        return _kept_at_once(actor, drafts, at)
    except IntegrityError:
        return _kept_at_once(actor, drafts, at)


def _looked_at(actor: Actor, draft: Draft, at: datetime) -> Draft:
    if draft.request is None:
        return draft
    try:
        compose_request(actor, draft.request, source=draft.source, at=at)
    except Refused as refused:
        return replace(draft, request=None, refusals=draft.placed(refused.refusals))
    return draft


def _kept_at_once(actor: Actor, drafts: Sequence[Draft], at: datetime) -> list[ImportedOrder]:
    met: Draft | None = None
    try:
        with act(actor, ACTION, at=at) as doing:
            kept = []
            for met in drafts:
                kept.append(_kept(met, _within(doing, met)))
            doing.note(orders=[one.code for one in kept])
            return kept
    except Refused as refused:
        assert met is not None
        reasons = met.placed(refused.refusals)
        return [_told(one, refused=reasons if one is met else hold(one, met.reference).refusals) for one in drafts]


def _within(doing: Act, draft: Draft) -> OrderAnswer:
    """Keep one order of several, with an audit row of its own beside that of the import."""
    assert draft.request is not None
    code = new_code("order")
    part = doing.part("order.enter", subject=code)
    return enter_within(part, code, request=draft.request, source=draft.source, pen=None)


def _refused(actor: Actor, draft: Draft, at: datetime) -> ImportedOrder:
    record_refusal(actor, ACTION, BadInput(*draft.refusals), at=at)
    return _told(draft, refused=draft.refusals)


def _kept(draft: Draft, answer: OrderAnswer) -> ImportedOrder:
    return ImportedOrder(
        reference=draft.reference,
        source=draft.source,
        lines=draft.lines,
        code=answer.code,
        state=answer.state,
        repeated=answer.repeated,
        notes=draft.notes,
    )


def _told(draft: Draft, *, refused: tuple[Refusal, ...]) -> ImportedOrder:
    return ImportedOrder(
        reference=draft.reference, source=draft.source, lines=draft.lines, notes=draft.notes, refused=refused
    )
