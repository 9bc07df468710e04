"""Each request has an id, which stands in its answer, its problem document and its line in the log."""

from __future__ import annotations

import http.client
import json
import logging
import shutil
from pathlib import Path

import pytest
from faults.served import serving
from harness import Caller, MakeCaller

from weirbook.app import Service
from weirbook.web.request_log import JsonLines

PATHS = ["/v1/tanks", "/v1/nothing", "/docs", "/docs/assets/nothing", "/openapi.json", "/healthz"]


@pytest.mark.parametrize("path", [*PATHS, "/v1/tanks/nothing", "/v1/tanks?colour=blue", "/v1/tanks/nursery"])
def test_every_answer_carries_an_id_of_its_own(furnished: Caller, path: str) -> None:
    first, second = furnished.get(path), furnished.get(path)
    assert first.headers["X-Request-Id"]
    assert first.headers["X-Request-Id"] != second.headers["X-Request-Id"]
    if first.mimetype == "application/problem+json":
        assert first.get_json()["request_id"] == first.headers["X-Request-Id"]


@pytest.mark.parametrize("sent", ["a", "trip-7.b_C", "x" * 64])
def test_a_sane_id_of_the_client_is_taken(furnished: Caller, sent: str) -> None:
    answered = furnished.get("/v1/nothing", X_Request_Id=sent)
    assert answered.headers["X-Request-Id"] == sent
    assert answered.get_json()["request_id"] == sent


@pytest.mark.parametrize(
    "sent", ["", "x" * 65, "two words", 'quo"te', "<b>", "né", "a\tb", "a,b", "{}", "٣", "a/b", "a%0d%0ab"]
)
def test_another_id_is_replaced(furnished: Caller, sent: str) -> None:
    given = furnished.get("/v1/tanks", X_Request_Id=sent).headers["X-Request-Id"]
    assert given != sent
    assert given.isascii() and given.isalnum()


def test_a_repeated_answer_carries_the_id_of_the_repeat(furnished: Caller) -> None:
    made = [
        furnished.post("/v1/journal", {"words": "Once."}, Idempotency_Key="once", X_Request_Id=name)
        for name in ("first", "second")
    ]
    assert [one.headers["X-Request-Id"] for one in made] == ["first", "second"]
    assert made[0].get_json() == made[1].get_json()


def test_a_request_is_told_in_one_line_without_its_query(
    caller: MakeCaller, furnished: Caller, caplog: pytest.LogCaptureFixture
) -> None:
    link = caller("viewer", for_links=True, name="Kitchen sheet").secret
    caplog.set_level(logging.INFO, "weirbook.requests")
    caller(None).get(f"/v1/tanks?format=csv&key={link}", X_Request_Id="sheet-1")
    [line] = [json.loads(JsonLines().format(one)) for one in caplog.records]
    assert line.pop("ms") >= 0
    assert line.pop("time").endswith("+00:00")
    assert line == {
        "level": "info",
        "logger": "weirbook.requests",
        "message": "request",
        "request_id": "sheet-1",
        "method": "GET",
        "path": "/v1/tanks",
        "status": 200,
        "key": "kitchen-sheet",
        "address": "127.0.0.1",
    }


def test_by_default_only_refused_keys_are_told(
    caller: MakeCaller, furnished: Caller, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.WARNING, "weirbook.requests")
    furnished.get("/v1/tanks")
    furnished.get("/v1/nothing")
    caller(None).get("/v1/tanks")
    assert caplog.records == []
    caller(None).get("/v1/tanks", Authorization="Bearer wb_unknown")
    assert [(one.levelname, one.__dict__["status"]) for one in caplog.records] == [("WARNING", 401)]


def test_an_unforeseen_error_is_told_with_its_trace_but_to_the_log_alone(
    app: Service, furnished: Caller, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError(f"odd: {furnished.secret}")

    monkeypatch.setattr("weirbook.web.perform.enter_room", fail)
    answered = furnished.get("/v1/tanks", X_Request_Id="odd-one")
    assert answered.status_code == 500
    assert "odd:" not in answered.get_data(as_text=True) and "Traceback" not in answered.get_data(
        as_text=True
    )
    assert answered.get_json()["request_id"] == "odd-one"
    told, line = (JsonLines().format(one) for one in caplog.records)
    assert json.loads(told)["request_id"] == json.loads(line)["request_id"] == "odd-one"
    assert "RuntimeError: odd: (a key)" in json.loads(told)["traceback"]
    assert furnished.secret is not None and furnished.secret not in told


@pytest.fixture(scope="module")
def told(
    furnished_template: tuple[Path, str], tmp_path_factory: pytest.TempPathFactory
) -> tuple[list[str], list[str], str]:
    """Secrets that went through a server that tells of each request; its requests' ids; what it told."""
    template, keeper = furnished_template
    folder = tmp_path_factory.mktemp("told")
    shutil.copy(template, folder / "room.db")
    stranger, mark = "wb_" + "Wrong-key_" * 4, "hidden0word"
    with serving(
        f"sqlite:///{folder / 'room.db'}", folder / "log", environment={"WEIRBOOK_LOG": "requests"}
    ) as server:
        ids: list[str] = []

        def call(method: str, path: str, secret: str | None, body: object = None, **more: str) -> bytes:
            link = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
            headers = {"Content-Type": "application/json", **more}
            if secret is not None:
                headers.setdefault("Authorization", f"Bearer {secret}")
            link.request(method, path, None if body is None else json.dumps(body), headers)
            answer = link.getresponse()
            ids.append(answer.headers["X-Request-Id"])
            said = answer.read()
            link.close()
            return said

        made = json.loads(
            call("POST", "/v1/keys", keeper, {"name": "New one", "role": "viewer", "for_links": True})
        )["key"]
        call("GET", "/v1/room", keeper)
        call("GET", "/v1/room", stranger)
        call("GET", "/v1/room", None, Authorization=f"Basic {mark}")
        call("GET", f"/v1/tanks?format=csv&key={made}", None)
        call("GET", f"/v1/tanks?format=csv&%6bey={made}", None)
        call("GET", f"/v1/tanks?format=csv&key={stranger}", None)
        call("GET", f"/v1/keys/{made}", keeper)
        call("GET", f"/v1/{made}/nothing", keeper)
        call("POST", "/v1/keys", keeper, {"name": made, "role": made})
        call("GET", "/v1/room", keeper, **{"X-Request-Id": made})
    return [keeper, stranger, mark, made], ids, (folder / "log").read_text()


def test_no_secret_ever_enters_the_log(told: tuple[list[str], list[str], str]) -> None:
    secrets, _, log = told
    for secret in secrets:
        assert secret not in log
        assert secret[3:20] not in log


def test_each_request_has_its_line_of_json_and_its_id_there(told: tuple[list[str], list[str], str]) -> None:
    _, ids, log = told
    lines = [json.loads(line) for line in log.splitlines() if line.startswith("{")]
    assert len(ids) == len(set(ids))
    assert [one["request_id"] for one in lines] == [*ids[:-1], "(a key)"]
    assert {one["key"] for one in lines} == {"keeper", "new-one", None}
