"""Directions in the patient's words, from a table of words of the law pack, one sentence for one dose line.

Counts are written in capitals and kept apart from figures ("TWO 5 mg tablets"), clock times say the part of
the day, and what is not daily says ONLY when it is taken. Nothing here guesses: what the words cannot say
exactly is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, time, timedelta
from decimal import Decimal, Inexact, localcontext

from dosewright.ground.pure.errors import BadInput, NotThere, Refusal
from dosewright.ground.pure.notation import MicroWord, format_mass, format_number
from prescriptions.timing import AsNeeded, ClockTimes, MealSlots, Timing

Words = Mapping[str, str]

_NO_FORM_NAMES = {"unit", "units", "dosage unit", "dosage units", "dose", "doses"}
_HOUSE_WORDS_MESSAGE = 'patients read the site\'s form name; "2 units" can be read as international units'


@dataclass(frozen=True, slots=True, kw_only=True)
class FormName:
    """What the site calls the printed form, for one and for many ("tablet", "tablets")."""

    one: str
    many: str

    def __post_init__(self) -> None:
        for name in (self.one, self.many):
            if not name.strip() or name.strip().lower() in _NO_FORM_NAMES:
                raise BadInput(
                    Refusal(
                        field="form",
                        value=name,
                        message=_HOUSE_WORDS_MESSAGE,
                        accepted="a form name such as tablet",
                        rule="form-name",
                    )
                )

    def of(self, count: int) -> str:
        """Return the name for `count` of them."""
        return self.one if count == 1 else self.many


@dataclass(frozen=True, slots=True, kw_only=True)
class Directions:
    """One dose line as the patient takes it.

    ``dose_mg`` [mg, > 0] is one administration, split into ``units_per_dose`` [1 to 20] equal ones;
    ``every_n_days`` [days, >= 1] counts from ``start_date``, the day of the first dose; ``weekdays`` [1 Monday to
    7 Sunday, ISO 8601]; ``stop_date`` is the day of the last dose.
    """

    form: FormName
    dose_mg: Decimal
    units_per_dose: int
    timing: Timing
    every_n_days: int = 1
    weekdays: tuple[int, ...] = ()
    start_date: date | None = None
    stop_date: date | None = None


def directions_words(directions: Directions, *, words: Words, micro_word: MicroWord) -> str:
    """Return the sentence for the label: "Take ONE 3 mg tablet (3 mg) at 7 in the morning, every day."

    Raises BadInput when the dose does not divide into equal strengths, the count is over twenty or a schedule
    cannot be said; NotThere when the language lacks a word.
    """
    count = directions.units_per_dose
    strength = unit_strength_mg(directions.dose_mg, count)
    return _say(
        words,
        "take",
        count=count_word(count, words),
        strength=strength_words(strength, micro_word),
        form=directions.form.of(count),
        dose=format_mass(directions.dose_mg, micro_word),
        when=_when(directions, words),
    )


def unit_strength_mg(dose_mg: Decimal, units_per_dose: int) -> Decimal:
    """Return the strength [mg] of each of `units_per_dose` equal ones; raises BadInput when it has no exact figure.

    Parameters: dose_mg [mg, > 0]; units_per_dose [>= 1].
    """
    if dose_mg <= 0 or units_per_dose < 1:
        raise BadInput(
            Refusal(
                field="dose_mg",
                value=f"{dose_mg} in {units_per_dose}",
                unit="mg",
                message="is no dose that can be shared out",
                rule="strength",
            )
        )
    try:
        with localcontext() as context:
            # a quotient that was rounded, such as 1/7, may still give the dose when multiplied back
            context.traps[Inexact] = True
            return dose_mg / units_per_dose
    except Inexact as inexact:
        raise BadInput(
            Refusal(
                field="units_per_dose",
                value=str(units_per_dose),
                rule="strength",
                message=f"{dose_mg} mg has no exact part of {units_per_dose} to print as a strength",
                accepted="a number of units that divides the dose exactly",
            )
        ) from inexact


def strength_words(strength_mg: Decimal, micro_word: MicroWord) -> str:
    """Return a strength as it stands before the form's name: "3 mg", "50 microgram" (common practice, no source)."""
    text = format_mass(strength_mg, micro_word)
    return text.removesuffix("s") if text.endswith("micrograms") else text


def count_word(count: int, words: Words) -> str:
    """Return `count` [1 to 20] in capitals; raises BadInput outside."""
    names = _word(words, "counts").split()
    if not 1 <= count <= len(names):
        raise BadInput(
            Refusal(
                field="units_per_dose",
                value=str(count),
                limit=f"1 to {len(names)}",
                rule="count",
                message="is no number of units for one dose that a label puts in words",
            )
        )
    return names[count - 1]


def clock_words(at: time, words: Words) -> str:
    """Return a local clock time with its part of the day: "7 in the morning", "12 noon", "7:30 in the evening".

    Raises BadInput for times with seconds, which nobody can keep.
    """
    if at.second or at.microsecond:
        raise BadInput(Refusal(field="times", value=at.isoformat(), message="has seconds", accepted="HH:MM"))
    clock24 = f"{at:%H:%M}"
    fixed = words.get(f"clock_at_{clock24}")
    if fixed:
        return fixed
    pattern = words[max(key for key in words if key.startswith("clock_from_") and key <= f"clock_from_{clock24}")]
    return pattern.format(clock=_figures(at, words), clock24=clock24)


def date_words(day: date, words: Words) -> str:
    """Return `day` with its month in words, which no country reads the other way round."""
    month = _word(words, "months").split()[day.month - 1]
    return _say(words, "date", day=str(day.day), month=month, year=str(day.year))


def period_words(start: date, stop: date, words: Words) -> str:
    """Return first and last day of the course as a sentence; raises BadInput when the last is before the first."""
    if stop < start:
        raise BadInput(
            Refusal(
                field="stop_date",
                value=stop.isoformat(),
                message="is before the start",
                limit=start.isoformat(),
                rule="period",
            )
        )
    if start == stop:
        return _say(words, "one_day", start=date_words(start, words))
    return _say(words, "period", start=date_words(start, words), stop=date_words(stop, words))


def supply_words(number: int, count: int, words: Words) -> str:
    """Return which part of the course is in the container, "Supply 1 of 2."; empty where there is one alone."""
    return _say(words, "supply", number=str(number), count=str(count)) if count > 1 else ""


def quantity_words(count: int, form: FormName, words: Words) -> str:
    """Return how many are in the container: "28 tablets"; raises BadInput below 1."""
    if count < 1:
        raise BadInput(Refusal(field="count", value=str(count), message="is no content of a container", limit="1"))
    return _say(words, "quantity", count=format_number(Decimal(count)), form=form.of(count))


def joined(parts: list[str], words: Words) -> str:
    """Return `parts` as a list in words: "a", "a and b", "a, b and c"."""
    if len(parts) == 1:
        return parts[0]
    return _say(words, "and", first=_word(words, "comma").join(parts[:-1]), last=parts[-1])


def _when(directions: Directions, words: Words) -> str:
    timing, start = directions.timing, directions.start_date
    if isinstance(timing, AsNeeded):
        return _as_needed(timing, words)
    times = _times(timing, words)
    if directions.weekdays and directions.every_n_days != 1:
        raise BadInput(Refusal(field="weekdays", message="cannot stand together with every n days", rule="timing"))
    if start is not None and start == directions.stop_date:
        return _say(words, "on_one_day", times=times, day=date_words(start, words))
    if directions.weekdays:
        names = _word(words, "weekdays").split()
        days = joined([names[day - 1] for day in sorted(directions.weekdays)], words)
        return _say(words, "on_weekdays", times=times, weekdays=days)
    if directions.every_n_days != 1:
        return _every_days(directions, times, words)
    return _say(words, "every_day", times=times)


def _every_days(directions: Directions, times: str, words: Words) -> str:
    """Say the first two days too, for "every 3 days" is read as one day on, three off, as well."""
    start, days = directions.start_date, directions.every_n_days
    if start is None:
        message = "every n days cannot be put in words without the first day"
        raise BadInput(
            Refusal(field="start_date", message=message, accepted="the day of the first dose", rule="timing")
        )
    then = start + timedelta(days=days)
    return _say(
        words,
        "every_days",
        times=times,
        days=str(days),
        first=date_words(start, words),
        second=date_words(then, words),
    )


def _times(timing: ClockTimes | MealSlots, words: Words) -> str:
    if isinstance(timing, MealSlots):
        said = [_word(words, f"slot {slot.value}") for slot in timing.slots]
    else:
        said = [_say(words, "at", clock=clock_words(at, words)) for at in timing.times]
    if not said:
        raise BadInput(Refusal(field="times", message="a dose without a time cannot be put in words", rule="timing"))
    return joined(said, words)


def _as_needed(timing: AsNeeded, words: Words) -> str:
    if not timing.reason.strip():
        raise BadInput(Refusal(field="reason", message="a dose as needed says what for", rule="as-needed"))
    most = timing.most_per_day
    return _say(
        words,
        "as_needed",
        reason=timing.reason.strip(),
        interval=_interval(timing.least_interval_h, words),
        most=_say(words, "dose_one" if most == 1 else "dose_many", count=str(most)),
    )


def _interval(hours: Decimal, words: Words) -> str:
    if hours < 1:
        return _say(words, "minutes", count=format_number(hours * 60))
    return _say(words, "hour_one" if hours == 1 else "hour_many", count=format_number(hours))


def _figures(at: time, words: Words) -> str:
    hour = at.hour if _word(words, "clock_hours") == "24" else (at.hour - 1) % 12 + 1
    return f"{hour}:{at.minute:02d}" if at.minute else str(hour)


def _word(words: Words, key: str) -> str:
    if key not in words:
        raise NotThere.because("language", "the language has no word for this", value=key)
    return words[key]


def _say(words: Words, key: str, **parts: str) -> str:
    return _word(words, key).format(**parts)
