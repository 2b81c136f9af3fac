"""The one parser of request bodies."""

from __future__ import annotations

from typing import Any

from rest_framework.parsers import BaseParser

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.strict_json import parse

MOST_BYTES = 1_000_000


class StrictJson(BaseParser):
    """JSON with decimals kept, no duplicate keys, no constants, and limits on size, depth and digits."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        """Return the body's value; raises BadInput."""
        length = int(stream.META.get("CONTENT_LENGTH") or 0)
        if length > MOST_BYTES:
            raise BadInput.because(
                "body",
                "is too large",
                value=str(length),
                limit=str(MOST_BYTES),
                unit="bytes",
                accepted=f"at most {MOST_BYTES} bytes",
                rule="size",
            )
        return parse(stream.read(MOST_BYTES + 1), max_bytes=MOST_BYTES)
