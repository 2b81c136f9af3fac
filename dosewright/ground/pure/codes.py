"""Codes that people read, scan and type: kind prefix, alphabet without look-alikes, check character.

The alphabet leaves out every character that is easily taken for another (0 O, 1 I L, 2 Z, 5 S, 8 B, U V).
Its 23 characters are a prime number, so a weighted sum modulo 23 finds every single wrong character and
every swap of two neighbours (Wagner and Putter, "Error detecting decimal digits", CACM 32(1), 1989, for
the weighted-sum argument). It follows that two valid codes of one kind differ in at least two places.
"""

from __future__ import annotations

from dataclasses import dataclass

from dosewright.ground.pure.errors import BadInput, Refusal

ALPHABET = "34679ACDEFGHJKMNPQRTWXY"
_VALUE = {character: index for index, character in enumerate(ALPHABET)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of thing that carries a code; ``length`` counts the body without the check character."""

    name: str
    prefix: str
    length: int = 7


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(name="patient", prefix="PA"),
        Kind(name="body measure", prefix="BM"),
        Kind(name="order", prefix="RX"),
        Kind(name="dose line", prefix="DN"),
        Kind(name="unit", prefix="UN"),
        Kind(name="zone", prefix="ZN", length=5),
        Kind(name="print batch", prefix="PB", length=5),
        Kind(name="resin lot", prefix="RN", length=5),
        Kind(name="ingredient lot", prefix="GN", length=5),
        Kind(name="formulation", prefix="FM", length=4),
        Kind(name="ingredient", prefix="NG", length=4),
        Kind(name="print profile", prefix="PF", length=4),
        Kind(name="study", prefix="CT", length=4),
        Kind(name="printer", prefix="PR", length=4),
        Kind(name="equipment", prefix="EQ", length=4),
        Kind(name="tank fill", prefix="TF", length=5),
        Kind(name="pack", prefix="PK"),
        Kind(name="document", prefix="DC"),
        Kind(name="deviation", prefix="DW", length=5),
        Kind(name="measurement", prefix="MR"),
        Kind(name="person", prefix="PE", length=6),
        Kind(name="site", prefix="HC", length=4),
        Kind(name="recall", prefix="RC", length=5),
        Kind(name="plan", prefix="PN", length=5),
        Kind(name="alert", prefix="AT"),
    )
}
_BY_PREFIX = {kind.prefix: kind for kind in KINDS.values()}


def check_character(prefix: str, body: str) -> str:
    """Return the check character of `body`; the prefix takes part through its letters' code points."""
    seed = sum(ord(letter) for letter in prefix)
    total = seed + sum((place + 2) * _VALUE[character] for place, character in enumerate(body))
    return ALPHABET[-total % len(ALPHABET)]


def compose(kind: str, body: str) -> str:
    """Return the whole code ("RX-7KQ3M9P-C" is written without blanks as RX-7KQ3M9PC)."""
    one = KINDS[kind]
    if len(body) != one.length or any(character not in _VALUE for character in body):
        raise ValueError(f"the body of a {kind} code has {one.length} characters of {ALPHABET}")
    return f"{one.prefix}-{body}{check_character(one.prefix, body)}"


def numbered_code(kind: str, number: int) -> str:
    """Return the code that stands for `number`, for tests and seeded runs."""
    one = KINDS[kind]
    if not 0 <= number < len(ALPHABET) ** one.length:
        raise ValueError(f"a {kind} code numbers 0 to {len(ALPHABET) ** one.length - 1}")
    body = ""
    for _ in range(one.length):
        number, rest = divmod(number, len(ALPHABET))
        body = ALPHABET[rest] + body
    return compose(kind, body)


def raised_part(code: str) -> str:
    """Return what is raised on a raft or read by eye: the code without its kind prefix."""
    return code.partition("-")[2]


def kind_of(code: str) -> str:
    """Return the kind of a code, after checking its form and check character.

    Raises BadInput naming the code and what is accepted.
    """
    return parse(code)[0].name


def parse(text: str, *, field: str = "code", kind: str | None = None) -> tuple[Kind, str]:
    """Return kind and tidy code of what was typed or scanned (case and outer blanks do not matter)."""
    tidy = text.strip().upper()
    prefix, _, rest = tidy.partition("-")
    found = _BY_PREFIX.get(prefix)
    if found is None or (kind is not None and found.name != kind):
        raise BadInput(_wrong(field, text, f"not a {kind or 'known'} code", kind))
    body, check = rest[:-1], rest[-1:]
    if len(body) != found.length or any(character not in _VALUE for character in rest):
        raise BadInput(_wrong(field, text, "characters missing, added or not in the code alphabet", found.name))
    if check_character(prefix, body) != check:
        raise BadInput(_wrong(field, text, "the check character does not fit: a character was misread", found.name))
    return found, tidy


def _wrong(field: str, text: str, message: str, kind: str | None) -> Refusal:
    example = numbered_code(kind, 12345 % len(ALPHABET) ** KINDS[kind].length) if kind else None
    accepted = f"a code like {example}" if example else "one of " + ", ".join(sorted(_BY_PREFIX))
    return Refusal(field=field, value=text[:40], message=message, accepted=accepted, rule="code")
