"""What the planner is asked: sized lines, printers with validated profiles, the site's day, codes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal

from dosewright.ground.pure.errors import BadInput, Blocked
from dosewright.ground.pure.site_values import SiteValues
from printing.core.layout.batching import spares_for
from printing.core.layout.hours import Hours
from printing.core.layout.joint_request import JointRequest, LotLines, Way
from printing.core.layout.request import (
    PlacedLine,
    PlateRules,
    Pools,
    RaftRules,
    ResinRules,
    TestSpot,
)
from printing.core.layout.schedule import Day, PrinterNow, Step
from printing.core.layout.timing import TimeCoefficients
from printing.formulary.content import FormulationFacts, ProfileFacts
from printing.plates.models import Printer
from printing.plates.queries import free_from, in_loose_tanks_ul, in_tank_ul, places_for, promised_ul
from printing.plates.services.codes import fresh_codes
from printing.plates.services.gathering import Gathered, Sized
from printing.stock.content import ResinLotFacts

UM2_PER_MM2 = 1_000_000
UM3_PER_MM3 = 1_000_000_000
PLACE_OF_STEP = {"wash": "bath", "dry": "oven", "cure": "cure box"}
"""Which kind of equipment a finishing step occupies."""


def profile_on(formulation: FormulationFacts, printer: Printer, layer_um: int | None = None) -> ProfileFacts | None:
    """Return the profile with which a printer prints a formulation's units, None where none is validated.

    Without ``layer_um`` that of the default way of printing.
    """
    usual = formulation.default_range
    layer = layer_um or (usual.layer_um[0] if usual else 0)
    return formulation.profile_for(layer, printer.kind)


def printable(found: Gathered, lot: str) -> list[Printer]:
    """Return the printers for which a profile of a lot's formulation is validated."""
    return [one for one in found.printers if profile_on(found.formulations[lot], one) is not None]


def joint_request(found: Gathered, sized: Sequence[Sized]) -> JointRequest:
    """Return what is asked of the planner for these lines; each lot needs a printer (`printable`)."""
    placed: dict[tuple[str, int, str], list[PlacedLine]] = {}
    for one in sorted(sized, key=lambda item: item.wanted.code):
        line = _placed(found, one)
        placed.setdefault((line.lot, line.layer_um, line.mount), []).append(line)
    lots = tuple(_lot_lines(found, placed[key]) for key in sorted(placed))
    return JointRequest(
        lots=lots,
        raft=RaftRules(),
        printers=tuple(_now(one, found.at) for one in found.printers),
        day=_day(found),
        at=found.at,
        pools=_pools(lots),
    )


def spares_in_parts(found: Gathered, count: int, parts: int) -> int:
    """Return the spares of a line that stands in equal parts, each with enough to have its own good units."""
    site, largest = found.site.values, -(-count // parts)
    return parts * spares_for(largest, site.reject_frac, likelihood=site.enough_good_probability)


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


def hours_of(site: SiteValues, zone: object) -> Hours:
    """Return the opening hours that a site has set; raises BadInput for hours that are none."""
    return Hours(
        zone=zone,  # type: ignore[arg-type]
        opens_min=_minutes(site.opens_at),
        closes_min=_minutes(site.closes_at),
        days=frozenset(int(day) for day in site.open_days if day.isdigit()),
    )


def _placed(found: Gathered, one: Sized) -> PlacedLine:
    formulation, unit, line = found.formulations[one.lot], one.dose.unit, one.wanted.line
    spares = max(spares_in_parts(found, one.count, 1), found.spares.get(one.wanted.code, 0))
    return PlacedLine(
        code=one.wanted.code,
        formulation=f"{formulation.code}/{formulation.number}",
        lot=one.lot,
        profile="",
        layer_um=unit.layer_um,
        dose_mg=line.line.dose_mg / one.dose.units_per_dose,
        count=one.count,
        spares=spares,
        unit_codes=fresh_codes("unit", one.count + spares),
        outline=unit.footprint,
        orientation=unit.design.orientation,
        mount="necks" if unit.design.mount == "necks" else "sheet",
        footprint_um=unit.footprint_um,
        height_um=unit.layers * unit.layer_um,
        layers=unit.layers,
        volume_um3=round(unit.geometry.mesh_volume_mm3 * UM3_PER_MM3),
        section_um2_layers=round(float(unit.sections.area_mm2.sum()) * UM2_PER_MM2),
        perimeter_um_layers=round(float(unit.sections.perimeter_mm.sum()) * 1000),
        contact_um2=round(unit.facing_raft_mm2 * UM2_PER_MM2),
        held_run_um=round(unit.held_run_mm * 1000),
        ready_by=line.line.ready_by,
        instead_of=one.wanted.reprint.instead_of if one.wanted.reprint else (),
    )


def _lot_lines(found: Gathered, lines: Sequence[PlacedLine]) -> LotLines:
    lot, layer_um = lines[0].lot, lines[0].layer_um
    formulation, facts = found.formulations[lot], found.lots[lot]
    store = facts.available_ul + in_loose_tanks_ul(found.site.pk, lot, at=found.at) - promised_ul(lot)
    return LotLines(
        lines=tuple(lines),
        tests=tuple(
            TestSpot(which=zone.which, where=zone.where, units=zone.units)  # type: ignore[arg-type]
            for zone in formulation.test_plan.zones
        ),
        ways=_ways(found, formulation, facts, layer_um),
        tank_for=formulation.code,
        finishing=tuple(
            Step(
                name=step.kind,
                seconds=(step.least_s + step.most_s) // 2,
                manner="held",
                place=f"{PLACE_OF_STEP.get(step.kind, step.kind)} for {formulation.code}",
            )
            for step in formulation.finishing
        ),
        store_ul=store,
    )


def _ways(found: Gathered, formulation: FormulationFacts, lot: ResinLotFacts, layer_um: int) -> tuple[Way, ...]:
    profiles = [(printer, profile_on(formulation, printer, layer_um)) for printer in found.printers]
    ways = tuple(_way(found, formulation, lot, printer, profile) for printer, profile in profiles if profile)
    if not ways:
        raise Blocked.because(
            "profile", "no print profile is pinned for a printer here", value=f"{formulation.code}, {layer_um} um"
        )
    return ways


def _way(
    found: Gathered, formulation: FormulationFacts, lot: ResinLotFacts, printer: Printer, profile: ProfileFacts
) -> Way:
    site = found.site.values
    return Way(
        printer=printer.code,
        profile=profile.code,
        plate=PlateRules(
            plate_um=(printer.plate_x_um, printer.plate_y_um),
            build_height_um=printer.build_height_um,
            unit_gap_um=site.unit_gap_um,
            zone_gap_um=site.zone_gap_um,
            edge_um=site.edge_margin_um,
        ),
        time=time_coefficients(profile),
        resin=ResinRules(
            tank_minimum_ul=printer.tank_minimum_ul,
            loss_ul=printer.loss_ul,
            liquid_per_cured=max(Decimal(1), _density(formulation) / formulation.resin_density_g_cm3),
        ),
        in_tank_ul=in_tank_ul(printer.tank.code if printer.tank else "", lot.code, at=found.at),
    )


def _now(printer: Printer, at: datetime) -> PrinterNow:
    return PrinterNow(
        code=printer.code,
        free_at=free_from(printer, at=at),
        formulation=printer.tank.formulation_code if printer.tank else "",
    )


def _day(found: Gathered) -> Day:
    site = found.site.values
    places: dict[str, int] = {"bench": site.bench_places}
    for code in sorted({facts.code for facts in found.formulations.values()}):
        places |= {f"{kind} for {code}": count for kind, count in places_for(found.site.pk, code).items()}
    return Day(
        hours=hours_of(site, found.site.zone),
        places=places,
        change_over_s=site.change_over_minutes * 60,
        take_off_s=site.take_off_minutes * 60,
        weigh_unit_s=site.weigh_unit_seconds,
        test_plate_s=site.test_plate_minutes * 60,
        pack_zone_s=site.pack_zone_minutes * 60,
    )


def _pools(lots: Sequence[LotLines]) -> Pools:
    """Return enough codes for the worst that a plan may need."""
    parts, tests, units = 0, 0, 0
    for lot in lots:
        plates = sum(_most_parts(line, lot) for line in lot.lines)
        parts, tests = parts + plates, tests + plates * len(lot.tests)
        units += plates * sum(spot.units for spot in lot.tests)
    return Pools(
        zone_codes=fresh_codes("zone", parts + tests),
        batch_codes=fresh_codes("print batch", parts),
        test_unit_codes=fresh_codes("unit", units),
    )


def _most_parts(line: PlacedLine, lot: LotLines) -> int:
    """Return how many parts a line may be split into at most: a quarter of the least plate holds units."""
    room = min(
        (way.plate.plate_um[0] - 2 * way.plate.edge_um) * (way.plate.plate_um[1] - 2 * way.plate.edge_um)
        for way in lot.ways
    )
    gap = lot.ways[0].plate.unit_gap_um
    each = (line.footprint_um[0] + gap) * (line.footprint_um[1] + gap)
    return min(line.units, 1 + 4 * line.units * each // max(room, 1))


def _density(formulation: FormulationFacts) -> Decimal:
    """Return the density [mg/mm3] of units printed in the formulation's default way."""
    usual = formulation.default_range
    terms = formulation.terms_for(usual.orientation, usual.mount) if usual else None
    if terms is None:
        raise Blocked.because("terms", "the default way of printing has no process terms", accepted="assayed units")
    return terms.density_mg_mm3


def _minutes(clock: str) -> int:
    hours, _, minutes = clock.partition(":")
    if not (hours.isdigit() and minutes.isdigit() and int(minutes) < 60):
        raise BadInput.because("opening hours", "is no time of the day", value=clock, accepted="a time like 07:00")
    return int(hours) * 60 + int(minutes)


def placed_counts(request: JointRequest) -> Mapping[str, int]:
    """Return how many units of each line are needed, spares not counted."""
    return {line.code: line.count for lot in request.lots for line in lot.lines}
