"""People, their grants and the actor that a request or command stands for."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from dosewright.ground.act import act
from dosewright.ground.fresh import new_code
from dosewright.ground.models import Grant, Site, User
from dosewright.ground.pure.errors import BadInput, NotAllowed, NotThere, Refusal
from dosewright.ground.pure.roles import Actor, Channel, Role

MACHINE_ROLES = {User.WORKER: frozenset({Role.SYSTEM}), User.PRINTER: frozenset({Role.PRINTER})}


def actor_of(user: User, *, channel: Channel) -> Actor:
    """Return the actor that `user` is by `channel`; raises NotAllowed for one who left."""
    if not user.is_active:
        raise NotAllowed(
            Refusal(field="actor", value=user.username, message="is no longer active", accepted="an active person")
        )
    roles = MACHINE_ROLES.get(user.kind) or frozenset(
        Role(name) for name in user.grants.filter(revoked_at=None).values_list("role", flat=True)
    )
    return Actor(
        user_id=user.pk,
        username=user.username,
        printed_name=user.printed_name,
        registration=user.registration,
        site_id=user.site_id,
        site_code=user.site.code,
        zone=user.site.zone,
        roles=roles,
        channel=channel,
    )


def actor_named(username: str, *, channel: Channel) -> Actor:
    """Return the actor of a user name; raises NotThere."""
    user = User.objects.select_related("site").filter(username=username).first()
    if user is None:
        raise NotThere(
            Refusal(field="user", value=username, message="no such user", accepted="a user name of this site")
        )
    return actor_of(user, channel=channel)


def system_of(site_id: int) -> Actor:
    """Return the site's worker, who acts for the system, for what a person's action asks of the system."""
    user = User.objects.select_related("site").get(site_id=site_id, kind=User.WORKER)
    return actor_of(user, channel=Channel.WORKER)


def found_site(*, name: str, address: str, time_zone: str, jurisdiction: str, at: datetime, **more: object) -> Site:
    """Make a new site with its worker; for set-up on an empty home, before there is anybody to ask."""
    with transaction.atomic(durable=True):
        site = Site.objects.create(
            code=new_code("site"),
            name=name,
            address=address,
            time_zone=time_zone,
            jurisdiction=jurisdiction,
            **more,
        )
        User.objects.create(
            code=new_code("person"),
            username=f"worker-{site.code.lower()}",
            printed_name="Background worker",
            kind=User.WORKER,
            site=site,
            password="!",
        )
    return site


def found_person(
    site: Site,
    *,
    username: str,
    printed_name: str,
    password: str,
    roles: tuple[Role, ...],
    at: datetime,
    profession: str = "",
    registration: str = "",
) -> User:
    """Make a person with roles at a new site; for set-up and tests, not for a site that is running."""
    with transaction.atomic():
        user = User(
            code=new_code("person"),
            username=username,
            printed_name=printed_name,
            profession=profession,
            registration=registration,
            site=site,
        )
        user.set_password(password)
        user.save()
        for role in roles:
            Grant.objects.create(user=user, role=role.value, given_at=at)
    return user


def found_printer_user(site: Site, *, username: str, printed_name: str) -> User:
    """Make the machine user by which a printer's token acts."""
    return User.objects.create(
        code=new_code("person"),
        username=username,
        printed_name=printed_name,
        kind=User.PRINTER,
        site=site,
        password="!",
    )


def grant_role(actor: Actor, *, username: str, role: str, at: datetime) -> None:
    """Give `role` to a person of the site; site managers only. Raises NotAllowed, NotThere, BadInput."""
    with act(actor, "person.grant", at=at, subject=username) as doing:
        user = User.objects.filter(site_id=actor.site_id, username=username, kind=User.PERSON).first()
        if user is None:
            raise NotThere.because("username", "no such person at this site", value=username)
        if role not in {one.value for one in Role} - {Role.SYSTEM, Role.PRINTER}:
            raise BadInput.because("role", "not a role for people", value=role)
        Grant.objects.get_or_create(
            user=user, role=role, revoked_at=None, defaults={"given_by_id": actor.user_id, "given_at": at}
        )
        doing.note(role=role)
