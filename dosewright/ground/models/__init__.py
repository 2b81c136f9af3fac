"""The tables that every app stands on."""

from dosewright.ground.models.paper import Counter, Document, DocumentIssue, PackInUse
from dosewright.ground.models.people import Grant, Site, Token, User
from dosewright.ground.models.record import AuditEntry, Chain, ReadEntry, Signature
from dosewright.ground.models.work import Idempotency, Outbox, Work

__all__ = [
    "AuditEntry",
    "Chain",
    "Counter",
    "Document",
    "DocumentIssue",
    "Grant",
    "Idempotency",
    "Outbox",
    "PackInUse",
    "ReadEntry",
    "Signature",
    "Site",
    "Token",
    "User",
    "Work",
]
