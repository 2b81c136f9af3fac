"""Reading FHIR R4 resources element by element: what is not read is refused, never left out in silence.

FHIR lets a reader ignore any extension, but no modifier extension, no ``implicitRules`` it does not know and
no element that changes what the rest means (HL7 FHIR R4, 2.4 Extensibility and 2.1.0.3 Is-Modifier; numbers
from memory, to be confirmed). An element is therefore taken, passed over as harmless, or refused by name.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any, Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import Refusal
from prescriptions.intake.reading import shown

UCUM: Final = "http://unitsofmeasure.org"
LOINC: Final = "http://loinc.org"
SNOMED: Final = "http://snomed.info/sct"

HARMLESS: Final = frozenset({"resourceType", "id", "meta", "language", "text", "extension", "contained"})
"""What any resource may carry without saying anything else."""

_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_MOMENT: Final = re.compile(r"(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})T(?P<time>[0-9:.]+)(Z|[+-][0-9:]{5})?")


class Element:
    """One FHIR element at ``path``; ``refusals`` and ``notes`` are shared by all elements of one order."""

    def __init__(self, value: object, path: str, refusals: list[Refusal], notes: list[str]) -> None:
        self.path = path
        self.refusals = refusals
        self.notes = notes
        self._value: dict[str, Any] = value if isinstance(value, dict) else {}
        self._seen: set[str] = set()
        if not isinstance(value, dict):
            self.refuse("", "an object is needed", value=value, accepted="an element of FHIR R4", rule="fhir-shape")

    @property
    def kind(self) -> str:
        """The resource's type, or nothing."""
        kind = self._value.get("resourceType")
        return kind if isinstance(kind, str) else ""

    @property
    def value(self) -> dict[str, Any]:
        """The element as it came."""
        return self._value

    def __contains__(self, name: str) -> bool:
        return name in self._value

    def place(self, name: str) -> str:
        """Return the path of ``name``."""
        return f"{self.path}.{name}" if name else self.path

    def refuse(
        self,
        name: str,
        message: str,
        *,
        value: object = None,
        accepted: str,
        rule: str,
        limit: str | None = None,
    ) -> None:
        """Note one refusal of ``name``."""
        written = None if value is None else shown(decimal_text(value) if isinstance(value, Decimal) else value)
        self.refusals.append(
            Refusal(field=self.place(name), message=message, value=written, limit=limit, accepted=accepted, rule=rule)
        )

    def note(self, text: str) -> None:
        """Tell whoever sent the file what was read into it or left out of it."""
        if text not in self.notes:
            self.notes.append(text)

    def take(self, name: str) -> Any:
        """Return what stands at ``name``, as it is; the element counts as read."""
        self._seen.add(name)
        return self._value.get(name)

    def text(self, name: str) -> str | None:
        """Return a text; any other kind of value is refused."""
        value = self.take(name)
        if value is None or (isinstance(value, str) and value.strip()):
            return value
        self.refuse(name, "a text is needed", value=value, accepted="a text", rule="fhir-shape")
        return None

    def flag(self, name: str) -> bool | None:
        """Return true or false; any other kind of value is refused."""
        value = self.take(name)
        if value is None or isinstance(value, bool):
            return value
        self.refuse(name, "true or false is needed", value=value, accepted="true or false", rule="fhir-shape")
        return None

    def number(self, name: str) -> Decimal | None:
        """Return a number as the decimal that was written; any other kind of value is refused."""
        value = self.take(name)
        if value is None or isinstance(value, Decimal):
            return value
        self.refuse(name, "a number is needed", value=value, accepted="a JSON number", rule="fhir-shape")
        return None

    def count(self, name: str) -> int | None:
        """Return a whole number from 0 on; any other value is refused."""
        value = self.number(name)
        if value is None or (value == value.to_integral_value() and 0 <= value <= 9999):
            return None if value is None else int(value)
        self.refuse(name, "a whole number is needed", value=value, accepted="0 to 9999", rule="number")
        return None

    def child(self, name: str) -> Element | None:
        """Return the one element at ``name``, if there is any."""
        value = self.take(name)
        return None if value is None else Element(value, self.place(name), self.refusals, self.notes)

    def children(self, name: str) -> list[Element]:
        """Return the elements of the list at ``name``."""
        return [Element(one, self.place(f"{name}[{n}]"), self.refusals, self.notes) for n, one in self._listed(name)]

    def texts(self, name: str) -> list[str]:
        """Return the texts of the list at ``name``; what is none is refused."""
        found = []
        for number, one in self._listed(name):
            if isinstance(one, str):
                found.append(one)
            else:
                self.refuse(f"{name}[{number}]", "a text is needed", value=one, accepted="a text", rule="fhir-shape")
        return found

    def day(self, name: str, *, ends: bool = False) -> str | None:
        """Return a day, as written; a time of day is taken only where it is the day's very start or end."""
        value = self.text(name)
        if value is None or _DAY.fullmatch(value):
            return value
        moment = _MOMENT.fullmatch(value)
        edges = ("23:59",) if ends else ("00:00",)
        if moment and moment["time"].startswith(edges):
            return moment["day"]
        self.refuse(name, "a whole day is needed", value=value, accepted="a day such as 2026-03-31", rule="date")
        return None

    def pass_over(self, *names: str) -> None:
        """Count ``names`` as read: they do not change what is ordered."""
        self._seen.update(names)

    def not_taken(self, *names: str, because: str, accepted: str = "leave it out") -> None:
        """Refuse each of ``names`` that stands here, saying why."""
        for name in names:
            if name in self._value:
                self.refuse(name, because, value=_short(self.take(name)), accepted=accepted, rule="fhir-element")

    def close(self) -> None:
        """Refuse whatever was neither read nor passed over, and every modifier."""
        for name, value in self._value.items():
            base = name.removeprefix("_")
            if base in self._seen or base in HARMLESS:
                continue
            if base in {"modifierExtension", "implicitRules"}:
                message = "this changes the meaning in a way that is not known here"
            else:
                message = "this element is not read here, and could change what is ordered"
            self.refuse(name, message, value=_short(value), accepted="leave it out", rule="fhir-element")

    def _listed(self, name: str) -> Iterator[tuple[int, Any]]:
        value = self.take(name)
        if value is not None and (not isinstance(value, list) or not value):
            self.refuse(name, "a list is needed", value=value, accepted="a list of at least one", rule="fhir-shape")
            return
        yield from enumerate(value or ())


def concept_texts(element: Element) -> list[str]:
    """Return what a CodeableConcept says in words: its text, then the displays of its codings."""
    found = [element.text("text")]
    for coding in element.children("coding"):
        found.append(coding.text("display"))
        coding.pass_over("system", "code", "version", "userSelected")
        coding.close()
    element.close()
    return [one.strip() for one in found if one]


def codes_of(element: Element) -> set[tuple[str, str]]:
    """Return the (system, code) pairs of a CodeableConcept, which must still be closed by its reader."""
    pairs = set()
    for coding in element.children("coding"):
        system, code = coding.text("system"), coding.text("code")
        if code:
            pairs.add((system or "", code))
    return pairs


def _short(value: Any) -> str:
    """Return a value to stand in a refusal: plain ones as they are, others by their outline."""
    if isinstance(value, dict):
        return f"an object of {', '.join(value)}"
    if isinstance(value, list):
        return _short(value[0]) if len(value) == 1 else f"a list of {len(value)}"
    return str(value)
