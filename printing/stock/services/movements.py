"""The stock record's one way in: a movement and its balance, written together or not at all."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.db import models
from django.db.models import F

from dosewright.ground.act import Act
from dosewright.ground.pure.errors import BadInput, Blocked, Refusal
from printing.stock.models import Balance, StockMovement


@dataclass(frozen=True, slots=True, kw_only=True)
class LotAnswer:
    """A lot (or tank fill) after an action."""

    code: str
    state: str
    signatures: int = 0


def move_stock(doing: Act, lot: str, account: str, amount_ug: int, why: str, reference: str) -> None:
    """Move material into (+) or out of (-) one account of a lot, in whole micrograms, within `doing`.

    Raises Blocked when less stands there than is to go out.
    """
    if isinstance(amount_ug, bool) or not isinstance(amount_ug, int) or amount_ug == 0:
        raise ValueError(f"a movement is a whole number of micrograms other than 0, not {amount_ug!r}")
    balance, _ = Balance.objects.get_or_create(lot=lot, account=account, defaults={"site_id": doing.actor.site_id})
    enough = Balance.objects.filter(pk=balance.pk, site_id=doing.actor.site_id, amount_ug__gte=-amount_ug)
    if enough.update(amount_ug=F("amount_ug") + amount_ug) != 1:
        balance.refresh_from_db()
        raise Blocked(
            Refusal(
                field=lot,
                value=f"{-amount_ug}",
                limit=f"{balance.amount_ug}",
                unit="ug",
                message=f"less than that is on {account}",
                accepted="what is there, or less",
                rule="stock",
            )
        )
    StockMovement.objects.create(
        site_id=doing.actor.site_id,
        lot=lot,
        account=account,
        amount_ug=amount_ug,
        why=why,
        reference=reference,
        by_id=doing.actor.user_id,
        at=doing.at,
    )
    balance.refresh_from_db()
    doing.wrote(lot, f"{account} ug", old=balance.amount_ug - amount_ug, new=balance.amount_ug)


def whole(field: str, value: Decimal, *, per: int, unit: str, most: Decimal) -> int:
    """Return `value` in units `per` times smaller, exactly; raises BadInput where that is no whole number.

    >>> whole("actual_mg", Decimal("12.345"), per=1000, unit="mg", most=Decimal(100))
    12345
    """
    accepted = f"more than 0, at most {most} {unit}, in steps of {Decimal(1) / per} {unit}"
    if not isinstance(value, Decimal) or not value.is_finite() or not 0 < value <= most:
        raise BadInput.because(
            field, "is no amount", value=str(value)[:40], unit=unit, limit=str(most), accepted=accepted
        )
    scaled = value * per
    if scaled != scaled.to_integral_value():
        raise BadInput.because(field, "is finer than is kept", value=str(value)[:40], unit=unit, accepted=accepted)
    return int(scaled)


def need_reason(reason: str) -> None:
    """Raise BadInput for an empty reason."""
    if not reason.strip():
        raise BadInput.because("reason", "this needs a reason", accepted="one sentence")


def answer(row: models.Model, *, signatures: int = 0) -> LotAnswer:
    """Return what became of a lot's row."""
    return LotAnswer(code=str(row.code), state=str(row.state), signatures=signatures)  # type: ignore[attr-defined]
