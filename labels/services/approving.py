"""A pharmacist reviews the batch record of a zone and approves its units for packing."""

from __future__ import annotations

from datetime import datetime

from dosewright.ground.act import act
from dosewright.ground.pure.errors import Blocked, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.signing import Pen, sign
from labels.queries import batch_review, zone_to_pack
from labels.records import BatchReview
from labels.services.answers import refuse_unverified
from printing.plates.services import move_zone

REVIEWED = ("testing", "closed")
"""States of a batch in which a zone's record is whole: finishing is over and the zone was judged."""

REVIEW_MEANING = "I reviewed the batch record of this zone and approve its units for packing."
"""What a pharmacist signs before packing."""


def shown_for_approve_to_pack(actor: Actor, zone_code: str, *, at: datetime) -> BatchReview:
    """Return the batch record of a zone as a pharmacist is shown and signs it; raises BadInput, NotThere."""
    return batch_review(zone_to_pack(actor, zone_code), at=at)


def approve_to_pack(actor: Actor, zone_code: str, *, pen: Pen, at: datetime) -> str:
    """Approve a zone's units for packing after reviewing its batch record; pharmacists. Returns the zone's state.

    Raises Blocked with everything that stands in the way (the order, the lot, a deviation that is open or says
    that the units must not be used, a batch that is not finished), Conflict for a zone that did not pass.
    """
    zone = zone_to_pack(actor, zone_code)
    with act(actor, "zone.approve_to_pack", at=at, subject=zone.code) as doing:
        zone = zone_to_pack(actor, zone_code)
        shown = batch_review(zone, at=at)
        refuse_if_any(Blocked, _against_packing(shown))
        refuse_unverified(shown.order.code, shown.line.order_version)
        sign(
            doing,
            pen,
            meaning=REVIEW_MEANING,
            subject_kind="zone",
            subject=zone.code,
            subject_version=zone.version,
            shown=shown,
        )
        move_zone(doing, zone, "approve to pack")
        doing.emit("zone approved to pack", zone=zone.code, order=shown.order.code)
    return zone.state


def _against_packing(shown: BatchReview) -> list[Refusal]:
    found = [
        Refusal(
            field="resin_lot", value=shown.resin_lot.code, message=text, accepted="a lot that may be used", rule="lot"
        )
        for text in shown.resin_lot.blockers
    ]
    if shown.batch.state not in REVIEWED:
        found.append(
            Refusal(
                field="batch",
                value=shown.batch.state,
                message=f"print batch {shown.batch.code} is {shown.batch.state}",
                accepted=" or ".join(REVIEWED),
                rule="batch-state",
            )
        )
    if shown.zone.unaccounted_on_batch:
        found.append(
            Refusal(
                field="units",
                value=str(shown.zone.unaccounted_on_batch),
                message="units of this batch are unaccounted for",
                accepted="every unit found or its deviation settled",
                rule="unaccounted",
            )
        )
    return [*found, *_deviations(shown)]


def _deviations(shown: BatchReview) -> list[Refusal]:
    open_ones = [one for one in shown.deviations if one.state != "closed" and one.holds]
    unusable = [one for one in shown.deviations if one.decision == "must not be used"]
    return [
        Refusal(field="deviation", value=one.code, message=f"{one.kind}: {what}", accepted="closed", rule="deviation")
        for what, ones in (("open", open_ones), ("must not be used", unusable))
        for one in ones
    ]
