"""Log lines as JSON, with codes and kinds, never with names or values of patients."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime

KEPT = ("action", "subject", "status", "path", "work", "kind", "trouble", "seconds", "site")


class JsonLines(logging.Formatter):
    """One JSON object per line; exception texts are left out, for they may hold what was typed."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.msg if isinstance(record.msg, str) else type(record.msg).__name__,
        }
        for name in KEPT:
            if hasattr(record, name):
                line[name] = getattr(record, name)
        if record.exc_info and record.exc_info[0] is not None:
            line["exception"] = record.exc_info[0].__name__
            line["where"] = _where(record)
        return json.dumps(line, default=str)


def _where(record: logging.LogRecord) -> list[str]:
    import traceback

    assert record.exc_info is not None
    frames = traceback.extract_tb(record.exc_info[2])[-6:]
    return [f"{frame.filename.rsplit('/', 1)[-1]}:{frame.lineno} {frame.name}" for frame in frames]
