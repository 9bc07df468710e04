"""The gate before everything else: with too many waiting, the next are sent away while it costs nothing."""

from __future__ import annotations

from collections.abc import Callable

from flask import request

from weirbook.errors import Busy
from weirbook.web.health import PATHS as HEALTH


class Gate:
    """Refuses while more than `cap` requests wait for a thread.

    How many wait only the server knows; it says so by setting `waiting`. What is refused here was not read,
    recognised or stored, so that it can be sent again as it is; what was acknowledged stands in the database.
    """

    def __init__(self, cap: int) -> None:
        self.cap = cap
        self.waiting: Callable[[], int] = lambda: 0

    def let_in(self) -> None:
        """Raise Busy where too many wait. Whoever asks for the service's health is always answered."""
        if self.waiting() > self.cap and request.path not in HEALTH:
            raise Busy(
                "More requests wait than can be answered soon; this one was neither read nor stored. "
                "Send it again shortly.",
                slug="queue-full",
            )
