"""Every gram is somewhere: movements and balances, tanks, equipment, and no way to make matter."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import Sum
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dosewright.ground.act import act
from dosewright.ground.models import Outbox
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, NotThere
from printing.formulary import services as formulary
from printing.stock import queries, services
from printing.stock.models import Balance, StockMovement
from tests.cast import (
    NEXT_YEAR,
    NOW,
    Bench,
    Cast,
    approved_resin_lot,
    demo_formulation,
    filled_tank,
    found_cast,
    lot_with_results,
    pen,
    ready_bench,
    validated_formulation,
    with_hydrocortisone,
)

pytestmark = pytest.mark.django_db

RECEIVED_UG = 5 * 2_000_000_000


def total_ug() -> int:
    return StockMovement.objects.aggregate(all=Sum("amount_ug"))["all"] or 0


def test_weighing_mixing_filling_and_emptying_move_and_never_make_matter(cast: Cast, bench: Bench) -> None:
    lot = approved_resin_lot(cast, bench)
    assert queries.balances_ug(lot) == {"store": 500_000_000, "vessel": 0}
    fill = filled_tank(cast, bench, lot=lot)
    # 300 mL x 1.118 g/mL = 335.4 g.
    assert queries.balances_ug(lot) == {fill: 335_400_000, "store": 164_600_000, "vessel": 0}
    services.empty_tank(cast.tomas, fill, at=NOW)
    assert queries.balances_ug(lot) == {fill: 0, "store": 164_600_000, "vessel": 0, "waste": 335_400_000}
    services.close_resin_lot(cast.tomas, lot, reason="too little for a plate", at=NOW)
    assert queries.balances_ug(lot)["waste"] == 500_000_000
    assert queries.balances_ug(bench.lots[0]) == {"shelf": 1_675_000_000}
    assert total_ug() == RECEIVED_UG
    assert queries.stock_faults(cast.site.pk) == ()


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    moves=st.lists(
        st.tuples(st.sampled_from(["shelf", "store", "waste"]), st.integers(-60, 60).filter(bool)), max_size=12
    )
)
def test_no_sequence_of_movements_goes_below_nothing(cast: Cast, moves: list[tuple[str, int]]) -> None:
    lot = f"GN-{StockMovement.objects.count():06d}"
    kept = {"shelf": 0, "store": 0, "waste": 0}
    for account, amount in moves:
        enough = kept[account] + amount >= 0
        try:
            with act(cast.tomas, "tank.empty", at=NOW, subject=lot) as doing:
                services.move_stock(doing, lot, account, amount, "drawn by chance", lot)
            assert enough
            kept[account] += amount
        except Blocked:
            assert not enough
    assert {name: queries.balance_ug(lot, name) for name in kept} == kept
    assert queries.stock_faults(cast.site.pk) == ()


def test_a_refused_movement_leaves_nothing_behind(cast: Cast) -> None:
    def in_and_too_much_out() -> None:
        with act(cast.tomas, "tank.empty", at=NOW) as doing:
            services.move_stock(doing, "GN-A", "shelf", 5, "in", "x")
            services.move_stock(doing, "GN-A", "shelf", -6, "out", "x")

    with pytest.raises(Blocked) as caught:
        in_and_too_much_out()
    assert (caught.value.refusals[0].value, caught.value.refusals[0].limit) == ("6", "5")
    assert not StockMovement.objects.exists()
    assert not Balance.objects.exists()


@pytest.mark.parametrize("amount", [0, True, 1.5])
def test_a_movement_is_whole_micrograms(cast: Cast, amount: Any) -> None:
    with pytest.raises(ValueError, match="whole number"), act(cast.tomas, "tank.empty", at=NOW) as doing:
        services.move_stock(doing, "GN-A", "shelf", amount, "in", "x")


def test_the_database_itself_keeps_a_balance_from_going_negative(cast: Cast, bench: Bench) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Balance.objects.filter(lot=bench.lots[0]).update(amount_ug=-1)


def test_a_forged_balance_is_found(cast: Cast, bench: Bench) -> None:
    Balance.objects.filter(lot=bench.lots[0], account="shelf").update(amount_ug=7)
    assert queries.stock_faults(cast.site.pk) == (f"{bench.lots[0]} shelf: moved 2000000000 ug, kept 7 ug",)


def test_movements_are_only_ever_added(cast: Cast, bench: Bench) -> None:
    for statement in ("UPDATE stock_stockmovement SET amount_ug = 1", "DELETE FROM stock_weighing"):
        lot_with_results(cast, bench)
        with pytest.raises(Exception, match="only ever added"), transaction.atomic():
            connection.cursor().execute(statement)


TANK_GUARDS: list[tuple[str, type[Exception], dict[str, Any]]] = [
    ("more than the tank holds", Blocked, {"volume_ml": Decimal(401)}),
    ("is no amount", BadInput, {"volume_ml": Decimal(0)}),
    ("no such equipment", NotThere, {"tank": "EQ-3333P"}),
    ("no such resin lot", NotThere, {"resin_lot": "RN-33333P"}),
]


@pytest.mark.parametrize(("message", "kind", "changes"), TANK_GUARDS)
def test_a_wrong_fill_is_refused(
    cast: Cast, bench: Bench, message: str, kind: type[Exception], changes: dict[str, Any]
) -> None:
    lot = approved_resin_lot(cast, bench)
    usual: dict[str, Any] = {"tank": bench.tank, "resin_lot": lot, "volume_ml": Decimal(300), "at": NOW}
    with pytest.raises(kind, match=message):
        services.fill_tank(cast.tomas, **{**usual, **changes})
    assert queries.balance_ug(lot, "store") == 500_000_000
    assert queries.fill_in_tank(bench.tank, at=NOW) is None


def test_more_than_is_in_store_does_not_go_into_a_tank(cast: Cast, bench: Bench) -> None:
    lot = approved_resin_lot(cast, bench)
    other = replace(bench, tank=_tank(cast, bench.formulation))
    filled_tank(cast, bench, lot=lot)
    with pytest.raises(Blocked, match="less than that is on store"):
        filled_tank(cast, other, lot=lot)


def _tank(cast: Cast, formulation: str, **changes: Any) -> str:
    given = {"kind": "tank", "name": "tank", "due_on": NEXT_YEAR, "check": "film new", "capacity_ml": Decimal(400)}
    return services.register_equipment(cast.paul, **{**given, "formulation": formulation, **changes}, at=NOW)


def test_two_lots_never_meet_in_one_tank(cast: Cast, bench: Bench) -> None:
    fill = filled_tank(cast, bench)
    second = approved_resin_lot(cast, bench)
    for _ in range(2):
        with pytest.raises(Conflict, match=f"holds tank fill {fill}"):
            filled_tank(cast, bench, lot=second)
    facts = queries.fill_in_tank(bench.tank, at=NOW)
    assert facts is not None
    assert (facts.code, facts.left_ml, facts.blockers) == (fill, Decimal(300), ())


def test_a_tank_is_cleaned_between_fills_and_never_with_resin_in_it(cast: Cast, bench: Bench) -> None:
    lot = approved_resin_lot(cast, bench)
    fill = filled_tank(cast, bench, lot=lot)
    with pytest.raises(BadInput, match="holds tank fill"):
        services.clean_equipment(cast.tomas, bench.tank, how="2-propanol, wiped", at=NOW)
    services.empty_tank(cast.tomas, fill, at=NOW + timedelta(hours=1))
    later = NOW + timedelta(hours=2)
    refill: dict[str, Any] = {"tank": bench.tank, "resin_lot": lot, "volume_ml": Decimal(100)}
    with pytest.raises(Blocked, match="not cleaned since"):
        services.fill_tank(cast.tomas, **refill, at=later)
    services.clean_equipment(cast.tomas, bench.tank, how="2-propanol, wiped", at=later)
    assert services.fill_tank(cast.tomas, **refill, at=later).state == "filled"
    with pytest.raises(Conflict, match="emptied before"):
        services.empty_tank(cast.tomas, fill, at=later)


def test_a_lot_that_is_not_approved_blocked_or_expired_fills_no_tank(cast: Cast, bench: Bench) -> None:
    untested = lot_with_results(cast, bench)
    with pytest.raises(Blocked, match="is tested"):
        filled_tank(cast, bench, lot=untested)
    lot = approved_resin_lot(cast, bench)
    with pytest.raises(Blocked, match="expired on 2026-04-01"):
        filled_tank(cast, bench, lot=lot, at=NOW.replace(month=4, day=2))
    services.block_resin_lot(cast.ada, lot, reason="gel", at=NOW)
    with pytest.raises(Blocked, match="is blocked"):
        filled_tank(cast, bench, lot=lot)


def test_a_tank_of_another_formulation_or_overdue_is_refused(cast: Cast, bench: Bench) -> None:
    lot = approved_resin_lot(cast, bench)
    other = formulary.draft_formulation(cast.nora, spec=demo_formulation(), at=NOW).code
    with pytest.raises(Blocked, match=f"is dedicated to formulation {other}"):
        filled_tank(cast, replace(bench, tank=_tank(cast, other)), lot=lot)
    due = _tank(cast, bench.formulation, due_on=date(2026, 3, 2))
    with pytest.raises(Blocked, match="was due on 2026-03-02"):
        filled_tank(cast, replace(bench, tank=due), lot=lot, at=NOW + timedelta(days=1))
    with pytest.raises(Blocked, match="is a balance"):
        filled_tank(cast, replace(bench, tank=bench.fine), lot=lot)


def test_a_fill_is_good_for_its_hours_and_no_longer_than_its_lot(cast: Cast, bench: Bench) -> None:
    fill = filled_tank(cast, bench)
    facts = queries.tank_fill_facts(fill, at=NOW)
    assert facts.good_until == NOW + timedelta(hours=8)
    assert queries.tank_fill_facts(fill, at=facts.good_until).blockers == ()
    late = queries.tank_fill_facts(fill, at=facts.good_until + timedelta(seconds=1))
    assert [one.message.split(" ")[0:3] for one in late.blockers] == [["was", "good", "until"]]
    services.block_resin_lot(cast.rosa, facts.resin_lot, reason="gel", at=NOW)
    assert [one.message for one in queries.tank_fill_facts(fill, at=NOW).blockers] == ["is blocked"]
    last_day = NOW.replace(month=4, day=1, hour=20)
    bench_two = ready_bench(cast, bench.formulation)
    other = filled_tank(cast, bench_two, lot=approved_resin_lot(cast, bench_two), at=last_day)
    assert queries.tank_fill_facts(other, at=last_day).good_until == NOW.replace(month=4, day=1, hour=22, minute=0)


def test_a_lot_in_a_tank_is_not_closed(cast: Cast, bench: Bench) -> None:
    lot = approved_resin_lot(cast, bench)
    filled_tank(cast, bench, lot=lot)
    with pytest.raises(Blocked, match="is in tank fill"):
        services.close_resin_lot(cast.tomas, lot, reason="done", at=NOW)


EQUIPMENT_GUARDS: list[tuple[str, dict[str, Any]]] = [
    ("kind", {"kind": "kettle"}),
    ("formulation", {"kind": "bath", "formulation": ""}),
    ("formulation", {"kind": "basket", "formulation": ""}),
    ("formulation", {"kind": "oven", "formulation": ""}),
    ("capacity_ml", {"capacity_ml": None}),
    ("resolution_mg", {"kind": "balance", "repeatability_mg": Decimal(1)}),
    ("repeatability_mg", {"kind": "balance", "resolution_mg": Decimal(1)}),
    ("due_on", {"due_on": date(2026, 3, 1)}),
    ("result", {"check": " "}),
]


@pytest.mark.parametrize(("field", "changes"), EQUIPMENT_GUARDS)
def test_equipment_says_what_it_is_for_and_until_when(
    cast: Cast, bench: Bench, field: str, changes: dict[str, Any]
) -> None:
    with pytest.raises(BadInput) as caught:
        _tank(cast, changes.pop("formulation", bench.formulation), **changes)
    assert [one.field for one in caught.value.refusals] == [field]


def test_who_may_touch_equipment(cast: Cast, bench: Bench) -> None:
    with pytest.raises(NotAllowed):
        services.register_equipment(cast.tomas, kind="cure box", name="box", due_on=NEXT_YEAR, check="lamp new", at=NOW)
    with pytest.raises(NotAllowed):
        services.clean_equipment(cast.rosa, bench.tank, how="wiped", at=NOW)
    with pytest.raises(NotAllowed):
        services.fill_tank(cast.rosa, tank=bench.tank, resin_lot=approved_resin_lot(cast, bench),
                           volume_ml=Decimal(1), at=NOW)  # fmt: skip


DRUG: dict[str, Any] = {
    "assay_frac": Decimal("0.994"),
    "u_assay_frac": Decimal("0.003"),
    "assay_basis": "dried",
    "assay_expressed_as": "form",
    "loss_on_drying_frac": Decimal("0.004"),
}
DELIVERY_GUARDS: list[tuple[str, dict[str, Any]]] = [
    ("assay_frac", {"assay_frac": None}),
    ("u_assay_frac", {"u_assay_frac": Decimal(0)}),
    ("assay_frac", {"assay_frac": Decimal("0.99400001")}),
    ("assay_frac", {"assay_frac": Decimal("NaN")}),
    ("assay", {"assay_frac": Decimal("99.4")}),
    ("assay_basis", {"assay_basis": "wet"}),
    ("water_percent", {"water_frac": Decimal("0.004")}),
    ("loss_on_drying_percent", {"loss_on_drying_frac": None}),
    ("expires_on", {"expires_on": date(2026, 3, 1)}),
    ("supplier_lot", {"supplier_lot": "  "}),
    ("certificate_reference", {"certificate_reference": ""}),
    ("amount_g", {"amount_g": Decimal(0)}),
    ("amount_g", {"amount_g": Decimal("0.0000001")}),
]


@pytest.mark.parametrize(("field", "changes"), DELIVERY_GUARDS)
def test_a_drug_without_a_usable_certificate_is_not_received(
    cast: Cast, bench: Bench, field: str, changes: dict[str, Any]
) -> None:
    drug = queries.ingredient_lot_facts(bench.lots[2], at=NOW).ingredient
    usual: dict[str, Any] = {
        "ingredient": drug, "supplier_lot": "S", "amount_g": Decimal(10), "expires_on": NEXT_YEAR,
        "certificate_reference": "C", **DRUG,
    }  # fmt: skip
    with pytest.raises(BadInput) as caught:
        services.receive_ingredient_lot(cast.tomas, lot=services.DeliveredLot(**{**usual, **changes}), at=NOW)
    assert field in [one.field for one in caught.value.refusals]
    assert total_ug() == RECEIVED_UG


def test_the_receiver_does_not_approve_and_nobody_approves_what_expired(cast: Cast, bench: Bench) -> None:
    facts = queries.ingredient_lot_facts(bench.lots[0], at=NOW)
    lot = services.DeliveredLot(
        ingredient=facts.ingredient, supplier_lot="S", amount_g=Decimal(1), expires_on=date(2026, 3, 3),
        certificate_reference="C",
    )  # fmt: skip
    code = services.receive_ingredient_lot(cast.rosa, lot=lot, at=NOW).code
    with pytest.raises(NotAllowed, match="another person than the receiver"):
        services.approve_ingredient_lot(cast.rosa, code, at=NOW)
    with pytest.raises(NotAllowed):
        services.approve_ingredient_lot(cast.tomas, code, at=NOW)
    with pytest.raises(Blocked, match="is expired"):
        services.approve_ingredient_lot(cast.jonas, code, at=NOW + timedelta(days=2))
    assert services.approve_ingredient_lot(cast.jonas, code, at=NOW).state == "approved"


def test_an_ingredient_lot_is_blocked_unblocked_rejected_and_closed_on_record(cast: Cast, bench: Bench) -> None:
    lot = bench.lots[0]
    services.block_ingredient_lot(cast.tomas, lot, reason="recall", at=NOW)
    assert Outbox.objects.filter(fact="ingredient lot blocked").count() == 1
    shown = services.shown_for_unblock_ingredient_lot(cast.rosa, lot, at=NOW)
    services.unblock_ingredient_lot(cast.rosa, lot, pen=pen(shown), at=NOW)
    with pytest.raises(NotAllowed):
        services.unblock_ingredient_lot(cast.rosa, lot, pen=pen(shown), at=NOW)
    with pytest.raises(NotAllowed):
        services.unblock_ingredient_lot(cast.tomas, lot, pen=pen(shown), at=NOW)
    services.unblock_ingredient_lot(cast.jonas, lot, pen=pen(shown), at=NOW)
    assert services.close_ingredient_lot(cast.tomas, lot, reason="nearly empty", at=NOW).state == "exhausted"
    assert queries.balances_ug(lot) == {"shelf": 0, "waste": 2_000_000_000}
    services.block_ingredient_lot(cast.rosa, bench.lots[1], reason="recall", at=NOW)
    assert services.reject_ingredient_lot(cast.rosa, bench.lots[1], reason="recall", at=NOW).state == "rejected"


def test_pages_of_the_stock_run_through_by_code(cast: Cast, bench: Bench) -> None:
    first = queries.ingredient_lots(cast.tomas, limit=3)
    second = queries.ingredient_lots(cast.tomas, limit=3, after=first.next_after)
    assert [one.code for one in (*first.items, *second.items)] == sorted(bench.lots)
    kinds = {one.kind for one in queries.equipment_list(cast.tomas, at=NOW).items}
    assert kinds == {"balance", "tank"}
    assert [one.code for one in queries.equipment_list(cast.tomas, at=NOW, kind="tank").items] == [bench.tank]
    fill = filled_tank(cast, bench)
    assert [one.code for one in queries.tank_fills(cast.tomas, tank=bench.tank).items] == [fill]
    assert [one.state for one in queries.resin_lots(cast.tomas, formulation=bench.formulation).items] == ["approved"]


def test_a_second_site_has_a_stock_of_its_own(cast: Cast, bench: Bench) -> None:
    elsewhere = found_cast(name="Another ward", suffix=".2")
    with_hydrocortisone(elsewhere)
    validated_formulation(elsewhere)
    assert queries.ingredient_lots(elsewhere.tomas).items == ()
    with pytest.raises(NotThere):
        services.block_ingredient_lot(elsewhere.rosa, bench.lots[0], reason="x", at=NOW)
