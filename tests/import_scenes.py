"""What the tests of imports share: a file sent as a keeper would, and what became of its rows."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from harness import Caller
from werkzeug.test import TestResponse


def send(
    caller: Caller, kind: str, body: str | bytes, headers: dict[str, str] | None = None, **said: str
) -> TestResponse:
    """POST a file; what is said besides goes into the query."""
    sent = body.encode() if isinstance(body, str) else body
    query = f"?{urlencode(said)}" if said else ""
    return caller(
        "POST", f"/v1/imports/{kind}{query}", sent, **{"Content_Type": "text/csv", **(headers or {})}
    )


def told(answered: TestResponse) -> dict[str, Any]:
    assert answered.status_code == 200, answered.get_data(as_text=True)
    found: dict[str, Any] = answered.get_json()
    return found


def tried(caller: Caller, kind: str, body: str | bytes, **said: str) -> dict[str, Any]:
    """What a dry run tells."""
    return told(send(caller, kind, body, **said))


def stored(caller: Caller, kind: str, body: str | bytes, **said: str) -> dict[str, Any]:
    """What a real run tells."""
    return told(send(caller, kind, body, dry_run="false", **said))


def verdicts(answer: dict[str, Any]) -> list[tuple[int, str]]:
    return [(row["line"], row["verdict"]) for row in answer["rows"]]


def refusals(answer: dict[str, Any]) -> dict[int, str]:
    return {row["line"]: row["message"] for row in answer["rows"] if row["verdict"] == "refused"}
