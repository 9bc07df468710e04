"""Pages of other origins: nothing unless configured, then exactly what is listed, and never with credentials."""

from __future__ import annotations

from dataclasses import replace

import pytest
from harness import Caller, MakeCaller

from weirbook.app import Service

PAGE = "https://room.example"
PREFLIGHT = {
    "Access_Control_Request_Method": "PATCH",
    "Access_Control_Request_Headers": "authorization,if-match",
}


def cross_origin_headers(headers: object) -> list[str]:
    return [name for name, _ in headers if name.startswith("Access-Control-")]  # type: ignore[attr-defined]


@pytest.fixture
def opened(app: Service) -> None:
    app.settings = replace(app.settings, cors_origins=(PAGE, "http://127.0.0.1:5000"))


def test_nothing_is_allowed_unless_configured(caller: MakeCaller, furnished: Caller) -> None:
    assert cross_origin_headers(furnished.get("/v1/tanks", Origin=PAGE).headers) == []
    assert cross_origin_headers(caller(None)("OPTIONS", "/v1/tanks", Origin=PAGE, **PREFLIGHT).headers) == []


def test_a_listed_origin_is_allowed_by_name(opened: None, furnished: Caller) -> None:
    for path in ("/v1/tanks", "/v1/tanks/nothing", "/healthz"):
        answered = furnished.get(path, Origin=PAGE)
        assert answered.headers["Access-Control-Allow-Origin"] == PAGE
        assert "Origin" in answered.headers["Vary"]
        assert {"ETag", "Retry-After", "X-Request-Id"} <= set(
            answered.headers["Access-Control-Expose-Headers"].split(", ")
        )
        assert "Access-Control-Allow-Credentials" not in answered.headers


def test_a_listed_origin_may_ask_before_it_edits_and_wants_no_key_for_that(
    opened: None, caller: MakeCaller, furnished: Caller
) -> None:
    answered = caller(None)("OPTIONS", "/v1/tanks/nursery", Origin=PAGE, **PREFLIGHT)
    assert answered.status_code == 200
    assert answered.headers["Access-Control-Allow-Origin"] == PAGE
    assert "PATCH" in answered.headers["Access-Control-Allow-Methods"].split(", ")
    allowed = answered.headers["Access-Control-Allow-Headers"].lower().split(", ")
    assert {"authorization", "if-match", "idempotency-key", "content-type"} <= set(allowed)
    assert "Access-Control-Allow-Credentials" not in answered.headers


@pytest.mark.parametrize(
    "origin",
    [
        "http://room.example",
        "https://room.example:443",
        "https://ROOM.example",
        "https://room.example.evil.example",
        "https://evil-room.example",
        "null",
        "*",
        "https://room.example/",
        "http://127.0.0.1",
    ],
)
def test_another_origin_is_not_allowed(
    opened: None, caller: MakeCaller, furnished: Caller, origin: str
) -> None:
    for answered in (
        furnished.get("/v1/tanks", Origin=origin),
        caller(None)("OPTIONS", "/v1/tanks", Origin=origin, **PREFLIGHT),
    ):
        assert cross_origin_headers(answered.headers) == []
        assert "Origin" in answered.headers["Vary"]
