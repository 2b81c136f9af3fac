"""Every append-only row is added by an action, and the action's entry names it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from django.db import transaction

from dosewright.ground.act import act
from dosewright.ground.added import add_all, gathering, row_texts
from dosewright.ground.models import AuditEntry, Outbox
from dosewright.ground.pure.canonical import digest_of
from dosewright.ground.pure.roles import Role
from dosewright.ground.raw_rows import few_rows, rows_by
from dosewright.ground.verify import verify
from tests.ground.small_site import NOON, SmallSite, small_site

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).parents[2]


@pytest.fixture
def house(db: None) -> SmallSite:
    return small_site()


def fact(house: SmallSite, name: str) -> Outbox:
    return Outbox(site=house.site, fact=name, payload="{}", at=NOON)


def added() -> dict[str, dict[str, str]]:
    """Return what the newest entry says that it added."""
    newest = AuditEntry.objects.order_by("seq").last()
    assert newest is not None
    return dict(json.loads(newest.text)["added"])


def test_an_entry_names_each_row_with_a_digest_of_it(house: SmallSite) -> None:
    with act(house.actor(Role.TECHNICIAN), "plan.request", at=NOON) as doing:
        doing.emit("one")
        add_all([fact(house, "two"), fact(house, "three")])
    assert added() == {"ground_outbox": {str(pk): digest_of(text) for pk, text in row_texts(Outbox)}}
    assert Outbox.objects.count() == 3
    assert verify().faults == []


def test_a_row_that_was_taken_back_within_the_action_is_not_named(house: SmallSite) -> None:
    with act(house.actor(Role.TECHNICIAN), "plan.request", at=NOON) as doing:
        with transaction.atomic():
            doing.emit("taken back")
            transaction.set_rollback(True)
        doing.emit("kept")
    assert Outbox.objects.get().fact == "kept"
    assert list(added()["ground_outbox"]) == [str(Outbox.objects.get().pk)]


def test_no_row_is_added_outside_an_action(house: SmallSite) -> None:
    with pytest.raises(PermissionError, match="by an action alone"), transaction.atomic():
        fact(house, "nobody's").save()
    with pytest.raises(PermissionError, match="by an action alone"), transaction.atomic():
        add_all([fact(house, "nobody's")])
    assert not Outbox.objects.exists()


def test_many_rows_are_added_so_that_they_are_noted() -> None:
    """`bulk_create` of an append-only table would leave rows that no entry names; dose lines and units are none."""
    callers = {
        (path.relative_to(ROOT).as_posix(), found)
        for app in ("dosewright", "prescriptions", "printing", "labels")
        for path in sorted((ROOT / app).rglob("*.py"))
        for found in re.findall(
            r"(\w+(?:\.objects|\._default_manager))\.bulk_create\(", path.read_text(encoding="utf-8")
        )
    }
    assert callers == {
        ("dosewright/ground/scope.py", "ReadEntry.objects"),
        ("prescriptions/services/versions.py", "DoseLine.objects"),
        ("printing/plates/services/writing.py", "PlacedUnit.objects"),
    }


def test_few_rows_are_read_as_many_are(house: SmallSite) -> None:
    """Entries are written from `few_rows` and verified from `rows_by`: they must read the same."""
    with gathering():
        add_all([fact(house, name) for name in ("one", "two", "three")])
    names = [field.attname for field in Outbox._meta.concrete_fields if not field.primary_key]
    many = list(rows_by(Outbox.objects.all(), "pk", *names))
    assert len(many) == 3
    assert few_rows(Outbox, [key for key, _ in many]) == many
    assert few_rows(Outbox, [many[2][0], many[0][0]]) == [many[0], many[2]]
