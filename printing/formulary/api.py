"""Doors and looks of the formulary."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, KeysetPage, Look, SignedInput, door, look
from printing.formulary import queries, services
from printing.formulary.content import FormulationFacts
from printing.formulary.intake.toml_text import read_formulation


class DraftInput(serializers.Serializer[Any]):
    """A formulation as text, for a new formulation or the next number of one."""

    text = serializers.CharField(
        max_length=200_000,
        trim_whitespace=False,
        label=_("Formulation"),
        help_text=_("The whole formulation as TOML: recipe, process terms, ranges, finishing, profile, test plan."),
        style={"base_template": "textarea.html", "rows": 30},
    )
    code = serializers.CharField(
        max_length=20,
        required=False,
        allow_blank=True,
        label=_("Formulation code"),
        help_text=_("Only for the next version of a formulation that is on file."),
    )


class ReasonInput(serializers.Serializer[Any]):
    """Why a formulation is taken out of use."""

    reason = serializers.CharField(max_length=200, label=_("Reason"), help_text=_("One sentence."))
    number = serializers.IntegerField(
        min_value=1,
        required=False,
        label=_("Version number"),
        help_text=_("Left out: the newest version this can be done with."),
    )


@door
class DraftFormulation(Door):
    """Drafts a formulation version from its text."""

    action = "formulation.draft"
    subject = "formulation"
    creates = True
    title = _("Draft a formulation")
    Input = DraftInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.FormulationAnswer:
        """Draft what the text says."""
        spec = read_formulation(data["text"])
        return services.draft_formulation(actor, spec=spec, at=at, code=data.get("code", ""))


@door
class SubmitFormulation(Door):
    """Hands a draft in for review."""

    action = "formulation.submit"
    subject = "formulation"
    verb = "submit"
    title = _("Submit for review")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.FormulationAnswer:
        """Submit the newest draft."""
        return services.submit_formulation(actor, code, at=at)


@door
class ValidateFormulation(Door):
    """Signs a version; the second signature validates it."""

    action = "formulation.validate"
    subject = "formulation"
    verb = "validate"
    title = _("Sign as validated")
    hint = _("Two signatures: a formulation scientist's and a pharmacist's.")
    Input = SignedInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the whole version and what it still lacks."""
        return services.shown_for_validate(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.FormulationAnswer:
        """Sign."""
        return services.validate_formulation(actor, code, pen=SignedInput.pen(data), at=at)


@door
class SuspendFormulation(Door):
    """Takes a validated version out of use for now."""

    action = "formulation.suspend"
    subject = "formulation"
    verb = "suspend"
    title = _("Suspend")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.FormulationAnswer:
        """Suspend with a reason."""
        return services.suspend_formulation(actor, code, reason=data["reason"], at=at, number=data.get("number"))


@door
class RetireFormulation(Door):
    """Takes a version out of use for good."""

    action = "formulation.retire"
    subject = "formulation"
    verb = "retire"
    title = _("Retire")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.FormulationAnswer:
        """Retire with a reason."""
        return services.retire_formulation(actor, code, reason=data["reason"], at=at, number=data.get("number"))


@look
class FormulationLook(Look):
    """Formulations: the newest validated version of each, else the newest."""

    subject = "formulation"
    reads = "formulation"
    title = _("Formulations")
    filters = ("state",)

    def one(self, actor: Actor, code: str, *, at: datetime) -> FormulationFacts:
        """Return one formulation."""
        return queries.formulation(actor, code)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[queries.FormulationRow]:
        """Return a page of formulations."""
        return queries.formulations(actor, after=after, limit=limit, state=filters.get("state", ""))
