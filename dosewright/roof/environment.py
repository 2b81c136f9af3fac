"""Reads settings from the environment; text that is not understood stops the start with what is accepted."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit

from django.core.exceptions import ImproperlyConfigured

KNOWN_ELSEWHERE = frozenset({"DOSEWRIGHT_BOOTSTRAP", "DOSEWRIGHT_WHEELS", "DOSEWRIGHT_DATABASE_OWNER_URL"})
SQLITE_START = (
    "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA recursive_triggers=ON; "
    "PRAGMA foreign_keys=ON; PRAGMA busy_timeout=20000;"
)


class Environment:
    """The DOSEWRIGHT_ variables of this process."""

    def __init__(self, variables: dict[str, str] | None = None) -> None:
        self._variables = dict(os.environ) if variables is None else variables
        self._asked: set[str] = set()

    def text(self, name: str, *, default: str) -> str:
        """Return a text."""
        self._asked.add(name)
        return self._variables.get(name, default).strip()

    def only_when(self, allowed: bool, name: str, *, because: str) -> str:
        """Return a text, empty where there is none; a text that is not allowed is refused."""
        text = self.text(name, default="")
        if text and not allowed:
            raise ImproperlyConfigured(f"{name} is refused: {because}")
        return text

    def words(self, name: str, *, default: str) -> list[str]:
        """Return words parted by blanks."""
        return self.text(name, default=default).split()

    def flag(self, name: str, *, default: bool) -> bool:
        """Return yes or no; anything else is refused."""
        text = self.text(name, default="yes" if default else "no")
        if text not in {"yes", "no"}:
            raise ImproperlyConfigured(f"{name} is {text!r}; accepted: yes, no")
        return text == "yes"

    def one_of(self, name: str, accepted: tuple[str, ...], default: str) -> str:
        """Return one of the accepted words."""
        text = self.text(name, default=default)
        if text not in accepted:
            raise ImproperlyConfigured(f"{name} is {text!r}; accepted: {', '.join(accepted)}")
        return text

    def folder(self, name: str, *, default: Path) -> Path:
        """Return an absolute folder; it is made when it is first written to."""
        return Path(self.text(name, default=str(default))).expanduser().resolve()

    def secret(self, name: str, path: Path, *, make: Callable[[int], str]) -> str:
        """Return a secret from the variable or the file, which is made with mode 0600 when it is missing."""
        given = self.text(name, default="")
        if given:
            return given
        if not path.exists():
            write_secret(path, make(48))
        return path.read_text(encoding="utf-8").strip()

    def database(self, url: str, sqlite_path: Path) -> dict[str, Any]:
        """Return Django's database settings for a postgresql:// URL, or for SQLite when there is none."""
        if not url:
            return _sqlite(sqlite_path)
        parts = urlsplit(url)
        if parts.scheme not in {"postgresql", "postgres"}:
            raise ImproperlyConfigured("DOSEWRIGHT_DATABASE_URL must start with postgresql://")
        query = dict(parse_qsl(parts.query))
        return {
            "ENGINE": "django.db.backends.postgresql",
            "NAME": unquote(parts.path.lstrip("/")),
            "USER": unquote(parts.username or ""),
            "PASSWORD": unquote(parts.password or ""),
            "HOST": query.pop("host", None) or parts.hostname or "",
            "PORT": str(parts.port or ""),
            "CONN_MAX_AGE": 60,
            "CONN_HEALTH_CHECKS": True,
            "OPTIONS": query,
        }

    def refuse_unknown(self) -> None:
        """Stop when the environment holds a DOSEWRIGHT_ name that nobody reads (most likely a slip)."""
        ours = {name for name in self._variables if name.startswith("DOSEWRIGHT_")}
        unknown = ours - self._asked - KNOWN_ELSEWHERE - {name for name in ours if name.startswith("DOSEWRIGHT_X_")}
        if unknown:
            raise ImproperlyConfigured(f"unknown settings {sorted(unknown)}; known: {sorted(self._asked)}")


def write_secret(path: Path, text: str) -> None:
    """Write a secret so that only its owner can read it; never over one that is there."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text + "\n")


def _sqlite(path: Path) -> dict[str, Any]:
    path.parent.mkdir(parents=True, exist_ok=True)
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": path,
        "OPTIONS": {"transaction_mode": "IMMEDIATE", "timeout": 20, "init_command": SQLITE_START},
        "TEST": {"NAME": path.with_name("test.sqlite3")},
    }
