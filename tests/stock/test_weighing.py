"""Weighing and mixing a resin lot: every guard on it."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from dosewright.ground.models import AuditEntry
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, NotThere
from printing.stock import queries, services
from tests.cast import (
    LOT_MG,
    NEXT_YEAR,
    NOW,
    Bench,
    Cast,
    weighed_lot,
)
from tests.stock.weighing import started, weigh_first

pytestmark = pytest.mark.django_db


def test_the_sheet_shows_targets_and_tolerances_before_anything_is_weighed(cast: Cast, bench: Bench) -> None:
    sheet = queries.resin_lot(cast.tomas, started(cast, bench), at=NOW).sheet
    assert [line.target_mg for line in sheet] == [325000, 150000, 20200, 4600, 200]
    assert (sheet[2].low_mg, sheet[2].high_mg) == (Decimal("19998"), Decimal("20402"))
    assert (sheet[3].low_mg, sheet[3].high_mg) == (Decimal("4508"), Decimal("4692"))


WEIGHING_GUARDS: list[tuple[str, type[Exception], dict[str, Any]]] = [
    ("out of turn", Conflict, {"item_number": 2}),
    ("is no place in this recipe", BadInput, {"item_number": 9}),
    ("is outside its weighing tolerance", Blocked, {"actual_mg": Decimal(318490)}),
    ("is outside its weighing tolerance", Blocked, {"actual_mg": Decimal(331510)}),
    ("is no reading of this balance", BadInput, {"actual_mg": Decimal("325000.5")}),
    ("is finer than is kept", BadInput, {"actual_mg": Decimal("325000.0001")}),
    ("is no amount", BadInput, {"actual_mg": Decimal(0)}),
    ("is no amount", BadInput, {"actual_mg": Decimal("NaN")}),
    ("is no amount", BadInput, {"actual_mg": Decimal(-5)}),
    ("no such equipment at this site", NotThere, {"balance": "EQ-3333P"}),
    ("no such ingredient lot at this site", NotThere, {"ingredient_lot": "GN-33333F"}),
]


@pytest.mark.parametrize(("message", "kind", "changes"), WEIGHING_GUARDS)
def test_a_wrong_weighing_is_refused_and_moves_nothing(
    cast: Cast, bench: Bench, message: str, kind: type[Exception], changes: dict[str, Any]
) -> None:
    lot = started(cast, bench)
    with pytest.raises(kind, match=message):
        weigh_first(cast, bench, lot, **changes)
    assert queries.balance_ug(bench.lots[0], "shelf") == 2_000_000_000
    assert queries.resin_lot(cast.rosa, lot, at=NOW).sheet[0].actual_mg is None
    assert AuditEntry.objects.filter(action="resin_lot.weigh", outcome="refused", subject=lot).count() == 1


@pytest.mark.parametrize("actual", [Decimal(318500), Decimal(331500)])
def test_the_ends_of_a_tolerance_are_inside(cast: Cast, bench: Bench, actual: Decimal) -> None:
    lot = started(cast, bench)
    weigh_first(cast, bench, lot, actual_mg=actual)
    assert queries.resin_lot(cast.rosa, lot, at=NOW).sheet[0].actual_mg == actual


def test_a_weight_outside_its_tolerance_needs_a_reason_which_stays(cast: Cast, bench: Bench) -> None:
    lot = started(cast, bench)
    with pytest.raises(Blocked):
        weigh_first(cast, bench, lot, actual_mg=Decimal(340000), reason="   ")
    weigh_first(cast, bench, lot, actual_mg=Decimal(340000), reason="poured too fast")
    assert queries.resin_lot(cast.rosa, lot, at=NOW).sheet[0].reason == "poured too fast"


def test_a_balance_weighs_nothing_below_its_least_weight(cast: Cast, bench: Bench) -> None:
    # USP <41>: 2000 x max(8 mg, 0.41 x 10 mg) = 16 g; 4.6 g in 500 g reach it in a lot of 1739.13 g.
    lot = started(cast, bench)
    for number in (1, 2, 3):
        weigh_first(
            cast, bench, lot, item_number=number, ingredient_lot=bench.lots[number - 1], actual_mg=LOT_MG[number - 1]
        )
    fourth = {"item_number": 4, "ingredient_lot": bench.lots[3], "actual_mg": Decimal(4600)}
    with pytest.raises(Blocked, match="too coarsely") as caught:
        weigh_first(cast, bench, lot, **fourth)
    refused = caught.value.refusals[0]
    assert (refused.value, refused.limit, refused.unit) == ("4600", "16000", "mg")
    assert refused.field == "phosphinate photoinitiator (invented)"
    assert refused.accepted is not None
    assert "a lot of 1739.2 g or more" in refused.accepted
    assert "at most 28.75 % of it" in refused.accepted
    weigh_first(cast, bench, lot, **fourth, balance=bench.fine)


def test_a_lot_too_small_for_the_finest_balance_is_not_started(cast: Cast, bench: Bench) -> None:
    # The fine balance: 2000 x 0.08 mg = 160 mg; 0.0004 of 400 g are exactly that, of 399.9 g they are 159.96 mg.
    with pytest.raises(Blocked, match="riboflavin") as caught:
        started(cast, bench, target_g=Decimal("399.9"))
    assert [(one.value, one.limit) for one in caught.value.refusals] == [("159.96", "160")]
    assert "a lot of 400 g or more" in str(caught.value.refusals[0].accepted)
    assert started(cast, bench, target_g=Decimal(400))


def test_another_ingredient_and_another_kind_of_equipment_are_refused(cast: Cast, bench: Bench) -> None:
    lot = started(cast, bench)
    with pytest.raises(Blocked, match="another ingredient"):
        weigh_first(cast, bench, lot, ingredient_lot=bench.lots[1])
    with pytest.raises(Blocked, match="is a tank"):
        weigh_first(cast, bench, lot, balance=bench.tank)


def test_a_lot_in_quarantine_blocked_or_expired_is_not_weighed(cast: Cast, bench: Bench) -> None:
    lot = started(cast, bench)
    facts = queries.ingredient_lot_facts(bench.lots[0], at=NOW)
    fresh = services.DeliveredLot(
        ingredient=facts.ingredient, supplier_lot="S", amount_g=Decimal(900), expires_on=date(2026, 3, 5),
        certificate_reference="C",
    )  # fmt: skip
    other = services.receive_ingredient_lot(cast.tomas, lot=fresh, at=NOW).code
    with pytest.raises(Blocked, match="is quarantined"):
        weigh_first(cast, bench, lot, ingredient_lot=other)
    services.approve_ingredient_lot(cast.rosa, other, at=NOW)
    with pytest.raises(Blocked, match="expired on 2026-03-05"):
        weigh_first(cast, bench, lot, ingredient_lot=other, at=NOW + timedelta(days=4))
    services.block_ingredient_lot(cast.tomas, bench.lots[0], reason="recall", at=NOW)
    with pytest.raises(Blocked, match="is blocked"):
        weigh_first(cast, bench, lot)


def test_an_overdue_or_failed_balance_is_not_used(cast: Cast, bench: Bench) -> None:
    lot = started(cast, bench)
    services.check_equipment(cast.tomas, bench.coarse, due_on=NEXT_YEAR, passed=False, result="drifts", at=NOW)
    with pytest.raises(Blocked, match="failed its last check"):
        weigh_first(cast, bench, lot)
    services.check_equipment(cast.paul, bench.coarse, due_on=date(2026, 3, 2), passed=True, result="fine", at=NOW)
    weigh_first(cast, bench, lot, at=NOW + timedelta(hours=13))
    second = {"item_number": 2, "ingredient_lot": bench.lots[1], "actual_mg": Decimal(150000)}
    with pytest.raises(Blocked, match="was due on 2026-03-02"):
        weigh_first(
            cast, bench, lot, at=NOW + timedelta(hours=14, minutes=30), **second
        )  # 00:30 the next day in Berlin


def test_more_than_is_on_the_shelf_is_refused(cast: Cast, bench: Bench) -> None:
    lot = started(cast, bench, target_g=Decimal(5000))
    with pytest.raises(Blocked, match="less than that is on shelf"):
        weigh_first(cast, bench, lot, actual_mg=Decimal(3_250_000))


def test_the_second_person_is_another_one_and_checks_once(cast: Cast, bench: Bench) -> None:
    lot = started(cast, bench)
    with pytest.raises(NotThere):
        services.check_weighing(cast.ada, lot, item_number=1, at=NOW)
    weigh_first(cast, bench, lot)
    with pytest.raises(NotAllowed, match="another person than the weigher"):
        services.check_weighing(cast.tomas, lot, item_number=1, at=NOW)
    services.check_weighing(cast.ada, lot, item_number=1, at=NOW)
    with pytest.raises(Conflict):
        services.check_weighing(cast.rosa, lot, item_number=1, at=NOW)
    with pytest.raises(Conflict):
        weigh_first(cast, bench, lot)


def test_nothing_is_mixed_before_all_is_weighed_and_checked(cast: Cast, bench: Bench) -> None:
    lot = started(cast, bench)
    weigh_first(cast, bench, lot)
    with pytest.raises(Blocked) as caught:
        services.mix_resin_lot(cast.tomas, lot, at=NOW)
    assert [one.message for one in caught.value.refusals] == ["is not checked by a second person"] + [
        "is not weighed"
    ] * 4


def test_a_mixed_lot_is_not_weighed_into_again(cast: Cast, bench: Bench) -> None:
    lot = weighed_lot(cast, bench)
    services.mix_resin_lot(cast.tomas, lot, at=NOW)
    with pytest.raises(Conflict):
        weigh_first(cast, bench, lot)
    with pytest.raises(Conflict):
        services.mix_resin_lot(cast.tomas, lot, at=NOW)
