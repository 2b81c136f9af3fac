"""One order's way with a race at each place where two people, or a person and a worker, can meet.

`python -m tests.races` runs it on the home of the environment (migrated, empty) and prints what everybody was told.
Every person, place and figure is invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from dosewright.ground.models import AuditEntry, Work
from dosewright.ground.people import actor_of, found_person
from dosewright.ground.pure.roles import Actor, Channel, Role
from dosewright.ground.verify import verify
from labels import services as labels
from labels.queries import pack
from prescriptions import services as prescriptions
from prescriptions.models import Order
from prescriptions.queries import order_state
from printing.formulary import services as formulary
from printing.plates import services as plates
from printing.plates.models import PrintBatch
from printing.plates.queries import batch_facts, plan_facts
from printing.runs import services as runs
from printing.runs.content import MAY_BE_USED
from printing.runs.models import Deviation, Measurement
from printing.stock import services as stock
from tests import batches, packs
from tests.cast import NOW, PASSWORD, Cast, demo_substance, found_cast, pen
from tests.orders import another_child, enter_signed, order_request
from tests.orders import verify as verified_by
from tests.packs import SHORT_COURSE, Shelf
from tests.races.at_once import Outcome, at_once, tried, while_working

Calls = dict[str, Callable[[], Any]]


@dataclass(slots=True, kw_only=True)
class Race:
    """One race and what everybody was answered; ``rows`` counts what the winner may leave once."""

    name: str
    outcomes: list[Outcome]
    rows: int = 1

    def plain(self) -> dict[str, Any]:
        """Return the race as JSON holds it."""
        return {"race": self.name, "outcomes": [one.plain() for one in self.outcomes], "rows": self.rows}


@dataclass(slots=True, kw_only=True)
class Walk:
    """The site, and where the order has come to."""

    cast: Cast
    bench: batches.Bench
    vera: Actor
    races: list[Race] = field(default_factory=list)

    def race(self, name: str, calls: Calls, *, action: str = "") -> None:
        """Let people race; keep what they were told and how many entries say that the action was done."""
        before = AuditEntry.objects.filter(action=action, outcome=AuditEntry.DONE).count()
        outcomes = at_once(calls)
        after = AuditEntry.objects.filter(action=action, outcome=AuditEntry.DONE).count()
        self.races.append(Race(name=name, outcomes=outcomes, rows=after - before))

    def met(self, name: str, *outcomes: Outcome) -> None:
        """Keep a race whose order was laid down."""
        self.races.append(Race(name=name, outcomes=list(outcomes)))


def run_races() -> list[Race]:
    """Walk from an empty site to a supplied pack; return every race."""
    cast = found_cast()
    demo_substance(cast)
    packs.law_signed(cast)
    walk = Walk(cast=cast, bench=batches.bench(cast), vera=_another_pharmacist(cast))
    order = _checked(walk)
    _planned(walk)
    batch = _claimed(walk)
    ended = _started(walk, order, batch)
    shelf = _tested(walk, order, batch, ended)
    _packed(walk, shelf)
    assert verify().faults == []
    return walk.races


def _another_pharmacist(cast: Cast) -> Actor:
    user = found_person(
        cast.site,
        username="vera.holm",
        printed_name="Vera Holm",
        password=PASSWORD,
        roles=(Role.PHARMACIST,),
        at=NOW,
        profession="pharmacist",
        registration="DEMO-R-3009",
    )
    return actor_of(user, channel=Channel.SESSION)


def _screened_order(cast: Cast, **changes: Any) -> str:
    code = enter_signed(cast, order_request(regimen=SHORT_COURSE, **changes)).code
    batches.work_off_all("fact:order received")
    return code


def _checked(walk: Walk) -> str:
    """Two pharmacists verify one order."""
    code = _screened_order(walk.cast)
    calls: Calls = {}
    for who, actor in (("Rosa Keller", walk.cast.rosa), ("Jonas Weber", walk.cast.jonas)):
        prescriptions.open_alerts(actor, code, at=NOW)
        given = pen(prescriptions.verify_shown(actor, code))
        calls[who] = lambda actor=actor, given=given: prescriptions.verify_order(actor, code, pen=given, at=NOW)
    walk.race("two pharmacists verify one order", calls, action="order.verify")
    return code


def _planned(walk: Walk) -> None:
    """An order is stopped, then the lot is blocked, while the planner is at work; the third plan stands."""
    cast, lot = walk.cast, walk.bench.lot
    other = _screened_order(cast, patient=another_child(4))
    verified_by(cast, other)
    stop = lambda: prescriptions.stop_order(cast.mira, other, reason="treatment ended", at=NOW)  # noqa: E731
    walk.met("an order is stopped while it is planned", *_met_by_planner(walk, "Dr Mira Voss", stop))
    block = lambda: stock.block_resin_lot(cast.rosa, lot, reason="a doubt", at=NOW)  # noqa: E731
    walk.met("a lot is blocked while it is planned", *_met_by_planner(walk, "Rosa Keller", block))
    assert not PrintBatch.objects.exists(), "a plan that met a stop or a block left a batch"
    for signer in (cast.rosa, cast.jonas):
        shown = stock.shown_for_unblock_resin_lot(signer, lot, at=NOW)
        stock.unblock_resin_lot(signer, lot, pen=pen(shown), at=NOW)


def _met_by_planner(walk: Walk, who: str, doing: Callable[[], Any]) -> list[Outcome]:
    plates.request_plan(walk.cast.tomas, resin_lot=walk.bench.lot, printer=walk.bench.printer, at=NOW)
    met: list[Outcome] = []
    failure = while_working("plan", lambda: met.append(tried(who, doing)), at=NOW)
    return [*met, Outcome(who="the planner", done=not failure, kind="failed" if failure else "", told=failure)]


def _claimed(walk: Walk) -> str:
    """Two technicians claim one batch; two of them deliver its file by the same piece of work."""
    cast = walk.cast
    plan = plates.request_plan(cast.tomas, resin_lot=walk.bench.lot, printer=walk.bench.printer, at=NOW)
    batches.work_off_all("plan")
    (batch,) = plan_facts(cast.tomas, plan).batches
    calls: Calls = {
        "Tomas Lind": lambda: plates.approve_batch(cast.tomas, batch, at=NOW),
        "Ada Brandt": lambda: plates.approve_batch(cast.ada, batch, at=NOW),
    }
    walk.race("two technicians claim one batch", calls, action="batch.approve")
    assert Work.objects.filter(kind="deliver").count() == 1
    batches.work_off_all("deliver")
    return batch


def _started(walk: Walk, order: str, batch: str) -> Any:
    """A weight is corrected between plan and start; two technicians start; the formulation is suspended mid-run."""
    cast = walk.cast
    batches.gates_passed(cast, batch)
    patient = Order.objects.get(code=order).patient.code
    slip = {"kind": "weight", "value": "3.1", "unit": "kg", "measured_on": NOW.date()}
    first = tried("Dr Mira Voss", lambda: prescriptions.measure_patient(cast.mira, patient, at=NOW, **slip))
    then = tried("Tomas Lind", lambda: runs.start_run(cast.tomas, batch, at=NOW))
    walk.met("a weight is corrected between plan and start", first, then)
    right = slip | {"value": "20.5", "corrects": _newest_weight(patient)}
    prescriptions.measure_patient(cast.mira, patient, at=NOW, **right)
    batches.work_off_all("fact:")
    if order_state(order) != "verified":
        verified_by(cast, order)
    calls: Calls = {
        "Tomas Lind": lambda: runs.start_run(cast.tomas, batch, at=NOW),
        "Ada Brandt": lambda: runs.start_run(cast.ada, batch, at=NOW),
    }
    walk.race("two technicians start one batch", calls, action="run.start")
    suspend = lambda: formulary.suspend_formulation(cast.nora, walk.bench.formulation, reason="a doubt", at=NOW)  # noqa: E731
    suspended = tried("Nora Stein", suspend)
    facts = batch_facts(batch, site_id=cast.site.pk)
    ended = NOW + timedelta(seconds=facts.seconds)
    printer = batches.as_printer(cast, facts.printer)
    runs.report_layer(printer, batch, layer=facts.layers, layers=facts.layers, seconds_left=0, at=ended)
    assert runs.end_run(printer, batch, at=ended).state == "printed", "a run that is under way ends as it would"
    planning = tried(
        "Tomas Lind",
        lambda: plates.request_plan(cast.tomas, resin_lot=walk.bench.lot, printer=walk.bench.printer, at=ended),
    )
    walk.met("a formulation is suspended mid-run and planned with", suspended, planning)
    return ended


def _newest_weight(patient: str) -> str:
    from prescriptions.models import BodyMeasure

    return str(BodyMeasure.objects.filter(patient__code=patient, kind="weight").latest("pk").code)


def _tested(walk: Walk, order: str, batch: str, ended: Any) -> Shelf:
    """A mass is corrected while the zone is judged; a deviation opens between view and signature."""
    cast = walk.cast
    tools = batches.finish_tools(cast, walk.bench.formulation)
    runs.remove_from_plate(cast.tomas, batch, counts=batches.counts_as_placed(cast, batch), at=ended)
    now = batches.finished(cast, batch, tools, at=ended)
    batches.tested(cast, batch, walk.bench.balance, at=now)
    zones = [one for one in batch_facts(batch, site_id=cast.site.pk).zones if one.line is not None]
    shelf = Shelf(cast=cast, bench=walk.bench, batch=batch, order=order, zones=tuple(one.code for one in zones), at=now)
    mass = Measurement.objects.filter(zone__code=zones[0].code, kind="mass").order_by("pk").first()
    assert mass is not None
    assert mass.value_ng is not None
    value = batches.tenths(mass.value_ng // 1000 + 100)
    correct = lambda: runs.correct_measurement(cast.tomas, mass.code, value=value, reason="read wrongly", at=now)  # noqa: E731
    calls: Calls = {
        "Ada Brandt": lambda: runs.judge_zone(cast.ada, zones[0].code, at=now),
        "Tomas Lind": correct,
    }
    walk.race("a mass is corrected while the zone is judged", calls, action="run.verdict")
    batches.judged(cast, batch, at=now) if not _verdict(zones[0].code) else _judged_rest(cast, batch, now)
    late = tried("Tomas Lind", correct)
    walk.met("a mass is corrected after the verdict", Outcome(who="Ada Brandt", done=True), late)
    _suspended_review(walk, shelf)
    shown = labels.shown_for_approve_to_pack(cast.rosa, zones[0].code, at=now)
    opened = tried("Ada Brandt", lambda: _deviation(shelf))
    signed = tried("Rosa Keller", lambda: labels.approve_to_pack(cast.rosa, zones[0].code, pen=pen(shown), at=now))
    walk.met("the record changes between view and signature", opened, signed)
    _deviation_closed(shelf)
    runs.close_batch(cast.rosa, batch, at=now)
    return shelf


def _verdict(zone: str) -> bool:
    from printing.runs.models import Verdict

    return Verdict.objects.filter(zone__code=zone).exists()


def _judged_rest(cast: Cast, batch: str, now: Any) -> None:
    for zone in batch_facts(batch, site_id=cast.site.pk).zones:
        if not _verdict(zone.code):
            runs.judge_zone(cast.ada, zone.code, at=now)


def _deviation(on: Shelf) -> object:
    return runs.open_deviation(
        on.cast.ada, kind="other", text="a lamp failed", effect="none seen", batch=on.batch, holds=False, at=on.at
    )


def _deviation_closed(on: Shelf) -> None:
    (code,) = Deviation.objects.values_list("code", flat=True)
    runs.close_deviation(
        on.cast.lena,
        code,
        investigation="looked into by two people, invented for the test",
        action_taken="lamp replaced, invented for the test",
        decision=MAY_BE_USED,
        pen=pen(runs.shown_for_close(on.cast.lena, code)),
        at=on.at,
    )


def _suspended_review(walk: Walk, on: Shelf) -> None:
    """What was made of a formulation that is suspended is not approved to pack until two people reinstate it."""
    cast, code = walk.cast, walk.bench.formulation
    shown = labels.shown_for_approve_to_pack(cast.rosa, on.zones[0], at=on.at)
    held = tried("Rosa Keller", lambda: labels.approve_to_pack(cast.rosa, on.zones[0], pen=pen(shown), at=on.at))
    walk.met("a formulation is suspended mid-run and packed", Outcome(who="Nora Stein", done=True), held)
    for signer in (cast.nora, cast.rosa):
        formulary.validate_formulation(signer, code, pen=pen(formulary.shown_for_validate(signer, code)), at=on.at)


def _packed(walk: Walk, on: Shelf) -> None:
    """Two pharmacists release one pack; two technicians hand it over; a stop meets the supply of the other one."""
    code = packs.packed(on)
    calls: Calls = {}
    for who, actor in (("Jonas Weber", on.cast.jonas), ("Vera Holm", walk.vera)):
        given = pen(labels.release_record(actor, code, at=on.at))
        calls[who] = lambda actor=actor, given=given: labels.release_pack(
            actor, code, scanned=code, pen=given, at=on.at
        )
    walk.race("two pharmacists sign one pack", calls, action="pack.release")
    walk.race(
        "two technicians hand one pack over",
        {
            who: lambda actor=actor: labels.supply_pack(actor, code, scanned=code, to_whom="ward 3", at=on.at)
            for who, actor in (("Tomas Lind", on.cast.tomas), ("Ada Brandt", on.cast.ada))
        },
        action="pack.supply",
    )
    other = packs.released(on, 1)
    stopped = tried(
        "Dr Mira Voss",
        lambda: prescriptions.stop_order(on.cast.mira, on.order, reason="treatment ended", at=on.at),
    )
    supplied = tried(
        "Tomas Lind", lambda: labels.supply_pack(on.cast.tomas, other, scanned=other, to_whom="ward 3", at=on.at)
    )
    walk.met("an order is stopped before its second pack is handed over", stopped, supplied)
    assert pack(on.cast.jonas, other, at=on.at).state == "released"
