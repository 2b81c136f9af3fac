"""What a plan must honour, as the checker is told it by whoever ordered the plan (never by the planner)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedLine:
    """One dose line: its unit codes and geometry, and what it may be printed with."""

    code: str
    unit_codes: tuple[str, ...]
    formulation: str
    lot: str
    layer_um: int
    dose_mg: Decimal
    outline: str
    orientation: str
    mount: str
    footprint_um: tuple[int, int]
    height_um: int
    layers: int
    volume_um3: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedTest:
    """One test zone that every plate carries."""

    which: str
    where: str
    units: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedPrinter:
    """One printer that may be used: its plate [um], and the validated profile of each formulation that it may print."""

    code: str
    plate_um: tuple[int, int]
    build_height_um: int
    profiles: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedPlan:
    """The whole order to the planner: lines, test plan of each formulation, printers, distances [um]."""

    lines: tuple[ExpectedLine, ...]
    tests: Mapping[str, tuple[ExpectedTest, ...]]
    printers: tuple[ExpectedPrinter, ...]
    unit_gap_um: int
    zone_gap_um: int
    edge_um: int
    border_um: int
    tab_um: tuple[int, int]
    tab_gap_um: int
    slab_um: int
    finger_gap_um: int

    def printer(self, code: str) -> ExpectedPrinter | None:
        """Return the printer of this code that may be used, None where there is none."""
        return next((one for one in self.printers if one.code == code), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One broken rule: which, where, what was found and what would be right."""

    rule: str
    where: str
    message: str
    value: str | None = None
    limit: str | None = None


def found_rules(findings: Sequence[Finding]) -> set[str]:
    """Return the slugs of the rules that `findings` name."""
    return {finding.rule for finding in findings}
