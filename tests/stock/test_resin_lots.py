"""The whole way of a resin lot: tested, approved, blocked, expired; every guard on it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from dosewright.ground.models import Outbox, Signature
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, NotThere
from dosewright.ground.pure.roles import Channel
from printing.formulary import services as formulary
from printing.stock import queries, services
from tests.cast import (
    NOW,
    Bench,
    Cast,
    approve_lot,
    approved_resin_lot,
    demo_formulation,
    found_cast,
    lot_results,
    lot_with_results,
    pen,
    ready_bench,
    validated_formulation,
    weighed_lot,
    with_hydrocortisone,
)
from tests.stock.weighing import started, weigh_first

pytestmark = pytest.mark.django_db


def test_the_whole_way_to_approved(cast: Cast, bench: Bench) -> None:
    lot = lot_with_results(cast, bench)
    assert approve_lot(cast, lot).state == "approved"
    facts = queries.resin_lot_facts(lot, at=NOW)
    assert (facts.state, facts.verdict, facts.blockers) == ("approved", "free", ())
    assert facts.ingredient_lots == bench.lots
    assert Outbox.objects.filter(fact="resin lot approved").count() == 1
    record = queries.resin_lot(cast.otto, lot, at=NOW)
    assert record.assay is not None
    assert record.assay.agrees
    assert record.assay.mean_mg_g == Decimal("39.983333333")
    assert [line.checked_by for line in record.sheet] == ["Ada Brandt"] * 5
    assert all(one.passed for one in record.tests)


def test_tests_follow_the_plan_and_are_never_replaced(cast: Cast, bench: Bench) -> None:
    lot = weighed_lot(cast, bench)
    with pytest.raises(Conflict, match="is weighing"):
        services.record_lot_test(cast.ada, lot, kind="identity", value="conforms", at=NOW)
    services.mix_resin_lot(cast.tomas, lot, at=NOW)
    for wrong in (
        {"kind": "taste", "value": "sweet"},
        {"kind": "assay", "value": "40"},
        {"kind": "assay", "place": "left", "value": "40"},
        {"kind": "assay", "place": "top", "value": "forty"},
        {"kind": "assay", "place": "top", "value": "NaN"},
        {"kind": "assay", "place": "top", "value": "-40"},
        {"kind": "identity", "value": " "},
    ):
        with pytest.raises(BadInput):
            services.record_lot_test(cast.ada, lot, at=NOW, **wrong)
    services.record_lot_test(cast.ada, lot, kind="assay", place="top", value="30", at=NOW)
    with pytest.raises(Conflict, match="not replaced"):
        services.record_lot_test(cast.ada, lot, kind="assay", place="top", value="40", at=NOW)
    with pytest.raises(Blocked) as caught:
        services.end_lot_tests(cast.ada, lot, at=NOW)
    assert [one.field for one in caught.value.refusals] == [
        "identity", "assay middle", "assay bottom", "appearance", "cure strip",
    ]  # fmt: skip


APPROVAL_GUARDS: list[tuple[str, dict[str, Any]]] = [
    ("identity: failed its limits", {"identity": "does not conform"}),
    ("appearance: failed its limits", {"appearance": "cloudy"}),
    ("cure strip: failed its limits", {"cure strip": "94.9"}),
    ("cure strip: failed its limits", {"cure strip": "125.1"}),
    ("assay: failed its limits", {"assay_top": "37.9"}),
    ("places differ by", {"assay_top": "40.5", "assay_bottom": "39.6"}),
    ("does not agree", {"assay_top": "41.3", "assay_middle": "41.3", "assay_bottom": "41.3"}),
    ("investigation: is needed", {"assay_top": "38.7", "assay_middle": "38.8", "assay_bottom": "38.8",
                                  "weights": {3: Decimal(19600)}}),
    ("outside what may ever be used", {"assay_top": "38.1", "assay_middle": "38.1", "assay_bottom": "38.1",
                                       "weights": {3: Decimal(18900)}}),
]  # fmt: skip


@pytest.mark.parametrize(("message", "results"), APPROVAL_GUARDS)
def test_what_stands_against_approval_is_named(cast: Cast, bench: Bench, message: str, results: dict[str, Any]) -> None:
    lot = lot_with_results(cast, bench, **results)
    with pytest.raises(Blocked, match=message):
        approve_lot(cast, lot)
    assert queries.resin_lot_facts(lot, at=NOW).state == "tested"
    assert not Signature.objects.filter(subject=lot).exists()


def test_an_investigation_opens_the_way_between_95_and_97(cast: Cast, bench: Bench) -> None:
    assays = {"assay_top": "38.7", "assay_middle": "38.8", "assay_bottom": "38.8"}
    lot = lot_with_results(cast, bench, weights={3: Decimal(19600)}, **assays)
    assert queries.resin_lot(cast.rosa, lot, at=NOW).assay.verdict == "investigation"  # type: ignore[union-attr]
    assert approve_lot(cast, lot, investigation="DEV 1: short weight, no harm").state == "approved"


@pytest.mark.parametrize("results", [{"assay_top": "38.8001", "assay_middle": "38.81", "assay_bottom": "38.82"}])
def test_the_ends_of_the_free_range_need_no_investigation(cast: Cast, bench: Bench, results: dict[str, str]) -> None:
    lot = lot_with_results(cast, bench, weights={3: Decimal(19610)}, **results)
    assert approve_lot(cast, lot).state == "approved"


def test_nobody_approves_what_they_took_part_in(cast: Cast, bench: Bench) -> None:
    lot = services.start_resin_lot(cast.tomas, formulation=bench.formulation, target_g=Decimal(500), at=NOW).code
    amounts = (325000, 150000, 20200, 4600, 200)
    for number, (mg, ingredient_lot) in enumerate(zip(amounts, bench.lots, strict=True), start=1):
        services.weigh(
            cast.rosa if number == 3 else cast.tomas, lot, item_number=number, ingredient_lot=ingredient_lot,
            actual_mg=Decimal(mg), balance=bench.coarse if number <= 2 else bench.fine, at=NOW,
        )  # fmt: skip
        services.check_weighing(cast.ada, lot, item_number=number, at=NOW)
    services.mix_resin_lot(cast.ada, lot, at=NOW)
    for kind, place, value in lot_results():
        services.record_lot_test(cast.jonas, lot, kind=kind, place=place, value=value, at=NOW)
    services.end_lot_tests(cast.ada, lot, at=NOW)
    people = queries.people_of_resin_lot(lot)
    assert people.makers == {cast.tomas.user_id, cast.rosa.user_id, cast.ada.user_id}
    assert people.testers == {cast.jonas.user_id}
    for taker in ("rosa", "jonas"):
        with pytest.raises(NotAllowed, match="another person than the maker"):
            approve_lot(cast, lot, by=taker)
    assert approve_lot(cast, lot, by="lena").state == "approved"


@pytest.mark.parametrize("name", ["tomas", "mira", "otto", "nora", "paul", "worker"])
def test_only_pharmacists_approve(cast: Cast, bench: Bench, name: str) -> None:
    lot = lot_with_results(cast, bench)
    with pytest.raises(NotAllowed):
        approve_lot(cast, lot, by=name)


def test_no_token_and_no_stale_view_approves(cast: Cast, bench: Bench) -> None:
    lot = lot_with_results(cast, bench)
    shown = services.shown_for_approve(cast.lena, lot, at=NOW)
    with pytest.raises(NotAllowed):
        services.approve_resin_lot(cast.act("lena.fuchs", Channel.TOKEN), lot, pen=pen(shown), at=NOW)
    services.clean_equipment(cast.tomas, bench.tank, how="wiped", at=NOW)
    services.block_ingredient_lot(cast.rosa, bench.lots[1], reason="recall", at=NOW)
    with pytest.raises(Blocked, match="was weighed in and is blocked"):
        services.approve_resin_lot(cast.lena, lot, pen=pen(shown), at=NOW)
    unblock_twice(cast, bench.lots[1])
    with pytest.raises(Conflict, match="has changed since"):
        services.approve_resin_lot(cast.lena, lot, pen=pen({"resin_lot": None}), at=NOW)


def unblock_twice(cast: Cast, ingredient_lot: str) -> services.LotAnswer:
    for actor in (cast.rosa, cast.jonas):
        shown = services.shown_for_unblock_ingredient_lot(actor, ingredient_lot, at=NOW)
        answer = services.unblock_ingredient_lot(actor, ingredient_lot, pen=pen(shown), at=NOW)
    return answer


def test_block_and_unblock_by_two_pharmacists(cast: Cast, bench: Bench) -> None:
    lot = approved_resin_lot(cast, bench)
    services.block_resin_lot(cast.tomas, lot, reason="gel seen", at=NOW)
    assert [one.message for one in queries.resin_lot_facts(lot, at=NOW).blockers] == ["is blocked"]
    shown = services.shown_for_unblock_resin_lot(cast.rosa, lot, at=NOW)
    assert services.unblock_resin_lot(cast.rosa, lot, pen=pen(shown), at=NOW).state == "blocked"
    with pytest.raises(NotAllowed):
        services.unblock_resin_lot(cast.rosa, lot, pen=pen(shown), at=NOW)
    assert services.unblock_resin_lot(cast.jonas, lot, pen=pen(shown), at=NOW).state == "approved"
    with pytest.raises(Conflict):
        services.unblock_resin_lot(cast.lena, lot, pen=pen(shown), at=NOW)


def test_a_signature_of_an_earlier_block_does_not_count_for_a_later_one(cast: Cast, bench: Bench) -> None:
    lot = bench.lots[0]
    for _ in range(2):
        services.block_ingredient_lot(cast.rosa, lot, reason="recall", at=NOW)
        shown = services.shown_for_unblock_ingredient_lot(cast.rosa, lot, at=NOW)
        assert services.unblock_ingredient_lot(cast.rosa, lot, pen=pen(shown), at=NOW).state == "blocked"
        assert services.unblock_ingredient_lot(cast.lena, lot, pen=pen(shown), at=NOW).state == "approved"


def test_an_ingredient_blocked_later_stops_the_resin_made_with_it(cast: Cast, bench: Bench) -> None:
    lot = approved_resin_lot(cast, bench)
    services.block_ingredient_lot(cast.rosa, bench.lots[2], reason="recall", at=NOW)
    blockers = queries.resin_lot_facts(lot, at=NOW).blockers
    assert [one.value for one in blockers] == [bench.lots[2]]
    assert queries.resin_lot_with(bench.lots[2]) == (lot,)


def test_expiry_is_worked_out_from_life_and_ingredients_at_use(cast: Cast, bench: Bench) -> None:
    lot = approved_resin_lot(cast, bench)
    assert queries.resin_lot_facts(lot, at=NOW).expires_on == date(2026, 4, 1)
    last = NOW.replace(month=4, day=1)
    assert queries.resin_lot_facts(lot, at=last).blockers == ()
    blockers = queries.resin_lot_facts(lot, at=last + timedelta(days=1)).blockers
    assert [one.message for one in blockers] == ["expired on 2026-04-01"]


def test_a_lot_lives_no_longer_than_its_ingredients(cast: Cast, bench: Bench) -> None:
    facts = queries.ingredient_lot_facts(bench.lots[0], at=NOW)
    short = services.DeliveredLot(
        ingredient=facts.ingredient, supplier_lot="S", amount_g=Decimal(900), expires_on=date(2026, 3, 10),
        certificate_reference="C",
    )  # fmt: skip
    other = services.receive_ingredient_lot(cast.tomas, lot=short, at=NOW).code
    services.approve_ingredient_lot(cast.rosa, other, at=NOW)
    lot = weighed_lot(cast, replace(bench, lots=(other, *bench.lots[1:])))
    assert queries.resin_lot_facts(lot, at=NOW).expires_on is None
    services.mix_resin_lot(cast.tomas, lot, at=NOW)
    assert queries.resin_lot_facts(lot, at=NOW).expires_on == date(2026, 3, 10)


def test_a_formulation_that_is_not_validated_makes_no_lot(cast: Cast, bench: Bench) -> None:
    draft = formulary.draft_formulation(cast.nora, spec=demo_formulation(), at=NOW).code
    with pytest.raises(Blocked, match="is not validated"):
        services.start_resin_lot(cast.tomas, formulation=draft, target_g=Decimal(500), at=NOW)
    lot = approved_resin_lot(cast, bench)
    formulary.suspend_formulation(cast.rosa, bench.formulation, reason="drift", at=NOW)
    with pytest.raises(Blocked, match="is not validated"):
        started(cast, bench)
    assert [one.message for one in queries.resin_lot_facts(lot, at=NOW).blockers] == ["is suspended"]


@pytest.mark.parametrize("flag", ["controlled", "hazardous"])
def test_controlled_and_hazardous_substances_wait_for_the_sites_switch(flag: str) -> None:
    cast = found_cast()
    with_hydrocortisone(cast, **{flag: True})
    code = validated_formulation(cast)
    with pytest.raises(Blocked, match=flag):
        services.start_resin_lot(cast.tomas, formulation=code, target_g=Decimal(500), at=NOW)
    cast.site.values_text = f'{{"{flag}_on": true}}'
    cast.site.save()
    assert services.start_resin_lot(cast.tomas, formulation=code, target_g=Decimal(500), at=NOW).state == "weighing"


def test_reject_is_for_good_and_approved_lots_are_blocked_first(cast: Cast, bench: Bench) -> None:
    lot = approved_resin_lot(cast, bench)
    with pytest.raises(Conflict):
        services.reject_resin_lot(cast.rosa, lot, reason="x", at=NOW)
    services.block_resin_lot(cast.rosa, lot, reason="gel", at=NOW)
    assert services.reject_resin_lot(cast.rosa, lot, reason="gel confirmed", at=NOW).state == "rejected"
    with pytest.raises(Conflict):
        services.block_resin_lot(cast.rosa, lot, reason="again", at=NOW)
    with pytest.raises(BadInput):
        services.block_resin_lot(cast.rosa, approved_resin_lot(cast, bench), reason=" ", at=NOW)


def test_another_sites_lots_do_not_exist_here(cast: Cast, bench: Bench) -> None:
    elsewhere = found_cast(name="Another ward", suffix=".2")
    with_hydrocortisone(elsewhere)
    there = ready_bench(elsewhere)
    lot = started(cast, bench)
    with pytest.raises(NotThere):
        queries.resin_lot(elsewhere.rosa, lot, at=NOW)
    with pytest.raises(NotThere):
        weigh_first(cast, bench, lot, ingredient_lot=there.lots[0])
    with pytest.raises(NotThere):
        weigh_first(cast, bench, lot, balance=there.coarse)


def test_prescribers_see_no_stock(cast: Cast, bench: Bench) -> None:
    with pytest.raises(NotAllowed):
        queries.resin_lots(cast.mira)
    with pytest.raises(NotAllowed):
        queries.ingredient_lot(cast.mira, bench.lots[0], at=NOW)
