"""Log lines as one JSON object each, for installations that collect them."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime

# What every record carries anyway; the rest was handed over with `extra=` and is worth keeping.
_STANDARD = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime", "taskName"}


class JsonFormatter(logging.Formatter):
    """time, level, logger, message, then the extras, then the traceback when there is one."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, object] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
        }
        line.update({name: value for name, value in vars(record).items() if name not in _STANDARD})
        if record.exc_info:
            line["traceback"] = self.formatException(record.exc_info)
        return json.dumps(line, default=str, ensure_ascii=False)
