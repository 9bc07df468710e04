"""What plants take out of a system: by published rates and what they cover, or by what was cut and weighed; never both."""

from __future__ import annotations

from math import sqrt
from typing import Any

import pytest
from harness import Caller, made, on_both_engines
from nutrient_scenes import NITROGEN, answer, close, nitrate
from plant_scenes import plant, tell
from water_scenes import facts_at, read

from weirbook.actions import fill_tank
from weirbook.actions.fill_system import ROLES
from weirbook.actions.filling import Absent
from weirbook.app import Service
from weirbook.engine.times import instant_ms
from weirbook.record.database import enter_room
from weirbook.record.names import find
from weirbook.record.places import Tank

SUBMERSED = sqrt(0.02 * 0.3)
"""g N/m2/d, the middle of the guess for plants under water; the vat's surface is 0.5 m2."""
FLOATING = sqrt(0.0959 * 1.6027)
"""The middle of what is published, from duckweed to hyacinth (Reddy and DeBusk 1987)."""


@pytest.fixture
def bed(vat: Caller) -> Caller:
    """A kind whose shares are known: of 100 g fresh 10 % are dry, 4 % of that are nitrogen, 0.5 % phosphorus."""
    kind = {"name": "Hornwort", "growth_form": "rooted"}
    made(vat, "plant-kinds", {**kind, "dry_matter": "10 %", "nitrogen": "4 %", "phosphorus": "0.5 %"})
    made(vat, "plant-kinds", {"name": "Frogbit", "growth_form": "floating"})
    return vat


def put_in(keeper: Caller, on: str, **said: Any) -> dict[str, Any]:
    return plant(keeper, on, **{"kind": "hornwort", "place": "tanks/vat", "method": "bare_root", **said})


def tray(keeper: Caller, **said: Any) -> None:
    """A planted section of 0.4 x 0.25 m, 10 L; the system then holds 210 L."""
    box = {"name": "Tray", "system": "pond", "length": "80 cm", "width": "25 cm", "height": "20 cm"}
    made(keeper, "sumps", box)
    section = {"sump": "tray", "position": 1, "use": "planted-floating", "direction": "along"}
    made(keeper, "sections", {**section, "length": "40 cm", "running_depth": "10 cm", **said})


def grams(balance: dict[str, Any], flow: str) -> float:
    value: float = balance["whole"][flow]["value"]
    return value


@on_both_engines
def test_what_was_cut_was_taken_up_evenly_while_it_grew_and_goes_on_so(bed: Caller) -> None:
    """100 g cut on 12 November hold 0.4 g N, grown in the 23 days since 20 October: of those 10 lie after the test.

    From the 13th to the 25th, 13 days, it is taken to grow on like that, though it covers 10 % of 0.5 m2.
    """
    moss = put_in(bed, "2026-10-20", cover="10 %")
    tell(bed, moss, "harvested", "2026-11-12", wet_mass="100 g")
    balance = nitrate(bed)
    assert grams(balance, "harvested") == close((10 + 13) * 0.4 / 23)
    assert grams(balance, "plants") == 0
    assert balance["change"]["value"] == close(23 * NITROGEN - 0.4)
    first = balance["weeks"][0]
    assert (first["harvested"]["value"], first["plants"]["value"]) == (close(6 * 0.4 / 23), 0)
    told = " ".join(one["text"] for one in answer(bed)["assumptions"])
    assert "cut and weighed in tanks/vat" in told and "not counted besides" in told
    assert "After the last cut in tanks/vat" in told and "for 60 days at most" in told


def test_sixty_days_after_the_last_cut_the_table_counts_again(bed: Caller) -> None:
    """Cut on 13 September, after 24 days: the 60th day after is 12 November, the tenth after the test."""
    moss = put_in(bed, "2026-08-20", cover="10 %")
    tell(bed, moss, "harvested", "2026-09-13", wet_mass="100 g")
    balance = nitrate(bed)
    assert grams(balance, "harvested") == close(10 * 0.4 / 24)
    assert grams(balance, "plants") == close(13 * SUBMERSED * 0.5 * 0.1)


def test_a_cut_done_on_two_days_tells_one_rate(bed: Caller) -> None:
    """60 g and on the next day 40 g more, of 24 days in all: 0.4 g N / 24 a day goes on from the 13th to the 25th."""
    moss = put_in(bed, "2026-10-19")
    tell(bed, moss, "trimmed", "2026-11-11", wet_mass="60 g")
    tell(bed, moss, "trimmed", "2026-11-12", wet_mass="40 g")
    assert grams(nitrate(bed), "harvested") == close(9 * 0.24 / 23 + 0.16 + 13 * 0.4 / 24)


def test_plants_that_were_moved_in_their_tank_grow_on_and_replanted_ones_begin_anew(bed: Caller) -> None:
    """Cut on the 12th after 23 days; shifted on the 15th, taken up and put back on the 20th: 7 days go on to the 19th."""
    moss = put_in(bed, "2026-10-20")
    tell(bed, moss, "harvested", "2026-11-12", wet_mass="100 g")
    tell(bed, moss, "moved", "2026-11-15", to_place="tanks/vat", spot="left")
    assert grams(nitrate(bed), "harvested") == close(0.4)
    tell(bed, moss, "replanted", "2026-11-20", spot="right")
    assert grams(nitrate(bed), "harvested") == close((10 + 7) * 0.4 / 23)


def test_its_working_takes_the_harvest_off(bed: Caller) -> None:
    tell(bed, put_in(bed, "2026-10-20"), "trimmed", "2026-11-12", wet_mass="100 g")
    (_, end, _) = answer(bed)["steps"]
    assert "− plants by their harvests" in end["words"].replace("_", " ")
    assert end["gives"]["value"] == close(20 * 0.2 * 14.007 / 62.004 + 23 * NITROGEN - 0.4)


def test_a_cut_grew_since_the_one_before(bed: Caller) -> None:
    """The first, of 22 October, ends before the balance begins; the second grew in the 20 days to 11 November."""
    hornwort = put_in(bed, "2026-09-20")
    tell(bed, hornwort, "harvested", "2026-10-22", wet_mass="500 g")
    tell(bed, hornwort, "removed", "2026-11-11", wet_mass="50 g")
    balance = nitrate(bed)
    assert grams(balance, "harvested") == close(9 * 0.2 / 20)
    assert grams(balance, "plants") == 0


def test_phosphorus_goes_with_it(bed: Caller) -> None:
    read(bed, "2026-11-02", 5, "phosphate")
    tell(bed, put_in(bed, "2026-10-20"), "harvested", "2026-11-12", wet_mass="100 g")
    assert grams(answer(bed)["phosphate"], "harvested") == close(0.05)


def test_a_kind_of_unknown_shares_makes_the_band_wide(bed: Caller) -> None:
    """100 g of floating plants: 5 to 10 % dry, 1.4 to 4 % nitrogen in it (Polprasert, Boyd, Steward): 0.07 to 0.4 g."""
    frogbit = put_in(bed, "2026-10-20", kind="frogbit", method="floating")
    tell(bed, frogbit, "harvested", "2026-11-12", wet_mass="100 g")
    balance = nitrate(bed)
    assert grams(balance, "harvested") == close(sqrt(0.07 * 0.4))
    sunday = balance["weeks"][0]
    per_gram = 62.004 / 14.007 / 0.2
    assert sunday["predicted_low"]["value"] == close(20 + per_gram * 6 * (0.7 * NITROGEN - 0.4 / 23))
    assert sunday["predicted_high"]["value"] == close(20 + per_gram * 6 * (1.3 * NITROGEN - 0.07 / 23))


def test_what_was_put_in_with_the_plant_did_not_grow_here(bed: Caller) -> None:
    hornwort = put_in(bed, "2026-11-05")
    tell(bed, hornwort, "trimmed", "2026-11-06", wet_mass="100 g")
    assert grams(nitrate(bed), "harvested") == 0
    assert "within 14 days of planting" in " ".join(one["text"] for one in answer(bed)["assumptions"])
    tell(bed, hornwort, "trimmed", "2026-11-16", wet_mass="10 g")
    assert grams(nitrate(bed), "harvested") == close(0.04)


def test_a_first_cut_two_weeks_after_planting_grew_here(bed: Caller) -> None:
    tell(bed, put_in(bed, "2026-10-29"), "trimmed", "2026-11-12", wet_mass="100 g")
    assert grams(nitrate(bed), "harvested") == close(23 * 0.4 / 14)


def test_a_reading_stands_for_plantings_that_do_not_all_tell_their_cover(bed: Caller) -> None:
    """10 % by reading, though one planting, told of later, covers 30 % by itself: of the other nothing is known."""
    read(bed, "2026-11-01", 10, "plant_cover")
    put_in(bed, "2026-10-20")
    put_in(bed, "2026-11-02", cover="30 %")
    assert grams(nitrate(bed), "plants") == close(23 * SUBMERSED * 0.5 * 0.1)


def test_what_was_cut_in_another_water_is_none_of_this_ones(bed: Caller) -> None:
    made(bed, "systems", {"name": "Brook"})
    shape = {"shape": "rectangle", "length": "100 cm", "width": "50 cm"}
    run = {"name": "Run", "system": "brook", "use": "display", "footprint": shape, "water_depth": "40 cm"}
    made(bed, "tanks", run)
    moved = put_in(bed, "2026-10-01", cover="50 %")
    tell(bed, moved, "moved", "2026-10-20", to_place="tanks/run")
    tell(bed, moved, "harvested", "2026-11-12", wet_mass="100 g")
    balance = nitrate(bed)
    assert (grams(balance, "harvested"), grams(balance, "plants")) == (0, 0)
    # What was cut here takes up no more once it was moved there: 10 days before its cut and 2 after it.
    here = put_in(bed, "2026-10-20", cover="10 %")
    tell(bed, here, "harvested", "2026-11-12", wet_mass="100 g")
    tell(bed, here, "moved", "2026-11-15", to_place="tanks/run")
    balance = nitrate(bed)
    assert grams(balance, "harvested") == close((10 + 2) * 0.4 / 23)
    assert grams(balance, "plants") == 0


def test_no_more_is_taken_up_than_there_is(bed: Caller) -> None:
    """5 kg hold 20 g N; there were 0.9036 g at first, and 23 x 0.08464 g came."""
    tell(bed, put_in(bed, "2026-10-26"), "harvested", "2026-11-25", wet_mass="5 kg")
    balance = nitrate(bed)
    held = 20 * 0.2 * 14.007 / 62.004
    assert grams(balance, "harvested") == close(held + 23 * NITROGEN)
    assert balance["weeks"][-1]["predicted"]["value"] == pytest.approx(0, abs=1e-9)


def test_a_cut_in_a_planted_section_goes_before_its_table(bed: Caller) -> None:
    """12 days measured from the 3rd to the 14th, and it is removed unweighed on the 20th, before noon, from when on the
    table counts for 50 % of 0.1 m2."""
    tray(bed, plant_coverage="50 %")
    before = nitrate(bed)
    assert grams(before, "plants") == close(23 * FLOATING * 0.1 * 0.5)
    bog = put_in(
        bed, "2026-10-15", kind="frogbit", place="sections/tray-planted-floating-1", method="floating"
    )
    tell(bed, bog, "harvested", "2026-11-14", wet_mass="30 g")
    tell(bed, bog, "removed", "2026-11-20")
    after = nitrate(bed)
    assert grams(after, "plants") == close(6 * FLOATING * 0.1 * 0.5)
    assert grams(after, "harvested") == close((12 + 5) / 30 * 0.3 * sqrt(0.07 * 0.4))


def test_cover_is_what_was_told_last_by_reading_or_by_the_plantings(bed: Caller) -> None:
    """The section's 50 % until the 8th, by reading 20 % for 8 days, by its planting's 30 % for the last 9."""
    tray(bed, plant_coverage="50 %")
    section = "sections/tray-planted-floating-1"
    read(bed, "2026-11-09", 20, "plant_cover", at="11:00", place=section)
    put_in(bed, "2026-11-17", kind="frogbit", place=section, method="floating", cover="30 %")
    days_by_cover = 6 * 0.5 + 8 * 0.2 + 9 * 0.3
    assert grams(nitrate(bed), "plants") == close(FLOATING * 0.1 * days_by_cover)


def test_plants_of_a_tank_whose_cover_nobody_told_are_said_and_not_guessed(bed: Caller) -> None:
    put_in(bed, "2026-10-20")
    balance = nitrate(bed)
    assert grams(balance, "plants") == 0
    told = " ".join(one["text"] for one in answer(bed)["assumptions"])
    assert "Plantings of hornwort in tanks/vat that don't tell what they cover" in told


def test_calculators_are_told_of_plants_and_of_harvests(app: Service, room_id: int, bed: Caller) -> None:
    def found(role: str, at: str = "2026-11-25T18:00:00Z") -> Any:
        with facts_at(app, room_id, at) as facts:
            return ROLES[role](facts)

    assert isinstance(found("plant_stands"), Absent) and isinstance(found("harvested"), Absent)
    assert isinstance(found("harvest_period"), Absent)
    hornwort = put_in(bed, "2026-10-20", cover="10 %")
    put_in(bed, "2026-11-20", cover="5 %")
    put_in(bed, "2026-10-20", kind="frogbit", method="floating", cover="40 %")
    tell(bed, hornwort, "trimmed", "2026-10-27", wet_mass="1 kg")
    tell(bed, hornwort, "trimmed", "2026-11-12", wet_mass="100 g")
    tell(bed, hornwort, "harvested", "2026-11-20", wet_mass="50 g")
    rows = [(one["name"], one["growth_form"], one["cover"].text()) for one in found("plant_stands").value]
    assert rows == [("vat floating", "floating", "40 %"), ("vat submersed", "submersed", "15 %")]
    assert found("harvested").value.text() == "150 g" and "2 times" in found("harvested").note
    assert found("harvest_period").value.text() == "28 d"
    read(bed, "2026-11-21", 44, "plant_cover")
    rows = [(one["name"], one["cover"].text()) for one in found("plant_stands").value]
    assert rows == [("vat floating", "32 %"), ("vat submersed", "12 %")]
    # 4 mg N in a g fresh: of 2 g a day, 46 % protein, 592.48 mg a week, which 148.12 g carry off.
    path = "/v1/systems/pond/answers/harvest?plant=hornwort"
    given = bed.get(path).get_json()
    assert given["results"]["weekly_high"] == {"value": close(148.12), "unit": "g"}
    assert given["results"]["weekly_done"]["value"] == close(37.5)
    assert given["results"]["nitrate_low"]["value"] == close(150 * 0.004 / 200 * 1000 * 62.004 / 14.007)
    assert given["results"]["verdict"] == "over"


def harvest(keeper: Caller, query: str = "") -> dict[str, Any]:
    found = keeper.get(f"/v1/systems/pond/answers/harvest{query}")
    assert found.status_code == 200, found.get_data(as_text=True)
    answered: dict[str, Any] = found.get_json()
    return answered


def carried(found: dict[str, Any]) -> tuple[float, float]:
    return found["results"]["nitrogen_low"]["value"], found["results"]["nitrogen_high"]["value"]


def test_a_harvest_of_one_kind_has_that_kinds_own_shares_as_the_balance_has(bed: Caller) -> None:
    """115 g, 8 % dry, 1.4 to 4 % of that nitrogen as published (Polprasert, Boyd, Steward): 128.8 to 368 mg."""
    made(bed, "plant-kinds", {"name": "Raft cress", "growth_form": "emergent", "dry_matter": "8 %"})
    cress = put_in(bed, "2026-10-20", kind="raft-cress")
    tell(bed, cress, "trimmed", "2026-11-12", wet_mass="115 g")
    found = harvest(bed)
    assert carried(found) == (close(128.8), close(368))
    assert carried(harvest(bed, "?plant=raft-cress")) == carried(found)
    # The cut's 23 days of growth, of which 10 lie in the balance, and the 13 days since: by the middle of both ends.
    assert grams(nitrate(bed), "harvested") == close(sqrt(0.1288 * 0.368))
    assert found["inputs"]["growth_form"]["value"] == "emergent"
    assert (found["inputs"]["dry_share"]["value"], found["inputs"]["dry_share"]["unit"]) == (8, "%")
    assert "all that was cut in the last 28 days is of it" in found["inputs"]["dry_share"]["note"]
    # Said to grow otherwise it is another plant: 5 to 10 % dry, unless the kind is named besides.
    assert carried(harvest(bed, "?growth_form=floating")) == (close(115 * 0.05 * 14), close(115 * 0.1 * 40))
    assert carried(harvest(bed, "?growth_form=floating&plant=raft-cress")) == carried(found)


def test_a_harvest_of_several_kinds_says_so_and_takes_the_published_shares(bed: Caller) -> None:
    hornwort = put_in(bed, "2026-10-20")
    frogbit = put_in(bed, "2026-10-20", kind="frogbit", method="floating")
    tell(bed, hornwort, "trimmed", "2026-11-12", wet_mass="60 g")
    tell(bed, frogbit, "trimmed", "2026-11-12", wet_mass="40 g")
    found = harvest(bed)
    assert carried(found) == (close(100 * 0.05 * 14), close(100 * 0.24 * 40))
    assert "several kinds were cut" in found["inputs"]["growth_form"]["note"]
    assert "(frogbit, hornwort)" in found["inputs"]["growth_form"]["note"]
    assert any("several kinds" in one["text"] for one in found["assumptions"])


def test_several_kinds_that_grow_alike_have_the_dry_share_of_that_form(bed: Caller) -> None:
    made(bed, "plant-kinds", {"name": "Moss", "growth_form": "attached"})
    for kind in ("hornwort", "moss"):
        tell(bed, put_in(bed, "2026-10-20", kind=kind), "trimmed", "2026-11-12", wet_mass="50 g")
    found = harvest(bed)
    assert found["inputs"]["growth_form"]["value"] == "submersed"
    assert carried(found) == (close(100 * 0.05 * 14), close(100 * 0.16 * 40))


def test_the_cover_of_a_tank_is_ready_for_who_asks(app: Service, room_id: int, bed: Caller) -> None:
    def found() -> Any:
        with app.database.read() as session:
            enter_room(session, room_id)
            tank = find(session, Tank, "vat")
            return fill_tank.fill(session, tank, instant_ms("2026-11-25T18:00:00Z"))["plant_cover"]()

    assert isinstance(found(), Absent)
    first = put_in(bed, "2026-10-20", cover="10 %")
    put_in(bed, "2026-10-21", kind="frogbit", method="floating", cover="70 %")
    assert found().value.text() == "80 %" and "plantings" in found().note
    tell(bed, first, "seen", "2026-11-01", cover="40 %")
    assert found().value.text() == "100 %"
    read(bed, "2026-11-02", 60, "plant_cover", at="13:00")
    assert found().value.text() == "60 %" and "reading" in found().note
    tell(bed, first, "lost", "2026-11-03")
    assert found().value.text() == "60 %"
