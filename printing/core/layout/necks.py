"""The thin break-off necks between raft and unit: how many, how thick, how much resin.

Common practice, no source: the tips together touch 2 % of the area that faces the raft, more the more
slender the unit is; at least three, so that it cannot tilt; none thinner than the finest printable
feature nor so thick that breaking it scars the unit. A long body and a ring have as many as leave no
more than 4 mm of their underside between two.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isqrt

LEAST_NECKS = 3
LEAST_TIP_UM = 500
MOST_TIP_UM = 900
TIP_AREA_FRAC = (2, 100)
BASE_PER_TIP = 2
"""A neck is twice as thick at the raft as at the unit, so that it breaks at the unit."""

OVERLAP_UM = 50
"""A tip reaches this far into the body of the unit; the limit is 0.05 mm (design rule)."""

MOST_SPAN_UM = 4_000

SEGMENTS = 24
_PI = (355, 113)


@dataclass(frozen=True, slots=True, kw_only=True)
class NeckRules:
    """Count and diameters [um] of the necks of one unit."""

    count: int
    tip_um: int
    base_um: int


def necks_for(contact_um2: int, height_um: int, least_width_um: int, run_um: int = 0) -> NeckRules:
    """Return the necks of a unit from the area that faces the raft, its slenderness and the length they hold.

    The tips' area is 2 % of `contact_um2` times (1 + slenderness / 4), slenderness = height / least width.
    ``run_um`` is the length of a long body's or a ring's underside [um], 0 for any other.
    """
    num, den = TIP_AREA_FRAC
    wanted_um2 = contact_um2 * num * (4 * least_width_um + height_um) // (den * 4 * least_width_um)
    count = max(LEAST_NECKS, -(-run_um // MOST_SPAN_UM))
    while _tip_um(wanted_um2, count) > MOST_TIP_UM:
        count += 1
    tip = max(LEAST_TIP_UM, _tip_um(wanted_um2, count))
    return NeckRules(count=count, tip_um=tip, base_um=BASE_PER_TIP * tip)


def neck_volume_um3(necks: NeckRules, finger_gap_um: int) -> int:
    """Return the volume of all necks of a unit between raft and unit, as round cones cut off [um3]."""
    tip, base = necks.tip_um, necks.base_um
    return necks.count * finger_gap_um * (tip * tip + tip * base + base * base) * _PI[0] // (12 * _PI[1])


def overlap_volume_um3(necks: NeckRules) -> int:
    """Return how much of the tips lies within the body of the unit, at most [um3]."""
    return necks.count * OVERLAP_UM * necks.tip_um * necks.tip_um * _PI[0] // (4 * _PI[1])


def _tip_um(area_um2: int, count: int) -> int:
    return isqrt(4 * area_um2 * _PI[1] // (_PI[0] * count))
