"""Print batches for tests, by the services alone: a lot of resin, a printer, a plan, a run up to any state.

Everything here is invented. Each function leaves the site as the people of the cast would.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from dosewright.ground.models import Work
from dosewright.ground.work import run
from printing.plates import services as plates
from printing.plates.queries import batch_facts, plan_facts
from tests.cast import NOW, Cast, approved_resin_lot, ready_bench, validated_formulation
from tests.orders import enter_signed, order_request, verify

DUE = date(2026, 12, 31)
LONG_AGO = timedelta(days=1)


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
