"""Registers the states of this app."""

from dosewright.ground.transitions import Machine, register
from printing.runs.states import DEVIATION, DEVIATION_INITIAL

register(Machine(name="deviation", initial=DEVIATION_INITIAL, table=DEVIATION, model="runs.Deviation"))
