"""Tampering is found and located from the rows alone."""

import pytest
from django.db import connection

from dosewright.ground import triggers
from dosewright.ground.act import act
from dosewright.ground.models import Chain, Signature
from dosewright.ground.pure.roles import Role
from dosewright.ground.signing import Pen, shown_digest, sign
from dosewright.ground.verify import verify
from tests.ground.small_site import NOON, PASSWORD, SmallSite, small_site

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def house() -> SmallSite:
    house = small_site()
    for number in range(5):
        with act(house.actor(Role.TECHNICIAN), "plan.request", at=NOON, subject=f"PN-{number}"):
            pass
    with act(house.actor(Role.PHARMACIST), "jurisdiction.sign", at=NOON) as doing:
        pen = Pen(password=PASSWORD, shown_digest=shown_digest({"a": 1}))
        sign(doing, pen, meaning="m", subject_kind="k", subject="s", subject_version=1, shown={"a": 1})
    return house


def tamper(*statements: str) -> None:
    """Change rows as somebody with the database file could: triggers dropped, then put back."""
    triggers.remove()
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
    triggers.install()


def test_an_untouched_trail_has_no_fault(house: SmallSite) -> None:
    found = verify()
    assert (found.entries, found.signatures, found.faults) == (6, 1, [])


@pytest.mark.parametrize(
    ("statement", "where", "what"),
    [
        ("UPDATE ground_auditentry SET text = replace(text, 'PN-2', 'PN-9') WHERE seq = 3", "entry 3", "hashed"),
        ("UPDATE ground_auditentry SET subject = 'PN-9' WHERE seq = 3", "entry 3", "column subject"),
        ("DELETE FROM ground_auditentry WHERE seq = 3", "entry 4", "entry 3 is missing"),
        ("DELETE FROM ground_auditentry WHERE seq = 6", "head", "says 6 entries where 5"),
        (
            "UPDATE ground_chain SET head = previous_head FROM (SELECT digest AS previous_head FROM ground_auditentry "
            "WHERE seq = 5)",
            "head",
            "another digest",
        ),
        ("UPDATE ground_signature SET meaning = 'another'", "signature", "not what was signed"),
    ],
)
def test_tampering_is_located(house: SmallSite, statement: str, where: str, what: str) -> None:
    tamper(statement)
    faults = verify().faults
    assert any(where in fault.where and what in fault.what for fault in faults), faults


def test_swapped_entries_are_located(house: SmallSite) -> None:
    tamper(
        "UPDATE ground_auditentry SET seq = 99 WHERE seq = 2",
        "UPDATE ground_auditentry SET seq = 2 WHERE seq = 3",
        "UPDATE ground_auditentry SET seq = 3 WHERE seq = 99",
    )
    assert verify().faults[0].where.endswith("entry 2")


def test_a_cut_tail_with_a_mended_head_is_found_by_an_anchor_kept_outside(house: SmallSite) -> None:
    chain = Chain.objects.get(site=house.site)
    anchor = {house.site.code: [(chain.length, chain.head)]}
    assert verify(anchor).faults == []
    tamper(
        "DELETE FROM ground_signature",
        "DELETE FROM ground_auditentry WHERE seq = 6",
        "UPDATE ground_chain SET length = 5, head = (SELECT digest FROM ground_auditentry WHERE seq = 5)",
    )
    assert verify().faults == []
    assert "anchored outside" in verify(anchor).faults[0].what


def test_a_signature_that_no_entry_tells_of_is_found(house: SmallSite) -> None:
    one = Signature.objects.get()
    tamper("UPDATE ground_auditentry SET text = replace(text, '" + one.digest + "', 'x') WHERE seq = 6")
    assert any("no audit entry tells" in fault.what for fault in verify().faults)
