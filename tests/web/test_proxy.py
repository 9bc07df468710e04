"""Behind a reverse proxy: its word on the caller's address is believed, when told to, and nobody else's."""

from __future__ import annotations

import logging

import pytest
from harness import Caller, MakeCaller

from weirbook.app import Service, create_app
from weirbook.config import Config
from weirbook.web.proxy import BehindProxy

PROXY, STRANGER, CLIENT = "192.0.2.1", "198.51.100.7", "203.0.113.5"  # RFC 5737
ADDRESS = {"X-Forwarded-For": CLIENT}


@pytest.fixture(scope="module")
def behind() -> Service:
    return create_app(Config("sqlite://", trusted_proxy=PROXY))


def address_told(app: Service, caplog: pytest.LogCaptureFixture, remote: str, headers: dict[str, str]) -> str:
    caplog.set_level(logging.INFO, "weirbook.requests")
    app.test_client().get("/healthz", headers=headers, environ_overrides={"REMOTE_ADDR": remote})
    return str(caplog.records[-1].__dict__["address"])


def test_the_proxy_is_believed(behind: Service, caplog: pytest.LogCaptureFixture) -> None:
    assert address_told(behind, caplog, PROXY, ADDRESS) == CLIENT


def test_a_stranger_is_not(behind: Service, caplog: pytest.LogCaptureFixture) -> None:
    assert address_told(behind, caplog, STRANGER, ADDRESS) == STRANGER


def test_nobody_is_unless_told_so(app: Service, caplog: pytest.LogCaptureFixture) -> None:
    assert address_told(app, caplog, PROXY, ADDRESS) == PROXY
    assert address_told(app, caplog, "127.0.0.1", ADDRESS) == "127.0.0.1"


def test_what_the_client_made_up_before_the_proxy_added_its_word_does_not_count(
    behind: Service, caplog: pytest.LogCaptureFixture
) -> None:
    headers = {"X-Forwarded-For": f"10.0.0.1, 127.0.0.1, {CLIENT}"}
    assert address_told(behind, caplog, PROXY, headers) == CLIENT


def test_a_proxy_that_says_nothing_is_the_caller(behind: Service, caplog: pytest.LogCaptureFixture) -> None:
    assert address_told(behind, caplog, PROXY, {}) == PROXY


@pytest.mark.parametrize(("remote", "scheme"), [(PROXY, "https"), (STRANGER, "http")])
def test_the_scheme_is_believed_likewise(remote: str, scheme: str) -> None:
    seen = {}
    BehindProxy(lambda environ, _: seen.update(environ) or [], PROXY)(
        {"REMOTE_ADDR": remote, "wsgi.url_scheme": "http", "HTTP_X_FORWARDED_PROTO": "https"},
        lambda *_: lambda _: None,
    )
    assert seen["wsgi.url_scheme"] == scheme


def test_wrong_keys_count_for_the_client_and_not_for_the_proxy(app: Service, caller: MakeCaller) -> None:
    own = create_app(Config("sqlite://", trusted_proxy=PROXY, failures_per_minute=3), app.database)
    client = own.test_client()

    def knock(number: int, address: str) -> int:
        return client.get(
            "/v1/room",
            headers={"Authorization": f"Bearer wb_{number}", "X-Forwarded-For": address},
            environ_overrides={"REMOTE_ADDR": PROXY},
        ).status_code

    assert [knock(number, CLIENT) for number in range(4)] == [401, 401, 401, 429]
    assert knock(9, "203.0.113.6") == 401
    good = Caller(client, caller("viewer").secret)
    assert good.get("/v1/room").status_code == 200
