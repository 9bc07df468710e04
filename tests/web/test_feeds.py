"""Foods and their analysis: shares as printed, kept as entered, and held while anything names them."""

from __future__ import annotations

from harness import Caller, MakeCaller, made, on_both_engines, pointers

GRANULES = {"name": "Granules", "kind": "granule", "protein": "46 %", "fat": "9 %", "moisture": "8 %"}


@on_both_engines
def test_a_feed_is_shown_as_its_label_was_entered(furnished: Caller) -> None:
    feed = made(furnished, "feeds", {**GRANULES, "phosphorus": {"value": 0.011, "unit": "1"}})
    assert feed["handle"] == "granules"
    assert feed["protein"] == {"value": 46, "unit": "%"}
    assert feed["phosphorus"] == {"value": 0.011, "unit": "1"}
    assert furnished.get("/v1/feeds/granules").get_json() == feed


def test_a_feed_of_unsaid_kind_is_of_another_and_its_label_may_be_lost(furnished: Caller) -> None:
    feed = made(furnished, "feeds", {"name": "Old tin"})
    assert feed["kind"] == "other" and feed["protein"] is None


def test_a_label_that_can_not_be_is_refused_at_the_fault(furnished: Caller) -> None:
    for change, pointer in (
        ({"protein": 46}, "/protein"),
        ({"protein": "146 %"}, "/protein"),
        ({"protein": "-1 %"}, "/protein"),
        ({"protein": "46 g"}, "/protein"),
        ({"fat": "50 %"}, "/protein"),
        ({"kind": "porridge"}, "/kind"),
        ({"name": " "}, "/name"),
        ({"calories": "3"}, "/calories"),
    ):
        assert pointers(furnished.post("/v1/feeds", {**GRANULES, **change})) == [pointer], change
    assert furnished.get("/v1/feeds").get_json()["items"] == []


def test_a_label_may_come_to_the_whole_food_but_not_by_an_edit_to_more(furnished: Caller) -> None:
    made(furnished, "feeds", {**GRANULES, "fat": "46 %"})
    assert pointers(furnished.patch("/v1/feeds/granules", {"fat": "47 %"})) == ["/protein"]
    assert furnished.patch("/v1/feeds/granules", {"fat": None}).get_json()["fat"] is None


@on_both_engines
def test_a_feed_that_a_ration_names_is_not_deleted(furnished: Caller) -> None:
    made(furnished, "feeds", GRANULES)
    made(furnished, "feeds", {"name": "Granules of another sort"})
    ration = made(
        furnished,
        "rations",
        {
            "tank": "nursery",
            "valid_from": "2026-01-01T00:00:00Z",
            "feeds": [{"feed": "granules", "amount": "1 g"}],
        },
    )
    refused = furnished.delete("/v1/feeds/granules")
    assert refused.status_code == 409 and "1 ration hang" in refused.get_json()["detail"]
    assert furnished.delete("/v1/feeds/granules-of-another-sort").status_code == 204
    assert furnished.delete(f"/v1/rations/{ration['id']}").status_code == 204
    assert furnished.delete("/v1/feeds/granules").status_code == 204


@on_both_engines
def test_a_feed_that_was_fed_once_is_not_deleted(furnished: Caller) -> None:
    made(furnished, "feeds", GRANULES)
    made(furnished, "feedings", {"tank": "nursery", "feed": "granules", "amount": "1 g"})
    refused = furnished.delete("/v1/feeds/granules")
    assert refused.status_code == 409 and "1 feeding hang" in refused.get_json()["detail"]


def test_a_retired_feed_is_listed_apart_and_comes_back(furnished: Caller) -> None:
    made(furnished, "feeds", GRANULES)
    furnished.patch("/v1/feeds/granules", {"retired_at": "2026-01-01T00:00:00Z"})
    assert furnished.get("/v1/feeds").get_json()["items"] == []
    assert len(furnished.get("/v1/feeds?retired=true").get_json()["items"]) == 1
    assert furnished.patch("/v1/feeds/granules", {"retired_at": None}).status_code == 200


def test_helpers_read_feeds_and_only_the_keeper_makes_them(furnished: Caller, caller: MakeCaller) -> None:
    made(furnished, "feeds", GRANULES)
    helper = caller("helper")
    assert helper.get("/v1/feeds/granules").status_code == 200
    assert helper.post("/v1/feeds", GRANULES).status_code == 403
    assert caller("sensor", gauges=["nursery-temperature"]).get("/v1/feeds").status_code == 403


def test_a_sheet_of_feeds_has_the_unit_beside_each_share(furnished: Caller) -> None:
    made(furnished, "feeds", GRANULES)
    header, line = furnished.get("/v1/feeds?format=csv").get_data(as_text=True).splitlines()
    row = dict(zip(header.lstrip("\ufeff").split(","), line.split(","), strict=True))
    assert (row["protein"], row["protein_unit"], row["phosphorus"]) == ("46", "%", "")
