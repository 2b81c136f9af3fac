"""Fresh random codes; chance is kept out of the pure part."""

from __future__ import annotations

import secrets

from dosewright.ground.pure.codes import ALPHABET, KINDS, compose


def new_code(kind: str) -> str:
    """Return a fresh random code of `kind`; uniqueness is the table's to enforce."""
    return compose(kind, "".join(secrets.choice(ALPHABET) for _ in range(KINDS[kind].length)))
