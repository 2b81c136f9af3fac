"""A substance as a pharmacist sets it up: what doses are expressed as, its other names, its limits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

WHOLE_LIFE_DAYS: Final = 47_500
"""An age nobody passes [days]: the open end of a limit's age band."""

SYNONYM: Final = "synonym"
FORM: Final = "form"


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherName:
    """One other name: a "synonym" means the same dose; 1 mg of a "form" is ``form_frac`` mg as doses are expressed."""

    name: str
    source: str
    kind: str = SYNONYM
    form_frac: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitFacts:
    """One limit: ``low_mg``, ``high_mg`` [mg, mg/kg or mg/m2 by ``basis``], ages [days] from and before.

    ``from_kg`` and ``to_kg`` [kg] bound the weights it holds for in the same manner; None leaves an end open.
    """

    per: str
    high_mg: Decimal
    source: str
    since: date
    low_mg: Decimal | None = None
    basis: str = "absolute"
    severity: str = "reason"
    age_from_days: int = 0
    age_to_days: int = WHOLE_LIFE_DAYS
    from_kg: Decimal | None = None
    to_kg: Decimal | None = None
    route: str = "oral"


@dataclass(frozen=True, slots=True, kw_only=True)
class SubstanceFacts:
    """One substance; calculated doses round to multiples of ``rounding_step_mg`` [mg, > 0].

    ``moiety`` is what its doses add up as with those of other substances (left out: itself) and ``moiety_frac``
    [fraction, > 0 to 1] the mass of the moiety per mass as ordered.
    """

    name: str
    rounding_step_mg: Decimal
    rounding_limit_frac: Decimal
    rounding_source: str
    moiety: str = ""
    moiety_frac: Decimal = Decimal(1)
    names: tuple[OtherName, ...] = ()
    limits: tuple[LimitFacts, ...] = ()
    warnings: tuple[str, ...] = ()
    weekly_only: bool = False
    controlled: bool = False
    hazardous: bool = False
    narrow_index: bool = False
