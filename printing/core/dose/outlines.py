"""The two outlines by which a unit is known at a glance: along its axis and from the side, in millimetres."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from printing.core.dose.revolved import ball_profile, lens_profile
from printing.core.dose.shapes.biconvex import cap_depth_mm

Corner: TypeAlias = tuple[float, float]
STEPS = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A closed outline around its middle, x to the right and y upwards [mm]; ``hole`` is empty but for a ring."""

    name: str
    corners: tuple[Corner, ...]
    hole: tuple[Corner, ...] = ()

    @property
    def size_mm(self) -> Corner:
        """Width and height [mm]."""
        xs, ys = zip(*self.corners, strict=True)
        return max(xs) - min(xs), max(ys) - min(ys)


def outlines_of(shape: str, drawn_mm: Mapping[str, float]) -> tuple[Outline, Outline]:
    """Return the outline seen along the axis of revolution and the one seen from the side.

    shape: by name.  drawn_mm: its drawn lengths [mm], in any orientation.
    """
    if shape == "ring":
        return _ring(drawn_mm)
    radius = drawn_mm["diameter"] / 2.0
    along = next(drawn_mm[name] for name in ("height", "thickness", "length") if name in drawn_mm)
    side = _mirrored(_profile(shape, drawn_mm, radius, along), along, lying="length" in drawn_mm)
    return Outline(name="face", corners=_circle(radius)), Outline(name="side", corners=side)


def _profile(shape: str, drawn_mm: Mapping[str, float], radius: float, along: float) -> Sequence[Corner]:
    if shape == "biconvex":
        cap_radius = drawn_mm["cap_radius"]
        return lens_profile(radius, drawn_mm["band"], cap_depth_mm(2.0 * radius, cap_radius), cap_radius)
    if shape == "spheroid":
        return ball_profile(radius, along / 2.0)
    if shape == "capsule-shaped":
        return ball_profile(radius, radius, along - 2.0 * radius)
    return lens_profile(radius, along, 0.0, 0.0)


def _ring(drawn_mm: Mapping[str, float]) -> tuple[Outline, Outline]:
    radius, tube = drawn_mm["diameter"] / 2.0, drawn_mm["tube"] / 2.0
    side = _mirrored(ball_profile(tube, tube, drawn_mm["diameter"] - drawn_mm["tube"]), 2.0 * radius, lying=True)
    return (
        Outline(name="face", corners=_circle(radius), hole=_circle(radius - 2.0 * tube)),
        Outline(name="side", corners=side),
    )


def _mirrored(profile: Sequence[Corner], along: float, *, lying: bool) -> tuple[Corner, ...]:
    right = [(rho, z - along / 2.0) for rho, z in profile]
    left = [(-rho, z) for rho, z in reversed(right) if rho > 0]
    corners = right + left
    return tuple((z, rho) for rho, z in corners) if lying else tuple(corners)


def _circle(radius: float) -> tuple[Corner, ...]:
    turns = (math.tau * k / STEPS for k in range(STEPS))
    return tuple((radius * math.cos(turn), radius * math.sin(turn)) for turn in turns)
