"""Helpers: people who share the routine, named in tasks and completions."""

from __future__ import annotations

from harness import Caller, MakeCaller, on_both_engines

ONCE = {"kind": "once", "due": "2026-11-20T10:00"}


def make_task(keeper: Caller, helper: str) -> str:
    body = {"title": "x", "helper": helper, "schedule": ONCE, "effective_at": "2026-11-19T00:00:00Z"}
    made = keeper.post("/v1/tasks", body)
    assert made.status_code == 201, made.get_data(as_text=True)
    return f"/v1/tasks/{made.get_json()['id']}"


@on_both_engines
def test_a_helper_has_a_handle_of_its_own_and_may_be_renamed(keeper: Caller) -> None:
    handles = [keeper.post("/v1/helpers", {"name": "Ana"}).get_json()["handle"] for _ in range(2)]
    assert handles == ["ana", "ana-2"]
    assert keeper.post("/v1/helpers", {"name": "Other", "handle": "ana"}).status_code == 409
    renamed = keeper.patch("/v1/helpers/ana", {"name": "Ana Maria"}, if_match='"1"').get_json()
    assert (renamed["name"], renamed["handle"], renamed["version"]) == ("Ana Maria", "ana", 2)


def test_all_who_read_see_helpers(keeper: Caller, caller: MakeCaller) -> None:
    keeper.post("/v1/helpers", {"name": "Ana"})
    for role in ("helper", "viewer"):
        assert caller(role).get("/v1/helpers/ana").status_code == 200
    assert caller("helper").patch("/v1/helpers/ana", {"name": "x"}).status_code == 403


@on_both_engines
def test_one_who_has_left_gets_no_new_work_and_is_still_named_in_the_old(keeper: Caller) -> None:
    keeper.post("/v1/helpers", {"name": "Ana"})
    path = make_task(keeper, "ana")
    assert keeper.patch("/v1/helpers/ana", {"retired_at": "2026-11-21T00:00:00Z"}).status_code == 200
    refused = keeper.post("/v1/tasks", {"title": "x", "helper": "ana", "schedule": ONCE})
    assert refused.get_json()["errors"][0]["pointer"] == "/helper"
    assert keeper.patch(path, {"title": "Still hers"}).get_json()["helper"] == "ana"
    told = {"occurrence": ONCE["due"], "by": "ana", "done_at": "2026-11-20T11:00:00Z"}
    assert keeper.post(f"{path}/completions", told).get_json()["by"] == "ana"


@on_both_engines
def test_one_who_did_something_is_not_deleted(keeper: Caller) -> None:
    for name in ("Ana", "Bo"):
        keeper.post("/v1/helpers", {"name": name})
    path = make_task(keeper, "bo")
    keeper.post(f"{path}/completions", {"occurrence": ONCE["due"], "by": "ana"})
    refused = keeper.delete("/v1/helpers/ana")
    assert refused.status_code == 409
    assert "1 completion" in refused.get_json()["detail"]
