"""Tables of the plates."""

from printing.plates.models.batches import PlacedUnit, PlanRecord, PlateFile, PrintBatch, SizedLine, Zone
from printing.plates.models.printers import Calibration, Printer

__all__ = ["Calibration", "PlacedUnit", "PlanRecord", "PlateFile", "PrintBatch", "Printer", "SizedLine", "Zone"]
