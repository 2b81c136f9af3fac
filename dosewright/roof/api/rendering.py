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
        return json.dumps(plain(data), ensure_ascii=False, allow_nan=False).encode()
