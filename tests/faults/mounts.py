"""Small disks under a home, so that they can be full."""

from __future__ import annotations

import subprocess
from contextlib import suppress
from pathlib import Path


def small_disks(home: Path) -> dict[str, Path]:
    """Mount a small tmpfs under the folders of a home that hold files; nothing where this is not allowed."""
    disks: dict[str, Path] = {}
    for name, size in (("", "256m"), ("documents", "8m"), ("print-files", "32m")):
        folder = home / name
        folder.mkdir(exist_ok=True)
        command = ["mount", "-t", "tmpfs", "-o", f"size={size},mode=0755", "tmpfs", str(folder)]
        with suppress(FileNotFoundError):
            if subprocess.run(command, check=False, capture_output=True).returncode == 0:
                disks[name or "home"] = folder
    return disks


def take_down(disks: dict[str, Path]) -> None:
    """Unmount what was mounted."""
    for folder in reversed(disks.values()):
        subprocess.run(["umount", "-l", str(folder)], check=False, capture_output=True)
