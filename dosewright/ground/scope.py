"""Which rows an actor may see: those of their own site; and the record of every look at a patient."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TypeVar

from django.db import models

from dosewright.ground.models import ReadEntry
from dosewright.ground.pure.errors import NotThere, Refusal
from dosewright.ground.pure.roles import Actor
from dosewright.ground.reads import leave_sealing

Row = TypeVar("Row", bound=models.Model)


def find(actor: Actor, model: type[Row], code: str, *, path: str = "site_id") -> Row:
    """Return the row of `code` at the actor's site, or raise NotThere (never telling another site's codes)."""
    row = model._default_manager.filter(code=code, **{path: actor.site_id}).first()
    if row is None:
        raise NotThere(
            Refusal(
                field="code",
                value=code[:40],
                message=f"no such {model._meta.verbose_name} at this site",
                accepted="a code of this site",
                rule="code",
            )
        )
    return row


def record_reads(actor: Actor, *, patients: Sequence[str], view: str, at: datetime) -> None:
    """Record a look at a list that names patients: a row for each of them, and their hour to be sealed."""
    if patients:
        rows = [
            ReadEntry(site_id=actor.site_id, at=at, reader_id=actor.user_id, patient=one, view=view) for one in patients
        ]
        ReadEntry.objects.bulk_create(rows)
        leave_sealing(actor, at=at)


def record_read(actor: Actor, *, patient: str, view: str, at: datetime, reason: str = "") -> None:
    """Record one look at identifying data, and see that its hour is sealed into the audit chain."""
    ReadEntry.objects.create(
        site_id=actor.site_id, at=at, reader_id=actor.user_id, patient=patient, view=view, reason=reason
    )
    leave_sealing(actor, at=at)
