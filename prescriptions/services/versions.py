"""Order versions: what a request needs looked up, and the rows that keep what was composed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dosewright.ground.act import Act
from dosewright.ground.added import add_all
from dosewright.ground.fresh import new_code
from dosewright.ground.models import Signature
from dosewright.ground.pure.canonical import canonical_text
from dosewright.ground.pure.errors import Conflict, Refusal
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from dosewright.ground.signing import Pen, sign
from prescriptions.composing import ComposedOrder, OrderContext, PatientFigures, PrescriberFacts, compose
from prescriptions.intake.order_request import KnownPatient, OrderRequest
from prescriptions.intake.regimen_json import step_as_json
from prescriptions.intake.timing_json import schedule_as_json
from prescriptions.models import DoseLine, Order, OrderRemark, OrderVersion, Patient, RegimenStep
from prescriptions.queries.figures import figures_on_file
from prescriptions.queries.naming import prescriber_named, rounding_rule, site_today, substance_named
from prescriptions.queries.repeated import repeated_of

SIGNING = frozenset({"order.enter", "order.sign", "order.attest", "order.amend", "order.resubmit"})
"""Actions whose signature stands for the prescription itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderAnswer:
    """What is told of an order after an action: ``version`` is the record's, ``order_version`` the one that holds."""

    code: str
    state: str
    order_version: int
    version: int
    repeated: bool = False


def answer_of(order: Order, *, repeated: bool = False) -> OrderAnswer:
    """Return what is told of `order`."""
    return OrderAnswer(
        code=order.code, state=order.state, order_version=order.current, version=order.version, repeated=repeated
    )


def compose_request(
    actor: Actor, request: OrderRequest, *, source: str, at: datetime, amends: Mapping[str, Any] | None = None
) -> ComposedOrder:
    """Look up what `request` names and compose it; raises BadInput and NotThere."""
    substance = substance_named(actor.site_id, request.substance)
    context = OrderContext(
        source=source,
        substance=substance.name,
        substance_id=substance.pk,
        rule=rounding_rule(substance),
        prescriber=prescriber_named(actor, request.prescriber_registration),
        zone=actor.zone,
        today=site_today(actor, at),
        known=_known(actor, request),
        amends=amends,
        weekly_only=substance.weekly_only,
        repeated=repeated_of(actor, request, substance.name, source=source),
    )
    return compose(request, context)


def add_version(
    doing: Act,
    order: Order,
    number: int,
    composed: ComposedOrder,
    request: OrderRequest,
    *,
    change_reason: str = "",
) -> OrderVersion:
    """Add the rows of one version: the text that is signed, its steps and its dose lines."""
    prescriber = composed.prescriber
    version = OrderVersion.objects.create(
        order=order,
        number=number,
        substance_id=composed.substance_id,
        release=request.release,
        route=request.route,
        reason=request.reason,
        legal_basis=request.legal_basis or "",
        prescriber_id=prescriber.user_id,
        prescriber_name=prescriber.name,
        prescriber_registration=prescriber.registration,
        submitted_by_id=doing.actor.user_id,
        submitted_at=doing.at,
        starts_on=composed.starts_on,
        ends_on=composed.ends_on,
        text=composed.text,
        digest=composed.digest,
        change_reason=change_reason,
        repeats=_version_repeated(composed),
    )
    _add_steps(version, composed)
    lines = _add_lines(order, version, composed)
    doing.note(order_version=number, digest=composed.digest, lines=lines, prescriber=prescriber.registration)
    return version


def sign_version(doing: Act, pen: Pen, version: OrderVersion, *, shown: Any, meaning: str) -> Signature:
    """Sign the exact record of `version` within `doing`; raises Conflict when it is not what was shown."""
    return sign(
        doing,
        pen,
        meaning=meaning,
        subject_kind="order",
        subject=version.order.code,
        subject_version=version.number,
        shown=shown,
    )


def is_signed(version: OrderVersion) -> bool:
    """Say whether the prescriber signed, or a pharmacist attested, exactly this version's text."""
    return Signature.objects.filter(
        subject_kind="order",
        subject=version.order.code,
        subject_version=version.number,
        shown_digest=version.digest,
        action__in=SIGNING,
    ).exists()


def prescriber_party(version: OrderVersion) -> frozenset[int]:
    """Return the prescriber as a party of an action: nobody where they do not sign in here."""
    return frozenset() if version.prescriber_id is None else frozenset({version.prescriber_id})


def attesters(version: OrderVersion) -> frozenset[int]:
    """Return who attested exactly this version: what one pharmacist saw alone, another one checks."""
    rows = Signature.objects.filter(
        action="order.attest", subject_kind="order", subject=version.order.code, subject_version=version.number
    )
    return frozenset(rows.values_list("signer_id", flat=True))


def received(doing: Act, order: Order) -> None:
    """Tell the houses on the right that the order's current version is to be screened."""
    doing.emit("order received", order=order.code, version=order.current)


def remark(doing: Act, version: OrderVersion, what: str, text: str, *, longest: int = 500) -> None:
    """Keep what was said about an order; raises Conflict for an empty or overlong text."""
    if not 3 <= len(text.strip()) <= longest:
        raise Conflict(
            Refusal(
                field=what,
                message="says nothing, or too much",
                value=f"{len(text)} characters",
                limit=str(longest),
                unit="character",
                accepted=f"3 to {longest} characters",
                rule="text",
            )
        )
    OrderRemark.objects.create(
        order=version.order,
        order_version=version,
        what=what,
        text=text.strip(),
        by_id=doing.actor.user_id,
        at=doing.at,
    )


def _known(actor: Actor, request: OrderRequest) -> PatientFigures | None:
    if not isinstance(request.patient, KnownPatient):
        return None
    return figures_on_file(find(actor, Patient, request.patient.code))


def _add_steps(version: OrderVersion, composed: ComposedOrder) -> None:
    steps = enumerate(zip(composed.regimen.steps, composed.doses, strict=True), start=1)
    add_all(
        [
            RegimenStep(
                version=version,
                number=number,
                text=canonical_text(step_as_json(step)),
                calculated_mg=dose.calculated_mg,
                ordered_mg=dose.ordered_mg,
                rounding_words=dose.text,
                starts_on=step.start_date,
                ends_on=step.stop_date,
            )
            for number, (step, dose) in steps
        ]
    )


def _add_lines(order: Order, version: OrderVersion, composed: ComposedOrder) -> list[str]:
    rows = DoseLine.objects.bulk_create(
        DoseLine(
            code=new_code("dose line"),
            order=order,
            order_version=version,
            number=number,
            dose_mg=line.dose_mg,
            schedule_text=canonical_text(schedule_as_json(line.schedule)),
            administrations=line.count,
            starts_on=line.start_date,
            ends_on=line.stop_date,
            supply=line.supply,
            supplies=line.supplies,
            ready_by=composed.supplies_ready_by[line.supply - 1],
        )
        for number, line in enumerate(composed.lines, start=1)
    )
    return [row.code for row in rows]


def _version_repeated(composed: ComposedOrder) -> OrderVersion | None:
    repeats = composed.record["repeats"]
    if repeats is None:
        return None
    return OrderVersion.objects.get(order__code=repeats["order"], number=repeats["version"])


def no_prescriber(prescriber: PrescriberFacts, actor: Actor) -> Refusal:
    """Return the refusal for a signature by somebody who is not the prescriber named."""
    return Refusal(
        field="actor",
        value=actor.username,
        message="only the prescriber named signs an order",
        accepted=prescriber.name or f"the holder of {prescriber.registration}",
        rule="must be",
    )
