"""Names taken for one another by eye or ear, and patients who may be one."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from prescriptions.screening.likeness import edit_distance, names_alike, substances_alike
from prescriptions.screening.persons import (
    Likeness,
    Person,
    first_letters,
    likeness,
    near_dates,
    screen_persons,
)
from tests.core.vectors import load

VECTORS = load("likeness")
ONE = Person(code="PT-1", family_name="Wrenford", given_name="Mara", birth_date=date(2018, 3, 12))
TEXT = st.text("abcdefgh", max_size=9)


@pytest.mark.parametrize("case", VECTORS["distance"], ids=lambda case: f"{case['one']}-{case['other']}")
def test_distance(case: dict[str, Any]) -> None:
    assert edit_distance(case["one"], case["other"]) == edit_distance(case["other"], case["one"]) == case["apart"]


@given(TEXT, TEXT)
def test_distance_is_none_for_the_same_alone_and_never_more_than_the_longer(one: str, other: str) -> None:
    apart = edit_distance(one, other)
    assert (apart == 0) is (one == other)
    assert abs(len(one) - len(other)) <= apart <= max(len(one), len(other))


@given(st.text("abcdefgh", min_size=1, max_size=9), st.integers(0, 8), st.sampled_from("ijklm"))
def test_one_letter_changed_is_one_apart(text: str, place: int, letter: str) -> None:
    place %= len(text)
    assert edit_distance(text, text[:place] + letter + text[place + 1 :]) == 1
    assert edit_distance(text, text[:place] + letter + text[place:]) == 1


@given(st.text("abdeklmn", min_size=4, max_size=9), st.integers(0, 8), st.sampled_from("ioprstu"))
def test_one_slip_in_a_name_is_always_alike(name: str, place: int, letter: str) -> None:
    place %= len(name)
    swapped = name[:place] + name[place : place + 2][::-1] + name[place + 2 :]
    for slip in (name[:place] + letter + name[place + 1 :], name[:place] + letter + name[place:], swapped):
        assert names_alike(name, slip)
    assert names_alike(name, name[:place] + name[place + 1 :]) or len(name) == 4  # three letters are too few


@pytest.mark.parametrize("case", VECTORS["people"], ids=lambda case: f"{case['one']}-{case['other']}")
def test_names_of_people(case: dict[str, Any]) -> None:
    assert names_alike(case["one"], case["other"]) is case["alike"]
    assert names_alike(case["other"], case["one"]) is case["alike"]


@pytest.mark.parametrize("case", VECTORS["substances"], ids=lambda case: f"{case['one']}-{case['other']}")
def test_names_of_substances(case: dict[str, Any]) -> None:
    assert substances_alike(case["one"], case["other"]) is case["alike"]
    assert substances_alike(case["other"], case["one"]) is case["alike"]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, Likeness.DOUBLE),
        ({"family_name": "wrenford ", "given_name": "MARA"}, Likeness.DOUBLE),
        ({"family_name": "Wrenfort"}, Likeness.SLIP),
        ({"family_name": "Mara", "given_name": "Wrenford"}, Likeness.SLIP),
        ({"birth_date": date(2018, 12, 3)}, Likeness.SLIP),
        ({"birth_date": date(2018, 3, 13)}, Likeness.SLIP),
        ({"birth_date": date(2018, 3, 21)}, Likeness.SLIP),
        ({"birth_date": date(2018, 4, 13)}, Likeness.NAMESAKE),
        ({"birth_date": date(1950, 6, 30)}, Likeness.NAMESAKE),
        ({"given_name": "Ulf"}, None),
        ({"family_name": "Birchmantle"}, None),
        ({"family_name": "Birchmantle", "given_name": "Ulf"}, None),
    ],
)
def test_who_may_be_taken_for_whom(changes: dict[str, Any], expected: Likeness | None) -> None:
    other = replace(ONE, **{"code": "PT-2", **changes})
    assert likeness(ONE, other) is expected
    assert likeness(other, ONE) is expected


@given(st.dates(date(1900, 1, 1), date(2099, 12, 31)), st.dates(date(1900, 1, 1), date(2099, 12, 31)))
def test_nearness_of_dates_goes_both_ways(one: date, other: date) -> None:
    assert one in near_dates(one)
    assert (other in near_dates(one)) is (one in near_dates(other))


@pytest.mark.parametrize("case", [one for one in VECTORS["people"] if one["alike"]], ids=lambda case: case["one"])
def test_like_names_begin_with_letters_that_are_looked_for(case: dict[str, Any]) -> None:
    assert case["other"][:1] in first_letters(case["one"]) or not first_letters(case["one"])


@pytest.mark.parametrize(("name", "other"), [("Ødegard", "O"), ("Olsen", "Ö"), ("Łukas", "l"), ("Jahn", "Y")])
def test_accents_do_not_hide_an_initial(name: str, other: str) -> None:
    assert other in first_letters(name)
    assert "B" not in first_letters(name)


def test_alerts_name_codes_and_no_names() -> None:
    others = [
        replace(ONE, code="PT-3"),
        replace(ONE, code="PT-2", family_name="Wrenfort"),
        *(replace(ONE, code=f"PT-9{n}", birth_date=date(1950, 6, 30)) for n in range(7)),
        replace(ONE, code="PT-4", family_name="Birchmantle"),
    ]
    found = screen_persons(ONE, others)
    assert [(one.rule, one.severity, one.value) for one in found] == [
        ("patient-look-alike", "reason", "PT-2"),
        ("patient-double", "reason", "PT-3"),
        ("patient-namesake", "inform", "PT-90, PT-91, PT-92, PT-93, PT-94 and 2 more"),
    ]
    assert not any("wren" in one.message.lower() or "mara" in one.message.lower() for one in found)
    assert all(one.source for one in found)
    assert screen_persons(ONE, []) == []
