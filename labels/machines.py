"""Registers the states of this app."""

from dosewright.ground.transitions import Machine, register
from labels.states import INITIAL, PACK

register(Machine(name="pack", initial=INITIAL, table=PACK, model="labels.Pack"))
