"""Codes find every single misread character and every swap of neighbours."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.codes import ALPHABET, KINDS, compose, kind_of, numbered_code, parse, raised_part
from dosewright.ground.pure.errors import BadInput


def test_the_alphabet_has_no_look_alikes() -> None:
    assert not set(ALPHABET) & set("0O1IL2Z5S8BUV")
    assert len(set(ALPHABET)) == len(ALPHABET) == 23


def test_prefixes_are_unique() -> None:
    assert len({kind.prefix for kind in KINDS.values()}) == len(KINDS)


@given(st.sampled_from(sorted(KINDS)), st.integers(min_value=0, max_value=23**4 - 1))
def test_a_code_is_known_again_however_it_is_typed(kind: str, number: int) -> None:
    code = numbered_code(kind, number)
    assert kind_of(f"  {code.lower()} ") == kind
    assert parse(code, kind=kind)[1] == code


@given(st.integers(min_value=0, max_value=23**4 - 1))
def test_every_single_wrong_character_and_every_swap_is_found(number: int) -> None:
    code = numbered_code("zone", number)
    body = raised_part(code)
    for place, other in itertools.product(range(len(body)), ALPHABET):
        if other != body[place]:
            with pytest.raises(BadInput):
                kind_of("ZN-" + body[:place] + other + body[place + 1 :])
    for place in range(len(body) - 1):
        swapped = body[:place] + body[place + 1] + body[place] + body[place + 2 :]
        if swapped != body:
            with pytest.raises(BadInput):
                kind_of("ZN-" + swapped)


@pytest.mark.parametrize("text", ["", "RX", "QQ-3333333", "RX-0OIL123", "RX-3", "zn-33333333", "ZN-3334"])
def test_what_is_no_code_is_refused_with_what_is_accepted(text: str) -> None:
    with pytest.raises(BadInput) as refused:
        kind_of(text)
    assert refused.value.refusals[0].accepted


def test_a_code_of_another_kind_is_refused_where_one_kind_is_asked_for() -> None:
    with pytest.raises(BadInput, match="not a zone code"):
        parse(numbered_code("order", 5), kind="zone")


def test_a_body_of_other_length_or_alphabet_is_a_programming_error() -> None:
    with pytest.raises(ValueError, match="5 characters"):
        compose("zone", "333")
