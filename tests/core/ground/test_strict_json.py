"""The strict parser: what RFC 8259 allows is taken exactly, all else is refused and located."""

from __future__ import annotations

import json
import time
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.errors import BadInput, Refusal
from dosewright.ground.pure.strict_json import MAX_BYTES, MAX_DEPTH, MAX_DIGITS, parse


def refused(data: bytes, **limits: int) -> Refusal:
    with pytest.raises(BadInput) as caught:
        parse(data, **limits)
    (only,) = caught.value.refusals
    assert only.field == "body"
    assert only.accepted, "a refusal says what is accepted"
    return only


def test_every_number_is_an_exact_decimal() -> None:
    value = parse(b'{"a": 0.1, "b": 3, "c": [1.10, -2e-3]}')
    assert value == {"a": Decimal("0.1"), "b": Decimal(3), "c": [Decimal("1.10"), Decimal("-0.002")]}
    assert isinstance(value["b"], Decimal)
    assert str(value["c"][0]) == "1.10", "no digit is lost"


def test_true_false_null_and_text_are_themselves() -> None:
    assert parse('[true, false, null, "é\\n\\"", {}]'.encode()) == [True, False, None, 'é\n"', {}]


@pytest.mark.parametrize(
    ("data", "rule", "says"),
    [
        (b"\xef\xbb\xbf{}", "byte-order-mark", "byte 0"),
        (b'{"a": "\xff"}', "no-utf-8", "byte 7"),
        (b'{"a": "\xc3\x28"}', "no-utf-8", "byte 7"),
        (b'{"a": "\xed\xa0\x80"}', "no-utf-8", "byte 7"),
        ('{"a": 1}'.encode("utf-16"), "no-utf-8", "byte 0"),
        (b"", "empty", "empty"),
        (b" \n ", "empty", "empty"),
        (b'{"dose": "3 mg", "dose": "30 mg"}', "name-twice", '"dose"'),
        (b'[{"x": {"a": 1, "b": 2, "a": 1}}]', "name-twice", "beside b"),
        (b'{"a": 1, "\\u0061": 2}', "name-twice", '"a"'),
        (b"NaN", "no-number", "NaN"),
        (b"[Infinity]", "no-number", "Infinity"),
        (b"[-Infinity]", "no-number", "-Infinity"),
        (b"1E+999", "exponent", "exponent"),
        (b"1E-999", "exponent", "exponent"),
        (b"1e21", "exponent", "exponent"),
        (b"1e" + b"9" * 5000, "exponent", "exponent"),
        (b"123456789012345678901", "digits", "digits"),
        (b"0.12345678901234567890", "digits", "digits"),
        (b"9" * 5000, "digits", "digits"),
        (b'{"a": 1} x', "no-json", "line 1, column 10"),
        (b'{"a": 1}\n{"a": 1}', "no-json", "line 2, column 1"),
        (b'{"a": 1,}', "no-json", "column"),
        (b"{'a': 1}", "no-json", "column 2"),
        (b"[01]", "no-json", "column"),
        (b"[+1]", "no-json", "column"),
        (b"[.5]", "no-json", "column"),
        (b'["a\nb"]', "no-json", "control character"),
        (b'["open', "no-json", "column"),
        (b"]", "no-json", "column"),
        (b"\\[[[", "no-json", "column"),
        (b'["\\ud800"]', "text", "half"),
        (b'{"\\udc00": 1}', "text", "half"),
        (b'["a\\u0000b"]', "text", "NUL"),
    ],
)
def test_what_is_refused_names_what_and_where(data: bytes, rule: str, says: str) -> None:
    only = refused(data)
    assert only.rule == rule
    assert says in only.message + (only.value or "")


def test_twenty_digits_and_exponent_twenty_are_taken() -> None:
    assert parse(b"12345678901234567890") == Decimal("12345678901234567890")
    assert parse(b"1e20") == Decimal(10) ** 20
    assert parse(b"1e0000000020") == Decimal(10) ** 20


def test_depth_at_and_over_the_limit() -> None:
    assert parse(b"[" * MAX_DEPTH + b"]" * MAX_DEPTH)
    assert refused(b"[" * (MAX_DEPTH + 1) + b"]" * (MAX_DEPTH + 1)).rule == "too-deep"
    assert refused(b'{"a":' * (MAX_DEPTH + 1) + b"1" + b"}" * (MAX_DEPTH + 1)).rule == "too-deep"


@pytest.mark.parametrize("opening", [b"[", b'{"a":', b'[{"a":'])
def test_a_hundred_thousand_brackets_do_not_recurse(opening: bytes) -> None:
    only = refused(opening * 100_000)
    assert only.rule == "too-deep"
    assert only.limit == str(MAX_DEPTH)


def test_brackets_inside_text_do_not_count() -> None:
    text = "[{" * 500 + '\\"]'
    assert parse(json.dumps([text]).encode()) == [text]


def test_a_twenty_megabyte_body_is_refused_unread() -> None:
    only = refused(b" " * 20_000_000)
    assert (only.rule, only.value, only.limit, only.unit) == ("too-long", "20000000", str(MAX_BYTES), "byte")


def test_size_at_and_over_the_limit() -> None:
    assert parse(b"[1]", max_bytes=3) == [1]
    assert refused(b"[1] ", max_bytes=3).rule == "too-long"


def test_a_hostile_megabyte_takes_no_quadratic_time() -> None:
    began = time.perf_counter()
    refused(b'"' + b'\\"' * 499_000)
    refused(b"[" + b'"",' * 300_000)
    assert time.perf_counter() - began < 5


def test_refused_values_are_shown_short() -> None:
    assert len(refused(b"9" * 900_000).value or "") < 80


values = st.recursive(
    st.none()
    | st.booleans()
    | st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))
    | st.integers(-(10**MAX_DIGITS) + 1, 10**MAX_DIGITS - 1),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text("abc", max_size=3), inner, max_size=4),
    max_leaves=12,
)


@given(values)
def test_whatever_json_writes_is_read_back_equal(value: object) -> None:
    assert parse(json.dumps(value).encode()) == value


@given(st.binary(max_size=200))
def test_no_bytes_crash_it_and_it_takes_no_more_than_a_common_parser(data: bytes) -> None:
    try:
        value = parse(data)
    except BadInput:
        return
    assert json.loads(data, parse_float=Decimal) == value
