"""Reading the stock: facts for other services, and pages for people."""

from printing.stock.content import EquipmentFacts, IngredientLotFacts, ResinLotFacts, ResinLotRecord, TankFillFacts
from printing.stock.queries.equipment import (
    equipment,
    equipment_facts,
    equipment_for_use,
    equipment_id,
    equipment_list,
    fill_in_tank,
    tank_fill,
    tank_fill_facts,
    tank_fills,
)
from printing.stock.queries.ingredient_lots import (
    ingredient_lot,
    ingredient_lot_facts,
    ingredient_lots,
)
from printing.stock.queries.premixes import premix_blockers
from printing.stock.queries.record import balance_ug, balances_ug, stock_faults
from printing.stock.queries.resin_lots import (
    people_of_resin_lot,
    resin_lot,
    resin_lot_facts,
    resin_lot_record,
    resin_lot_with,
    resin_lots,
)
from printing.stock.queries.weighable import finest_least_mg, too_little_to_weigh

__all__ = [
    "EquipmentFacts",
    "IngredientLotFacts",
    "ResinLotFacts",
    "ResinLotRecord",
    "TankFillFacts",
    "balance_ug",
    "balances_ug",
    "equipment",
    "equipment_facts",
    "equipment_for_use",
    "equipment_id",
    "equipment_list",
    "fill_in_tank",
    "finest_least_mg",
    "ingredient_lot",
    "ingredient_lot_facts",
    "ingredient_lots",
    "people_of_resin_lot",
    "premix_blockers",
    "resin_lot",
    "resin_lot_facts",
    "resin_lot_record",
    "resin_lot_with",
    "resin_lots",
    "stock_faults",
    "tank_fill",
    "tank_fill_facts",
    "tank_fills",
    "too_little_to_weigh",
]
