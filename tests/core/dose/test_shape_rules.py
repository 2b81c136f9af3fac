"""The rules and checks that came with the shapes: steps of one layer, kept tubes, holes, small units counted apart."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from printing.core.dose.limits import Against, Patient, SiteLimits, ValidatedRange
from printing.core.dose.meshes import disc_mesh
from printing.core.dose.model import content_mg, measure_mesh
from printing.core.dose.shapes import Design
from printing.core.dose.sizing import DoseNotPossible, SizeRequest, size_dose, units_to_try
from printing.core.dose.tolerance import age_band_check, deviation_check, mini_units_check, swollen_hole_check
from printing.core.dose.unit import size_unit, sketch_unit
from tests.core.dose.shape_cases import design_of, terms_of
from tests.core.dose.standing import AGAINST, TERMS

WIDE = {"diameter": (0.5, 20.0), "height": (0.5, 20.0), "tube": (1.0, 5.0), "hole": (0.1, 20.0), "band": (0.1, 9.0)}
WIDE |= {"length": (1.0, 30.0), "width": (0.5, 20.0), "thickness": (0.5, 20.0)}


def _against(design: Design, low: str, high: str, **changes) -> Against:
    validated = ValidatedRange(
        shape=design.shape,
        rule=design.rule,
        orientation=design.orientation,
        mount=design.mount,
        layer_um=(design.layer_um,),
        dose_mg=(Decimal(low), Decimal(high)),
        size_mm=WIDE,
        surface_to_volume_mm=(0.1, 10.0),
    )
    return replace(AGAINST, validated=validated, **changes)


def _asked(dose: str, design: Design, low: str, high: str, terms=TERMS, **changes) -> SizeRequest:
    against = _against(design, low, high, **changes)
    return SizeRequest(dose_mg=Decimal(dose), design=design, terms=terms, against=against)


SECTION = replace(design_of("disc", "flat", "fixed_section", layer_um=100), fixed_section_mm=4.5)
"""100 um layers: at 20 to 25 of them one layer is 4 to 5 % of the dose, so that not every dose can be met."""


def _layers_mg(layers: int) -> float:
    """The content of a disc of so many layers at the kept section."""
    mesh = disc_mesh(4.5 / 2, layers / 10)
    return content_mg(TERMS, measure_mesh(mesh, 100, "necks"))


def test_fixed_section_takes_the_nearest_layer():
    exact = _layers_mg(30)
    unit = size_unit(exact * 1.012, SECTION, TERMS)
    assert (unit.layers, unit.drawn_mm) == (30, {"diameter": 4.5, "height": 3.0})
    assert unit.content_mg == pytest.approx(exact, rel=1e-6)
    assert size_unit(exact * 1.025, SECTION, TERMS).layers == 31
    sized = size_dose(_asked(f"{exact * 1.012:.5f}", SECTION, "0.4", "4"))
    assert sized.deviation_frac == pytest.approx(1 / 1.012 - 1, rel=1e-3)


@pytest.mark.parametrize(("narrow", "limit"), [(False, 0.02), (True, 0.005)])
def test_fixed_section_has_its_own_limit_but_for_a_narrow_index(narrow, limit):
    against = replace(AGAINST, narrow_index=narrow)
    for sign in (-1, 1):
        assert deviation_check(sign * limit, against, "fixed_section").verdict == "pass"
        assert deviation_check(sign * (limit + 1e-9), against, "fixed_section").verdict == "block"
    assert deviation_check(0.0101, against, "fixed_height").verdict == "block"


def test_a_dose_between_two_layers_is_refused_with_the_doses_either_side():
    lower, upper = _layers_mg(20), _layers_mg(21)
    between = (lower + upper) / 2
    assert (upper - lower) / 2 / between > 0.02  # half a layer is more than 2 % here
    asked = _asked(f"{between:.4f}", SECTION, "0.4", "4")
    with pytest.raises(DoseNotPossible) as refused:
        size_dose(asked)
    assert [one.field for one in refused.value.refusals] == ["deviation of the predicted dose"]
    nearest = refused.value.nearest
    assert float(nearest.below) == pytest.approx(lower, rel=5e-3)
    assert float(nearest.above) == pytest.approx(upper, rel=5e-3)
    assert nearest.below < asked.dose_mg < nearest.above
    for offered in (nearest.below, nearest.above):
        assert abs(size_dose(replace(asked, dose_mg=offered)).deviation_frac) <= 0.02


def test_fixed_tube_keeps_surface_to_volume_for_every_dose():
    design = design_of("ring", "flat", "fixed_tube")
    ratios = [sketch_unit(dose, design, TERMS).surface_to_volume_mm for dose in (2.0, 3.0, 5.0)]
    assert ratios == pytest.approx([4 / 2.5] * 3, rel=1e-12)
    written = [size_unit(dose, design, TERMS).surface_to_volume_mm for dose in (2.0, 5.0)]
    assert written[0] == pytest.approx(written[1], rel=1e-3)
    by_size = [
        sketch_unit(dose, design_of("ring", "flat", "uniform"), TERMS).surface_to_volume_mm for dose in (2.0, 5.0)
    ]
    assert by_size[0] / by_size[1] > 1.3  # (5/2)^(1/3), science reference 6.1


def test_two_to_four_rings_carry_what_one_cannot():
    design = design_of("ring", "flat", "fixed_tube")
    units = {dose: size_dose(_asked(dose, design, "2", "3.5")).units_per_dose for dose in ("3.5", "7", "14")}
    assert units == {"3.5": 1, "7": 2, "14": 4}
    with pytest.raises(DoseNotPossible) as refused:
        size_dose(_asked("3.75", design, "2", "3.5"))
    assert refused.value.nearest.as_dict() == {"below": "3.5", "above": "4"}


@pytest.mark.parametrize(("hole", "verdict"), [(0.63, "pass"), (0.62, "block")])
def test_swelling_must_leave_a_ring_its_hole(hole, verdict):
    # A tube of 2.5 mm that swells by 5 % takes 0.125 mm of the hole; 0.5 mm must be left (site).
    assert swollen_hole_check(hole, 2.5, 0.05, SiteLimits()).verdict == verdict


def test_a_ring_whose_hole_closes_is_blocked():
    design = design_of("ring", "flat", "fixed_tube")
    asked = _asked("2", design, "1.8", "3.5")
    assert "hole left when swollen" in {one.name for one in size_dose(asked).checks}
    soft = replace(asked, against=replace(asked.against, swelling_frac=0.4))
    with pytest.raises(DoseNotPossible) as refused:
        size_dose(soft)
    assert "hole left when swollen" in {one.field for one in refused.value.refusals}
    assert refused.value.nearest.above > 2


def test_a_hole_and_a_band_are_features_not_least_dimensions():
    design = replace(design_of("biconvex", "flat", "fixed_height"), fixed_height_mm=3.0)
    asked = _asked("2.5", design, "1", "5")
    checks = {one.name: one for one in size_dose(asked).checks}
    unit = size_dose(asked).unit
    assert checks["least dimension"].value == min(unit.finished_mm["diameter"], unit.finished_mm["height"])
    assert checks["smallest feature against the laser spot"].value == unit.finished_mm["band"] < 1.5
    coarse = replace(asked, against=replace(asked.against, spot_mm=unit.finished_mm["band"] / 3 + 1e-6))
    with pytest.raises(DoseNotPossible) as refused:
        size_dose(replace(coarse, units_per_dose=1))
    assert [one.field for one in refused.value.refusals] == ["smallest feature against the laser spot"]


def test_long_shapes_are_held_against_the_limits_of_long_ones():
    design = design_of("capsule-shaped", "lying", "fixed_height")
    lying = replace(_asked("12", design, "1", "20", terms=terms_of("lying")), units_per_dose=1)
    (swollen,) = (one for one in size_dose(lying).checks if one.name == "largest swollen dimension")
    assert swollen.value > 9.0
    assert (swollen.limit, swollen.verdict) == (17.0, "reason" if swollen.value > 17.0 else "pass")


MINI = design_of("mini-units", "flat", "uniform")


@pytest.mark.parametrize(
    ("dose", "tried"),
    [("0.3", range(1, 2)), ("0.5", range(1, 2)), ("0.6", range(2, 3)), ("2", range(4, 7)), ("5", range(10, 17))],
)
def test_mini_units_are_as_many_as_bring_each_into_the_range(dose, tried):
    assert units_to_try(_asked(dose, MINI, "0.3", "0.5")) == tried


def test_mini_units_are_counted_apart_from_the_few_of_a_dose():
    sized = size_dose(_asked("5", MINI, "0.3", "0.5"))
    assert sized.units_per_dose == 10
    assert {one.name for one in sized.checks} >= {"mini-units per dose", "largest dimension of a mini-unit"}
    assert "units per dose" not in {one.name for one in sized.checks}
    assert sized.predicted_mg == pytest.approx(5.0, rel=1e-8)
    child = _asked("5", MINI, "0.3", "0.5", patient=Patient(age_years=4.0))
    assert size_dose(child).units_per_dose == 10


def test_a_number_of_units_that_does_not_divide_the_dose_exactly_is_passed_over():
    sized = size_dose(_asked("6.4", MINI, "0.3", "0.5"))  # 13 of 0.4923... mg have no strength that a label can print
    assert sized.units_per_dose == 16
    with pytest.raises(DoseNotPossible) as refused:
        size_dose(_asked("6.4", MINI, "0.45", "0.5"))  # 13 and 14 are all there is
    (one,) = refused.value.refusals
    assert (one.field, one.value) == ("units per dose", "13")
    assert "no exact part" in one.message
    below, above = refused.value.nearest.below, refused.value.nearest.above
    assert below < Decimal("6.4") < above
    for offered in (below, above):
        assert size_dose(_asked(str(offered), MINI, "0.45", "0.5")).predicted_mg == pytest.approx(
            float(offered), rel=1e-8
        )


def test_mini_units_are_refused_below_between_and_above_their_counts():
    def nearest(dose: str) -> dict[str, str | None]:
        with pytest.raises(DoseNotPossible) as refused:
            size_dose(_asked(dose, MINI, "0.4", "0.5"))
        return refused.value.nearest.as_dict()

    assert nearest("0.2") == {"below": None, "above": "0.4"}
    assert nearest("0.6") == {"below": "0.5", "above": "0.8"}
    assert nearest("11") == {"below": "10", "above": None}


@pytest.mark.parametrize(("units", "verdict"), [(10, "pass"), (11, "reason"), (20, "reason"), (21, "block")])
def test_how_many_mini_units(units, verdict):
    assert mini_units_check(units, SiteLimits()).verdict == verdict


def test_a_mini_unit_is_no_larger_than_one():
    asked = replace(_asked("2", MINI, "0.3", "2.5"), units_per_dose=1)
    with pytest.raises(DoseNotPossible) as refused:
        size_dose(asked)
    (one,) = refused.value.refusals
    assert (one.field, one.limit) == ("largest dimension of a mini-unit", "4.0")


@pytest.mark.parametrize(("mini", "says"), [(True, "mini-units"), (False, "no solid")])
def test_under_two_years_only_mini_units_with_a_reason(mini, says):
    check = age_band_check(2.5, 1.5, mini=mini)
    assert check is not None
    assert (check.verdict, says in check.note) == ("reason", True)


@pytest.mark.parametrize(
    ("shape", "orientation", "footprint"),
    [
        ("ring", "flat", "round"),
        ("capsule-shaped", "lying", "stadium"),
        ("capsule-shaped", "standing", "round"),
        ("spheroid", "lying", "stadium"),
        ("biconvex", "upright", "rectangle"),
        ("disc", "upright", "rectangle"),
    ],
)
def test_a_unit_keeps_within_its_footprint(shape, orientation, footprint):
    unit = size_unit(4.0, design_of(shape, orientation, "uniform"), terms_of(orientation))
    assert unit.footprint == footprint
    wide, deep = unit.footprint_um
    assert footprint != "round" or wide == deep
    x, y = abs(unit.mesh.vertices_mm[:, 0]) * 1000, abs(unit.mesh.vertices_mm[:, 1]) * 1000
    assert 2 * x.max() <= wide + 1
    assert 2 * y.max() <= deep + 1
    if footprint == "stadium":  # half circles of the depth at both ends hold an ellipse as well as a capsule shape
        beyond = (x - (wide - deep) / 2).clip(min=0)
        assert ((beyond**2 + y**2) ** 0.5).max() <= deep / 2 + 1
    assert unit.facing_raft_mm2 >= float(unit.sections.area_mm2[0])
    assert unit.held_run_mm == pytest.approx(
        {"ring": 3.1416 * 0.7 * unit.drawn_mm.get("diameter", 0), "lying": unit.drawn_mm.get("length", 0)}.get(
            orientation if orientation == "lying" else shape, 0.0
        ),
        rel=0.02,
    )
