"""Which formulations the verified orders need, and how much of each."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from decimal import ROUND_CEILING, Decimal

from dosewright.roof.demo.medicines import Medicine
from dosewright.roof.demo.orders import Taken
from dosewright.roof.demo.packs import Packed
from dosewright.roof.demo.stage import Stage
from prescriptions.queries.facts import order_facts
from prescriptions.states import VERIFIED
from printing.formulary.content import FormulationFacts
from printing.formulary.queries import validated_for

SPARE = 4
"""Times the units' own mass: rafts, necks, spares, test units, a reprint (judgement)."""
STEP_G = Decimal(10)
TENTH_G = Decimal("0.1")


def needed(stage: Stage, medicines: dict[str, Medicine], taken: list[Taken]) -> dict[str, Medicine]:
    """Return the medicines that the verified orders need, by formulation, each with a lot that is large enough."""
    own_g = _units_g(stage, taken)
    return {code: _enlarged(one, own_g[code]) for code, one in medicines.items() if code in own_g}


def _enlarged(medicine: Medicine, own_g: Decimal) -> Medicine:
    lot_g = medicine.lot_g + _stepped(SPARE * own_g)
    premix_g = medicine.premix_g * lot_g / medicine.lot_g
    return replace(medicine, lot_g=lot_g, premix_g=premix_g.quantize(TENTH_G, ROUND_CEILING))


def some_unpacked(taken: list[Taken], packs: list[Packed]) -> bool:
    """Say whether a line that is due now, of an order that still stands, has no pack."""
    packed = {one.line for one in packs}
    orders = [order_facts(one.code) for one in taken if one.code]
    return any(
        line.code not in packed and line.supply == 1
        for order in orders
        if order.state == VERIFIED
        for line in order.lines
    )


def _units_g(stage: Stage, taken: list[Taken]) -> dict[str, Decimal]:
    """Return what all ordered units of each formulation weigh as liquid [g], by its nominal strength."""
    found: dict[str, Decimal] = defaultdict(Decimal)
    for order in [order_facts(one.code) for one in taken if one.code]:
        formulation = validated_for(stage.site_id, order.substance, order.release)
        if order.state != VERIFIED or formulation is None:
            continue
        doses_mg = sum((line.dose_mg * line.administrations for line in order.lines), Decimal(0))
        found[formulation.code] += _as_liquid_g(doses_mg, formulation)
    return dict(found)


def _as_liquid_g(doses_mg: Decimal, formulation: FormulationFacts) -> Decimal:
    return doses_mg / formulation.nominal_strength_mg_g


def _stepped(amount_g: Decimal) -> Decimal:
    return (amount_g / STEP_G).to_integral_value(ROUND_CEILING) * STEP_G
