"""A small site with one person per role; all invented."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.test import Client

from dosewright.ground.models import Site, User
from dosewright.ground.people import found_person, found_site
from dosewright.ground.pure.roles import Role

PASSWORD = "a long invented pass phrase"
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
ONE_OF_EACH = {
    "mira.voss": Role.PRESCRIBER,
    "tomas.lind": Role.TECHNICIAN,
    "rosa.keller": Role.PHARMACIST,
    "otto.krug": Role.AUDITOR,
    "nora.stein": Role.SCIENTIST,
    "paul.berg": Role.MANAGER,
}


@pytest.fixture
def site(db: None) -> Site:
    """An invented site."""
    return found_site(
        name="Invented Hospital Pharmacy",
        address="1 Invented Street",
        time_zone="Europe/London",
        jurisdiction="demo",
        at=AT,
        is_demo=True,
    )


@pytest.fixture
def people(site: Site) -> dict[str, User]:
    """One person per role, by user name."""
    return {
        name: found_person(
            site,
            username=name,
            printed_name=name.replace(".", " ").title(),
            password=PASSWORD,
            roles=(role,),
            at=AT,
            registration=f"INV-{name}",
        )
        for name, role in ONE_OF_EACH.items()
    }


def as_person(user: User) -> Client:
    """Return a client signed in by the page, as a browser is, with CSRF checked."""
    client = Client()
    client.force_login(user, backend="dosewright.roof.api.sign_in.People")
    return client


@pytest.fixture
def clients(people: dict[str, User]) -> dict[str, Client]:
    """A signed-in client per person."""
    return {name: as_person(user) for name, user in people.items()}
