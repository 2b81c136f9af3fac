"""Makes the plan: verified lines of one formulation, sized with one lot, laid out on one printer's plates.

The slow part (screening, sizing, layout, check) happens outside any transaction; reservations, batches, zones
and units are written in one, so that a plan is there as a whole or not at all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from dosewright.ground.act import Act, act
from dosewright.ground.fresh import new_code
from dosewright.ground.models import Site
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import Blocked, NotThere, Refusal, Refused
from dosewright.ground.pure.roles import Actor
from dosewright.ground.pure.site_values import SiteValues
from dosewright.ground.scope import find
from dosewright.ground.work import Job
from prescriptions.findings import Finding, Severity
from prescriptions.queries.facts import LineToPlan, lines_to_plan
from prescriptions.services.reserving import reserve_line
from prescriptions.services.screens import record_screen, screen_again
from printing.core.dose.sizing import SizedDose
from printing.core.layout.batching import spares_for
from printing.core.layout.checker import require_sound
from printing.core.layout.plan import make_plan
from printing.core.layout.record import plan_record
from printing.core.layout.request import (
    PlacedLine,
    PlanRequest,
    PlateRules,
    RaftRules,
    ResinRules,
    TestSpot,
)
from printing.core.layout.timing import TimeCoefficients
from printing.formulary.content import FormulationFacts, ProfileFacts
from printing.formulary.queries import facts_by_id
from printing.plates.expecting import expected_plan
from printing.plates.fitting import fits, size_line
from printing.plates.models import Printer
from printing.plates.queries import UNITS_CHANGED, units_checked
from printing.plates.services.writing import write_plan
from printing.plates.sizes import size_record
from printing.stock.queries import ResinLotFacts, fill_in_tank, resin_lot_facts

UL_PER_ML = 1000
UM2_PER_MM2 = 1_000_000
UM3_PER_MM3 = 1_000_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SizedLineToPlan:
    """A line that can be placed: what was ordered, its size, its codes."""

    order: str
    line: LineToPlan
    sized: SizedDose
    placed: PlacedLine


def request_plan(actor: Actor, *, resin_lot: str, printer: str, at: datetime) -> str:
    """Ask for a plan of all verified lines that the lot's formulation fits; technicians and pharmacists.

    Returns the plan's code; a worker makes it. Raises NotThere, Blocked for a lot that cannot be printed.
    """
    machine = find(actor, Printer, printer)
    with act(actor, "plan.request", at=at) as doing:
        refuse_unusable_lot(lot_here(resin_lot, site_id=actor.site_id, at=at), at=at)
        plan = new_code("plan")
        doing.subject = plan
        doing.note(plan=plan, resin_lot=resin_lot, printer=machine.code)
        doing.enqueue("plan", key=f"plan:{plan}", plan=plan, resin_lot=resin_lot, printer=machine.code)
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
    at = job.clock()
    plan = job.payload["plan"]
    printer = find(job.system, Printer, job.payload["printer"])
    lot = lot_here(job.payload["resin_lot"], site_id=job.site_id, at=at)
    refuse_unusable_lot(lot, at=at)
    formulation = facts_by_id(lot.formulation_id)
    profile = _profile(formulation, printer)
    site = Site.objects.get(pk=job.site_id).values
    wanted, left_out = _screened(job, formulation, at)
    job.progress(f"{len(wanted)} lines screened")
    lines, more = _sized(job, wanted, formulation, lot, profile, site)
    left_out += more
    if not lines:
        raise _nothing(left_out)
    request = _request(lines, formulation, profile, lot, printer, site, at)
    record = plan_record(make_plan(request))
    require_sound(record, expected_plan(request))
    job.progress(f"{len(record['plates'])} plates laid out")
    with job.finishing("plan.make", subject=plan) as doing:
        _write(doing, plan, record, lines, left_out, lot, formulation, profile, printer)


def _write(
    doing: Act,
    plan: str,
    record: Mapping[str, Any],
    lines: list[SizedLineToPlan],
    left_out: list[dict[str, str]],
    lot: ResinLotFacts,
    formulation: FormulationFacts,
    profile: ProfileFacts,
    printer: Printer,
) -> None:
    refuse_unusable_lot(resin_lot_facts(lot.code, at=doing.at), at=doing.at)
    for one in lines:
        reserve_line(doing, one.line.line.code, plan=plan)
    sizes = {one.line.line.code: canonical_text(size_record(one.sized)) for one in lines}
    whole = {**record, "left_out": left_out, "resin_lot": lot.code, "strength_mg_g": lot.strength_mg_g}
    write_plan(
        doing,
        plan=plan,
        record=whole,
        sizes=sizes,
        wanted={one.line.line.code: one.placed.count for one in lines},
        lot=lot,
        formulation_id=lot.formulation_id,
        profile=profile.code,
        printer=printer,
        ready_by=min(one.line.order.ready_by for one in lines),
    )
    doing.note(
        lines=[one.line.line.code for one in lines],
        left_out=left_out,
        plates=len(record["plates"]),
        plan_digest=digest_of(canonical_text(whole)),
    )


def _profile(formulation: FormulationFacts, printer: Printer) -> ProfileFacts:
    chosen = formulation.default_range
    layer_um = chosen.layer_um[0] if chosen else 0
    profile = formulation.profile_for(layer_um, printer.kind)
    if profile is None:
        raise Blocked.because(
            "profile",
            "no print profile is pinned for this printer and layer height",
            value=f"{printer.kind}, {layer_um} um",
            accepted=", ".join(f"{one.printer_kind}, {one.layer_um} um" for one in formulation.profiles),
        )
    return profile


def _screened(job: Job, formulation: FormulationFacts, at: datetime) -> tuple[list[LineToPlan], list[dict[str, str]]]:
    """Return the lines that the formulation fits and whose orders raise no new alert when screened again."""
    fitting = [one for one in lines_to_plan(job.site_id) if fits(formulation, one.order)]
    left_out: list[dict[str, str]] = []
    stopped: set[str] = set()
    for order in sorted({one.order.code for one in fitting}):
        alerts = screen_again(job.system, order, occasion="plan", at=at)
        if alerts:
            stopped.add(order)
            left_out.append({"order": order, "why": ", ".join(sorted({alert.rule for alert in alerts}))})
    return [one for one in fitting if one.order.code not in stopped], left_out


def _sized(
    job: Job,
    wanted: list[LineToPlan],
    formulation: FormulationFacts,
    lot: ResinLotFacts,
    profile: ProfileFacts,
    site: SiteValues,
) -> tuple[list[SizedLineToPlan], list[dict[str, str]]]:
    """Size each line with the lot's strength; a line that cannot be made so, or needs other units, is left out."""
    lines: list[SizedLineToPlan] = []
    left_out: list[dict[str, str]] = []
    back: set[str] = set()
    for one in wanted:
        try:
            sized = size_line(
                formulation,
                one.order,
                one.line,
                site=site,
                resin_strength_mg_g=lot.strength_mg_g,
                u_resin_strength_mg_g=lot.u_strength_mg_g,
            )
        except Refused as refused:
            left_out.append({"line": one.line.code, "why": str(refused)})
            continue
        seen = units_checked(one.order.code, one.line.code)
        if sized.units_per_dose not in seen:
            _send_back(job, one, seen, sized.units_per_dose)
            back.add(one.order.code)
            left_out.append({"line": one.line.code, "why": "the number of units per dose changed"})
        else:
            placed = _placed(one, sized, formulation, lot, profile, site)
            lines.append(SizedLineToPlan(order=one.order.code, line=one, sized=sized, placed=placed))
    left_out += [
        {"line": one.line.line.code, "why": "another line of its order went back"} for one in lines if one.order in back
    ]
    return [one for one in lines if one.order not in back], left_out


def _send_back(job: Job, one: LineToPlan, seen: frozenset[int], now: int) -> None:
    """Send an order back to the pharmacist, who verified it with another number of units per dose."""
    finding = Finding(
        rule=UNITS_CHANGED,
        severity=Severity.REASON,
        field=one.line.code,
        value=str(now),
        limit=_numbers(seen),
        unit="units per dose",
        source="house rule: the pharmacist sees how many units make a dose",
        message="with the lot's strength another number of units makes the dose than was verified",
    )
    with act(job.system, "order.screen", at=job.clock(), subject=one.order.code, reason="at plan") as doing:
        record_screen(
            doing,
            one.order.code,
            one.order.version,
            screen="making",
            occasion="plan",
            findings=[finding],
            record={"line": one.line.code, "units_seen": sorted(seen), "units_now": now},
        )


def _numbers(seen: frozenset[int]) -> str:
    return " or ".join(map(str, sorted(seen))) or "none was shown"


def _placed(
    one: LineToPlan,
    sized: SizedDose,
    formulation: FormulationFacts,
    lot: ResinLotFacts,
    profile: ProfileFacts,
    site: SiteValues,
) -> PlacedLine:
    unit = sized.unit
    count = one.line.administrations * sized.units_per_dose
    spares = spares_for(count, site.reject_frac, likelihood=site.enough_good_probability)
    return PlacedLine(
        code=one.line.code,
        formulation=f"{formulation.code}/{formulation.number}",
        lot=lot.code,
        profile=profile.code,
        layer_um=unit.layer_um,
        dose_mg=one.line.dose_mg / sized.units_per_dose,
        count=count,
        spares=spares,
        unit_codes=tuple(new_code("unit") for _ in range(count + spares)),
        outline="round" if unit.outline == "round" else "stadium",
        orientation=unit.design.orientation,
        mount="necks" if unit.design.mount == "necks" else "sheet",
        footprint_um=unit.footprint_um,
        height_um=unit.layers * unit.layer_um,
        layers=unit.layers,
        volume_um3=round(unit.geometry.mesh_volume_mm3 * UM3_PER_MM3),
        section_um2_layers=round(float(unit.sections.area_mm2.sum()) * UM2_PER_MM2),
        perimeter_um_layers=round(float(unit.sections.perimeter_mm.sum()) * 1000),
        contact_um2=round(float(unit.sections.area_mm2[0]) * UM2_PER_MM2),
        ready_by=one.order.ready_by,
    )


def _request(
    lines: list[SizedLineToPlan],
    formulation: FormulationFacts,
    profile: ProfileFacts,
    lot: ResinLotFacts,
    printer: Printer,
    site: SiteValues,
    at: datetime,
) -> PlanRequest:
    placed = tuple(sorted((one.placed for one in lines), key=lambda line: line.code))
    tests = tuple(
        TestSpot(which=zone.which, where=zone.where, units=zone.units)  # type: ignore[arg-type]
        for zone in formulation.test_plan.zones
    )
    most_plates = 2 * len(placed)
    most_zones = sum(line.units for line in placed) + len(tests) * most_plates
    density = _density(formulation)
    return PlanRequest(
        printer=printer.code,
        plate=PlateRules(
            plate_um=(printer.plate_x_um, printer.plate_y_um),
            build_height_um=printer.build_height_um,
            unit_gap_um=site.unit_gap_um,
            zone_gap_um=site.zone_gap_um,
            edge_um=site.edge_margin_um,
        ),
        raft=RaftRules(),
        time=time_coefficients(profile),
        resin=ResinRules(
            tank_minimum_ul=printer.tank_minimum_ul,
            loss_ul=printer.loss_ul,
            liquid_per_cured=max(Decimal(1), density / formulation.resin_density_g_cm3),
        ),
        lines=placed,
        tests=tests,
        zone_codes=_distinct("zone", min(most_zones, 4 * len(placed) + len(tests) * most_plates)),
        batch_codes=_distinct("print batch", most_plates),
        test_unit_codes=_distinct("unit", sum(spot.units for spot in tests) * most_plates),
        lot_available_ul={lot.code: lot.available_ul + _in_tank_ul(lot, printer, at)},
    )


def _in_tank_ul(lot: ResinLotFacts, printer: Printer, at: datetime) -> int:
    """Return how much of the lot stands in the printer's tank and may be printed with [uL]."""
    fill = fill_in_tank(printer.tank.code, at=at) if printer.tank else None
    if fill is None or fill.resin_lot != lot.code or fill.blockers:
        return 0
    return int(fill.left_ml * UL_PER_ML)


def _density(formulation: FormulationFacts) -> Decimal:
    """Return the density [mg/mm3] of units printed in the formulation's default way."""
    usual = formulation.default_range
    terms = formulation.terms_for(usual.orientation, usual.mount) if usual else None
    if terms is None:
        raise Blocked.because("terms", "the default way of printing has no process terms", accepted="assayed units")
    return terms.density_mg_mm3


def time_coefficients(profile: ProfileFacts) -> TimeCoefficients:
    """Return the time model of a pinned profile."""
    return TimeCoefficients(
        setup_s=float(profile.setup_s),
        layer_s=float(profile.layer_s),
        hatch_mm=profile.hatch_um / 1000,
        scan_mm_s=float(profile.scan_mm_s),
        contours=profile.contours,
        contour_mm_s=float(profile.contour_mm_s),
    )


def _distinct(kind: str, count: int) -> tuple[str, ...]:
    codes: dict[str, None] = {}
    while len(codes) < count:
        codes[new_code(kind)] = None
    return tuple(codes)


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
