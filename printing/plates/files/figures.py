"""Plain drawing figures in millimetres, x to the right and y upwards: one drawing for the page and for paper."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Role = Literal[
    "plate",
    "usable",
    "raft",
    "test-raft",
    "hatch",
    "tab",
    "unit",
    "test-unit",
    "code",
    "badge",
    "badge-text",
    "note",
    "heading",
    "scale",
    "origin",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Polygon:
    """A closed outline by its corners [mm]."""

    role: Role
    corners_mm: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A full circle [mm]."""

    role: Role
    x_mm: float
    y_mm: float
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pill:
    """A rectangle around its centre, turned counter-clockwise; ``round_mm`` rounds its corners [mm]."""

    role: Role
    x_mm: float
    y_mm: float
    width_mm: float
    depth_mm: float
    round_mm: float
    rotation_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A straight line [mm]."""

    role: Role
    from_mm: tuple[float, float]
    to_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """A text on its base line, ``size_mm`` high, turned counter-clockwise about its anchor [mm]."""

    role: Role
    x_mm: float
    y_mm: float
    text: str
    size_mm: float
    anchor: Literal["start", "middle", "end"] = "start"
    rotation_deg: float = 0.0


Figure = Polygon | Circle | Pill | Stroke | Word


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Figures that belong to one zone (``zone`` is its code), with what is said about it; None: the plate's own."""

    zone: str | None
    caption: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A whole drawing: its window [mm] (left, low, width, depth) and its groups from back to front."""

    window_mm: tuple[float, float, float, float]
    groups: tuple[Group, ...]
