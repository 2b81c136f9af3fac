"""Histories of one site: many people do one thing after another, right or wrong, from a state in which much can happen.

A first batch is closed with one pack that waits for release and one zone that passed; a second is planned; a third
order waits for its check. Every move is one of the services, by the person whose it is or by anybody.
"""

from __future__ import annotations

import contextlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from dosewright.ground.models import DocumentIssue, Work
from dosewright.ground.pure.errors import Refused
from dosewright.ground.pure.roles import Actor
from dosewright.ground.work import run
from labels import services as labels
from labels.models import Pack
from prescriptions import services as prescriptions
from prescriptions.models import Order
from printing.formulary import services as formulary
from printing.plates import services as plates
from printing.plates.models import PlacedUnit, PrintBatch, Zone
from printing.plates.queries import batch_facts, zone_facts
from printing.runs import services as runs
from printing.runs.models import Deviation
from printing.stock import services as stock
from printing.stock.models import Equipment, TankFill
from tests import batches, packs
from tests.cast import pen
from tests.orders import another_child, enter_signed, order_request
from tests.orders import verify as verified_by

Draw = Callable[[int], int]


@dataclass(slots=True)
class Site:
    """Where every history begins."""

    shelf: packs.Shelf
    tools: dict[str, str]
    at: datetime


def founded() -> Site:
    """Build the site once."""
    on = packs.shelf()
    packs.packed(on, 0)
    cast, later = on.cast, on.at
    batches.checked_order(cast, regimen=packs.SHORT_COURSE, patient=another_child(1), at=later)
    batches.planned(cast, on.bench, at=later)
    enter_signed(cast, order_request(regimen=packs.SHORT_COURSE, patient=another_child(2)), at=later)
    batches.work_off_all("fact:order received", at=later)
    kinds = {"wash": "bath", "dry": "oven", "cure": "cure box"}
    tools = {step: str(Equipment.objects.filter(kind=kind).latest("pk").code) for step, kind in kinds.items()}
    return Site(shelf=on, tools=tools, at=later)


class Player:
    """Does one move after another; counts what was done and what was refused."""

    def __init__(self, site: Site, tally: Counter[str]) -> None:
        self.on, self.cast, self.tools, self.now = site.shelf, site.shelf.cast, site.tools, site.at
        self.tally = tally
        self.draw: Draw = lambda most: 0

    def play(self, draw: Draw) -> str:
        """Draw a move and make it; return what became of it. A refusal stands, any other exception is raised."""
        self.draw = draw
        self.now += timedelta(seconds=1)
        moves = self.aside() if draw(5) == 4 else self.ahead()
        if not moves:
            return "nothing"
        name, move = moves[draw(len(moves))]
        try:
            move()
        except Refused:
            name = f"{name}, refused"
        self.tally[name] += 1
        return name

    def who(self, usual: Actor) -> Actor:
        """Return the person whose it is, and now and then anybody."""
        if self.draw(8) < 7:
            return usual
        users = sorted(self.cast.users)
        return self.cast.act(users[self.draw(len(users))])

    # ---- what goes on as it should

    def ahead(self) -> list[tuple[str, Callable[[], Any]]]:
        """Return the next move of every order, batch, zone and pack."""
        found = [*self._of_orders(), *self._of_batches(), *self._of_zones(), *self._of_packs()]
        if Work.objects.filter(state=Work.WAITING, due_at__lte=self.now).exists():
            found += [("a worker works", self.work)] * 2
        return found

    def work(self) -> None:
        """Let a worker take the oldest piece that is due."""
        row = Work.objects.filter(state=Work.WAITING, due_at__lte=self.now).order_by("pk").first()
        if row is not None:
            run(row.pk, clock=lambda: self.now)

    def _of_orders(self) -> Iterator[tuple[str, Callable[[], Any]]]:
        for code in Order.objects.filter(state="received").values_list("code", flat=True):
            yield "verify an order", lambda code=code: self.verify(code)
        for code in Order.objects.filter(state="queried").values_list("code", flat=True):
            yield (
                "answer a query",
                lambda code=code: prescriptions.answer_order(
                    self.who(self.cast.mira), code, answer="Yes, it is.", at=self.now
                ),
            )
        yield "ask for a plan", self.plan

    def verify(self, code: str) -> None:
        """Open the alerts, give reasons and verify."""
        username = self.who(self.cast.rosa).username
        verified_by(self.cast, code, by=username, at=self.now)

    def plan(self) -> None:
        """Ask for a plan of what is verified."""
        actor = self.who(self.cast.tomas)
        plates.request_plan(actor, resin_lot=self.on.bench.lot, printer=self.on.bench.printer, at=self.now)

    def _of_batches(self) -> Iterator[tuple[str, Callable[[], Any]]]:
        for code, state in PrintBatch.objects.values_list("code", "state"):
            move = {
                "planned": ("approve a batch", self.approve),
                "ready": ("start a run", self.start),
                "printing": ("end a run", self.end),
                "printed": ("take a plate off", self.remove),
                "finishing": ("finish a batch", self.finish),
                "testing": ("test a zone or close", self.test),
            }.get(state)
            if move is not None:
                yield move[0], lambda move=move, code=code: move[1](code)

    def approve(self, code: str) -> None:
        plates.approve_batch(self.who((self.cast.tomas, self.cast.ada)[self.draw(2)]), code, at=self.now)

    def start(self, code: str) -> None:
        """Record every gate and start, now and then without one of them."""
        without = "amber light" if self.draw(6) == 0 else ""
        batches.gates_passed(self.cast, code, without=without, at=self.now)
        runs.start_run(self.who(self.cast.tomas), code, at=self.now)

    def end(self, code: str) -> None:
        facts = batch_facts(code, site_id=self.cast.site.pk)
        printer = batches.as_printer(self.cast, facts.printer)
        layer = facts.layers if self.draw(4) else facts.layers // 2
        runs.report_layer(printer, code, layer=layer, layers=facts.layers, seconds_left=0, at=self.now)
        self.now += timedelta(seconds=facts.seconds)
        runs.end_run(printer, code, at=self.now)

    def remove(self, code: str) -> None:
        counts = batches.counts_as_placed(self.cast, code)
        zone = sorted(counts)[self.draw(len(counts))]
        off, missing, not_printed = ((0, (), ()), (-1, (1,), ()), (-1, (), (2,)), (1, (), ()))[self.draw(4)]
        counted = counts[zone].counted + off
        counts[zone] = runs.ZoneCount(counted=counted, missing=missing, not_printed=not_printed)
        runs.remove_from_plate(self.who(self.cast.tomas), code, counts=counts, at=self.now)

    def finish(self, code: str) -> None:
        self.now = batches.finished(self.cast, code, self.tools, at=self.now)

    def test(self, code: str) -> None:
        """Test the next zone and judge it; close when all are judged."""
        site = self.cast.site.pk
        zones = batch_facts(code, site_id=site).zones
        waiting = [one for one in zones if zone_facts(one.code, site_id=site).state == "open"]
        if not waiting:
            runs.close_batch(self.who(self.cast.rosa), code, at=self.now)
            return
        for zone in waiting:
            units = [one for one in zone.units if one.state == "printed"]
            with contextlib.suppress(Refused):
                batches.weighed_zone(self.cast, zone.code, self.on.bench.balance, at=self.now)
            for unit in units if zone.line is None else ():
                said = f"{Decimal(unit.predicted_content_ng) / 1_000_000}"
                with contextlib.suppress(Refused):
                    runs.record_content(self.cast.ada, unit.code, content_mg=said, method="assay", at=self.now)
        for zone in waiting:
            runs.judge_zone(self.who(self.cast.ada), zone.code, at=self.now)

    def _of_zones(self) -> Iterator[tuple[str, Callable[[], Any]]]:
        passed = Zone.objects.filter(state="passed").exclude(line=None)
        for code in passed.values_list("code", flat=True):
            yield "approve a zone to pack", lambda code=code: self.approve_to_pack(code)
        for code in Zone.objects.filter(state="approved to pack").values_list("code", flat=True):
            if not Pack.objects.filter(zone__code=code).exclude(state="destroyed").exists():
                yield (
                    "start a pack",
                    lambda code=code: labels.start_pack(
                        self.who(self.cast.tomas),
                        zone=code,
                        container_lot=packs.CONTAINER,
                        line_is_clear=bool(self.draw(8)),
                        at=self.now,
                    ),
                )

    def approve_to_pack(self, code: str) -> None:
        actor = self.who(self.cast.rosa)
        shown = labels.shown_for_approve_to_pack(actor, code, at=self.now)
        labels.approve_to_pack(actor, code, pen=pen(shown), at=self.now)

    def _of_packs(self) -> Iterator[tuple[str, Callable[[], Any]]]:
        for row in Pack.objects.select_related("zone").order_by("pk"):
            move = {
                "packing": ("pack on", self.pack_on),
                "packed": ("release a pack", self.release),
                "released": ("hand a pack over", self.supply),
                "supplied": ("take a pack back", self.take_back),
            }.get(row.state)
            if move is not None:
                yield move[0], lambda move=move, row=row: move[1](row)

    def pack_on(self, row: Pack) -> None:
        """Take the next step of packing: fill, label, apply, scan, close; now and then a wrong one."""
        issued = DocumentIssue.objects.filter(document__subject=row.code, document__kind="label")
        applied = issued.filter(what="applied").exclude(document__issues__what="spoiled").first()
        steps = [
            (row.contents.exists(), lambda: self.fill(row)),
            (issued.exists(), lambda: labels.issue_label(self.who(self.cast.tomas), row.code, at=self.now)),
            (applied is not None, lambda: self.account(row)),
            (hasattr(row, "second_scan"), lambda: self.scan(row, applied.document.code if applied else "DC-AAAAAAAA")),
            (False, lambda: labels.close_pack(self.who(self.cast.tomas), row.code, at=self.now)),
        ]
        chosen = self.draw(len(steps)) if self.draw(6) == 0 else [done for done, _ in steps].index(False)
        steps[chosen][1]()

    def fill(self, row: Pack) -> None:
        other = Zone.objects.exclude(pk=row.zone_id).exclude(line=None).first()
        wrong = self.draw(8) == 0
        zone = other.code if wrong and other is not None else row.zone.code
        labels.fill_pack(self.who(self.cast.tomas), row.code, zone=zone, count=row.wanted, at=self.now)

    def account(self, row: Pack) -> None:
        latest = DocumentIssue.objects.filter(document__subject=row.code, what="issued").latest("pk")
        became = ("applied", "spoiled")[self.draw(4) == 0]
        label = latest.document.code
        actor = self.who(self.cast.tomas)
        labels.account_label(actor, row.code, label=label, became=became, reason="smeared", at=self.now)
        if became == "spoiled":
            labels.issue_label(actor, row.code, at=self.now)

    def scan(self, row: Pack, label: str) -> None:
        actor = self.who(self.cast.ada)
        labels.second_scan(actor, row.code, zone=row.zone.code, container_lot=packs.CONTAINER, label=label, at=self.now)

    def release(self, row: Pack) -> None:
        actor = self.who(self.cast.jonas)
        shown = labels.release_record(actor, row.code, at=self.now)
        labels.release_pack(actor, row.code, scanned=row.code, pen=pen(shown), at=self.now)

    def supply(self, row: Pack) -> None:
        labels.supply_pack(self.who(self.cast.tomas), row.code, scanned=row.code, to_whom="ward 3", at=self.now)

    def take_back(self, row: Pack) -> None:
        units = self.draw(row.wanted + 2)
        labels.take_back_pack(self.who(self.cast.tomas), row.code, units=units, reason="went home", at=self.now)

    # ---- what comes in between

    def aside(self) -> list[tuple[str, Callable[[], Any]]]:
        """Return everything that may come in between."""
        return [
            ("query an order", lambda: self._order(prescriptions.query_order, self.cast.rosa, question="Right?")),
            ("return an order", lambda: self._order(prescriptions.return_order, self.cast.rosa, reason="unclear")),
            ("cancel a batch", lambda: self._batch(plates.cancel_batch, self.cast.tomas, reason="a doubt")),
            ("fault a run", self.fault),
            ("reject a unit", self.reject),
            ("destroy a unit", self.destroy_unit),
            ("find a unit", self.find),
            ("block the lot", lambda: stock.block_resin_lot(
                self.who(self.cast.rosa), self.on.bench.lot, reason="a doubt", at=self.now)),
            ("unblock the lot", self.unblock),
            ("suspend the formulation", lambda: formulary.suspend_formulation(
                self.who(self.cast.nora), self.on.bench.formulation, reason="a doubt", at=self.now)),
            ("reinstate the formulation", self.reinstate),
            ("empty the tank", self.empty),
            ("fill the tank", lambda: stock.fill_tank(
                self.who(self.cast.tomas), tank=self.on.bench.tank, resin_lot=self.on.bench.lot,
                volume_ml=Decimal(100 + self.draw(400)), at=self.now)),
            ("open a deviation", lambda: self._batch(
                runs.open_deviation, self.cast.ada, by_name="batch", kind="other", text="a lamp failed",
                effect="none seen", holds=bool(self.draw(2)))),
            ("close a deviation", self.close_deviation),
            ("stop an order", lambda: self._order(prescriptions.stop_order, self.cast.mira, reason="ended")),
            ("quarantine a pack", lambda: self._pack(labels.quarantine_pack, self.cast.rosa, reason="a doubt")),
            ("reject a pack", self.reject_pack),
            ("destroy a pack", self.destroy_pack),
        ]  # fmt: skip

    def _any(self, codes: list[str]) -> str:
        return codes[self.draw(len(codes))] if codes else "PB-AAAA"

    def _order(self, service: Callable[..., Any], usual: Actor, **more: Any) -> None:
        service(self.who(usual), self._any(list(Order.objects.values_list("code", flat=True))), at=self.now, **more)

    def _batch(self, service: Callable[..., Any], usual: Actor, *, by_name: str = "", **more: Any) -> None:
        code = self._any(list(PrintBatch.objects.values_list("code", flat=True)))
        if by_name:
            service(self.who(usual), **{by_name: code}, at=self.now, **more)
        else:
            service(self.who(usual), code, at=self.now, **more)

    def _pack(self, service: Callable[..., Any], usual: Actor, **more: Any) -> None:
        service(self.who(usual), self._any(list(Pack.objects.values_list("code", flat=True))), at=self.now, **more)

    def fault(self) -> None:
        self._batch(runs.fault_run, self.cast.ada, layer=3, kind="power", text="went out")

    def a_unit(self, **where: Any) -> str:
        return self._any(sorted(PlacedUnit.objects.filter(**where).values_list("code", flat=True)))

    def reject(self) -> None:
        runs.reject_unit(self.who(self.cast.ada), self.a_unit(), reason="for the test", at=self.now)

    def destroy_unit(self) -> None:
        runs.destroy_units(
            self.who(self.cast.rosa), units=[self.a_unit()], witness="ada.brandt", witness_password=packs.PASSWORD,
            reason="for the test", at=self.now,
        )  # fmt: skip

    def find(self) -> None:
        runs.find_unit(self.who(self.cast.ada), self.a_unit(state="unaccounted"), where="the tray", at=self.now)

    def unblock(self) -> None:
        actor = self.who((self.cast.rosa, self.cast.jonas)[self.draw(2)])
        shown = stock.shown_for_unblock_resin_lot(actor, self.on.bench.lot, at=self.now)
        stock.unblock_resin_lot(actor, self.on.bench.lot, pen=pen(shown), at=self.now)

    def reinstate(self) -> None:
        actor = self.who((self.cast.nora, self.cast.rosa)[self.draw(2)])
        shown = formulary.shown_for_validate(actor, self.on.bench.formulation)
        formulary.validate_formulation(actor, self.on.bench.formulation, pen=pen(shown), at=self.now)

    def empty(self) -> None:
        fill = TankFill.objects.filter(emptied_at=None).values_list("code", flat=True).first() or "TF-AAAAAA"
        stock.empty_tank(self.who(self.cast.tomas), fill, at=self.now)

    def close_deviation(self) -> None:
        actor = self.who(self.cast.lena)
        code = self._any(list(Deviation.objects.filter(state="open").values_list("code", flat=True)))
        runs.close_deviation(
            actor, code, investigation="looked into by two people, invented", action_taken="lamp replaced, invented",
            decision=("may be used", "must not be used")[self.draw(4) == 0],
            pen=pen(runs.shown_for_close(actor, code)), at=self.now,
        )  # fmt: skip

    def reject_pack(self) -> None:
        actor = self.who(self.cast.jonas)
        code = self._any(list(Pack.objects.values_list("code", flat=True)))
        shown = labels.release_record(actor, code, at=self.now)
        labels.reject_pack(actor, code, reason="a doubt about it", pen=pen(shown), at=self.now)

    def destroy_pack(self) -> None:
        self._pack(
            labels.destroy_pack, self.cast.rosa, witness="ada.brandt", witness_password=packs.PASSWORD,
            reason="for the test",
        )  # fmt: skip
