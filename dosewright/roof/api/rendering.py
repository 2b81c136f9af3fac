"""JSON out."""

from __future__ import annotations

import json
from typing import Any

from rest_framework.renderers import BaseRenderer

from dosewright.ground.rest import plain


class Json(BaseRenderer):
    """UTF-8 JSON; problems say so in their media type."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        """Return the bytes of `data`."""
        if data is None:
            return b""
        response = (renderer_context or {}).get("response")
        if response is not None and response.status_code >= 400:
            response["Content-Type"] = "application/problem+json"
        return json.dumps(_outward(plain(data)), ensure_ascii=False, allow_nan=False).encode()


def is_internal(name: str) -> bool:
    """Tell whether a field holds numbers of rows: people and programs know records by their codes."""
    return name == "pk" or name.endswith(("_id", "_ids"))


def _outward(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _outward(inner) for name, inner in value.items() if not is_internal(name)}
    return [_outward(inner) for inner in value] if isinstance(value, list) else value
