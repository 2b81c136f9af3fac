"""The clinical check: alerts opened, reasons given, and a pharmacist's name under all that was shown."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from dosewright.ground.act import act
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from dosewright.ground.signing import Pen, sign
from prescriptions.models import Alert, Order, OrderVersion
from prescriptions.queries.alerts import (
    AlertFacts,
    alert_facts,
    alerts_of,
    latest_reports,
    screens_on_order,
    standing_fingerprints,
)
from prescriptions.queries.facts import current_version, signatures_of
from prescriptions.queries.regimen import record_of
from prescriptions.services.versions import OrderAnswer, answer_of, attesters, is_signed, prescriber_party

SCREENS = ("making", "patient")
VERIFIED_MEANING = "I checked this order clinically and found it fit to be made."


def open_alerts(actor: Actor, code: str, *, at: datetime) -> tuple[AlertFacts, ...]:
    """Open the alerts of an order's current version and return them; pharmacists.

    Who opened each alert last, and when, is kept: the one who verifies must be the one who opened.
    """
    order = find(actor, Order, code)
    with act(actor, "alert.open", at=at, subject=code) as doing:
        version = current_version(order)
        for alert in Alert.objects.filter(order_version=version).exclude(opened_by_id=actor.user_id):
            doing.change(alert, opened_by_id=actor.user_id, opened_at=at)
    return alerts_of(version)


def give_reason(actor: Actor, alert_code: str, *, reason: str, at: datetime) -> AlertFacts:
    """Say why an order may go on despite an alert; pharmacists, for alerts that need a reason.

    Raises NotAllowed, NotThere, BadInput for an alert that blocks or only informs or for no reason, and
    Conflict where the alert is of a version that holds no more.
    """
    alert = find(actor, Alert, alert_code, path="order_version__order__site_id")
    with act(actor, "alert.reason", at=at, subject=alert_code) as doing:
        order = alert.order_version.order
        if alert.order_version.number != order.current:
            raise Conflict.because(alert_code, "the alert is of an earlier version", value=order.code, rule="version")
        if alert.severity != "reason":
            raise BadInput.because(
                alert_code,
                f"an alert that says {alert.severity} takes no reason",
                value=alert.severity,
                accepted="an alert that needs a reason",
                rule="severity",
            )
        if not 5 <= len(reason.strip()) <= 300:
            raise BadInput.because("reason", "says why", accepted="5 to 300 characters", rule="reason")
        doing.change(alert, reason=reason.strip(), reasoned_by_id=actor.user_id, reasoned_at=at)
    standing = alert.fingerprint in standing_fingerprints(alert.order_version)
    return alert_facts(Alert.objects.get(pk=alert.pk), standing=standing)


def verify_shown(actor: Actor, code: str) -> Mapping[str, Any]:
    """Return what a pharmacist is shown and signs: record, signatures, reports of both screens, alerts."""
    order = find(actor, Order, code)
    return _shown(order, current_version(order))


def verify_order(actor: Actor, code: str, *, pen: Pen, at: datetime) -> OrderAnswer:
    """Verify an order clinically; a pharmacist who is neither its prescriber nor attested it.

    Raises NotAllowed, NotThere; Blocked with everything that stands in the way: no signature under this
    version, a screen that has not reported, an alert that blocks, is not opened by the actor or has no
    reason; Conflict where what was shown changed.
    """
    order = find(actor, Order, code)
    with act(actor, "order.verify", at=at, subject=code, parties=_parties(current_version(order))) as doing:
        order = Order.objects.select_for_update().get(pk=order.pk)
        version = current_version(order)
        doing.authorise(_parties(version))
        refuse_if_any(Blocked, blockers(actor, version))
        doing.advance(order, "verify")
        sign(
            doing,
            pen,
            meaning=VERIFIED_MEANING,
            subject_kind="order",
            subject=code,
            subject_version=version.number,
            shown=_shown(order, version),
        )
        doing.emit("order verified", order=code)
    return answer_of(order)


def _parties(version: OrderVersion) -> Mapping[str, frozenset[int]]:
    return {"prescriber": prescriber_party(version), "attester": attesters(version)}


def blockers(actor: Actor, version: OrderVersion) -> list[Refusal]:
    """Return everything that keeps `actor` from verifying `version`."""
    found = []
    if not is_signed(version):
        found.append(
            Refusal(
                field="signature",
                message="nobody signed or attested this version",
                accepted="the prescriber's signature, or a pharmacist's attestation",
                rule="unsigned",
            )
        )
    reported = screens_on_order(version)
    found += [
        Refusal(
            field=f"screen {screen}",
            message="has not reported on this version",
            accepted="wait for it",
            rule="not-screened",
        )
        for screen in SCREENS
        if screen not in reported
    ]
    for alert in alerts_of(version):
        found += _alert_blockers(actor, alert)
    return found


def _alert_blockers(actor: Actor, alert: AlertFacts) -> list[Refusal]:
    found = []
    if alert.standing and alert.severity == "block":
        found.append(
            Refusal(
                field=alert.code,
                message=alert.message,
                value=alert.value,
                limit=alert.limit or None,
                unit=alert.unit or None,
                accepted="an order that it does not block",
                rule=alert.rule,
            )
        )
    if alert.standing and alert.severity == "reason" and not alert.reason:
        found.append(
            Refusal(
                field=alert.code,
                message=f"{alert.message}: no reason is given",
                accepted="a reason",
                rule="reason-missing",
            )
        )
    if alert.opened_by != actor.username:
        found.append(
            Refusal(
                field=alert.code,
                message="you have not opened this alert",
                accepted="open the order's alerts first",
                rule="not-opened",
            )
        )
    return found


def _shown(order: Order, version: OrderVersion) -> dict[str, Any]:
    return {
        "order": order.code,
        "version": version.number,
        "patient": order.patient.code,
        "record": record_of(version),
        "record_digest": version.digest,
        "signatures": [
            {
                "printed_name": one.printed_name,
                "registration": one.registration,
                "action": one.action,
                "meaning": one.meaning,
                "at": one.at,
            }
            for one in signatures_of(version)
        ],
        "reports": [
            {"screen": one.screen, "occasion": one.occasion, "digest": one.digest} for one in latest_reports(version)
        ],
        "alerts": [_alert_shown(one) for one in alerts_of(version)],
    }


def _alert_shown(one: AlertFacts) -> dict[str, Any]:
    return {
        "code": one.code,
        "screen": one.screen,
        "rule": one.rule,
        "severity": one.severity,
        "field": one.field,
        "value": one.value,
        "limit": one.limit,
        "unit": one.unit,
        "source": one.source,
        "message": one.message,
        "standing": one.standing,
        "reason": one.reason,
        "reason_by": one.reasoned_by,
    }
