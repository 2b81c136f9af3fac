"""The states of a deviation."""

DEVIATION: dict[tuple[str, str], str] = {("open", "close"): "closed"}
DEVIATION_INITIAL = "open"
