"""Background work of the ground: sealing the looks at patient data."""

from __future__ import annotations

from dosewright.ground import reads
from dosewright.ground.work import Job, handles


@handles(reads.WORK_KIND)
def seal_reads(job: Job) -> None:
    """Seal an hour's looks at patient data into the audit chain."""
    reads.seal_reads(job)
