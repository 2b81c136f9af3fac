"""Tables of the formulary."""

from printing.formulary.models.formulations import (
    FinishStep,
    Formulation,
    ProcessTerms,
    RecipeItem,
    ValidatedRange,
)
from printing.formulary.models.ingredients import Ingredient, PremixItem
from printing.formulary.models.profiles import PrintProfile, Study

__all__ = [
    "FinishStep",
    "Formulation",
    "Ingredient",
    "PremixItem",
    "PrintProfile",
    "ProcessTerms",
    "RecipeItem",
    "Study",
    "ValidatedRange",
]
