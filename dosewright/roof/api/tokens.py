"""API tokens: made by a signed-in person for their own programs, shown once, kept as a digest, revoked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.act import act
from dosewright.ground.models import Token, User
from dosewright.ground.pure.errors import NotAllowed, NotThere, Refusal
from dosewright.ground.pure.roles import Actor, Channel, authorise_read
from dosewright.ground.rest import Door, KeysetPage, Look, door, look

SHORT = 16
MOST_DAYS = 366


@dataclass(frozen=True, slots=True, kw_only=True)
class TokenFacts:
    """One token as its owner sees it; ``code`` is the start of its digest, not of the token."""

    code: str
    name: str
    made_at: datetime
    ends_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewToken:
    """A token that was just made: the one time that it is shown."""

    code: str
    name: str
    ends_at: datetime | None
    token: str


def create_token(actor: Actor, *, name: str, days: int, at: datetime) -> NewToken:
    """Make a token for the actor; anybody signed in by password, never by token. Raises NotAllowed."""
    with act(actor, "token.create", at=at) as doing:
        _by_password(actor)
        user = User.objects.get(pk=actor.user_id)
        row, token = Token.objects.create(user, expiry=timedelta(days=days), name=name)
        doing.note(token=row.digest[:SHORT], days=days)
    return NewToken(code=row.digest[:SHORT], name=name, ends_at=row.expiry, token=token)


def revoke_token(actor: Actor, code: str, *, at: datetime) -> TokenFacts:
    """End one of the actor's own tokens at once. Raises NotThere, NotAllowed."""
    with act(actor, "token.revoke", at=at, subject=code[:40]) as doing:
        _by_password(actor)
        row = _own(actor, code)
        facts = _facts(row)
        row.delete()
        doing.note(token=facts.code)
    return facts


def _by_password(actor: Actor) -> None:
    if actor.channel in {Channel.TOKEN, Channel.PRINTER}:
        raise NotAllowed(
            Refusal(
                field="actor",
                value="token",
                message="a token cannot make or end tokens",
                accepted="sign in with user name and password",
                rule="token",
            )
        )


def _own(actor: Actor, code: str) -> Token:
    row = Token.objects.filter(user_id=actor.user_id, digest__startswith=code).first() if len(code) == SHORT else None
    if row is None:
        raise NotThere.because("code", "you have no such token", value=code[:40], accepted="one of your tokens")
    return row


def _facts(row: Token) -> TokenFacts:
    return TokenFacts(code=row.digest[:SHORT], name=row.name, made_at=row.created, ends_at=row.expiry)


@look
class TokenLook(Look):
    """The actor's own tokens."""

    subject = "token"
    reads = "token"
    title = _("API tokens")

    def one(self, actor: Actor, code: str, *, at: datetime) -> TokenFacts:
        authorise_read(actor, self.reads)
        return _facts(_own(actor, code))

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[TokenFacts]:
        authorise_read(actor, self.reads)
        rows = list(Token.objects.filter(user_id=actor.user_id, digest__gt=after).order_by("digest")[: limit + 1])
        more = rows[limit - 1].digest[:SHORT] + "~" if len(rows) > limit else ""
        return KeysetPage(items=[_facts(row) for row in rows[:limit]], next_after=more)


class MakeToken(serializers.Serializer[Any]):
    """What a new token is for, and how long."""

    name = serializers.CharField(max_length=60, label=_("What it is for"))
    days = serializers.IntegerField(
        min_value=1, max_value=MOST_DAYS, default=90, label=_("Days until it ends"), help_text=_("1 to 366")
    )


@door
class Create(Door):
    """Make a token."""

    action = "token.create"
    subject = "token"
    creates = True
    title = _("Make an API token")
    hint = _("It acts with your roles, is shown once, and can never sign.")
    Input = MakeToken

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> NewToken:
        return create_token(actor, name=data["name"], days=data["days"], at=at)


@door
class Revoke(Door):
    """End a token."""

    action = "token.revoke"
    subject = "token"
    verb = "revoke"
    title = _("End this token")
    hint = _("Programs that use it are refused from then on.")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> TokenFacts:
        return revoke_token(actor, code, at=at)
