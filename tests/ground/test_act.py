"""One action is one transaction with one audit row, done or refused."""

import json

import pytest
from django.db import IntegrityError

from dosewright.ground.act import act, record_refusal
from dosewright.ground.models import AuditEntry, Idempotency, Outbox, Work
from dosewright.ground.pure.errors import BadInput, Conflict, NotAllowed, Overtaken
from dosewright.ground.pure.roles import Role
from tests.ground.small_site import NOON, SmallSite, small_site

pytestmark = pytest.mark.django_db


@pytest.fixture
def house() -> SmallSite:
    return small_site()


def test_a_done_action_leaves_one_row_that_continues_the_chain(house: SmallSite) -> None:
    with act(house.actor(Role.TECHNICIAN), "plan.request", at=NOON, subject="PN-1", reason="urgent") as doing:
        doing.note(lots=3)
    with act(house.actor(Role.TECHNICIAN), "plan.request", at=NOON) as doing:
        pass
    first, second = AuditEntry.objects.filter(site=house.site)
    said = json.loads(first.text)
    assert (said["action"], said["subject"], said["reason"], said["notes"]) == (
        "plan.request",
        "PN-1",
        "urgent",
        {"lots": 3},
    )
    assert (first.seq, second.seq, second.previous) == (1, 2, first.digest)


def test_a_refusal_inside_rolls_everything_back_and_leaves_its_own_row(house: SmallSite) -> None:
    def attempt() -> None:
        with act(house.actor(Role.TECHNICIAN), "plan.request", at=NOON) as doing:
            doing.emit("order received", order="RX-1")
            doing.enqueue("plan", key="k")
            raise BadInput.because("family_name", "is not one", value="Quaggenbrink", rule="name")

    with pytest.raises(BadInput):
        attempt()
    only = AuditEntry.objects.get(site=house.site)
    assert only.outcome == AuditEntry.REFUSED
    assert json.loads(only.text)["refused"] == [{"field": "family_name", "limit": None, "rule": "name"}]
    assert "Quaggenbrink" not in only.text
    assert not Outbox.objects.exists()
    assert not Work.objects.exists()


def test_parts_of_one_action_leave_a_row_each_after_its_own_or_none_at_all(house: SmallSite) -> None:
    actor = house.actor(Role.TECHNICIAN)
    with act(actor, "order.import", at=NOON) as doing:
        for code in ("RX-1", "RX-2"):
            doing.part("order.enter", subject=code).emit("order received", order=code)
    rows = AuditEntry.objects.filter(site=house.site).order_by("seq").values_list("action", "subject", "outcome")
    assert list(rows) == [
        ("order.import", "", "done"),
        ("order.enter", "RX-1", "done"),
        ("order.enter", "RX-2", "done"),
    ]

    def attempt() -> None:
        with act(actor, "order.import", at=NOON) as doing:
            doing.part("order.enter", subject="RX-3").emit("order received", order="RX-3")
            doing.part("order.stop", subject="RX-1")

    with pytest.raises(NotAllowed):
        attempt()
    assert AuditEntry.objects.filter(subject="RX-3").count() == 0
    assert AuditEntry.objects.get(outcome=AuditEntry.REFUSED).action == "order.import"
    assert Outbox.objects.count() == 2


def test_another_role_is_refused_and_told_who_could(house: SmallSite) -> None:
    with pytest.raises(NotAllowed) as refused, act(house.actor(Role.AUDITOR), "plan.request", at=NOON):
        raise AssertionError("the body must not run")
    assert refused.value.refusals[0].accepted == "pharmacist or technician"
    assert AuditEntry.objects.get(site=house.site).outcome == AuditEntry.REFUSED


@pytest.mark.parametrize("relation", ["prescriber", "attester"])
def test_the_person_who_must_differ_is_refused(house: SmallSite, relation: str) -> None:
    pharmacist = house.actor(Role.PHARMACIST)
    parties = {"prescriber": frozenset[int](), "attester": frozenset[int]()} | {
        relation: frozenset({pharmacist.user_id})
    }
    with (
        pytest.raises(NotAllowed, match=f"another person than the {relation}"),
        act(pharmacist, "order.verify", at=NOON, parties=parties),
    ):
        raise AssertionError("the body must not run")


def test_relations_left_open_must_be_filled_inside(house: SmallSite) -> None:
    pharmacist = house.actor(Role.PHARMACIST)
    with pytest.raises(PermissionError, match="never said who"), act(pharmacist, "order.verify", at=NOON) as doing:
        doing.note(nothing=True)
    with pytest.raises(NotAllowed), act(pharmacist, "order.verify", at=NOON) as doing:
        doing.authorise({"prescriber": frozenset({pharmacist.user_id}), "attester": frozenset()})


def test_actions_do_not_nest(house: SmallSite) -> None:
    actor = house.actor(Role.TECHNICIAN)
    with pytest.raises(RuntimeError), act(actor, "plan.request", at=NOON), act(actor, "plan.request", at=NOON):
        pass


def test_whoever_comes_second_to_what_may_stand_once_is_overtaken_and_told_by_whom(house: SmallSite) -> None:
    def keep(role: Role) -> None:
        with act(house.actor(role), "order.enter", at=NOON, subject="RX-OVERTAKEN"):
            Idempotency.objects.create(
                site=house.site, source="s", reference="r", request_digest="0" * 64, answer="RX", at=NOON
            )

    keep(Role.PHARMACIST)
    with pytest.raises(Overtaken) as refused:
        keep(Role.TECHNICIAN)
    assert "Person pharmacist: order.enter on RX-OVERTAKEN" in str(refused.value)
    assert not refused.value.recorded
    assert Idempotency.objects.count() == 1


def test_any_other_broken_constraint_is_a_fault_of_ours(house: SmallSite) -> None:
    with pytest.raises(IntegrityError), act(house.actor(Role.TECHNICIAN), "plan.request", at=NOON):
        Work.objects.create(
            site=house.site,
            kind=None,
            key="k",
            payload="{}",
            created_at=NOON,
            due_at=NOON,  # type: ignore[misc]
        )


def test_a_refusal_names_nobody_for_ones_own_act_and_nobody_of_another_site(house: SmallSite) -> None:
    other = small_site("other")
    for one in (house.actor(Role.TECHNICIAN), other.actor(Role.PHARMACIST)):
        with act(one, "plan.request", at=NOON, subject="PN-AAAA"):
            pass
    refused = Conflict.because("PN-AAAA", "moved")
    record_refusal(house.actor(Role.TECHNICIAN), "plan.request", refused, at=NOON)
    assert str(refused) == "PN-AAAA: moved"
