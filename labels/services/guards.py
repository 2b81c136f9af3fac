"""What is asked of a pack before each step of packing; each guard returns its refusals, empty when it holds."""

from __future__ import annotations

from dosewright.ground.models import DocumentIssue
from dosewright.ground.pure.errors import Conflict, Refusal
from labels.models import Pack
from labels.queries.making import deviation_parts
from labels.queries.packs import ZoneRow
from labels.queries.release import label_count, label_parts
from prescriptions.queries import LineFacts
from printing.runs.content import MUST_NOT_BE_USED

APPROVED = "approved to pack"


def not_ready(container_lot: str, line_is_clear: bool) -> list[Refusal]:
    """Return a refusal without line clearance, and one for a container lot that is missing or too long."""
    found = []
    if not line_is_clear:
        found.append(
            Refusal(
                field="line_is_clear",
                message="nothing of another pack may lie on the bench",
                accepted="line clearance",
                rule="line-clearance",
            )
        )
    if not 1 <= len(container_lot.strip()) <= 40:
        found.append(
            Refusal(
                field="container_lot",
                value=container_lot[:40],
                message="the container's lot is missing or too long",
                accepted="1 to 40 characters",
                rule="container",
            )
        )
    return found


def not_approved(zone: ZoneRow) -> list[Refusal]:
    """Return a refusal unless the zone is approved to pack."""
    if zone.state == APPROVED:
        return []
    return [
        Refusal(
            field="zone",
            value=zone.state,
            message=f"zone {zone.code} is {zone.state}",
            accepted=APPROVED,
            rule="zone-not-approved",
        )
    ]


def not_ours(zone: ZoneRow, line: LineFacts) -> list[Refusal]:
    """Return a refusal when the line was freed since, so that it may be made again and must not be packed twice."""
    if line.committed_to == zone.held_by:
        return []
    return [
        Refusal(
            field="line",
            value=line.committed_to or "free",
            limit=zone.held_by,
            message=f"line {line.code} is no longer held by the plan of this zone",
            accepted="units of the plan that holds the line",
            rule="other-plan",
        )
    ]


def held(zone: ZoneRow) -> list[Refusal]:
    """Return a refusal for each open deviation that holds the zone, and for each that ended with "must not be used"."""
    return [
        Refusal(
            field="deviation",
            value=one.code,
            message=f"{one.kind} holds the zone" if one.state != "closed" else f"{one.kind}: {one.decision}",
            accepted="a deviation that is closed with leave to use",
            rule="held",
        )
        for one in deviation_parts(zone)
        if (one.holds if one.state != "closed" else one.decision == MUST_NOT_BE_USED)
    ]


def other_zone(pack: Pack, scanned: str) -> list[Refusal]:
    """Return a refusal when the scanned zone is not the pack's."""
    if scanned == pack.zone.code:
        return []
    return [
        Refusal(
            field="zone",
            value=scanned,
            limit=pack.zone.code,
            message="is not the zone of this pack",
            accepted=pack.zone.code,
            rule="other-zone",
        )
    ]


def other_count(pack: Pack, count: int) -> list[Refusal]:
    """Return a refusal when another number of units was counted than is wanted."""
    if count == pack.wanted:
        return []
    return [
        Refusal(
            field="count",
            value=str(count),
            limit=str(pack.wanted),
            message="is not the number that belongs in this pack",
            accepted=str(pack.wanted),
            rule="count",
        )
    ]


def too_few(pack: Pack, good: int) -> list[Refusal]:
    """Return a refusal when the zone has fewer good units than are wanted."""
    if good >= pack.wanted:
        return []
    return [
        Refusal(
            field="units",
            value=str(good),
            limit=str(pack.wanted),
            message="the zone has too few good units",
            accepted="a supply in parts, or the line made again",
            rule="too-few",
        )
    ]


def other_container(pack: Pack, scanned: str) -> list[Refusal]:
    """Return a refusal when the scanned container is not the pack's."""
    if scanned.strip() == pack.container_lot:
        return []
    return [
        Refusal(
            field="container_lot",
            value=scanned[:40],
            limit=pack.container_lot,
            message="is not the container of this pack",
            accepted=pack.container_lot,
            rule="other-container",
        )
    ]


def other_label(pack: Pack, scanned: str) -> list[Refusal]:
    """Return a refusal when the scanned label is not one that is applied to the pack."""
    labels = {one.code: one.became for one in label_parts(pack)}
    if labels.get(scanned) == DocumentIssue.APPLIED:
        return []
    applied = ", ".join(code for code, became in labels.items() if became == DocumentIssue.APPLIED)
    what = f"is {labels[scanned]}, not applied" if scanned in labels else "is not a label of this pack"
    return [
        Refusal(
            field="label",
            value=scanned,
            limit=applied or None,
            message=what,
            accepted=applied or "the label original that is applied to this pack",
            rule="other-label",
        )
    ]


def unfinished(pack: Pack) -> list[Refusal]:
    """Return everything that a pack still lacks: units, labels accounted for, one applied, the second scan."""
    found = []
    held = pack.contents.count()
    if held != pack.wanted:
        found.append(
            Refusal(field="units", value=str(held), limit=str(pack.wanted), message="are in the pack", rule="count")
        )
    count = label_count(pack)
    if count.difference:
        found.append(
            Refusal(
                field="labels",
                value=str(count.difference),
                limit="0",
                message="label originals are not accounted for",
                accepted="issued = applied + spoiled + returned",
                rule="label-count",
            )
        )
    if count.applied != 1:
        found.append(
            Refusal(
                field="labels",
                value=str(count.applied),
                limit="1",
                message="are applied to the pack",
                accepted="exactly one applied label",
                rule="label-not-one",
            )
        )
    scan = getattr(pack, "second_scan", None)
    if scan is None:
        found.append(
            Refusal(field="second_scan", message="nobody else scanned zone, container and label", rule="second-scan")
        )
    elif count.applied == 1:
        found += other_label(pack, scan.label_code)
    return found


def refuse_unless(pack: Pack, state: str) -> None:
    """Raise Conflict unless the pack is in `state`."""
    if pack.state != state:
        raise Conflict(
            Refusal(
                field=pack.code, value=pack.state, message=f"a pack that is {pack.state}", accepted=state, rule="state"
            )
        )
