"""What is done in a run and after it; each function is one action."""

from printing.runs.services.breaking import break_off, find_unit, record_appearance, reject_unit
from printing.runs.services.deviations import close_deviation, open_deviation, shown_for_close
from printing.runs.services.finishing import end_finish_step, finish_batch, start_finish_step
from printing.runs.services.gates import record_gate
from printing.runs.services.judging import close_batch, destroy_units, judge_zone
from printing.runs.services.measuring import correct_measurement, record_content, record_masses
from printing.runs.services.record import add_deviation
from printing.runs.services.removal import CountAnswer, ZoneCount, remove_from_plate
from printing.runs.services.running import end_run, fault_run, printer_seen, report_layer, start_run

__all__ = [
    "CountAnswer",
    "ZoneCount",
    "add_deviation",
    "break_off",
    "close_batch",
    "close_deviation",
    "correct_measurement",
    "destroy_units",
    "end_finish_step",
    "end_run",
    "fault_run",
    "find_unit",
    "finish_batch",
    "judge_zone",
    "open_deviation",
    "printer_seen",
    "record_appearance",
    "record_content",
    "record_gate",
    "record_masses",
    "reject_unit",
    "remove_from_plate",
    "report_layer",
    "shown_for_close",
    "start_finish_step",
    "start_run",
]
