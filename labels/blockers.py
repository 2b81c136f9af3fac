"""Everything that can stand in the way of release, each found by itself from what is shown. PURE.

A blocker is computed from the records as they are now, never kept; release refuses on any of them, whoever asks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

from labels.records import Blocker, ReleaseView
from labels.states import PACKED, RELEASED, SUPPLIED

VERIFIED, STOPPED = "verified", "stopped"
GRAVE = ("block", "reason")
APPROVED_ZONE = "approved to pack"
MUST_NOT = "must not be used"


def release_blockers(view: ReleaseView, *, today: date, releaser: str) -> tuple[Blocker, ...]:
    """Return every blocker of a release by `releaser` [user name] on `today` [site's day]; empty when none is left."""
    found = [one for check in CHECKS for one in check(view)]
    return (*found, *_use_by(view, today), *_took_part(view, releaser))


def _order(view: ReleaseView) -> Iterator[Blocker]:
    order = view.order
    if order.state == STOPPED:
        yield Blocker(code="order-stopped", value=order.code, text="the order was stopped")
    elif order.state != VERIFIED:
        yield Blocker(
            code="order-not-verified",
            value=order.state,
            text=f"the order is {order.state}",
            accepted="an order that a pharmacist verified",
        )
    if view.line.order_version != order.version:
        yield Blocker(
            code="order-version",
            value=f"version {view.line.order_version}",
            text="the units were made for another version of the order",
            accepted=f"version {order.version}",
        )


def _alerts(view: ReleaseView) -> Iterator[Blocker]:
    for alert in view.order.alerts:
        if alert.severity == "block" or (alert.severity in GRAVE and not alert.reason):
            yield Blocker(
                code="alert-open",
                value=alert.code,
                text=f"{alert.rule}: {alert.message}",
                accepted="no alert that blocks; a reason for each that needs one",
            )


def _lot(view: ReleaseView) -> Iterator[Blocker]:
    for text in view.resin_lot.blockers:
        yield Blocker(code="resin-lot", value=view.resin_lot.code, text=text, accepted="a lot that may be used")


def _batch(view: ReleaseView) -> Iterator[Blocker]:
    batch = view.batch
    if batch.kind != "product":
        yield Blocker(code="development", value=batch.code, text="a development batch is never for a patient")
    if batch.state != "closed":
        yield Blocker(
            code="batch-not-closed",
            value=batch.state,
            text=f"the print batch is {batch.state}",
            accepted="a batch record that a pharmacist closed",
        )


def _zone(view: ReleaseView) -> Iterator[Blocker]:
    zone = view.zone
    if zone.state != APPROVED_ZONE:
        yield Blocker(
            code="zone-not-approved", value=zone.state, text=f"the zone is {zone.state}", accepted=APPROVED_ZONE
        )
    if zone.unaccounted_on_batch:
        yield Blocker(
            code="units-unaccounted",
            value=str(zone.unaccounted_on_batch),
            text="units of this batch are unaccounted for",
            accepted="every unit found or its deviation settled",
        )


def _units(view: ReleaseView) -> Iterator[Blocker]:
    good = sum(unit.state == "packed" for unit in view.units)
    if good != view.pack.wanted or len(view.units) != good:
        yield Blocker(
            code="unit-count",
            value=f"{good} packed of {len(view.units)} listed",
            text="the pack does not hold the units it was started for",
            accepted=f"{view.pack.wanted} packed units",
        )


def _deviations(view: ReleaseView) -> Iterator[Blocker]:
    for one in view.deviations:
        if one.state != "closed":
            yield Blocker(code="deviation-open", value=one.code, text=f"{one.kind}: open", accepted="closed deviations")
        elif one.decision == MUST_NOT:
            yield Blocker(code="deviation-unusable", value=one.code, text=f"{one.kind}: {one.decision}")


def _pack(view: ReleaseView) -> Iterator[Blocker]:
    if view.pack.was_released or view.pack.state in {RELEASED, SUPPLIED}:
        yield Blocker(code="already-released", value=view.pack.state, text=f"pack {view.pack.code} was released before")
    elif view.pack.state != PACKED:
        yield Blocker(
            code="not-packed", value=view.pack.state, text=f"the pack is {view.pack.state}", accepted="a packed pack"
        )


def _labels(view: ReleaseView) -> Iterator[Blocker]:
    count = view.label_count
    if count.difference:
        yield Blocker(
            code="label-count",
            value=str(count.difference),
            text="label originals are not accounted for",
            accepted="issued = applied + spoiled + returned",
        )
    if count.applied != 1:
        yield Blocker(
            code="label-not-one", value=str(count.applied), text="not exactly one label is applied", accepted="1"
        )
    if view.label_difference:
        yield Blocker(
            code="label-outdated",
            value=view.label_difference,
            text="the applied label is not what the records say now",
            accepted="a new label original",
        )


def _second_scan(view: ReleaseView) -> Iterator[Blocker]:
    scan = view.second_scan
    if scan is None:
        yield Blocker(code="second-scan-missing", text="nobody else scanned zone, container and label")
        return
    applied = {one.code for one in view.labels if one.became == "applied"}
    if scan.zone != view.zone.code or scan.container != view.pack.container_lot or scan.label not in applied:
        yield Blocker(
            code="second-scan-differs",
            value=f"{scan.zone}, {scan.container}, {scan.label}",
            text="what the second person scanned is not this zone, container and applied label",
        )


def _course(view: ReleaseView) -> Iterator[Blocker]:
    if view.pack.use_by_date < view.line.ends_on:
        yield Blocker(
            code="use-by-short",
            value=view.pack.use_by_date.isoformat(),
            text="the course outlasts the product",
            accepted=f"use by {view.line.ends_on.isoformat()} or later",
        )


def _law(view: ReleaseView) -> Iterator[Blocker]:
    if view.law.why_not:
        yield Blocker(
            code="law",
            value=view.law.pack,
            text=view.law.why_not,
            accepted="a signed law pack with the order's legal basis",
        )


def _use_by(view: ReleaseView, today: date) -> Iterator[Blocker]:
    if today > view.pack.use_by_date:
        yield Blocker(
            code="use-by-passed",
            value=view.pack.use_by_date.isoformat(),
            text="the last day of use has passed",
            accepted=f"{today.isoformat()} or later",
        )


def _took_part(view: ReleaseView, releaser: str) -> Iterator[Blocker]:
    for part, names in view.people.by_part.items():
        if releaser in names:
            yield Blocker(
                code="took-part",
                value=part,
                text=f"the releaser is a {part} of this pack, its batch, its resin lot or its deviations",
                accepted="a pharmacist who took no part",
            )


CHECKS: tuple[Callable[[ReleaseView], Iterator[Blocker]], ...] = (
    _order,
    _alerts,
    _lot,
    _batch,
    _zone,
    _units,
    _deviations,
    _pack,
    _labels,
    _second_scan,
    _course,
    _law,
)
