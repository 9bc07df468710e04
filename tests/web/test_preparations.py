"""Prepared waters: shares of others that make a whole, salts added, and what follows from them. Worked by hand."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, made, on_both_engines, pointers
from water_scenes import value_at

from weirbook.app import Service

MIX: dict[str, Any] = {
    "water": "soft-mix",
    "valid_from": "2026-03-01T09:00:00Z",
    "store": "nursery",
    "volume": "100 L",
    "blend": [{"source": "rain", "share": "75 %"}, {"source": "tap", "share": "25 %"}],
}


def report(keeper: Caller, water: str, day: str = "2026-02-01", **values: str) -> None:
    told = [{"parameter": name, "value": value} for name, value in values.items()]
    made(keeper, "water-reports", {"source": water, "sampled_at": f"{day}T09:00:00Z", "values": told})


@pytest.fixture
def waters(furnished: Caller) -> Caller:
    """Tap: 8 dGH, 5 dKH, 12 mg/L NO3, pH 7.6. Rain: 0.4 dGH, 0 dKH, 2 mg/L NO3."""
    for name, kind in (("Tap", "tap"), ("Rain", "rain"), ("Soft mix", "prepared"), ("Killi mix", "prepared")):
        made(furnished, "source-waters", {"name": name, "kind": kind})
    report(furnished, "tap", hardness="8 dGH", alkalinity="5 dKH", nitrate="12 mg/L NO3", ph="7.6 pH",
           conductivity="330 uS/cm")  # fmt: skip
    report(furnished, "rain", hardness="0.4 dGH", alkalinity="0 dKH", nitrate="2 mg/L NO3", ph="6 pH",
           conductivity="10 uS/cm")  # fmt: skip
    return furnished


def figure(text: str) -> float:
    return float(text.split(" ")[0])


def test_a_blend_that_can_not_be_is_refused_at_the_fault(waters: Caller) -> None:
    def of(*parts: tuple[str, Any]) -> dict[str, Any]:
        return {"blend": [{"source": source, "share": share} for source, share in parts]}

    for change, at in (
        (of(("rain", "75 %"), ("tap", "20 %")), ["/blend"]),
        (of(("rain", "75 %"), ("tap", "30 %")), ["/blend"]),
        (of(("rain", 75), ("tap", "25 %")), ["/blend/0/share"]),
        (of(("rain", "100 %"), ("tap", "0 %")), ["/blend/1/share"]),
        (of(("rain", "50 %"), ("rain", "50 %")), ["/blend/1/source"]),
        (of(("sea", "50 %"), ("moon", "50 %")), ["/blend/0/source", "/blend/1/source"]),
        (of(("soft-mix", "50 %"), ("tap", "50 %")), ["/blend/0/source"]),
        (of(), ["/blend"]),
        ({"water": "tap"}, ["/water", "/blend/1/source"]),
        ({"water": "none"}, ["/water"]),
        ({"store": "none"}, ["/store"]),
        ({"volume": "0 L"}, ["/volume"]),
        ({"adds": [{"compound": "unobtainium", "amount": "1 g/L"}]}, ["/adds/0/compound"]),
        ({"adds": [{"compound": "sodium_chloride", "amount": "1 g"}]}, ["/adds/0/amount"]),
    ):
        assert pointers(waters.post("/v1/preparations", {**MIX, **change})) == at, change
    assert waters.get("/v1/preparations").get_json()["items"] == []


def test_shares_of_thirds_are_a_whole(waters: Caller) -> None:
    made(waters, "source-waters", {"name": "Well", "kind": "well"})
    thirds = [{"source": one, "share": "33.33334 %"} for one in ("tap", "rain")]
    made(waters, "preparations", {**MIX, "blend": [*thirds, {"source": "well", "share": "0.3333333 1"}]})


@on_both_engines
def test_what_is_counted_blends_by_share(waters: Caller, app: Service, room_id: int) -> None:
    """0.75 x 0.4 + 0.25 x 8 = 2.3 dGH; 0.25 x 5 = 1.25 dKH; 0.75 x 2 + 0.25 x 12 = 4.5 mg/L; 90 uS/cm."""
    made(waters, "preparations", MIX)
    found = {one: value_at(app, room_id, "2026-04-01", one, "soft-mix") for one in
             ("hardness", "alkalinity", "nitrate", "conductivity")}  # fmt: skip
    assert figure(found["hardness"]) == pytest.approx(2.3)
    assert figure(found["alkalinity"]) == pytest.approx(1.25)
    assert figure(found["nitrate"]) == pytest.approx(4.5)
    assert figure(found["conductivity"]) == pytest.approx(0.75 * 10 + 0.25 * 330)
    assert found["nitrate"].endswith("water soft-mix: rain 75 %, tap 25 %")


def test_ph_and_what_a_part_was_never_tested_for_follow_from_nothing(
    waters: Caller, app: Service, room_id: int
) -> None:
    made(waters, "preparations", MIX)
    assert "does not follow from its parts: test it" in value_at(app, room_id, "2026-04-01", "ph", "soft-mix")
    told = value_at(app, room_id, "2026-04-01", "phosphate", "soft-mix")
    assert told == "soft-mix is a blend. No water report of rain tells its phosphate."
    report(waters, "soft-mix", "2026-03-02", ph="6.8 pH")
    assert value_at(app, room_id, "2026-04-01", "ph", "soft-mix").startswith("6.8 pH")


def test_a_test_after_the_last_preparation_beats_the_sum_of_its_parts_and_one_before_does_not(
    waters: Caller, app: Service, room_id: int
) -> None:
    report(waters, "soft-mix", "2026-02-20", nitrate="30 mg/L NO3")
    made(waters, "preparations", MIX)
    assert figure(value_at(app, room_id, "2026-04-01", "nitrate", "soft-mix")) == pytest.approx(4.5)
    report(waters, "soft-mix", "2026-03-05", nitrate="5 mg/L NO3")
    assert figure(value_at(app, room_id, "2026-04-01", "nitrate", "soft-mix")) == 5
    halves = [{"source": "rain", "share": "50 %"}, {"source": "tap", "share": "50 %"}]
    made(waters, "preparations", {**MIX, "valid_from": "2026-05-01T00:00:00Z", "blend": halves})
    assert figure(value_at(app, room_id, "2026-06-01", "nitrate", "soft-mix")) == pytest.approx(7)


def test_salts_raise_hardness_and_alkalinity_by_their_moles(
    waters: Caller, app: Service, room_id: int
) -> None:
    """0.1 g/L of CaCl2.2H2O (147.01 g/mol) is 0.6802 mmol/L of Ca: 3.815 dGH at 0.17832 mmol/L a degree.
    0.05 g/L of NaHCO3 (84.007 g/mol) is 0.5952 meq/L: 1.669 dKH at 0.35664 meq/L a degree.
    Calcium: 0.6802 x 40.078 = 27.26 mg/L on top of nothing known, so it stays unknown."""
    salts = [
        {"compound": "calcium_chloride_dihydrate", "amount": "100 mg/L"},
        {"compound": "sodium_bicarbonate", "amount": "0.05 g/L"},
    ]
    made(waters, "preparations", {**MIX, "adds": salts})
    hardness = value_at(app, room_id, "2026-04-01", "hardness", "soft-mix")
    assert figure(hardness) == pytest.approx(2.3 + 3.815, abs=0.001)
    assert hardness.endswith("calcium_chloride_dihydrate 100 mg/L, sodium_bicarbonate 0.05 g/L")
    alkalinity = value_at(app, room_id, "2026-04-01", "alkalinity", "soft-mix")
    assert figure(alkalinity) == pytest.approx(1.25 + 1.669, abs=0.001)
    assert "measure its conductivity" in value_at(app, room_id, "2026-04-01", "conductivity", "soft-mix")
    assert "tells its calcium" in value_at(app, room_id, "2026-04-01", "calcium", "soft-mix")
    report(waters, "tap", calcium="40 mg/L")
    report(waters, "rain", calcium="0 mg/L")
    calcium = value_at(app, room_id, "2026-04-01", "calcium", "soft-mix")
    assert figure(calcium) == pytest.approx(10 + 27.26, abs=0.01)


def test_a_blend_of_a_blend_is_worked_out(waters: Caller, app: Service, room_id: int) -> None:
    """Half of 4.5 mg/L and half of rain's 2: 3.25 mg/L."""
    made(waters, "preparations", MIX)
    halves = [{"source": "soft-mix", "share": "50 %"}, {"source": "rain", "share": "50 %"}]
    made(waters, "preparations", {**MIX, "water": "killi-mix", "blend": halves})
    assert figure(value_at(app, room_id, "2026-04-01", "nitrate", "killi-mix")) == pytest.approx(3.25)


def test_waters_made_of_each_other_are_told_not_followed_for_ever(
    waters: Caller, app: Service, room_id: int
) -> None:
    for water, other in (("soft-mix", "killi-mix"), ("killi-mix", "soft-mix")):
        halves = [{"source": other, "share": "50 %"}, {"source": "rain", "share": "50 %"}]
        made(waters, "preparations", {**MIX, "water": water, "blend": halves})
    assert "is made of itself" in value_at(app, room_id, "2026-04-01", "nitrate", "soft-mix")


@on_both_engines
def test_a_water_that_others_are_made_of_is_not_deleted(waters: Caller) -> None:
    made(waters, "source-waters", {"name": "Well", "kind": "well"})
    first = made(waters, "preparations", {**MIX, "blend": [{"source": "well", "share": "100 %"}]})
    refused = waters.delete("/v1/source-waters/well")
    assert refused.status_code == 409 and "1 preparation hang" in refused.get_json()["detail"]
    waters.delete(f"/v1/preparations/{first['id']}")
    assert waters.delete("/v1/source-waters/well").status_code == 204


def test_a_preparation_keeps_a_water_retired_since_and_takes_no_new_one_that_is(waters: Caller) -> None:
    first = made(waters, "preparations", MIX)
    waters.patch("/v1/source-waters/rain", {"retired_at": "2026-05-01T00:00:00Z"})
    assert waters.patch(f"/v1/preparations/{first['id']}", {"notes": "Stirred."}).status_code == 200
    refused = waters.post("/v1/preparations", {**MIX, "valid_from": "2026-06-01T00:00:00Z"})
    assert pointers(refused) == ["/blend/0/source"]


@on_both_engines
def test_a_water_is_made_one_way_from_an_instant_on(waters: Caller) -> None:
    first = made(waters, "preparations", MIX)
    assert waters.post("/v1/preparations", MIX).status_code == 409
    moved = {"valid_from": "2026-03-02T00:00:00Z"}
    assert pointers(waters.patch(f"/v1/preparations/{first['id']}", moved)) == ["/valid_from"]
    assert len(waters.get("/v1/preparations?water=soft-mix").get_json()["items"]) == 1
    assert waters.get("/v1/preparations?water=killi-mix").get_json()["items"] == []
