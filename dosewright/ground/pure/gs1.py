"""GS1 keys and element strings: check digits, which identifiers may stand together, where FNC1 goes.

The symbol writer of the barcode library takes wrong check digits and impossible dates, so every element
string is judged here before it is drawn (GS1 Barcode Syntax Dictionary, GS1 AISBL, commit ff2eb4b).
"""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from dosewright.ground.pure.formulas import formula

SEPARATOR = "\x1d"
"""FNC1 as it is transmitted between elements: the group separator of ISO/IEC 646."""

_TEXT = re.compile(r"[!\"%&'()*+,\-./0-9:;<=>?A-Z_a-z]+")
"""GS1 AI encodable character set 82 (GS1 General Specifications, figure 7.11-1; from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Identifier:
    """An application identifier; ``partners`` are sets of which one must stand in the same string."""

    ai: str
    title: str
    least: int
    most: int
    form: str = "digits"
    separated: bool = False
    partners: tuple[frozenset[str], ...] = ()
    excluded: frozenset[str] = frozenset()


def _any_of(*identifiers: str) -> tuple[frozenset[str], ...]:
    return tuple(frozenset({one}) for one in identifiers)


_ITEM = _any_of("01", "02")

IDENTIFIERS: dict[str, Identifier] = {
    one.ai: one
    for one in (
        Identifier(ai="00", title="SSCC", least=18, most=18, form="key"),
        Identifier(ai="01", title="GTIN", least=14, most=14, form="key", excluded=frozenset({"02", "37"})),
        Identifier(
            ai="02",
            title="CONTENT",
            least=14,
            most=14,
            form="key",
            partners=_any_of("37"),
            excluded=frozenset({"01"}),
        ),
        Identifier(ai="10", title="BATCH/LOT", least=1, most=20, form="text", separated=True, partners=_ITEM),
        Identifier(ai="11", title="PROD DATE", least=6, most=6, form="date", partners=_ITEM),
        Identifier(ai="17", title="USE BY OR EXPIRY", least=6, most=6, form="date", partners=_ITEM),
        Identifier(ai="21", title="SERIAL", least=1, most=20, form="text", separated=True, partners=_any_of("01")),
        Identifier(ai="30", title="VAR. COUNT", least=1, most=8, separated=True, partners=_ITEM),
        Identifier(
            ai="37",
            title="COUNT",
            least=1,
            most=8,
            separated=True,
            partners=(frozenset({"00", "02"}),),
            excluded=frozenset({"01"}),
        ),
        Identifier(ai="7003", title="EXPIRY TIME", least=10, most=10, form="time", separated=True, partners=_ITEM),
        Identifier(
            ai="8017",
            title="GSRN - PROVIDER",
            least=18,
            most=18,
            form="key",
            separated=True,
            excluded=frozenset({"8018"}),
        ),
        Identifier(
            ai="8018",
            title="GSRN - RECIPIENT",
            least=18,
            most=18,
            form="key",
            separated=True,
            excluded=frozenset({"8017"}),
        ),
    )
}
"""The identifiers this house writes; partners 03, 8006 and 8026 of the dictionary are not among them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ElementString:
    """``data`` as a reader transmits it (GS between elements); ``human_readable`` with bracketed identifiers."""

    data: str
    human_readable: str


@formula(
    "check_digit",
    inputs={"digits": "key without its check digit, 1 to 17 digits"},
    source="GS1 General Specifications, check digit calculations; weights 3, 1, 3, 1 from the rightmost digit",
)
def check_digit(digits: str) -> int:
    """Return the GS1 check digit that belongs behind `digits`.

    Parameters: digits, text of 1 to 17 decimal digits, without the check digit. Raises BadInput otherwise.
    Source: GS1 General Specifications; examples of GS1 Hong Kong and GS1 India.

    >>> check_digit("629104150021")
    3
    """
    if not isinstance(digits, str) or not re.fullmatch(r"[0-9]{1,17}", digits):
        raise BadInput(
            Refusal(
                field="digits",
                value=str(digits)[:40],
                message="is not 1 to 17 decimal digits",
                accepted="1 to 17 digits 0-9 as text",
                rule="check-digit",
            )
        )
    total = sum(int(digit) * (1 if place % 2 else 3) for place, digit in enumerate(reversed(digits)))
    return -total % 10


def has_right_check_digit(key: str) -> bool:
    """Return whether the last digit of `key` (2 to 18 digits) is the check digit of the digits before it."""
    return re.fullmatch(r"[0-9]{2,18}", key) is not None and check_digit(key[:-1]) == int(key[-1])


def needs_separator(ai: str) -> bool:
    """Return whether FNC1 must follow the element `ai` when another one comes behind it."""
    return _identifier(ai).separated


@formula(
    "element_string",
    inputs={"elements": "list of [application identifier, value]; predefined lengths are best put first"},
    source="GS1 Barcode Syntax Dictionary, commit ff2eb4b; real days only: GSCN 21-040 (from 1 January 2025)",
)
def element_string(elements: Sequence[Sequence[str]]) -> ElementString:
    """Return the GS1 element string of `elements`, in the order given.

    Parameters: elements, pairs (application identifier, value). Raises BadInput naming every identifier that
    is unknown, repeated, malformed, has a wrong check digit or an impossible date, lacks its partner or stands
    beside one that excludes it. Source: GS1 Barcode Syntax Dictionary; GSCN 21-040.

    >>> element_string([("01", "06291041500213"), ("10", "RX2501A")]).human_readable
    '(01)06291041500213(10)RX2501A'
    """
    pairs = [_pair(one) for one in elements]
    refuse_if_any(BadInput, _faults(pairs))
    last = len(pairs) - 1
    data = "".join(
        ai + value + (SEPARATOR if needs_separator(ai) and place < last else "")
        for place, (ai, value) in enumerate(pairs)
    )
    return ElementString(data=data, human_readable="".join(f"({ai}){value}" for ai, value in pairs))


def read_element_string(data: str) -> tuple[tuple[str, str], ...]:
    """Return the elements of scanned `data` (with GS); day 00 of old stock is taken as it stands.

    Raises BadInput when an identifier is unknown, an element is cut off, or the set is not lawful.
    """
    rest, pairs = data, []
    while rest:
        ai = next((one for one in IDENTIFIERS if rest.startswith(one)), None)
        if ai is None:
            raise BadInput(_wrong("data", rest[:8], "no known application identifier stands here"))
        value, rest = _split_value(IDENTIFIERS[ai], rest[len(ai) :])
        pairs.append((ai, value))
    refuse_if_any(BadInput, [one for one in _faults(pairs) if one.rule != "gs1-day-00"])
    return tuple(pairs)


def date_value(day: date) -> str:
    """Return `day` as YYMMDD for identifiers 11 and 17; the day is always a real one."""
    return f"{day:%y%m%d}"


def month_value(year: int, month: int) -> str:
    """Return YYMMDD of a date known to the month only: its last day, never day 00 (GSCN 21-040)."""
    return date_value(date(year, month, monthrange(year, month)[1]))


def scanned_date(value: str, *, today: date) -> date:
    """Return the date of a scanned YYMMDD; day 00 means the last day of the month (legacy stock).

    The century follows the window of GS1 General Specifications 7.12: 49 years back, 50 forward of `today`.
    Raises BadInput for an impossible date.
    """
    if not re.fullmatch(r"[0-9]{6}", value) or not 1 <= int(value[2:4]) <= 12:
        raise BadInput(_wrong("date", value, "is no date YYMMDD", "a real day such as 260630"))
    year = _full_year(int(value[:2]), today.year)
    month, day = int(value[2:4]), int(value[4:])
    length = monthrange(year, month)[1]
    if day > length:
        raise BadInput(_wrong("date", value, f"month {month} of {year} has {length} days"))
    return date(year, month, day or length)


def _full_year(two: int, current: int) -> int:
    gap = two - current % 100
    century = current // 100 * 100
    if gap >= 51:
        century -= 100
    elif gap <= -50:
        century += 100
    return century + two


def _identifier(ai: str) -> Identifier:
    found = IDENTIFIERS.get(ai)
    if found is None:
        raise BadInput(_wrong("ai", ai, "is not an application identifier written here", ", ".join(IDENTIFIERS)))
    return found


def _pair(element: Sequence[str]) -> tuple[str, str]:
    if isinstance(element, str) or len(element) != 2 or not all(isinstance(one, str) for one in element):
        raise BadInput(_wrong("elements", str(element), "is not a pair", "[identifier, value], both text"))
    return element[0], element[1]


def _faults(pairs: Sequence[tuple[str, str]]) -> list[Refusal]:
    if not pairs:
        return [_wrong("elements", None, "there is no element")]
    unknown = [ai for ai, _ in pairs if ai not in IDENTIFIERS]
    if unknown:
        return [
            _wrong("ai", ai, "is not an application identifier written here", ", ".join(IDENTIFIERS)) for ai in unknown
        ]
    faults = [
        _wrong(f"({ai})", value, fault[0], rule=fault[1])
        for ai, value in pairs
        if (fault := _value_fault(IDENTIFIERS[ai], value))
    ]
    return faults + _set_faults([ai for ai, _ in pairs])


def _value_fault(identifier: Identifier, value: str) -> tuple[str, str] | None:
    if not identifier.least <= len(value) <= identifier.most:
        return f"{identifier.title} takes {_span(identifier)} characters, not {len(value)}", "gs1"
    if identifier.form == "text":
        return None if _TEXT.fullmatch(value) else ("holds a character outside GS1 character set 82", "gs1")
    if not re.fullmatch(r"[0-9]+", value):
        return f"{identifier.title} takes digits only", "gs1"
    if identifier.form == "key" and not has_right_check_digit(value):
        return f"the check digit should be {check_digit(value[:-1])}", "gs1"
    if identifier.form in {"date", "time"}:
        return _date_fault(identifier, value)
    return None


def _date_fault(identifier: Identifier, value: str) -> tuple[str, str] | None:
    month, day = int(value[2:4]), int(value[4:6])
    if not 1 <= month <= 12:
        return f"there is no month {value[2:4]}", "gs1"
    if day > monthrange(2000 + int(value[:2]), month)[1]:
        return f"month {month} of 20{value[:2]} has no day {day}", "gs1"
    if identifier.form == "time" and (int(value[6:8]) > 23 or int(value[8:10]) > 59):
        return f"there is no time {value[6:8]}:{value[8:10]}", "gs1"
    if day == 0:
        rule = "gs1-day-00" if identifier.form == "date" else "gs1"
        return "day 00 is not allowed for regulated healthcare items since 1 January 2025 (GSCN 21-040)", rule
    return None


def _set_faults(present: list[str]) -> list[Refusal]:
    faults = [_wrong(f"({ai})", None, "stands twice") for ai in sorted(set(present)) if present.count(ai) > 1]
    have = set(present)
    for ai in dict.fromkeys(present):
        one = IDENTIFIERS[ai]
        if one.partners and not any(group <= have for group in one.partners):
            wanted = " or ".join("+".join(sorted(group)) for group in one.partners)
            faults.append(_wrong(f"({ai})", None, f"{one.title} may only stand beside {wanted}", wanted))
        faults += [
            _wrong(f"({ai})", None, f"may not stand beside ({other})")
            for other in sorted(one.excluded & have)
            if ai < other
        ]
    return faults


def _split_value(identifier: Identifier, rest: str) -> tuple[str, str]:
    if not identifier.separated:
        return rest[: identifier.most], rest[identifier.most :].removeprefix(SEPARATOR)
    value, _, after = rest.partition(SEPARATOR)
    return value, after


def _span(identifier: Identifier) -> str:
    return str(identifier.most) if identifier.least == identifier.most else f"{identifier.least} to {identifier.most}"


def _wrong(field: str, value: str | None, message: str, accepted: str | None = None, rule: str = "gs1") -> Refusal:
    return Refusal(field=field, value=value, message=message, accepted=accepted, rule=rule)
