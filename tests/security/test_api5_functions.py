"""API5:2023 Broken function level authorization: what a role may do.

tests/web/test_access.py holds each role to its operations, over all of them, and that a documented operation wants a
key. Here: no way around that by another method, spelling, header or body.
"""

from __future__ import annotations

from typing import Any

import pytest
from contract_document import operations
from harness import Caller, MakeCaller

from weirbook.record.access import Role


def at(path: str, said: dict[str, Any]) -> str:
    for name, value in said["x-example"]["path"].items():
        path = path.replace(f"{{{name}}}", value)
    return path


def test_head_is_refused_where_get_is(caller: MakeCaller, furnished: Caller) -> None:
    sensor, viewer = caller("sensor", gauges=["nursery-temperature"]), caller("viewer")
    for method, path, said in operations():
        if method == "GET":
            for call in (sensor, viewer):
                refused = call.get(at(path, said)).status_code == 403
                assert (call("HEAD", at(path, said)).status_code == 403) == refused, path
            assert sensor("HEAD", at(path, said)).status_code == 403, path


@pytest.mark.parametrize(
    "header", ["X-HTTP-Method-Override", "X-HTTP-Method", "X-Method-Override", "X-Original-Method"]
)
def test_no_header_changes_the_method(caller: MakeCaller, furnished: Caller, header: str) -> None:
    viewer = caller("viewer")
    sent = {"Authorization": f"Bearer {viewer.secret}", header: "DELETE", "If-Match": "*"}
    assert viewer.client.get("/v1/tanks/nursery", headers=sent).status_code == 200
    assert viewer.client.get("/v1/tanks/nursery?_method=DELETE", headers=sent).status_code == 422
    assert furnished.get("/v1/tanks/nursery").get_json().get("retired_at") is None


@pytest.mark.parametrize("header", ["X-Original-URL", "X-Rewrite-URL", "X-Forwarded-Prefix"])
def test_no_header_changes_the_path(caller: MakeCaller, furnished: Caller, header: str) -> None:
    viewer = caller("viewer")
    sent = {"Authorization": f"Bearer {viewer.secret}", header: "/v1/keys"}
    assert "time_zone" in viewer.client.get("/v1/room", headers=sent).get_json()
    assert viewer.client.get("/v1/keys", headers={**sent, header: "/v1/room"}).status_code == 403


@pytest.mark.parametrize(
    "path",
    ["/V1/keys", "/v1/KEYS", "/v1/keys%20", "/v1/keys.json", "/v1;/keys", "/v1/./keys", "/v1/room/../keys"],
)
def test_no_other_spelling_of_a_path_opens(caller: MakeCaller, furnished: Caller, path: str) -> None:
    assert caller("viewer").get(path).status_code in (403, 404, 308)


@pytest.mark.parametrize("path", ["/v1/keys/", "//v1/keys", "/v1//keys", "/v1/%6beys"])
def test_the_same_path_written_otherwise_asks_the_same(
    caller: MakeCaller, furnished: Caller, path: str
) -> None:
    answered = caller("viewer").client.get(
        path, headers={"Authorization": f"Bearer {caller('viewer').secret}"}, follow_redirects=True
    )
    assert answered.status_code in (403, 404)


@pytest.mark.parametrize("role", [Role.HELPER, Role.VIEWER, Role.SENSOR])
def test_no_key_makes_itself_more(caller: MakeCaller, furnished: Caller, role: str) -> None:
    gauges = ["nursery-temperature"] if role == Role.SENSOR else []
    small = caller(role, name="Small", gauges=gauges)
    for method, path, body in (
        ("POST", "/v1/keys", {"name": "Big", "role": "keeper"}),
        ("PATCH", "/v1/keys/small", {"role": "keeper"}),
        ("PUT", "/v1/keys/small", {"role": "keeper"}),
        ("DELETE", "/v1/keys/keeper", None),
        ("PATCH", "/v1/room", {"name": "Mine"}),
    ):
        assert small(method, path, body, If_Match="*").status_code in (403, 405), path
    assert furnished.get("/v1/keys/small").get_json()["role"] == role
    assert len(furnished.get("/v1/keys").get_json()["items"]) == 2


def test_nobody_edits_a_key_and_not_even_a_keeper_gives_one_another_role(keeper: Caller) -> None:
    assert keeper.patch("/v1/keys/keeper", {"role": "viewer"}).status_code == 405
    assert keeper.post("/v1/keys", {"name": "X", "role": "owner"}).status_code == 422
    assert keeper.post("/v1/keys", {"name": "X", "role": ["keeper"]}).status_code == 422
