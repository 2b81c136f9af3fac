"""Runs the screen "patient", and keeps what each screen found on an order version.

A screen that finds something new on a verified order sends the order back to be checked, in the same
transaction, whichever house on the right ran it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from dosewright.ground.act import Act, act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from dosewright.ground.work import Job
from prescriptions.findings import Finding
from prescriptions.models import Alert, Order, OrderVersion, ScreenReport
from prescriptions.queries.alerts import GRAVE, AlertFacts, alert_facts, fingerprints_before
from prescriptions.queries.facts import current_version
from prescriptions.services.rescreening import ACTIVE
from prescriptions.services.screened import screen_patient
from prescriptions.states import VERIFIED

OCCASIONS = ("order", "plan", "start", "release", "supply")
MOVING = frozenset({"weight-out-of-date"})
"""Rules whose value counts up by the day: the same alert on another day is no new one."""


def screen_received(job: Job) -> None:
    """Run the screen "patient" over the order that a fact or piece of work names; for workers."""
    order = Order.objects.select_related("patient", "site").get(code=job.payload["order"])
    if order.state not in ACTIVE:
        return
    found = screen_patient(order, occasion="order", at=job.clock())
    with job.finishing("order.screen", subject=order.code) as doing:
        record_screen(
            doing,
            found.order,
            found.version,
            screen=ScreenReport.PATIENT,
            occasion="order",
            findings=found.findings,
            record=found.record,
        )


def screen_again(
    actor: Actor, order_code: str, *, occasion: str, at: datetime, print_start: date | None = None
) -> tuple[AlertFacts, ...]:
    """Run the screen "patient" again and return the new alerts that block or need a reason; SYSTEM only.

    ``occasion`` [one of `OCCASIONS`]. A weight must be in date when printing starts: ``print_start``
    where the caller knows it, else today at plan and start, and the planned day at release and supply.
    Any new alert that blocks or needs a reason sends a verified order back to be checked.
    """
    order = find(actor, Order, order_code)
    found = screen_patient(order, occasion=occasion, at=at, print_start=print_start)
    with act(actor, "order.screen", at=at, subject=order_code, reason=f"at {occasion}") as doing:
        return record_screen(
            doing,
            found.order,
            found.version,
            screen=ScreenReport.PATIENT,
            occasion=occasion,
            findings=found.findings,
            record=found.record,
        )


def record_screen(
    doing: Act,
    order_code: str,
    order_version: int,
    *,
    screen: str,
    occasion: str,
    findings: Sequence[Finding],
    record: Mapping[str, Any],
) -> tuple[AlertFacts, ...]:
    """Keep the report of a screen and its alerts; return the new ones that block or need a reason.

    For actions "order.screen" alone. ``screen`` "patient" or "making"; ``record`` is what the screen
    looked at and must have a canonical text. A report on a version that holds no more leaves nothing but
    a note. New is what the report before did not find, also where it was found and gone once: whoever
    opened it and gave a reason then did so for what held then. A new alert on a verified order sends it
    back to be checked.
    """
    if occasion not in OCCASIONS or screen not in {ScreenReport.PATIENT, ScreenReport.MAKING}:
        raise ValueError(f"no screen {screen!r} at {occasion!r}")
    order = Order.objects.select_for_update().get(code=order_code, site_id=doing.actor.site_id)
    if order.current != order_version:
        doing.note(stale_version=order_version, current_version=order.current)
        return ()
    version = current_version(order)
    before = fingerprints_before(version, screen)
    report = _report(doing, version, screen, occasion, findings, record)
    unique = {fingerprint(screen, one): one for one in findings}
    new = [_raised(doing, version, report, mark, one) for mark, one in unique.items() if mark not in before]
    grave = tuple(alert_facts(one, standing=True) for one in new if one.severity in GRAVE)
    doing.note(screen=screen, occasion=occasion, report=report.digest, alerts_new=[one.code for one in new])
    if grave and order.state == VERIFIED:
        doing.advance(order, "recheck")
        doing.emit("order received", order=order.code, version=order.current)
    return grave


def fingerprint(screen: str, finding: Finding) -> str:
    """Return what makes a finding the same finding when the screen runs again."""
    value = None if finding.rule in MOVING else finding.value
    return digest_of(
        canonical_text([screen, finding.rule, finding.severity, finding.field, value, finding.limit, finding.unit])
    )


def _report(
    doing: Act,
    version: OrderVersion,
    screen: str,
    occasion: str,
    findings: Sequence[Finding],
    record: Mapping[str, Any],
) -> ScreenReport:
    text = canonical_text(
        {
            "order": version.order.code,
            "version": version.number,
            "screen": screen,
            "occasion": occasion,
            "record": record,
            "findings": list(findings),
            "fingerprints": sorted({fingerprint(screen, one) for one in findings}),
        }
    )
    return ScreenReport.objects.create(
        order_version=version, screen=screen, occasion=occasion, at=doing.at, text=text, digest=digest_of(text)
    )


def _raised(doing: Act, version: OrderVersion, report: ScreenReport, mark: str, one: Finding) -> Alert:
    """Return the alert of a finding that the report before did not have: a new row, or the old one, unopened again."""
    row = Alert.objects.filter(order_version=version, fingerprint=mark).first()
    if row is None:
        return _alert(version, report, mark, one)
    anew: dict[str, Any] = {"report_id": report.pk, "opened_by_id": None, "opened_at": None}
    anew |= {"reason": "", "reasoned_by_id": None, "reasoned_at": None}
    if one.rule in MOVING:
        anew |= {"value": one.value or "", "message": one.message}
    doing.change(row, **anew)
    row.report = report
    return row


def _alert(version: OrderVersion, report: ScreenReport, mark: str, one: Finding) -> Alert:
    return Alert.objects.create(
        code=new_code("alert"),
        order_version=version,
        report=report,
        screen=report.screen,
        rule=one.rule,
        severity=one.severity.value,
        field=one.field,
        value=one.value or "",
        limit=one.limit or "",
        unit=one.unit or "",
        source=one.source,
        message=one.message,
        fingerprint=mark,
    )
