"""Traces any code to everything that it touched, from ingredient lot to patient and back, by code alone.

Material flows one way: ingredient lot, resin lot, tank fill, print batch, zone, unit, pack, dose line, order,
patient. A trace follows the flow from the code in both directions and never turns round, so that what merely lay
beside it stays out. People, equipment and documents hang on what they touched. Nothing here holds a name.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, TypedDict

from django.db.models import Q

from dosewright.ground.models import AuditEntry, Document, User
from dosewright.ground.pure.codes import kind_of, parse
from dosewright.ground.pure.errors import BadInput, NotThere, Refusal
from dosewright.ground.pure.roles import Actor, authorise_read
from labels.models import Pack, PackUnit
from prescriptions.models import DoseLine, Order, Patient
from printing.plates.models import PlacedUnit, PrintBatch, Printer, Zone
from printing.runs.models import Measurement, RunStep
from printing.stock.models import Equipment, IngredientLot, PremixWeighing, ResinLot, TankFill, Weighing

Edge = TypedDict("Edge", {"from": str, "to": str, "how": str})


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """One record by its kind and code."""

    kind: str
    code: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """Everything that a code touched; edges run with the material, and from people and equipment to what they did."""

    nodes: tuple[Node, ...]
    edges: tuple[Edge, ...]


@dataclass(frozen=True, slots=True)
class _Link:
    start: str
    end: str
    how: str


@dataclass(slots=True)
class _Net:
    """Links between records, read from the tables a step at a time."""

    site_id: int
    kinds: dict[str, str] = field(default_factory=dict)
    links: set[_Link] = field(default_factory=set)

    def add(self, kind: str, code: str) -> None:
        self.kinds.setdefault(code, kind)

    def link(self, start: tuple[str, str], end: tuple[str, str], how: str) -> None:
        self.add(*start)
        self.add(*end)
        self.links.add(_Link(start[1], end[1], how))


MANY = 400
"""Codes in one query: well under the number of variables that any database takes."""

FLOW = (
    "ingredient lot",
    "resin lot",
    "tank fill",
    "print batch",
    "zone",
    "unit",
    "pack",
    "dose line",
    "order",
    "patient",
)
"""The kinds of records that material or its purpose flows through, in this order."""

EQUIPMENT = ("equipment", "printer", "tank fill")
"""Kinds of codes that a trace calls equipment."""


def trace(actor: Actor, code: str) -> Trace:
    """Return everything that `code` touched, both ways, sorted.

    Whoever may see traces. Raises NotAllowed, BadInput for what is no code or of a kind that is not traced, and
    NotThere for a code that is not of the actor's site.
    """
    authorise_read(actor, "trace")
    kind, tidy = parse(code)
    net = _Net(site_id=actor.site_id)
    starts = _starts(net, kind.name, tidy)
    reached: set[str] = set()
    for way in (_DOWN, _UP):
        reached |= _follow(net, starts, way)
    net.add(_shown(kind.name), tidy)
    _hang_on(net, reached)
    return _sorted(net)


def _follow(net: _Net, starts: dict[str, set[str]], way: dict[str, tuple[_Step, ...]]) -> set[str]:
    """Follow the flow one way from `starts` (kind -> codes) and return every code on it."""
    found = {code for codes in starts.values() for code in codes}
    edge: dict[str, set[str]] = {kind: set(codes) for kind, codes in starts.items()}
    order = FLOW if way is _DOWN else FLOW[::-1]
    for kind in order:
        for step in way.get(kind, ()):
            for start, end, how, next_kind in step(net.site_id, edge.get(kind, set())):
                here, there = (_shown(kind), start), (_shown(next_kind), end)
                net.link(*((here, there) if way is _DOWN else (there, here)), how)
                edge.setdefault(next_kind, set()).add(end)
                found.add(end)
    return found


_Step = Callable[[int, set[str]], Iterator[tuple[str, str, str, str]]]


def _step(rows: Callable[[int], Any], start: str, end: str, how: str, kind: str) -> _Step:
    """Return the step that reads `end` codes of rows by their `start` codes."""

    def read(site_id: int, codes: set[str]) -> Iterator[tuple[str, str, str, str]]:
        for some in _parts(codes):
            pairs = rows(site_id).filter(**{f"{start}__in": some}).values_list(start, end).distinct()
            yield from ((one, other, how, kind) for one, other in pairs.order_by(start, end) if other)

    return read


def _weighings(site_id: int) -> Any:
    return Weighing.objects.filter(resin_lot__site_id=site_id)


def _premix_weighings(site_id: int) -> Any:
    return PremixWeighing.objects.filter(premix_lot__site_id=site_id)


def _fills(site_id: int) -> Any:
    return TankFill.objects.filter(site_id=site_id)


def _batches(site_id: int) -> Any:
    return PrintBatch.objects.filter(site_id=site_id)


def _steps_with_fill(site_id: int) -> Any:
    return RunStep.objects.filter(batch__site_id=site_id, tank_fill__isnull=False)


def _zones(site_id: int) -> Any:
    return Zone.objects.filter(batch__site_id=site_id)


def _units(site_id: int) -> Any:
    return PlacedUnit.objects.filter(zone__batch__site_id=site_id)


def _packed(site_id: int) -> Any:
    return PackUnit.objects.filter(pack__site_id=site_id)


def _packs(site_id: int) -> Any:
    return Pack.objects.filter(site_id=site_id)


def _lines(site_id: int) -> Any:
    return DoseLine.objects.filter(order__site_id=site_id)


def _orders(site_id: int) -> Any:
    return Order.objects.filter(site_id=site_id)


_PAIRS: tuple[tuple[str, str, Callable[[int], Any], str, str, str], ...] = (
    ("ingredient lot", "ingredient lot", _premix_weighings, "ingredient_lot__code", "premix_lot__code", "mixed into"),
    ("ingredient lot", "resin lot", _weighings, "ingredient_lot__code", "resin_lot__code", "weighed into"),
    ("resin lot", "tank fill", _fills, "resin_lot__code", "code", "filled into"),
    ("resin lot", "print batch", _batches, "resin_lot__code", "code", "printed as"),
    ("tank fill", "print batch", _steps_with_fill, "tank_fill__code", "batch__code", "printed from"),
    ("print batch", "zone", _zones, "batch__code", "code", "holds"),
    ("zone", "unit", _units, "zone__code", "code", "holds"),
    ("zone", "dose line", _zones, "code", "line__code", "printed for"),
    ("unit", "dose line", _units, "code", "zone__line__code", "printed for"),
    ("unit", "pack", _packed, "unit__code", "pack__code", "packed into"),
    ("pack", "dose line", _packs, "code", "line__code", "packed for"),
    ("dose line", "order", _lines, "code", "order__code", "line of"),
    ("order", "patient", _orders, "code", "patient__code", "ordered for"),
)
"""How one kind flows into the next: from, to, rows, their columns, how. A lot flows into a premix before all else."""


def _ways() -> tuple[dict[str, tuple[_Step, ...]], dict[str, tuple[_Step, ...]]]:
    down: dict[str, list[_Step]] = defaultdict(list)
    up: dict[str, list[_Step]] = defaultdict(list)
    for start, end, rows, start_column, end_column, how in _PAIRS:
        down[start].append(_step(rows, start_column, end_column, how, end))
        up[end].append(_step(rows, end_column, start_column, how, start))
    return {kind: tuple(steps) for kind, steps in down.items()}, {kind: tuple(steps) for kind, steps in up.items()}


_DOWN, _UP = _ways()

_ROWS: dict[str, Callable[[int], Any]] = {
    "patient": lambda site: Patient.objects.filter(site_id=site),
    "order": _orders,
    "dose line": _lines,
    "pack": _packs,
    "unit": _units,
    "zone": _zones,
    "print batch": _batches,
    "tank fill": _fills,
    "resin lot": lambda site: ResinLot.objects.filter(site_id=site),
    "ingredient lot": lambda site: IngredientLot.objects.filter(site_id=site),
    "person": lambda site: User.objects.filter(site_id=site, kind=User.PERSON),
    "equipment": lambda site: Equipment.objects.filter(site_id=site),
    "printer": lambda site: Printer.objects.filter(site_id=site),
    "document": lambda site: Document.objects.filter(site_id=site),
}

TRACED = frozenset(_ROWS)
"""Kinds of code that can be traced."""


def _starts(net: _Net, kind: str, code: str) -> dict[str, set[str]]:
    """Return where on the flow a trace of `code` begins: at itself, or at everything that it touched directly."""
    rows = _ROWS.get(kind)
    if rows is None:
        raise BadInput(
            Refusal(
                field="code",
                value=code,
                message=f"a {kind} is not traced",
                accepted="a code of a " + ", ".join(_ROWS),
                rule="trace",
            )
        )
    if not rows(net.site_id).filter(code=code).exists():
        raise NotThere.because("code", f"no such {kind} at this site", value=code, rule="code")
    touched = {"person": _of_person, "equipment": _of_equipment, "printer": _of_printer, "document": _of_document}
    codes = touched[kind](net.site_id, code) if kind in touched else {code}
    starts: dict[str, set[str]] = defaultdict(set)
    for one in codes:
        found = kind_of(one)
        if found in FLOW:
            starts[found].add(one)
            net.add(_shown(found), one)
    return starts


def _of_person(site_id: int, code: str) -> set[str]:
    acts = AuditEntry.objects.filter(site_id=site_id, actor__code=code, outcome=AuditEntry.DONE)
    return {one for one in acts.values_list("subject", flat=True).distinct() if _is_code(one)}


def _of_equipment(site_id: int, code: str) -> set[str]:
    steps = RunStep.objects.filter(batch__site_id=site_id, equipment__code=code)
    measured = Measurement.objects.filter(zone__batch__site_id=site_id, instrument__code=code)
    return {
        *_weighings(site_id).filter(balance__code=code).values_list("resin_lot__code", flat=True),
        *_premix_weighings(site_id).filter(balance__code=code).values_list("premix_lot__code", flat=True),
        *_fills(site_id).filter(tank__code=code).values_list("code", flat=True),
        *steps.values_list("batch__code", flat=True),
        *measured.values_list("zone__code", flat=True),
    }


def _of_printer(site_id: int, code: str) -> set[str]:
    return set(_batches(site_id).filter(printer__code=code).values_list("code", flat=True))


def _of_document(site_id: int, code: str) -> set[str]:
    subject = Document.objects.values_list("subject", flat=True).get(site_id=site_id, code=code)
    return {subject} if _is_code(subject) else set()


def _hang_on(net: _Net, reached: set[str]) -> None:
    """Hang people, equipment and documents on the records that they touched."""
    on = {code for code in reached if code in net.kinds}
    for some in _parts(on):
        _people(net, some)
        _documents(net, some)
        _equipment(net, some)


def _people(net: _Net, codes: list[str]) -> None:
    acts = AuditEntry.objects.filter(
        site_id=net.site_id, subject__in=codes, outcome=AuditEntry.DONE, actor__kind=User.PERSON
    )
    for person, subject, action in acts.values_list("actor__code", "subject", "action").distinct():
        net.link(("person", person), (net.kinds[subject], subject), action)


def _documents(net: _Net, codes: list[str]) -> None:
    rows = Document.objects.filter(site_id=net.site_id, subject__in=codes)
    for subject, code, kind, state in rows.values_list("subject", "code", "kind", "state"):
        net.link((net.kinds[subject], subject), ("document", code), f"{kind}, {state}")


def _equipment(net: _Net, codes: list[str]) -> None:
    links: Iterable[tuple[str, str, str]] = (
        *_triples(_batches(net.site_id), "printer__code", "code", "printed", codes),
        *_triples(_fills(net.site_id), "tank__code", "code", "held", codes),
        *_triples(_weighings(net.site_id), "balance__code", "resin_lot__code", "weighed", codes),
        *_triples(_premix_weighings(net.site_id), "balance__code", "premix_lot__code", "weighed", codes),
        *_triples(RunStep.objects.filter(equipment__isnull=False), "equipment__code", "batch__code", "used for", codes),
        *_triples(
            Measurement.objects.filter(instrument__isnull=False), "instrument__code", "zone__code", "measured", codes
        ),
    )
    for equipment, code, how in links:
        net.link(("equipment", equipment), (net.kinds[code], code), how)


def _triples(rows: Any, equipment: str, column: str, how: str, codes: list[str]) -> Iterator[tuple[str, str, str]]:
    found = rows.filter(Q(**{f"{column}__in": codes})).values_list(equipment, column).distinct()
    yield from ((one, other, how) for one, other in found)


def _sorted(net: _Net) -> Trace:
    nodes = sorted(net.kinds.items(), key=lambda one: (_place(one[1]), one[0]))
    links = sorted(net.links, key=lambda one: (one.start, one.end, one.how))
    return Trace(
        nodes=tuple(Node(kind=kind, code=code) for code, kind in nodes),
        edges=tuple({"from": one.start, "to": one.end, "how": one.how} for one in links),
    )


KINDS = (
    "patient",
    "order",
    "dose line",
    "pack",
    "unit",
    "zone",
    "print batch",
    "resin lot",
    "ingredient lot",
    "person",
    "equipment",
    "document",
)
"""The kinds of nodes, in the order in which they are listed."""


def _place(kind: str) -> int:
    return KINDS.index(kind)


def _shown(kind: str) -> str:
    return "equipment" if kind in EQUIPMENT else kind


def _is_code(text: str) -> bool:
    try:
        parse(text)
    except BadInput:
        return False
    return True


def _parts(codes: set[str]) -> Iterator[list[str]]:
    ordered = sorted(codes)
    for place in range(0, len(ordered), MANY):
        yield ordered[place : place + MANY]
