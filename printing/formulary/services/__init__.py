"""What can be done with formulations; each function is one action."""

from printing.formulary.services.drafting import FormulationAnswer, draft_formulation
from printing.formulary.services.validating import (
    retire_formulation,
    shown_for_validate,
    submit_formulation,
    suspend_formulation,
    validate_formulation,
)

__all__ = [
    "FormulationAnswer",
    "draft_formulation",
    "retire_formulation",
    "shown_for_validate",
    "submit_formulation",
    "suspend_formulation",
    "validate_formulation",
]
