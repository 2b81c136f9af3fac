"""Packs for tests, by the services alone: a zone approved to pack, a pack in any state, released, supplied.

Tomas packs, Ada scans, Rosa reviews, Jonas releases; everything here is invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from dosewright.ground.law import shown_for_sign_law, sign_law
from labels import services as labels
from labels.queries import pack
from labels.records import PackView
from printing.plates.queries import batch_facts
from tests.batches import Bench, bench, checked_order, planned, run_to
from tests.cast import NOW, PASSWORD, Cast, demo_substance, found_cast, pen

LAW = "demo 2026.1"
CONTAINER = "BOTTLE-77"
SHORT_COURSE = {
    "steps": [
        {"dose": "3 mg", "times": ["07:00"], "start_date": "2026-03-10", "days": 4},
        {"dose": "1.5 mg", "times": ["19:00"], "start_date": "2026-03-10", "days": 3},
    ]
}


@dataclass(slots=True, kw_only=True)
class Shelf:
    """A cast with a tested batch of one order: its zones by dose line in the order of the plate, and the time."""

    cast: Cast
    bench: Bench
    batch: str
    order: str
    zones: tuple[str, ...]
    at: datetime


def law_signed(cast: Cast, *, at: datetime = NOW) -> None:
    """Put the demo's law pack into use (Rosa)."""
    sign_law(cast.rosa, LAW, pen=pen(shown_for_sign_law(cast.rosa, LAW)), at=at)


def shelf(state: str = "closed", *, law: bool = True, gs1_prefix: str = "", **order: Any) -> Shelf:
    """Take one order of two short lines to a batch in `state`, with the law pack in use."""
    cast = found_cast()
    if gs1_prefix:
        cast.site.gs1_prefix = gs1_prefix
        cast.site.save(update_fields=["gs1_prefix"])
    demo_substance(cast)
    if law:
        law_signed(cast)
    at_bench = bench(cast)
    code = checked_order(cast, **({"regimen": SHORT_COURSE} | order))
    (batch,) = planned(cast, at_bench)
    at = run_to(cast, batch, state)
    zones = tuple(one.code for one in batch_facts(batch, site_id=cast.site.pk).zones if one.line is not None)
    return Shelf(cast=cast, bench=at_bench, batch=batch, order=code, zones=zones, at=at + timedelta(minutes=5))


def approved_zone(on: Shelf, number: int = 0) -> str:
    """Approve one zone to pack (Rosa) and return its code."""
    zone = on.zones[number]
    shown = labels.shown_for_approve_to_pack(on.cast.rosa, zone, at=on.at)
    labels.approve_to_pack(on.cast.rosa, zone, pen=pen(shown), at=on.at)
    return zone


def started(on: Shelf, number: int = 0) -> str:
    """Start the pack of a zone (Tomas) and return its code."""
    zone = approved_zone(on, number)
    return labels.start_pack(on.cast.tomas, zone=zone, container_lot=CONTAINER, line_is_clear=True, at=on.at).code


def filled(on: Shelf, number: int = 0) -> str:
    """Start and fill a pack."""
    code = started(on, number)
    labels.fill_pack(on.cast.tomas, code, zone=on.zones[number], count=view(on, code).wanted, at=on.at)
    return code


def labelled(on: Shelf, number: int = 0) -> str:
    """Fill a pack and apply one label original to it."""
    code = filled(on, number)
    label = labels.issue_label(on.cast.tomas, code, at=on.at).document
    labels.account_label(on.cast.tomas, code, label=label, became="applied", at=on.at)
    return code


def applied_label(on: Shelf, code: str) -> str:
    """Return the code of the label that is applied to a pack."""
    (label,) = [one.code for one in view(on, code).documents if one.became == "applied"]
    return label


def scanned(on: Shelf, number: int = 0) -> str:
    """Label a pack and have it scanned by a second person (Ada)."""
    code = labelled(on, number)
    labels.second_scan(
        on.cast.ada,
        code,
        zone=on.zones[number],
        container_lot=CONTAINER,
        label=applied_label(on, code),
        at=on.at,
    )
    return code


def packed(on: Shelf, number: int = 0) -> str:
    """Return a closed pack that waits for release."""
    code = scanned(on, number)
    labels.close_pack(on.cast.tomas, code, at=on.at)
    return code


def release(on: Shelf, code: str, *, by: str = "jonas", scanned_code: str = "") -> labels.PackAnswer:
    """Release a pack by somebody who took no part in it."""
    actor = getattr(on.cast, by)
    shown = labels.release_record(actor, code, at=on.at)
    return labels.release_pack(actor, code, scanned=scanned_code or code, pen=pen(shown), at=on.at)


def released(on: Shelf, number: int = 0) -> str:
    """Return a released pack."""
    code = packed(on, number)
    release(on, code)
    return code


def supplied(on: Shelf, number: int = 0) -> str:
    """Return a supplied pack."""
    code = released(on, number)
    labels.supply_pack(on.cast.tomas, code, scanned=code, to_whom="ward 3", at=on.at)
    return code


def destroy(on: Shelf, code: str, *, witness: str = "ada.brandt", password: str = PASSWORD) -> labels.PackAnswer:
    """Destroy a pack before a witness (Rosa)."""
    return labels.destroy_pack(
        on.cast.rosa, code, witness=witness, witness_password=password, reason="for the test", at=on.at
    )


def view(on: Shelf, code: str) -> PackView:
    """Return a pack as a pharmacist sees it."""
    return pack(on.cast.jonas, code, at=on.at)
