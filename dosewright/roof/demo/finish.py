"""Washes, dries and cures a batch, breaks its zones off one at a time, weighs, assays and judges them."""

from __future__ import annotations

import random
from decimal import Decimal

from dosewright.roof.demo.house import CURE_BOX, House
from dosewright.roof.demo.stage import Stage
from printing.plates.content import ZoneFacts
from printing.plates.queries import batch_facts, zone_facts
from printing.runs import services as runs
from printing.runs.queries import run_facts

SPREAD_FRAC = 0.005
ASSAY_SPREAD_FRAC = 0.008
MASS_PLACES = "0.1"
"""The scale of the demo's balance [mg]."""
EQUIPMENT = {"dry": "drying oven", "cure": CURE_BOX}
BATHS = ("first bath", "second bath")
READINGS = {"temperature_c": Decimal(40), "strength_percent": Decimal(97)}
"""Readings that lie in the ranges of every formulation of the demo; invented."""


def finish_and_judge(stage: Stage, house: House, code: str, chance: random.Random, *, reject_one: bool) -> None:
    """Take a batch off the plate to its verdicts; with `reject_one` one unit shows a major defect."""
    _finish(stage, house, code)
    zones = [zone.code for zone in batch_facts(code, site_id=stage.site_id).zones]
    rejected = not reject_one
    for zone in zones:
        facts = zone_facts(zone, site_id=stage.site_id)
        spoil = not rejected and facts.line is not None
        rejected = rejected or spoil
        _weigh(stage, house, facts, chance, spoil=spoil)
    for zone in zones:
        verdict = runs.judge_zone(stage.person("ada.brandt"), zone, at=stage.now())
        if verdict.outcome != "passed":
            stage.say(f"zone {zone}: {verdict.outcome}")
    jonas = stage.person("jonas.weber")
    runs.close_batch(jonas, code, at=stage.now())
    stage.say(f"batch {code}: {len(zones)} zones broken off, weighed and judged; batch closed")


def take_off(stage: Stage, code: str) -> None:
    """Take the rafts of a printed batch off the plate, counting every zone."""
    tomas = stage.person("tomas.lind")
    zones = batch_facts(code, site_id=stage.site_id).zones
    counts = {zone.code: runs.ZoneCount(counted=len(zone.units)) for zone in zones}
    runs.remove_from_plate(tomas, code, counts=counts, at=stage.now())
    stage.say(f"batch {code}: {len(zones)} rafts taken off the plate, {sum(c.counted for c in counts.values())} units")


def _finish(stage: Stage, house: House, code: str) -> None:
    tomas = stage.person("tomas.lind")
    wet = house.room_of(batch_facts(code, site_id=stage.site_id)).wet
    for step in run_facts(code, site_id=stage.site_id, at=stage.now()).steps:
        name = EQUIPMENT.get(step.kind) or BATHS[step.number - 1]
        runs.start_finish_step(tomas, code, number=step.number, equipment=wet[name], at=stage.now())
        stage.skip(step.least_s + (step.most_s - step.least_s) / 10)
        asked = {
            reading: READINGS[reading]
            for reading in READINGS
            if any(condition.startswith(reading.rpartition("_")[0]) for condition in step.conditions)
        }
        runs.end_finish_step(tomas, code, number=step.number, readings=asked, at=stage.now())
    runs.finish_batch(tomas, code, at=stage.now())
    stage.say(f"batch {code}: washed twice, dried, cured, rafts still on")


def _weigh(stage: Stage, house: House, zone: ZoneFacts, chance: random.Random, *, spoil: bool) -> None:
    ada = stage.person("ada.brandt")
    stage.skip(120)
    runs.break_off(ada, zone.code, counted=len(zone.units), at=stage.now())
    defects = {zone.units[0].number: "major"} if spoil else {}
    runs.record_appearance(ada, zone.code, looked_at=len(zone.units), defects=defects, at=stage.now())
    if spoil:
        stage.say(f"unit {zone.units[0].code} of zone {zone.code} shows a major defect: rejected")
    weighed = [unit for unit in zone.units if unit.number not in defects]
    masses = [_near(chance, unit.predicted_mass_ug, SPREAD_FRAC, per_mg=1000, places=MASS_PLACES) for unit in weighed]
    runs.record_masses(ada, zone.code, masses_mg=masses, balance=house.balance, at=stage.now())
    if zone.line is None:
        for unit in zone.units:
            content = _near(chance, unit.predicted_content_ng, ASSAY_SPREAD_FRAC, per_mg=1_000_000, places="0.00001")
            runs.record_content(
                stage.person("jonas.weber"), unit.code, content_mg=content, method="invented assay", at=stage.now()
            )


def _near(chance: random.Random, value: int, spread_frac: float, *, per_mg: int, places: str) -> str:
    """Return an invented reading near `value` (`per_mg` of its units are 1 mg), in mg on the instrument's scale."""
    factor = Decimal(repr(round(1 + chance.gauss(0, spread_frac), 6)))
    return str((Decimal(value) / per_mg * factor).quantize(Decimal(places)))
