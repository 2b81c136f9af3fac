"""The states of print batches and of single units."""

PRINT_BATCH: dict[tuple[str, str], str] = {
    ("planned", "approve"): "queued",
    ("queued", "deliver"): "ready",
    ("ready", "start"): "printing",
    ("printing", "end"): "printed",
    ("printing", "fault"): "faulted",
    ("printed", "remove"): "finishing",
    ("finishing", "finish"): "testing",
    ("testing", "close"): "closed",
    ("planned", "cancel"): "cancelled",
    ("queued", "cancel"): "cancelled",
    ("ready", "cancel"): "cancelled",
}
PRINT_BATCH_INITIAL = "planned"

UNIT: dict[tuple[str, str], str] = {
    ("planned", "print"): "printed",
    ("planned", "drop"): "not printed",
    ("planned", "destroy"): "destroyed",
    ("printed", "destroy"): "destroyed",
    ("printed", "reject"): "rejected",
    ("printed", "test"): "tested",
    ("printed", "retain"): "retained",
    ("printed", "leave over"): "surplus",
    ("printed", "lose"): "unaccounted",
    ("printed", "pack"): "packed",
    ("packed", "supply"): "supplied",
    ("packed", "destroy"): "destroyed",
    ("supplied", "return"): "returned",
    ("returned", "destroy"): "destroyed",
    ("rejected", "destroy"): "destroyed",
    ("surplus", "destroy"): "destroyed",
    ("retained", "destroy"): "destroyed",
    ("unaccounted", "find"): "printed",
}
UNIT_INITIAL = "planned"

ZONE: dict[tuple[str, str], str] = {
    ("open", "pass"): "passed",
    ("open", "fail"): "failed",
    ("passed", "approve to pack"): "approved to pack",
    ("passed", "fail"): "failed",
    ("approved to pack", "fail"): "failed",
}
ZONE_INITIAL = "open"

DEAD_BATCHES = ("cancelled", "faulted")
DEAD_ZONES = ("failed",)
"""States in which nothing of a batch or a zone goes on."""
