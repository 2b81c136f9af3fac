"""The states of ingredient lots and resin lots."""

INGREDIENT_LOT: dict[tuple[str, str], str] = {
    ("quarantined", "approve"): "approved",
    ("quarantined", "reject"): "rejected",
    ("approved", "block"): "blocked",
    ("blocked", "unblock"): "approved",
    ("blocked", "reject"): "rejected",
    ("approved", "exhaust"): "exhausted",
}
INGREDIENT_LOT_INITIAL = "quarantined"

RESIN_LOT: dict[tuple[str, str], str] = {
    ("weighing", "mix"): "mixed",
    ("mixed", "test"): "tested",
    ("tested", "approve"): "approved",
    ("weighing", "reject"): "rejected",
    ("mixed", "reject"): "rejected",
    ("tested", "reject"): "rejected",
    ("approved", "block"): "blocked",
    ("blocked", "unblock"): "approved",
    ("blocked", "reject"): "rejected",
    ("approved", "exhaust"): "exhausted",
}
RESIN_LOT_INITIAL = "weighing"
