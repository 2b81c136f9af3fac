"""The parts of a formulation as its rows store them, read back as facts."""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from printing.formulary import content


def test_plan_of(stored: Mapping[str, Any]) -> content.TestPlan:
    """Return the test plan from its stored form."""
    spread = stored.get("homogeneity_frac")
    return content.TestPlan(
        zones=tuple(content.TestZone(**one) for one in stored.get("zones", ())),
        before_use=tuple(_lot_test(one) for one in stored.get("before_use", ())),
        homogeneity_frac=None if spread is None else Decimal(spread),
    )


def _lot_test(one: Mapping[str, Any]) -> content.LotTestRule:
    return content.LotTestRule(
        kind=one["kind"],
        places=tuple(one["places"]),
        accepted=tuple(one["accepted"]),
        unit=one["unit"],
        low=_decimal(one["low"]),
        high=_decimal(one["high"]),
    )


def residue_of(one: Mapping[str, Any]) -> content.ResidueFacts:
    """Return one residue from its stored form."""
    return content.ResidueFacts(
        residue=one["residue"],
        content_frac=Decimal(one["content_frac"]),
        source=one["source"],
        study=one["study"],
        limit_mg_day=_decimal(one["limit_mg_day"]),
        limit_mg_kg_day=_decimal(one["limit_mg_kg_day"]),
    )


def _decimal(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)


TERM_COLUMNS = (
    "orientation",
    "mount",
    "transfer_factor",
    "u_transfer_factor",
    "density_mg_mm3",
    "u_density_mg_mm3",
    "bleed_mm",
    "u_bleed_mm",
    "overcure_mm",
    "u_overcure_mm",
    "leached_mm",
    "u_leached_mm",
    "bound_frac",
    "u_bound_frac",
    "degrees_of_freedom",
    "outline_scatter_mm",
    "height_scatter_mm",
    "strength_scatter_frac",
    "swelling_frac",
)
PROFILE_COLUMNS = (
    "printer_kind",
    "name",
    "profile_version",
    "sha256",
    "layer_um",
    "spot_um",
    "setup_s",
    "layer_s",
    "hatch_um",
    "scan_mm_s",
    "contour_mm_s",
    "contours",
)


def terms_of(one: Any, keys: Mapping[int, str]) -> content.TermsFacts:
    """Return the process terms of a row; ``keys`` names each study."""
    return content.TermsFacts(study=keys[one.study_id], **{name: getattr(one, name) for name in TERM_COLUMNS})


def range_of(one: Any, keys: Mapping[int, str]) -> content.RangeFacts:
    """Return the validated range of a row; ``keys`` names each study."""
    sizes = {name: (Decimal(low), Decimal(high)) for name, (low, high) in json.loads(one.size_mm_text).items()}
    return content.RangeFacts(
        number=one.number,
        shape=one.shape,
        rule=one.rule,
        orientation=one.orientation,
        mount=one.mount,
        dose_min_mg=one.dose_min_mg,
        dose_max_mg=one.dose_max_mg,
        layer_um=tuple(int(layer) for layer in one.layer_um_text.split(",")),
        aspect_frac=one.aspect_frac,
        fixed_height_mm=one.fixed_height_mm,
        fixed_section_mm=one.fixed_section_mm,
        fixed_tube_mm=one.fixed_tube_mm,
        cap_radius_frac=one.cap_radius_frac,
        size_mm=sizes,
        surface_to_volume_mm=(one.surface_to_volume_min_mm, one.surface_to_volume_max_mm),
        is_default=one.is_default,
        study=keys[one.study_id],
    )


def profile_of(one: Any) -> content.ProfileFacts:
    """Return the print profile of a row."""
    return content.ProfileFacts(
        code=one.code,
        compensation=json.loads(one.compensation_text),
        **{name: getattr(one, name) for name in PROFILE_COLUMNS},
    )
