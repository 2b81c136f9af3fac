"""What was done to a batch and a zone, and by whom: read from the records of lots, plates and runs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from dosewright.ground.models import Signature, User
from labels.records import BatchPart, DeviationPart, LotPart, VerdictPart, ZonePart
from printing.plates.models import PlacedUnit, PlateFile, PrintBatch, Zone
from printing.runs.content import END, START
from printing.runs.models import RunStep, Verdict
from printing.runs.queries import RecordLine, all_deviations, people_of_batch, step_lines, zone_evidence
from printing.stock.queries import people_of_resin_lot, resin_lot_facts
from printing.stock.queries.resin_lots import STATE

USED_UP = "exhausted"


@dataclass(frozen=True, slots=True, kw_only=True)
class People:
    """User ids of those who took part."""

    makers: frozenset[int]
    testers: frozenset[int]
    closers: frozenset[int]


def printed_on(batch: PrintBatch) -> date:
    """Return the day of making at the site: when the print ended, else when it started, else when it was planned."""
    return printed_at(batch).astimezone(batch.site.zone).date()


def printed_at(batch: PrintBatch) -> datetime:
    """Return when the print ended, else when it started, else when it was planned."""
    steps = RunStep.objects.filter(batch=batch, kind__in=(START, END))
    when: dict[str, datetime] = dict(steps.values_list("kind", "at"))
    return when.get(END) or when.get(START) or batch.planned_at


def batch_part(batch: PrintBatch) -> BatchPart:
    """Return a batch as the release record shows it."""
    file = PlateFile.objects.filter(batch=batch).order_by("-pk").first()
    return BatchPart(
        code=batch.code,
        kind=batch.kind,
        state=batch.state,
        printer=batch.printer.code,
        profile=batch.profile.code,
        layer_um=batch.layer_um,
        layers=batch.layers,
        plan=batch.plan,
        plan_digest=batch.plan_digest,
        plate_file_sha256=file.sha256 if file else "",
        printed_on=printed_on(batch),
    )


def zone_part(zone: Zone) -> ZonePart:
    """Return a zone with its evidence as the release record shows it."""
    approval = Signature.objects.filter(action="zone.approve_to_pack", subject=zone.code).order_by("pk").last()
    verdict = Verdict.objects.filter(zone=zone).select_related("by").order_by("pk").last()
    return ZonePart(
        code=zone.code,
        state=zone.state,
        wanted=zone.wanted,
        spares=zone.spares,
        unaccounted_on_batch=PlacedUnit.objects.filter(zone__batch_id=zone.batch_id, state="unaccounted").count(),
        approved_by=approval.printed_name if approval else "",
        verdict=VerdictPart(outcome=verdict.outcome, by=verdict.by.username, at=verdict.at, digest=verdict.digest)
        if verdict
        else None,
        evidence=zone_evidence(zone.code, site_id=zone.batch.site_id),
    )


def batch_lines(zone: Zone) -> tuple[RecordLine, ...]:
    """Return the gates, the run and the finishing steps of a zone's batch against their ranges."""
    return step_lines(zone.batch.code, site_id=zone.batch.site_id)


def lot_part(zone: Zone, *, at: datetime) -> LotPart:
    """Return the resin lot: its state now, and whether it was in date when the batch was printed.

    A lot that was used up after the print is no reason against what was printed from it.
    """
    facts = resin_lot_facts(zone.batch.resin_lot.code, at=min(at, printed_at(zone.batch)))
    against = [one for one in facts.blockers if not (one.rule == STATE and facts.state == USED_UP)]
    return LotPart(
        code=facts.code,
        state=facts.state,
        formulation=facts.formulation,
        formulation_number=facts.formulation_number,
        strength_mg_g=facts.strength_mg_g,
        u_strength_mg_g=facts.u_strength_mg_g,
        fraction_of_nominal=facts.fraction_of_nominal,
        verdict=facts.verdict,
        expires_on=facts.expires_on,
        ingredient_lots=facts.ingredient_lots,
        blockers=tuple(f"{one.value} {one.message}" for one in against),
    )


def deviation_parts(zone: Zone) -> tuple[DeviationPart, ...]:
    """Return the deviations of a zone, its batch as a whole and its lot as they are shown."""
    found = all_deviations(site_id=zone.batch.site_id, zone=zone.code)
    return tuple(
        DeviationPart(
            code=one.code,
            kind=one.kind,
            state=one.state,
            holds=one.holds,
            text=one.text,
            effect=one.effect,
            decision=one.decision,
            closed_by=one.closed_by,
        )
        for one in found
    )


def people_of_making(zone: Zone) -> People:
    """Return who made and tested the resin lot and the batch of a zone, and who closed its deviations."""
    lot, batch = people_of_resin_lot(zone.batch.resin_lot.code), people_of_batch(zone.batch.code)
    closed = user_ids(one.closed_by for one in deviation_parts(zone) if one.closed_by)
    return People(
        makers=_persons(lot.makers | batch.makers),
        testers=_persons(lot.testers | batch.testers),
        closers=_persons(batch.closers | closed),
    )


def usernames(ids: Iterable[int]) -> tuple[str, ...]:
    """Return the user names of some people, sorted."""
    return tuple(User.objects.filter(pk__in=set(ids)).order_by("username").values_list("username", flat=True))


def user_ids(names: Iterable[str]) -> frozenset[int]:
    """Return the ids of some people by user name."""
    return frozenset(User.objects.filter(username__in=set(names)).values_list("pk", flat=True))


def _persons(ids: Iterable[int]) -> frozenset[int]:
    return frozenset(User.objects.filter(pk__in=set(ids), kind=User.PERSON).values_list("pk", flat=True))
