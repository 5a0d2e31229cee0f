"""Structured logs: one JSON object a line. Routes are named by their pattern, so that no secret in a link is logged."""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime
from typing import TextIO

LOGGER = logging.getLogger("kilnrota")
"""The service's log."""


class JsonLines(logging.Formatter):
    """Writes a record and its ``fields`` as one JSON object."""

    def format(self, record: logging.LogRecord) -> str:
        """The line of a record."""
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
        }
        line |= getattr(record, "fields", {})
        if record.exc_info and record.exc_info[0] is not None:
            line["error"] = record.exc_info[0].__name__
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False, default=str)


def set_up_logs(stream: TextIO = sys.stderr) -> None:
    """Write the service's log to a stream."""
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLines())
    LOGGER.handlers = [handler]
    LOGGER.setLevel(logging.INFO)
    LOGGER.propagate = False


def log(event: str, **fields: object) -> None:
    """Log that something happened."""
    LOGGER.info(event, extra={"fields": fields})
