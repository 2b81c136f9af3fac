"""From an approved zone to a packed container: filled under count, labelled, scanned by a second person."""

from __future__ import annotations

from datetime import datetime

from django.db import IntegrityError, transaction

from dosewright.ground.act import act
from dosewright.ground.added import add_all
from dosewright.ground.fresh import new_code
from dosewright.ground.law import law_in_use
from dosewright.ground.pure.codes import parse
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, refuse_if_any
from dosewright.ground.pure.roles import Actor
from labels.expiry import Expiry, refuse_short_expiry
from labels.models import Pack, PackUnit, SecondScan
from labels.queries import pack_row, people_of_pack, standing_pack_of, tidy_code, zone_to_pack
from labels.queries.keeping import keeps_until
from labels.queries.packs import ZoneRow
from labels.services.answers import PackAnswer, answer_of, refuse_unverified
from labels.services.guards import (
    held,
    not_approved,
    not_ours,
    not_ready,
    other_container,
    other_count,
    other_label,
    other_zone,
    refuse_unless,
    too_few,
    unfinished,
)
from labels.states import PACKING
from prescriptions.queries import line_facts
from printing.plates.queries import unit_rows
from printing.plates.services import move_units


def start_pack(actor: Actor, *, zone: str, container_lot: str, line_is_clear: bool, at: datetime) -> PackAnswer:
    """Start the pack of an approved zone in an empty container on a cleared bench; technicians.

    Raises BadInput without line clearance or container lot, Blocked when the zone is not approved, the order is
    not verified, no law pack is in use or the product does not keep until the course ends; Conflict when the zone
    has a pack, or the actor another pack open: one zone at a time.
    """
    row = zone_to_pack(actor, zone)
    with act(actor, "pack.start", at=at, subject=row.code) as doing:
        row = zone_to_pack(actor, zone)
        refuse_if_any(BadInput, not_ready(container_lot, line_is_clear))
        assert row.line is not None
        line = line_facts(row.line.code)
        refuse_if_any(Blocked, [*not_approved(row), *held(row), *not_ours(row, line)])
        refuse_unverified(line.order, line.order_version)
        expiry = keeps_until(row, law=law_in_use(actor.site_id), at=at)
        refuse_short_expiry(expiry, line.ends_on)
        pack = _open_pack(actor, row, container_lot.strip(), expiry, at=at)
        doing.note(
            pack=pack.code,
            container_lot=pack.container_lot,
            line_clearance=line_is_clear,
            use_by=pack.use_by_date,
            use_by_limit=pack.use_by_limit,
        )
    return answer_of(pack)


def fill_pack(actor: Actor, code: str, *, zone: str, count: int, at: datetime) -> PackAnswer:
    """Fill the pack with the wanted units of its own zone; technicians count them and scan the zone.

    Raises BadInput when another zone is scanned or another number counted, Blocked when the zone has too few good
    units, Conflict when the pack holds units already. Spares stay in the zone.
    """
    scanned = parse(zone, field="zone", kind="zone")[1]
    with act(actor, "pack.fill", at=at, subject=tidy_code(code)) as doing:
        pack = pack_row(actor, code)
        refuse_unless(pack, PACKING)
        refuse_if_any(BadInput, [*other_zone(pack, scanned), *other_count(pack, count)])
        refuse_if_any(Blocked, [*not_approved(pack.zone), *held(pack.zone)])
        if pack.contents.exists():
            raise Conflict.because(pack.code, "is filled already", value=str(pack.contents.count()), rule="filled")
        good = [unit for unit in unit_rows(pack.zone_id) if unit.state == "printed"][: pack.wanted]
        refuse_if_any(Blocked, too_few(pack, len(good)))
        move_units(doing, good, "pack")
        add_all([PackUnit(pack=pack, unit=unit, by_id=actor.user_id, at=at) for unit in good])
        doing.note(zone=scanned, counted=count, units=[unit.code for unit in good])
    return answer_of(pack)


def second_scan(actor: Actor, code: str, *, zone: str, container_lot: str, label: str, at: datetime) -> PackAnswer:
    """Record the second person's scan of zone, container and label; somebody who did not pack.

    Raises NotAllowed for the packer; BadInput for a zone, container or label that is not this pack's or a label
    that is not applied; Conflict when the scan is there.
    """
    zone_code = parse(zone, field="zone", kind="zone")[1]
    label_code = parse(label, field="label", kind="document")[1]
    with act(actor, "pack.second_scan", at=at, subject=tidy_code(code)) as doing:
        pack = pack_row(actor, code)
        _, packers = people_of_pack(pack)
        doing.authorise({"packer": packers})
        refuse_unless(pack, PACKING)
        if hasattr(pack, "second_scan"):
            raise Conflict.because(pack.code, "was scanned by a second person already", rule="second-scan")
        found = [*other_zone(pack, zone_code), *other_container(pack, container_lot), *other_label(pack, label_code)]
        refuse_if_any(BadInput, found)
        if not pack.contents.exists():
            raise Blocked.because(pack.code, "is empty", accepted="a filled pack", rule="empty")
        SecondScan.objects.create(
            pack=pack,
            zone_code=zone_code,
            container_code=container_lot.strip(),
            label_code=label_code,
            by_id=actor.user_id,
            at=at,
        )
        doing.note(zone=zone_code, container=container_lot.strip(), label=label_code)
    return answer_of(pack)


def close_pack(actor: Actor, code: str, *, at: datetime) -> PackAnswer:
    """Close a pack that is filled, labelled and scanned, its label originals accounted for; technicians.

    Raises Blocked with everything that is missing: issued = applied + spoiled + returned, exactly one applied.
    """
    with act(actor, "pack.close", at=at, subject=tidy_code(code)) as doing:
        pack = pack_row(actor, code)
        refuse_unless(pack, PACKING)
        refuse_if_any(Blocked, unfinished(pack))
        doing.change(pack, packed_by_id=actor.user_id, packed_at=at)
        doing.advance(pack, "pack")
        doing.emit("pack packed", pack=pack.code, order=pack.order.code)
    return answer_of(pack)


def _open_pack(actor: Actor, zone: ZoneRow, container_lot: str, expiry: Expiry, *, at: datetime) -> Pack:
    assert zone.line is not None
    standing = standing_pack_of(zone)
    if standing is not None:
        raise Conflict.because(
            zone.code, "has a pack already", value=standing.code, accepted="a zone without a pack", rule="one pack"
        )
    open_pack = Pack.objects.filter(line_clearance_by_id=actor.user_id, state=PACKING).first()
    if open_pack is not None:
        raise Conflict.because(
            "pack",
            "one zone at a time: finish the pack that is open",
            value=open_pack.code,
            accepted="no open pack of the same person",
            rule="one at a time",
        )
    try:
        with transaction.atomic():
            return Pack.objects.create(
                code=new_code("pack"),
                site_id=actor.site_id,
                order_id=zone.line.order_id,
                line_id=zone.line.pk,
                batch_id=zone.batch_id,
                zone_id=zone.pk,
                wanted=zone.wanted,
                container_lot=container_lot,
                line_clearance_by_id=actor.user_id,
                started_at=at,
                use_by_date=expiry.use_by_date,
                use_by_limit=expiry.limited_by,
            )
    except IntegrityError:
        raise Conflict.because(zone.code, "somebody else started its pack meanwhile", rule="one pack") from None
