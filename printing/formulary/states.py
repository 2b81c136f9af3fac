"""The states of a formulation version."""

FORMULATION: dict[tuple[str, str], str] = {
    ("draft", "submit"): "in review",
    ("in review", "validate"): "validated",
    ("validated", "suspend"): "suspended",
    ("suspended", "validate"): "validated",
    ("suspended", "retire"): "retired",
    ("validated", "retire"): "retired",
}
FORMULATION_INITIAL = "draft"
