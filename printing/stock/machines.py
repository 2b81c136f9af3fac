"""Registers the states of this app."""

from dosewright.ground.transitions import Machine, register
from printing.stock.states import INGREDIENT_LOT, INGREDIENT_LOT_INITIAL, RESIN_LOT, RESIN_LOT_INITIAL

register(
    Machine(
        name="ingredient lot",
        initial=INGREDIENT_LOT_INITIAL,
        table=INGREDIENT_LOT,
        model="stock.IngredientLot",
    )
)
register(Machine(name="resin lot", initial=RESIN_LOT_INITIAL, table=RESIN_LOT, model="stock.ResinLot"))
