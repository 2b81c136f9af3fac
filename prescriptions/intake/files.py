"""A file of orders in any of the forms that are taken, told apart by what stands in it, never by its name."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any, Final

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.strict_json import parse
from prescriptions.intake.drafts import LONGEST_SOURCE, UNSENT, Draft, Intake
from prescriptions.intake.fhir_bundle import is_fhir, read_fhir
from prescriptions.intake.order_csv import read_csv
from prescriptions.intake.order_json import read_orders
from prescriptions.intake.order_request import OrderRequest
from prescriptions.intake.reading import text_of

MOST_BYTES: Final = 1_000_000
"""Longest text of the REST API and the page [bytes]: judgement, no source."""
MOST_BYTES_OF_FILE: Final = 20_000_000
"""Longest file of a command [bytes]: judgement, no source."""
ACCEPTED: Final = "CSV with a header row, the order JSON (one or a list), or FHIR R4 JSON"


def read_file(data: bytes, *, today: date, source: str = UNSENT, max_bytes: int = MOST_BYTES_OF_FILE) -> Intake:
    """Return the orders of ``data``, each read or refused; ``source`` [1 to 120 characters] names the sender.

    Raises BadInput for what is too long [bytes], empty, of no known form, or broken as a whole.
    """
    text_of(LONGEST_SOURCE)(source, "source")
    if len(data) > max_bytes:
        raise BadInput.because(
            "body",
            "the file is too long",
            value=str(len(data)),
            limit=str(max_bytes),
            unit="byte",
            accepted=f"at most {max_bytes} bytes, in several files",
            rule="too-long",
        )
    begin = data.removeprefix(b"\xef\xbb\xbf").lstrip()[:1]
    if begin in {b"{", b"["}:
        return read_json(parse(data, max_bytes=max_bytes), today=today, source=source)
    if not begin or begin == b"<":
        message = "the file is empty" if not begin else "XML is not taken"
        raise BadInput.because("body", message, accepted=ACCEPTED, rule="form")
    return read_csv(data, today=today, source=source)


def decoded(data: bytes) -> str:
    """Return the text of ``data`` with its byte order mark, if it has one; raises BadInput for no UTF-8."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        found = data[error.start : error.end].hex(" ")
        message = f"no UTF-8 at byte {error.start}"
        raise BadInput.because("body", message, value=found, accepted="UTF-8", rule="no-utf-8") from error


def read_json(value: Any, *, today: date, source: str = UNSENT) -> Intake:
    """Return the orders of a JSON value (from `strict_json.parse`): FHIR, one order, or a list of orders."""
    if is_fhir(value):
        return read_fhir(value, today=today, source=source)
    items = [value] if isinstance(value, dict) else value
    pairs = zip(read_orders(items, today=today), items, strict=True)
    drafts = tuple(_draft(one, item, number, source) for number, (one, item) in enumerate(pairs, start=1))
    return Intake(form="orders", drafts=drafts)


def _draft(read: OrderRequest | BadInput, item: Any, number: int, source: str) -> Draft:
    written = item.get("reference") if isinstance(item, dict) else None
    reference = written if isinstance(written, str) and written else f"order {number} of the file"
    draft = Draft(reference=reference, source=source)
    if isinstance(read, OrderRequest):
        return replace(draft, request=read)
    return replace(draft, refusals=read.refusals)
