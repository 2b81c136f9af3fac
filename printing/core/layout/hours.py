"""Opening hours, forwards and backwards: attended work goes on only while the site is open.

Whole seconds throughout; a day is the site's own day, also where clocks are put on or back.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

from dosewright.ground.pure.errors import BadInput, Refused

MOST_DAYS = 400
"""Nothing is planned further than this from a time that is asked about."""

DAY_MINUTES = 24 * 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours:
    """When people are there: minutes after midnight on these days of the week (1 is Monday), in the site's zone."""

    zone: tzinfo
    opens_min: int
    closes_min: int
    days: frozenset[int]

    def __post_init__(self) -> None:
        if not (0 <= self.opens_min < self.closes_min <= DAY_MINUTES):
            raise BadInput.because("opening hours", "open before they close", value=f"{self.opens_min} min")
        if not self.days or not self.days <= frozenset(range(1, 8)):
            raise BadInput.because("opening days", "are none", value=str(sorted(self.days)), accepted="1 to 7")

    @property
    def open_s(self) -> int:
        """Return how long a usual day is open [s]."""
        return (self.closes_min - self.opens_min) * 60

    def next_open(self, at: datetime) -> datetime:
        """Return the first moment from `at` on at which work can begin."""
        return next(max(opens, at) for opens, closes in self._spans(at, 1) if closes > at)

    def last_open(self, at: datetime) -> datetime:
        """Return the last moment up to `at` at which work can end."""
        return next(min(closes, at) for opens, closes in self._spans(at, -1) if opens < at)

    def is_open(self, at: datetime) -> bool:
        """Tell whether people are there at `at`, opening and closing included."""
        return any(opens <= at <= closes for opens, closes in self._near(at))

    def work(self, at: datetime, seconds: int) -> datetime:
        """Return when work of `seconds` ends that begins at `at` or, where it is closed, at the next opening."""
        left = timedelta(seconds=seconds)
        for opens, closes in self._spans(at, 1):
            begin = max(opens, at)
            if closes > begin and begin + left <= closes:
                return begin + left
            left -= max(closes - begin, timedelta())
        raise AssertionError("an endless calendar ended")

    def work_back(self, at: datetime, seconds: int) -> datetime:
        """Return when work of `seconds` must begin to end at `at` or before."""
        left = timedelta(seconds=seconds)
        for opens, closes in self._spans(at, -1):
            end = min(closes, at)
            if opens < end and end - left >= opens:
                return end - left
            left -= max(end - opens, timedelta())
        raise AssertionError("an endless calendar ended")

    def held(self, at: datetime, seconds: int) -> datetime:
        """Return the first start from `at` on of a step that somebody must start and must end in time."""
        length, start = timedelta(seconds=seconds), self.next_open(at)
        for _ in range(MOST_DAYS):
            end = start + length
            if self.is_open(end):
                return start
            start = self.next_open(self.next_open(end) - length)
        raise _never(seconds)

    def held_back(self, at: datetime, seconds: int) -> datetime:
        """Return the last start of such a step that ends at `at` or before."""
        length, end = timedelta(seconds=seconds), self.last_open(at)
        for _ in range(MOST_DAYS):
            start = end - length
            if self.is_open(start):
                return start
            end = self.last_open(self.last_open(start) + length)
        raise _never(seconds)

    def day_of(self, at: datetime) -> date:
        """Return the site's day at `at`."""
        return at.astimezone(self.zone).date()

    def _spans(self, at: datetime, step: int) -> Iterator[tuple[datetime, datetime]]:
        """Yield opening and closing of the days from that of `at` on (or back), from its neighbour to be sure."""
        first = self.day_of(at) - timedelta(days=step)
        for count in range(MOST_DAYS):
            day = first + timedelta(days=step * count)
            if day.isoweekday() in self.days:
                yield self._moment(day, self.opens_min), self._moment(day, self.closes_min)
        raise BadInput.because("at", "lies too far from any opening", value=at.isoformat())

    def _near(self, at: datetime) -> Iterator[tuple[datetime, datetime]]:
        for shift in (-1, 0, 1):
            day = self.day_of(at) + timedelta(days=shift)
            if day.isoweekday() in self.days:
                yield self._moment(day, self.opens_min), self._moment(day, self.closes_min)

    def _moment(self, day: date, minutes: int) -> datetime:
        days, rest = divmod(minutes, DAY_MINUTES)
        local = datetime.combine(day + timedelta(days=days), time(rest // 60, rest % 60), tzinfo=self.zone)
        return local.astimezone(UTC)


def _never(seconds: int) -> Refused:
    return BadInput.because(
        "opening hours", "a step of this length never starts and ends while the site is open", value=str(seconds)
    )
