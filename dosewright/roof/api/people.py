"""The people of a site and their roles, for its manager."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Prefetch
from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.models import Grant, User
from dosewright.ground.people import grant_role
from dosewright.ground.pure.roles import Actor, Role, authorise_read
from dosewright.ground.rest import Door, KeysetPage, Look, door, look
from dosewright.ground.scope import find

FOR_PEOPLE = [role for role in Role if role not in {Role.SYSTEM, Role.PRINTER}]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleHeld:
    """One role, since when and, where it is over, until when."""

    role: str
    since: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonFacts:
    """One person of the site."""

    code: str
    username: str
    printed_name: str
    profession: str
    registration: str
    active: bool
    roles: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonRecord:
    """One person with the history of their roles."""

    code: str
    username: str
    printed_name: str
    profession: str
    registration: str
    active: bool
    roles: tuple[RoleHeld, ...]


@look
class PeopleLook(Look):
    """People and roles."""

    subject = "person"
    reads = "people"
    title = _("People")

    def one(self, actor: Actor, code: str, *, at: datetime) -> PersonRecord:
        authorise_read(actor, self.reads)
        user = find(actor, User, code)
        held = tuple(
            RoleHeld(role=one.role, since=one.given_at, until=one.revoked_at)
            for one in user.grants.order_by("given_at", "pk")
        )
        return PersonRecord(
            code=user.code,
            username=user.username,
            printed_name=user.printed_name,
            profession=user.profession,
            registration=user.registration,
            active=user.is_active,
            roles=held,
        )

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[PersonFacts]:
        authorise_read(actor, self.reads)
        current = Prefetch("grants", Grant.objects.filter(revoked_at=None).order_by("role"), to_attr="current")
        rows = list(
            User.objects.filter(site_id=actor.site_id, kind=User.PERSON, username__gt=after)
            .order_by("username")
            .prefetch_related(current)[: limit + 1]
        )
        items = [
            PersonFacts(
                code=one.code,
                username=one.username,
                printed_name=one.printed_name,
                profession=one.profession,
                registration=one.registration,
                active=one.is_active,
                roles=tuple(grant.role for grant in one.current),
            )
            for one in rows[:limit]
        ]
        return KeysetPage(items=items, next_after=items[-1].username if len(rows) > limit else "")


class GrantInput(serializers.Serializer[Any]):
    """Which role."""

    role = serializers.ChoiceField(choices=[(role.value, role.value) for role in FOR_PEOPLE], label=_("Role"))


@door
class GrantDoor(Door):
    """Give a person a role."""

    action = "person.grant"
    subject = "person"
    verb = "grant"
    title = _("Give a role")
    Input = GrantInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> dict[str, str]:
        user = find(actor, User, code)
        grant_role(actor, username=user.username, role=data["role"], at=at)
        return {"code": user.code, "role": data["role"]}
