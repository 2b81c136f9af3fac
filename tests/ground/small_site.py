"""A site with one person per role, for the tests of the ground."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from dosewright.ground.models import Site, User
from dosewright.ground.people import actor_of, found_person, found_site
from dosewright.ground.pure.roles import Actor, Channel, Role

NOON = datetime(2026, 3, 2, 11, 0, tzinfo=UTC)
PASSWORD = "a long invented pass phrase"


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallSite:
    """The site and its people by role."""

    site: Site
    people: dict[Role, User]

    def actor(self, role: Role, *, channel: Channel = Channel.PAGE) -> Actor:
        """Return the actor of the person that holds `role`."""
        return actor_of(self.people[role], channel=channel)

    @property
    def worker(self) -> Actor:
        """Return the site's worker."""
        return actor_of(User.objects.get(site=self.site, kind=User.WORKER), channel=Channel.WORKER)


def small_site(name: str = "one") -> SmallSite:
    """Make a site with one person for every role that people hold."""
    site = found_site(
        name=f"Pharmacy {name}", address="1 Invented Street", time_zone="Europe/Vienna", jurisdiction="demo", at=NOON
    )
    people = {
        role: found_person(
            site,
            username=f"{role.value.replace(' ', '-')}-{name}",
            printed_name=f"Person {role.value}",
            password=PASSWORD,
            roles=(role,),
            at=NOON,
        )
        for role in Role
        if role not in {Role.SYSTEM, Role.PRINTER}
    }
    return SmallSite(site=site, people=people)
