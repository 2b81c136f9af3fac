"""The verdict on a zone, worked out from the evidence and never chosen; the end of a batch; destruction on record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.contrib.auth.hashers import check_password

from dosewright.ground.act import act
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from printing.plates.queries import PlacedUnit, Zone, batch_row, unit_rows, unit_zone, zone_row, zones_of
from printing.plates.services import let_lines_go, move_batch, move_units, move_zone
from printing.runs.models import Verdict
from printing.runs.queries.deviations import open_deviations
from printing.runs.queries.evidence import zone_evidence
from printing.runs.queries.people import person_by_name
from printing.runs.services.breaking import must_be_open, need_reason

MOST_AT_ONCE = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictAnswer:
    """A zone after its verdict, with every limit that was not kept."""

    code: str
    state: str
    outcome: str
    digest: str
    failures: tuple[Refusal, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseAnswer:
    """A batch after it was closed, or units after they were destroyed."""

    code: str
    state: str
    units: int


def judge_zone(actor: Actor, code: str, *, at: datetime) -> VerdictAnswer:
    """Judge a zone by its evidence, which is kept as the exact text the verdict rests on. For technicians, pharmacists.

    A failed zone's good units are rejected, and its line is free again where nothing of it is left. Raises
    NotAllowed, NotThere, Conflict for a zone that has its verdict; Blocked naming all evidence that is missing.
    """
    zone = zone_row(actor, code)
    with act(actor, "run.verdict", at=at, subject=code) as doing:
        must_be_open(zone)
        found = zone_evidence(code, site_id=actor.site_id)
        refuse_if_any(Blocked, found.missing)
        text = canonical_text(found)
        row = Verdict.objects.create(
            zone=zone, outcome=found.outcome, text=text, digest=digest_of(text), by_id=actor.user_id, at=at
        )
        doing.note(outcome=found.outcome, evidence=row.digest)
        move_zone(doing, zone, "pass" if found.outcome == "passed" else "fail")
        if found.outcome == "failed":
            move_units(doing, [one for one in unit_rows(zone.pk) if one.state == "printed"], "reject")
            doing.note(freed=let_lines_go(doing, zone.batch))
        doing.emit("zone judged", zone=code, outcome=found.outcome)
    return VerdictAnswer(code=code, state=zone.state, outcome=found.outcome, digest=row.digest, failures=found.failures)


def close_batch(actor: Actor, code: str, *, retained: Sequence[str] = (), at: datetime) -> CloseAnswer:
    """Close a tested batch: what is left beyond what is wanted becomes surplus, `retained` units are kept. Pharmacists.

    Raises NotAllowed, NotThere, Conflict; Blocked while a zone has no verdict or a deviation is open, BadInput for
    a retained unit that is not left over.
    """
    batch = batch_row(actor, code)
    with act(actor, "run.close", at=at, subject=code) as doing:
        zones = zones_of(batch.pk)
        if batch.state == "testing":
            refuse_if_any(Blocked, _not_done(zones, code, actor.site_id))
        move_batch(doing, batch, "close")
        left = [unit for zone in zones for unit in _left_over(zone)]
        keep = [one for one in left if one.code in set(retained)]
        if len(keep) != len(set(retained)):
            raise BadInput.because(
                "retained", "a unit is not left over", accepted=", ".join(one.code for one in left) or "none is left"
            )
        move_units(doing, keep, "retain")
        move_units(doing, [one for one in left if one.code not in set(retained)], "leave over")
        doing.note(surplus=len(left) - len(keep), retained=len(keep))
        doing.emit("batch closed", batch=code)
    return CloseAnswer(code=code, state=batch.state, units=len(left))


def destroy_units(
    actor: Actor, *, units: Sequence[str], reason: str, witness: str, witness_password: str, at: datetime
) -> CloseAnswer:
    """Destroy rejected, surplus, retained or unfit units before a witness, who gives their own password.

    For technicians and pharmacists other than the witness. Raises NotAllowed, NotThere, BadInput, Conflict.
    """
    person = person_by_name(actor.site_id, witness.strip())
    parties = {"witness": frozenset({person.pk}) if person else frozenset()}
    with act(
        actor, "unit.destroy", at=at, subject=units[0] if units else "", reason=reason[:200], parties=parties
    ) as doing:
        need_reason(reason)
        if person is None or not person.is_active or not check_password(witness_password, person.password):
            raise NotAllowed.because(
                "witness", "is not known, or the password is not theirs", accepted="a second person"
            )
        if not 0 < len(set(units)) == len(units) <= MOST_AT_ONCE:
            raise BadInput.because("units", "are none, too many or named twice", accepted=f"1 to {MOST_AT_ONCE} units")
        rows = [_row(actor, one) for one in units]
        _refuse_open(rows)
        move_units(doing, rows, "destroy")
        doing.note(witness=person.code, units=list(units))
    return CloseAnswer(code=units[0], state="destroyed", units=len(units))


def _row(actor: Actor, code: str) -> PlacedUnit:
    zone = zone_row(actor, unit_zone(code, site_id=actor.site_id))
    return next(one for one in unit_rows(zone.pk) if one.code == code)


def _refuse_open(rows: Sequence[PlacedUnit]) -> None:
    """Only units that a decision took out may be destroyed by this door; a pack's units go with their pack."""
    for one in rows:
        if one.state not in {"rejected", "surplus", "retained", "returned"}:
            raise Conflict.because(
                one.code, f"is {one.state}", accepted="rejected, surplus, retained or returned", rule="state"
            )


def _not_done(zones: Sequence[Zone], batch: str, site_id: int) -> list[Refusal]:
    found = [
        Refusal(field=one.code, value=one.state, message="has no verdict", accepted="a judged zone", rule="verdict")
        for one in zones
        if one.state == "open"
    ]
    return found + [
        Refusal(
            field=one.code, value=one.kind, message="is an open deviation", accepted="a closed one", rule="deviation"
        )
        for one in open_deviations(site_id=site_id, batch=batch, holding=False)
    ]


def _left_over(zone: Zone) -> list[PlacedUnit]:
    """Return the units of a judged zone that no pack needs: those of the highest numbers."""
    units = unit_rows(zone.pk)
    free = [one for one in units if one.state == "printed"]
    gone = sum(one.state in {"packed", "supplied", "returned"} for one in units)
    still_wanted = max(0, zone.wanted - gone) if zone.line_id is not None else 0
    return free[still_wanted:]
