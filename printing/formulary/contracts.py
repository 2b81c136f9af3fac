"""The documents that the `formulation` and `size` commands print; their schemas stand in fixtures/contracts."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

from dosewright.ground.pure.canonical import canonical_text, decimal_text
from dosewright.ground.pure.errors import Refused
from printing.core.dose.model import unit_strength_frac
from printing.core.dose.sizing import DoseNotPossible, SizedDose
from printing.formulary.content import FormulationFacts, RangeFacts, ResidueFacts, TermsFacts

FITTED = ("unit_strength_frac", "density_mg_mm3", "bleed_mm", "overcure_mm", "leached_mm", "bound_frac")


KEPT = ("aspect_frac", "fixed_height_mm", "fixed_section_mm", "fixed_tube_mm", "cap_radius_frac")
"""What a sizing rule keeps, by its name in a range."""


def size_contract(sized: SizedDose, *, not_checked: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return the `size` command's document."""
    return {**sized.as_dict(), "not_checked": list(not_checked)}


def refused_contract(refused: Refused) -> dict[str, Any]:
    """Return the document of a size that was refused, with the nearest doses where sizing found any."""
    document: dict[str, Any] = {"refused": [one.as_dict() for one in refused.refusals]}
    if isinstance(refused, DoseNotPossible):
        document["nearest_mg"] = refused.nearest.as_dict()
    return document


def formulation_contract(facts: FormulationFacts) -> dict[str, Any]:
    """Return the `formulation CODE` command's document."""
    return {
        "code": facts.code,
        "number": facts.number,
        "name": facts.name,
        "state": facts.state,
        "invented": facts.is_invented,
        "substance": facts.substance,
        "release": facts.release,
        "form_name": facts.form_name,
        "resin_density_g_cm3": float(facts.resin_density_g_cm3),
        "recipe": [
            {
                "number": line.number,
                "ingredient": line.ingredient.code,
                "name": line.ingredient.name,
                "role": line.ingredient.role,
                "mass_frac": float(line.mass_frac),
            }
            for line in facts.recipe
        ],
        "model": _model_contract(facts),
        "ranges": [_range_contract(one) for one in facts.ranges],
        "finishing": [
            {
                "number": one.number,
                "kind": one.kind,
                "least_s": one.least_s,
                "most_s": one.most_s,
                "conditions": dict(one.conditions),
            }
            for one in facts.finishing
        ],
        "profiles": [
            {
                "code": one.code,
                "printer_kind": one.printer_kind,
                "name": one.name,
                "version": one.profile_version,
                "sha256": one.sha256,
                "layer_um": one.layer_um,
                "spot_um": one.spot_um,
            }
            for one in facts.profiles
        ],
        "test_plan": json.loads(canonical_text(facts.test_plan)),
        "residues": [_residue_contract(one) for one in facts.residues],
        "lot_life_days": facts.lot_life_days,
        "tank_life_hours": facts.tank_life_hours,
        "shelf_life_days": facts.shelf_life_days,
        "storage": facts.storage,
        "container": facts.container,
        "warnings": list(facts.warnings),
    }


def _residue_contract(one: ResidueFacts) -> dict[str, Any]:
    return {
        "residue": one.residue,
        "content_frac": float(one.content_frac),
        "limit_mg_day": None if one.limit_mg_day is None else float(one.limit_mg_day),
        "limit_mg_kg_day": None if one.limit_mg_kg_day is None else float(one.limit_mg_kg_day),
        "source": one.source,
    }


def _model_contract(facts: FormulationFacts) -> dict[str, Any]:
    default = facts.default_range
    usual = facts.terms_for(default.orientation, default.mount) if default else None
    ways = [_terms_contract(facts, one) for one in facts.terms]
    at_default = next((way for way, one in zip(ways, facts.terms, strict=True) if one is usual), {})
    return {"nominal_strength_mg_g": float(facts.nominal_strength_mg_g), **at_default, "terms": ways}


def _terms_contract(facts: FormulationFacts, one: TermsFacts) -> dict[str, Any]:
    factor = None if one.transfer_factor is None else float(one.transfer_factor)
    strength = None if factor is None else unit_strength_frac(float(facts.nominal_strength_mg_g), factor)
    names = [name for name in FITTED if name != "unit_strength_frac"]
    return {
        "orientation": one.orientation,
        "mount": one.mount,
        "transfer_factor": factor,
        "unit_strength_frac": strength,
        **{name: float(getattr(one, name)) for name in names},
        "standard_uncertainty": {name: float(getattr(one, f"u_{name}")) for name in names},
        "swelling_frac": float(one.swelling_frac),
        "study": one.study,
    }


def _number(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def _range_contract(one: RangeFacts) -> dict[str, Any]:
    return {
        "number": one.number,
        "shape": one.shape,
        "rule": one.rule,
        "orientation": one.orientation,
        "mount": one.mount,
        "dose_mg": {"min": decimal_text(one.dose_min_mg), "max": decimal_text(one.dose_max_mg)},
        "layer_um": list(one.layer_um),
        "default": one.is_default,
        **{name: _number(getattr(one, name)) for name in KEPT},
        "size_mm": {name: {"min": float(low), "max": float(high)} for name, (low, high) in one.size_mm.items()},
        "surface_to_volume_mm": dict(zip(("min", "max"), map(float, one.surface_to_volume_mm), strict=True)),
        "study": one.study,
    }
