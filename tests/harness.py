"""What tests share besides fixtures: a caller with a key, a small furnished room, the two engines."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

ENGINES = ("sqlite", "postgres")

on_both_engines = pytest.mark.parametrize("database_url", ENGINES, indirect=True)
"""Run a test once on SQLite and once on PostgreSQL."""


@dataclass
class Caller:
    """A client with a key. Every call goes through WSGI as a real request would."""

    client: FlaskClient
    secret: str | None

    def __call__(self, method: str, path: str, body: Any = None, **headers: str) -> TestResponse:
        """`body` is sent as JSON; headers are named with underscores: If_Match='"1"'."""
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        if self.secret is not None:
            sent.setdefault("Authorization", f"Bearer {self.secret}")
        if isinstance(body, (bytes, str)):
            return self.client.open(path, method=method, data=body, headers=sent)
        return self.client.open(path, method=method, json=body, headers=sent)

    def get(self, path: str, **headers: str) -> TestResponse:
        return self("GET", path, **headers)

    def post(self, path: str, body: Any = None, **headers: str) -> TestResponse:
        return self("POST", path, body, **headers)

    def patch(self, path: str, body: Any, if_match: str = "*", **headers: str) -> TestResponse:
        return self("PATCH", path, body, If_Match=if_match, **headers)

    def delete(self, path: str, if_match: str = "*", **headers: str) -> TestResponse:
        return self("DELETE", path, If_Match=if_match, **headers)


MakeCaller = Callable[..., Caller]

FURNITURE: tuple[tuple[str, dict[str, Any]], ...] = (
    ("/v1/systems", {"name": "Rill"}),
    (
        "/v1/tanks",
        {
            "name": "Nursery",
            "system": "rill",
            "use": "grow-out",
            "footprint": {"shape": "rectangle", "length": "120 cm", "width": "50 cm"},
            "rim_height": "55 cm",
            "water_depth": "50 cm",
        },
    ),
    (
        "/v1/sumps",
        {"name": "Rack", "system": "rill", "length": "100 cm", "width": "45 cm", "height": "45 cm"},
    ),
    (
        "/v1/sections",
        {
            "sump": "rack",
            "position": 1,
            "use": "return",
            "direction": "along",
            "length": "30 cm",
            "running_depth": "25 cm",
        },
    ),
    (
        "/v1/pumps",
        {
            "name": "Rack pump",
            "from_section": "rack-return-1",
            "to_tank": "nursery",
            "rated_flow": "600 gal/h",
        },
    ),
    (
        "/v1/gauges",
        {
            "name": "Nursery temperature",
            "parameter": "temperature",
            "place": "tanks/nursery",
            "expected_interval": "10 min",
            "plausible_low": "5 degC",
            "plausible_high": "40 degC",
        },
    ),
)


def made(keeper: Caller, path: str, body: dict[str, Any]) -> dict[str, Any]:
    """The record that a POST under /v1 made."""
    answered = keeper.post(f"/v1/{path}", body)
    assert answered.status_code == 201, answered.get_data(as_text=True)
    shown: dict[str, Any] = answered.get_json()
    return shown


def pointers(answered: TestResponse) -> list[str]:
    """Where a refused request is at fault."""
    assert answered.status_code == 422, answered.get_data(as_text=True)
    return [error["pointer"] for error in answered.get_json()["errors"]]
