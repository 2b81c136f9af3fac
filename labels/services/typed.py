"""Texts that people typed, made fit for paper: what the face cannot write is marked, long words may break."""

from __future__ import annotations

from dosewright.ground.jurisdictions import Pack as LawPack
from dosewright.ground.paper.fit import grouped
from dosewright.ground.paper.fonts import NotPrintable, printable
from labels.certificate import may_stand

IN_A_CELL, IN_A_FACT = 16, 40
"""Characters that one word may have in a table's cell and in a fact's value; longer ones get breaks."""

ELSEWHERE = "(as written in the batch record)"
"""Stands on the certificate where a typed text speaks of law or certifies: the signed record keeps it word by word."""


def on_paper(text: str, longest: int = IN_A_CELL) -> str:
    """Return `text` with breaks in words over `longest` and a mark for each character the face cannot write."""
    words = _writable(text).replace("_", " ").split()
    return " ".join(word if len(word) <= longest else _broken(word, longest) for word in words)


def on_certificate(text: str, law: LawPack) -> str:
    """Return `text` for the certificate, or where it can be read when it may not stand there."""
    return on_paper(text) if may_stand(text, law) else ELSEWHERE


def _broken(word: str, longest: int) -> str:
    at_hyphens = word.replace("-", "- ").split()
    return " ".join(grouped(part, longest) for part in at_hyphens)


def _writable(text: str) -> str:
    try:
        return printable(text, field="text")
    except NotPrintable:
        return "".join(one if _can(one) else "?" for one in text)


def _can(character: str) -> bool:
    try:
        printable(character, field="text")
    except NotPrintable:
        return False
    return True
