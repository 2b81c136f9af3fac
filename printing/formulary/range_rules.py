"""What must hold within one validated range: its shape, rule and way of printing fit together. PURE."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from dosewright.ground.pure.errors import Refusal, Refused
from printing.core.dose.shapes import Design, Shape, shape_named
from printing.core.dose.solving import exact_layers
from printing.formulary.content import RangeFacts

KEPT_BY_RULE = {
    "uniform": "aspect_frac",
    "fixed_height": "fixed_height_mm",
    "fixed_section": "fixed_section_mm",
    "fixed_tube": "fixed_tube_mm",
}
"""The one length or share that each sizing rule keeps; a range says it for its own rule and for no other."""

TRIAL_MM = 6.0


def range_faults(one: RangeFacts) -> Iterator[Refusal]:
    """Yield everything in a range that contradicts itself."""
    where = f"ranges[{one.number}]"
    pairs = [("dose_mg", (one.dose_min_mg, one.dose_max_mg)), ("surface_to_volume_mm", one.surface_to_volume_mm)]
    pairs += [(f"size_mm.{name}", limits) for name, limits in one.size_mm.items()]
    for field, (low, high) in pairs:
        if not 0 < low <= high:
            yield _fault(f"{where}.{field}", f"{low} to {high}", "is no range", accepted="0 < min <= max")
    if not one.layer_um or min(one.layer_um) <= 0 or len(set(one.layer_um)) != len(one.layer_um):
        yield _fault(f"{where}.layer_um", str(list(one.layer_um)), "are no layer heights", accepted="each once, > 0")
    yield from _kept_faults(where, one)
    yield from _shape_faults(where, one)


def _kept_faults(where: str, one: RangeFacts) -> Iterator[Refusal]:
    for rule, field in KEPT_BY_RULE.items():
        value = getattr(one, field)
        if (one.rule == rule) != (value is not None):
            accepted = f"with rule {rule} and only then"
            yield _fault(f"{where}.{field}", str(value), f"goes with rule {rule}", accepted=accepted)
    if (one.shape == "biconvex") != (one.cap_radius_frac is not None):
        value = str(one.cap_radius_frac)
        yield _fault(f"{where}.cap_radius_frac", value, "goes with shape biconvex", accepted="cap radius per diameter")
    for field in ("fixed_height_mm", "fixed_tube_mm"):
        kept = getattr(one, field)
        for layer_um in () if kept is None else one.layer_um:
            yield from _odd_layers(where, field, kept, layer_um)


def _shape_faults(where: str, one: RangeFacts) -> Iterator[Refusal]:
    """Yield what the shape does not allow, and the lengths of it that the range forgets or makes up."""
    try:
        shape = shape_named(one.shape, one.orientation)
    except Refused as refused:
        yield from _again(where, refused)
        return
    for field, value, allowed in (("rule", one.rule, shape.rules), ("mount", one.mount, shape.mounts)):
        if value not in allowed:
            message = f"is no {field} for shape {one.shape}, {one.orientation}"
            yield _fault(f"{where}.{field}", value, message, accepted=", ".join(allowed))
    if set(shape.lengths) != set(one.size_mm):
        message = "does not name the finished lengths of the shape"
        accepted = ", ".join(shape.lengths)
        yield _fault(f"{where}.size_mm", ", ".join(one.size_mm), message, accepted=accepted)
    if one.rule == "uniform" and one.aspect_frac is not None:
        yield from _trial_faults(where, one, shape)


def _trial_faults(where: str, one: RangeFacts, shape: Shape) -> Iterator[Refusal]:
    """Draw one unit of the similar family: its proportions are right or wrong whatever its size."""
    design = Design(
        shape=one.shape,
        rule=one.rule,
        orientation=one.orientation,
        mount=one.mount,
        layer_um=max(1, *one.layer_um, 1),
        aspect_frac=float(one.aspect_frac or 0),
        cap_radius_frac=None if one.cap_radius_frac is None else float(one.cap_radius_frac),
    )
    try:
        shape.at_scale(design, TRIAL_MM)
    except Refused as refused:
        yield from _again(where, refused)


def _odd_layers(where: str, field: str, kept: Decimal, layer_um: int) -> Iterator[Refusal]:
    try:
        exact_layers(float(kept), layer_um, field)
    except Refused:
        accepted = f"a multiple of {layer_um} um"
        yield _fault(f"{where}.{field}", str(kept), "is not a whole number of layers", accepted=accepted, unit="mm")


def _again(where: str, refused: Refused) -> Iterator[Refusal]:
    for one in refused.refusals:
        yield _fault(f"{where}.{one.field}", str(one.value), one.message, accepted=str(one.accepted))


def _fault(field: str, value: str | None, message: str, *, accepted: str, unit: str | None = None) -> Refusal:
    return Refusal(field=field, value=value, message=message, accepted=accepted, unit=unit, rule="formulation")
