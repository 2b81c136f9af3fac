"""Residual solvent: ICH Q3C options 1 and 2, exact at the limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import formula
from printing.core.exact import Number, exact, positive

CLASS_3_PDE_MG = Decimal(50)
"""Permitted daily exposure of a class 3 solvent such as 2-propanol: 50 mg or more a day (ICH Q3C(R8); the rider
that more may be justified is [memory])."""
OPTION_1_DOSE_G = Decimal(10)


@dataclass(frozen=True, slots=True, kw_only=True)
class SolventIntake:
    """Daily intake [mg] and concentration [ppm] with the verdict of either option."""

    intake_mg_day: Decimal
    concentration_ppm: Decimal
    pde_mg_day: Decimal
    option_1_limit_ppm: Decimal
    within_option_1: bool
    within_option_2: bool


def option_1_limit_ppm(pde_mg_day: Number, dose_g_day: Number = OPTION_1_DOSE_G) -> Decimal:
    """Return the concentration limit 1000 PDE / daily dose [ppm].

    pde_mg_day: [mg/day] > 0.  dose_g_day: [g/day] > 0; option 1 fixes it at 10.
    Raises BadInput for anything not positive.  Source: ICH Q3C(R8), 3.3, option 1 [memory].
    """
    return 1000 * positive("pde_mg_day", pde_mg_day) / positive("dose_g_day", dose_g_day)


@formula(
    "solvent_intake",
    inputs={
        "mass_g_day": "mass of the form taken in a day [g/day], more than 0",
        "residue_percent": "residual solvent in it [% by mass], 0 to 100",
        "pde_mg_day": "permitted daily exposure [mg/day], 50 for class 3",
        "other_mg_day": "from other components of the day [mg/day], 0 or more",
    },
    source="ICH Q3C(R8) class 3 and section 3.3; option 2 wording [memory]",
)
def solvent_intake(
    mass_g_day: Number,
    residue_percent: Number,
    pde_mg_day: Number = CLASS_3_PDE_MG,
    other_mg_day: Number | Sequence[Number] = 0,
) -> SolventIntake:
    """Return the daily intake of a residual solvent with both verdicts.

    Option 1 looks at the concentration as if 10 g were taken a day; option 2 sums the real daily intake.  Good
    manufacturing practice, not toxicology, keeps 5000 ppm as the limit of a class 3 solvent (design rule).
    Raises BadInput for numbers outside their ranges.
    """
    mass, percent = positive("mass_g_day", mass_g_day), exact("residue_percent", residue_percent)
    pde = positive("pde_mg_day", pde_mg_day)
    if not 0 <= percent <= 100:
        raise BadInput.because("residue_percent", "is no share", value=str(percent), unit="%", accepted="0 to 100")
    others = [other_mg_day] if isinstance(other_mg_day, Decimal | int | float | str) else list(other_mg_day)
    rest = [exact("other_mg_day", one) for one in others]
    if any(one < 0 for one in rest):
        raise BadInput.because("other_mg_day", "is negative", unit="mg/day", accepted="0 or more")
    intake = mass * 10 * percent + sum(rest, Decimal(0))
    ppm, limit = percent * 10_000, option_1_limit_ppm(pde)
    return SolventIntake(
        intake_mg_day=intake,
        concentration_ppm=ppm,
        pde_mg_day=pde,
        option_1_limit_ppm=limit,
        within_option_1=ppm <= limit,
        within_option_2=intake <= pde,
    )
