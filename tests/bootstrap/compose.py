"""Reads compose.yaml as the composing program does: anchors merged, variables put in."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import yaml

PROJECT = Path(__file__).parents[2]
VARIABLE = re.compile(r"\$\$|\$\{([A-Z_]+)(:\?)?\}")


def read(values: dict[str, str]) -> dict[str, Any]:
    """Return compose.yaml with its variables put in; KeyError for one that has no value."""
    return dict(filled(yaml.safe_load((PROJECT / "compose.yaml").read_text()), values))


def filled(part: Any, values: dict[str, str]) -> Any:
    """Return a part of the file with its variables put in."""
    if isinstance(part, dict):
        return {key: filled(value, values) for key, value in part.items()}
    if isinstance(part, list):
        return [filled(value, values) for value in part]
    if isinstance(part, str):
        return VARIABLE.sub(lambda found: values[found[1]] if found[1] else "$", part)
    return part


def example() -> dict[str, str]:
    """Return the variables of the example file, each filled in."""
    lines = (PROJECT / "compose" / "secrets.env.example").read_text().splitlines()
    pairs = [line.split("=", 1) for line in lines if line and not line.startswith("#")]
    return {name: value or name.lower().replace("_", "") for name, value in pairs}
