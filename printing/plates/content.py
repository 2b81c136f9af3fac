"""What plates say, as frozen facts for services on the right and for people; codes, never internal ids."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitFacts:
    """One unit: where it stands, what it is predicted to weigh and hold [ug], what became of it."""

    code: str
    number: int
    state: str
    x_um: int
    y_um: int
    dose_ng: int
    predicted_mass_ug: int
    predicted_content_ng: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneFacts:
    """One zone with its units; a test zone has no line and no order.

    ``wanted`` units are ordered and ``spares`` stand beside them; zones are taken off in ``removal_order``.
    """

    code: str
    batch: str
    batch_state: str
    line: str | None
    order: str | None
    state: str
    version: int
    part: int
    parts: int
    wanted: int
    spares: int
    removal_order: int
    units_per_dose: int
    size_digest: str
    units: tuple[UnitFacts, ...]

    @property
    def counts(self) -> Mapping[str, int]:
        """How many units are in each state."""
        found: dict[str, int] = {}
        for unit in self.units:
            found[unit.state] = found.get(unit.state, 0) + 1
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRow:
    """One line of the list of batches."""

    code: str
    state: str
    printer: str
    formulation: str
    resin_lot: str
    layers: int
    seconds: int
    units: int
    zones: int
    ready_by: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchFacts:
    """One print batch with everything that planning decided, and its plate file once there is one.

    ``set_up_at`` and ``ready_at`` are the plan's timetable, ``late_s`` how late its lines would be together [s].
    """

    code: str
    kind: str
    plan: str
    state: str
    version: int
    printer: str
    printer_mode: str
    formulation: str
    resin_lot: str
    profile: str
    profile_name: str
    profile_sha256: str
    layer_um: int
    layers: int
    seconds: int
    resin_ul: int
    planned_at: datetime
    ready_by: datetime
    set_up_at: datetime | None
    ready_at: datetime | None
    late_s: int
    why: tuple[str, ...]
    plan_digest: str
    plate: Mapping[str, Any]
    zones: tuple[ZoneFacts, ...]
    orders: tuple[str, ...]
    plate_file: str | None
    plate_file_sha256: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckFacts:
    """The last calibration or laser check of a printer."""

    kind: str
    done_at: datetime
    due_on: date
    passed: bool
    result: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PrinterFacts:
    """One printer with its plate [um] and its last checks."""

    code: str
    name: str
    kind: str
    mode: str
    plate_um: tuple[int, int]
    build_height_um: int
    tank: str
    version: int
    checks: tuple[CheckFacts, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFacts:
    """One plan that was asked for: how far it is, and its result or why there is none."""

    code: str
    state: str
    progress: str
    failure: str
    asked_at: datetime
    batches: tuple[str, ...]
    left_out: tuple[Mapping[str, str], ...]
    groups: tuple[Mapping[str, Any], ...]
