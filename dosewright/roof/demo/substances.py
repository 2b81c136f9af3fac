"""Sets the demo's substances up from the files of `fixtures/substances`."""

from __future__ import annotations

from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Final

from django.conf import settings

from dosewright.ground.pure.roles import Actor
from prescriptions.intake.substance_toml import read_substance
from prescriptions.queries.naming import site_today
from prescriptions.services import set_up_substance

FOLDER: Final[Path] = settings.ROOT / "fixtures" / "substances"


def found_substances(actor: Actor, *, at: datetime) -> tuple[str, ...]:
    """Set up every substance of the folder and return their names; a pharmacist, once per site.

    Raises BadInput where a file is wrong and Conflict where the site has a name already.
    """
    since = site_today(actor, at)
    return tuple(
        set_up_substance(actor, facts=read_substance(text, since=since), at=at) for text in substance_texts().values()
    )


@cache
def substance_texts() -> dict[str, str]:
    """Return the text of every substance's file by its name without ending, in alphabetical order."""
    return {path.stem: path.read_text(encoding="utf-8") for path in sorted(FOLDER.glob("*.toml"))}
