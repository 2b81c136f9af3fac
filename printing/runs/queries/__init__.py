"""Reading runs: gates, layers, steps, evidence, deviations, people; for services on the right and for people."""

from printing.runs.content import (
    BatchPeople,
    ContentFacts,
    DeviationFacts,
    GateFacts,
    JobFacts,
    RecordLine,
    RunFacts,
    StepFacts,
    UnitEvidence,
    ZoneEvidence,
)
from printing.runs.queries.deviations import all_deviations, deviation, deviations, open_deviations
from printing.runs.queries.evidence import evidence, zone_evidence
from printing.runs.queries.people import people_of_batch
from printing.runs.queries.record import step_lines, test_lines
from printing.runs.queries.run import batch_of_printer, printer_job, run, run_facts

__all__ = [
    "BatchPeople",
    "ContentFacts",
    "DeviationFacts",
    "GateFacts",
    "JobFacts",
    "RecordLine",
    "RunFacts",
    "StepFacts",
    "UnitEvidence",
    "ZoneEvidence",
    "all_deviations",
    "batch_of_printer",
    "deviation",
    "deviations",
    "evidence",
    "open_deviations",
    "people_of_batch",
    "printer_job",
    "run",
    "run_facts",
    "step_lines",
    "test_lines",
    "zone_evidence",
]
