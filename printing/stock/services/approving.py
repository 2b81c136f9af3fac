"""A resin lot's way into and out of use: approve, reject, block, unblock by two, close."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from dosewright.ground.act import Act, act
from dosewright.ground.pure.errors import Blocked, Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from dosewright.ground.signing import Pen, sign
from dosewright.ground.two_signatures import earlier_signatures, first_signer
from printing.core.resin.compounding import FREE, REJECT
from printing.stock import queries
from printing.stock.content import STORE, WASTE, ResinLotRecord
from printing.stock.models import ResinLot
from printing.stock.queries.resin_lots import STATE, worst_verdict
from printing.stock.services.movements import LotAnswer, answer, move_stock, need_reason
from printing.stock.states import RESIN_LOT


def approve_resin_lot(actor: Actor, code: str, *, pen: Pen, at: datetime, investigation: str = "") -> LotAnswer:
    """Sign a tested lot into use. For pharmacists who took no part in making or testing it.

    Outside the free range of strength the `investigation` (reference and conclusion) must be given. Raises
    NotAllowed, NotThere, Conflict; Blocked naming every failed test and everything else in the way.
    """
    lot = find(actor, ResinLot, code)
    parties = {"maker": queries.people_of_resin_lot(lot.code).everyone}
    with act(actor, "resin_lot.approve", at=at, subject=lot.code, reason=investigation, parties=parties) as doing:
        facts = queries.resin_lot_record(lot.code, at=at)
        _must_know(lot, "approve")
        refuse_if_any(Blocked, approval_blockers(facts, investigation=investigation))
        sign(
            doing,
            pen,
            meaning="approved for printing",
            subject_kind="resin lot",
            subject=lot.code,
            subject_version=lot.version,
            shown=_shown(lot, at),
        )
        doing.advance(lot, "approve")
        doing.note(strength_mg_g=facts.strength.mg_g if facts.strength else None, verdict=worst_verdict(facts))
        doing.emit("resin lot approved", resin_lot=lot.code)
        return answer(lot)


def shown_for_approve(actor: Actor, code: str, *, at: datetime) -> Any:
    """Return what a signer of `approve_resin_lot` is shown. Raises NotThere."""
    return _shown(find(actor, ResinLot, code), at)


def reject_resin_lot(actor: Actor, code: str, *, reason: str, at: datetime) -> LotAnswer:
    """Reject a lot for good, from any state but approved. For pharmacists. Raises NotAllowed, NotThere, Conflict."""
    return _move(actor, code, "reject", reason=reason, at=at)


def block_resin_lot(actor: Actor, code: str, *, reason: str, at: datetime) -> LotAnswer:
    """Take an approved lot out of use for now. For pharmacists and technicians. Raises NotAllowed, Conflict."""
    return _move(actor, code, "block", reason=reason, at=at)


def unblock_resin_lot(actor: Actor, code: str, *, pen: Pen, at: datetime) -> LotAnswer:
    """Sign a blocked lot back into use; the second of two pharmacists does it. Raises NotAllowed, Conflict."""
    lot = find(actor, ResinLot, code)
    with act(actor, "resin_lot.unblock", at=at, subject=lot.code) as doing:
        # Two first signatures at once would both wait for a second one for ever: the row is held meanwhile.
        lot = ResinLot.objects.select_for_update().get(pk=lot.pk)
        earlier = earlier_signatures(doing.action, subject=lot.code, subject_version=lot.version)
        doing.authorise(first_signer(earlier))
        _must_know(lot, "unblock")
        sign(
            doing,
            pen,
            meaning="unblocked",
            subject_kind="resin lot",
            subject=lot.code,
            subject_version=lot.version,
            shown=_shown(lot, at),
        )
        if earlier:
            doing.advance(lot, "unblock")
            doing.emit("resin lot approved", resin_lot=lot.code)
        return answer(lot, signatures=len(earlier) + 1)


def shown_for_unblock_resin_lot(actor: Actor, code: str, *, at: datetime) -> Any:
    """Return what a signer of `unblock_resin_lot` is shown. Raises NotThere."""
    return _shown(find(actor, ResinLot, code), at)


def close_resin_lot(actor: Actor, code: str, *, reason: str, at: datetime) -> LotAnswer:
    """Close a used-up lot; what is left in store goes to waste on record. For technicians and pharmacists.

    Raises NotAllowed, NotThere, Conflict; Blocked while a tank still holds some of it.
    """
    lot = find(actor, ResinLot, code)
    with act(actor, "resin_lot.close", at=at, subject=lot.code, reason=reason) as doing:
        need_reason(reason)
        inside = lot.fills.filter(emptied_at=None).first()
        if inside is not None:
            raise Blocked.because(lot.code, f"is in tank fill {inside.code}", accepted="an emptied tank")
        doing.advance(lot, "exhaust")
        left_ug = queries.balance_ug(lot.code, STORE)
        if left_ug:
            move_stock(doing, lot.code, STORE, -left_ug, "closed", lot.code)
            move_stock(doing, lot.code, WASTE, left_ug, "closed", lot.code)
        return answer(lot)


def approval_blockers(facts: ResinLotRecord, *, investigation: str = "") -> list[Refusal]:
    """Return everything that stands against approving a tested lot."""
    found = [
        _against(one.kind, "failed its limits", f"{one.place} {one.value} {one.unit}".strip())
        for one in facts.tests
        if not one.passed
    ]
    found += [_against(one, "has no result") for one in facts.tests_missing]
    found += [one for one in facts.blockers if one.rule != STATE]
    return found + _strength_blockers(facts, investigation)


def _strength_blockers(facts: ResinLotRecord, investigation: str) -> list[Refusal]:
    strength, assay = facts.strength, facts.assay
    if strength is None or assay is None:
        return [_against("strength", "is not known")]
    found = []
    if not assay.is_even:
        found.append(_against("assay", f"places differ by {assay.spread_frac:.4f}", str(assay.spread_limit_frac)))
    if not assay.agrees:
        found.append(
            _against(
                "assay",
                "does not agree with the strength by weighing",
                f"{assay.mean_mg_g} against {strength.mg_g} mg/g",
            )
        )
    verdict = worst_verdict(facts)
    if verdict == REJECT:
        found.append(_against("strength", "is outside what may ever be used", f"{strength.mg_g} mg/g"))
    elif verdict != FREE and not investigation.strip():
        found.append(_against("investigation", "is needed for a strength outside the free range"))
    return found


def _move(actor: Actor, code: str, event: str, *, reason: str, at: datetime) -> LotAnswer:
    lot = find(actor, ResinLot, code)
    with act(actor, f"resin_lot.{event}", at=at, subject=lot.code, reason=reason) as doing:
        need_reason(reason)
        doing.advance(lot, event)
        _tell(doing, lot)
        return answer(lot)


def _tell(doing: Act, lot: ResinLot) -> None:
    doing.emit(f"resin lot {lot.state}", resin_lot=lot.code)


def _must_know(lot: ResinLot, event: str) -> None:
    if (lot.state, event) not in RESIN_LOT:
        states = ", ".join(state for state, name in RESIN_LOT if name == event)
        raise Conflict.because(lot.code, f"is {lot.state}", accepted=states, rule="state")


def _shown(lot: ResinLot, at: datetime) -> Any:
    return {"resin_lot": queries.resin_lot_record(lot.code, at=at)}


def _against(field: str, message: str, value: str | None = None) -> Refusal:
    return Refusal(field=field, value=value, message=message, rule="lot approval")
