"""The prescribers and the substances that an order may name, and the site's day."""

from __future__ import annotations

import unicodedata
from datetime import date, datetime
from decimal import Decimal

from django.db.models import QuerySet

from dosewright.ground.models import Grant, User
from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput, Refusal
from dosewright.ground.pure.roles import Actor, Role
from prescriptions.composing import PrescriberFacts
from prescriptions.dosing import RoundingRule
from prescriptions.models import Substance, SubstanceName


def site_today(actor: Actor, at: datetime) -> date:
    """Return the day that it is at the actor's site."""
    return at.astimezone(actor.zone).date()


def tidy_name(name: str) -> str:
    """Return the name of a substance as it is kept: small letters, single spaces, compatible forms of letters."""
    return " ".join(unicodedata.normalize("NFKC", name).lower().split())


def substance_named(site_id: int, name: str, *, field: str = "substance") -> Substance:
    """Return a substance of the site by its name or a synonym.

    Raises BadInput for a form of it (ester, salt, hydrate), whose doses mean another mass, and for a name that is not
    known, naming those that are set up.
    """
    tidy = tidy_name(name)
    found = Substance.objects.filter(site_id=site_id, name=tidy).first()
    if found is not None:
        return found
    other = SubstanceName.objects.select_related("substance").filter(site_id=site_id, name=tidy).first()
    if other is not None and other.kind == SubstanceName.SYNONYM:
        return other.substance
    if other is not None:
        raise BadInput(_a_form(other, field))
    names = Substance.objects.filter(site_id=site_id).order_by("name").values_list("name", flat=True)
    raise BadInput.because(
        field,
        "no such substance is set up at this site",
        value=name[:80],
        accepted=", ".join(names) or "none is set up yet",
        rule="substance",
    )


def names_on_file(site_id: int) -> dict[str, str]:
    """Return every name of a substance that the site knows, its own, synonyms and forms, with the substance's name."""
    found = {name: name for name in Substance.objects.filter(site_id=site_id).values_list("name", flat=True)}
    others = SubstanceName.objects.filter(site_id=site_id).values_list("name", "substance__name")
    return found | dict(others)


def _a_form(other: SubstanceName, field: str) -> Refusal:
    """Nothing is converted in silence: the prescriber says what is meant."""
    assert other.form_frac is not None  # a constraint of the table
    name, makes_mg = other.substance.name, decimal_text(other.form_frac)
    return Refusal(
        field=field,
        message=f"doses are expressed as {name} here, not as {other.name}: 1 mg of it makes {makes_mg} mg",
        value=other.name,
        accepted=f"{name}, with the dose as {name}",
        rule="substance-form",
    )


def rounding_rule(substance: Substance) -> RoundingRule:
    """Return how doses of the substance round."""
    return RoundingRule(
        step_mg=Decimal(substance.rounding_step_mg),
        source=substance.rounding_source,
        max_difference_frac=Decimal(substance.rounding_limit_frac),
    )


def prescriber_named(actor: Actor, registration: str | None) -> PrescriberFacts:
    """Return who prescribed: the registration's holder, or the actor where they prescribe themselves.

    A registration nobody here holds is kept as written: such an order is attested, never signed here.
    Raises BadInput where nobody is named.
    """
    if registration is not None:
        user = _prescribers(actor.site_id).filter(registration=registration).first()
        if user is None:
            return PrescriberFacts(name="", registration=registration)
        return PrescriberFacts(name=user.printed_name, registration=user.registration, user_id=user.pk)
    if not actor.has(Role.PRESCRIBER):
        raise BadInput.because(
            "prescriber",
            "who prescribed must be named when another person enters the order",
            accepted="the prescriber's registration",
            rule="prescriber",
        )
    return PrescriberFacts(name=actor.printed_name, registration=actor.registration, user_id=actor.user_id)


def _prescribers(site_id: int) -> QuerySet[User]:
    holding = Grant.objects.filter(role=Role.PRESCRIBER.value, revoked_at=None).values("user_id")
    return User.objects.filter(site_id=site_id, is_active=True, pk__in=holding)
