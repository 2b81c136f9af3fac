"""Tells whoever comes second who came first: the last act of another person on the records that a refusal names."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from dosewright.ground.models import AuditEntry, User
from dosewright.ground.pure.errors import Blocked, Conflict, Refusal, Refused
from dosewright.ground.pure.roles import Actor

CODE = re.compile(r"\b([A-Z]{2}-[0-9A-Z]{4,})\b(?: number (\d+)|/(\d+))?")
MOST_CODES = 500


def name_the_other(refused: Refused, actor: Actor, subject: str) -> None:
    """Add to each reason of a conflict or block who last acted on the record it names, where that was another person.

    A conflict that names no record is about `subject`.
    """
    if not isinstance(refused, Conflict | Blocked):
        return
    otherwise = [subject] if isinstance(refused, Conflict) else []
    told = [_told(one, actor, otherwise) for one in refused.refusals]
    refused.refusals = tuple(told)
    refused.args = ("; ".join(f"{one.field}: {one.message}" for one in told),)


def last_of_others(actor: Actor, codes: Iterable[str]) -> str:
    """Return "Printed Name: action on CODE at time" of the last act of another person on one of `codes`, or nothing."""
    wanted = [code for code in dict.fromkeys(codes) if code][:MOST_CODES]
    entry = (
        AuditEntry.objects.filter(
            site_id=actor.site_id, subject__in=wanted, outcome=AuditEntry.DONE, actor__kind=User.PERSON
        )
        .exclude(actor_id=actor.user_id)
        .select_related("actor")
        .order_by("-seq")
        .first()
    )
    if entry is None:
        return ""
    return f"{entry.actor.printed_name}: {entry.action} on {entry.subject} at {entry.at:%Y-%m-%d %H:%M} UTC"


def codes_in(text: str) -> list[str]:
    """Return the codes of records that stand in a text, and what a version of one is called in the audit trail."""
    found = [(code, number or part) for code, number, part in CODE.findall(text)]
    return [name for code, number in found for name in ([code, f"{code}/{number}"] if number else [code])]


def _told(one: Refusal, actor: Actor, otherwise: list[str]) -> Refusal:
    codes = codes_in(f"{one.field} {one.value} {one.message}") or otherwise
    last = last_of_others(actor, codes) if codes and LAST not in one.message else ""
    return replace(one, message=f"{one.message}{LAST}{last}") if last else one


LAST = "; last act by another: "
