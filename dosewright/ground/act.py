"""One action = one durable transaction = one audit row, appended last.

Use::

    with act(actor, "order.verify", at=at, subject=order.code, parties={...}) as doing:
        doing.advance(order, "verify")
        doing.emit("order verified", order=order.code)

When the body raises a `Refused`, everything is rolled back and a second transaction records the refusal.
Several acts that must happen together or not at all are parts of one (`Act.part`): each leaves a row of its
own, all appended last.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, models, transaction
from django.db.models import F

from dosewright.ground import outbox, steps, wake
from dosewright.ground.added import gathering
from dosewright.ground.models import AuditEntry, Chain, Work
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import Overtaken, Refusal, Refused
from dosewright.ground.pure.roles import Actor, authorise, authorise_role, rule_for
from dosewright.ground.transitions import advance, advance_all, change
from dosewright.ground.whose import name_the_other

GENESIS = "0" * 64
UNIQUE_VIOLATION = "23505"
"""PostgreSQL's SQLSTATE for it (SQL standard class 23)."""
NO_ONE: Mapping[str, frozenset[int]] = {}


class Act:
    """What one action does while its transaction is open; gathers what its audit row will say."""

    def __init__(self, actor: Actor, action: str, *, at: datetime, subject: str, reason: str) -> None:
        self.actor = actor
        self.action = action
        self.at = at
        self.subject = subject
        self.reason = reason
        self._changes: list[dict[str, Any]] = []
        self._notes: dict[str, Any] = {}
        self.settled = False
        self.woken = False
        self.parts: list[Act] = []

    def part(self, action: str, *, subject: str) -> Act:
        """Return one of several acts that this one holds together; its rule must name no relation.

        Raises NotAllowed where the actor may not do `action`.
        """
        one = Act(self.actor, action, at=self.at, subject=subject, reason=self.reason)
        one.authorise({})
        self.parts.append(one)
        return one

    def authorise(self, parties: Mapping[str, frozenset[int]]) -> None:
        """Check the roles table again once the people concerned are known."""
        authorise(self.actor, self.action, parties=parties)
        self.settled = True

    def advance(self, row: models.Model, event: str, *, version: int | None = None) -> str:
        """Fire `event` on `row`; see `transitions.advance`."""
        return advance(self, row, event, version=version)

    def advance_all(self, rows: Sequence[models.Model], event: str) -> None:
        """Fire `event` on every row or on none; see `transitions.advance_all`."""
        advance_all(self, rows, event)

    def change(
        self,
        row: models.Model,
        *,
        version: int | None = None,
        where: dict[str, Any] | None = None,
        **values: Any,
    ) -> None:
        """Write columns of a mutable row that are no state; see `transitions.change`."""
        change(self, row, version=version, where=where, **values)

    def changed(self, machine: str, code: str, *, event: str, old: str, new: str) -> None:
        """Note a change of state for the audit row."""
        self._changes.append({"of": machine, "code": code, "event": event, "from": old, "to": new})

    def wrote(self, code: str, name: str, *, old: Any, new: Any) -> None:
        """Note a written value for the audit row, with what stood there before."""
        self._changes.append({"code": code, "field": name, "from": _recorded(old), "to": _recorded(new)})

    def note(self, **facts: Any) -> None:
        """Add facts to the audit row: codes, figures and digests, never a patient's name."""
        self._notes.update({name: _recorded(value) for name, value in facts.items()})

    def emit(self, fact: str, **payload: Any) -> None:
        """Write a fact into the outbox and a piece of work for each of its handlers, in this transaction."""
        outbox.emit(site_id=self.actor.site_id, fact=fact, payload=payload, at=self.at)
        self.woken = True

    def enqueue(self, kind: str, *, key: str, due_at: datetime | None = None, **payload: Any) -> Work:
        """Leave a piece of work; a `key` that was used before returns the piece that is there."""
        self.woken = True
        work, _ = Work.objects.get_or_create(
            key=key,
            defaults={
                "site_id": self.actor.site_id,
                "kind": kind,
                "payload": canonical_text(payload),
                "created_at": self.at,
                "due_at": due_at or self.at,
            },
        )
        return work

    def record(self, added: Mapping[str, Any]) -> dict[str, Any]:
        """Return what the audit row says besides who and when; ``added`` names the append-only rows of the action."""
        return {"changes": self._changes, "notes": self._notes, "added": added}


@contextlib.contextmanager
def act(
    actor: Actor,
    action: str,
    *,
    at: datetime,
    subject: str = "",
    reason: str = "",
    parties: Mapping[str, frozenset[int]] = NO_ONE,
) -> Iterator[Act]:
    """Open the transaction of one action.

    `parties` fills the relations that the roles table names for the action; a service that only learns
    them inside passes ``{}`` here and calls `Act.authorise` as its first step. Raises NotAllowed, Overtaken, and
    whatever the body raises. Never nest two actions.
    """
    doing = Act(actor, action, at=at, subject=subject, reason=reason)
    try:
        with transaction.atomic(durable=True), gathering() as added:
            doing.settled = _settled(actor, action, parties)
            steps.at("action-begun", action)
            yield doing
            steps.at("action-done", action)
            if not doing.settled:
                raise PermissionError(f"{action} never said who the people are that its rule names")
            _append(doing, outcome=AuditEntry.DONE, body=doing.record(added.digests()))
            for one in doing.parts:
                _append(one, outcome=AuditEntry.DONE, body=one.record({}))
            steps.at("action-recorded", action)
    except Refused as refused:
        steps.at("refusal", action)
        record_refusal(actor, action, refused, at=at, subject=subject, reason=reason)
        raise
    except IntegrityError as broken:
        if not _is_there_already(broken):
            raise
        raise _overtaken(doing) from broken
    steps.at("action-committed", action)
    if any(one.woken for one in (doing, *doing.parts)):
        wake.after_commit()


def _is_there_already(broken: IntegrityError) -> bool:
    """Say whether a row was refused because its like is there: only a race can come so far, services look first."""
    state = getattr(broken.__cause__, "sqlstate", None)
    return state == UNIQUE_VIOLATION if state else str(broken).startswith("UNIQUE constraint failed")


def _overtaken(doing: Act) -> Overtaken:
    """Return the refusal of who came second; whoever answers it puts it on record, for some only look again."""
    overtaken = Overtaken(
        Refusal(
            field=doing.subject or doing.action,
            message="another action was quicker",
            accepted="look again and repeat",
            rule="overtaken",
        )
    )
    name_the_other(overtaken, doing.actor, doing.subject)
    return overtaken


def _settled(actor: Actor, action: str, parties: Mapping[str, frozenset[int]]) -> bool:
    """Check roles now; say whether the relations of the rule could be checked as well."""
    rule = rule_for(action)
    named = {*rule.differs, *([rule.is_one_of] if rule.is_one_of else [])}
    if named <= set(parties):
        authorise(actor, action, parties=parties)
        return True
    authorise_role(actor, action)
    return False


def record_refusal(
    actor: Actor, action: str, refused: Refused, *, at: datetime, subject: str = "", reason: str = ""
) -> None:
    """Add the audit row of an action that was refused; once per refusal, whoever meets it first.

    What was typed is left out, for it may hold a patient's name; fields, rules and limits stay.
    """
    if refused.recorded:
        return
    refused.recorded = True
    name_the_other(refused, actor, subject)
    doing = Act(actor, action, at=at, subject=subject, reason=reason)
    kept = [{"field": one.field, "rule": one.rule, "limit": one.limit} for one in refused.refusals]
    with transaction.atomic(durable=True):
        _append(doing, outcome=AuditEntry.REFUSED, body={"refused": kept, "kind": refused.slug})


def _append(doing: Act, *, outcome: str, body: Mapping[str, Any]) -> AuditEntry:
    chain = _locked_chain(doing.actor.site_id)
    seq = chain.length + 1
    text = canonical_text(
        {
            "seq": seq,
            "site": doing.actor.site_code,
            "at": doing.at,
            "actor": doing.actor.username,
            "channel": doing.actor.channel,
            "roles": sorted(doing.actor.roles),
            "action": doing.action,
            "outcome": outcome,
            "subject": doing.subject,
            "reason": doing.reason,
            **body,
        }
    )
    digest = digest_of(chain.head + "\n" + text)
    entry = AuditEntry.objects.create(
        site_id=doing.actor.site_id,
        seq=seq,
        at=doing.at,
        actor_id=doing.actor.user_id,
        action=doing.action,
        outcome=outcome,
        subject=doing.subject,
        text=text,
        previous=chain.head,
        digest=digest,
    )
    Chain.objects.filter(pk=chain.pk).update(length=F("length") + 1, head=digest)
    return entry


def _locked_chain(site_id: int) -> Chain:
    mine = Chain.objects.select_for_update().filter(site_id=site_id)
    found = list(mine)
    if found:
        return found[0]
    Chain.objects.get_or_create(site_id=site_id, defaults={"head": GENESIS})
    return mine.get()


def _recorded(value: Any) -> Any:
    if isinstance(value, float):
        return Decimal(repr(value))
    if isinstance(value, models.Model):
        return str(getattr(value, "code", value.pk))
    if isinstance(value, set | frozenset):
        return sorted(value)
    return value
