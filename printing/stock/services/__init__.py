"""What can be done with the stock; each function is one action, but for `move_stock`, which takes part in one."""

from printing.stock.services.approving import (
    approve_resin_lot,
    block_resin_lot,
    close_resin_lot,
    reject_resin_lot,
    shown_for_approve,
    shown_for_unblock_resin_lot,
    unblock_resin_lot,
)
from printing.stock.services.equipment import check_equipment, clean_equipment, register_equipment
from printing.stock.services.ingredient_lots import (
    DeliveredLot,
    approve_ingredient_lot,
    block_ingredient_lot,
    close_ingredient_lot,
    receive_ingredient_lot,
    reject_ingredient_lot,
    shown_for_unblock_ingredient_lot,
    unblock_ingredient_lot,
)
from printing.stock.services.lot_tests import end_lot_tests, record_lot_test
from printing.stock.services.mixing import check_weighing, mix_resin_lot, start_resin_lot, weigh
from printing.stock.services.movements import LotAnswer, move_stock
from printing.stock.services.premixes import (
    assay_premix,
    check_premix_weighing,
    mix_premix,
    start_premix,
    weigh_premix,
)
from printing.stock.services.tanks import empty_tank, fill_tank

__all__ = [
    "DeliveredLot",
    "LotAnswer",
    "approve_ingredient_lot",
    "approve_resin_lot",
    "assay_premix",
    "block_ingredient_lot",
    "block_resin_lot",
    "check_equipment",
    "check_premix_weighing",
    "check_weighing",
    "clean_equipment",
    "close_ingredient_lot",
    "close_resin_lot",
    "empty_tank",
    "end_lot_tests",
    "fill_tank",
    "mix_premix",
    "mix_resin_lot",
    "move_stock",
    "receive_ingredient_lot",
    "record_lot_test",
    "register_equipment",
    "reject_ingredient_lot",
    "reject_resin_lot",
    "shown_for_approve",
    "shown_for_unblock_ingredient_lot",
    "shown_for_unblock_resin_lot",
    "start_premix",
    "start_resin_lot",
    "unblock_ingredient_lot",
    "unblock_resin_lot",
    "weigh",
    "weigh_premix",
]
