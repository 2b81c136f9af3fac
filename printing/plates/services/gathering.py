"""Which lines a plan takes: screened again, each with a formulation and a lot that can be printed, sized with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from dosewright.ground.act import act
from dosewright.ground.models import Site
from dosewright.ground.pure.errors import Refused
from dosewright.ground.work import Job
from prescriptions.findings import Finding, Severity
from prescriptions.queries.facts import LineToPlan, OrderFacts, lines_to_plan
from prescriptions.services.screens import record_screen, screen_again
from printing.core.dose.sizing import SizedDose
from printing.formulary.content import FormulationFacts
from printing.formulary.queries import facts_by_id, validated_for
from printing.plates.fitting import fits, size_line
from printing.plates.keeping import shelf_days
from printing.plates.models import Printer
from printing.plates.queries import UNITS_CHANGED, PartToReprint, parts_to_reprint, units_checked
from printing.plates.services.making import look_at
from printing.stock.content import ResinLotFacts


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A line that a plan is to take, whole or (``reprint``) what it lacks; ``lots`` in the order they are used."""

    line: LineToPlan
    reprint: PartToReprint | None
    lots: tuple[str, ...]

    @property
    def code(self) -> str:
        """Return the line's code."""
        return self.line.line.code


@dataclass(frozen=True, slots=True, kw_only=True)
class Sized:
    """A wanted line sized with one lot: how many units of it are needed, spares not counted."""

    wanted: Wanted
    lot: str
    dose: SizedDose
    count: int


@dataclass(slots=True, kw_only=True)
class Gathered:
    """What there is to plan with: usable lots with their formulations, printers, lines, and what was left out.

    ``spares`` are the least spares of lines that turned out to stand in parts: each part has its own.
    """

    site: Site
    at: datetime
    lots: Mapping[str, ResinLotFacts]
    formulations: Mapping[str, FormulationFacts]
    printers: Sequence[Printer]
    wanted: list[Wanted]
    left_out: list[dict[str, str]] = field(default_factory=list)
    spares: dict[str, int] = field(default_factory=dict)

    def leave_out(self, line: str, why: str) -> None:
        """Note a line that this plan does not take."""
        self.left_out.append({"line": line, "why": why})


def gather(job: Job, *, lots: Sequence[ResinLotFacts], printers: Sequence[Printer]) -> Gathered:
    """Return what can be planned now with these lots and printers; orders with a new alert are left out."""
    at, site = job.clock(), Site.objects.get(pk=job.site_id)
    found = Gathered(
        site=site,
        at=at,
        lots={lot.code: lot for lot in lots},
        formulations={lot.code: facts_by_id(lot.formulation_id) for lot in lots},
        printers=printers,
        wanted=[],
    )
    fitting = [one for one in _waiting(job.site_id, found) if one.lots]
    stopped = _stopped_by_alerts(job, sorted({one.line.order.code for one in fitting}), found)
    found.wanted = [one for one in fitting if one.line.order.code not in stopped and not _too_early(one, found)]
    return found


def size_wanted(job: Job, found: Gathered, wanted: Sequence[Wanted], lot: str) -> list[Sized]:
    """Size lines with a lot's strength; one that cannot be made so, or needs other units per dose, is left out.

    An order whose number of units per dose changed goes back to its pharmacist with all its lines.
    """
    sized: list[Sized] = []
    back: set[str] = set()
    for one in wanted:
        dose = _dose(found, one, lot)
        if dose is None:
            continue
        if _as_checked(job, one, dose, found):
            sized.append(Sized(wanted=one, lot=lot, dose=dose, count=_count(one, dose)))
        else:
            back.add(one.line.order.code)
    for item in sized:
        if item.wanted.line.order.code in back:
            found.leave_out(item.wanted.code, "another line of its order went back")
    return [item for item in sized if item.wanted.line.order.code not in back]


def _waiting(site_id: int, found: Gathered) -> list[Wanted]:
    reprints = {part.line.line.code: part for part in parts_to_reprint(site_id)}
    lines = [*lines_to_plan(site_id), *(part.line for part in reprints.values())]
    known: dict[str, tuple[str, ...]] = {}
    for one in lines:
        if one.order.code not in known:
            known[one.order.code] = _lots_for(one.order, found)
    return [Wanted(line=one, reprint=reprints.get(one.line.code), lots=known[one.order.code]) for one in lines]


def _lots_for(order: OrderFacts, found: Gathered) -> tuple[str, ...]:
    """Return the lots that an order can be made with: of the formulation it was screened with first."""
    screened = validated_for(order.site_id, order.substance, order.release)
    usual = None if screened is None else (screened.code, screened.number)
    fitting = [code for code, facts in found.formulations.items() if fits(facts, order)]
    of_usual = [code for code in fitting if _version(found, code) == usual]
    return tuple(of_usual + [code for code in fitting if code not in of_usual])


def _version(found: Gathered, lot: str) -> tuple[str, int]:
    return found.formulations[lot].code, found.formulations[lot].number


def _stopped_by_alerts(job: Job, orders: Sequence[str], found: Gathered) -> set[str]:
    stopped: set[str] = set()
    for order in orders:
        alerts = screen_again(job.system, order, occasion="plan", at=found.at)
        if alerts:
            stopped.add(order)
            found.left_out.append({"order": order, "why": ", ".join(sorted({alert.rule for alert in alerts}))})
    return stopped


def _too_early(one: Wanted, found: Gathered) -> bool:
    """Leave out what would expire before its last dose if it were printed today, and a supply that is far off."""
    line, values, zone = one.line.line, found.site.values, found.site.zone
    opens = line.ends_on - timedelta(days=shelf_days(found.formulations[one.lots[0]], values))
    if line.supply > 1:
        near = line.ready_by.astimezone(zone).date() - timedelta(days=values.plan_ahead_days)
        opens = max(opens, near)
    if found.at.astimezone(zone).date() >= opens:
        return False
    what = f"supply {line.supply} of {line.supplies}" if line.supplies > 1 else "it"
    found.leave_out(one.code, f"too early: {what} is planned from {opens.isoformat()} on, to keep to its last dose")
    return True


def _dose(found: Gathered, one: Wanted, lot: str) -> SizedDose | None:
    facts = found.lots[lot]
    try:
        return size_line(
            found.formulations[lot],
            one.line.order,
            one.line.line,
            site=found.site.values,
            resin_strength_mg_g=facts.strength_mg_g,
            u_resin_strength_mg_g=facts.u_strength_mg_g,
        )
    except Refused as refused:
        found.leave_out(one.code, str(refused))
        return None


def _as_checked(job: Job, one: Wanted, dose: SizedDose, found: Gathered) -> bool:
    """Say whether the units per dose are those that were verified, and those of the parts that are made."""
    order, line = one.line.order.code, one.line.line.code
    seen = units_checked(order, line) if one.reprint is None else frozenset({one.reprint.units_per_dose})
    if dose.units_per_dose in seen:
        return True
    if one.reprint is None:
        _send_back(job, one.line, seen, dose.units_per_dose)
        found.leave_out(line, "the number of units per dose changed")
    else:
        found.leave_out(line, "with this lot other units per dose would be needed than its other parts have: stop it")
    return False


def _count(one: Wanted, dose: SizedDose) -> int:
    if one.reprint is not None:
        return one.reprint.units
    return one.line.line.administrations * dose.units_per_dose


def _send_back(job: Job, one: LineToPlan, seen: frozenset[int], now: int) -> None:
    """Send an order back to the pharmacist, who verified it with another number of units per dose."""
    finding = Finding(
        rule=UNITS_CHANGED,
        severity=Severity.REASON,
        field=one.line.code,
        value=str(now),
        limit=" or ".join(map(str, sorted(seen))) or "none was shown",
        unit="units per dose",
        source="house rule: the pharmacist sees how many units make a dose",
        message="with the lot's strength another number of units makes the dose than was verified",
    )
    # The whole screen is kept with it: what it found at nominal strength goes on to stand.
    findings, record = look_at(one.order)
    others = [found for found in findings if (found.rule, found.field) != (UNITS_CHANGED, one.line.code)]
    with act(job.system, "order.screen", at=job.clock(), subject=one.order.code, reason="at plan") as doing:
        record_screen(
            doing,
            one.order.code,
            one.order.version,
            screen="making",
            occasion="plan",
            findings=[*others, finding],
            record=record | {"line": one.line.code, "units_seen": sorted(seen), "units_now": now},
        )
