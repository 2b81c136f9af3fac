"""How the pages of each kind of record are laid out: which values lead, which columns a list has.

What a layout does not name is still shown, after what it names. To give a kind of record a hand-made page,
add a template ``record/<subject>.html`` that extends ``record.html``; to give it more to draw, add functions
to `EXTRAS`, each of which gets the actor, the record and the time and returns more context.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from dosewright.ground.pure.roles import ACTIONS, READS, Actor
from dosewright.roof.api.documents import NAMES_A_PATIENT
from dosewright.roof.pages.notation import address_of
from dosewright.roof.pages.sizes_shown import formulation_sizes, order_sizes
from printing.plates.files.plate_map import MapLabels, plate_map_svg

Extra = Callable[[Actor, Any, datetime], Mapping[str, Any]]


def plate_map(actor: Actor, record: Any, at: datetime) -> Mapping[str, Any]:
    """Draw the map of a batch's plate, each zone with a link to its page."""
    if not getattr(record, "plate", None):
        return {}
    words = MapLabels(
        title=_("Plate map of %(code)s") % {"code": record.code},
        description=_("Zones by code, numbered in the order in which they are taken off."),
        order=_("Order"),
        zone=_("Zone"),
        units=_("Units"),
        test=_("test zone"),
        count=_("{count} units"),
        part=_("part {part} of {parts}"),
    )
    drawn = plate_map_svg(record.plate, words, url=lambda code: address_of("zone", code))
    return {"plate_map": mark_safe(drawn)}


def document_file(actor: Actor, record: Any, at: datetime) -> Mapping[str, Any]:
    """Say whether the actor may open a document's file."""
    return {"opens_file": record.kind not in NAMES_A_PATIENT or actor.has(*READS["document with a name"])}


def order_again(actor: Actor, record: Any, at: datetime) -> Mapping[str, Any]:
    """Say whether the actor may enter an order that repeats this one."""
    return {"may_repeat": actor.has(*ACTIONS["order.enter"].roles)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The order in which one kind of record is shown."""

    headline: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    first: tuple[str, ...] = ()
    hidden: tuple[str, ...] = ()
    folded: tuple[str, ...] = ()
    tables: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


PLAIN = Layout()

LAYOUTS: dict[str, Layout] = {
    "order": Layout(
        headline=("patient_name", "birth_date", "patient", "substance", "release", "ready_by", "prescriber"),
        columns=(
            "code",
            "state",
            "patient_name",
            "patient",
            "substance",
            "doses_mg",
            "starts_on",
            "ready_by",
        ),
        first=("lines", "remarks", "signatures"),
        hidden=("steps", "alerts", "repeats", "supply_days"),
        folded=("reports", "versions", "patient_figures"),
        tables={
            "lines": (
                *("code", "dose_mg", "taken", "administrations", "starts_on", "ends_on", "supply", "ready_by"),
                "committed_to",
            ),
            "signatures": ("printed_name", "registration", "meaning", "at"),
        },
    ),
    "resin-lot": Layout(
        headline=("formulation_name", "formulation", "target_g", "nominal_strength_mg_g", "expires_on"),
        columns=("code", "state", "formulation", "started_at", "expires_on"),
        first=("strength", "assay", "tests"),
        hidden=("sheet",),
        tables={
            "tests": ("kind", "place", "value", "unit", "low", "high", "accepted", "passed", "tested_by", "tested_at"),
        },
    ),
    "formulation": Layout(
        headline=("name", "number", "substance", "release", "nominal_strength_mg_g", "storage"),
        columns=("code", "number", "state", "name", "substance", "release", "nominal_strength_mg_g"),
        first=("ranges", "finishing"),
        hidden=("recipe",),
        folded=("terms", "profiles", "studies", "test_plan", "residues"),
    ),
    "ingredient-lot": Layout(
        headline=("ingredient_name", "supplier_lot", "expires_on", "on_shelf_g"),
        columns=("code", "state", "ingredient_name", "supplier_lot", "expires_on", "on_shelf_g"),
    ),
    "batch": Layout(
        headline=("printer", "formulation", "resin_lot", "layers", "layer_um", "seconds", "ready_by", "ready_at"),
        columns=("code", "state", "printer", "formulation", "resin_lot", "zones", "units", "seconds", "ready_by"),
        first=("zones", "why"),
        hidden=("plate",),
        tables={"zones": ("removal_order", "code", "state", "order", "line", "wanted", "spares", "units_per_dose")},
    ),
    "plan": Layout(
        columns=("code", "state", "progress", "asked_at", "batches"),
        first=("batches", "left_out", "groups"),
        tables={
            "groups": ("formulation", "lot", "profile", "plates", "bound_plates", "controllable_ratio", "notes"),
        },
    ),
    "zone": Layout(
        headline=("batch", "batch_state", "order", "line", "wanted", "spares", "units_per_dose"),
        columns=("code", "state", "batch", "order", "line", "wanted", "spares"),
        first=("units",),
        tables={"units": ("number", "code", "state", "dose_ng", "predicted_mass_ug", "predicted_content_ng")},
    ),
    "pack": Layout(
        headline=("order", "line", "batch", "units", "use_by_date"),
        columns=("code", "state", "order", "line", "batch", "units", "use_by_date"),
    ),
    "deviation": Layout(
        headline=("kind", "batch", "zone", "resin_lot", "opened_by", "opened_at"),
        columns=("code", "state", "kind", "batch", "zone", "resin_lot", "opened_at"),
    ),
    "equipment": Layout(columns=("code", "kind", "name", "formulation", "due_on", "tank_fill")),
    "printer": Layout(columns=("code", "name", "kind", "mode", "tank")),
    "patient": Layout(
        headline=("family_name", "given_name", "birth_date", "sex", "identifiers"),
        columns=("code", "family_name", "given_name", "birth_date", "sex", "orders"),
        first=("orders",),
    ),
    "alert": Layout(headline=("severity", "message", "order"), columns=("code", "severity", "message", "order")),
    "audit": Layout(columns=("code", "at", "actor", "action", "outcome", "subject", "reason")),
    "document": Layout(headline=("kind", "number", "subject", "made_at")),
    "person": Layout(headline=("printed_name", "profession", "registration", "active")),
}

EXTRAS: dict[str, tuple[Extra, ...]] = {
    "batch": (plate_map,),
    "document": (document_file,),
    "formulation": (formulation_sizes,),
    "order": (order_again, order_sizes),
}


def layout_of(subject: str) -> Layout:
    """Return the layout of a kind of record."""
    return LAYOUTS.get(subject, PLAIN)


def extra_for(subject: str, actor: Actor, record: Any, *, at: datetime) -> Mapping[str, Any]:
    """Return what the hand-made page of a kind of record draws besides the record itself."""
    extras = EXTRAS.get(subject, ()) if record is not None else ()
    return {name: value for extra in extras for name, value in extra(actor, record, at).items()}
