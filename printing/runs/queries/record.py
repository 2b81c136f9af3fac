"""The batch record in lines for documents: gates, steps against their ranges, tests against their limits."""

from __future__ import annotations

import json
from decimal import Decimal

from dosewright.ground.pure.errors import NotThere
from printing.plates.models import PrintBatch
from printing.runs.content import END, FAULT, GATE, START, RecordLine, StepFacts, ZoneEvidence
from printing.runs.models import RunStep
from printing.runs.queries.evidence import zone_evidence
from printing.runs.queries.steps import step_facts

KEPT, NOT_KEPT = "within", "outside"


def step_lines(code: str, *, site_id: int) -> tuple[RecordLine, ...]:
    """Return the gates, the run and the finishing steps of a batch with their ranges; raises NotThere."""
    batch = PrintBatch.objects.filter(code=code, site_id=site_id).first()
    if batch is None:
        raise NotThere.because("batch", "no such print batch at this site", value=code[:40], rule="code")
    rows = RunStep.objects.filter(batch=batch, kind__in=(GATE, START, END, FAULT)).select_related("by").order_by("pk")
    lines = [_event_line(one, batch) for one in rows]
    return (*lines, *map(_step_line, step_facts(batch.pk, batch.formulation_id)))


def test_lines(zone: str, *, site_id: int) -> tuple[RecordLine, ...]:
    """Return the tests of a zone against their limits: count, masses, contents; raises NotThere."""
    found = zone_evidence(zone, site_id=site_id)
    return (*_count_lines(found), *_mass_lines(found), *_content_lines(found))


def _event_line(row: RunStep, batch: PrintBatch) -> RecordLine:
    facts = json.loads(row.text)
    limit, found = "", ""
    if row.kind == GATE:
        found = ", ".join(one for one in (facts["value"], facts["statement"]) if one)
    elif row.kind == END:
        limit, found = f"{batch.layers} layers", f"{facts['layer']} layers"
    elif row.kind == FAULT:
        found = f"layer {facts['layer']}: {facts['kind']}"
    verdict = NOT_KEPT if row.kind == FAULT else KEPT
    name = f"{row.kind}: {row.name}" if row.name else row.kind
    return RecordLine(what=name, limit=limit, found=found, verdict=verdict, by=row.by.printed_name, at=row.at)


def _step_line(step: StepFacts) -> RecordLine:
    conditions = "; ".join(f"{name} {value}" for name, value in sorted(step.conditions.items()))
    readings = "; ".join(f"{name} {value}" for name, value in sorted(step.readings.items()))
    done = "" if step.seconds is None else f"{step.seconds} s"
    return RecordLine(
        what=f"step {step.number}: {step.kind}",
        limit="; ".join(one for one in (f"{step.least_s} to {step.most_s} s", conditions) if one),
        found="; ".join(one for one in (done, readings, step.equipment) if one),
        verdict="open" if step.in_range is None else KEPT if step.in_range else NOT_KEPT,
        by=step.ended_by or step.started_by,
        at=step.ended_at or step.started_at,
    )


def _count_lines(found: ZoneEvidence) -> list[RecordLine]:
    enough = found.good >= found.wanted
    states = ", ".join(f"{count} {state}" for state, count in found.states.items())
    return [
        RecordLine(
            what="count",
            limit=f"at least {found.wanted} good units",
            found=f"{found.good} good ({states}); counted {', '.join(map(str, found.counted)) or 'never'}",
            verdict=KEPT if enough else NOT_KEPT,
            by="",
            at=None,
        )
    ]


def _mass_lines(found: ZoneEvidence) -> list[RecordLine]:
    if found.statistics is None:
        return []
    statistics = found.statistics
    mean_kept = abs(statistics.mean_deviation_frac) <= statistics.mean_limit_frac
    good = [one for one in found.units if one.state not in {"rejected", "destroyed"} and one.deviation_frac is not None]
    worst = max((abs(one.deviation_frac or Decimal(0)) for one in good), default=Decimal(0))
    limit = found.units[0].limit_frac
    predicted = found.units[0].predicted_mg
    return [
        RecordLine(
            what="mean mass",
            limit=f"{predicted} mg +/- {_percent(statistics.mean_limit_frac)} %",
            found=f"{statistics.mean_mg} mg ({_percent(statistics.mean_deviation_frac)} %), n = {statistics.weighed}",
            verdict=KEPT if mean_kept else NOT_KEPT,
            by="",
            at=None,
        ),
        RecordLine(
            what="mass of each unit",
            limit=f"{predicted} mg +/- {_percent(limit)} %",
            found=f"largest departure {_percent(worst)} %",
            verdict=KEPT if worst <= limit else NOT_KEPT,
            by="",
            at=None,
        ),
    ]


def _content_lines(found: ZoneEvidence) -> list[RecordLine]:
    return [
        RecordLine(
            what=f"content of test unit {one.unit} ({one.how})",
            limit=f"{one.dose_mg} mg +/- {_percent(one.limit_frac)} %",
            found=f"{one.content_mg} mg ({_percent(one.deviation_frac)} %)",
            verdict=KEPT if one.passed else NOT_KEPT,
            by="",
            at=None,
        )
        for one in found.contents
    ]


def _percent(fraction: Decimal) -> str:
    return f"{100 * fraction:.2f}"
