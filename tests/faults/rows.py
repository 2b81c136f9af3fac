"""What one fault at one step on one database led to."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path

HELD, BROKEN, NOT_RUN = "held", "BROKEN", "not run"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the report; `told` says what was counted, `seen` where a person sees what happened."""

    fault: str
    step: str
    database: str
    outcome: str
    told: str
    seen: str = ""
    ran_on: str = ""
    seconds: float = 0.0

    @property
    def key(self) -> str:
        """What `--only` takes."""
        return f"{self.fault}/{self.step}/{self.database}"


Wanted = Callable[[str, str], bool]
"""Says of fault and step whether it is to be run."""


@dataclass(slots=True)
class Ledger:
    """Rows as they come in; each is told at once."""

    database: str
    say: Callable[[str], None]
    keep: Callable[[Row], None] = field(default=lambda row: None)
    rows: list[Row] = field(default_factory=list)

    def add(self, fault: str, step: str, outcome: str, told: str, *, seen: str = "", seconds: float = 0.0) -> None:
        """Keep a row."""
        row = Row(
            fault=fault,
            step=step,
            database=self.database,
            outcome=outcome,
            told=told,
            seen=seen,
            ran_on=datetime.now(UTC).date().isoformat(),
            seconds=round(seconds, 1),
        )
        self.rows.append(row)
        self.keep(row)
        self.say(f"{row.outcome:7} {row.key}: {row.told}")

    @contextmanager
    def row(self, fault: str, step: str) -> Iterator[Told]:
        """Run one row; what is asserted inside and fails makes it broken, with the reason."""
        told, begin = Told(), time.monotonic()
        try:
            yield told
        except AssertionError as failed:
            outcome, text = BROKEN, f"{told.text}; {failed}".strip("; ")
        except CannotRun as reason:
            outcome, text = NOT_RUN, str(reason)
        except Exception as trouble:  # noqa: BLE001 - whatever went wrong, the row must say so
            outcome, text = BROKEN, f"{told.text}; {type(trouble).__name__}: {trouble}".strip("; ")
        else:
            outcome, text = HELD, told.text
        self.add(fault, step, outcome, text[:900], seen=told.seen, seconds=time.monotonic() - begin)


class CannotRun(Exception):
    """This row cannot be run on this machine or this stack; says why."""


@dataclass(slots=True)
class Told:
    """What a row tells while it runs."""

    parts: list[str] = field(default_factory=list)
    seen: str = ""

    def say(self, part: str) -> None:
        """Add something that was counted."""
        self.parts.append(part)

    @property
    def text(self) -> str:
        """Everything that was counted."""
        return "; ".join(self.parts)


def kept(path: Path) -> dict[str, Row]:
    """Return the rows of earlier runs by key."""
    if not path.exists():
        return {}
    rows = [Row(**one) for one in json.loads(path.read_text(encoding="utf-8"))["rows"]]
    return {row.key: row for row in rows}


def keep(path: Path, rows: dict[str, Row], machine: str) -> None:
    """Write all rows, sorted by key, one a line."""
    lines = [json.dumps(asdict(rows[key]), ensure_ascii=False) for key in sorted(rows)]
    text = '{"machine": ' + json.dumps(machine) + ',\n"rows": [\n' + ",\n".join(lines) + "\n]}\n"
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
