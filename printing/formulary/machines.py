"""Registers the states of this app."""

from dosewright.ground.transitions import Machine, register
from printing.formulary.states import FORMULATION, FORMULATION_INITIAL

register(Machine(name="formulation", initial=FORMULATION_INITIAL, table=FORMULATION, model="formulary.Formulation"))
