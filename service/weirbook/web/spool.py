"""What the server itself refuses, before the application sees a request; and a bound on bodies under way.

waitress takes in a whole body, longer ones into temporary files, before anybody's key is looked at. Each is bounded
by the body cap, but for lines; here all of them together are, so that strangers can't fill the disk.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any

import msgspec
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.task import ErrorTask
from waitress.utilities import Error, RequestEntityTooLarge

from weirbook.web.operations import NDJSON
from weirbook.web.problems import MEDIA_TYPE, TYPE_PREFIX
from weirbook.web.request_log import HEADER, new_id

SMALL_BODY = 64 * 1024
"""Up to here a body is always taken in: one gauge's readings must not wait for somebody else's upload."""
WORDS = {
    400: "This is not a request of HTTP that can be read.",
    413: "The body is larger than one request may carry. Send it in parts; a picture made smaller.",
    431: "The request's headers are longer than can be read.",
    500: "The service met a fault of its own; nothing was changed.",
    501: "This transfer coding is not known here. Send the body with its length, or chunked.",
    503: "Too many large bodies are under way just now; nothing of this one was stored. Send it again shortly.",
}


class Full(Error):  # type: ignore[misc]
    """No room for more of this body."""

    code = 503
    reason = "Service Unavailable"


class Pot:
    """Bytes that large bodies may hold at once."""

    def __init__(self, size: int) -> None:
        self._left = size
        self._lock = threading.Lock()

    def take(self, count: int) -> bool:
        with self._lock:
            if count > self._left:
                return False
            self._left -= count
            return True

    def give_back(self, count: int) -> None:
        with self._lock:
            self._left += count


class _Refusal(ErrorTask):  # type: ignore[misc]
    """A refusal of the server as the problem document that the application would send, without a banner."""

    def execute(self) -> None:
        error = self.request.error
        request_id = new_id()
        body = msgspec.json.encode(
            {
                "type": f"{TYPE_PREFIX}{'queue-full' if error.code == 503 else f'http-{error.code}'}",
                "title": error.reason,
                "status": error.code,
                "detail": WORDS.get(error.code, error.reason),
                "request_id": request_id,
            }
        )
        self.status = f"{error.code} {error.reason}"
        self.response_headers += [
            ("Content-Type", MEDIA_TYPE),
            (HEADER, request_id),
            ("X-Content-Type-Options", "nosniff"),
            ("Cache-Control", "no-store"),
            *([("Retry-After", "2")] if error.code == 503 else []),
        ]
        self.set_close_on_finish()
        self.content_length = len(body)
        if self.request.command == "HEAD":
            body = b""
        self.write(body)


def channel_with(pot: Pot, body_cap: int, caps: Mapping[str, int] | None = None) -> type[Any]:
    """The server's channel, whose large bodies share `pot`.

    Those that are no lines are bounded by `body_cap`, or by what `caps` says of their media type.
    """
    bounds = caps or {}

    class Parser(HTTPRequestParser):  # type: ignore[misc]
        """Counts what of its body is held beyond a small one, until it is let go of."""

        command = ""
        error: Any = None
        held = 0

        def received(self, data: bytes) -> int:
            consumed: int = super().received(data)
            if not self.error and self._is_beyond_the_cap():
                self.error, self.completed = RequestEntityTooLarge(""), True
                self.let_go()
            more = self.body_bytes_received - SMALL_BODY - self.held
            if more > 0 and not self.error:
                if pot.take(more):
                    self.held += more
                else:
                    self.error, self.completed = Full(""), True
                    self.let_go()
            return consumed

        def _is_beyond_the_cap(self) -> bool:
            length: int = max(self.content_length, self.body_bytes_received)
            media = self.headers.get("CONTENT_TYPE", "").partition(";")[0].strip().lower()
            return length > bounds.get(media, body_cap) and media != NDJSON

        def let_go(self) -> None:
            held, self.held = self.held, 0
            pot.give_back(held)

        def close(self) -> None:
            super().close()
            self.let_go()

        def __del__(self) -> None:
            # A connection that breaks off mid-body just drops its request.
            self.let_go()

    class Channel(HTTPChannel):  # type: ignore[misc]
        parser_class = Parser
        error_task_class = _Refusal

    return Channel
