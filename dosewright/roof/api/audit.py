"""The audit trail as records that can be seen, and its verification."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from dosewright.ground.act import act
from dosewright.ground.models import AuditEntry
from dosewright.ground.pure.errors import BadInput, NotThere
from dosewright.ground.pure.roles import Actor, authorise, authorise_read
from dosewright.ground.rest import Door, KeysetPage, Look, door, look
from dosewright.ground.verify import Findings, verify


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditLine:
    """One entry, newest first in lists; ``text`` is read from what was hashed."""

    code: str
    at: datetime
    actor: str
    action: str
    outcome: str
    subject: str
    reason: str
    channel: str
    digest: str
    changes: tuple[Mapping[str, Any], ...]
    refused: tuple[Mapping[str, Any], ...]
    notes: Mapping[str, Any]


@look
class AuditLook(Look):
    """The site's audit trail, newest first."""

    subject = "audit"
    reads = "audit"
    title = _("Audit trail")
    filters = ("subject", "action", "outcome", "actor")

    def one(self, actor: Actor, code: str, *, at: datetime) -> AuditLine:
        authorise_read(actor, self.reads)
        row = _rows(actor).filter(seq=_number(code)).first()
        if row is None:
            raise NotThere.because("code", "no such entry at this site", value=code[:40], accepted="its number")
        return _line(row)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[AuditLine]:
        authorise_read(actor, self.reads)
        rows = _rows(actor)
        if after:
            rows = rows.filter(seq__lt=_number(after))
        columns = {"actor": "actor__username"}
        rows = rows.filter(**{columns.get(name, name): value.strip() for name, value in filters.items()})
        found = list(rows.order_by("-seq")[: limit + 1])
        items = [_line(row) for row in found[:limit]]
        return KeysetPage(items=items, next_after=items[-1].code if len(found) > limit else "")


def _rows(actor: Actor) -> Any:
    return AuditEntry.objects.filter(site_id=actor.site_id).select_related("actor")


def _number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        raise BadInput.because("code", "is no place in the audit trail", value=text[:40], accepted="a whole number")
    return int(text)


def _line(row: AuditEntry) -> AuditLine:
    said = json.loads(row.text)
    return AuditLine(
        code=str(row.seq),
        at=row.at,
        actor=row.actor.username,
        action=row.action,
        outcome=row.outcome,
        subject=row.subject,
        reason=said.get("reason", ""),
        channel=said.get("channel", ""),
        digest=row.digest,
        changes=tuple(said.get("changes", ())),
        refused=tuple(said.get("refused", ())),
        notes=said.get("notes", {}),
    )


def verify_trail(actor: Actor, *, at: datetime) -> Findings:
    """Verify the audit trail and record that it was done; auditors, pharmacists, site managers."""
    authorise(actor, "audit.verify", parties={})
    found = verify()
    with act(actor, "audit.verify", at=at) as doing:
        doing.note(entries=found.entries, faults=len(found.faults), head=found.head)
    return found


@door
class Verify(Door):
    """Verify every digest and every place in the chain."""

    action = "audit.verify"
    subject = "audit"
    verb = "verify"
    creates = True
    title = _("Verify the audit trail")
    hint = _("Reads every entry, signature and document, and checks it against its digest.")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Mapping[str, Any]:
        found = verify_trail(actor, at=at)
        return {
            "entries": found.entries,
            "signatures": found.signatures,
            "chains": found.chains,
            "faults": [{"where": one.where, "what": one.what} for one in found.faults],
            "head": found.head,
        }
