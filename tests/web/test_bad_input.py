"""Bad input: never a fault of the service, always the one problem shape, and nothing stored."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, MakeCaller

from weirbook.app import Service

JSON = {"Content_Type": "application/json"}


def is_problem(answered: Any) -> None:
    assert answered.status_code < 500, answered.get_data(as_text=True)
    assert answered.mimetype == "application/problem+json"
    problem = answered.get_json()
    assert problem["status"] == answered.status_code
    assert problem["type"].startswith("urn:weirbook:problem:")
    assert problem["title"]
    assert problem["detail"]


BODIES = [
    b"",
    b"{",
    b"[]",
    b"null",
    b'"x"',
    b"12",
    b"{'name': 'x'}",
    b'{"name": NaN}',
    b'{"name": Infinity}',
    b'{"name": 1e400}',
    b'{"name": "\xff"}',
    b'{"name": "\\ud800"}',
    b'{"name": "a\\u0000b"}',
    b'{"name": ' + b"9" * 5000 + b"}",
    b'{"name": "' + b"x" * 5000 + b'"}',
    b'{"name": ' + b"[" * 20000 + b"]" * 20000 + b"}",
    b'{"name": {"a": {"b": 1}}}',
    b'{"name": true}',
    b'{"name": null}',
    b'{"name": ""}',
    b'{"name": "   "}',
    b'{"name": "ok", "handle": "a\\u0000"}',
    b'{"name": "ok", "retired_at": "2026-11-20T10:00:00"}',
    b'{"name": "ok", "retired_at": 12}',
    b'{"name": "ok", "~1/x": 12}',
]


@pytest.mark.parametrize("body", BODIES, ids=range(len(BODIES)))
@pytest.mark.parametrize(
    "path",
    [
        "/v1/systems",
        "/v1/readings",
        "/v1/journal",
        "/v1/keys",
        "/v1/calculators/turnover/answer",
        "/v1/calculators/tank-volume/answer",
    ],
)
def test_a_broken_body_is_refused(furnished: Caller, path: str, body: bytes) -> None:
    is_problem(furnished("POST", path, body, **JSON))
    assert len(furnished.get("/v1/systems").get_json()["items"]) == 1


@pytest.mark.parametrize("body", BODIES[:13], ids=range(13))
def test_a_broken_patch_is_refused(furnished: Caller, body: bytes) -> None:
    is_problem(furnished("PATCH", "/v1/systems/rill", body, If_Match="*", **JSON))
    assert furnished.get("/v1/systems/rill").get_json()["version"] == 1


@pytest.mark.parametrize(
    "media",
    [
        "text/plain",
        "application/xml",
        "multipart/form-data",
        "application/x-www-form-urlencoded",
        "application/vnd.api+json",
    ],
)
def test_another_content_type_is_refused(furnished: Caller, media: str) -> None:
    answered = furnished("POST", "/v1/systems", '{"name": "x"}', Content_Type=media)
    is_problem(answered)
    assert answered.status_code == 415


def test_no_content_type_is_refused(furnished: Caller) -> None:
    assert furnished("POST", "/v1/systems", '{"name": "x"}').status_code == 415


def test_a_huge_body_is_refused(app: Service, furnished: Caller) -> None:
    body = b'{"name": "' + b"x" * (app.settings.body_cap + 1) + b'"}'
    answered = furnished("POST", "/v1/systems", body, **JSON)
    is_problem(answered)
    assert answered.status_code == 413


@pytest.mark.parametrize(
    "path",
    [
        "/v1/tanks/%00",
        "/v1/tanks/NURSERY",
        "/v1/tanks/" + "a" * 3000,
        "/v1/tanks/%ff",
        "/v1/tanks/..%2fkeys",
        "/v1/journal/not-a-uuid",
        "/v1/journal/00000000-0000-0000-0000-000000000000",
        "/v1/gauges/nothing/latest",
        "/v1/parameters/%00",
        "/v1/calculators/%00",
        "/v1/nothing",
        "/v2/tanks",
        "/",
    ],
)
def test_a_path_to_nothing_answers_404(furnished: Caller, path: str) -> None:
    answered = furnished.get(path)
    is_problem(answered)
    assert answered.status_code == 404


@pytest.mark.parametrize(
    "path",
    [
        "/v1/journal?q=%00",
        "/v1/journal?%00=1",
        "/v1/readings?gauge=%00",
        "/v1/readings",
        "/v1/readings?gauge=nursery-temperature&place=room",
        "/v1/readings?gauge=nursery-temperature&from=2026-11-20T10:00:00",
        "/v1/readings?gauge=nursery-temperature&from=2026-11-20T10:00:00Z&to=2026-11-19T10:00:00Z",
        "/v1/readings?gauge=nursery-temperature&from=0001-01-01T00:00:00Z&every=1h",
        "/v1/readings?gauge=nursery-temperature&every=2h",
        "/v1/readings?place=nowhere&parameter=ph",
        "/v1/summaries/weekly?week=9999-W52",
        "/v1/summaries/weekly?week=0001-W01",
        "/v1/calculators/turnover/answer?volume=800 L",
        "/v1/calculators/turnover/answer?volume=800 L&flow=0 L/h",
        "/v1/calculators/turnover/answer?volume=1e15 m3&flow=1e-15 L/h",
        "/v1/calculators/turnover/answer?volume=800 L&flow=900 gal/h&format=text",
        "/v1/calculators/turnover/answer?volume=800 L&flow=900 gal/h&format=text&result=nothing",
        "/v1/calculators/turnover/answer?volume=800 L&flow=900 gal/h&format=text&result=turnovers_per_hour&unit=L",
        "/v1/systems/rill/answers/turnover?volume=tiny",
    ],
)
def test_a_broken_query_is_refused(furnished: Caller, path: str) -> None:
    answered = furnished.get(path.replace(" ", "%20"))
    assert answered.status_code < 500
    if answered.status_code != 200:
        is_problem(answered)


@pytest.mark.parametrize(
    "at", ["0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59", "0000-01-01T00:00:00Z"]
)
def test_the_ends_of_time_are_no_fault(furnished: Caller, at: str) -> None:
    span = {"gauge": "nursery-temperature", "from": at, "to": "2026-11-20T10:00:00Z", "reason": "x"}
    assert furnished.post("/v1/exclusions", span).status_code < 500
    assert (
        furnished.post(
            "/v1/targets", {"place": "room", "parameter": "ph", "low": 7, "valid_from": at}
        ).status_code
        < 500
    )
    assert furnished.post("/v1/journal", {"words": "x", "happened_at": at}).status_code < 500
    assert furnished.get("/v1/latest").status_code == 200
    assert furnished.get("/v1/summaries/weekly").status_code == 200


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("DELETE", "/v1/room"),
        ("PUT", "/v1/tanks/nursery"),
        ("POST", "/v1/units"),
        ("PATCH", "/v1/keys/keeper"),
    ],
)
def test_another_method_names_those_that_are_allowed(furnished: Caller, method: str, path: str) -> None:
    answered = furnished(method, path, {})
    is_problem(answered)
    assert answered.status_code == 405
    assert "GET" in answered.headers["Allow"]


def test_every_fault_is_told_at_once(furnished: Caller) -> None:
    refused = furnished.post("/v1/tanks", {"name": "", "use": "soup", "water_depth": "1 gal"}).get_json()
    assert {error["pointer"] for error in refused["errors"]} == {
        "/name",
        "/use",
        "/water_depth",
        "/system",
        "/footprint",
    }


def test_a_fault_of_the_service_tells_no_secrets(
    app: Service, furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("the cat's name")

    monkeypatch.setattr("weirbook.web.summaries.summarise_week", broken)
    answered = furnished.get("/v1/summaries/weekly")
    assert answered.status_code == 500
    assert answered.mimetype == "application/problem+json"
    assert "cat" not in answered.get_data(as_text=True)


def test_head_and_options_are_answered(furnished: Caller, caller: MakeCaller) -> None:
    head = furnished("HEAD", "/v1/tanks/nursery")
    assert (head.status_code, head.get_data()) == (200, b"")
    assert "GET" in furnished("OPTIONS", "/v1/tanks/nursery").headers["Allow"]
