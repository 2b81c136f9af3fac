"""The standing cast: an invented site with its people, made by the services as anybody would.

Plain functions; every person, place and figure here is invented. Success and refusal share one set-up.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime

from dosewright.ground.models import Site, User
from dosewright.ground.people import actor_of, found_person, found_site
from dosewright.ground.pure.roles import Actor, Channel, Role

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
"""The moment at which the tests' first acts happen: a Monday morning."""

PASSWORD = "amber-kettle-under-the-stairs"
"""Every person of the cast signs with it."""

PEOPLE: tuple[tuple[str, str, str, str, tuple[Role, ...]], ...] = (
    ("mira.voss", "Dr Mira Voss", "paediatrician", "DEMO-P-1001", (Role.PRESCRIBER,)),
    ("tomas.lind", "Tomas Lind", "pharmacy technician", "DEMO-T-2001", (Role.TECHNICIAN,)),
    ("ada.brandt", "Ada Brandt", "pharmacy technician", "DEMO-T-2002", (Role.TECHNICIAN,)),
    ("rosa.keller", "Rosa Keller", "pharmacist", "DEMO-R-3001", (Role.PHARMACIST,)),
    ("jonas.weber", "Jonas Weber", "pharmacist", "DEMO-R-3002", (Role.PHARMACIST,)),
    ("lena.fuchs", "Lena Fuchs", "pharmacist", "DEMO-R-3003", (Role.PHARMACIST,)),
    ("otto.krug", "Otto Krug", "auditor", "", (Role.AUDITOR,)),
    ("nora.stein", "Nora Stein", "formulation scientist", "", (Role.SCIENTIST,)),
    ("paul.berg", "Paul Berg", "site manager", "", (Role.MANAGER,)),
)


@dataclass(slots=True, kw_only=True)
class Cast:
    """The site and how to get an actor of it: ``cast.mira``, ``cast.act("mira.voss", Channel.TOKEN)``."""

    site: Site
    users: dict[str, User] = field(default_factory=dict)

    def act(self, username: str, channel: Channel = Channel.SESSION) -> Actor:
        """Return the actor that a person is by a door."""
        return actor_of(self.users[username], channel=channel)

    def __getattr__(self, given_name: str) -> Actor:
        for username in self.users:
            if username.partition(".")[0] == given_name:
                return self.act(username)
        raise AttributeError(f"nobody of the cast is called {given_name}")

    @property
    def worker(self) -> Actor:
        """The site's background worker."""
        return actor_of(User.objects.get(site=self.site, kind=User.WORKER), channel=Channel.WORKER)


def found_cast(*, at: datetime = NOW, name: str = "Demo ward pharmacy", suffix: str = "") -> Cast:
    """Make an invented site with its nine people; `suffix` makes a second site with names of its own."""
    site = found_site(
        name=name, address="1 Invented Lane, Nowhere", time_zone="Europe/Berlin", jurisdiction="demo", at=at,
        is_demo=True,
    )
    cast = Cast(site=site)
    for username, printed_name, profession, registration, roles in PEOPLE:
        cast.users[username] = found_person(
            site, username=username + suffix, printed_name=printed_name, password=PASSWORD, roles=roles, at=at,
            profession=profession, registration=registration and registration + suffix,
        )
    return cast
