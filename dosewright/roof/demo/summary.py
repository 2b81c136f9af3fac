"""Writes `summary.json`: what became of every order, line, pack, document and batch, with paths in the home."""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from dosewright.ground.documents import write_file
from dosewright.ground.models import Document
from dosewright.ground.rest import plain
from dosewright.roof.demo.orders import Taken
from dosewright.roof.demo.stage import Stage
from labels.queries import packs as packs_page
from prescriptions.queries.facts import LineFacts, order_facts
from printing.plates.content import ZoneFacts
from printing.plates.queries import batch_facts, batches, size_of_line, zones_of_line
from printing.runs.queries import zone_evidence

OVER = frozenset({"faulted", "cancelled"})
MODEL = ("unit_strength_frac", "density_mg_mm3", "bleed_mm", "overcure_mm", "leached_mm", "bound_frac")
MOST = 200


def write(stage: Stage, taken: list[Taken]) -> dict[str, Any]:
    """Write the summary into the home and return it."""
    document = {"orders": [_order(stage, one) for one in taken], "batches": _batches(stage)}
    text = json.dumps(plain(document), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    write_file(stage.home / "summary.json", text.encode())
    return document


def _order(stage: Stage, taken: Taken) -> dict[str, Any]:
    if not taken.code:
        return {
            "code": None,
            "reference": taken.reference,
            "state": "refused",
            "refused": taken.refused or [],
            "lines": [],
            "packs": [],
            "documents": [],
        }
    order = order_facts(taken.code)
    packs = _packs(stage, taken.code)
    subjects = [taken.code, *(one["code"] for one in packs)]
    return {
        "code": order.code,
        "reference": order.reference,
        "state": order.state,
        "refused": taken.refused or [],
        "lines": [_line(stage, line) for line in order.lines],
        "packs": packs,
        "documents": _documents(stage, subjects),
    }


def _line(stage: Stage, line: LineFacts) -> dict[str, Any]:
    zones = [zone for zone in zones_of_line(line.code) if zone.batch_state not in OVER]
    facts: dict[str, Any] = {
        "code": line.code,
        "ordered_mg": str(line.dose_mg),
        "units_per_dose": None,
        "units": 0,
        "spares": 0,
        "unit_codes": [],
        "predicted_mg": None,
        "measured_mg": None,
        "measured_by": None,
        "deviation_frac": None,
    }
    if not zones:
        return facts
    size = size_of_line(line.code, batch_facts(zones[0].batch, site_id=stage.site_id).plan)
    measured_mg = _measured(stage, zones)
    return facts | {
        "units_per_dose": size["units_per_dose"],
        "units": sum(zone.wanted for zone in zones),
        "spares": sum(zone.spares for zone in zones),
        "unit_codes": [unit.code for zone in zones for unit in zone.units],
        "predicted_mg": float(size["predicted_mg"]),
        "measured_mg": None if measured_mg is None else float(measured_mg),
        "measured_by": None if measured_mg is None else "mass",
        "deviation_frac": None if measured_mg is None else float(measured_mg / line.dose_mg - 1),
    }


def _measured(stage: Stage, zones: list[ZoneFacts]) -> Decimal | None:
    """Return the mean content of a dose that the masses of the good units lead one to expect; no assay."""
    contents = [
        unit.estimated_content_mg
        for zone in zones
        for unit in zone_evidence(zone.code, site_id=stage.site_id).units
        if unit.estimated_content_mg is not None and unit.state != "rejected"
    ]
    return zones[0].units_per_dose * sum(contents, Decimal(0)) / len(contents) if contents else None


def _packs(stage: Stage, order: str) -> list[dict[str, Any]]:
    page = packs_page(stage.person("rosa.keller"), order=order, limit=MOST)
    rows = sorted(page.items, key=lambda row: row.code)
    return [{"code": row.code, "state": row.state, "line": row.line, "units": row.units} for row in rows]


def _documents(stage: Stage, subjects: list[str]) -> list[dict[str, Any]]:
    rows = Document.objects.filter(site_id=stage.site_id, subject__in=subjects).order_by("pk")
    return [_document(row) for row in rows]


def _document(row: Document) -> dict[str, Any]:
    return {"kind": row.kind, "number": row.number, "state": row.state, "path": row.path, "sha256": row.file_digest}


def _batches(stage: Stage) -> list[dict[str, Any]]:
    rows = batches(stage.person("tomas.lind"), limit=MOST).items
    return [_batch(stage, row.code) for row in reversed(rows)]


def _batch(stage: Stage, code: str) -> dict[str, Any]:
    facts = batch_facts(code, site_id=stage.site_id)
    return {
        "code": facts.code,
        "state": facts.state,
        "plate_file": facts.plate_file,
        "resin_lot": facts.resin_lot,
        "layer_um": facts.layer_um,
        "layers": facts.layers,
        "seconds": facts.seconds,
        "model": _model(facts.zones, facts.plan),
        "documents": _documents(stage, [code]),
    }


def _model(zones: tuple[ZoneFacts, ...], plan: str) -> Mapping[str, float]:
    """Return the process terms with which the units of a batch were sized; they are the same for all its lines."""
    line = next(zone.line for zone in zones if zone.line is not None)
    model = size_of_line(line, plan)["unit"]["model"]
    return {name: float(model[name]) for name in MODEL}
