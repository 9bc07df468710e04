"""Nitrate and phosphate as predicted from the record: what comes in, what goes. Figures: nutrient_scenes.py."""

from __future__ import annotations

import math
from typing import Any

import pytest
from harness import Caller, MakeCaller, made, on_both_engines, pointers
from nutrient_scenes import DAILY, NITROGEN, NO3, answer, close, ends, nitrate
from water_scenes import change, feed, read, report, set_up_vat, stock_larder, stop_the_clock, water


@on_both_engines
def test_what_food_leaves_gathers_day_by_day(vat: Caller) -> None:
    """Six days to Sunday the 8th, then 13, 20 and, today included, 23; 30 % more or less is the band."""
    found = answer(vat)
    assert found["volume"] == {"value": 200, "unit": "L"}
    balance = found["nitrate"]
    assert [one["week"] for one in balance["weeks"]] == ["2026-W45", "2026-W46", "2026-W47", "2026-W48"]
    assert ends(balance) == [close(20 + days * DAILY) for days in (6, 13, 20, 23)]
    assert ends(balance, "predicted_low") == [close(20 + days * DAILY * 0.7) for days in (6, 13, 20, 23)]
    assert ends(balance, "predicted_high") == [close(20 + days * DAILY * 1.3) for days in (6, 13, 20, 23)]
    assert [one["fed"]["value"] for one in balance["weeks"]] == [12, 14, 14, 6]
    assert balance["whole"]["made"] == {"value": close(23 * NITROGEN), "unit": "g"}
    assert balance["change"]["value"] == close(23 * NITROGEN)
    assert balance["start"]["measured"] == {"value": 20, "unit": "mg/L NO3"}
    assert (balance["fits"], found["phosphate"]) == (None, None)
    assert "no test of phosphate" in found["unknown"][0]
    assert found["missing"] == []


def test_its_working_ends_at_what_it_predicts(vat: Caller) -> None:
    """20 mg/L x 200 L x 0.2259 / 1000 = 0.9036 g of nitrogen at first; 23 x 0.08464 g come on top."""
    steps = answer(vat)["steps"]
    assert [one["gives"]["value"] for one in steps] == [
        close(20 * 0.2 / NO3),
        close(20 * 0.2 / NO3 + 23 * NITROGEN),
        close(20 + 23 * DAILY),
    ]


def test_phosphate_is_what_fish_do_not_keep_of_the_foods_phosphorus(vat: Caller) -> None:
    """2 g x 1.2 % x 70 % = 0.0168 g of P a day: 0.084 mg/L, as PO4 94.970 / 30.974 times as much.
    Fish keep half at most and a fifth at least."""
    read(vat, "2026-11-02", 0.5, "phosphate")
    balance = answer(vat)["phosphate"]
    daily = 0.084 * 94.970 / 30.974
    assert ends(balance)[0] == close(0.5 + 6 * daily)
    assert ends(balance, "predicted_low")[0] == close(0.5 + 6 * daily * 5 / 7)
    assert ends(balance, "predicted_high")[0] == close(0.5 + 6 * daily * 8 / 7)


def test_a_label_without_phosphorus_is_taken_for_that_of_dry_food_less_its_water(vat: Caller) -> None:
    """Food that is 92 % water holds 1.2 % x 8 / 92 of phosphorus."""
    made(vat, "feeds", {"name": "Daphnia", "protein": "4 %", "moisture": "92 %"})
    feed(vat, ("daphnia", "30 g"), since="2026-10-01")
    read(vat, "2026-11-02", 0.5, "phosphate")
    found = answer(vat)
    grams = 30 * 0.012 * 8 / 92 * 0.7
    assert found["phosphate"]["whole"]["made"]["value"] == close(23 * grams)
    assert found["nitrate"]["whole"]["made"]["value"] == close(23 * 30 * 0.04 * 0.092)
    assert any("daphnia holds 1.2 % phosphorus" in one["text"] for one in found["assumptions"])


@on_both_engines
def test_a_water_change_takes_its_share_and_brings_what_its_water_holds(vat: Caller) -> None:
    """50 of 200 L on the 9th: a quarter of 20 + 6 x 1.87336 goes, a quarter of the tap's 10 comes; then on."""
    water(vat, "tap", nitrate="10 mg/L NO3", phosphate="0 mg/L PO4")
    change(vat, "2026-11-09", "50 L", source="tap")
    balance = nitrate(vat)
    after = (20 + 6 * DAILY) * 0.75 + 10 * 0.25
    assert ends(balance)[:2] == [close(20 + 6 * DAILY), close(after + 7 * DAILY)]
    week = balance["weeks"][1]
    assert week["water_changed"] == {"value": 50, "unit": "L"}
    assert week["out_by_changes"]["value"] == close((20 + 6 * DAILY) * 0.05 / NO3)
    assert week["source_of_changes"]["value"] == close(0.5 / NO3)


def test_a_change_told_by_a_fallen_level_counts_by_the_tanks_area(vat: Caller) -> None:
    """10 cm over 0.5 m2 are 50 L; water without nitrate."""
    water(vat, "rain", "rain", nitrate="0 mg/L NO3", phosphate="0 mg/L PO4")
    drop = {"place": "tanks/vat", "changed_at": "2026-11-09T10:00:00Z", "level_drop": "10 cm"}
    made(vat, "water-changes", drop)
    assert ends(nitrate(vat))[1] == close((20 + 6 * DAILY) * 0.75 + 7 * DAILY)


def test_a_planned_change_counts_nowhere(vat: Caller) -> None:
    change(vat, "2026-11-09", "50 L", state="planned")
    assert ends(nitrate(vat))[1] == close(20 + 13 * DAILY)


def test_a_drip_thins_the_water_as_an_exponential(vat: Caller) -> None:
    """20 L a day into 200: a tenth a day, so 20 e^-0.6 + 18.7336 (1 - e^-0.6) after six days."""
    water(vat, "rain", "rain", nitrate="0 mg/L NO3", phosphate="0 mg/L PO4")
    drip = {"system": "pond", "kind": "drip", "flow": "20 L/d", "source": "rain"}
    made(vat, "standing-exchanges", {**drip, "valid_from": "2026-01-01T00:00:00Z"})
    end = {**drip, "flow": "0 L/d", "valid_from": "2026-11-09T00:00:00Z"}
    made(vat, "standing-exchanges", end)
    sixth = 20 * math.exp(-0.6) + DAILY / 0.1 * (1 - math.exp(-0.6))
    balance = nitrate(vat)
    assert ends(balance)[:2] == [close(sixth), close(sixth + 7 * DAILY)]
    assert balance["weeks"][0]["water_changed"]["value"] == close(120)


def test_a_top_off_brings_what_its_water_holds_and_lets_nothing_out(vat: Caller) -> None:
    """10 L a day of 10 mg/L are 100 mg in 200 L: half a mg/L a day."""
    water(vat, "tap", nitrate="10 mg/L NO3", phosphate="0 mg/L PO4")
    top_off = {"system": "pond", "kind": "top_off", "flow": "10 L/d", "source": "tap"}
    made(vat, "standing-exchanges", {**top_off, "valid_from": "2026-01-01T00:00:00Z"})
    balance = nitrate(vat)
    assert ends(balance)[0] == close(20 + 6 * (DAILY + 0.5))
    assert balance["weeks"][0]["water_changed"]["value"] == 0


def test_the_source_water_counts_as_it_was_reported_at_the_time(vat: Caller) -> None:
    """From the 12th, whose noon lies after the report, the tap brings 20 mg/L: three days at 0.5, four at 1."""
    water(vat, "tap", nitrate="10 mg/L NO3", phosphate="0 mg/L PO4")
    report(vat, "tap", "2026-11-12", nitrate="20 mg/L NO3")
    top_off = {"system": "pond", "kind": "top_off", "flow": "10 L/d", "source": "tap"}
    made(vat, "standing-exchanges", {**top_off, "valid_from": "2026-01-01T00:00:00Z"})
    assert nitrate(vat)["weeks"][1]["source_of_top_off"]["value"] == close((3 * 0.1 + 4 * 0.2) / NO3)


@on_both_engines
def test_doses_count_by_moles_as_compound_as_stock_and_by_the_label(vat: Caller) -> None:
    """2 g KNO3 (101.102 g/mol, 62.004 of it nitrate) are 1.2266 g NO3; 20 mL of 100 g/L the same; 40 mL of drops that
    raise 5 mg/L in 100 L for each 10 mL are 2 g NO3; 1 g of powder that raises 1 mg/L NH3-N in 100 L is 0.1 g N."""
    when = {"place": "systems/pond", "dosed_at": "2026-11-04T20:00:00Z"}
    drops = {
        "effects": [{"parameter": "nitrate", "effect": "5 mg/L NO3"}],
        "volume": "10 mL",
        "treats": "100 L",
    }
    made(vat, "products", {"name": "Drops", **drops})
    salt = {
        "effects": [{"parameter": "total_ammonia", "effect": "1 mg/L NH3-N"}],
        "mass": "1 g",
        "treats": "100 L",
    }
    made(vat, "products", {"name": "Powder", **salt})
    dosed = 0.0
    for dose, grams in (
        ({"compound": "potassium_nitrate", "mass": "2 g"}, 2 * 62.004 / 101.102 / NO3),
        ({"compound": "potassium_nitrate", "volume": "20 mL", "strength": "100 g/L"}, 2 * 62.004 / 101.102 / NO3),
        ({"product": "drops", "volume": "40 mL"}, 2 / NO3),
        ({"product": "powder", "mass": "1 g"}, 0.1),
        ({"compound": "sodium_bicarbonate", "mass": "5 g"}, 0.0),
    ):  # fmt: skip
        made(vat, "doses", {**when, **dose})
        dosed += grams
        balance = nitrate(vat)
        assert balance["weeks"][0]["dosed"]["value"] == close(dosed), dose
    assert ends(balance)[0] == close(20 + 6 * DAILY + dosed * NO3 / 0.2)


def test_a_dose_of_phosphate_counts_as_phosphorus(vat: Caller) -> None:
    """1 g KH2PO4 (136.084 g/mol) holds 30.974 / 136.084 of phosphorus."""
    read(vat, "2026-11-02", 0.5, "phosphate")
    dose = {"compound": "monopotassium_phosphate", "mass": "1 g", "dosed_at": "2026-11-04T20:00:00Z"}
    made(vat, "doses", {"place": "tanks/vat", **dose})
    found = answer(vat)
    assert found["phosphate"]["whole"]["dosed"]["value"] == close(30.974 / 136.084)
    assert found["nitrate"]["whole"]["dosed"]["value"] == 0


def test_a_product_whose_label_is_not_told_or_counts_otherwise_than_the_dose_is_missing(vat: Caller) -> None:
    made(vat, "products", {"name": "Old bottle"})
    made(vat, "doses", {"place": "systems/pond", "product": "old-bottle", "mass": "3 g"})
    assert any("a dose of old-bottle raises" in one for one in answer(vat)["missing"])
    label = {
        "effects": [{"parameter": "nitrate", "effect": "5 mg/L NO3"}],
        "volume": "10 mL",
        "treats": "100 L",
    }
    assert vat.patch("/v1/products/old-bottle", label).status_code == 200
    assert any("a dose of old-bottle raises" in one for one in answer(vat)["missing"])


def grow(keeper: Caller, **said: Any) -> None:
    """A tray whose first 40 x 25 cm are planted: 0.1 m2, 10 cm deep: 10 L more."""
    tray = {"name": "Tray", "system": "pond", "length": "80 cm", "width": "25 cm", "height": "20 cm"}
    made(keeper, "sumps", tray)
    section = {"sump": "tray", "position": 1, "use": "planted-floating", "direction": "along"}
    made(keeper, "sections", {**section, "length": "40 cm", "running_depth": "10 cm", **said})


def test_plants_take_up_the_middle_of_what_is_published_and_widen_the_band(vat: Caller) -> None:
    """Floating plants, 0.0959 to 1.6027 g N/m2/d, middle sqrt(0.0959 x 1.6027); half of 0.1 m2; 210 L."""
    grow(vat, plant_coverage="50 %")
    week = nitrate(vat)["weeks"][0]
    middle = math.sqrt(0.0959 * 1.6027) * 0.05
    assert week["plants"]["value"] == close(6 * middle)
    for which, made_g, taken in (
        ("predicted", NITROGEN, middle),
        ("predicted_low", 0.7 * NITROGEN, 1.6027 * 0.05),
        ("predicted_high", 1.3 * NITROGEN, 0.0959 * 0.05),
    ):
        assert week[which]["value"] == close(20 + 6 * (made_g - taken) * NO3 / 0.21), which


def test_plants_without_a_cover_are_taken_to_cover_all_and_count_from_when_they_were_there(
    vat: Caller,
) -> None:
    """The section became planted at the noon of Thursday the 5th: that day and three more."""
    grow(vat, use="settling")
    planted = {"use": "planted-rooted", "effective_at": "2026-11-05T12:00:00Z"}
    assert vat.patch("/v1/sections/tray-settling-1", planted).status_code == 200
    found = answer(vat)
    middle = math.sqrt(0.0342 * 0.7205) * 0.1
    assert found["nitrate"]["weeks"][0]["plants"]["value"] == close(4 * middle)
    assert any("cover all of tray-settling-1" in one["text"] for one in found["assumptions"])


def test_plants_can_not_take_more_than_there_is(vat: Caller) -> None:
    grow(vat)
    feed(vat, since="2026-10-01")
    read(vat, "2026-11-02", 0.4, at="13:00")
    balance = nitrate(vat)
    assert ends(balance, "predicted_low")[0] == 0 and ends(balance)[-1] == 0
    assert balance["whole"]["plants"]["value"] == close(0.4 * 0.21 / NO3)


def test_solids_and_denitrification_count_as_they_are_asked(vat: Caller) -> None:
    balance = nitrate(vat, "?solids_removed=25 %25&denitrification=20 mg/d")
    assert ends(balance)[0] == close(20 + 6 * (0.75 * NITROGEN - 0.02) * NO3 / 0.2)
    assert balance["weeks"][0]["out_in_solids"]["value"] == close(6 * 0.25 * NITROGEN)
    assert balance["weeks"][0]["denitrified"]["value"] == close(0.12)


def test_a_feeding_counts_on_top_or_in_place_of_the_days_ration(vat: Caller) -> None:
    """Wednesday 3 g on top, Thursday nothing, Friday twice 1.5 g instead: 12 + 3 - 2 + 1 = 14 g to Sunday."""
    for day, said in (
        ("04", {"feed": "granules", "amount": "3 g"}),
        ("05", {"instead": True}),
        ("06", {"feed": "granules", "amount": "1.5 g", "instead": True}),
        ("06", {"feed": "granules", "amount": "1.5 g", "instead": True}),
    ):
        made(vat, "feedings", {"tank": "vat", "fed_at": f"2026-11-{day}T23:30:00Z", **said})
    week = nitrate(vat)["weeks"][0]
    assert week["fed"]["value"] == close(14)
    assert week["predicted"]["value"] == close(20 + 7 * DAILY)


def test_a_change_of_more_water_than_the_system_now_holds_is_all_of_it(vat: Caller) -> None:
    water(vat, "rain", "rain", nitrate="0 mg/L NO3", phosphate="0 mg/L PO4")
    assert vat.patch("/v1/tanks/vat", {"water_depth": "180 cm"}).status_code == 200
    change(vat, "2026-11-09", "900 L", place="systems/pond", source="rain")
    assert vat.patch("/v1/tanks/vat", {"water_depth": "40 cm"}).status_code == 200
    found = answer(vat)
    assert ends(found["nitrate"])[1] == close(7 * DAILY)
    assert any("change of 2026-11-09 was of more water" in one["text"] for one in found["assumptions"])


def test_what_the_record_lacks_is_told_and_counted_as_none(vat: Caller) -> None:
    made(vat, "feeds", {"name": "Scraps"})
    feed(vat, ("scraps", "1 g"), since="2026-11-10")
    change(vat, "2026-11-12", "20 L")
    assert answer(vat)["missing"] == [
        "which water the system is filled from",
        "the protein of the feed scraps",
    ]
    water(vat, "tap", phosphate="0 mg/L PO4")
    assert answer(vat)["missing"] == ["the nitrate of the water tap", "the protein of the feed scraps"]


def test_a_tank_nobody_tells_the_food_of_is_missing(vat: Caller) -> None:
    shape = {"shape": "rectangle", "length": "50 cm", "width": "50 cm"}
    fry = {"name": "Fry", "system": "pond", "use": "grow-out", "footprint": shape, "water_depth": "40 cm"}
    made(vat, "tanks", fry)
    assert any(one.startswith("what fry was fed") for one in answer(vat)["missing"])
    feed(vat, since="2026-01-01", tank="fry")
    found = answer(vat)
    assert (found["missing"], found["volume"]["value"]) == ([], 300)


def test_what_was_not_told_of_days_before_the_first_test_is_not_missing(vat: Caller) -> None:
    """Nitrate is followed from 3 November on, the day after its first test."""
    shape = {"shape": "rectangle", "length": "50 cm", "width": "50 cm"}
    fry = {"name": "Fry", "system": "pond", "use": "grow-out", "footprint": shape, "water_depth": "40 cm"}
    made(vat, "tanks", fry)
    feed(vat, since="2026-11-04", tank="fry")
    assert any(one.startswith("what fry was fed") for one in answer(vat)["missing"])
    feed(vat, since="2026-11-03", tank="fry")
    assert answer(vat)["missing"] == []
    read(vat, "2026-10-05", 1, parameter="phosphate")
    assert any(one.startswith("what fry was fed") for one in answer(vat)["missing"])


def test_without_any_ration_nothing_is_predicted(furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    stop_the_clock(monkeypatch)
    set_up_vat(furnished)
    refused = furnished.get("/v1/systems/pond/nutrients")
    assert refused.status_code == 422 and refused.get_json()["type"].endswith("not-recorded")
    assert "no ration of vat" in refused.get_json()["detail"]


def test_without_a_volume_or_a_tank_nothing_is_predicted(vat: Caller) -> None:
    made(vat, "systems", {"name": "Empty"})
    refused = vat.get("/v1/systems/empty/nutrients")
    assert refused.status_code == 422 and "has no tank" in refused.get_json()["detail"]
    grow(vat, running_depth=None)
    refused = vat.get("/v1/systems/pond/nutrients")
    assert refused.get_json()["type"].endswith("not-recorded")
    assert "tray-planted-floating-1" in refused.get_json()["detail"]
    assert vat.get("/v1/systems/none/nutrients").status_code == 404


def test_a_week_in_which_clocks_change_has_seven_days(
    furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lisbon's clocks went back on Sunday 25 October: a change at 23:30 UTC on the 24th was already Sunday's."""
    stop_the_clock(monkeypatch)
    set_up_vat(furnished)
    stock_larder(furnished)
    feed(furnished, ("granules", "2 g"))
    water(furnished, "rain", "rain", nitrate="0 mg/L NO3", phosphate="0 mg/L PO4")
    read(furnished, "2026-10-18", 20)
    change(furnished, "2026-10-24", "100 L", at="23:30", source="rain")
    week = nitrate(furnished)["weeks"][0]
    assert (week["from"], week["to"], week["fed"]["value"]) == ("2026-10-19", "2026-10-25", 14)
    assert week["predicted"]["value"] == close((20 + 6 * DAILY) / 2 + DAILY)


def test_results_are_told_in_the_rooms_units(vat: Caller) -> None:
    units = {"preferred_units": {"nitrate": "mg/L NO3-N", "volume": "gal"}}
    assert vat.patch("/v1/room", units).status_code == 200
    read(vat, "2026-11-08", 40)
    found = answer(vat)
    week = found["nitrate"]["weeks"][0]
    assert found["volume"] == {"value": close(200 / 3.785411784), "unit": "gal"}
    assert week["predicted"] == {"value": close((20 + 6 * DAILY) / NO3), "unit": "mg/L NO3-N"}
    assert "9.04 mg/L NO3-N" in found["nitrate"]["suggests"]


def test_a_sheet_has_a_line_for_each_week_and_parameter(vat: Caller) -> None:
    read(vat, "2026-11-02", 0.5, "phosphate")
    read(vat, "2026-11-08", "<35")
    text = vat.get("/v1/systems/pond/nutrients?format=csv").get_data(as_text=True)
    header, *lines = text.lstrip("\ufeff").splitlines()
    rows = [dict(zip(header.split(","), line.split(","), strict=True)) for line in lines]
    assert [(one["parameter"], one["week"]) for one in rows[:1] + rows[4:5]] == [
        ("nitrate", "2026-W45"),
        ("phosphate", "2026-W45"),
    ]
    assert len(rows) == 8
    assert float(rows[0]["predicted"]) == close(20 + 6 * DAILY)
    assert (rows[0]["predicted_unit"], rows[0]["qualifier"], rows[0]["unexplained"]) == (
        "mg/L NO3",
        "below",
        "",
    )


def test_a_query_that_can_not_be_is_refused_at_its_word(vat: Caller) -> None:
    for query, pointer in (
        ("weeks=0", "/weeks"),
        ("weeks=105", "/weeks"),
        ("weeks=many", "/weeks"),
        ("weeks=1.5", "/weeks"),
        ("solids_removed=100 %25", "/solids_removed"),
        ("solids_removed=-1 %25", "/solids_removed"),
        ("solids_removed=0.5", "/solids_removed"),
        ("denitrification=-1 g/d", "/denitrification"),
        ("denitrification=1 g", "/denitrification"),
        ("colour=red", "/colour"),
    ):
        assert pointers(vat.get(f"/v1/systems/pond/nutrients?{query}")) == [pointer], query
    for weeks in (1, 104):
        assert vat.get(f"/v1/systems/pond/nutrients?weeks={weeks}").status_code == 200


def test_a_viewer_and_a_helper_read_it_and_a_sensor_does_not(vat: Caller, caller: MakeCaller) -> None:
    path = "/v1/systems/pond/nutrients"
    assert caller("viewer").get(path).status_code == 200
    assert caller("helper").get(path).status_code == 200
    assert caller("sensor", gauges=["nursery-temperature"]).get(path).status_code == 403
    assert caller(None).get(path).status_code == 401


def test_a_balance_closes_to_what_it_shows(vat: Caller) -> None:
    """What came in less what left is the change, for the whole and for the sum of the weeks."""
    water(vat, "tap", nitrate="10 mg/L NO3", phosphate="0.3 mg/L PO4")
    change(vat, "2026-11-09", "50 L", source="tap")
    change(vat, "2026-11-18", "80 L")
    grow(vat, plant_coverage="80 %")
    drip = {"system": "pond", "kind": "drip", "flow": "4 L/d", "source": "tap"}
    made(vat, "standing-exchanges", {**drip, "valid_from": "2026-11-12T00:00:00Z"})
    read(vat, "2026-11-02", 0.5, "phosphate")
    found = answer(vat, "?solids_removed=20 %25&denitrification=10 mg/d")
    for balance in (found["nitrate"], found["phosphate"]):
        terms = {name: one["value"] for name, one in balance["whole"].items()}
        came = sum(terms[name] for name in list(terms)[:5])
        assert came - sum(terms[name] for name in list(terms)[5:]) == pytest.approx(
            balance["change"]["value"], abs=1e-5
        )
        for name, value in terms.items():
            assert sum(one[name]["value"] for one in balance["weeks"]) == pytest.approx(value, abs=1e-5), name
