"""Registers the states of this app."""

from dosewright.ground.transitions import Machine, register
from printing.plates.states import (
    PRINT_BATCH,
    PRINT_BATCH_INITIAL,
    UNIT,
    UNIT_INITIAL,
    ZONE,
    ZONE_INITIAL,
)

register(Machine(name="print batch", initial=PRINT_BATCH_INITIAL, table=PRINT_BATCH, model="plates.PrintBatch"))
register(Machine(name="unit", initial=UNIT_INITIAL, table=UNIT, model="plates.PlacedUnit"))
register(Machine(name="zone", initial=ZONE_INITIAL, table=ZONE, model="plates.Zone"))
