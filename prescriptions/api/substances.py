"""The door that sets a substance up."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, door
from prescriptions import services
from prescriptions.api.inputs import StrictJsonField
from prescriptions.queries.naming import site_today


@door
class SetUpSubstance(Door):
    """Set up a substance."""

    action, subject, creates = "substance.set_up", "substance", True
    title = _("Set up substance")

    class Input(serializers.Serializer[Any]):
        name = serializers.CharField(max_length=80, label=_("Name"))
        rounding_step_mg = serializers.DecimalField(
            max_digits=12, decimal_places=6, label=_("Calculated doses round to multiples of [mg]")
        )
        rounding_limit_frac = serializers.DecimalField(
            max_digits=6, decimal_places=4, label=_("Most that rounding may change [fraction]")
        )
        rounding_source = serializers.CharField(max_length=200, label=_("Source of the rounding rule"))
        weekly_only = serializers.BooleanField(default=False, label=_("Once a week only"))
        controlled = serializers.BooleanField(default=False, label=_("Controlled"))
        hazardous = serializers.BooleanField(default=False, label=_("Hazardous"))
        narrow_index = serializers.BooleanField(default=False, label=_("Narrow therapeutic index"))
        warnings = serializers.ListField(
            child=serializers.CharField(max_length=200), default=list, label=_("Warnings on the label")
        )
        limits = StrictJsonField(
            required=False,
            label=_("Dose limits"),
            help_text=_("A list of limits: per, basis, low_mg, high_mg, severity, ages in days, source."),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Set it up."""
        today = site_today(actor, at)
        limits = tuple(_limit(one, f"limits[{n}]", today) for n, one in enumerate(_list(data.get("limits", []))))
        given = {name: value for name, value in data.items() if name not in {"limits", "warnings"}}
        facts = services.SubstanceFacts(**given, warnings=tuple(data["warnings"]), limits=limits)
        return {"name": services.set_up_substance(actor, facts=facts, at=at)}


class LimitInput(serializers.Serializer[Any]):
    """One dose limit."""

    per = serializers.ChoiceField(choices=("dose", "day", "course"))
    basis = serializers.ChoiceField(choices=("absolute", "per kg", "per m2"), default="absolute")
    low_mg = serializers.DecimalField(max_digits=18, decimal_places=6, required=False, allow_null=True)
    high_mg = serializers.DecimalField(max_digits=18, decimal_places=6)
    severity = serializers.ChoiceField(choices=("block", "reason", "inform"), default="reason")
    age_from_days = serializers.IntegerField(min_value=0, default=0)
    age_to_days = serializers.IntegerField(min_value=1, required=False)
    source = serializers.CharField(max_length=200)  # type: ignore[assignment]
    since = serializers.DateField(required=False)


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise BadInput.because("limits", "must be a list", accepted="a list of limits", rule="list")
    return value


def _limit(value: Any, place: str, today: Any) -> services.LimitFacts:
    if not isinstance(value, Mapping):
        raise BadInput.because(place, "must be an object of named fields", accepted="a limit", rule="object")
    one = LimitInput(data=value)
    unknown = sorted(set(value) - set(one.fields))
    if unknown or not one.is_valid():
        wrong = unknown or sorted(one.errors)
        raise BadInput.because(f"{place}.{wrong[0]}", "cannot be taken", accepted=", ".join(one.fields), rule="limit")
    return services.LimitFacts(**({"since": today} | dict(one.validated_data)))
