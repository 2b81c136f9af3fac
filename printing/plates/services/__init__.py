"""What is done with plates: printers, the screen "making", planning, approval, delivery of the plate file."""

from printing.plates.services.batches import approve_batch, cancel_batch, cancel_stopped, refuse_unverified
from printing.plates.services.delivery import deliver
from printing.plates.services.making import screen_making
from printing.plates.services.moving import let_lines_go, move_batch, move_units, move_zone
from printing.plates.services.planning import make_the_plan, request_plan
from printing.plates.services.printers import (
    PrinterSpec,
    check_printer,
    fit_tank,
    issue_printer_token,
    register_printer,
)

__all__ = [
    "PrinterSpec",
    "approve_batch",
    "cancel_batch",
    "cancel_stopped",
    "check_printer",
    "deliver",
    "fit_tank",
    "issue_printer_token",
    "let_lines_go",
    "make_the_plan",
    "move_batch",
    "move_units",
    "move_zone",
    "refuse_unverified",
    "register_printer",
    "request_plan",
    "screen_making",
]
