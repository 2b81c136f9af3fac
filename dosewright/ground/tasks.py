"""Background work of the ground, hourly: sealing the looks at patient data, clearing files of ended processes."""

from __future__ import annotations

from dosewright.ground import reads, strays
from dosewright.ground.work import Job, handles


@handles(reads.WORK_KIND)
def seal_reads(job: Job) -> None:
    """Seal an hour's looks at patient data into the audit chain; clear what ended processes left behind."""
    strays.clear_strays()
    reads.seal_reads(job)
