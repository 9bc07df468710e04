"""What a system's record says for a calculator's inputs: food, sources, exchanges, plants, media. By hand."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, made
from water_scenes import NOW, change, facts_at, feed, report, set_up_vat, stock_larder, stop_the_clock, water

from weirbook.actions.fill_system import ROLES
from weirbook.actions.filling import Absent
from weirbook.app import Service
from weirbook.engine.units import Quantity

FRY = {
    "name": "Fry",
    "system": "pond",
    "use": "grow-out",
    "footprint": {"shape": "rectangle", "length": "50 cm", "width": "40 cm"},
    "water_depth": "40 cm",
}
"""A tank of 80 L and 0.2 m2."""


class Pond:
    """The vat's keeper, and what the record fills a role with."""

    def __init__(self, app: Service, room_id: int, keeper: Caller) -> None:
        self.app, self.room_id, self.keeper = app, room_id, keeper

    def found(self, role: str, at: str = NOW, system: str = "pond") -> Any:
        with facts_at(self.app, self.room_id, at, system) as facts:
            return ROLES[role](facts)

    def value(self, role: str, at: str = NOW) -> Any:
        """As text for a quantity, else as it is."""
        value = self.found(role, at).value
        return value.text() if isinstance(value, Quantity) else value

    def figure(self, role: str, at: str = NOW) -> float:
        return float(self.found(role, at).value.value)

    def why(self, role: str, at: str = NOW) -> str:
        found = self.found(role, at)
        assert isinstance(found, Absent), found
        return found.why


@pytest.fixture
def pond(app: Service, room_id: int, furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> Pond:
    stop_the_clock(monkeypatch)
    set_up_vat(furnished)
    stock_larder(furnished)
    return Pond(app, room_id, furnished)


def test_altitude_is_the_rooms(pond: Pond) -> None:
    assert "altitude is not recorded" in pond.why("altitude")
    pond.keeper.patch("/v1/room", {"altitude": "450 ft"})
    assert pond.value("altitude") == "450 ft"


def test_open_water_is_that_of_the_tanks_that_were_in_use(pond: Pond) -> None:
    """0.5 and 0.2 m2; before the fry tank came, and once it is retired, 0.5 alone."""
    made(pond.keeper, "tanks", {**FRY, "effective_at": "2026-11-01T00:00:00Z"})
    found = pond.found("water_surface")
    assert (found.value.text(), found.note) == ("0.7 m2", "tanks' open water (vat, fry), sumps not counted")
    assert pond.figure("water_surface", "2026-10-31T00:00:00Z") == pytest.approx(0.5)
    pond.keeper.patch("/v1/tanks/fry", {"retired_at": "2026-11-20T00:00:00Z"})
    assert pond.figure("water_surface") == pytest.approx(0.5)
    made(pond.keeper, "systems", {"name": "Empty"})
    assert pond.found("water_surface", system="empty") == Absent("The system has no tank.")


def test_daily_feed_is_the_mean_of_the_rations_in_force(pond: Pond) -> None:
    """2 g on six days of seven, then 3.5 g every second feed in turn: 12 / 7 + 3.5 / 2."""
    assert pond.why("daily_feed") == "No ration is recorded of any tank of pond."
    feed(pond.keeper, ("granules", "2 g"), since="2026-01-01", fasting_days=["sunday"])
    assert pond.figure("daily_feed") == pytest.approx(12 / 7)
    assert pond.found("daily_feed").value.unit == "g/d"
    made(pond.keeper, "tanks", FRY)
    assert "No ration is recorded of: fry" in pond.why("daily_feed")
    made(pond.keeper, "feeds", {"name": "Daphnia", "protein": "4 %", "phosphorus": "0.1 %"})
    feed(pond.keeper, ("granules", "1.5 g"), ("daphnia", "2 g"), tank="fry", rotation="in_turn")
    assert pond.figure("daily_feed") == pytest.approx(12 / 7 + 1.75)
    assert pond.found("daily_feed").note.endswith("daphnia, granules")
    assert pond.why("daily_feed", "2025-12-31T00:00:00Z") == "No ration is recorded of any tank of pond."


def test_a_single_feeding_does_not_move_the_daily_feed(pond: Pond) -> None:
    feed(pond.keeper, ("granules", "2 g"))
    single = {"tank": "vat", "feed": "granules", "amount": "30 g", "fed_at": "2026-11-25T08:00:00Z"}
    made(pond.keeper, "feedings", single)
    assert pond.figure("daily_feed") == pytest.approx(2)


def test_shares_of_the_food_count_each_feed_by_what_is_fed_of_it(pond: Pond) -> None:
    """2 g of 46 % and 10 g of 4 %: 1.32 / 12 = 11 %; of phosphorus (0.024 + 0.01) / 12 = 0.2833 %."""
    made(pond.keeper, "feeds", {"name": "Daphnia", "protein": "4 %", "phosphorus": "0.1 %"})
    feed(pond.keeper, ("granules", "2 g"), ("daphnia", "10 g"))
    assert pond.value("feed_protein") == "11 %"
    assert pond.figure("feed_phosphorus") == pytest.approx(100 * 0.034 / 12)
    pond.keeper.patch("/v1/feeds/daphnia", {"phosphorus": None})
    # Of the daphnia's dry matter, its label telling no moisture, as of dry food: (0.024 + 0.12) / 12.
    assert pond.figure("feed_phosphorus") == pytest.approx(1.2)
    assert "daphnia 1.2 % as of dry food" in pond.found("feed_phosphorus").note
    pond.keeper.patch("/v1/feeds/daphnia", {"moisture": "92 %"})
    assert pond.figure("feed_phosphorus") == pytest.approx(100 * (0.024 + 0.12 * 8 / 92) / 12)
    assert pond.figure("feed_moisture") == pytest.approx((2 * 8 + 10 * 92) / 12)
    feed(pond.keeper, since="2026-11-24")
    assert (pond.figure("daily_feed"), pond.why("feed_protein")) == (0, "Nothing is fed.")


def test_the_source_is_that_of_most_changes_then_of_an_exchange_then_the_only_one(pond: Pond) -> None:
    assert "Which water the system is filled from is not recorded" in pond.why("source.nitrate")
    water(pond.keeper, "tap", nitrate="10 mg/L NO3")
    assert pond.found("source.nitrate").note == "water tap, report of 2026-01-01; the only water of the room"
    assert pond.why("source.chlorine") == "No water report of tap tells its chlorine."
    water(pond.keeper, "rain", "rain", nitrate="1 mg/L NO3")
    assert "is not recorded" in pond.why("source.nitrate")
    top_off = {"system": "pond", "kind": "top_off", "flow": "3 L/d", "source": "rain"}
    made(pond.keeper, "standing-exchanges", {**top_off, "valid_from": "2026-06-01T00:00:00Z"})
    assert pond.value("source.nitrate") == "1 mg/L NO3"
    made(
        pond.keeper,
        "standing-exchanges",
        {**top_off, "kind": "drip", "source": "tap", "valid_from": "2026-06-01T00:00:00Z"},
    )
    assert pond.value("source.nitrate") == "10 mg/L NO3"
    change(pond.keeper, "2026-11-01", "20 L", source="rain")
    change(pond.keeper, "2026-11-02", "20 L")
    change(pond.keeper, "2026-11-24", "20 L", source="tap", state="planned")
    assert pond.found("source.nitrate").note.endswith("the water of 1 of its last 1 changes")
    assert pond.value("source.nitrate") == "1 mg/L NO3"
    change(pond.keeper, "2026-11-10", "20 L", source="tap")
    assert pond.value("source.nitrate") == "10 mg/L NO3"  # one of each: the newer
    change(pond.keeper, "2026-11-11", "20 L", source="rain")
    change(pond.keeper, "2026-11-12", "90 L", source="tap")
    change(pond.keeper, "2026-11-13", "20 L", source="rain")
    assert pond.found("source.nitrate").note.endswith("the water of 3 of its last 5 changes")


def test_a_source_is_told_as_it_was_at_the_instant_asked_of(pond: Pond) -> None:
    water(pond.keeper, "tap", nitrate="10 mg/L NO3")
    report(pond.keeper, "tap", "2026-11-20", nitrate="25 mg/L NO3")
    assert pond.value("source.nitrate", "2026-11-19T00:00:00Z") == "10 mg/L NO3"
    assert pond.value("source.nitrate") == "25 mg/L NO3"


def test_flows_are_those_that_run_at_the_instant(pond: Pond) -> None:
    water(pond.keeper, "tap")
    drip = {"system": "pond", "kind": "drip", "flow": "12 L/d", "source": "tap"}
    made(pond.keeper, "standing-exchanges", {**drip, "valid_from": "2026-06-01T00:00:00Z"})
    made(pond.keeper, "standing-exchanges", {**drip, "flow": "0 L/d", "valid_from": "2026-09-01T00:00:00Z"})
    assert pond.why("drip_flow", "2026-05-31T00:00:00Z") == "No drip is recorded."
    assert pond.value("drip_flow", "2026-06-01T00:00:00Z") == "12 L/d"
    assert pond.found("drip_flow", "2026-07-01T00:00:00Z").note == "standing drip of tap"
    assert pond.why("drip_flow") == "No drip is recorded."
    assert pond.why("top_off_flow") == "No top-off is recorded."


def test_the_usual_change_is_the_middle_one_of_three_and_more(pond: Pond) -> None:
    """40, 70 and 50 L on the 1st, 8th and 18th: 50 L; of 7 and 10 days the shorter."""
    change(pond.keeper, "2026-07-20", "190 L")
    change(pond.keeper, "2026-11-01", "40 L")
    change(pond.keeper, "2026-11-08", "70 L", place="systems/pond")
    assert "Fewer than three" in pond.why("change_volume")
    change(pond.keeper, "2026-11-18", "50 L")
    change(pond.keeper, "2026-11-26", "10 L", state="planned")
    assert (pond.figure("change_volume"), pond.figure("change_interval")) == (
        pytest.approx(50),
        pytest.approx(7),
    )
    assert pond.found("change_volume").value.unit == "L"
    assert "Fewer than three" in pond.why("change_interval", "2026-11-17T00:00:00Z")


def test_changes_of_several_tanks_on_one_day_are_one_change_of_the_system(pond: Pond) -> None:
    """30 and 20 L ten minutes apart, every week: 50 L each 7 days, not 20 L each ten minutes."""
    made(pond.keeper, "tanks", FRY)
    for day in ("02", "09", "16", "23"):
        change(pond.keeper, f"2026-11-{day}", "30 L", at="10:00")
        change(pond.keeper, f"2026-11-{day}", "20 L", at="10:10", place="tanks/fry")
    assert (pond.figure("change_volume"), pond.figure("change_interval")) == (
        pytest.approx(50),
        pytest.approx(7),
    )


def sections(keeper: Caller) -> None:
    """Of a tray 100 x 30 cm: 40 cm floating at 60 %, 20 x 25 cm rooted, 30 cm of media, 10 cm of return."""
    tray = {"name": "Tray", "system": "pond", "length": "100 cm", "width": "30 cm", "height": "30 cm"}
    made(keeper, "sumps", tray)
    media = {"volume": "30 L", "specific_surface": "500 m2/m3", "porosity": "85 %"}
    for position, (use, length, said) in enumerate(
        (
            ("planted-floating", "40 cm", {"plant_coverage": "60 %"}),
            ("planted-rooted", "20 cm", {"width": "25 cm"}),
            ("media", "30 cm", {"media": media}),
            ("return", "10 cm", {}),
        ),
        start=1,
    ):
        body = {"sump": "tray", "position": position, "use": use, "direction": "along", "length": length}
        made(keeper, "sections", {**body, "running_depth": "20 cm", **said})


def test_stands_are_the_planted_sections_with_their_area_and_cover(pond: Pond) -> None:
    """40 x 30 cm are 0.12 m2, 20 x 25 cm 0.05 m2."""
    assert pond.why("plant_stands") == "No planted section is recorded."
    sections(pond.keeper)
    floating, rooted = pond.found("plant_stands").value
    assert (floating["name"], floating["growth_form"]) == ("tray-planted-floating-1", "floating")
    assert floating["area"].si("area") == pytest.approx(0.12) and floating["cover"].text() == "60 %"
    assert (rooted["growth_form"], "cover" in rooted) == ("emergent", False)
    assert rooted["area"].si("area") == pytest.approx(0.05)
    turned = {"use": "settling", "effective_at": "2026-11-10T00:00:00Z", "plant_coverage": None}
    assert pond.keeper.patch("/v1/sections/tray-planted-rooted-1", turned).status_code == 200
    assert len(pond.found("plant_stands").value) == 1
    assert len(pond.found("plant_stands", "2026-11-09T00:00:00Z").value) == 2


def test_media_count_as_far_as_they_stand_under_water(pond: Pond) -> None:
    """30 L of media in a section that holds 30 x 30 x 20 cm = 18 L of water: 18 L are wet."""
    assert pond.why("nitrifier_media") == "No section with media is recorded."
    sections(pond.keeper)
    (row,) = pond.found("nitrifier_media").value
    assert (row["name"], row["specific_surface"].text()) == ("tray-media-1", "500 m2/m3")
    assert row["media_volume"].si("volume") == pytest.approx(0.018)
    media = {"media": {"volume": "9 L", "porosity": "85 %"}}
    pond.keeper.patch("/v1/sections/tray-media-1", {"media": None})
    pond.keeper.patch("/v1/sections/tray-media-1", media)
    assert pond.why("nitrifier_media") == (
        "No specific surface or grain size is recorded of the media in tray-media-1."
    )


def test_grains_are_taken_for_spheres_where_no_surface_is_recorded(pond: Pond) -> None:
    """6 x (1 - 0.4) / 9 mm = 400 m2 in a m3."""
    sections(pond.keeper)
    media = {"media": {"volume": "9 L", "porosity": "40 %", "grain_size": "9 mm"}}
    pond.keeper.patch("/v1/sections/tray-media-1", {"media": None})
    pond.keeper.patch("/v1/sections/tray-media-1", media)
    (row,) = pond.found("nitrifier_media").value
    assert row["media_volume"].text() == "9 L"
    assert row["specific_surface"].si("specific_surface") == pytest.approx(400)


def test_every_role_of_a_system_answers_or_says_why_not(pond: Pond) -> None:
    """A system without anything, and one with a tank alone: no role trips."""
    made(pond.keeper, "systems", {"name": "Empty"})
    for system in ("empty", "pond"):
        with facts_at(pond.app, pond.room_id, NOW, system) as facts:
            for role, ask in ROLES.items():
                found = ask(facts)
                assert not isinstance(found, Absent) or found.why.endswith((".", ")")), role
