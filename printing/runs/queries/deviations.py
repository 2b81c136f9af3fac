"""Reading deviations, and which of them hold a batch, a zone or a lot."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from dosewright.ground.pure.errors import NotThere
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage
from dosewright.ground.scope import find
from printing.plates.models import Zone
from printing.runs.content import DeviationFacts
from printing.runs.models import Deviation
from printing.stock.models import ResinLot


def open_deviations(
    *, site_id: int, batch: str = "", zone: str = "", resin_lot: str = "", holding: bool = True
) -> tuple[DeviationFacts, ...]:
    """Return the open deviations of a batch, a zone or a lot; with `holding` only those that hold it.

    A zone is held by its own deviations, by those of its batch as a whole and by those of its lot.
    """
    rows = Deviation.objects.filter(site_id=site_id, state="open")
    rows = rows.filter(holds=True) if holding else rows
    return tuple(map(deviation_of, _about(rows, site_id, batch, zone, resin_lot)))


def all_deviations(*, site_id: int, batch: str = "", zone: str = "", resin_lot: str = "") -> tuple[DeviationFacts, ...]:
    """Return every deviation, open or closed, of a batch, a zone or a lot."""
    return tuple(map(deviation_of, _about(Deviation.objects.filter(site_id=site_id), site_id, batch, zone, resin_lot)))


def deviation(actor: Actor, code: str) -> DeviationFacts:
    """Return one deviation for people who may see batches; raises NotAllowed, NotThere."""
    authorise_read(actor, "batch")
    return deviation_of(find(actor, Deviation, code))


def deviations(
    actor: Actor, *, after: str = "", limit: int = 50, state: str = "", batch: str = ""
) -> KeysetPage[DeviationFacts]:
    """Return a page of deviations, the newest first."""
    authorise_read(actor, "batch")
    rows = Deviation.objects.filter(site_id=actor.site_id).order_by("-pk")
    if after:
        rows = rows.filter(pk__lt=int(after)) if after.isdigit() else rows.none()
    if state:
        rows = rows.filter(state=state)
    if batch:
        rows = rows.filter(batch__code=batch)
    found = list(rows[: limit + 1])
    return KeysetPage(
        items=tuple(map(deviation_of, found[:limit])), next_after=str(found[limit - 1].pk) if len(found) > limit else ""
    )


def open_mix_up(zone_codes: frozenset[str], kind: str) -> bool:
    """Say whether an open deviation of a kind holds exactly these zones."""
    rows = Deviation.objects.filter(state="open", kind=kind, zones__code__in=zone_codes).distinct()
    return any({one.code for one in row.zones.all()} == zone_codes for row in rows)


def resin_lot_id(site_id: int, code: str) -> int:
    """Return the row of a resin lot that a deviation is about; raises NotThere."""
    found = ResinLot.objects.filter(site_id=site_id, code=code).values_list("pk", flat=True).first()
    if found is None:
        raise NotThere.because("resin_lot", "no such resin lot at this site", value=code[:40], rule="code")
    return found


def deviation_of(row: Deviation) -> DeviationFacts:
    """Return a deviation's row as frozen facts."""
    return DeviationFacts(
        code=row.code,
        state=row.state,
        version=row.version,
        kind=row.kind,
        text=row.text,
        effect=row.effect,
        holds=row.holds,
        batch=row.batch.code if row.batch else "",
        zones=tuple(sorted(row.zones.values_list("code", flat=True))),
        resin_lot=row.resin_lot.code if row.resin_lot else "",
        opened_by=row.opened_by.username,
        opened_at=row.opened_at,
        concerns=tuple(sorted(row.concerns.values_list("username", flat=True))),
        investigation=row.investigation,
        action_taken=row.action_taken,
        decision=row.decision,
        closed_by=row.closed_by.username if row.closed_by else "",
        closed_at=row.closed_at,
    )


def _about(rows: QuerySet[Deviation], site_id: int, batch: str, zone: str, resin_lot: str) -> QuerySet[Deviation]:
    rows = rows.select_related("batch", "resin_lot", "opened_by", "closed_by").order_by("pk")
    if batch:
        return rows.filter(batch__code=batch)
    if resin_lot:
        return rows.filter(resin_lot__code=resin_lot)
    if not zone:
        return rows
    one = Zone.objects.select_related("batch__resin_lot").filter(code=zone, batch__site_id=site_id).first()
    if one is None:
        raise NotThere.because("zone", "no such zone at this site", value=zone[:40], rule="code")
    mine = Q(zones=one) | Q(batch=one.batch, zones__isnull=True)
    return rows.filter(mine | Q(resin_lot=one.batch.resin_lot, batch__isnull=True)).distinct()
