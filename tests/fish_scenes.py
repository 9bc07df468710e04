"""Fish for the tests: a species, groups in two tanks, entries of the ledger."""

from __future__ import annotations

from typing import Any

from harness import Caller, made

DAY = "2026-11-{:02d}T10:00:00Z"


def species(call: Caller, **said: Any) -> dict[str, Any]:
    return made(call, "species", {"name": "Banded barb", **said})


def group(call: Caller, tank: str = "nursery", **said: Any) -> str:
    return str(made(call, "groups", {"species": "banded-barb", "tank": tank, **said})["id"])


def entry(call: Caller, kind: str, of: str, number: int, day: int = 1, **said: Any) -> dict[str, Any]:
    extra = {"cause": "unknown"} if kind == "loss" else {}
    body = {"kind": kind, "group": of, "number": number, "happened_at": DAY.format(day), **extra, **said}
    return made(call, "stock-entries", body)


def refused(call: Caller, **body: Any) -> Any:
    when = {} if body.get("kind") == "withdrawal" else {"happened_at": DAY.format(5)}
    return call.post("/v1/stock-entries", {**when, **body})


def heads(call: Caller, of: str) -> int:
    return int(call.get(f"/v1/groups/{of}").get_json()["heads"])
