"""What a verdict on a zone rests on: masses, contents, counts, steps and deviations, and the outcome they give.

The outcome is worked out here from the record, never chosen: something missing gives none, something out of its
limit gives "failed".
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from dosewright.ground.pure.errors import NotThere
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.pure.site_values import SiteValues
from printing.core.quality.inprocess import Finding, MassLimits, MassVerdict, ZoneMasses, judge_masses
from printing.plates.models import PlacedUnit, Zone
from printing.runs.content import ContentFacts, MassFinding, Statistics, UnitEvidence, ZoneEvidence
from printing.runs.outcome import Judged, failures, missing
from printing.runs.queries.deviations import all_deviations
from printing.runs.queries.measured import NG_PER_MG, Measured, counts_of, measured_units, mg
from printing.runs.queries.steps import is_broken_off, step_facts

PLACES = Decimal("0.000001")
NOTHING = Measured()


def evidence(actor: Actor, code: str) -> ZoneEvidence:
    """Return the evidence on a zone for people who may see batches; raises NotAllowed, NotThere."""
    authorise_read(actor, "batch")
    return zone_evidence(code, site_id=actor.site_id)


def zone_evidence(code: str, *, site_id: int) -> ZoneEvidence:
    """Return everything that a verdict on a zone rests on, and its outcome; raises NotThere."""
    zone = (
        Zone.objects.select_related("batch__site", "batch__resin_lot", "line")
        .filter(code=code, batch__site_id=site_id)
        .first()
    )
    if zone is None:
        raise NotThere.because("zone", "no such zone at this site", value=code[:40], rule="code")
    return _evidence(zone)


def plate_masses(batch_id: int, site: SiteValues) -> MassVerdict | None:
    """Return what all masses of a plate say, each zone against its neighbours; None before the first."""
    zones = list(Zone.objects.filter(batch_id=batch_id).prefetch_related("units").order_by("removal_order"))
    measured = measured_units(one.pk for one in zones)
    weighed = [one for one in (_masses(zone, measured) for zone in zones) if one.measured_mg]
    return judge_masses(weighed, limits_of(site)) if weighed else None


def limits_of(site: SiteValues) -> MassLimits:
    """Return the site's limits of in-process masses."""
    return MassLimits(
        line_mean_frac=float(site.mass_mean_limit_frac),
        unit_frac=float(site.mass_unit_limit_frac),
        small_unit_frac=float(site.mass_unit_small_limit_frac),
        small_unit_mg=float(site.mass_small_below_mg),
    )


def _evidence(zone: Zone) -> ZoneEvidence:
    batch, site = zone.batch, zone.batch.site.values
    zones = list(batch.zones.prefetch_related("units").order_by("removal_order"))
    measured = measured_units(one.pk for one in zones)
    verdict = plate_masses(batch.pk, site)
    found = tuple(map(_finding, verdict.of_zone(zone.code))) if verdict else ()
    rows = list(zone.units.order_by("number"))
    units = tuple(_unit(one, measured.get(one.pk, NOTHING), site) for one in rows)
    judged = Judged(
        zone=zone.code,
        wanted=zone.wanted,
        is_test=zone.line_id is None,
        batch_state=batch.state,
        broken_off=is_broken_off(zone.pk),
        unweighed_zones=tuple(one.code for one in zones if _is_unweighed(one, measured)),
        counted=counts_of(zone.pk),
        units=units,
        statistics=_statistics(units, site),
        findings=found,
        contents=_contents(zones, measured, site),
        untested=tuple(one.code for one in _test_units(zones) if one.state == "printed"),
        steps=step_facts(batch.pk, batch.formulation_id),
        deviations=all_deviations(site_id=batch.site_id, zone=zone.code),
    )
    lacking, failed = missing(judged), failures(judged)
    return ZoneEvidence(
        zone=zone.code,
        batch=batch.code,
        line=zone.line.code if zone.line else "",
        state=zone.state,
        wanted=zone.wanted,
        spares=zone.spares,
        states=judged.states,
        counted=judged.counted,
        good=judged.good,
        units=units,
        statistics=judged.statistics,
        findings=found,
        contents=judged.contents,
        steps=judged.steps,
        deviations=judged.deviations,
        missing=lacking,
        failures=failed,
        outcome="" if lacking else "failed" if failed else "passed",
    )


def _masses(zone: Zone, measured: dict[int, Measured]) -> ZoneMasses:
    units = sorted(zone.units.all(), key=lambda one: one.number)
    masses = {one.code: measured.get(one.pk, NOTHING).mass_ng for one in units}
    return ZoneMasses(
        zone=zone.code,
        predicted_mg=units[0].predicted_mass_ug / 1000,
        measured_mg={code: mass / NG_PER_MG for code, mass in masses.items() if mass is not None},
    )


def _is_unweighed(zone: Zone, measured: dict[int, Measured]) -> bool:
    return any(one.state == "printed" and measured.get(one.pk, NOTHING).mass_ng is None for one in zone.units.all())


def _unit(row: PlacedUnit, found: Measured, site: SiteValues) -> UnitEvidence:
    predicted = Decimal(row.predicted_mass_ug) / 1000
    small = predicted <= site.mass_small_below_mg
    mass = None if found.mass_ng is None else mg(found.mass_ng)
    return UnitEvidence(
        code=row.code,
        number=row.number,
        state=row.state,
        predicted_mg=predicted,
        measured_mg=mass,
        deviation_frac=None if mass is None else (mass / predicted - 1).quantize(PLACES),
        limit_frac=site.mass_unit_small_limit_frac if small else site.mass_unit_limit_frac,
        estimated_content_mg=None
        if mass is None
        else (mg(row.predicted_content_ng) * mass / predicted).quantize(PLACES),
        appearance=found.appearance,
        content_mg=None if found.content_ng is None else mg(found.content_ng),
    )


def _statistics(units: Sequence[UnitEvidence], site: SiteValues) -> Statistics | None:
    masses = [one.measured_mg for one in units if one.measured_mg is not None]
    if not masses:
        return None
    mean = sum(masses, Decimal(0)) / len(masses)
    squares = sum(((one - mean) ** 2 for one in masses), Decimal(0))
    spread = (squares / (len(masses) - 1)).sqrt() if len(masses) > 1 else Decimal(0)
    return Statistics(
        weighed=len(masses),
        mean_mg=mean.quantize(PLACES),
        sd_mg=spread.quantize(PLACES),
        rsd_frac=(spread / mean).quantize(PLACES),
        mean_deviation_frac=(mean / units[0].predicted_mg - 1).quantize(PLACES),
        mean_limit_frac=site.mass_mean_limit_frac,
    )


def _test_units(zones: Sequence[Zone]) -> list[PlacedUnit]:
    return [unit for zone in zones if zone.line_id is None for unit in sorted(zone.units.all(), key=lambda u: u.number)]


def _contents(zones: Sequence[Zone], measured: dict[int, Measured], site: SiteValues) -> tuple[ContentFacts, ...]:
    codes = {zone.pk: zone.code for zone in zones}
    found = []
    for unit in _test_units(zones):
        values = measured.get(unit.pk, NOTHING)
        if values.content_ng is None:
            continue
        off = mg(values.content_ng) / mg(unit.dose_ng) - 1
        found.append(
            ContentFacts(
                unit=unit.code,
                zone=codes[unit.zone_id],
                content_mg=mg(values.content_ng),
                dose_mg=mg(unit.dose_ng),
                deviation_frac=off.quantize(PLACES),
                limit_frac=site.content_limit_frac,
                passed=abs(off) <= site.content_limit_frac,
                how=values.content_how,
            )
        )
    return tuple(found)


def _finding(one: Finding) -> MassFinding:
    return MassFinding(
        kind=one.kind.value,
        zone=one.zone,
        unit=one.unit or "",
        other_zone=one.other_zone or "",
        measured_mg=None if one.measured_mg is None else _exact(one.measured_mg),
        predicted_mg=_exact(one.predicted_mg),
        deviation_frac=_exact(one.deviation_frac),
        limit_frac=_exact(one.limit_frac),
        fails=one.fails,
        source=one.source,
    )


def _exact(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(PLACES)
