"""Claim, lease, fence, sweep: one way to run a piece of background work, for every kind and every stack.

A handler gets a `Job`. Slow work happens outside any transaction; what it leaves is written inside
``with job.finishing(action) as doing:``, which re-checks the lease in the same transaction (the fence), so
that a worker that lost its lease writes nothing.
"""

from __future__ import annotations

import contextlib
import json
import secrets
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, TypeVar

from django.db import transaction
from django.db.models import F, Q, QuerySet

from dosewright.ground import outbox, steps
from dosewright.ground.act import Act, act
from dosewright.ground.models import User, Work
from dosewright.ground.people import actor_of
from dosewright.ground.pure.errors import Refused
from dosewright.ground.pure.roles import Actor, Channel

LEASE = timedelta(seconds=120)
REFUSED = "["
"""How the failure of refused work begins: a list of reasons."""

MOST_ATTEMPTS = 5
RETRY_AFTER = (timedelta(seconds=5), timedelta(seconds=30), timedelta(minutes=3), timedelta(minutes=15))
"""The pause after each failed attempt: a full disk or a lost database lasts minutes (judgement, no source)."""
CLOCK_SLACK = timedelta(minutes=10)
"""A time that lies further ahead than any that can be written now was written by a clock that was set back since."""

Handler = TypeVar("Handler", bound=Callable[..., Any])
KINDS: dict[str, Callable[[Job], None]] = {}


class LeaseLost(Exception):
    """Another worker holds the work now; nothing of this run may be written."""


@dataclass(slots=True)
class Job:
    """One claimed piece of work, with what its handler needs."""

    pk: int
    kind: str
    site_id: int
    payload: dict[str, Any]
    token: str
    clock: Callable[[], datetime]
    finished: bool = field(default=False)

    @property
    def system(self) -> Actor:
        """The site's worker, who acts for the system."""
        user = User.objects.select_related("site").get(site_id=self.site_id, kind=User.WORKER)
        return actor_of(user, channel=Channel.WORKER)

    def progress(self, text: str) -> None:
        """Say how far the work is and prolong the lease; raises LeaseLost."""
        if _fenced(self).update(progress=text[:120], lease_until=self.clock() + LEASE) != 1:
            raise LeaseLost(f"work {self.pk} is no longer ours")
        steps.at("work-under-way", self.kind)

    @contextlib.contextmanager
    def finishing(self, action: str, *, subject: str = "", reason: str = "") -> Iterator[Act]:
        """Open the action that writes the result and closes the work, in one transaction."""
        now = self.clock()
        with act(self.system, action, at=now, subject=subject, reason=reason) as doing:
            yield doing
            self._close(now)

    def finish(self) -> None:
        """Close the work without an action, for work that leaves no record."""
        with transaction.atomic(durable=True):
            self._close(self.clock())

    def _close(self, now: datetime) -> None:
        done = _fenced(self).update(state=Work.DONE, done_at=now, lease_until=None, failure="")
        if done != 1:
            raise LeaseLost(f"work {self.pk} is no longer ours")
        self.finished = True


def handles(kind: str) -> Callable[[Handler], Handler]:
    """Register the decorated function as the handler of a kind of work."""

    def register(function: Handler) -> Handler:
        if kind in KINDS:
            raise ValueError(f"work of kind {kind} has two handlers")
        KINDS[kind] = function
        return function

    return register


def run(work_id: int, *, clock: Callable[[], datetime]) -> bool:
    """Claim and run one piece of work; return whether it was ours and ended done.

    A refusal is a final failure with its reason kept; any other exception leaves the work for another
    attempt, at most `MOST_ATTEMPTS`, and is raised again so that the process's log shows it.
    """
    job = claim(work_id, clock=clock)
    if job is None:
        return False
    steps.at("work-claimed", job.kind)
    try:
        _handler(job.kind)(job)
    except LeaseLost:
        return False
    except Refused as refused:
        _give_up(job, json.dumps([one.as_dict() for one in refused.refusals]))
        return False
    except BaseException as trouble:
        steps.at("work-failed", job.kind)
        _put_back(job, f"{type(trouble).__name__}: {trouble}")
        raise
    if not job.finished:
        job.finish()
    return True


def claim(work_id: int, *, clock: Callable[[], datetime]) -> Job | None:
    """Take the lease of one piece of work by conditional UPDATE, or return None when another has it."""
    steps.at("work-found")
    now = clock()
    token = secrets.token_hex(16)
    claimed = (
        _claimable(now)
        .filter(pk=work_id)
        .update(state=Work.LEASED, lease_until=now + LEASE, lease_token=token, attempts=F("attempts") + 1)
    )
    if claimed != 1:
        return None
    row = Work.objects.get(pk=work_id)
    payload = json.loads(row.payload, parse_float=Decimal)
    return Job(pk=row.pk, kind=row.kind, site_id=row.site_id, payload=payload, token=token, clock=clock)


def sweep(*, clock: Callable[[], datetime], most: int = 50) -> list[int]:
    """Return the ids of work that can be claimed now: new, due again, or left behind by a dead worker."""
    now = clock()
    Work.objects.filter(_run_out(now), state=Work.LEASED, attempts__gte=MOST_ATTEMPTS).update(
        state=Work.FAILED, failure="the worker died on every attempt", lease_until=None
    )
    return list(_claimable(now).order_by("due_at", "pk").values_list("pk", flat=True)[:most])


def failed_by_faults(rows: QuerySet[Work]) -> QuerySet[Work]:
    """Return the rows that failed by a fault of the machine; a refusal, kept as a list of reasons, is none."""
    return rows.filter(state=Work.FAILED).exclude(failure__startswith=REFUSED)


def put_back_failed(*, now: datetime) -> int:
    """Let all work that failed by a fault be tried again from the first attempt; return how many pieces."""
    failed = failed_by_faults(Work.objects.all())
    return failed.update(state=Work.WAITING, attempts=0, due_at=now, done_at=None)


def _claimable(now: datetime) -> Any:
    open_now = _due(now) & Q(state=Work.WAITING)
    left_behind = _run_out(now) & Q(state=Work.LEASED, attempts__lt=MOST_ATTEMPTS)
    return Work.objects.filter(open_now | left_behind)


def _due(now: datetime) -> Q:
    """Choose what is due, also where the clock was set back after it was left or put back."""
    made_ahead = Q(created_at__gt=now + CLOCK_SLACK)
    put_back_ahead = Q(attempts__gt=0, due_at__gt=now + RETRY_AFTER[-1] + CLOCK_SLACK)
    return Q(due_at__lte=now) | made_ahead | put_back_ahead


def _run_out(now: datetime) -> Q:
    """Choose leases that ran out or that no clock of now can have given; the fence makes taking them safe."""
    return Q(lease_until__lt=now) | Q(lease_until__gt=now + LEASE + CLOCK_SLACK)


def _handler(kind: str) -> Callable[[Job], None]:
    if kind.startswith("fact:"):
        return outbox.handler_of(kind)
    return KINDS[kind]


def _fenced(job: Job) -> Any:
    return Work.objects.filter(pk=job.pk, state=Work.LEASED, lease_token=job.token)


def _give_up(job: Job, failure: str) -> None:
    _fenced(job).update(state=Work.FAILED, failure=failure, lease_until=None, done_at=job.clock())


def _put_back(job: Job, failure: str) -> None:
    now = job.clock()
    row = _fenced(job)
    row.filter(attempts__gte=MOST_ATTEMPTS).update(state=Work.FAILED, failure=failure, lease_until=None, done_at=now)
    for attempt, pause in enumerate(RETRY_AFTER, start=1):
        row.filter(attempts=attempt).update(state=Work.WAITING, failure=failure, lease_until=None, due_at=now + pause)
