"""Who took part in a batch: made it, tested it, closed its deviations."""

from __future__ import annotations

from dosewright.ground.models import AuditEntry, User
from printing.plates.models import PrintBatch
from printing.runs.content import BatchPeople
from printing.runs.models import Deviation, Measurement, PrinterSeen, RunStep, Verdict


def people_of_batch(code: str) -> BatchPeople:
    """Return the user ids of who made a batch (approved its plan, ran and finished it), tested and judged it."""
    batch = PrintBatch.objects.get(code=code)
    makers = set(RunStep.objects.filter(batch=batch).values_list("by_id", flat=True))
    makers |= set(PrinterSeen.objects.filter(batch=batch).values_list("by_id", flat=True))
    approved = AuditEntry.objects.filter(subject=code, action="batch.approve", outcome=AuditEntry.DONE)
    makers |= set(approved.values_list("actor_id", flat=True))
    testers = set(Measurement.objects.filter(zone__batch=batch).values_list("by_id", flat=True))
    testers |= set(Verdict.objects.filter(zone__batch=batch).values_list("by_id", flat=True))
    closers = Deviation.objects.filter(batch=batch, closed_by__isnull=False).values_list("closed_by_id", flat=True)
    return BatchPeople(
        makers=frozenset(makers),
        testers=frozenset(testers),
        closers=frozenset(one for one in closers if one is not None),
    )


def person_by_name(site_id: int, username: str) -> User | None:
    """Return a person of a site by user name, None when there is none."""
    return User.objects.filter(site_id=site_id, username=username, kind=User.PERSON).first()
