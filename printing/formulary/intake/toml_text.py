"""A formulation as TOML text, read strictly: unknown, missing and doubtful values are refused together."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from decimal import Decimal

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from printing.formulary import content
from printing.formulary.intake.tables import Table

MOST_BYTES = 200_000
ORIENTATIONS = ("flat", "upright", "lying", "standing")
MOUNTS = ("sheet", "necks")
INGREDIENT_ROLES = ("drug", "monomer", "reactive diluent", "inert diluent", "photoinitiator", "absorber", "stabiliser")
RELEASES = ("immediate", "prolonged")


def read_formulation(text: str) -> content.FormulationSpec:
    """Return the formulation that `text` (TOML 1.0) describes.

    Raises BadInput naming every place that is wrong; nothing is filled in by guess.
    """
    if len(text.encode("utf-8", "surrogatepass")) > MOST_BYTES:
        raise BadInput.because("formulation", "the text is too long", limit=str(MOST_BYTES), unit="bytes")
    try:
        raw = tomllib.loads(text, parse_float=_decimal)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise BadInput.because("formulation", "is not TOML", value=str(error)[:80], accepted="TOML 1.0") from None
    refusals: list[Refusal] = []
    root = Table(raw, "", refusals)
    spec = _formulation(root)
    root.end()
    refuse_if_any(BadInput, refusals)
    return spec


def _decimal(text: str) -> Decimal:
    """TOML knows nan and inf; they become decimals here and are refused where a number is read."""
    return Decimal(text.replace("_", ""))


def _formulation(root: Table) -> content.FormulationSpec:
    return content.FormulationSpec(
        name=root.text("name", most=120),
        is_invented=root.flag("invented"),
        substance=root.text("substance", most=80),
        release=root.text("release", choices=RELEASES),
        form_name=root.text("form_name", most=60),
        form_name_plural=root.text("form_name_plural", most=60),
        nominal_strength_mg_g=root.number("nominal_strength_mg_g", high="999", open_low=True),
        u_nominal_strength_frac=root.number("u_nominal_strength_frac", high="0.1", open_low=True),
        resin_density_g_cm3=root.number("resin_density_g_cm3", low="0.5", high="3"),
        lot_life_days=root.count("lot_life_days", low=1, high=3650),
        tank_life_hours=root.maybe_count("tank_life_hours", low=1, high=2400),
        shelf_life_days=root.maybe_count("shelf_life_days", low=1, high=3650),
        storage=root.text("storage", most=120),
        container=root.text("container", most=120),
        warnings=root.texts("warnings"),
        recipe=root.tables("recipe", _recipe_line),
        studies=root.tables("studies", _study),
        terms=root.tables("terms", _terms),
        ranges=root.tables("ranges", _range),
        finishing=root.tables("finishing", _step),
        profiles=root.tables("profiles", _profile),
        test_plan=_test_plan(root),
        residues=root.tables("residues", _residue),
    )


def _recipe_line(row: Table, number: int) -> content.RecipeLine:
    mass_frac = row.number("mass_frac", high="1", open_low=True)
    inner = row.table("ingredient")
    ingredient = _ingredient(inner)
    inner.end()
    return content.RecipeLine(number=number, mass_frac=mass_frac, ingredient=ingredient)


def _ingredient(inner: Table) -> content.IngredientFacts:
    role = inner.text("role", choices=INGREDIENT_ROLES)
    premix = inner.tables("premix", _recipe_line)
    is_drug = role == content.DRUG and not premix
    return content.IngredientFacts(
        name=inner.text("name", most=120),
        grade=inner.text("grade", most=60),
        role=role,
        form=inner.text("form", most=60),
        density_g_cm3=inner.number("density_g_cm3", low="0.3", high="20"),
        density_temperature_c=inner.number("density_temperature_c", low="-50", high="150"),
        source=inner.text("source"),
        molar_mass_g_mol=inner.maybe_number("molar_mass_g_mol", high="100000", open_low=True),
        moiety_molar_mass_g_mol=inner.maybe_number("moiety_molar_mass_g_mol", high="100000", open_low=True),
        moieties_per_formula=inner.maybe_count("moieties_per_formula", low=1, high=12, needed=is_drug) or 1,
        crystal_waters=inner.maybe_count("crystal_waters", high=24, needed=is_drug) or 0,
        hazards=inner.texts("hazards", needed=False),
        premix=premix,
        premix_life_days=inner.maybe_count("premix_life_days", low=1, high=3650, needed=bool(premix)),
    )


def _study(row: Table, number: int) -> content.StudyFacts:
    return content.StudyFacts(
        key=row.text("key", most=40),
        kind=row.text("kind", most=40),
        title=row.text("title"),
        result=row.facts("result"),
    )


def _terms(row: Table, number: int) -> content.TermsFacts:
    lengths = {
        name: row.number(name, low=low, high="1")
        for name, low in (
            ("bleed_mm", "-1"),
            ("u_bleed_mm", "0"),
            ("overcure_mm", "0"),
            ("u_overcure_mm", "0"),
            ("leached_mm", "0"),
            ("u_leached_mm", "0"),
            ("outline_scatter_mm", "0"),
            ("height_scatter_mm", "0"),
        )
    }
    return content.TermsFacts(
        orientation=row.text("orientation", choices=ORIENTATIONS),
        mount=row.text("mount", choices=MOUNTS),
        transfer_factor=row.maybe_number("transfer_factor", high="10", open_low=True),
        u_transfer_factor=row.maybe_number("u_transfer_factor", high="1", open_low=True),
        density_mg_mm3=row.number("density_mg_mm3", high="25", open_low=True),
        u_density_mg_mm3=row.number("u_density_mg_mm3", high="5", open_low=True),
        bound_frac=row.number("bound_frac", high="0.99"),
        u_bound_frac=row.number("u_bound_frac", high="0.5"),
        degrees_of_freedom=row.count("degrees_of_freedom", low=1, high=100_000),
        strength_scatter_frac=row.number("strength_scatter_frac", high="0.5"),
        swelling_frac=row.number("swelling_frac", high="5"),
        study=row.text("study", most=40),
        **lengths,
    )


def _range(row: Table, number: int) -> content.RangeFacts:
    low, high = row.pair("dose_mg")
    return content.RangeFacts(
        number=number,
        shape=row.text("shape", most=20),
        rule=row.text("rule", most=20),
        orientation=row.text("orientation", choices=ORIENTATIONS),
        mount=row.text("mount", choices=MOUNTS),
        dose_min_mg=low,
        dose_max_mg=high,
        layer_um=row.counts("layer_um"),
        aspect_frac=row.maybe_number("aspect_frac", high="10", open_low=True),
        fixed_height_mm=row.maybe_number("fixed_height_mm", high="50", open_low=True),
        fixed_section_mm=row.maybe_number("fixed_section_mm", high="50", open_low=True),
        fixed_tube_mm=row.maybe_number("fixed_tube_mm", high="25", open_low=True),
        cap_radius_frac=row.maybe_number("cap_radius_frac", low="0.5", high="50", open_low=True),
        size_mm=_lengths(row.table("size_mm")),
        surface_to_volume_mm=row.pair("surface_to_volume_mm"),
        is_default=row.flag("default"),
        study=row.text("study", most=40),
    )


def _lengths(inner: Table) -> Mapping[str, tuple[Decimal, Decimal]]:
    return {name: inner.pair(name) for name in inner.names()}


def _step(row: Table, number: int) -> content.FinishFacts:
    return content.FinishFacts(
        number=number,
        kind=row.text("kind", choices=("wash", "dry", "cure")),
        least_s=row.count("least_s"),
        most_s=row.count("most_s"),
        conditions=row.facts("conditions"),
    )


def _profile(row: Table, number: int) -> content.ProfileFacts:
    return content.ProfileFacts(
        printer_kind=row.text("printer_kind", most=60),
        name=row.text("name", most=60),
        profile_version=row.text("profile_version", most=20),
        sha256=_sha256(row),
        layer_um=row.count("layer_um", low=1, high=1000),
        spot_um=row.count("spot_um", low=1, high=5000),
        compensation=row.facts("compensation"),
        setup_s=row.number("setup_s"),
        layer_s=row.number("layer_s", open_low=True),
        hatch_um=row.count("hatch_um", low=1, high=5000),
        scan_mm_s=row.number("scan_mm_s", open_low=True),
        contour_mm_s=row.number("contour_mm_s", open_low=True),
        contours=row.count("contours", high=20),
    )


def _sha256(row: Table) -> str:
    value = row.text("sha256", most=64)
    if len(value) != 64 or set(value) - set("0123456789abcdef"):
        row.refuse("sha256", "is no SHA-256", accepted="64 digits of 0-9 a-f", value=value)
    return value


def _test_plan(root: Table) -> content.TestPlan:
    if "test_plan" not in root.names():
        return content.TestPlan()
    row = root.table("test_plan")
    plan = content.TestPlan(
        zones=row.tables("zones", _test_zone),
        before_use=row.tables("before_use", _lot_test),
        homogeneity_frac=row.maybe_number("homogeneity_frac", high="0.2", open_low=True),
    )
    row.end()
    return plan


def _test_zone(row: Table, number: int) -> content.TestZone:
    return content.TestZone(
        which=row.text("which", choices=("smallest", "largest")),
        where=row.text("where", choices=("corner", "centre", "opposite corner")),
        units=row.count("units", low=1, high=100),
    )


def _lot_test(row: Table, number: int) -> content.LotTestRule:
    kind = row.text("kind", choices=("identity", "assay", "appearance", "cure strip"))
    rule = content.LotTestRule(
        kind=kind,
        places=row.texts("places", most=20, needed=kind == "assay") or ("",),
        accepted=row.texts("accepted", needed=kind in ("identity", "appearance")),
        unit=row.text("unit", most=20, needed=kind in ("assay", "cure strip")),
        low=row.maybe_number("low", needed=kind == "cure strip"),
        high=row.maybe_number("high", needed=kind == "cure strip"),
    )
    if rule.low is not None and rule.high is not None and rule.low > rule.high:
        row.refuse("low", "is over the high limit", accepted="low <= high", value=rule.low)
    return rule


def _residue(row: Table, number: int) -> content.ResidueFacts:
    return content.ResidueFacts(
        residue=row.text("residue", most=60),
        content_frac=row.number("content_frac", high="1"),
        source=row.text("source"),
        study=row.text("study", most=40),
        limit_mg_day=row.maybe_number("limit_mg_day", open_low=True),
        limit_mg_kg_day=row.maybe_number("limit_mg_kg_day", open_low=True),
    )
