"""GS1 keys and element strings against the published vectors, and against the library's own reader."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path

import pytest

from dosewright.ground.pure import gs1
from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import FORMULAS

VECTORS = tomllib.loads((Path(__file__).parents[2] / "vectors" / "gs1.toml").read_text(encoding="utf-8"))
GTIN = ("01", "06291041500213")


@pytest.mark.parametrize("case", VECTORS["check_digit"]["cases"], ids=lambda case: case["id"])
def test_check_digit_is_the_published_one(case):
    assert gs1.check_digit(case["digits"]) == case["digit"]
    assert gs1.has_right_check_digit(case["digits"] + str(case["digit"]))


@pytest.mark.parametrize("key", VECTORS["check_digit"]["bad_keys"])
def test_wrong_check_digit_is_seen(key):
    assert not gs1.has_right_check_digit(key)


@pytest.mark.parametrize("digits", ["", "12a", "1" * 18, "١٢٣", " 12", "-1"])
def test_check_digit_refuses_what_is_no_key(digits):
    with pytest.raises(BadInput) as caught:
        gs1.check_digit(digits)
    assert caught.value.refusals[0].field == "digits"


@pytest.mark.parametrize("case", VECTORS["element_string"]["cases"], ids=lambda case: case["id"])
def test_element_string_is_the_published_one(case):
    made = gs1.element_string(case["elements"])
    assert (made.data, len(made.data), made.human_readable) == (
        case["data"],
        case["length"],
        case["human_readable"],
    )
    assert gs1.read_element_string(made.data) == tuple(tuple(one) for one in case["elements"])


def test_separator_follows_the_dictionary():
    assert [ai for ai in VECTORS["separator"]["no"] if gs1.needs_separator(ai)] == []
    assert [ai for ai in VECTORS["separator"]["yes"] if not gs1.needs_separator(ai)] == []


@pytest.mark.parametrize("case", VECTORS["illegal"]["cases"], ids=lambda case: case["why"])
def test_unlawful_element_strings_are_refused(case):
    with pytest.raises(BadInput, match=case["word"].replace("(", r"\(")):
        gs1.element_string(case["elements"])


@pytest.mark.parametrize("value", VECTORS["dates"]["never_written"])
def test_impossible_dates_and_day_00_are_never_written(value):
    with pytest.raises(BadInput, match=r"no day|no month|day 00"):
        gs1.element_string([GTIN, ("17", value)])


def test_expiry_known_to_the_month_gets_its_last_day():
    month = VECTORS["dates"]["month"]
    assert gs1.month_value(month["year"], month["month"]) == month["value"]
    assert gs1.date_value(date(2026, 7, 1)) == "260701"


@pytest.mark.parametrize("case", VECTORS["scanned_dates"]["cases"], ids=lambda case: case["value"])
def test_scanned_dates_take_day_00_of_old_stock(case):
    assert gs1.scanned_date(case["value"], today=date(2021, 6, 1)) == case["date"]


@pytest.mark.parametrize("value", VECTORS["scanned_dates"]["refused"])
def test_scanned_dates_refuse_what_is_no_date(value):
    with pytest.raises(BadInput):
        gs1.scanned_date(value, today=date(2021, 6, 1))


@pytest.mark.parametrize("case", VECTORS["century"]["cases"])
def test_scanned_dates_fall_in_the_century_window(case):
    assert gs1.scanned_date(case["value"], today=case["today"]).year == case["year"]


def test_scan_of_old_stock_with_day_00_reads_but_is_not_written():
    data = "0106291041500213" + "17260600"
    assert gs1.read_element_string(data) == (GTIN, ("17", "260600"))
    with pytest.raises(BadInput, match="day 00"):
        gs1.element_string([GTIN, ("17", "260600")])


@pytest.mark.parametrize("data", ["", "0106291041500213" + "1726", "0106291041500214", "XX", "10LOT"])
def test_broken_scans_are_refused(data):
    with pytest.raises(BadInput):
        gs1.read_element_string(data)


def test_expiry_time_refuses_an_impossible_hour():
    assert gs1.element_string([GTIN, ("7003", "2606302359")]).data.endswith("70032606302359")
    with pytest.raises(BadInput, match="no time 24:00"):
        gs1.element_string([GTIN, ("7003", "2606302400")])


@pytest.mark.parametrize("elements", [[["01"]], ["01"], [["01", 6291041500213]]])
def test_elements_that_are_no_pairs_are_refused(elements):
    with pytest.raises(BadInput, match="not a pair"):
        gs1.element_string(elements)


def test_both_formulas_are_registered():
    assert FORMULAS["check_digit"].function is gs1.check_digit
    assert FORMULAS["element_string"].function is gs1.element_string
