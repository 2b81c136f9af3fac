"""Acts that take two people: the first signature waits on the record, the second one does it."""

from __future__ import annotations

from collections.abc import Mapping

from dosewright.ground.models import Signature


def earlier_signatures(action: str, *, subject: str, subject_version: int) -> tuple[Signature, ...]:
    """Return the signatures already given for `action` on this version of a record, the first one first.

    A record's version moves with every change of state, so signatures of an earlier round do not count again.
    """
    found = Signature.objects.filter(action=action, subject=subject, subject_version=subject_version)
    return tuple(found.order_by("pk"))


def first_signer(signatures: tuple[Signature, ...]) -> Mapping[str, frozenset[int]]:
    """Return the relation "first signer" of the roles table."""
    return {"first signer": frozenset(one.signer_id for one in signatures)}
