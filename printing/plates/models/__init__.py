"""Tables of the plates."""

from printing.plates.models.batches import PlacedUnit, PlateFile, PrintBatch, SizedLine, Zone
from printing.plates.models.printers import Calibration, Printer

__all__ = ["Calibration", "PlacedUnit", "PlateFile", "PrintBatch", "Printer", "SizedLine", "Zone"]
