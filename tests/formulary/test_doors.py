"""The doors of formulary and stock do what the services do, and say what is wrong with the input."""

from __future__ import annotations

from typing import Any

import pytest

from dosewright.ground.models import AuditEntry
from dosewright.ground.pure.errors import BadInput, NotAllowed
from dosewright.ground.pure.roles import ACTIONS
from dosewright.ground.rest import DOORS, LOOKS, Door
from dosewright.roof.api import registry
from tests.cast import FORMULATIONS, NOW, PASSWORD, Cast, found_cast, with_hydrocortisone

pytestmark = pytest.mark.django_db

TEXT = (FORMULATIONS / "hydrocortisone-tablet.toml").read_text(encoding="utf-8")
OURS = ("formulation.", "ingredient_lot.", "resin_lot.", "equipment.", "tank.")


@pytest.fixture
def cast() -> Cast:
    registry.load()
    cast = found_cast()
    with_hydrocortisone(cast)
    return cast


def take(actor: Any, key: str, code: str = "", **raw: Any) -> Any:
    return DOORS[key]().take(actor, code, raw, at=NOW)


def sign(actor: Any, key: str, code: str, **raw: Any) -> Any:
    shown = DOORS[key]().shown_with_digest(actor, code, at=NOW)
    return take(actor, key, code, password=PASSWORD, shown_digest=shown["shown_digest"], **raw)


def test_every_action_of_ours_has_exactly_one_door(cast: Cast) -> None:
    wanted = sorted(action for action in ACTIONS if action.startswith(OURS))
    assert sorted(one.action for one in DOORS.values() if one.action.startswith(OURS)) == wanted
    for one in DOORS.values():
        if one.action.startswith(OURS):
            assert one.rule().signed == (one.shown is not Door.shown), one.action


def test_a_formulation_and_a_tank_fill_through_doors_alone(cast: Cast) -> None:
    code = take(cast.nora, "formulation+", text=TEXT).code
    take(cast.nora, "formulation/submit", code)
    sign(cast.nora, "formulation/validate", code)
    assert sign(cast.rosa, "formulation/validate", code).state == "validated"
    recipe = LOOKS["formulation"]().one(cast.tomas, code, at=NOW).recipe
    lots = [_received(cast, line) for line in recipe]
    scale = {"kind": "balance", "name": "fine", "resolution_mg": "0.1", "repeatability_mg": "0.05"}
    given = {"due_on": "2027-01-01", "check": "invented"}
    balance = take(cast.paul, "equipment+", **scale, **given)["code"]
    tank = take(cast.paul, "equipment+", kind="tank", name="t", formulation=code, capacity_ml="400", **given)["code"]
    lot = take(cast.tomas, "resin-lot+", formulation=code, target_g="500").code
    amounts = ("325000", "150000", "20200", "4600", "200")
    for number, (mg, used) in enumerate(zip(amounts, lots, strict=True), start=1):
        weight = {"item_number": number, "ingredient_lot": used, "actual_mg": mg, "balance": balance}
        take(cast.tomas, "resin-lot/weigh", lot, **weight)
        take(cast.ada, "resin-lot/check-weighing", lot, item_number=number)
    take(cast.tomas, "resin-lot/mix", lot)
    for kind, place, value in (
        ("identity", "", "conforms"), ("assay", "top", "40"), ("assay", "middle", "40"), ("assay", "bottom", "39.9"),
        ("appearance", "", "clear yellow liquid, no particles"), ("cure strip", "", "110"),
    ):  # fmt: skip
        take(cast.ada, "resin-lot/test", lot, kind=kind, place=place, value=value)
    take(cast.ada, "resin-lot/end-tests", lot)
    assert sign(cast.lena, "resin-lot/approve", lot).state == "approved"
    fill = take(cast.tomas, "tank-fill+", tank=tank, resin_lot=lot, volume_ml="300").code
    assert LOOKS["tank-fill"]().one(cast.otto, fill, at=NOW).blockers == ()
    take(cast.tomas, "tank-fill/empty", fill)
    take(cast.tomas, "equipment/clean", tank, how="2-propanol, wiped")
    take(cast.ada, "equipment/check", tank, due_on="2027-02-01", passed=True, result="film fine")
    _block_and_back(cast, lot, lots[0])


def _received(cast: Cast, line: Any) -> str:
    drug = {
        "assay_frac": "0.994", "u_assay_frac": "0.003", "assay_basis": "dried", "assay_expressed_as": "form",
        "loss_on_drying_frac": "0.004",
    }  # fmt: skip
    lot = take(
        cast.tomas, "ingredient-lot+", ingredient=line.ingredient.code, supplier_lot="S", amount_g="400",
        expires_on="2027-01-01", certificate_reference="C", **(drug if line.ingredient.role == "drug" else {}),
    ).code  # fmt: skip
    take(cast.rosa, "ingredient-lot/approve", lot)
    return str(lot)


def _block_and_back(cast: Cast, lot: str, ingredient_lot: str) -> None:
    for subject, code in (("resin-lot", lot), ("ingredient-lot", ingredient_lot)):
        take(cast.tomas, f"{subject}/block", code, reason="seen")
        sign(cast.rosa, f"{subject}/unblock", code)
        assert sign(cast.jonas, f"{subject}/unblock", code).state == "approved"
        assert take(cast.rosa, f"{subject}/close", code, reason="done").state == "exhausted"


@pytest.mark.parametrize(
    ("key", "raw", "field"),
    [
        ("formulation+", {"text": "= 5"}, "formulation"),
        ("formulation+", {}, "text"),
        ("ingredient-lot+", {"ingredient": "NG-A", "amount_g": "NaN"}, "amount_g"),
        ("resin-lot+", {"formulation": "FM-A", "target_g": "1e400"}, "target_g"),
        ("resin-lot/weigh", {"item_number": 0}, "item_number"),
        ("resin-lot/weigh", {"mass": 5}, "mass"),
        ("equipment+", {"kind": "kettle"}, "kind"),
        ("tank-fill+", {"volume_ml": "a lot"}, "volume_ml"),
    ],
)
def test_wrong_input_is_named_and_leaves_an_audit_row(cast: Cast, key: str, raw: dict[str, Any], field: str) -> None:
    actor = cast.nora if key.startswith("formulation") else cast.paul if key == "equipment+" else cast.tomas
    with pytest.raises(BadInput) as caught:
        take(actor, key, "RN-A", **raw)
    assert field in [one.field for one in caught.value.refusals]
    assert AuditEntry.objects.filter(outcome="refused", action=DOORS[key].action).count() == 1


def test_looks_are_for_those_who_may_see(cast: Cast) -> None:
    for subject in ("ingredient-lot", "resin-lot", "equipment", "tank-fill"):
        assert LOOKS[subject]().page(cast.otto, after="", limit=5, filters={}, at=NOW).items == ()
        with pytest.raises(NotAllowed):
            LOOKS[subject]().page(cast.mira, after="", limit=5, filters={}, at=NOW)
    assert LOOKS["formulation"]().page(cast.mira, after="", limit=5, filters={}, at=NOW).items == ()
