"""Build plates: grouping, zones, packing, rafts, time, the plan and the checker that shares no code with them.

All decisions are made on integer micrometres, so that the same input gives the same plan on every machine.
"""
