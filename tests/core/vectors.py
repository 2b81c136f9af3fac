"""Loads the published numbers of tests/vectors; every file names its source beside each case."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

VECTORS = Path(__file__).resolve().parents[1] / "vectors"


def load(name: str) -> dict[str, Any]:
    """Return tests/vectors/NAME.toml as a mapping."""
    with (VECTORS / f"{name}.toml").open("rb") as file:
        return tomllib.load(file)
