"""What happenings share: they lie behind us, and lists of them take from and to."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from weirbook.actions.judge_reading import AHEAD_MS
from weirbook.errors import Invalid
from weirbook.web.fields import Instant
from weirbook.web.operations import Call
from weirbook.web.resource import Filter

AHEAD = "This tells what happened; it lies ahead of now."


def happened(field: str) -> Callable[[Call, dict[str, Any]], dict[str, Any]]:
    """A `prepare` that puts now where the instant was not said, and refuses one ahead of now."""

    def complete(call: Call, values: dict[str, Any]) -> dict[str, Any]:
        return with_instant(call, values, field)

    return complete


def with_instant(
    call: Call,
    values: dict[str, Any],
    field: str,
    ahead: str = AHEAD,
) -> dict[str, Any]:
    """The values with the instant of a field: now if not said. Raises Invalid, in the words `ahead`, for one ahead of now."""
    column = f"{field}_ms"
    if values.get(column) is None:
        values[column] = call.now
    refuse_ahead(call, values, field, ahead)
    return values


def refuse_ahead(call: Call, values: dict[str, Any], field: str, ahead: str = AHEAD) -> None:
    """Raise Invalid where the instant of a field lies ahead of now; nothing of one that was not said."""
    at_ms = values.get(f"{field}_ms")
    if at_ms is not None and at_ms > call.now + AHEAD_MS:
        raise Invalid(ahead, f"/{field}")


def happened_within(column: Any) -> dict[str, Filter]:
    """The list filters from (inclusive) and to (exclusive) of an instant."""
    return {
        "from": Filter(
            Instant(metadata={"description": "Happened at or after."}), lambda session, ms: column >= ms
        ),
        "to": Filter(Instant(metadata={"description": "Happened before."}), lambda session, ms: column < ms),
    }
