"""Registers the states of this app."""

from dosewright.ground.transitions import Machine, register
from prescriptions.states import ORDER, WAITING

register(Machine(name="order", initial=WAITING, table=ORDER, model="prescriptions.Order"))
