"""Tests before use: each result is kept with the limits that applied, and its verdict is worked out from them."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal, InvalidOperation

from django.db import IntegrityError

from dosewright.ground.act import act
from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from printing.formulary import queries as formulary
from printing.formulary.content import FormulationFacts, LotTestRule
from printing.stock import queries
from printing.stock.models import LotTest, ResinLot
from printing.stock.queries.resin_lots import ACCEPTED_GAP, passes
from printing.stock.services.movements import LotAnswer, answer

MOST = Decimal(1_000_000)


def record_lot_test(actor: Actor, code: str, *, kind: str, value: str, at: datetime, place: str = "") -> LotAnswer:
    """Record one result of a mixed lot by its formulation's test plan. For technicians and pharmacists.

    A result that fails its limits is kept like any other. Raises NotAllowed, NotThere, BadInput for a test or
    place that is not in the plan or a value that is none, Conflict for a second result or another state.
    """
    lot = find(actor, ResinLot, code)
    with act(actor, "resin_lot.test", at=at, subject=lot.code) as doing:
        if lot.state != "mixed":
            raise Conflict.because(lot.code, f"is {lot.state}", accepted="a mixed lot", rule="state")
        facts = formulary.facts_by_id(lot.formulation_id)
        rule = _rule(facts, kind, place)
        low, high = _limits(lot, facts, rule)
        row = LotTest(
            resin_lot=lot,
            kind=kind,
            place=place,
            value_text=_value(rule, value),
            unit=rule.unit,
            low=low,
            high=high,
            accepted_text=ACCEPTED_GAP.join(rule.accepted),
            tested_by_id=actor.user_id,
            tested_at=at,
        )
        try:
            row.save(force_insert=True)
        except IntegrityError:
            raise Conflict.because(
                "kind", "has a result already; results are not replaced", value=f"{kind} {place}".strip()
            ) from None
        doing.note(test=kind, place=place, passed=passes(row))
        return answer(lot)


def end_lot_tests(actor: Actor, code: str, *, at: datetime) -> LotAnswer:
    """Close the tests of a lot once all are there, failed or not. For technicians and pharmacists.

    Raises NotAllowed, NotThere, Conflict; Blocked naming the tests without a result.
    """
    lot = find(actor, ResinLot, code)
    with act(actor, "resin_lot.end_tests", at=at, subject=lot.code) as doing:
        missing = queries.resin_lot_record(lot.code, at=at).tests_missing
        refuse_if_any(
            Blocked,
            [
                Refusal(field=one, message="has no result yet", accepted="a result", rule="missing test")
                for one in missing
            ],
        )
        doing.advance(lot, "test")
        return answer(lot)


def _rule(facts: FormulationFacts, kind: str, place: str) -> LotTestRule:
    rule = next((one for one in facts.test_plan.before_use if one.kind == kind), None)
    if rule is None:
        known = ", ".join(one.kind for one in facts.test_plan.before_use)
        raise BadInput.because("kind", "is not in the test plan", value=kind[:40], accepted=known)
    if place not in rule.places:
        accepted = ", ".join(rule.places) or "no place"
        raise BadInput.because("place", "is not in the test plan", value=place[:40], accepted=accepted)
    return rule


def _limits(lot: ResinLot, facts: FormulationFacts, rule: LotTestRule) -> tuple[Decimal | None, Decimal | None]:
    """An assay is held against the nominal strength by the site's limits unless the plan has limits of its own."""
    if rule.kind != "assay" or rule.low is not None:
        return rule.low, rule.high
    site = lot.site.values
    nominal = facts.nominal_strength_mg_g
    return nominal * site.lot_reject_low_frac, nominal * site.lot_reject_high_frac


def _value(rule: LotTestRule, value: str) -> str:
    text = value.strip()
    if not 0 < len(text) <= 60:
        raise BadInput.because("value", "is no result", value=text[:60], accepted="1 to 60 characters")
    if rule.accepted:
        return text
    try:
        number = Decimal(text)
    except InvalidOperation:
        raise BadInput.because("value", "is no number", value=text, unit=rule.unit, accepted="a number") from None
    if not number.is_finite() or not 0 < number <= MOST or len(number.as_tuple().digits) > 12:
        raise BadInput.because("value", "is no result", value=text, unit=rule.unit, accepted=f"up to {MOST}")
    return decimal_text(number)
