"""Print batches for tests, by the services alone: a lot of resin, a printer, a plan, a run up to any state.

Everything here is invented. Each function leaves the site as the people of the cast would.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction

from dosewright.ground.models import User, Work
from dosewright.ground.people import actor_of
from dosewright.ground.pure.roles import Actor, Channel
from dosewright.ground.work import run
from printing.plates import services as plates
from printing.plates.queries import batch_facts, plan_facts, printer_facts, zone_facts
from printing.runs import services as runs
from printing.runs.finishing_ranges import asked_readings
from printing.runs.queries import run_facts
from printing.stock import services as stock
from printing.stock.queries import equipment_facts, equipment_list, fill_in_tank
from tests.cast import NOW, Cast, approved_resin_lot, ready_bench, validated_formulation
from tests.orders import enter_signed, order_request, verify

DUE = date(2026, 12, 31)
LONG_AGO = timedelta(days=1)


@contextlib.contextmanager
def undone() -> Iterator[None]:
    """Undo what the block does: several cases of one table then share one set-up (within a test's transaction)."""
    block = transaction.atomic()
    block._from_testcase = True  # as the test's own block, so that durable actions may stand inside
    with block:
        yield
        transaction.set_rollback(True)


@dataclass(slots=True, kw_only=True)
class Bench:
    """What stands at the bench: a formulation, an approved lot of it, a printer with its tank."""

    formulation: str
    lot: str
    printer: str
    tank: str
    balance: str


def bench_printer(cast: Cast, *, tank: str, at: datetime = NOW, **changes: Any) -> str:
    """Register a linked printer, calibrate it and check its laser; return its code."""
    usual = {
        "name": "Bench one",
        "kind": "training printer",
        "mode": "link",
        "plate_um": (145_000, 145_000),
        "build_height_um": 120_000,
        "tank_minimum_ul": 20_000,
        "loss_ul": 3_000,
        "tank": tank,
    }
    code = plates.register_printer(cast.paul, spec=plates.PrinterSpec(**(usual | changes)), at=at)
    for kind in ("calibration", "laser check"):
        plates.check_printer(cast.tomas, code, kind=kind, due_on=DUE, result="as laid down", passed=True, at=at)
    return code


def bench(cast: Cast, *, at: datetime = NOW, **printer: Any) -> Bench:
    """Set up the demo formulation, an approved lot, balances, a tank and a linked printer."""
    made_at = at - LONG_AGO
    stock_bench = ready_bench(cast, validated_formulation(cast, at=made_at), at=made_at)
    return Bench(
        formulation=stock_bench.formulation,
        lot=approved_resin_lot(cast, stock_bench, at=made_at),
        printer=bench_printer(cast, tank=stock_bench.tank, at=at, **printer),
        tank=stock_bench.tank,
        balance=stock_bench.fine,
    )


def checked_order(cast: Cast, *doses: str, at: datetime = NOW, **changes: Any) -> str:
    """Enter, sign, screen by both houses and verify an order; return its code."""
    code = enter_signed(cast, order_request(*doses, **changes), at=at).code
    work_off_all("fact:order received", at=at)
    verify(cast, code, at=at)
    return code


def work_off_all(*kinds: str, at: datetime = NOW) -> None:
    """Run every waiting piece of work of `kinds` and insist that each ended done."""
    for row in Work.objects.filter(state=Work.WAITING).order_by("pk"):
        if any(kind in row.kind for kind in kinds):
            assert run(row.pk, clock=lambda: at), Work.objects.get(pk=row.pk).failure


def planned(cast: Cast, one: Bench, *, at: datetime = NOW) -> tuple[str, ...]:
    """Ask for a plan and make it; return its batches."""
    plan = plates.request_plan(cast.tomas, resin_lot=one.lot, printer=one.printer, at=at)
    work_off_all("plan", at=at)
    return plan_facts(cast.tomas, plan).batches


def ready(cast: Cast, batch: str, *, at: datetime = NOW) -> str:
    """Approve a planned batch and have its plate file delivered; return its code."""
    plates.approve_batch(cast.tomas, batch, at=at)
    work_off_all("deliver", at=at)
    assert batch_facts(batch, site_id=cast.site.pk).state == "ready"
    return batch


STATEMENTS = {
    "line clearance": "plate, tank and bench are empty and clean",
    "people trained": "both on shift are trained on this printer",
    "amber light": "amber light is on, blinds are down",
}
"""What is said at the gates that are statements."""

READINGS = {"temperature_c": Decimal(40), "strength_percent": Decimal(97)}
"""Readings within every range of the demo's finishing steps."""


def as_printer(cast: Cast, printer: str) -> Actor:
    """Return the actor that a linked printer is."""
    return actor_of(User.objects.get(username=f"printer-{printer.lower()}"), channel=Channel.PRINTER)


def fill(cast: Cast, batch: str, *, at: datetime = NOW) -> str:
    """Fill the tank of a batch's printer from its lot; return the tank fill."""
    facts = batch_facts(batch, site_id=cast.site.pk)
    tank = printer_facts(facts.printer, site_id=cast.site.pk).tank
    inside = fill_in_tank(tank, at=at)
    if inside is not None:
        return inside.code
    return stock.fill_tank(cast.tomas, tank=tank, resin_lot=facts.resin_lot, volume_ml=Decimal(150), at=at).code


def gate_values(cast: Cast, batch: str, *, at: datetime = NOW) -> dict[str, dict[str, str]]:
    """Return what is recorded at every gate of a batch whose tank is filled."""
    facts = batch_facts(batch, site_id=cast.site.pk)
    inside = fill_in_tank(printer_facts(facts.printer, site_id=cast.site.pk).tank, at=at)
    assert inside is not None
    return {
        **{gate: {"statement": said} for gate, said in STATEMENTS.items()},
        "lot": {"value": facts.resin_lot},
        "tank fill": {"value": inside.code},
        "print profile": {"value": facts.profile_sha256, "statement": facts.profile_name},
        "layer count": {"value": str(facts.layers)},
    }


def seen_as_planned(cast: Cast, batch: str, *, at: datetime = NOW, **changes: Any) -> None:
    """Have the printer say that it holds the batch's plate file."""
    facts = batch_facts(batch, site_id=cast.site.pk)
    said = {
        "file_sha256": facts.plate_file_sha256,
        "layers": facts.layers,
        "layer_um": facts.layer_um,
        "profile_sha256": facts.profile_sha256,
    }
    runs.printer_seen(as_printer(cast, facts.printer), batch, **(said | changes), at=at)


def gates_passed(cast: Cast, batch: str, *, without: str = "", at: datetime = NOW) -> None:
    """Fill the tank, have the printer report and record every gate (but one)."""
    fill(cast, batch, at=at)
    if batch_facts(batch, site_id=cast.site.pk).printer_mode == "link":
        seen_as_planned(cast, batch, at=at)
    for gate, said in gate_values(cast, batch, at=at).items():
        if gate != without:
            runs.record_gate(cast.tomas, batch, gate=gate, **said, at=at)


def printed(cast: Cast, batch: str, *, at: datetime = NOW) -> datetime:
    """Pass the gates, start, report the last layer and end; return when it ended."""
    gates_passed(cast, batch, at=at)
    runs.start_run(cast.tomas, batch, at=at)
    facts = batch_facts(batch, site_id=cast.site.pk)
    ended = at + timedelta(seconds=facts.seconds)
    speaker = as_printer(cast, facts.printer) if facts.printer_mode == "link" else cast.tomas
    runs.report_layer(speaker, batch, layer=facts.layers, layers=facts.layers, seconds_left=0, at=ended)
    runs.end_run(speaker, batch, at=ended)
    return ended


def counts_as_placed(cast: Cast, batch: str) -> dict[str, runs.ZoneCount]:
    """Return the counts of a plate on which nothing is missing."""
    zones = batch_facts(batch, site_id=cast.site.pk).zones
    return {zone.code: runs.ZoneCount(counted=len(zone.units)) for zone in zones}


def finish_tools(cast: Cast, formulation: str, *, at: datetime = NOW) -> dict[str, str]:
    """Register a bath, an oven and a cure box; return their codes by the kind of step."""
    wet = {"formulation": formulation}
    return {
        step: stock.register_equipment(
            cast.paul,
            kind=kind,
            name=f"{kind} one",
            due_on=DUE,
            check="new",
            at=at,
            **(wet if kind != "cure box" else {}),
        )
        for step, kind in (("wash", "bath"), ("dry", "oven"), ("cure", "cure box"))
    }


def finished(cast: Cast, batch: str, tools: dict[str, str], *, at: datetime) -> datetime:
    """Do every finishing step in the middle of its range; return when the last one ended."""
    now = at
    for step in run_facts(batch, site_id=cast.site.pk, at=at).steps:
        runs.start_finish_step(cast.ada, batch, number=step.number, equipment=tools[step.kind], at=now)
        now += timedelta(seconds=(step.least_s + step.most_s) // 2)
        asked = {name: READINGS[name] for name in asked_readings(step.conditions)}
        runs.end_finish_step(cast.ada, batch, number=step.number, readings=asked, at=now)
    runs.finish_batch(cast.ada, batch, at=now)
    return now


def weighed_zone(
    cast: Cast, zone: str, balance: str, *, masses: dict[int, str] | None = None, at: datetime
) -> tuple[str, ...]:
    """Break off, weigh and look at one zone: every unit as predicted but for `masses` [mg] by number."""
    units = [one for one in zone_facts(zone, site_id=cast.site.pk).units if one.state == "printed"]
    runs.break_off(cast.ada, zone, counted=len(units), at=at)
    values = [(masses or {}).get(one.number, tenths(one.predicted_mass_ug)) for one in units]
    answer = runs.record_masses(cast.ada, zone, masses_mg=values, balance=balance, at=at)
    runs.record_appearance(cast.ada, zone, looked_at=len(units), defects={}, at=at)
    return answer.deviations


def tenths(mass_ug: int) -> str:
    """Return a mass as a balance with an interval of 0.1 mg shows it."""
    return f"{(Decimal(mass_ug) / 1000).quantize(Decimal('0.1'))}"


def tested(cast: Cast, batch: str, balance: str, *, at: datetime) -> None:
    """Break off and weigh every zone in its order and assay every test unit, all as predicted."""
    zones = batch_facts(batch, site_id=cast.site.pk).zones
    for zone in zones:
        weighed_zone(cast, zone.code, balance, at=at)
    for zone in zones:
        for unit in zone.units if zone.line is None else ():
            said = f"{Decimal(unit.predicted_content_ng) / 1_000_000}"
            runs.record_content(cast.ada, unit.code, content_mg=said, method="assay of one unit, invented", at=at)


def judged(cast: Cast, batch: str, *, at: datetime) -> None:
    """Judge every zone of a tested batch."""
    for zone in batch_facts(batch, site_id=cast.site.pk).zones:
        runs.judge_zone(cast.ada, zone.code, at=at)


def run_to(cast: Cast, batch: str, state: str, *, tools: dict[str, str] | None = None, at: datetime = NOW) -> datetime:
    """Take a batch from planned to `state` (a state of batches, or "tested" or "judged"); return when it got there."""
    facts = batch_facts(batch, site_id=cast.site.pk)
    tank = printer_facts(facts.printer, site_id=cast.site.pk).tank
    formulation = equipment_facts(tank, at=at).formulation
    used = tools or (finish_tools(cast, formulation, at=at) if state not in {"ready", "printing", "printed"} else {})
    now = at
    ready(cast, batch, at=now)
    if state == "printing":
        gates_passed(cast, batch, at=now)
        runs.start_run(cast.tomas, batch, at=now)
    if state in {"ready", "printing"}:
        return now
    now = printed(cast, batch, at=now)
    if state == "printed":
        return now
    runs.remove_from_plate(cast.tomas, batch, counts=counts_as_placed(cast, batch), at=now)
    if state == "finishing":
        return now
    now = finished(cast, batch, used, at=now)
    if state == "testing":
        return now
    tested(cast, batch, a_balance(cast), at=now)
    if state == "tested":
        return now
    judged(cast, batch, at=now)
    if state == "judged":
        return now
    runs.close_batch(cast.rosa, batch, at=now)
    return now


def a_balance(cast: Cast) -> str:
    """Return the fine balance of the bench."""
    page = equipment_list(cast.tomas, at=NOW, kind="balance")
    return next(one.code for one in page.items if "fine" in one.name)
