"""The door that sets a substance up."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
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
        moiety = serializers.CharField(
            max_length=80,
            required=False,
            allow_blank=True,
            label=_("Active moiety"),
            help_text=_("What its doses add up as with those of other substances; left open: itself."),
        )
        moiety_frac = serializers.DecimalField(
            max_digits=10,
            decimal_places=9,
            required=False,
            label=_("Moiety per mass as ordered [fraction]"),
            help_text=_("1 where doses are expressed as the moiety itself."),
        )
        names = StrictJsonField(
            required=False,
            label=_("Other names"),
            help_text=_("A list of names: name, kind (synonym or form), form_frac for a form, source."),
        )
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
            help_text=_(
                "A list of limits: per, basis, low_mg, high_mg, severity, ages in days, from_kg, to_kg, source."
            ),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Set it up."""
        today = site_today(actor, at)
        limits = tuple(_limit(one, place, today) for one, place in _listed(data, "limits"))
        names = tuple(_name(one, place) for one, place in _listed(data, "names"))
        given = {name: value for name, value in data.items() if name not in {"limits", "warnings", "names"}}
        facts = services.SubstanceFacts(**given, warnings=tuple(data["warnings"]), limits=limits, names=names)
        return {"name": services.set_up_substance(actor, facts=facts, at=at)}


class NameInput(serializers.Serializer[Any]):
    """One other name."""

    name = serializers.CharField(max_length=80)
    kind = serializers.ChoiceField(choices=("synonym", "form"))
    form_frac = serializers.DecimalField(max_digits=10, decimal_places=9, required=False)
    source = serializers.CharField(max_length=200)  # type: ignore[assignment]


class LimitInput(serializers.Serializer[Any]):
    """One dose limit."""

    per = serializers.ChoiceField(choices=("dose", "day", "course"))
    basis = serializers.ChoiceField(choices=("absolute", "per kg", "per m2"), default="absolute")
    low_mg = serializers.DecimalField(max_digits=18, decimal_places=6, required=False, allow_null=True)
    high_mg = serializers.DecimalField(max_digits=18, decimal_places=6)
    severity = serializers.ChoiceField(choices=("block", "reason", "inform"), default="reason")
    age_from_days = serializers.IntegerField(min_value=0, default=0)
    age_to_days = serializers.IntegerField(min_value=1, required=False)
    from_kg = serializers.DecimalField(max_digits=9, decimal_places=3, required=False)
    to_kg = serializers.DecimalField(max_digits=9, decimal_places=3, required=False)
    route = serializers.CharField(max_length=20, default="oral")
    source = serializers.CharField(max_length=200)  # type: ignore[assignment]
    since = serializers.DateField(required=False)


def _listed(data: Mapping[str, Any], name: str) -> list[tuple[Any, str]]:
    value = data.get(name, [])
    if not isinstance(value, list):
        raise BadInput.because(name, "must be a list", accepted=f"a list of {name}", rule="list")
    return [(one, f"{name}[{place}]") for place, one in enumerate(value)]


def _limit(value: Any, place: str, today: date) -> services.LimitFacts:
    return services.LimitFacts(**({"since": today} | _taken(LimitInput, value, place)))


def _name(value: Any, place: str) -> services.OtherName:
    return services.OtherName(**_taken(NameInput, value, place))


def _taken(kind: type[serializers.Serializer[Any]], value: Any, place: str) -> dict[str, Any]:
    if not isinstance(value, Mapping):
        raise BadInput.because(place, "must be an object of named fields", accepted="named fields", rule="object")
    one = kind(data=value)
    unknown = sorted(set(value) - set(one.fields))
    if unknown or not one.is_valid():
        wrong = unknown or sorted(one.errors)
        raise BadInput.because(f"{place}.{wrong[0]}", "cannot be taken", accepted=", ".join(one.fields), rule="limit")
    return dict(one.validated_data)
