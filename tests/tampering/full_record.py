"""A site in which every append-only table holds a row, by the services alone; everything here is invented."""

from __future__ import annotations

from django.db import models

from dosewright.ground.export import named_models
from dosewright.roof.demo.substances import substance_texts
from labels import services as labels
from prescriptions import services as prescriptions
from prescriptions.intake.substance_toml import read_substance
from printing.stock import services as stock
from tests import packs
from tests.cast import NEXT_YEAR
from tests.orders import another_child, enter_signed, order_request
from tests.packs import Shelf
from tests.stock.premix import assayed, mixed_premix, parts_on_shelf

GS1_PREFIX = "9521234"


def full_record() -> Shelf:
    """Supply one pack and take it back, quarantine another, query an order, list an allergy, clean a bath."""
    on = packs.shelf(gs1_prefix=GS1_PREFIX)
    back = packs.supplied(on)
    labels.take_back_pack(on.cast.tomas, back, units=2, reason="the child went home", at=on.at)
    held = packs.released(on, 1)
    labels.quarantine_pack(on.cast.tomas, held, reason="a doubt", at=on.at)
    other = enter_signed(on.cast, order_request(patient=another_child(3) | LISTED), at=on.at).code
    prescriptions.query_order(on.cast.rosa, other, question="Is the evening dose right?", at=on.at)
    bath = stock.register_equipment(
        on.cast.paul,
        kind="bath",
        name="bath nine",
        formulation=on.bench.formulation,
        due_on=NEXT_YEAR,
        check="new",
        at=on.at,
    )
    stock.clean_equipment(on.cast.tomas, bath, how="as laid down", at=on.at)
    _premix(on)
    return on


def _premix(on: Shelf) -> None:
    """Mix and assay a premix of a substance that has other names."""
    text = substance_texts()["fludrocortisone"]
    prescriptions.set_up_substance(on.cast.rosa, facts=read_substance(text, since=on.at.date()), at=on.at)
    lot = mixed_premix(on.cast, parts_on_shelf(on.cast, at=on.at), at=on.at)
    assayed(on.cast, lot, "0.0199", "0.0198", "0.0197", at=on.at)


LISTED = {"allergies": {"status": "listed", "entries": ["penicillin", "latex"]}}


def empty_tables() -> list[str]:
    """Return the append-only tables that no row stands in."""
    return [model._meta.db_table for model in named_models() if not rows_of(model)]


def rows_of(model: type[models.Model]) -> list[int]:
    """Return the keys of the rows of a table."""
    return list(model._default_manager.order_by("pk").values_list("pk", flat=True))
