"""Doors and looks of runs: gates, printing, finishing, tests, verdicts, deviations."""

from printing.runs.api import deviations, finishing, looks, printing, testing

__all__ = ["deviations", "finishing", "looks", "printing", "testing"]
