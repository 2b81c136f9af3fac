"""Papers as a pharmacy has them: drawn by pdftoppm at the printer's resolution and scanned, and their text read."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import zxingcpp
from PIL import Image
from pypdf import PdfReader

from tests.flows.client import Person

DPI = 300


def pdf_of(person: Person, document: str, folder: Path) -> Path:
    """Fetch a document's file over HTTP and return where it was put."""
    answer = person.get_raw(f"document/{document}/file")
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.body.startswith(b"%PDF-")
    path = folder / f"{document}.pdf"
    path.write_bytes(answer.body)
    return path


def can_scan() -> bool:
    """Say whether this machine can draw a page as a printer does."""
    return shutil.which("pdftoppm") is not None


def scanned(pdf: Path) -> list[tuple[str, str]]:
    """Return what a scanner sends for each symbol on the first page: its symbology identifier and its data."""
    stem = pdf.with_suffix("")
    subprocess.run(["pdftoppm", "-png", "-r", str(DPI), "-singlefile", str(pdf), str(stem)], check=True, timeout=60)
    with Image.open(stem.with_suffix(".png")) as picture:
        found = zxingcpp.read_barcodes(picture.convert("L"))
    return [(one.symbology_identifier, one.bytes.decode("ascii")) for one in found]


def words_on(pdf: Path) -> str:
    """Return the text of a document as one line."""
    return " ".join(" ".join(page.extract_text() for page in PdfReader(pdf).pages).split())
