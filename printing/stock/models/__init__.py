"""Tables of the stock."""

from printing.stock.models.equipment import Cleaning, Equipment, EquipmentCheck, TankFill
from printing.stock.models.lots import (
    IngredientLot,
    LotTest,
    PremixAssay,
    PremixCheck,
    PremixWeighing,
    ResinLot,
    Weighing,
    WeighingCheck,
)
from printing.stock.models.movements import Balance, StockMovement

__all__ = [
    "Balance",
    "Cleaning",
    "Equipment",
    "EquipmentCheck",
    "IngredientLot",
    "LotTest",
    "PremixAssay",
    "PremixCheck",
    "PremixWeighing",
    "ResinLot",
    "StockMovement",
    "TankFill",
    "Weighing",
    "WeighingCheck",
]
