"""Substances at a site: all of the demo's set up, one meaning per name, forms never taken for the moiety."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from dosewright.ground.pure.errors import BadInput, Conflict, NotAllowed
from dosewright.roof.demo.substances import found_substances
from prescriptions import services
from prescriptions.models import DoseLimit, Substance, SubstanceName
from prescriptions.queries.facts import standing_alerts
from prescriptions.queries.naming import substance_named
from prescriptions.services import LimitFacts, OtherName, SubstanceFacts
from tests.cast import INVENTED, NOW, Cast, demo_substance, found_cast
from tests.orders import enter_signed, order_request, screened_order

FORM = OtherName(name="Hydrocortisone  Acetate", kind="form", form_frac=Decimal("0.896077"), source=INVENTED)
SYNONYM = OtherName(name="Cortisol", source=INVENTED)


@pytest.fixture
def cast(db: None) -> Cast:
    """The demo site without any substance."""
    return found_cast()


def facts(**changes: object) -> SubstanceFacts:
    usual = SubstanceFacts(
        name="demoline",
        rounding_step_mg=Decimal("0.5"),
        rounding_limit_frac=Decimal("0.1"),
        rounding_source=INVENTED,
    )
    return replace(usual, **changes)  # type: ignore[arg-type]


def test_all_substances_of_the_demo_are_set_up(cast: Cast) -> None:
    names = found_substances(cast.rosa, at=NOW)
    assert names == (
        *("fludrocortisone", "hydrocortisone", "levothyroxine", "melatonin", "methotrexate", "prednisolone"),
    )
    assert all(one.limits.exists() and one.names.exists() for one in Substance.objects.all())
    assert DoseLimit.objects.filter(source="").count() == SubstanceName.objects.filter(source="").count() == 0
    assert Substance.objects.get(name="methotrexate").weekly_only
    with pytest.raises(Conflict):
        found_substances(cast.rosa, at=NOW)
    with pytest.raises(NotAllowed):
        found_substances(cast.tomas, at=NOW)


def test_an_order_by_a_synonym_is_an_order_of_the_substance(cast: Cast) -> None:
    demo_substance(cast, name="demoline", names=(replace(SYNONYM, name="oldname"),))
    code = enter_signed(cast, order_request(substance="OLDNAME")).code
    assert code
    assert substance_named(cast.site.pk, " Oldname ").name == "demoline"


def test_an_order_by_a_form_is_refused_with_what_it_makes(cast: Cast) -> None:
    demo_substance(cast, name="demoline", names=(replace(FORM, name="demoline acetate"),))
    with pytest.raises(BadInput) as refused:
        enter_signed(cast, order_request(substance="Demoline acetate"))
    one = refused.value.refusals[0]
    assert (one.field, one.rule, one.accepted) == ("substance", "substance-form", "demoline, with the dose as demoline")
    assert "1 mg of it makes 0.896077 mg" in one.message


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({"names": (SYNONYM,)}, {"name": "cortisol"}),
        ({"name": "cortisol"}, {"names": (SYNONYM,)}),
        ({"names": (FORM,)}, {"name": "hydrocortisone acetate"}),
        ({"names": (SYNONYM,)}, {"name": "other", "names": (SYNONYM,)}),
        ({}, {}),
    ],
)
def test_a_name_means_one_thing_at_a_site(cast: Cast, first: dict[str, object], second: dict[str, object]) -> None:
    services.set_up_substance(cast.rosa, facts=facts(**first), at=NOW)
    before = (Substance.objects.count(), SubstanceName.objects.count())
    with pytest.raises(Conflict) as refused:
        services.set_up_substance(cast.rosa, facts=facts(**second), at=NOW)
    assert {one.rule for one in refused.value.refusals} == {"name-taken"}
    assert (Substance.objects.count(), SubstanceName.objects.count()) == before
    elsewhere = found_cast(suffix=".2", name="Another invented pharmacy")
    services.set_up_substance(elsewhere.rosa, facts=facts(**second), at=NOW)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"moiety_frac": Decimal(0)}, "moiety_frac"),
        ({"moiety_frac": Decimal("1.01")}, "moiety_frac"),
        ({"names": (replace(FORM, form_frac=None),)}, "names[0].form_frac"),
        ({"names": (replace(FORM, form_frac=Decimal(0)),)}, "names[0].form_frac"),
        ({"names": (replace(SYNONYM, form_frac=Decimal("0.5")),)}, "names[0].form_frac"),
        ({"names": (replace(SYNONYM, kind="brand"),)}, "names[0].form_frac"),
        ({"names": (SYNONYM, SYNONYM)}, "names[1].name"),
        ({"names": (replace(SYNONYM, name="Demoline"),)}, "names[0].name"),
        ({"names": (replace(SYNONYM, name=" "),)}, "names[0].name"),
        ({"names": (replace(SYNONYM, source=" "),)}, "names[0].source"),
        (
            {
                "limits": (
                    LimitFacts(
                        per="dose",
                        high_mg=Decimal(1),
                        source=INVENTED,
                        since=NOW.date(),
                        from_kg=Decimal(20),
                        to_kg=Decimal(20),
                    ),
                )
            },
            "limits[0].from_kg",
        ),
    ],
)
def test_figures_that_make_no_sense_are_refused(cast: Cast, changes: dict[str, object], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        services.set_up_substance(cast.rosa, facts=facts(**changes), at=NOW)
    assert [one.field for one in refused.value.refusals] == [field]
    assert not Substance.objects.exists()


def child(kg: str, cm: str, born: str) -> dict[str, object]:
    measured = {"measured_on": "2026-02-27"}
    return {
        "birth_date": born,
        "weight": {"value": kg, "unit": "kg"} | measured,
        "height": {"value": cm, "unit": "cm"} | measured,
    }


FOUR, TEN, GROWN = "2021-09-01", "2015-09-01", "1986-02-01"
DAILY = {"times": ["08:00"], "start_date": "2026-03-10", "days": 28}


@pytest.mark.parametrize(
    ("substance", "step", "patient", "expected"),
    [
        # The regimens of the issue, with the substances of the demo: honest orders block nowhere.
        ("prednisolone", {"dose": "60 mg/m2", "max_dose": "60 mg"}, child("36", "141", TEN), {}),
        ("prednisolone", {"dose": "2 mg/kg"}, child("16", "104", FOUR), {}),
        ("prednisolone", {"dose": "2 mg/kg", "max_dose": "60 mg"}, child("36", "141", TEN), {}),
        (
            "prednisolone",
            {"dose": "2 mg/kg"},
            child("36", "141", TEN),
            {"limit-dose-high": "reason", "limit-day-high": "reason"},
        ),
        ("prednisolone", {"dose": "60 mg/m2"}, child("16", "104", FOUR), {"limit-day-high": "reason"}),  # 2.5 mg/kg
        ("fludrocortisone", {"dose": "50 ug"}, child("16", "104", FOUR), {}),
        ("fludrocortisone", {"dose": "100 ug"}, child("70", "170", GROWN), {}),
        ("melatonin", {"dose": "2 mg"}, child("36", "141", TEN), {}),
        ("levothyroxine", {"dose": "75 ug"}, child("70", "170", GROWN), {}),
        # Slips of a unit and a digit.
        (
            "fludrocortisone",
            {"dose": "50 mg"},
            child("16", "104", FOUR),
            {"limit-dose-high": "block", "limit-day-high": "block"},
        ),
        (
            "levothyroxine",
            {"dose": "750 ug"},
            child("70", "170", GROWN),
            {"limit-dose-high": "block", "limit-day-high": "block"},
        ),
        (
            "prednisolone",
            {"dose": "30 ug"},
            child("70", "170", GROWN),
            {"limit-dose-low": "block", "limit-day-low": "block"},
        ),
    ],
)
def test_honest_orders_of_the_demos_substances_pass_and_slips_do_not(
    cast: Cast, substance: str, step: dict[str, object], patient: dict[str, object], expected: dict[str, str]
) -> None:
    found_substances(cast.rosa, at=NOW)
    regimen = {"steps": [DAILY | step]}
    code = screened_order(cast, order_request(substance=substance, regimen=regimen, patient=patient))
    found = {one.rule: one.severity for one in standing_alerts(code) if one.severity != "inform"}
    assert found == expected
