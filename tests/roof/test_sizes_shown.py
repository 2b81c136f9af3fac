"""Pages show a unit to scale and dose against size, as pictures that are told in words and in a table beside."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from django.test import Client

from dosewright.ground.models import User
from dosewright.roof.pages.dose_plot import between, dose_plot, mass, ticks
from dosewright.roof.pages.unit_drawing import unit_drawing
from printing.formulary.curves import dose_curve
from printing.formulary.queries import formulation_facts
from printing.plates.queries import sizes_of_order
from tests.cast import Cast, found_cast, validated_formulation, with_hydrocortisone
from tests.core.dose.test_shapes import DRAWN
from tests.orders import enter_signed, order_request, work_off

INLINE = re.compile(r"<style|\sstyle\s*=|<script|\son[a-z]+\s*=", re.IGNORECASE)


@pytest.fixture
def cast(db: None) -> Cast:
    """The demo site with a validated formulation of hydrocortisone."""
    cast = found_cast()
    with_hydrocortisone(cast)
    return cast


def seen_by(username: str, address: str) -> str:
    """Return a page as this person sees it."""
    client = Client()
    client.force_login(User.objects.get(username=username), backend="dosewright.roof.api.sign_in.People")
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_formulation_shows_each_range_to_scale_with_its_table(cast: Cast) -> None:
    code = validated_formulation(cast)
    facts = formulation_facts(cast.site.pk, code)
    body = seen_by("nora.stein", f"/formulation/{code}")
    assert not INLINE.search(body)
    assert body.count('class="dose-plot"') == len(facts.ranges) == 2
    assert body.count('class="unit-true"') == body.count('class="unit-large"') == 2 * len(facts.ranges)
    for name in re.findall(r'aria-labelledby="(\S+)-title \S+-desc"', body):
        assert body.count(f'id="{name}-title"') == body.count(f'id="{name}-desc"') == 1
    curve = dose_curve(facts, facts.ranges[0])
    assert curve is not None
    plot = dose_plot(curve, name="again")
    assert plot is not None
    for row in plot.rows:
        assert all(cell in body for cell in row)


def test_an_order_shows_each_line_to_scale_and_where_it_stands_in_the_range(cast: Cast) -> None:
    code = validated_formulation(cast)
    order = enter_signed(cast, order_request("3 mg", "10 mg", "1.75 mg")).code
    work_off("tasks")
    sizes = sizes_of_order(order)
    assert [(one.dose_mg, int(one.size["units_per_dose"]), one.resin_lot) for one in sizes] == [
        (Decimal(3), 1, ""),
        (Decimal(10), 2, ""),
        (Decimal("1.75"), 1, ""),
    ]
    body = seen_by("rosa.keller", f"/order/{order}")
    assert not INLINE.search(body)
    assert body.count('class="unit-true"') == body.count('class="dose-ordered"') == 3
    assert "10 mg as 2 equal units of 5 mg" in body
    assert f'<a href="/formulation/{code}" aria-label="Unit of line' in body
    assert "provisional, at nominal strength" in body
    finished = float(sizes[0].size["unit"]["finished_mm"]["diameter"])
    assert f"{round(finished, 2):g} mm" in body


@pytest.mark.parametrize(("shape", "orientation"), list(DRAWN))
def test_a_unit_is_drawn_as_large_as_it_is(shape: str, orientation: str) -> None:
    drawn = DRAWN[shape, orientation]
    drawing = unit_drawing(shape, drawn, drawn, name="x", what="A unit")
    width, height = (float(one) for one in re.findall(r'(?:width|height)="([\d.]+)mm"', str(drawing.true_size)))
    assert f'viewBox="0 0 {width:g} {height:g}"' in drawing.true_size  # one unit of the drawing is one millimetre
    places = [complex(*map(float, one)) for one in re.findall(r"[ML]([\d.]+) ([\d.]+)", _first_path(drawing.true_size))]
    across = max(one.real for one in places) - min(one.real for one in places)
    assert across == pytest.approx(drawn["diameter"], abs=2e-3)
    assert all(0 < one.real < width and 0 < one.imag < height for one in places)
    assert "h10M" in drawing.true_size  # the bar of 10 mm
    assert not INLINE.search(str(drawing.true_size) + str(drawing.enlarged))
    large = [complex(*map(float, one)) for one in re.findall(r"[ML]([\d.]+) ([\d.]+)", _first_path(drawing.enlarged))]
    assert max(one.real for one in large) - min(one.real for one in large) == pytest.approx(
        drawing.factor * across, rel=1e-2
    )


def _first_path(drawing: str) -> str:
    found = re.search(r'<path class="unit-body"[^>]* d="([^"Z]+Z)', drawing)
    assert found is not None
    return found.group(1)


def test_ticks_and_masses_are_round_and_readable() -> None:
    assert ticks(0.4, 6.6) == [2.0, 4.0, 6.0]
    assert ticks(8.0, 132.0) == [50.0, 100.0]
    assert mass(0.05) == "50 micrograms"
    assert mass(2.5) == "2.5 mg"


def test_the_ordered_dose_is_marked_on_the_line(cast: Cast) -> None:
    facts = formulation_facts(cast.site.pk, validated_formulation(cast))
    curve = dose_curve(facts, facts.ranges[0])
    assert curve is not None
    assert [one.studied for one in curve.points].count(False) == 2
    low, high = curve.points[3], curve.points[4]
    middle = between(curve.points, (low.dose_mg + high.dose_mg) / 2, "diameter")
    assert low.finished_mm["diameter"] < middle < high.finished_mm["diameter"]
    plot = dose_plot(curve, name="x", ordered_mg=3.0)
    assert plot is not None
    assert plot.drawing.count("dose-dot") == len(curve.lengths) == 2
    assert "The ordered dose takes 3 mg in one unit." in plot.drawing
