"""What stands around the answers: methods, HEAD, OPTIONS, caching, and the one shape of refusals."""

from __future__ import annotations

import pytest
from harness import Caller, MakeCaller

TANK = "/v1/tanks/nursery"


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("PUT", TANK, {"GET", "HEAD", "OPTIONS", "PATCH", "DELETE"}),
        ("POST", TANK, {"GET", "HEAD", "OPTIONS", "PATCH", "DELETE"}),
        ("DELETE", "/v1/tanks", {"GET", "HEAD", "OPTIONS", "POST"}),
        ("DELETE", "/v1/room", {"GET", "HEAD", "OPTIONS", "PATCH"}),
        ("POST", "/v1/units", {"GET", "HEAD", "OPTIONS"}),
        ("POST", "/v1/corrections", {"GET", "HEAD", "OPTIONS"}),
        ("PATCH", "/v1/keys/keeper", {"GET", "HEAD", "OPTIONS", "DELETE"}),
        ("POST", "/docs", {"GET", "HEAD", "OPTIONS"}),
    ],
)
def test_another_method_is_refused_naming_those_there_are(
    furnished: Caller, method: str, path: str, allowed: set[str]
) -> None:
    answered = furnished(method, path, {})
    assert answered.status_code == 405
    assert answered.mimetype == "application/problem+json"
    assert set(answered.headers["Allow"].split(", ")) == allowed


@pytest.mark.parametrize("path", ["/v1/tanks", TANK, "/v1/readings", "/docs", "/openapi.json"])
def test_options_tells_the_methods_and_wants_no_key(caller: MakeCaller, furnished: Caller, path: str) -> None:
    answered = caller(None)("OPTIONS", path)
    assert answered.status_code == 200
    assert "GET" in answered.headers["Allow"]
    assert "nursery" not in answered.get_data(as_text=True)


@pytest.mark.parametrize(
    "path", ["/v1/tanks", TANK, "/v1/tanks?format=csv", "/v1/latest", "/v1/tanks/nothing", "/openapi.json"]
)
def test_head_is_get_without_its_body(furnished: Caller, path: str) -> None:
    head, get = furnished("HEAD", path), furnished.get(path)
    assert head.status_code == get.status_code
    assert head.get_data() == b""
    for name in ("Content-Type", "ETag"):
        assert head.headers.get(name) == get.headers.get(name)


def test_head_wants_a_key(caller: MakeCaller, furnished: Caller) -> None:
    assert caller(None)("HEAD", TANK).status_code == 401


@pytest.mark.parametrize(
    "path",
    ["/v1/tanks", TANK, "/v1/tanks/nothing", "/v1/nothing", "/docs", "/v1/tanks?format=csv", "/v1/tanks?x=1"],
)
def test_no_answer_is_guessed_at_or_kept_on_the_way(furnished: Caller, path: str) -> None:
    answered = furnished.get(path)
    assert answered.headers["X-Content-Type-Options"] == "nosniff"
    assert answered.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    "path", ["/", "/v1", "/v1/", "/v1/tank", "/v2/tanks", "/v1/tanks/nursery/more", "/robots.txt"]
)
def test_a_path_to_nothing_is_a_problem_that_points_to_the_docs(
    caller: MakeCaller, room_id: int, path: str
) -> None:
    answered = caller(None).get(path)
    assert answered.status_code == 404
    assert answered.get_json()["type"] == "urn:weirbook:problem:http-404"
    assert "/docs" in answered.get_json()["detail"]


@pytest.mark.parametrize("path", ["//v1/tanks", "/v1//tanks", "/v1/tanks//nursery", "/v1/tanks/"])
def test_a_slash_too_many_is_no_fault(furnished: Caller, path: str) -> None:
    answered = furnished.get(path)
    assert answered.status_code in (200, 308, 404)
    if answered.status_code == 308:
        assert answered.headers["Location"].startswith(("/v1/", "http://localhost/v1/"))


@pytest.mark.parametrize(
    ("held", "status"),
    [
        ('"1"', 304),
        ('W/"1"', 304),
        ('"9", "1"', 304),
        ('"9","1"', 304),
        ("*", 304),
        ('"2"', 200),
        ("1", 200),
        ("", 200),
    ],
)
def test_what_the_caller_holds_is_not_sent_again(furnished: Caller, held: str, status: int) -> None:
    answered = furnished.get(TANK, If_None_Match=held)
    assert answered.status_code == status
    assert answered.headers["ETag"] == '"1"'


@pytest.mark.parametrize(
    ("held", "status"),
    [
        ('"1"', 200),
        ("*", 200),
        ('"7", "1"', 200),
        ('"7"', 412),
        ('W/"1"', 412),
        ("1", 412),
        ("", 412),
        ('"01"', 412),
    ],
)
def test_an_edit_wants_the_version_that_is_there(furnished: Caller, held: str, status: int) -> None:
    """A weak tag never matches (RFC 9110, section 13.1.1)."""
    assert furnished.patch(TANK, {"notes": "x"}, if_match=held).status_code == status
    assert (furnished.get(TANK).get_json()["notes"] == "x") is (status == 200)


def test_csv_says_its_character_set(furnished: Caller) -> None:
    assert furnished.get("/v1/tanks?format=csv").headers["Content-Type"] == "text/csv; charset=utf-8"


def test_a_made_record_is_found_where_its_location_says(furnished: Caller) -> None:
    for path, body in (
        ("/v1/systems", {"name": "Brook"}),
        ("/v1/journal", {"words": "x"}),
        (
            "/v1/targets",
            {"place": "room", "parameter": "ph", "high": 8, "valid_from": "2026-01-01T00:00:00Z"},
        ),
        ("/v1/keys", {"name": "x", "role": "viewer"}),
        ("/v1/parameters", {"name": "Tint", "kind": "score", "join": "plain"}),
    ):
        made = furnished.post(path, body)
        assert made.status_code == 201
        found = furnished.get(made.headers["Location"])
        assert found.status_code == 200
        assert found.headers["ETag"] == made.headers["ETag"]
