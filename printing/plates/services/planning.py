"""Makes the plan: verified lines of all formulations, sized with their lots, laid out on the plates of all printers.

The slow part (screening, sizing, layout, check) happens outside any transaction; reservations, batches, zones
and units are written in one, so that a plan is there as a whole or not at all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from dosewright.ground.act import Act, act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import Blocked, Conflict, NotThere, Refusal, Refused
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from dosewright.ground.work import Job
from prescriptions.services.reserving import keep_line, reserve_line
from printing.core.layout.checker import require_sound
from printing.core.layout.joint import make_joint_plan
from printing.core.layout.joint_request import JointRequest
from printing.core.layout.plan_types import Plan
from printing.core.layout.record import plan_record
from printing.plates.expecting import expected_plan
from printing.plates.models import Printer
from printing.plates.queries import lacking_units, printers_in_use, usable_lots
from printing.plates.services.asking import joint_request, placed_counts, printable, spares_in_parts
from printing.plates.services.gathering import Gathered, Sized, Wanted, gather, size_wanted
from printing.plates.services.writing import write_plan
from printing.plates.sizes import size_record
from printing.stock.content import ResinLotFacts
from printing.stock.queries import resin_lot_facts


def request_plan(actor: Actor, *, resin_lot: str = "", printer: str = "", at: datetime) -> str:
    """Ask for a plan of all verified lines; technicians and pharmacists.

    With ``resin_lot`` only of that lot, with ``printer`` only on that printer; without, with every usable lot and on
    every printer in use. Returns the plan's code; a worker makes it. Raises NotThere, Blocked for a lot that cannot be
    printed.
    """
    machine = find(actor, Printer, printer) if printer else None
    with act(actor, "plan.request", at=at) as doing:
        if resin_lot:
            refuse_unusable_lot(lot_here(resin_lot, site_id=actor.site_id, at=at), at=at)
        plan = new_code("plan")
        doing.subject = plan
        code = machine.code if machine else ""
        doing.note(plan=plan, resin_lot=resin_lot, printer=code)
        doing.enqueue("plan", key=f"plan:{plan}", plan=plan, resin_lot=resin_lot, printer=code)
    return plan


def lot_here(code: str, *, site_id: int, at: datetime) -> ResinLotFacts:
    """Return a resin lot of a site; raises NotThere, also for a lot of another site."""
    lot = resin_lot_facts(code, at=at)
    if lot.site_id != site_id:
        raise NotThere.because("resin_lot", "no such resin lot", value=code[:40], accepted="a resin lot's code")
    return lot


def refuse_unusable_lot(lot: ResinLotFacts, *, at: datetime) -> None:
    """Raise Blocked with everything that keeps a resin lot from being printed at a time."""
    if lot.blockers:
        raise Blocked(*lot.blockers)


def make_the_plan(job: Job) -> None:
    """Make the plan that a piece of work asks for; for workers. Refused when nothing can be planned."""
    found = gather(job, lots=_lots(job), printers=_printers(job))
    job.progress(f"{len(found.wanted)} lines screened")
    sized = _with_lots(job, found, found.wanted)
    request, plan = _laid_out(job, found, sized)
    record = plan_record(plan)
    require_sound(record, expected_plan(request))
    job.progress(f"{len(record['plates'])} plates laid out")
    placed = {line.code for lot in request.lots for line in lot.lines}
    with job.finishing("plan.make", subject=job.payload["plan"]) as doing:
        _write(doing, job.payload["plan"], record, [one for one in sized if one.wanted.code in placed], found, request)


def _lots(job: Job) -> Sequence[ResinLotFacts]:
    code, at = job.payload["resin_lot"], job.clock()
    if not code:
        found = usable_lots(job.site_id, at=at)
        if not found:
            raise Blocked.because("resin_lot", "no resin lot can be printed", accepted="an approved lot in date")
        return found
    lot = lot_here(code, site_id=job.site_id, at=at)
    refuse_unusable_lot(lot, at=at)
    return (lot,)


def _printers(job: Job) -> Sequence[Printer]:
    code = job.payload["printer"]
    found = (find(job.system, Printer, code),) if code else printers_in_use(job.site_id)
    if not found:
        raise Blocked.because("printer", "no printer is in use at this site", accepted="a registered printer")
    return found


def _with_lots(job: Job, found: Gathered, wanted: Sequence[Wanted], *, after: str = "") -> list[Sized]:
    """Return the lines sized, each with its first lot that has a printer, or with the first one after ``after``."""
    by_lot: dict[str, list[Wanted]] = {}
    for one in wanted:
        lots = [lot for lot in one.lots if printable(found, lot)]
        left = lots[lots.index(after) + 1 :] if after in lots else lots
        if left:
            by_lot.setdefault(left[0], []).append(one)
        elif after:
            found.leave_out(one.code, f"resin lot {after} does not hold enough, and no other lot is there")
        else:
            found.leave_out(one.code, "no print profile is pinned for a printer here and its layer height")
    return [item for lot in sorted(by_lot) for item in size_wanted(job, found, by_lot[lot], lot)]


def _laid_out(job: Job, found: Gathered, sized: list[Sized]) -> tuple[JointRequest, Plan]:
    """Lay the lines out; a line that fits no plate is left out, and the latest due where a lot does not hold enough.

    Drops lines from `sized` as it leaves them out, and moves them to another lot where there is one. Where a line
    stands in parts, it is laid out again with spares for each part.
    """
    while sized:
        request = joint_request(found, sized)
        try:
            plan = make_joint_plan(request)
            if _parts_have_spares(found, plan):
                return request, plan
        except Refused as refused:
            again = _without_refused(found, sized, refused)
            moved = [one for one in sized if one not in again]
            if not moved:
                raise
            lot = _lot_of(refused)
            sized[:] = again + (_with_lots(job, found, [one.wanted for one in moved], after=lot) if lot else [])
    raise _nothing(found.left_out)


def _parts_have_spares(found: Gathered, plan: Plan) -> bool:
    """Say whether every part of a line has spares of its own; note the spares that lines in parts need, if not."""
    enough = True
    for plate in plan.plates:
        for zone in plate.zones:
            needed = spares_in_parts(found, zone.line.count, min(zone.part[1], zone.line.count))
            if zone.test is None and needed > zone.line.spares:
                found.spares[zone.line.code] = needed
                enough = False
    return enough


def _without_refused(found: Gathered, sized: Sequence[Sized], refused: Refused) -> list[Sized]:
    """Return the lines without those that a refusal names, or without the latest due of a lot that is too small."""
    lot = _lot_of(refused)
    if lot:
        return _fewer(sized, lot, refused.refusals[0])
    named = {one.field.split(".")[1]: one for one in refused.refusals if one.field.startswith("lines.")}
    named |= {one.value or "": one for one in refused.refusals if one.field == "tests"}
    for one in sized:
        if one.wanted.code in named:
            found.leave_out(one.wanted.code, str(Refused(named[one.wanted.code])))
    return [one for one in sized if one.wanted.code not in named]


def _lot_of(refused: Refused) -> str:
    name = refused.refusals[0].field
    return name.partition(".")[2] if name.startswith("lots.") else ""


def _fewer(sized: Sequence[Sized], lot: str, refusal: Refusal) -> list[Sized]:
    """Leave the latest due lines of a lot out until the resin that their units alone hold is what is missing."""
    missing_ul = int(refusal.limit or 0) - int(refusal.value or 0)
    mine = [one for one in sized if one.lot == lot]
    mine.sort(key=lambda one: (one.wanted.line.line.ready_by, one.wanted.code))
    out: set[str] = set()
    while mine and (missing_ul > 0 or not out):
        last = mine.pop()
        out.add(last.wanted.code)
        missing_ul -= int(last.dose.unit.geometry.mesh_volume_mm3 * last.count * 2)
    return [one for one in sized if one.wanted.code not in out]


def _write(
    doing: Act,
    plan: str,
    record: Mapping[str, Any],
    sized: Sequence[Sized],
    found: Gathered,
    request: JointRequest,
) -> None:
    lots = {lot.lot: resin_lot_facts(lot.lot, at=doing.at) for lot in request.lots}
    for lot in lots.values():
        refuse_unusable_lot(lot, at=doing.at)
    for one in sized:
        _reserve(doing, one, plan)
    whole = {
        **record,
        "left_out": found.left_out,
        "lots": [{"resin_lot": code, "strength_mg_g": lot.strength_mg_g} for code, lot in sorted(lots.items())],
    }
    write_plan(
        doing,
        plan=plan,
        record=whole,
        sizes={one.wanted.code: canonical_text(size_record(one.dose)) for one in sized},
        wanted=placed_counts(request),
        held_by={one.wanted.code: one.wanted.reprint.plan if one.wanted.reprint else plan for one in sized},
        lots=lots,
        ready_by=min(one.wanted.line.line.ready_by for one in sized),
    )
    doing.note(
        lines=[one.wanted.code for one in sized],
        reprints=[one.wanted.code for one in sized if one.wanted.reprint],
        left_out=found.left_out,
        plates=len(record["plates"]),
        plan_digest=digest_of(canonical_text(whole)),
    )


def _reserve(doing: Act, one: Sized, plan: str) -> None:
    """Reserve a line, or hold the one that lacks units and see that it still lacks as many."""
    reprint = one.wanted.reprint
    if reprint is None:
        reserve_line(doing, one.wanted.code, plan=plan)
        return
    keep_line(doing, one.wanted.code, plan=reprint.plan)
    lacking = lacking_units(one.wanted.code, reprint.plan)
    if lacking != reprint.units:
        raise Conflict.because(
            one.wanted.code, "lacks another number of units by now", value=str(lacking), limit=str(reprint.units)
        )


def _nothing(left_out: list[dict[str, str]]) -> Refused:
    if not left_out:
        return Blocked.because(
            "lines", "no verified line waits for this formulation", accepted="a verified order", rule="nothing to plan"
        )
    return Blocked(
        *(
            Refusal(
                field=one.get("line") or one.get("order", "lines"),
                message=one["why"],
                accepted="see the order",
                rule="left out",
            )
            for one in left_out
        )
    )
