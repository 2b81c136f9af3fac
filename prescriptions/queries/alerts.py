"""Alerts of an order version: all that were raised, and which of them stand in the latest reports."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime

from prescriptions.models import Alert, OrderVersion, ScreenReport

GRAVE = ("block", "reason")
"""Severities that hold an order up: the third, inform, is only read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertFacts:
    """One alert of one order version; ``standing`` says whether the latest report still finds it."""

    code: str
    order: str
    order_version: int
    screen: str
    occasion: str
    rule: str
    severity: str
    field: str
    value: str
    limit: str
    unit: str
    source: str
    message: str
    standing: bool
    raised_at: datetime
    opened_by: str = ""
    opened_at: datetime | None = None
    reason: str = ""
    reasoned_by: str = ""
    reasoned_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportFacts:
    """One report of a screen: its exact text is what the screen looked at and found."""

    screen: str
    occasion: str
    at: datetime
    digest: str
    text: str


def latest_reports(version: OrderVersion) -> tuple[ReportFacts, ...]:
    """Return the latest report of each screen over `version`, "making" before "patient"."""
    latest = {row.screen: row for row in version.reports.order_by("pk")}
    return tuple(_report(latest[screen]) for screen in sorted(latest))


def screens_on_order(version: OrderVersion) -> frozenset[str]:
    """Return which screens have reported on `version` on the occasion of the order itself."""
    return frozenset(version.reports.filter(occasion="order").values_list("screen", flat=True))


def alerts_of(version: OrderVersion) -> tuple[AlertFacts, ...]:
    """Return all alerts of `version` in the order they were raised."""
    standing = standing_fingerprints(version)
    rows = version.alerts.select_related("report", "opened_by", "reasoned_by", "order_version__order").order_by("pk")
    return tuple(alert_facts(row, standing=row.fingerprint in standing) for row in rows)


def standing_fingerprints(version: OrderVersion) -> frozenset[str]:
    """Return the fingerprints that the latest report of each screen names."""
    found: set[str] = set()
    for report in latest_reports(version):
        found.update(json.loads(report.text)["fingerprints"])
    return frozenset(found)


def fingerprints_before(version: OrderVersion, screen: str) -> frozenset[str]:
    """Return the fingerprints that the last report of one screen over `version` names."""
    report = version.reports.filter(screen=screen).order_by("pk").last()
    return frozenset() if report is None else frozenset(json.loads(report.text)["fingerprints"])


def alert_facts(row: Alert, *, standing: bool) -> AlertFacts:
    """Return one alert as frozen facts."""
    return AlertFacts(
        code=row.code,
        order=row.order_version.order.code,
        order_version=row.order_version.number,
        screen=row.screen,
        occasion=row.report.occasion,
        rule=row.rule,
        severity=row.severity,
        field=row.field,
        value=row.value,
        limit=row.limit,
        unit=row.unit,
        source=row.source,
        message=row.message,
        standing=standing,
        raised_at=row.report.at,
        opened_by=row.opened_by.username if row.opened_by else "",
        opened_at=row.opened_at,
        reason=row.reason,
        reasoned_by=row.reasoned_by.username if row.reasoned_by else "",
        reasoned_at=row.reasoned_at,
    )


def _report(row: ScreenReport) -> ReportFacts:
    return ReportFacts(screen=row.screen, occasion=row.occasion, at=row.at, digest=row.digest, text=row.text)
