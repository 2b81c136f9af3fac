"""The demo's own folder: made fresh, cleared when the demo made it, refused when somebody else did."""

from __future__ import annotations

import shutil
from pathlib import Path

from dosewright.ground.pure.errors import BadInput, Refusal
from dosewright.roof.clock import MARK

TEXT = "This folder was made by the demo. Its people, orders and figures are invented. The next demo clears it.\n"


def fresh_folder(path: Path) -> Path:
    """Return an empty folder at `path`, marked as a demo home.

    Raises BadInput for a file, or for a folder with anything in it that the demo did not make.
    """
    if path.exists() and not path.is_dir():
        raise BadInput(_refusal(path, "is a file"))
    if path.is_dir() and any(path.iterdir()):
        if not (path / MARK).is_file():
            raise BadInput(_refusal(path, "holds something that the demo did not make"))
        shutil.rmtree(path)
    path.mkdir(parents=True, exist_ok=True)
    (path / MARK).write_text(TEXT, encoding="utf-8")
    return path


def _refusal(path: Path, what: str) -> Refusal:
    return Refusal(
        field="--dir",
        value=str(path),
        message=what,
        accepted="a folder that is empty, does not exist, or was made by the demo",
        rule="demo folder",
    )
