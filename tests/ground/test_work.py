"""Work is claimed once, fenced, swept up after a dead worker, and given up after the most attempts."""

import contextlib
from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest

from dosewright.ground import outbox, work
from dosewright.ground.act import act
from dosewright.ground.models import AuditEntry, Work
from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.roles import Role
from tests.ground.small_site import NOON, SmallSite, small_site

pytestmark = pytest.mark.django_db


class Clock:
    """A clock that the test moves."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def house() -> SmallSite:
    return small_site()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def kinds() -> Iterator[None]:
    before, facts = dict(work.KINDS), {fact: dict(names) for fact, names in outbox.HANDLERS.items()}
    yield
    work.KINDS.clear()
    work.KINDS.update(before)
    outbox.HANDLERS.clear()
    outbox.HANDLERS.update(facts)


def leave(house: SmallSite, kind: str, key: str = "k") -> int:
    with act(house.actor(Role.TECHNICIAN), "plan.request", at=NOON) as doing:
        return doing.enqueue(kind, key=key, number=7).pk


def test_two_claims_one_winner(house: SmallSite, clock: Clock) -> None:
    pk = leave(house, "test")
    assert work.claim(pk, clock=clock) is not None
    assert work.claim(pk, clock=clock) is None


def test_the_same_key_is_one_piece_of_work(house: SmallSite) -> None:
    assert leave(house, "test", "same") == leave(house, "test", "same")


def test_a_finished_piece_has_its_audit_row_and_runs_no_more(house: SmallSite, clock: Clock, kinds: None) -> None:
    seen: list[int] = []

    @work.handles("test count")
    def count(job: work.Job) -> None:
        seen.append(job.payload["number"])
        with job.finishing("plan.make", subject="PN-1"):
            pass

    pk = leave(house, "test count")
    assert work.run(pk, clock=clock)
    assert not work.run(pk, clock=clock)
    assert (seen, Work.objects.get(pk=pk).state) == ([7], Work.DONE)
    assert AuditEntry.objects.filter(action="plan.make", actor__kind="worker").count() == 1


def test_a_worker_that_lost_its_lease_writes_nothing(house: SmallSite, clock: Clock, kinds: None) -> None:
    pk = leave(house, "test slow")
    first = work.claim(pk, clock=clock)
    clock.now += work.LEASE + timedelta(seconds=1)
    assert work.sweep(clock=clock) == [pk]
    second = work.claim(pk, clock=clock)
    assert first is not None
    assert second is not None
    with pytest.raises(work.LeaseLost), first.finishing("plan.make") as doing:
        doing.note(late=True)
    assert not AuditEntry.objects.filter(action="plan.make").exists()
    with second.finishing("plan.make"):
        pass
    assert AuditEntry.objects.filter(action="plan.make").count() == 1


def test_a_refusal_is_final_and_kept(house: SmallSite, clock: Clock, kinds: None) -> None:
    @work.handles("test refuse")
    def refuse(job: work.Job) -> None:
        raise BadInput.because("dose", "is too large", limit="6")

    pk = leave(house, "test refuse")
    assert not work.run(pk, clock=clock)
    row = Work.objects.get(pk=pk)
    assert (row.state, "is too large" in row.failure) == (Work.FAILED, True)


def test_a_fault_is_tried_again_and_given_up_in_the_end(house: SmallSite, clock: Clock, kinds: None) -> None:
    @work.handles("test fault")
    def fault(job: work.Job) -> None:
        raise ZeroDivisionError

    pk = leave(house, "test fault")
    for attempt in range(work.MOST_ATTEMPTS):
        assert work.sweep(clock=clock) == [pk], attempt
        with pytest.raises(ZeroDivisionError):
            work.run(pk, clock=clock)
        assert work.sweep(clock=clock) == [], "it pauses"
        clock.now += timedelta(minutes=15)
    assert Work.objects.get(pk=pk).state == Work.FAILED
    assert work.sweep(clock=clock) == []


def test_an_outage_of_minutes_is_outlasted(house: SmallSite, clock: Clock, kinds: None) -> None:
    begin = clock.now

    @work.handles("test outage")
    def outage(job: work.Job) -> None:
        if clock.now < begin + timedelta(minutes=10):
            raise OSError("no space left on device")

    pk = leave(house, "test outage")
    while clock.now < begin + timedelta(minutes=30):
        for found in work.sweep(clock=clock):
            with contextlib.suppress(OSError):
                work.run(found, clock=clock)
        clock.now += timedelta(seconds=5)
    row = Work.objects.get(pk=pk)
    assert (row.state, row.attempts <= work.MOST_ATTEMPTS) == (Work.DONE, True)


def test_work_that_waits_is_due_though_the_clock_was_set_back(house: SmallSite, clock: Clock) -> None:
    pk = leave(house, "test back")
    clock.now = NOON - timedelta(hours=1)
    assert work.sweep(clock=clock) == [pk]
    assert work.claim(pk, clock=clock) is not None


def test_work_left_for_later_stays_for_later(house: SmallSite, clock: Clock) -> None:
    with act(house.actor(Role.TECHNICIAN), "plan.request", at=NOON) as doing:
        doing.enqueue("test later", key="later", due_at=NOON + timedelta(hours=1))
    clock.now = NOON - work.CLOCK_SLACK
    assert work.sweep(clock=clock) == []


def test_a_lease_of_a_clock_that_was_set_back_is_taken_over_and_fenced(house: SmallSite, clock: Clock) -> None:
    pk = leave(house, "test back")
    first = work.claim(pk, clock=clock)
    assert first is not None
    clock.now = NOON - timedelta(minutes=5)
    assert work.sweep(clock=clock) == [], "clocks of two machines differ"
    clock.now = NOON - timedelta(hours=1)
    assert work.claim(pk, clock=clock) is not None
    with pytest.raises(work.LeaseLost):
        first.finish()


def test_a_failed_attempt_goes_on_though_the_clock_was_set_back(house: SmallSite, clock: Clock, kinds: None) -> None:
    @work.handles("test fault")
    def fault(job: work.Job) -> None:
        raise ZeroDivisionError

    clock.now += timedelta(hours=2)
    pk = leave(house, "test fault")
    with pytest.raises(ZeroDivisionError):
        work.run(pk, clock=clock)
    clock.now -= timedelta(hours=1)
    assert work.sweep(clock=clock) == [pk]


def test_a_worker_that_dies_on_every_attempt_leaves_a_failure(house: SmallSite, clock: Clock) -> None:
    pk = leave(house, "test die")
    for _ in range(work.MOST_ATTEMPTS):
        assert work.claim(pk, clock=clock) is not None
        clock.now += work.LEASE + timedelta(seconds=1)
    assert work.sweep(clock=clock) == []
    assert Work.objects.get(pk=pk).state == Work.FAILED


def test_each_handler_of_a_fact_runs_once(house: SmallSite, clock: Clock, kinds: None) -> None:
    seen: list[str] = []

    @outbox.on("test fact")
    def one(job: work.Job) -> None:
        seen.append("one " + job.payload["order"])

    @outbox.on("test fact")
    def two(job: work.Job) -> None:
        seen.append("two " + job.payload["order"])

    with act(house.actor(Role.TECHNICIAN), "plan.request", at=NOON) as doing:
        doing.emit("test fact", order="RX-1")
    for _ in range(3):
        for pk in work.sweep(clock=clock):
            work.run(pk, clock=clock)
    assert sorted(seen) == ["one RX-1", "two RX-1"]
