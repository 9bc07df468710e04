"""Rations: what a tank gets from a day on, which feeds it may name, and what of it stays as it was made."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, MakeCaller, made, on_both_engines, pointers

RATION: dict[str, Any] = {
    "tank": "nursery",
    "valid_from": "2026-06-01T08:00:00Z",
    "feeds": [{"feed": "granules", "amount": "2 g"}, {"feed": "daphnia", "amount": "6 g"}],
    "rotation": "in_turn",
    "fasting_days": ["sunday", "wednesday"],
}
ID = "01936c5e-8f00-7000-8000-00000000f00d"


@pytest.fixture
def larder(furnished: Caller) -> Caller:
    for name in ("Granules", "Daphnia", "Wafers"):
        made(furnished, "feeds", {"name": name, "protein": "40 %"})
    return furnished


@on_both_engines
def test_a_ration_is_shown_as_it_was_entered(larder: Caller) -> None:
    ration = made(larder, "rations", RATION)
    assert ration["feeds"][1] == {"feed": "daphnia", "amount": {"value": 6, "unit": "g"}}
    assert (ration["rotation"], ration["fasting_days"]) == ("in_turn", ["sunday", "wednesday"])
    assert larder.get(f"/v1/rations/{ration['id']}").get_json() == ration


def test_feeds_are_fed_together_every_day_unless_said(larder: Caller) -> None:
    ration = made(larder, "rations", {name: RATION[name] for name in ("tank", "valid_from", "feeds")})
    assert (ration["rotation"], ration["fasting_days"]) == ("together", None)


def test_a_ration_without_feeds_says_that_nothing_is_fed(larder: Caller) -> None:
    assert made(larder, "rations", {**RATION, "feeds": []})["feeds"] == []


def test_a_ration_that_can_not_be_is_refused_at_the_fault(larder: Caller) -> None:
    for change, pointer in (
        ({"feeds": [{"feed": "granules", "amount": "2 g"}, {"feed": "porridge", "amount": "1 g"}]}, "/feeds/1/feed"),
        ({"feeds": [{"feed": "granules", "amount": 2}]}, "/feeds/0/amount"),
        ({"feeds": [{"feed": "granules", "amount": "0 g"}]}, "/feeds/0/amount"),
        ({"feeds": [{"feed": "granules", "amount": "2 mL"}]}, "/feeds/0/amount"),
        ({"feeds": [{"feed": "granules", "amount": "11 kg"}]}, "/feeds/0/amount"),
        ({"feeds": [{"feed": "granules"}]}, "/feeds/0/amount"),
        ({"feeds": [{"amount": "2 g"}]}, "/feeds/0/feed"),
        ({"feeds": ["granules"]}, "/feeds/0"),
        ({"feeds": [{"feed": "granules", "amount": "1 g"}] * 21}, "/feeds"),
        ({"feeds": None}, "/feeds"),
        ({"fasting_days": ["sunday", "monday", "sunday"]}, "/fasting_days/2"),
        ({"fasting_days": ["Sunday"]}, "/fasting_days/0"),
        ({"fasting_days": ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]}, "/fasting_days"),
        ({"rotation": "at random"}, "/rotation"),
        ({"tank": "none"}, "/tank"),
        ({"valid_from": None}, "/valid_from"),
        ({"valid_from": "2026-06-01"}, "/valid_from"),
    ):  # fmt: skip
        refused = larder.post("/v1/rations", {**RATION, **change})
        assert pointers(refused) == [pointer], change
    assert larder.get("/v1/rations").get_json()["items"] == []


def test_every_feed_that_can_not_be_used_is_named(larder: Caller) -> None:
    larder.patch("/v1/feeds/wafers", {"retired_at": "2026-01-01T00:00:00Z"})
    feeds = [{"feed": one, "amount": "1 g"} for one in ("porridge", "granules", "wafers")]
    refused = larder.post("/v1/rations", {**RATION, "feeds": feeds})
    assert pointers(refused) == ["/feeds/0/feed", "/feeds/2/feed"]
    assert "retired" in refused.get_json()["errors"][1]["message"]


@on_both_engines
def test_a_ration_keeps_a_feed_that_was_retired_since_but_takes_no_other_one(larder: Caller) -> None:
    larder("PUT", f"/v1/rations/{ID}", RATION)
    for feed in ("daphnia", "wafers"):
        larder.patch(f"/v1/feeds/{feed}", {"retired_at": "2026-07-01T00:00:00Z"})
    assert larder("PUT", f"/v1/rations/{ID}", RATION).status_code == 200
    assert larder.patch(f"/v1/rations/{ID}", {"notes": "Till July."}).status_code == 200
    fewer = {"feeds": [{"feed": "daphnia", "amount": "3 g"}]}
    assert larder.patch(f"/v1/rations/{ID}", fewer).status_code == 200
    other = {"feeds": [{"feed": "daphnia", "amount": "3 g"}, {"feed": "wafers", "amount": "3 g"}]}
    assert pointers(larder.patch(f"/v1/rations/{ID}", other)) == ["/feeds/1/feed"]


@on_both_engines
def test_two_rations_of_a_tank_can_not_begin_at_one_instant(larder: Caller) -> None:
    made(larder, "rations", RATION)
    assert larder.post("/v1/rations", {**RATION, "feeds": []}).status_code == 409
    assert len(larder.get("/v1/rations").get_json()["items"]) == 1
    made(larder, "rations", {**RATION, "valid_from": "2026-06-01T08:00:00.001Z"})
    made(larder, "tanks", {
        "name": "Other", "system": "rill", "use": "display", "water_depth": "40 cm",
        "footprint": {"shape": "rectangle", "length": "60 cm", "width": "30 cm"},
    })  # fmt: skip
    made(larder, "rations", {**RATION, "tank": "other"})
    assert len(larder.get("/v1/rations?tank=nursery").get_json()["items"]) == 2
    assert pointers(larder.get("/v1/rations?tank=none")) == ["/tank"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [({"tank": "other"}, "/tank"), ({"valid_from": "2026-06-02T08:00:00Z"}, "/valid_from")],
)
def test_whose_ration_it_is_and_since_when_stays(
    larder: Caller, change: dict[str, str], pointer: str
) -> None:
    made(larder, "tanks", {
        "name": "Other", "system": "rill", "use": "display", "water_depth": "40 cm",
        "footprint": {"shape": "rectangle", "length": "60 cm", "width": "30 cm"},
    })  # fmt: skip
    ration = made(larder, "rations", RATION)
    assert pointers(larder.patch(f"/v1/rations/{ration['id']}", change)) == [pointer]


def test_feeds_are_replaced_whole_by_an_edit(larder: Caller) -> None:
    ration = made(larder, "rations", RATION)
    edited = larder.patch(
        f"/v1/rations/{ration['id']}", {"feeds": [{"feed": "wafers", "amount": "1 oz"}]}
    ).get_json()
    assert edited["feeds"] == [{"feed": "wafers", "amount": {"value": 1, "unit": "oz"}}]
    assert edited["version"] == 2 and edited["fasting_days"] == ["sunday", "wednesday"]


@on_both_engines
def test_a_put_is_safe_to_repeat_and_refuses_another_ration(larder: Caller) -> None:
    assert larder("PUT", f"/v1/rations/{ID}", RATION).status_code == 201
    assert larder("PUT", f"/v1/rations/{ID}", RATION).status_code == 200
    assert larder("PUT", f"/v1/rations/{ID}", {**RATION, "rotation": "together"}).status_code == 409


def test_a_tank_with_a_ration_is_not_deleted(larder: Caller) -> None:
    made(larder, "rations", RATION)
    larder.delete("/v1/pumps/rack-pump")
    refused = larder.delete("/v1/tanks/nursery")
    assert refused.status_code == 409 and "1 ration" in refused.get_json()["detail"]


def test_an_edited_ration_stands_in_the_log_of_changes(larder: Caller) -> None:
    here = larder.get("/v1/changes?since=now").get_json()["cursor"]
    ration = made(larder, "rations", RATION)
    larder.patch(f"/v1/rations/{ration['id']}", {"fasting_days": None})
    first, edited = larder.get(f"/v1/changes?since={here}").get_json()["items"]
    assert (first["what"], first["noun"], edited["what"]) == ("made", "ration", "changed")
    assert [one["field"] for one in edited["fields"]] == ["fasting_days"]


def test_rations_are_the_keepers_and_feedings_the_helpers_too(larder: Caller, caller: MakeCaller) -> None:
    helper = caller("helper")
    assert helper.post("/v1/rations", RATION).status_code == 403
    assert helper.get("/v1/rations").status_code == 200
    made(helper, "feedings", {"tank": "nursery", "feed": "granules", "amount": "1 g"})
