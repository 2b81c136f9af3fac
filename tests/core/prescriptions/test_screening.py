"""Every other rule of the screen "patient", just under, at and just over; silence where nothing is wrong."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from prescriptions.calendar import Administration
from prescriptions.findings import Severity
from prescriptions.screen_facts import Allergies, AllergyEntry, EarlierOrder, SiteRules
from prescriptions.screening import screen
from tests.core.prescriptions.builders import START
from tests.core.prescriptions.screened import (
    LIMITS,
    born,
    doses_of,
    facts,
    only,
)


def test_the_usual_order_raises_no_alert() -> None:
    assert screen(facts()) == ()


def test_an_order_without_doses_is_not_screened() -> None:
    with pytest.raises(ValueError, match="without administrations"):
        screen(facts(administrations=()))


@pytest.mark.parametrize(
    ("swallowing", "severity"),
    [
        ("solids", None),
        ("mini-units only", None),  # what is made is held against it: tests of the made form
        ("no solids", "block"),
        ("not assessed", "reason"),
        ("something else", "block"),
    ],
)
def test_swallowing(swallowing: str, severity: str | None) -> None:
    found = screen(facts(patient={"swallowing": swallowing}))
    assert [(one.rule, one.severity) for one in found] == ([("swallowing", severity)] if severity else [])


@pytest.mark.parametrize(("name", "rule"), [("feeding_tube", "feeding-tube"), ("stricture", "stricture")])
@pytest.mark.parametrize(("said", "severity"), [(True, "block"), (False, None), (None, "inform")])
def test_tube_and_stricture(name: str, rule: str, said: bool | None, severity: str | None) -> None:
    found = screen(facts(patient={name: said}))
    assert [(one.rule, one.severity, one.field) for one in found] == (
        [(rule, severity, f"patient.{name}")] if severity else []
    )


def listed(*entries: AllergyEntry) -> dict[str, Any]:
    return {"allergies": Allergies(status="listed", entries=entries)}


@pytest.mark.parametrize(
    ("patient", "expected"),
    [
        ({"allergies": Allergies(status="none")}, None),
        ({"allergies": Allergies(status="not recorded")}, ("allergies-not-recorded", "reason")),
        ({"allergies": Allergies(status="listed")}, ("allergies-contradict", "block")),
        (
            {"allergies": Allergies(status="none", entries=(AllergyEntry(text="nuts"),))},
            ("allergies-contradict", "block"),
        ),
        (listed(AllergyEntry(text="rash", substance="Hydrocortisone")), ("allergy-match", "block")),
        (listed(AllergyEntry(text="HYDROCORTISONE  cream")), ("allergy-match", "block")),
        (listed(AllergyEntry(text="cortisol")), ("allergy-match", "block")),
        (listed(AllergyEntry(text="cortisone")), ("allergy-match", "block")),
        (listed(AllergyEntry(text="hyd")), ("allergy-unmatched", "reason")),
        (listed(AllergyEntry(text="corticosteroids")), ("allergy-unmatched", "reason")),
        (listed(AllergyEntry(text="hidrocortizon tablets")), ("allergy-unmatched", "reason")),
        (listed(AllergyEntry(text="yellow thing from the sea")), ("allergy-unmatched", "reason")),
        (listed(AllergyEntry(text="rash", substance="penicillin")), None),
    ],
)
def test_allergies(patient: dict[str, Any], expected: tuple[str, str] | None) -> None:
    found = screen(facts(patient=patient))
    assert [(one.rule, one.severity) for one in found] == ([expected] if expected else [])


def test_a_misspelt_allergy_names_what_it_is_spelt_like() -> None:
    found = only(screen(facts(patient=listed(AllergyEntry(text="hidrocortizon tablets")))))
    assert found.message.endswith("it is spelt like hydrocortisone")


def test_every_entry_is_looked_at() -> None:
    entries = (AllergyEntry(text="first thing"), AllergyEntry(text="second thing"))
    assert [one.value for one in screen(facts(patient=listed(*entries)))] == ["first thing", "second thing"]


@pytest.mark.parametrize(
    ("possible", "sex", "years", "hazardous", "severity"),
    [
        (True, "female", 30, True, "block"),
        (True, "male", 30, True, "block"),
        (True, "female", 30, False, "inform"),
        (False, "female", 30, True, None),
        (None, "female", 30, True, "reason"),
        (None, "unknown", 30, True, "reason"),
        (None, "female", 10, True, "reason"),
        (None, "female", 9, True, None),
        (None, "female", 55, True, "reason"),
        (None, "female", 56, True, None),
        (None, "male", 30, True, None),
        (None, "female", 30, False, None),
    ],
)
def test_pregnancy(possible: bool | None, sex: str, years: int, hazardous: bool, severity: str | None) -> None:
    found = screen(
        facts(
            patient={
                "birth_date": born(12 * years),
                "sex": sex,
                "pregnancy_possible": possible,
                "weight_kg": Decimal(45),
            },
            substance={"hazardous": hazardous},
            site=SiteRules(hazardous_on=True),
        )
    )
    about = [(one.rule, one.severity) for one in found if one.rule == "pregnancy"]
    assert about == ([("pregnancy", severity)] if severity else [])


ONE_DOSE = doses_of("3 mg", days=1)


@pytest.mark.parametrize(
    ("given_mg", "others", "severity", "value"),
    [
        (doses_of("3 mg", days=28, every_n_days=7), {}, None, ""),
        (doses_of("3 mg", days=28, every_n_days=6), {}, "block", "6"),
        (doses_of("3 mg", days=28, every_n_days=8), {}, "block", "8"),
        (doses_of("3 mg", days=28, every_n_days=14), {}, "reason", "14"),
        (doses_of("3 mg", days=28), {}, "block", "1"),
        (doses_of("3 mg", days=28, weekdays=(1,)), {}, None, ""),
        (doses_of("3 mg", days=28, weekdays=(1, 4)), {}, "block", "3"),
        (ONE_DOSE, {}, None, ""),
        (doses_of("3 mg", "07:00", "19:00", days=1), {}, "block", "0"),
        (ONE_DOSE, {START: Decimal(1)}, "block", "0"),
        (ONE_DOSE, {START - timedelta(days=6): Decimal(1)}, "block", "6"),
        (ONE_DOSE, {START + timedelta(days=6): Decimal(1)}, "block", "6"),
        (ONE_DOSE, {START + timedelta(days=7): Decimal(1)}, None, ""),
        (ONE_DOSE, {START + timedelta(days=8): Decimal(1)}, None, ""),
        ((replace(ONE_DOSE[0], at=1),), {}, "block", "as needed"),
    ],
)
def test_weekly_only(
    given_mg: tuple[Administration, ...], others: dict[date, Decimal], severity: str | None, value: str
) -> None:
    found = screen(facts(administrations=given_mg, other_daily_mg=others, substance={"weekly_only": True}))
    weekly = [(one.severity, one.value, one.limit) for one in found if one.rule == "weekly-only"]
    assert weekly == ([(severity, value, "7")] if severity else [])
    free = screen(facts(administrations=given_mg, other_daily_mg=others))
    assert "weekly-only" not in {one.rule for one in free}


@pytest.mark.parametrize(
    ("before_mg", "now", "says"),
    [
        ("0.5", "5 mg", "about 10 times what"),
        ("0.62", "5 mg", "about 10 times what"),  # 8.06 times
        ("0.63", "5 mg", None),  # 7.9 times
        ("0.42", "5 mg", "about 10 times what"),  # 11.9 times
        ("0.41", "5 mg", None),  # 12.2 times
        ("5", "5 mg", None),
        ("50", "5 mg", "about a 10th of what"),
        ("500", "5 mg", "about a 100th of what"),
        ("0.005", "5 mg", "about 1000 times what"),
    ],
)
def test_a_slip_inside_the_limits_shows_against_the_order_before(before_mg: str, now: str, says: str | None) -> None:
    earlier = EarlierOrder(order="RX-0", highest_daily_mg=Decimal(before_mg))
    found = screen(facts(administrations=doses_of(now), earlier=earlier))
    if says is None:
        assert found == ()
        return
    one = only(found)
    assert (one.rule, one.severity, one.value, one.limit) == ("slip-against-earlier", "reason", "5", before_mg)
    assert says in one.message
    assert "RX-0" in one.message


def test_a_name_that_is_mistaken_for_another_informs() -> None:
    one = only(screen(facts(substance={"look_alikes": ("fludrocortisone",)})))
    assert (one.rule, one.severity, one.value) == ("look-alike-substance", "inform", "fludrocortisone")


@pytest.mark.parametrize("flag", ["controlled", "hazardous"])
def test_controlled_and_hazardous_wait_for_the_sites_switch(flag: str) -> None:
    one = only(screen(facts(patient={"sex": "male"}, substance={flag: True})))
    assert (one.rule, one.severity) == (f"{flag}-off", "block")
    switched = SiteRules(**{f"{flag}_on": True})
    assert screen(facts(patient={"sex": "male"}, substance={flag: True}, site=switched)) == ()


def test_narrow_index_informs() -> None:
    assert only(screen(facts(substance={"narrow_index": True}))).severity == "inform"


def test_another_route_blocks() -> None:
    limits = tuple(replace(limit, route="rectal") for limit in LIMITS)
    assert only(screen(facts(route="rectal", substance={"limits": limits}))).rule == "route"


def test_other_active_orders_are_named() -> None:
    found = screen(facts(other_orders=("RX-1", "RX-2")))
    assert [(one.rule, one.severity, one.value) for one in found] == [
        ("duplicate-order", "reason", "RX-1"),
        ("duplicate-order", "reason", "RX-2"),
    ]


def test_blocking_alerts_come_first_and_all_say_their_source() -> None:
    found = screen(
        facts(
            patient={"allergies": Allergies(status="not recorded"), "stricture": True},
            substance={"narrow_index": True, "limits": ()},
        )
    )
    severities = [one.severity for one in found]
    assert severities == sorted(severities, key=list(Severity).index)
    assert set(severities) == set(Severity)
    assert all(one.source and one.message and one.field for one in found)
