"""Editing: versions, merge-patch, retiring, deleting."""

from __future__ import annotations

import pytest
from harness import Caller, on_both_engines

TANK = "/v1/tanks/nursery"


@on_both_engines
def test_an_edit_raises_the_version_and_the_etag(furnished: Caller) -> None:
    first = furnished.get(TANK)
    assert first.headers["ETag"] == '"1"'
    edited = furnished.patch(TANK, {"water_depth": "19 in"}, if_match='"1"')
    assert edited.status_code == 200
    assert edited.headers["ETag"] == '"2"'
    assert edited.get_json()["version"] == 2
    assert edited.get_json()["water_depth"] == {"value": 19, "unit": "in"}


def test_an_edit_of_an_old_version_is_refused(furnished: Caller) -> None:
    furnished.patch(TANK, {"notes": "one"}, if_match='"1"')
    late = furnished.patch(TANK, {"notes": "two"}, if_match='"1"')
    assert late.status_code == 412
    assert '"2"' in late.get_json()["detail"]
    assert furnished.get(TANK).get_json()["notes"] == "one"


@pytest.mark.parametrize("method", ["PATCH", "DELETE"])
def test_an_edit_without_if_match_is_refused(furnished: Caller, method: str) -> None:
    assert furnished(method, TANK, {"notes": "x"}).status_code == 428


def test_an_edit_that_changes_nothing_keeps_the_version(furnished: Caller) -> None:
    same = furnished.patch(TANK, {"water_depth": "50 cm"})
    assert same.status_code == 200
    assert same.get_json()["version"] == 1


def test_an_unchanged_record_answers_304_with_its_etag(furnished: Caller) -> None:
    answered = furnished.get(TANK, If_None_Match='"1"')
    assert answered.status_code == 304
    assert answered.headers["ETag"] == '"1"'
    assert answered.get_data() == b""
    assert furnished.get(TANK, If_None_Match='"7"').status_code == 200


def test_absent_keeps_and_null_clears(furnished: Caller) -> None:
    furnished.patch(TANK, {"notes": "Fed twice."})
    kept = furnished.patch(TANK, {"substrate_depth": "2 cm"}).get_json()
    assert (kept["notes"], kept["substrate_depth"]) == ("Fed twice.", {"value": 2, "unit": "cm"})
    cleared = furnished.patch(TANK, {"notes": None}).get_json()
    assert (cleared["notes"], cleared["substrate_depth"]) == (None, {"value": 2, "unit": "cm"})


def test_what_is_needed_can_not_be_cleared(furnished: Caller) -> None:
    refused = furnished.patch(TANK, {"water_depth": None})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/water_depth"


def test_a_quantity_is_replaced_whole(furnished: Caller) -> None:
    """A new number never lands in an old unit."""
    refused = furnished.patch(TANK, {"water_depth": {"value": 20}})
    assert refused.status_code == 422
    assert furnished.get(TANK).get_json()["water_depth"] == {"value": 50, "unit": "cm"}


def test_a_footprint_is_replaced_whole(furnished: Caller) -> None:
    round_one = {"shape": "circle", "diameter": "80 cm"}
    edited = furnished.patch(TANK, {"footprint": round_one}).get_json()
    assert edited["footprint"] == {"shape": "circle", "diameter": {"value": 80, "unit": "cm"}}
    partly = furnished.patch(TANK, {"footprint": {"diameter": "70 cm"}})
    assert partly.status_code == 422
    assert partly.get_json()["errors"][0]["pointer"] == "/footprint/shape"


def test_an_overflow_is_merged_inside_and_its_drains_are_replaced_whole(furnished: Caller) -> None:
    overflow = {
        "edge_length": "30 cm",
        "crest_height": "45 cm",
        "drains": [{"kind": "siphon", "diameter": "26 mm"}],
    }
    furnished.patch(TANK, {"overflow": overflow})
    edited = furnished.patch(TANK, {"overflow": {"crest_height": "44 cm"}}).get_json()["overflow"]
    assert edited["edge_length"] == {"value": 30, "unit": "cm"}
    assert edited["crest_height"] == {"value": 44, "unit": "cm"}
    assert len(edited["drains"]) == 1
    two = [{"kind": "gravity", "diameter": "34 mm"}, {"kind": "standby", "diameter": "34 mm"}]
    edited = furnished.patch(TANK, {"overflow": {"drains": two}}).get_json()["overflow"]
    assert [drain["kind"] for drain in edited["drains"]] == ["gravity", "standby"]
    assert furnished.patch(TANK, {"overflow": None}).get_json()["overflow"] is None


@pytest.mark.parametrize(
    "field", ["handle", "version", "net_volume", "created_at", "room_id", "id", "colour"]
)
def test_what_is_not_the_keepers_to_set_is_refused(furnished: Caller, field: str) -> None:
    refused = furnished.patch(TANK, {field: "x"})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == f"/{field}"
    assert "Fields:" in refused.get_json()["errors"][0]["message"]


def test_the_whole_is_checked_after_a_patch(furnished: Caller) -> None:
    refused = furnished.patch(TANK, {"rim_height": "40 cm"})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/water_depth"


def test_a_merge_patch_may_call_itself_one(furnished: Caller) -> None:
    sent = furnished(
        "PATCH", TANK, '{"notes": "x"}', If_Match="*", Content_Type="application/merge-patch+json"
    )
    assert sent.status_code == 200


@on_both_engines
def test_what_has_records_is_not_deleted_and_says_what_hangs_on_it(furnished: Caller) -> None:
    furnished.post("/v1/journal", {"place": "tanks/nursery", "words": "Seen."})
    refused = furnished.delete(TANK)
    assert refused.status_code == 409
    problem = refused.get_json()
    assert problem["type"] == "urn:weirbook:problem:has-records"
    for hanging in ("1 gauge", "1 journal entry", "1 pump"):
        assert hanging in problem["detail"]
    assert furnished.get(TANK).status_code == 200


@on_both_engines
def test_what_nothing_hangs_on_is_deleted_with_its_own_past(furnished: Caller) -> None:
    furnished.patch("/v1/pumps/rack-pump", {"running": False})
    assert furnished.delete("/v1/pumps/rack-pump").status_code == 204
    assert furnished.get("/v1/pumps/rack-pump").status_code == 404


@on_both_engines
def test_a_retired_place_leaves_the_list_and_comes_back(furnished: Caller) -> None:
    retired = furnished.patch(TANK, {"retired_at": "2026-11-20T10:00:00Z"})
    assert retired.status_code == 200
    assert furnished.get("/v1/tanks").get_json()["items"] == []
    assert furnished.get("/v1/tanks?retired=true").get_json()["items"][0]["handle"] == "nursery"
    assert furnished.get(TANK).status_code == 200
    furnished.patch(TANK, {"retired_at": None})
    assert len(furnished.get("/v1/tanks").get_json()["items"]) == 1


def test_a_place_is_not_retired_ahead_of_now(furnished: Caller) -> None:
    assert furnished.patch(TANK, {"retired_at": "2126-11-20T10:00:00Z"}).status_code == 422


def test_a_retired_place_can_not_be_named_anew_but_its_parts_can_be_edited(furnished: Caller) -> None:
    furnished.patch("/v1/systems/rill", {"retired_at": "2026-11-20T10:00:00Z"})
    assert furnished.patch(TANK, {"notes": "Still here."}).status_code == 200
    refused = furnished.post(
        "/v1/sumps", {"name": "New", "system": "rill", "length": "1 m", "width": "1 m", "height": "1 m"}
    )
    assert refused.status_code == 422
    assert "retired" in refused.get_json()["errors"][0]["message"]
