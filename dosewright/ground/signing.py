"""Signatures: the password again, a meaning, and the hash of all that was shown.

What is signed is the canonical text that the page or client was given. It is built again inside the
transaction; when it differs from the hash the signer saw, nothing is signed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib.auth.hashers import check_password

from dosewright.ground.act import Act
from dosewright.ground.models import Signature, User
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import Conflict, NotAllowed, Refusal
from dosewright.ground.pure.roles import Channel, rule_for
from dosewright.ground.whose import LAST, codes_in, last_of_others


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """What a person gives to sign: the password again and the digest of what they were shown."""

    password: str
    shown_digest: str


def shown_digest(record: Any) -> str:
    """Return the digest that a page or client shows beside `record` and sends back when signing."""
    return digest_of(canonical_text(record))


def sign(
    act: Act, pen: Pen, *, meaning: str, subject_kind: str, subject: str, subject_version: int, shown: Any
) -> Signature:
    """Add the actor's signature under `shown` within `act`.

    Raises NotAllowed for a wrong password, a token or an action that is not signed, and Conflict when what
    is to be signed is no longer what was shown.
    """
    if not rule_for(act.action).signed:
        raise PermissionError(f"{act.action} is not signed")
    _no_tokens(act)
    user = User.objects.get(pk=act.actor.user_id)
    if not check_password(pen.password, user.password):
        raise NotAllowed(
            Refusal(
                field="password",
                message="does not fit the signer",
                accepted="the signer's own password",
                rule="password",
            )
        )
    text = canonical_text(shown)
    digest = digest_of(text)
    if digest != pen.shown_digest:
        raise Conflict(
            Refusal(
                field="shown_digest",
                value=pen.shown_digest[:64],
                limit=digest,
                message=f"what you were shown has changed since{_by_whom(act, text)}",
                accepted="look again, then sign",
                rule="shown",
            )
        )
    return _add(act, user, meaning, subject_kind, subject, subject_version, text, digest)


def _by_whom(act: Act, shown: str) -> str:
    last = last_of_others(act.actor, [act.subject, *codes_in(shown)])
    return f"{LAST}{last}" if last else ""


def _no_tokens(act: Act) -> None:
    if act.actor.channel is Channel.TOKEN:
        raise NotAllowed(
            Refusal(
                field="actor",
                value="token",
                message="a signature is never given by token",
                accepted="sign in with user name and password",
                rule="token",
            )
        )


def _add(
    act: Act,
    user: User,
    meaning: str,
    subject_kind: str,
    subject: str,
    subject_version: int,
    text: str,
    digest: str,
) -> Signature:
    sealed = digest_of(
        canonical_text(
            {
                "signer": user.code,
                "printed_name": user.printed_name,
                "action": act.action,
                "meaning": meaning,
                "subject": subject,
                "subject_version": subject_version,
                "at": act.at,
                "shown": digest,
            }
        )
    )
    signature = Signature.objects.create(
        site_id=act.actor.site_id,
        signer=user,
        printed_name=user.printed_name,
        registration=user.registration,
        action=act.action,
        meaning=meaning,
        subject_kind=subject_kind,
        subject=subject,
        subject_version=subject_version,
        at=act.at,
        shown_text=text,
        shown_digest=digest,
        digest=sealed,
    )
    act.note(signature=sealed, meaning=meaning, shown=digest)
    return signature
