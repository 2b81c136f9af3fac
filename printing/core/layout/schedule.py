"""Due means ready for the patient: plates onto printers in time, and everything after printing behind them.

Printing runs by itself; set-up, taking off, weighing and packing are work in opening hours; baths, ovens and cure
boxes hold one plate at a time, and somebody must start and end each of their steps. Common practice, no source:
the lengths are the site's settings and the formulation's own finishing ranges.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

from printing.core.layout.hours import Hours

BENCH = "bench"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing after printing [s]: ``work`` goes on in opening hours only, a ``held`` step starts and ends in them.

    ``place`` is the kind of thing that it occupies: the bench with its people, or equipment.
    """

    name: str
    seconds: int
    manner: Literal["work", "held"]
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """How a site works: its hours, how many there are of each place, and how long things take [s]."""

    hours: Hours
    places: Mapping[str, int] = field(default_factory=dict)
    change_over_s: int = 2_400
    take_off_s: int = 900
    weigh_unit_s: int = 20
    test_plate_s: int = 3_600
    pack_zone_s: int = 600


@dataclass(frozen=True, slots=True, kw_only=True)
class PrinterNow:
    """A printer as planning finds it: when it is free, and which formulation is in it (empty: none)."""

    code: str
    free_at: datetime
    formulation: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One plate to be run: what it takes, what comes after it, when each of its lines is due, where it can run."""

    key: tuple[object, ...]
    formulation: str
    set_up_s: int
    print_s: int
    after: tuple[Step, ...]
    dues: tuple[datetime, ...]
    printers: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """When a plate runs: the latest start that keeps its time, the start, its ends, and how late its lines are [s]."""

    printer: str
    start_by: datetime | None
    set_up_at: datetime
    printed_at: datetime
    ready_at: datetime
    late_s: int
    change_over: bool
    others: tuple[tuple[str, datetime], ...] = ()
    """When each other printer that could have run it would have ended."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Timetable:
    """The slots of all runs in their order, and how the whole is judged: lateness, printers' seconds, last end.

    Printers' seconds count in steps of ``step_s``: what saves less than that is not worth ending later.
    """

    slots: tuple[Slot, ...]
    late_s: int
    printer_s: int
    last_ready_at: datetime
    step_s: int = 1

    @property
    def mark(self) -> tuple[int, int, datetime, int]:
        """Return what is compared between timetables; less is better."""
        return self.late_s, self.printer_s // self.step_s, self.last_ready_at, self.printer_s


def latest_start(run: Run, day: Day) -> datetime | None:
    """Return the latest moment at which a plate may be set up to be ready in time, None where it is not due."""
    if not run.dues:
        return None
    moment = min(run.dues)
    for step in reversed(run.after):
        back = day.hours.work_back if step.manner == "work" else day.hours.held_back
        moment = back(moment, step.seconds)
    return day.hours.work_back(moment - timedelta(seconds=run.print_s), run.set_up_s)


def timetable(runs: Sequence[Run], printers: Sequence[PrinterNow], day: Day, at: datetime) -> Timetable:
    """Return when and where each run stands, in the order of `runs`.

    The run that must start first is placed first, on the printer that ends it first; within one day, runs of one
    formulation stay together. What comes after printing waits for its place and for opening hours.
    """
    now = {one.code: one for one in printers}
    inside = frozenset(one.formulation for one in printers)
    latest = [latest_start(run, day) for run in runs]
    places = _Places(day, at)
    slots: dict[int, Slot] = {}
    for number in sorted(range(len(runs)), key=lambda k: _urgency(runs[k], latest[k], day, inside)):
        slots[number] = _placed(runs[number], latest[number], now, places, day, at)
    spent = sum(run.set_up_s + run.print_s for run in runs)
    spent += sum(day.change_over_s for slot in slots.values() if slot.change_over)
    return Timetable(
        slots=tuple(slots[number] for number in range(len(runs))),
        late_s=sum(slot.late_s for slot in slots.values()),
        printer_s=spent,
        last_ready_at=max(slot.ready_at for slot in slots.values()),
        step_s=max(1, day.change_over_s),
    )


def _urgency(run: Run, latest: datetime | None, day: Day, inside: frozenset[str]) -> tuple[object, ...]:
    if latest is None:
        return (1, 0, run.formulation not in inside, run.formulation, 0.0, run.key)
    due_day = day.hours.day_of(latest).toordinal()
    return (0, due_day, run.formulation not in inside, run.formulation, latest.timestamp(), run.key)


def _placed(
    run: Run, latest: datetime | None, now: dict[str, PrinterNow], places: _Places, day: Day, at: datetime
) -> Slot:
    offers = sorted((_offer(run, now[code], day, at), code) for code in run.printers)
    (printed_at, change_over, set_up_at), code = offers[0]
    moment, free_at = printed_at, printed_at
    for place, step in enumerate(run.after):
        moment = places.take(step, moment)
        free_at = moment if place == 0 else free_at
    now[code] = PrinterNow(code=code, free_at=free_at, formulation=run.formulation)
    return Slot(
        printer=code,
        start_by=latest,
        set_up_at=set_up_at,
        printed_at=printed_at,
        ready_at=moment,
        late_s=sum(max(0, int((moment - due).total_seconds())) for due in run.dues),
        change_over=change_over,
        others=tuple((other, offer[0]) for offer, other in offers[1:]),
    )


def _offer(run: Run, printer: PrinterNow, day: Day, at: datetime) -> tuple[datetime, bool, datetime]:
    """Return when a printer would have ended a run, whether it must be changed over, and when that begins."""
    change_over = bool(printer.formulation) and printer.formulation != run.formulation
    begin = day.hours.next_open(max(printer.free_at, at))
    ready = day.hours.work(begin, run.set_up_s + (day.change_over_s if change_over else 0))
    return ready + timedelta(seconds=run.print_s), change_over, begin


class _Places:
    """The bench and the equipment, each free from some moment on; the first that is free takes the next step."""

    def __init__(self, day: Day, at: datetime) -> None:
        self._day = day
        self._at = at
        self._free: dict[str, list[datetime]] = {}

    def take(self, step: Step, moment: datetime) -> datetime:
        """Occupy a place for `step` from `moment` on or later; return when it ends."""
        free = self._free.setdefault(step.place, [self._at] * max(1, self._day.places.get(step.place, 1)))
        first = min(range(len(free)), key=lambda k: (free[k], k))
        begin = max(moment, free[first])
        hours = self._day.hours
        if step.manner == "work":
            end = hours.work(begin, step.seconds)
        else:
            end = hours.held(begin, step.seconds) + timedelta(seconds=step.seconds)
        free[first] = end
        return end
