"""One id for each request, and what is told of it: structured lines that never hold a secret."""

from __future__ import annotations

import logging
import re
import sys
import traceback
from collections.abc import Mapping
from datetime import UTC, datetime
from secrets import token_hex
from time import perf_counter

import msgspec
from flask import Response, g, request

from weirbook.config import LogWish

HEADER = "X-Request-Id"
SANE_ID = re.compile(r"[A-Za-z0-9._-]{1,64}", re.ASCII)
SECRET = re.compile(r"wb_[A-Za-z0-9_-]{16,}|(?i:bearer)(?: |%20|\+)+[^\s\"\\]+")
"""What looks like a key, wherever it got into: a path typed wrong, an exception's words."""
TOLD = ("request_id", "method", "path", "status", "ms", "key", "address")
requests = logging.getLogger("weirbook.requests")


def begin() -> None:
    """Give the request at hand its id: the client's own where it is a sane one."""
    sent = request.headers.get(HEADER, "")
    g.request_id = sent if SANE_ID.fullmatch(sent) else new_id()
    g.begun = perf_counter()


def new_id() -> str:
    return token_hex(8)


def end(response: Response) -> Response:
    """Send the id along, and write the request's line.

    Of the address the path alone is told: what follows the question mark may be a key. By default only refused
    keys and the service's own faults are written, for a small computer's disk is small.
    """
    response.headers[HEADER] = g.request_id
    level = _weight(response.status_code)
    if requests.isEnabledFor(level):
        requests.log(
            level,
            "request",
            extra={
                "request_id": g.request_id,
                "method": request.method,
                "path": request.path,
                "status": response.status_code,
                "ms": round((perf_counter() - g.begun) * 1000, 1),
                "key": g.get("key_handle"),
                "address": request.remote_addr,
            },
        )
    return response


def _weight(status: int) -> int:
    if status == 500:
        return logging.ERROR
    return logging.WARNING if g.get("key_refused") else logging.INFO


class JsonLines(logging.Formatter):
    """Each record as one line of JSON, with whatever looks like a key blotted out."""

    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, object] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        told |= {name: getattr(record, name) for name in TOLD if hasattr(record, name)}
        if record.exc_info:
            told["traceback"] = "".join(traceback.format_exception(*record.exc_info))
        return SECRET.sub("(a key)", msgspec.json.encode(told).decode())


LEVELS: Mapping[LogWish, int] = {"quiet": logging.WARNING, "requests": logging.INFO}


def set_up_logs(wish: LogWish) -> None:
    """Send what this process logs to stderr, a line of JSON each. For a server's start, once."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines())
    root = logging.getLogger()
    root.handlers = [handler]
    root.setLevel(logging.WARNING)
    requests.setLevel(LEVELS[wish])
    # It would warn of every request that finds all threads busy; a queue that is too long is answered 503.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
