"""Codes for zones and units of a plan, taken from the pools that the request brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from dosewright.ground.pure.codes import raised_part
from dosewright.ground.pure.errors import BadInput
from printing.core.layout.plan_types import PlannedZone
from printing.core.layout.request import Pools


def with_codes(plates: Sequence[Sequence[PlannedZone]], pools: Pools) -> list[tuple[PlannedZone, ...]]:
    """Return the zones of each plate with zone and unit codes from the pools, in the order of removal.

    Raises BadInput when a pool holds too few, or too few that cannot be taken for each other.
    """
    zone_pool, test_pool = list(pools.zone_codes), list(pools.test_unit_codes)
    parts: dict[str, int] = {}
    for zones in plates:
        for zone in zones:
            if zone.test is None:
                parts[zone.line.code] = parts.get(zone.line.code, 0) + 1
    coded: list[tuple[PlannedZone, ...]] = []
    for zones in plates:
        here: list[str] = []
        named = []
        for zone in zones:
            here.append(_take_zone_code(zone_pool, here))
            named.append(_named(zone, here[-1], parts, test_pool))
        coded.append(tuple(named))
    return coded


def _take_zone_code(pool: list[str], here: Sequence[str]) -> str:
    """Return the first code of the pool that differs in two places from every other on the plate."""
    for place, code in enumerate(pool):
        if all(_places_apart(raised_part(code), raised_part(other)) >= 2 for other in here):
            return pool.pop(place)
    raise BadInput.because(
        "zone_codes",
        "too few zone codes, or too alike",
        value=str(len(pool)),
        accepted="one per zone, differing in two places from all others of the plate",
    )


def _places_apart(one: str, other: str) -> int:
    return sum(a != b for a, b in zip(one, other, strict=False)) + abs(len(one) - len(other))


def _named(zone: PlannedZone, code: str, parts: dict[str, int], test_pool: list[str]) -> PlannedZone:
    line, count = zone.line, len(zone.units)
    if zone.test is not None:
        if len(test_pool) < count:
            raise BadInput.because(
                "test_unit_codes", "too few codes for test units", value=str(len(test_pool)), limit=str(count)
            )
        codes = [test_pool.pop(0) for _ in range(count)]
        return _renamed(zone, code, (1, 1), codes)
    part, total = zone.part[0], parts[line.code]
    start = part * (line.units // total) + min(part, line.units % total)
    return _renamed(zone, code, (part + 1, total), line.unit_codes[start : start + count])


def _renamed(zone: PlannedZone, code: str, part: tuple[int, int], unit_codes: Sequence[str]) -> PlannedZone:
    units = tuple(replace(unit, code=unit_code) for unit, unit_code in zip(zone.units, unit_codes, strict=True))
    return replace(zone, code=code, part=part, units=units)
