"""Every path and method refuses in the one documented shape, and a refused request changes nothing."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import pytest
from contract_document import operations, validator
from harness import Caller
from werkzeug.test import TestResponse

from weirbook.app import Service, create_app
from weirbook.config import Config, sqlite_url
from weirbook.record.database import Database

PROBLEM = "application/problem+json"
NOBODY = "01936c5e-8f00-7000-8000-00000000dead"


@dataclass(frozen=True)
class Refusal:
    """A request that must be refused with this status."""

    why: str
    status: int
    method: str
    path: str
    query: dict[str, str] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes | str | dict[str, Any] | None = None
    length: int | None = None
    with_key: bool = True


def refusals(method: str, path: str, said: dict[str, Any]) -> Iterator[Refusal]:
    """The example of an operation, spoilt in one way at a time."""
    example = said["x-example"]
    here = path
    for name, value in example["path"].items():
        here = here.replace(f"{{{name}}}", quote(value))
    query, headers, body = example["query"], example["headers"], example.get("body")

    def spoilt(why: str, status: int, **changed: Any) -> Refusal:
        kept = {"path": here, "query": query, "headers": headers, "body": body}
        return Refusal(why, status, method, **{**kept, **changed})

    yield spoilt("without a key", 401, with_key=False)
    yield spoilt("with an unknown key", 401, headers={**headers, "Authorization": "Bearer wb_unknown"})
    yield spoilt("with another scheme", 401, headers={**headers, "Authorization": "Basic a2V5"})
    yield spoilt("with an unknown query key", 422, query={**query, "colour": "blue"})
    if "{" in path:
        nowhere = re.sub(r"\{\w*id\}", NOBODY, path).replace("{handle}", "no-such-thing")
        if method != "PUT":
            yield spoilt("of an unknown record", 404, path=nowhere)
    if "If-Match" in headers:
        others = {name: value for name, value in headers.items() if name != "If-Match"}
        yield spoilt("without If-Match", 428, headers=others)
        yield spoilt("with an old If-Match", 412, headers={**headers, "If-Match": '"999999"'})
    if isinstance(body, str):
        yield spoilt("with a body of another kind", 415, headers={**headers, "Content-Type": "text/html"})
        yield spoilt("without a body", 400, body=b"")
        yield spoilt("with what it is not", 422, body=b"<p>24.6</p>")
        yield spoilt("with a huge body", 413, length=10**9)
    elif body is not None:
        plain = {**headers, "Content-Type": "text/html"}
        json_type = {**headers, "Content-Type": "application/json"}
        yield spoilt("with a body of another kind", 415, headers=plain, body=b"<p>24.6</p>")
        yield spoilt("with half a body", 400, headers=json_type, body=b'{"name": ')
        yield spoilt("with NaN", 400, headers=json_type, body=b'{"name": NaN}')
        yield spoilt("with a list for a body", 422, headers=json_type, body=b"[]")
        yield spoilt("with an unknown field", 422, body={**body, "colour": "blue"})
        yield spoilt("with a huge body", 413, headers=json_type, body=b"{}", length=10**9)


ALL = [
    pytest.param(said, one, id=f"{said['operationId']} {one.why}")
    for method, path, said in operations()
    for one in refusals(method, path, said)
]


def paths() -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for method, path, _ in operations():
        found.setdefault(path, set()).add(method)
    return found


@pytest.fixture(scope="module")
def room(
    demo_template: tuple[Path, dict[str, str]], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Service, Caller, Path]]:
    """One copy of the demo room for the whole module: nothing here may change it."""
    template, secrets = demo_template
    file = tmp_path_factory.mktemp("refusals") / "demo.db"
    file.write_bytes(template.read_bytes())
    # An application of its own: other tests put their database into the shared one.
    # Wrong keys are tried with every operation.
    settings = Config(sqlite_url(file), failures_per_minute=1_000_000)
    app = create_app(settings, Database(sqlite_url(file)))
    yield app, Caller(app.test_client(), secrets["keeper"]), file
    app.database.dispose()


def send(keeper: Caller, one: Refusal) -> TestResponse:
    headers = dict(one.headers)
    if one.with_key:
        headers.setdefault("Authorization", f"Bearer {keeper.secret}")
    sent: dict[str, Any] = {"data": one.body} if isinstance(one.body, (bytes, str)) else {"json": one.body}
    if one.length is not None:
        sent["environ_overrides"] = {"CONTENT_LENGTH": str(one.length)}
    address = one.path + (f"?{urlencode(one.query)}" if one.query else "")
    return keeper.client.open(address, method=one.method, headers=headers, **sent)


def is_a_problem(answered: TestResponse, status: int) -> dict[str, Any]:
    assert answered.status_code == status, answered.get_data(as_text=True)
    assert answered.content_type == PROBLEM
    told: dict[str, Any] = answered.get_json()
    validator({"$ref": "#/components/schemas/Problem"}).validate(told)
    assert told["status"] == status
    assert told["type"].startswith("urn:weirbook:problem:")
    return told


@pytest.mark.parametrize(("said", "one"), ALL)
def test_a_spoilt_request_is_refused_in_the_documented_shape(
    room: tuple[Service, Caller, Path], said: dict[str, Any], one: Refusal
) -> None:
    answered = send(room[1], one)

    is_a_problem(answered, one.status)
    assert str(one.status) in said["responses"]
    if one.status == 401:
        assert answered.headers["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize("path", sorted(paths()))
def test_a_method_that_a_path_does_not_know_is_refused_and_the_others_named(
    room: tuple[Service, Caller, Path], path: str
) -> None:
    known = paths()[path]
    unknown = next(method for method in ("DELETE", "PATCH", "PUT", "POST", "GET") if method not in known)
    here = re.sub(r"\{\w*id\}", NOBODY, path).replace("{handle}", "no-such-thing")

    answered = room[1](unknown, here, {})

    is_a_problem(answered, 405)
    allowed = {one.strip() for one in answered.headers["Allow"].split(",")}
    assert known <= allowed
    assert allowed <= known | {"HEAD", "OPTIONS"}


@pytest.mark.parametrize(
    "path", ["/", "/v1", "/v1/ponds", "/v1/tanks/nursery/fish", "/v2/tanks", "/favicon.ico"]
)
def test_a_path_that_is_none_is_refused_in_the_documented_shape(
    room: tuple[Service, Caller, Path], path: str
) -> None:
    told = is_a_problem(room[1].get(path), 404)
    assert "/docs" in told["detail"]


def test_a_refused_request_changes_nothing(room: tuple[Service, Caller, Path]) -> None:
    _, keeper, file = room
    # The last use of a key is kept to the minute, so the first call may write it.
    keeper.get("/v1/room")
    before = _rows(file)

    for one in (param.values[1] for param in ALL):
        send(keeper, one)

    assert _rows(file) == before


def _rows(file: Path) -> list[str]:
    with sqlite3.connect(file) as connection:
        return [line for line in connection.iterdump() if 'INTO "access_key"' not in line]
