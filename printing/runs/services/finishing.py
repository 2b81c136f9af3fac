"""Washing, drying, curing: in the formulation's order, with dedicated equipment, each in its range."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal

from dosewright.ground.act import act
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, Refusal
from dosewright.ground.pure.roles import Actor
from printing.plates.queries import PrintBatch, batch_row
from printing.plates.services import move_batch
from printing.runs.content import STEP_END, STEP_START, StepFacts
from printing.runs.finishing_ranges import EQUIPMENT_FOR, departures
from printing.runs.queries.steps import conditions_of, finish_steps, last_step, step_facts
from printing.runs.services.record import add_deviation, add_step
from printing.runs.services.removal import CountAnswer
from printing.stock.queries import equipment_for_use


def start_finish_step(actor: Actor, code: str, *, number: int, equipment: str, at: datetime) -> CountAnswer:
    """Start one finishing step of a batch whose rafts are off the plate. For technicians.

    Raises NotAllowed, NotThere, BadInput, Conflict; Blocked while an earlier step is open (no cure before a
    finished dry), and for equipment of another kind, another formulation or out of date.
    """
    batch = batch_row(actor, code)
    with act(actor, "run.step", at=at, subject=code) as doing:
        steps = _finishing(batch)
        step = _step(steps, number)
        if step.started_at is not None:
            raise Conflict.because(f"step {number}", "was started before", accepted=_next(steps), rule="step")
        waiting = [one for one in steps if one.number < number and one.ended_at is None]
        if waiting:
            raise Blocked(*(_before(step, one) for one in waiting))
        kind = EQUIPMENT_FOR[step.kind]
        tool = equipment_for_use(actor, equipment, kind=kind, formulation=batch.formulation.code, at=at)
        row = next(one for one in finish_steps(batch.formulation_id) if one.number == number)
        name = f"{number} {step.kind}"
        add_step(doing, batch, STEP_START, name=name, finish_step_id=row.pk, equipment_id=tool.pk)
        doing.note(equipment=tool.code)
    return CountAnswer(code=code, state=batch.state, deviations=())


def end_finish_step(
    actor: Actor, code: str, *, number: int, readings: Mapping[str, Decimal] | None = None, at: datetime
) -> CountAnswer:
    """End a finishing step with the readings it asks for; what left its range opens a deviation. For technicians.

    A dry cannot be ended early: the units go on drying. Raises NotAllowed, NotThere, BadInput for missing
    readings, Conflict for a step that is not under way, Blocked for a dry that is too short.
    """
    batch = batch_row(actor, code)
    given = dict(readings or {})
    with act(actor, "run.step", at=at, subject=code) as doing:
        step = _step(_finishing(batch), number)
        if step.started_at is None or step.ended_at is not None:
            raise Conflict.because(f"step {number}", "is not under way", accepted=_next(_finishing(batch)), rule="step")
        seconds = int((at - step.started_at).total_seconds())
        if seconds < 0 or (step.kind == "dry" and seconds < step.least_s):
            raise Blocked(_too_early(step, seconds))
        row = next(one for one in finish_steps(batch.formulation_id) if one.number == number)
        found = departures(
            kind=step.kind,
            seconds=seconds,
            least_s=step.least_s,
            most_s=step.most_s,
            conditions=conditions_of(row),
            readings=given,
        )
        start = last_step(batch.pk, STEP_START, name=f"{number} {step.kind}")
        tool_id = start.equipment_id if start else None
        add_step(
            doing,
            batch,
            STEP_END,
            name=f"{number} {step.kind}",
            facts={"seconds": seconds, "readings": given},
            finish_step_id=row.pk,
            equipment_id=tool_id,
        )
        concerned = {actor.user_id, *({start.by_id} if start else set())}
        opened = tuple(
            add_deviation(
                doing,
                kind="step out of range",
                text=f"step {number}, {step.kind}: {one.what} {one.found} {one.unit}, {one.limit} {one.unit}",
                effect=one.effect,
                batch_id=batch.pk,
                concerns=concerned,
            ).code
            for one in found
        )
    return CountAnswer(code=code, state=batch.state, deviations=opened)


def finish_batch(actor: Actor, code: str, *, at: datetime) -> CountAnswer:
    """End the finishing of a batch once every step has ended; testing begins. For technicians.

    Raises NotAllowed, NotThere, Conflict; Blocked naming every step that is open.
    """
    batch = batch_row(actor, code)
    with act(actor, "run.finish", at=at, subject=code) as doing:
        steps = step_facts(batch.pk, batch.formulation_id)
        waiting = [one for one in steps if one.ended_at is None]
        if batch.state == "finishing" and waiting:
            raise Blocked(
                *(
                    Refusal(field=f"step {one.number}", value=one.kind, message="is not ended", rule="step")
                    for one in waiting
                )
            )
        move_batch(doing, batch, "finish")
        doing.emit("batch finished", batch=code)
    return CountAnswer(code=code, state=batch.state, deviations=())


def _finishing(batch: PrintBatch) -> tuple[StepFacts, ...]:
    if batch.state != "finishing":
        raise Conflict.because(batch.code, f"is {batch.state}", accepted="a batch in finishing", rule="state")
    return step_facts(batch.pk, batch.formulation_id)


def _step(steps: tuple[StepFacts, ...], number: int) -> StepFacts:
    found = next((one for one in steps if one.number == number), None)
    if found is None:
        accepted = ", ".join(f"{one.number} ({one.kind})" for one in steps)
        raise BadInput.because(
            "number", "is no finishing step of this formulation", value=str(number), accepted=accepted
        )
    return found


def _next(steps: tuple[StepFacts, ...]) -> str:
    open_step = next((one for one in steps if one.ended_at is None), None)
    return "none: all have ended" if open_step is None else f"step {open_step.number} ({open_step.kind})"


def _before(step: StepFacts, earlier: StepFacts) -> Refusal:
    wet = step.kind == "cure" and earlier.kind == "dry"
    return Refusal(
        field=f"step {step.number}",
        value=step.kind,
        message="wet units are never cured: the drying has not ended"
        if wet
        else f"comes after step {earlier.number} ({earlier.kind}), which has not ended",
        accepted=f"end step {earlier.number} first",
        rule="wet" if wet else "order of steps",
    )


def _too_early(step: StepFacts, seconds: int) -> Refusal:
    return Refusal(
        field=f"step {step.number}",
        value=str(seconds),
        limit=str(step.least_s),
        unit="s",
        message=f"this {step.kind} is not over",
        accepted=f"{step.least_s} to {step.most_s} s",
        rule="too early",
    )
