"""The substances of a site as they are set up: names, limits in words, with whose word each is."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from dosewright.ground.pure.quantities import plain
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage
from prescriptions.models import DoseLimit, Substance, SubstanceName
from prescriptions.substance_facts import WHOLE_LIFE_DAYS


@dataclass(frozen=True, slots=True, kw_only=True)
class SubstanceView:
    """One substance as it is set up at the site."""

    name: str
    moiety: str
    moiety_frac: Decimal
    names: tuple[str, ...]
    rounding_step_mg: Decimal
    rounding_source: str
    weekly_only: bool
    controlled: bool
    hazardous: bool
    narrow_index: bool
    limits: tuple[str, ...]


def substances_page(actor: Actor, *, after: str = "", limit: int = 50) -> KeysetPage[SubstanceView]:
    """Return the substances of the site by name; raises NotAllowed."""
    authorise_read(actor, "order")
    page = list(Substance.objects.filter(site_id=actor.site_id, name__gt=after).order_by("name")[: limit + 1])
    items = tuple(_substance(row) for row in page[:limit])
    return KeysetPage(items=items, next_after=page[limit - 1].name if len(page) > limit else "")


def _substance(row: Substance) -> SubstanceView:
    return SubstanceView(
        name=row.name,
        moiety=row.moiety,
        moiety_frac=plain(row.moiety_frac),
        names=tuple(_other_name(one) for one in row.names.order_by("name")),
        rounding_step_mg=plain(row.rounding_step_mg),
        rounding_source=row.rounding_source,
        weekly_only=row.weekly_only,
        controlled=row.controlled,
        hazardous=row.hazardous,
        narrow_index=row.narrow_index,
        limits=tuple(_limit_words(one) for one in row.limits.order_by("pk")),
    )


def _other_name(one: SubstanceName) -> str:
    what = "the same" if one.form_frac is None else f"a form: 1 mg of it makes {plain(one.form_frac)} mg"
    return f"{one.name} ({what}; {one.source})"


def _limit_words(one: DoseLimit) -> str:
    per_mass = {"absolute": "mg", "per kg": "mg/kg", "per m2": "mg/m2"}[one.basis]
    least = "" if one.low_mg is None else f"at least {plain(one.low_mg)} and "
    until = "on" if one.age_to_days >= WHOLE_LIFE_DAYS else f"to before {one.age_to_days}"
    weights = "".join(
        f", {word} {plain(kg)} kg" for word, kg in (("from", one.from_kg), ("below", one.to_kg)) if kg is not None
    )
    return (
        f"{least}at most {plain(one.high_mg)} {per_mass} per {one.per}, from {one.age_from_days} {until} days of age"
        f"{weights}, {one.route}: {one.severity}; {one.source}"
    )
