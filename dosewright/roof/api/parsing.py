"""The one parser of request bodies."""

from __future__ import annotations

from typing import Any

from rest_framework.parsers import BaseParser

from dosewright.ground.pure.errors import BadInput, Refused
from dosewright.ground.pure.strict_json import parse
from prescriptions.intake.files import decoded

MOST_BYTES = 1_000_000


class StrictJson(BaseParser):
    """JSON with decimals kept, no duplicate keys, no constants, and limits on size, depth and digits."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        """Return the body's value; raises BadInput."""
        return parse(body_of(stream), max_bytes=MOST_BYTES)


class FhirJson(StrictJson):
    """FHIR's JSON, parsed as strictly."""

    media_type = "application/fhir+json"


class RawText(BaseParser):
    """A text as it is, as the field ``text`` of an input whose other fields stand in the query."""

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        """Return the input; raises BadInput."""
        data = body_of(stream)
        if len(data) > MOST_BYTES:
            raise too_large(len(data))
        query = parser_context["request"].query_params if parser_context else {}
        return {**{name: query[name] for name in query}, "text": decoded(data)}


def raw_text(media_type: str) -> type[RawText]:
    """Return the parser of a media type that is taken as text."""
    return type(f"Raw{media_type.title().replace('/', '')}", (RawText,), {"media_type": media_type})


def body_of(stream: Any) -> bytes:
    """Return the body of a request, one byte more than is taken at most; raises BadInput."""
    length = int(stream.META.get("CONTENT_LENGTH") or 0)
    if length > MOST_BYTES:
        raise too_large(length)
    data: bytes = stream.read(MOST_BYTES + 1)
    return data


def too_large(length: int) -> Refused:
    """Return the refusal of a body of so many bytes."""
    return BadInput.because(
        "body",
        "is too large",
        value=str(length),
        limit=str(MOST_BYTES),
        unit="bytes",
        accepted=f"at most {MOST_BYTES} bytes",
        rule="size",
    )
