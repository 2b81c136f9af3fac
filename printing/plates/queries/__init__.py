"""Reading plates: facts for services on the right, pages for people, the plan as it is shown.

The row types are here so that services on the right can name what they hand back to `plates.services` to move.
"""

from printing.plates.content import (
    BatchFacts,
    BatchRow,
    CheckFacts,
    PlanFacts,
    PrinterFacts,
    UnitFacts,
    ZoneFacts,
)
from printing.plates.models import PlacedUnit, PrintBatch, Zone
from printing.plates.queries.batches import (
    batch,
    batch_facts,
    batch_row,
    batch_state,
    batches,
    next_ready_batch,
    orders_of_batch,
    plate_file_bytes,
    running_batch,
    unit_rows,
    unit_zone,
    zone,
    zone_facts,
    zone_row,
    zones_of,
    zones_of_line,
)
from printing.plates.queries.plans import (
    plan_facts,
    plans,
    provisional_units,
    shown_plan,
    size_of_line,
    sizes_of_batch,
)
from printing.plates.queries.printers import printer, printer_facts, printer_of_user, printers

__all__ = [
    "BatchFacts",
    "BatchRow",
    "CheckFacts",
    "PlacedUnit",
    "PlanFacts",
    "PrintBatch",
    "PrinterFacts",
    "UnitFacts",
    "Zone",
    "ZoneFacts",
    "batch",
    "batch_facts",
    "batch_row",
    "batch_state",
    "batches",
    "next_ready_batch",
    "orders_of_batch",
    "plan_facts",
    "plans",
    "plate_file_bytes",
    "printer",
    "printer_facts",
    "printer_of_user",
    "printers",
    "provisional_units",
    "running_batch",
    "shown_plan",
    "size_of_line",
    "sizes_of_batch",
    "unit_rows",
    "unit_zone",
    "zone",
    "zone_facts",
    "zone_row",
    "zones_of",
    "zones_of_line",
]
