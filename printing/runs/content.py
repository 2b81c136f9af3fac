"""What a run, its tests and its deviations say, as frozen facts: codes and exact figures, no internal ids."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from dosewright.ground.pure.errors import Refusal

GATE, START, END, FAULT, REMOVAL = "gate", "start", "end", "fault", "removal"
STEP_START, STEP_END, BREAK_OFF = "step start", "step end", "break-off"
"""Kinds of steps of a batch record."""

LINE_CLEARANCE, LOT, TANK_FILL, PROFILE = "line clearance", "lot", "tank fill", "print profile"
LAYER_COUNT, PEOPLE, AMBER, INSPECTED = "layer count", "people trained", "amber light", "tank inspected"
GATES = (LINE_CLEARANCE, LOT, TANK_FILL, PROFILE, LAYER_COUNT, PEOPLE, AMBER)
"""What a person records before every start; `INSPECTED` comes to it after a fault on the tank."""

STATEMENTS = (LINE_CLEARANCE, PEOPLE, AMBER, INSPECTED)
"""Gates that are a person's statement."""

APPEARANCES = ("none", "minor", "major", "critical")
REJECTED_FOR = ("major", "critical")
MAY_BE_USED, MUST_NOT_BE_USED = "may be used", "must not be used"
DECISIONS = (MAY_BE_USED, MUST_NOT_BE_USED)
MIX_UP = "possible mix-up"


@dataclass(frozen=True, slots=True, kw_only=True)
class GateFacts:
    """One gate of a start: what was recorded or is computed, whether it holds now and if not why."""

    gate: str
    by_person: bool
    holds: bool
    value: str = ""
    statement: str = ""
    by: str = ""
    at: datetime | None = None
    refusal: Refusal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StepFacts:
    """One finishing step with its range [s], what was done, and whether the range was kept (None while open)."""

    number: int
    kind: str
    least_s: int
    most_s: int
    conditions: Mapping[str, str]
    started_at: datetime | None = None
    started_by: str = ""
    ended_at: datetime | None = None
    ended_by: str = ""
    equipment: str = ""
    seconds: int | None = None
    readings: Mapping[str, str]
    in_range: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EventFacts:
    """One step of a batch record as it was kept."""

    kind: str
    name: str
    zone: str
    by: str
    at: datetime
    facts: Mapping[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFacts:
    """What a linked printer is to do: nothing, hold a batch's file ready ("load"), or print it ("print")."""

    printer: str
    phase: str
    batch: str = ""
    file_sha256: str = ""
    layers: int = 0
    layer_um: int = 0
    seconds: int = 0
    profile_name: str = ""
    profile_sha256: str = ""
    layer: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFacts:
    """One batch on its way: gates, layer k of N, finishing steps, what is to be done next."""

    batch: str
    state: str
    printer: str
    gates: tuple[GateFacts, ...]
    layer: int
    layers: int
    seconds_left: int | None
    heard_at: datetime | None
    steps: tuple[StepFacts, ...]
    events: tuple[EventFacts, ...]
    deviations: tuple[DeviationFacts, ...]
    next_thing: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviationFacts:
    """One deviation with what it holds and how it was closed; whom it concerns by user name."""

    code: str
    state: str
    version: int
    kind: str
    text: str
    effect: str
    holds: bool
    batch: str
    zones: tuple[str, ...]
    resin_lot: str
    opened_by: str
    opened_at: datetime
    concerns: tuple[str, ...]
    investigation: str
    action_taken: str
    decision: str
    closed_by: str
    closed_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitEvidence:
    """One unit: predicted and measured mass [mg], what its mass lets expect it holds, appearance, assay."""

    code: str
    number: int
    state: str
    predicted_mg: Decimal
    measured_mg: Decimal | None
    deviation_frac: Decimal | None
    limit_frac: Decimal
    estimated_content_mg: Decimal | None
    appearance: str
    content_mg: Decimal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MassFinding:
    """One thing that the masses give away about a zone."""

    kind: str
    zone: str
    unit: str
    other_zone: str
    measured_mg: Decimal | None
    predicted_mg: Decimal
    deviation_frac: Decimal
    limit_frac: Decimal
    fails: bool
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ContentFacts:
    """The assay of one test unit against the dose that its kind is printed for."""

    unit: str
    zone: str
    content_mg: Decimal
    dose_mg: Decimal
    deviation_frac: Decimal
    limit_frac: Decimal
    passed: bool
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Statistics:
    """Mean, standard deviation and their fractions over the weighed units of a zone."""

    weighed: int
    mean_mg: Decimal
    sd_mg: Decimal
    rsd_frac: Decimal
    mean_deviation_frac: Decimal
    mean_limit_frac: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneEvidence:
    """Everything a verdict on a zone rests on; ``outcome`` is computed, and empty while something is missing."""

    zone: str
    batch: str
    line: str
    state: str
    wanted: int
    spares: int
    states: Mapping[str, int]
    counted: tuple[int, ...]
    good: int
    units: tuple[UnitEvidence, ...]
    statistics: Statistics | None
    findings: tuple[MassFinding, ...]
    contents: tuple[ContentFacts, ...]
    steps: tuple[StepFacts, ...]
    deviations: tuple[DeviationFacts, ...]
    missing: tuple[Refusal, ...]
    failures: tuple[Refusal, ...]
    outcome: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchPeople:
    """User ids of those who took part in a batch: made, tested, closed its deviations."""

    makers: frozenset[int]
    testers: frozenset[int]
    closers: frozenset[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordLine:
    """One line of a batch record for documents: what, its range or limit, what was found, whether it keeps it."""

    what: str
    limit: str
    found: str
    verdict: str
    by: str
    at: datetime | None
