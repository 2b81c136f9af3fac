"""What a file of orders holds: each order read or refused, with its places in the file.

CSV and FHIR are both turned into the order JSON and read by its reader, so that one set of rules holds for
every door; `Draft.places` leads a refusal back to where the sender wrote the value.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Final

from dosewright.ground.pure.errors import BadInput, Refusal
from prescriptions.intake.order_json import read_order
from prescriptions.intake.order_request import OrderRequest

UNSENT: Final = "import"
"""The source of an order whose sender is not named: one for the whole site, whoever brings the file."""

LONGEST_SOURCE: Final = 120
"""Longest name of a source [characters], as the record keeps it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """One order of a file: ``request`` once it could be read, else at least one refusal.

    ``source`` and ``reference`` tell it from all others; ``lines`` are the lines of a CSV file, from 1;
    ``notes`` say what was read into the order or left out of it; ``places`` maps the paths of the order
    JSON to those of the file, which name nothing finer where ``whole_cells``.
    """

    reference: str
    source: str = UNSENT
    request: OrderRequest | None = None
    refusals: tuple[Refusal, ...] = ()
    lines: tuple[int, ...] = ()
    notes: tuple[str, ...] = ()
    places: Mapping[str, str] = field(default_factory=dict)
    whole_cells: bool = False

    def placed(self, refusals: Sequence[Refusal]) -> tuple[Refusal, ...]:
        """Return ``refusals`` with the places that the sender knows."""
        return tuple(
            replace(one, field=place_of(one.field, self.places, whole_cells=self.whole_cells)) for one in refusals
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """All orders of one file, in its form ("orders", "csv" or "fhir").

    ``whole`` means that all are taken or none; ``delimiter`` is that of a CSV file.
    """

    form: str
    drafts: tuple[Draft, ...]
    whole: bool = False
    delimiter: str | None = None


def drafted(draft: Draft, order: Mapping[str, Any], *, today: date) -> Draft:
    """Return ``draft`` with the request that the order JSON ``order`` is, or with the refusals of its reading."""
    try:
        return replace(draft, request=read_order(order, today=today))
    except BadInput as error:
        return replace(draft, refusals=draft.placed(error.refusals))


def place_of(path: str, places: Mapping[str, str], *, whole_cells: bool = False) -> str:
    """Return where ``path`` of the order JSON stands in the file: by its longest known beginning."""
    begin = path
    while begin:
        if begin in places:
            return places[begin] + ("" if begin == path or whole_cells else path[len(begin) :])
        begin = begin[: max(begin.rfind("."), begin.rfind("["), 0)]
    return f"{places[''].rstrip('.')}.{path}" if "" in places else path


def each_once(drafts: Sequence[Draft]) -> tuple[Draft, ...]:
    """Return ``drafts`` with a refusal for each reference that stands in the file before."""
    first: dict[tuple[str, str], int] = {}
    found = []
    for number, draft in enumerate(drafts, start=1):
        earlier = first.setdefault((draft.source, draft.reference), number)
        found.append(draft if earlier == number else _twice(draft, earlier))
    return tuple(found)


def _twice(draft: Draft, earlier: int) -> Draft:
    refusal = Refusal(
        field="reference",
        message=f"order {earlier} of this file has the same reference",
        value=draft.reference,
        accepted="each reference once",
        rule="reference",
    )
    return replace(draft, request=None, refusals=(*draft.refusals, *draft.placed([refusal])))
