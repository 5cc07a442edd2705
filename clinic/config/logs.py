"""Log lines that cannot hold patient data.

A line keeps the constant sentence of the call, never what was put into it: numbers pass, texts do not. Of an
error it keeps the type and where in the code it rose, never its words (a database error quotes the values it
refused). `tests/security/test_logs.py` holds that every call in our code gives a constant sentence, and
plants patient text in forms, addresses and errors to see that none comes out.
"""

from __future__ import annotations

import json
import logging
import traceback
from contextvars import ContextVar
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

__all__ = ["Lines", "request_id"]

request_id: ContextVar[str] = ContextVar("request_id", default="")
#: Fields our own calls may add, by `extra=`; each holds a number or a word from our code.
FIELDS = ("method", "page", "status", "ms", "user", "event")
#: Loggers whose message is a constant of ours or a template whose numbers are safe.
OURS = "clinic"


def _where(frames: traceback.StackSummary) -> list[str]:
    return [f"{Path(frame.filename).name}:{frame.lineno} {frame.name}" for frame in frames[-8:]]


class Lines(logging.Formatter):
    """A record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "request": request_id.get(),
        }
        if record.name.split(".")[0] == OURS:
            line["message"] = str(record.msg)
            line |= {name: getattr(record, name) for name in FIELDS if hasattr(record, name)}
        else:
            # Another library's sentence: its template only if the values stand apart from it.
            line["message"] = str(record.msg) if record.args else f"{record.module}:{record.lineno}"
        args = record.args if isinstance(record.args, tuple) else ()
        numbers = [value for value in args if isinstance(value, int | float)]
        if numbers:
            line["numbers"] = numbers
        if record.exc_info and record.exc_info[1] is not None:
            error = record.exc_info[1]
            line["error"] = type(error).__name__
            line["where"] = _where(traceback.extract_tb(error.__traceback__))
            if error.__cause__ is not None:
                line["cause"] = type(error.__cause__).__name__
        return json.dumps(line, default=lambda value: type(value).__name__)
