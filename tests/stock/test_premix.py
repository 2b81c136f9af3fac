"""Premixes: what a balance cannot weigh is mixed first, by two people, assayed, approved by another, and traced."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from dosewright.ground.models import AuditEntry
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, NotThere
from labels.trace import trace
from printing.formulary.services import draft_formulation
from printing.stock import queries, services
from tests.cast import NOW, Cast, found_cast
from tests.stock.premix import Trace, assayed, delivered, mixed_premix, spec_of, trace_bench

pytestmark = pytest.mark.django_db

# 0.900502 below is fludrocortisone in its acetate, C21H29FO5 in C23H31FO6: IUPAC abridged standard atomic weights 2021.


@pytest.fixture
def cast() -> Cast:
    return found_cast()


@pytest.fixture
def bench(cast: Cast) -> Trace:
    return trace_bench(cast)


def test_a_premix_goes_from_weights_to_the_strength_of_a_resin_lot(cast: Cast, bench: Trace) -> None:
    lot = mixed_premix(cast, bench)
    facts = queries.ingredient_lot_facts(lot, at=NOW)
    # By hand: 400 mg x 0.992 x 0.900502 in 20000 mg.
    assert float(facts.weighed_moiety_frac or 0) == pytest.approx(0.4 * 0.992 * 0.900502 / 20, rel=1e-6)
    assert (facts.state, facts.on_shelf_g) == ("quarantined", Decimal(20))
    assert facts.expires_on == NOW.date() + timedelta(days=60)
    assayed(cast, lot, "0.0199", "0.0198", "0.0197")
    assert queries.ingredient_lot_facts(lot, at=NOW).assay_frac == Decimal("0.0198")
    services.approve_ingredient_lot(cast.rosa, lot, at=NOW)
    resin = _resin(cast, bench, lot)
    record = queries.resin_lot_record(resin, at=NOW)
    assert record.strength is not None
    # By hand: 13.4 g of premix with 1.98 % acetate in 200 g: 13400 x 0.0198 x 0.900502 / 200 mg/g.
    assert float(record.strength.mg_g) == pytest.approx(13.4 * 0.0198 * 0.900502 / 200 * 1000, rel=1e-6)
    _reaches_through(cast, bench, lot, resin)


def _resin(cast: Cast, bench: Trace, premix: str) -> str:
    code = services.start_resin_lot(cast.tomas, formulation=bench.formulation.code, target_g=Decimal(200), at=NOW).code
    for line in queries.resin_lot_record(code, at=NOW).sheet:
        ingredient = bench.formulation.recipe[line.number - 1].ingredient
        lot = premix if ingredient.premix else delivered(cast, ingredient)
        services.weigh(
            cast.tomas, code, item_number=line.number, ingredient_lot=lot, actual_mg=line.target_mg,
            balance=bench.balance, at=NOW,
        )  # fmt: skip
        services.check_weighing(cast.ada, code, item_number=line.number, at=NOW)
    services.mix_resin_lot(cast.tomas, code, at=NOW)
    return code


def _reaches_through(cast: Cast, bench: Trace, premix: str, resin: str) -> None:
    """The acetate's lot is found in the resin, by trace and query, and blocking it blocks the resin and the premix."""
    found = trace(cast.otto, bench.acetate)
    assert {"from": bench.acetate, "to": premix, "how": "mixed into"} in found.edges
    assert {"from": premix, "to": resin, "how": "weighed into"} in found.edges
    assert {"from": bench.acetate, "to": premix, "how": "mixed into"} in trace(cast.otto, resin).edges
    assert queries.resin_lot_with(bench.acetate) == (resin,)
    assert cast.ada.user_id in queries.people_of_resin_lot(resin).makers
    services.block_ingredient_lot(cast.tomas, bench.acetate, reason="recall", at=NOW)
    assert any(one.value == bench.acetate for one in queries.resin_lot_facts(resin, at=NOW).blockers)
    assert any(bench.acetate in one.message for one in queries.ingredient_lot_facts(premix, at=NOW).blockers)


def test_the_drug_alone_is_too_little_for_the_balance(cast: Cast, bench: Trace) -> None:
    # 2000 x 0.15 mg = 300 mg; 2 % of 14.9 g are 298 mg, of 15 g exactly 300 mg.
    with pytest.raises(Blocked, match="fludrocortisone acetate: is too little") as caught:
        services.start_premix(cast.tomas, ingredient=bench.premix.code, target_g=Decimal("14.9"), at=NOW)
    assert (caught.value.refusals[0].value, caught.value.refusals[0].limit) == ("298", "300")
    assert services.start_premix(cast.tomas, ingredient=bench.premix.code, target_g=Decimal(15), at=NOW)


@pytest.mark.parametrize(
    ("contents", "message"),
    [
        (("0.0199", "0.0198", "0.0194"), "places of the assay lie too far apart"),
        (("0.0191", "0.0191", "0.0191"), "does not agree with the weights"),
        (("0.0189", "0.0189", "0.0189"), "holds too little or too much"),
        (("0.0211", "0.0211", "0.0211"), "holds too little or too much"),
    ],
)
def test_an_uneven_or_wrong_premix_is_not_approved(
    cast: Cast, bench: Trace, contents: tuple[str, str, str], message: str
) -> None:
    lot = mixed_premix(cast, bench)
    assayed(cast, lot, *contents)
    with pytest.raises(Blocked) as caught:
        services.approve_ingredient_lot(cast.rosa, lot, at=NOW)
    assert message in {one.message for one in caught.value.refusals} or message in str(caught.value)
    assert queries.ingredient_lot_facts(lot, at=NOW).state == "quarantined"


def test_the_limits_of_a_premix_are_inside(cast: Cast, bench: Trace) -> None:
    # Weighed 0.01984; 0.01925 lies 2.97 % below it, places 2.0 % apart would be 0.000385.
    lot = mixed_premix(cast, bench)
    assayed(cast, lot, "0.0194", "0.01925", "0.01910")
    services.approve_ingredient_lot(cast.rosa, lot, at=NOW)


def test_nothing_is_approved_before_it_is_mixed_and_assayed_nor_by_its_maker(cast: Cast, bench: Trace) -> None:
    started = services.start_premix(cast.tomas, ingredient=bench.premix.code, target_g=Decimal(20), at=NOW).code
    with pytest.raises(Blocked, match="is not mixed"):
        services.approve_ingredient_lot(cast.rosa, started, at=NOW)
    with pytest.raises(Conflict, match="waits for no assay"):
        assayed(cast, started, "0.0198", "0.0198", "0.0198")
    lot = mixed_premix(cast, bench)
    with pytest.raises(Blocked, match="is not assayed"):
        services.approve_ingredient_lot(cast.rosa, lot, at=NOW)
    assayed(cast, lot, "0.0198", "0.0198", "0.0198")
    with pytest.raises(Conflict, match="waits for no assay"):
        assayed(cast, lot, "0.0198", "0.0198", "0.0198")
    with pytest.raises(NotAllowed):
        services.approve_ingredient_lot(cast.tomas, lot, at=NOW)
    again = services.start_premix(cast.tomas, ingredient=bench.premix.code, target_g=Decimal(20), at=NOW).code
    services.weigh_premix(
        cast.rosa, again, item_number=1, ingredient_lot=bench.acetate, actual_mg=Decimal(400),
        balance=bench.balance, at=NOW,
    )  # fmt: skip
    with pytest.raises(NotAllowed, match="another person than the receiver"):
        services.approve_ingredient_lot(cast.rosa, again, at=NOW)


def test_weighing_into_a_premix_keeps_every_guard(cast: Cast, bench: Trace) -> None:
    lot = services.start_premix(cast.tomas, ingredient=bench.premix.code, target_g=Decimal(20), at=NOW).code
    right: dict[str, Any] = {"item_number": 1, "ingredient_lot": bench.acetate, "actual_mg": Decimal(400)}
    cases: list[tuple[type[Exception], str, dict[str, Any]]] = [
        (Conflict, "out of turn", {"item_number": 2, "ingredient_lot": bench.peg}),
        (BadInput, "no part of this premix", {"item_number": 7}),
        (Blocked, "another ingredient", {"ingredient_lot": bench.peg}),
        (BadInput, "no reading", {"actual_mg": Decimal("400.05")}),
        (Blocked, "too coarsely", {"actual_mg": Decimal("299.9"), "reason": "for the test"}),
        (Blocked, "tolerance", {"actual_mg": Decimal("404.1")}),
    ]
    for kind, message, changes in cases:
        with pytest.raises(kind, match=message):
            services.weigh_premix(cast.tomas, lot, balance=bench.balance, at=NOW, **{**right, **changes})
    assert AuditEntry.objects.filter(action="premix.weigh", outcome="refused", subject=lot).count() == len(cases)
    with pytest.raises(NotThere):
        services.check_premix_weighing(cast.ada, lot, item_number=1, at=NOW)
    services.weigh_premix(cast.tomas, lot, balance=bench.balance, at=NOW, **right)
    with pytest.raises(NotAllowed, match="another person than the weigher"):
        services.check_premix_weighing(cast.tomas, lot, item_number=1, at=NOW)
    with pytest.raises(Blocked, match="is not checked"):
        services.mix_premix(cast.tomas, lot, at=NOW)
    with pytest.raises(BadInput, match="is no premix"):
        services.start_premix(
            cast.tomas, ingredient=bench.premix.premix[1].ingredient.code, target_g=Decimal(20), at=NOW
        )


def test_the_doors_of_a_premix(cast: Cast, bench: Trace) -> None:
    """The same way by the doors that page and REST are made of."""
    from dosewright.ground.rest import DOORS
    from dosewright.roof.api import registry

    registry.load()

    def go(key: str, who: str, code: str, data: dict[str, Any]) -> Any:
        one = DOORS[key]
        given = one.Input(data=data)
        given.is_valid(raise_exception=True)
        return one().run(getattr(cast, who), code, given.validated_data, at=NOW)

    code = go("ingredient-lot+premix", "tomas", "", {"ingredient": bench.premix.code, "target_g": "20"}).code
    for number, lot, weight in ((1, bench.acetate, "400"), (2, bench.peg, "19600")):
        weighed = {"item_number": number, "ingredient_lot": lot, "actual_mg": weight, "balance": bench.balance}
        go("ingredient-lot/weigh", "tomas", code, weighed)
        go("ingredient-lot/check-weighing", "ada", code, {"item_number": number})
    go("ingredient-lot/mix", "tomas", code, {})
    shares = {f"{place}_frac": "0.0198" for place in ("top", "middle", "bottom")}
    go("ingredient-lot/assay", "jonas", code, {**shares, "u_assay_frac": "0.0001", "expressed_as": "form"})
    assert go("ingredient-lot/approve", "rosa", code, {}).state == "approved"


def test_a_draft_whose_drug_no_balance_can_weigh_is_refused_with_the_lot_and_premix_that_could_be(
    cast: Cast, bench: Trace
) -> None:
    # 0.000142 of 900 g are 127.8 mg, under 300 mg; 300 mg / 0.000142 = 2112.68 g; 127.8 / 300 = 42.6 %.
    draft = draft_formulation(cast.nora, spec=spec_of("levothyroxine-draft"), at=NOW).code
    with pytest.raises(Blocked) as caught:
        services.start_resin_lot(cast.tomas, formulation=draft, target_g=Decimal(900), at=NOW)
    rules = {one.rule: one for one in caught.value.refusals}
    assert set(rules) == {"not validated", "least weight"}
    refused = rules["least weight"]
    assert (refused.field, refused.value, refused.limit) == ("levothyroxine sodium", "127.8", "300")
    assert refused.accepted == (
        "a lot of 2112.7 g or more, a premix that holds at most 42.6 % of it, or a finer balance"
    )
