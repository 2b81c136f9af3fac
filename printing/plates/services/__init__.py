"""What is done with plates: printers, the screen "making", planning, approval, delivery of the plate file."""

from printing.plates.services.batches import approve_batch, cancel_batch
from printing.plates.services.delivery import deliver
from printing.plates.services.making import screen_making
from printing.plates.services.planning import make_the_plan, request_plan
from printing.plates.services.printers import check_printer, issue_printer_token, register_printer

__all__ = [
    "approve_batch",
    "cancel_batch",
    "check_printer",
    "deliver",
    "issue_printer_token",
    "make_the_plan",
    "register_printer",
    "request_plan",
    "screen_making",
]
