"""Tables of the stock."""

from printing.stock.models.equipment import Cleaning, Equipment, TankFill
from printing.stock.models.lots import IngredientLot, LotTest, ResinLot, Weighing, WeighingCheck
from printing.stock.models.movements import Balance, StockMovement

__all__ = [
    "Balance",
    "Cleaning",
    "Equipment",
    "IngredientLot",
    "LotTest",
    "ResinLot",
    "StockMovement",
    "TankFill",
    "Weighing",
    "WeighingCheck",
]
