"""How one value is written on a page: safe notation, units from the name, local times, codes as links.

A name that ends in a unit (``dose_mg``) is read for it. Numbers are written whole; only binary fractions,
which are never doses, are cut to six significant digits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from enum import Enum
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from dosewright.ground.pure.canonical import decimal_text
from dosewright.roof.api.registry import subject_of
from dosewright.roof.api.rendering import is_internal

UNITS = {
    "_mg_mm3": "mg/mm³",
    "_mg_g": "mg/g",
    "_g_cm3": "g/cm³",
    "_g_mol": "g/mol",
    "_mj_cm2": "mJ/cm²",
    "_mm2_s": "mm²/s",
    "_mm_s": "mm/s",
    "_mm3": "mm³",
    "_mm2": "mm²",
    "_mm": "mm",
    "_cm": "cm",
    "_um": "µm",
    "_ul": "µL",
    "_ug": "µg",
    "_ng": "ng",
    "_mg": "mg",
    "_kg": "kg",
    "_g": "g",
    "_frac": "%",
    "_s": "s",
    "_seconds": "s",
    "_days": "days",
    "_hours": "h",
    "_deg": "°",
    "_c": "°C",
    "_bytes": "bytes",
}
ENDINGS = ("_at", "_on")

STATE_NAMES = frozenset({"state", "outcome", "verdict", "severity", "result"})
HEX = frozenset("0123456789abcdef")
MARKS = {
    "waits": "waiting received queried returned quarantined weighing planned queued draft draft-original open "
    "in-review packing mixed tested ready reason",
    "goes": "printing printed finishing testing packed passed",
    "good": "verified approved validated closed released supplied approved-to-pack pass done original issued applied "
    "within",
    "held": "blocked suspended unaccounted block investigation",
    "over": "stopped rejected cancelled faulted failed destroyed exhausted retired refused fail spoiled reject",
}
MARK_OF = {state: mark for mark, states in MARKS.items() for state in states.split()}


FIRST = (
    "what code number state order patient patient_name order_version version screen severity message in_words "
    "substance release route dose dose_mg ordered_mg calculated_mg times start_date days starts_on ends_on "
    "administrations name"
)
PLACE = {name: place for place, name in enumerate(FIRST.split())}
"""Texts that were hashed have their names sorted; people read these first."""


WORDS = {
    "seconds": gettext_lazy("Printing time"),
    "printed_name": gettext_lazy("Name"),
    "removal_order": gettext_lazy("Taken off"),
    "ready_at": gettext_lazy("Ready by this plan"),
    "late_s": gettext_lazy("Late, all lines together"),
    "why": gettext_lazy("Why it is so"),
    "sha256": "SHA-256",
    "profile_sha256": gettext_lazy("Profile, SHA-256"),
    "plate_file_sha256": gettext_lazy("Plate file, SHA-256"),
}
"""Where the name in code is not what people read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One written value: its text and what kind of thing it is."""

    text: str
    kind: str = "text"
    link: str = ""
    exact: str = ""


NOTHING = Cell(text="–", kind="nothing")


def unit_ending(name: str) -> str:
    """Return the ending of a field's name that says its unit; empty where it says none."""
    return next((one for one in UNITS if name.endswith(one) and len(name) > len(one)), "")


def label_of(name: str) -> str:
    """Return the words for a field's name, without its unit: ``dose_mg`` is "Dose"."""
    ending = unit_ending(name) or next((one for one in ENDINGS if name.endswith(one) and len(name) > len(one)), "")
    if name in WORDS:
        return str(WORDS[name])
    words = (name[: -len(ending)] if ending else name).replace("_", " ").strip()
    return _(words[:1].upper() + words[1:])


def is_simple(value: Any) -> bool:
    """Tell whether a value is written as one cell."""
    return value is None or isinstance(value, str | int | float | Decimal | date | time | Enum)


def written(name: str, value: Any) -> Cell:
    """Return `value` of the field `name` as it is written."""
    if isinstance(value, Enum):
        value = value.value
    if value is None or value == "":
        return NOTHING
    if isinstance(value, bool):
        return Cell(text=_("yes") if value else _("no"))
    if isinstance(value, datetime):
        return _moment(value)
    if isinstance(value, date):
        return Cell(text=date_format(value, "j M Y"), kind="time", exact=value.isoformat())
    if isinstance(value, time):
        return Cell(text=value.strftime("%H:%M"), kind="time")
    if isinstance(value, int | float | Decimal):
        return Cell(text=quantity(name, value), kind="number")
    return _text(name, str(value))


def quantity(name: str, value: int | float | Decimal) -> str:
    """Return a number with the unit that its name ends in."""
    exact = Decimal(f"{value:.6g}") if isinstance(value, float) else Decimal(value)
    unit = next((symbol for ending, symbol in UNITS.items() if f"_{name}".endswith(ending)), "")
    match unit:
        case "%":
            return f"{number(exact * 100)} %"
        case "µm":
            return f"{number(exact / 1000)} mm" if abs(exact) >= 1000 else f"{number(exact)} µm"
        case "µL":
            return f"{number(exact / 1000)} mL" if abs(exact) >= 1000 else f"{number(exact)} {_('microlitres')}"
        case "µg":
            return _mass_from_ug(exact)
        case "ng":
            return _mass_from_ug(exact / 1000)
        case "s":
            return duration(exact)
        case "days":
            return _days(name, exact)
        case "":
            return number(exact)
        case "°":
            return f"{number(exact)}°"
    return f"{number(exact)} {unit}"


def number(value: Decimal) -> str:
    """Return a number with leading zero, without trailing zeros, commas from 1,000 on."""
    text = decimal_text(value)
    sign, digits = ("−", text[1:]) if text.startswith("-") else ("", text)
    whole, point, places = digits.partition(".")
    return f"{sign}{int(whole):,}{point}{places}"


def duration(seconds: Decimal) -> str:
    """Return a time span in hours and minutes, or in seconds under two minutes."""
    if seconds < 120:
        return f"{number(seconds)} s"
    minutes = int(seconds) // 60
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{minutes} min"


def is_code(text: str) -> bool:
    """Tell whether a text is one of the house's codes."""
    return len(text) <= 12 and "-" in text and subject_of(text) is not None


def mark_of(state: str) -> str:
    """Return the mark of a state: waits, goes, good, held or over."""
    return MARK_OF.get(state.lower().replace(" ", "-"), "goes")


def _mass_from_ug(micrograms: Decimal) -> str:
    if abs(micrograms) >= 1_000_000:
        return f"{number(micrograms / 1_000_000)} g"
    if abs(micrograms) >= 1000:
        return f"{number(micrograms / 1000)} mg"
    return f"{number(micrograms)} {_('micrograms')}"


def _days(name: str, days: Decimal) -> str:
    text = _("1 day") if days == 1 else _("%(number)s days") % {"number": number(days)}
    if name.startswith("age") and days > 730:
        return _("%(days)s, about %(years)s years") % {"days": text, "years": f"{days / Decimal('365.25'):.1f}"}
    return text


def _moment(value: datetime) -> Cell:
    local = timezone.localtime(value) if value.tzinfo else value
    return Cell(text=date_format(local, "j M Y, H:i"), kind="time", exact=value.isoformat())


def _text(name: str, text: str) -> Cell:
    if name in STATE_NAMES or name.endswith("_state"):
        return Cell(text=text, kind="state")
    if name == "token":
        return Cell(text=text, kind="secret")
    if len(text) == 64 and HEX.issuperset(text):
        return Cell(text=text, kind="digest")
    if is_code(text):
        return Cell(text=text, kind="code", link=page_of(text))
    front, stroke, version = text.partition("/")
    if stroke and version.isdigit() and is_code(front):
        return Cell(text=text, kind="code", link=page_of(front))
    if _looks_like_date(text):
        return Cell(text=date_format(date.fromisoformat(text), "j M Y"), kind="time", exact=text)
    if _looks_like_moment(text):
        return _moment(datetime.fromisoformat(text.replace("Z", "+00:00")))
    unit_named = any(name.endswith(ending) for ending in UNITS)
    if unit_named and _looks_like_number(text):
        return Cell(text=quantity(name, Decimal(text)), kind="number")
    return Cell(text=text, kind="long" if len(text) > 90 else "text")


def _looks_like_moment(text: str) -> bool:
    return len(text) >= 20 and text[4:5] == "-" and text[10:11] == "T" and (text.endswith("Z") or text[-6] in "+-")


def _looks_like_date(text: str) -> bool:
    if len(text) != 10 or text[4] != "-" or text[7] != "-" or not text.replace("-", "").isdigit():
        return False
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _looks_like_number(text: str) -> bool:
    return 0 < len(text) <= 24 and text.lstrip("-").replace(".", "", 1).isdigit()


def page_of(code: str) -> str:
    """Return the page of the record that a code names; empty where there is none, or none for this reader."""
    from dosewright.roof.api import registry
    from dosewright.roof.pages.reader import may_open

    subject = subject_of(code)
    return f"/{subject}/{code}" if subject in registry.subjects() and may_open(subject) else ""


def address_of(subject: str, code: str) -> str:
    """Return the page of a code: the record's, or its trace where there is none, or none for this reader."""
    from dosewright.roof.api import registry
    from dosewright.roof.pages.reader import may_open

    return f"/{subject}/{code}" if subject in registry.subjects() and may_open(subject) else f"/trace/{code}"


def plain_mapping(record: Any) -> Mapping[str, Any]:
    """Return the fields of a dataclass in their order, or of a mapping in ours; numbers of rows are left out."""
    if isinstance(record, Mapping):
        was_hashed = list(record) == sorted(record)
        ordered = sorted(record, key=lambda name: PLACE.get(str(name), len(PLACE))) if was_hashed else record
        found = {str(name): record[name] for name in ordered}
    else:
        found = {name: getattr(record, name) for name in record.__dataclass_fields__}
    return {name: value for name, value in found.items() if not is_internal(name)}
