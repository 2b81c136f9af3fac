"""What depends on the form that would be made: release, mini-units for the small, ingredients."""

from __future__ import annotations

from dataclasses import replace

import pytest

from prescriptions.screening.made_form import MadeForm, Taker, screen_made_form

TABLET = MadeForm(
    name="tablet",
    release="immediate",
    mini_units=False,
    ingredients=("Hydrocortisone", "demo diacrylate (invented)", "poly(ethylene glycol) 300", "water"),
)
CHILD = Taker(age_months=72, swallowing="solids")


def rules(made: MadeForm = TABLET, taker: Taker = CHILD, ordered: str = "immediate") -> list[tuple[str, str]]:
    found = screen_made_form(made, taker, release_ordered=ordered)
    assert all(one.source and one.message and one.value for one in found)
    return [(one.rule, one.severity) for one in found]


def test_the_usual_form_raises_no_alert() -> None:
    assert rules() == []


@pytest.mark.parametrize(
    ("ordered", "made", "blocks"),
    [
        ("immediate", "immediate", False),
        ("immediate", "prolonged", True),
        ("prolonged", "immediate", True),
        ("prolonged", "prolonged", False),
    ],
)
def test_release_class(ordered: str, made: str, blocks: bool) -> None:
    found = rules(made=replace(TABLET, release=made), ordered=ordered)
    assert found == ([("release-class", "block")] if blocks else [])


@pytest.mark.parametrize(
    ("months", "swallowing", "mini", "expected"),
    [
        (23, "solids", False, [("age-form", "block")]),
        (24, "solids", False, []),
        (25, "solids", False, []),
        (23, "solids", True, []),
        (72, "mini-units only", False, [("swallowing-form", "block")]),
        (72, "mini-units only", True, []),
        (23, "mini-units only", False, [("age-form", "block"), ("swallowing-form", "block")]),
    ],
)
def test_mini_units(months: int, swallowing: str, mini: bool, expected: list[tuple[str, str]]) -> None:
    taker = Taker(age_months=months, swallowing=swallowing)
    assert rules(made=replace(TABLET, mini_units=mini), taker=taker) == expected


@pytest.mark.parametrize(
    ("allergy", "hit"),
    [
        ("demo diacrylate", True),
        ("DIACRYLATE", True),
        ("rash from demo diacrylate (invented) glue", True),
        ("acrylate", True),
        ("polyethylene glycol", True),
        ("Poly-ethylene-glycol", True),
        ("acr", False),  # too short to be looked for inside a name
        ("penicillin", False),
    ],
)
def test_an_allergy_against_what_is_in_the_form(allergy: str, hit: bool) -> None:
    found = rules(taker=replace(CHILD, allergies=("something else", allergy)))
    assert found == ([("allergy-ingredient", "block")] if hit else [])
