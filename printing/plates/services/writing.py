"""Writes a checked plan into the tables: sizes, batches, zones and every unit, within one action."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from dosewright.ground.act import Act
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.transitions import MACHINES
from prescriptions.queries.rows import dose_line_ids
from printing.formulary.queries import profile_row
from printing.plates.models import PlacedUnit, PlanRecord, PrintBatch, Printer, SizedLine, Zone
from printing.plates.sizes import micrograms, nanograms, read_size
from printing.stock.queries import ResinLotFacts


def write_plan(
    doing: Act,
    *,
    plan: str,
    record: Mapping[str, Any],
    sizes: Mapping[str, str],
    wanted: Mapping[str, int],
    held_by: Mapping[str, str],
    lots: Mapping[str, ResinLotFacts],
    ready_by: datetime,
) -> None:
    """Add the rows of a plan.

    ``sizes`` maps each line's code to the canonical text of its size, ``wanted`` to the units that are ordered,
    ``held_by`` to the plan that holds it; ``lots`` are the resin lots of its plates.
    """
    whole = canonical_text(record)
    PlanRecord.objects.create(code=plan, site_id=doing.actor.site_id, text=whole, digest=digest_of(whole), at=doing.at)
    ids = dose_line_ids(doing.actor.site_id, sorted(sizes))
    lot_of = {zone["geometry_of"]: plate["lot"] for plate in record["plates"] for zone in plate["zones"]}
    sized = {
        line: _sized_line(doing, plan, ids[line], text, lots[lot_of[line]]) for line, text in sorted(sizes.items())
    }
    printers = {one.code: one for one in Printer.objects.filter(site_id=doing.actor.site_id)}
    for plate in record["plates"]:
        text, lot = canonical_text(plate), lots[plate["lot"]]
        batch = PrintBatch.objects.create(
            code=plate["batch"],
            site_id=doing.actor.site_id,
            plan=plan,
            printer=printers[plate["printer"]],
            formulation_id=lot.formulation_id,
            resin_lot_id=lot.pk,
            profile_id=profile_row(plate["profile"]).pk,
            state=MACHINES["print batch"].initial,
            layer_um=plate["layer_um"],
            layers=plate["layers"],
            seconds=sum(plate["seconds"].values()),
            resin_ul=plate["resin_ul"],
            planned_at=doing.at,
            ready_by=_ready_by(plate, ready_by),
            plan_text=text,
            plan_digest=digest_of(text),
        )
        for zone in plate["zones"]:
            _zone(batch, zone, sized, ids, wanted, held_by)


def _sized_line(doing: Act, plan: str, line_id: int, text: str, lot: ResinLotFacts) -> SizedLine:
    return SizedLine.objects.create(
        line_id=line_id,
        plan=plan,
        resin_lot_id=lot.pk,
        units_per_dose=read_size(text)["units_per_dose"],
        text=text,
        digest=digest_of(text),
        at=doing.at,
    )


def _zone(
    batch: PrintBatch,
    zone: Mapping[str, Any],
    sized: Mapping[str, SizedLine],
    ids: Mapping[str, int],
    wanted: Mapping[str, int],
    held_by: Mapping[str, str],
) -> None:
    size_row = sized[zone["geometry_of"]]
    size = json.loads(size_row.text, parse_float=str)
    for_patient = zone["line"] is not None
    units = zone["units"]
    good = share_of(wanted[zone["line"]], *zone["part"]) if for_patient else len(units)
    row = Zone.objects.create(
        code=zone["code"],
        batch=batch,
        line_id=ids[zone["line"]] if for_patient else None,
        sized=size_row,
        held_by=held_by[zone["line"]] if for_patient else "",
        part=zone["part"][0],
        parts=zone["part"][1],
        wanted=good,
        spares=len(units) - good,
        state=MACHINES["zone"].initial,
        polygon_text=canonical_text(zone["polygon_um"]),
        removal_order=zone["removal"],
    )
    PlacedUnit.objects.bulk_create(
        [
            PlacedUnit(
                code=unit["code"],
                zone=row,
                number=number,
                state=MACHINES["unit"].initial,
                x_um=unit["x_um"],
                y_um=unit["y_um"],
                rotation_deg=unit["rotation_deg"],
                dose_ng=nanograms(Decimal(size["ordered_mg"]) / size["units_per_dose"]),
                predicted_mass_ug=micrograms(float(size["unit"]["mass_mg"])),
                predicted_content_ng=nanograms(float(size["unit"]["content_mg"])),
            )
            for number, unit in enumerate(units, start=1)
        ]
    )


def share_of(count: int, part: int, parts: int) -> int:
    """Return how many of `count` units fall to part 1 to `parts`: equal shares, the first ones larger by one."""
    return count // parts + (part - 1 < count % parts)


def _ready_by(plate: Mapping[str, Any], otherwise: datetime) -> datetime:
    return datetime.fromisoformat(plate["ready_by"].replace("Z", "+00:00")) if plate["ready_by"] else otherwise
