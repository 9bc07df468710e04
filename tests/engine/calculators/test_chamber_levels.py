from typing import Any

import pytest

from weirbook.engine.calculators.baffle_levels import BAFFLE_LEVELS
from weirbook.engine.calculators.chamber_flow import CHAMBER_FLOW, Inputs
from weirbook.engine.calculators.chamber_levels import drop_over, standings
from weirbook.engine.shape import Answer, answer, read
from weirbook.errors import Invalid

SUMP = [
    {
        "name": "settling",
        "use": "settling",
        "direction": "along",
        "length": "50 cm",
        "baffle_passes": "over",
        "baffle_crest_height": "32 cm",
    },
    {
        "name": "bed",
        "use": "planted-rooted",
        "direction": "up",
        "length": "40 cm",
        "media_volume": "25 L",
        "media_porosity": "40 %",
        "media_grain_size": "8 mm",
        "baffle_passes": "under",
        "baffle_gap_height": "4 cm",
    },
    {"name": "return", "use": "return", "direction": "along", "length": "30 cm", "depth": "22 cm"},
]
BODY = {"flow": "4000 L/h", "sump_width": "50 cm", "sump_height": "45 cm", "sections": SUMP}


def told(at: int | None = None, section: dict[str, Any] | None = None, **said: Any) -> Answer:
    """Of the sump above, with what is said of one section and of the whole."""
    sections = [{**one, **(section or {})} if index == at else one for index, one in enumerate(SUMP)]
    return answer(CHAMBER_FLOW, {**BODY, "sections": sections, **said})


def rows(*args: Any, **said: Any) -> list[dict[str, Any]]:
    return list(told(*args, **said).values["sections"])


def test_a_depth_that_is_not_told_is_the_level_that_baffle_levels_gives() -> None:
    levels = answer(BAFFLE_LEVELS, BODY).values["sections"]
    for found, level in zip(rows(), levels, strict=True):
        assert found["depth"] == pytest.approx(level["level"])
    assert [one["depth_origin"] for one in rows()] == ["worked out", "worked out", "told"]
    assert [one["worked_out_level"] is None for one in rows()] == [False, False, True]


def test_what_rests_on_a_worked_out_depth_is_what_the_same_depth_told_gives() -> None:
    worked = rows()[0]
    same = rows(0, {"depth": f"{worked['depth']} m"})[0]
    for name in ("water_volume", "mean_velocity", "residence_time", "free_area"):
        assert same[name] == pytest.approx(worked[name])
    assert same["depth_origin"] == "told" and same["told_above_level"] == pytest.approx(0, abs=1e-12)


def test_a_told_depth_stays_what_the_keeper_measured_beside_the_level_worked_out() -> None:
    free = rows()[0]["depth"]
    given = told(0, {"depth": "38 cm"})
    first = given.values["sections"][0]
    assert (first["depth"], first["depth_origin"]) == (pytest.approx(0.38), "told")
    assert first["worked_out_level"] == pytest.approx(free)
    assert first["told_above_level"] == pytest.approx(0.38 - free)
    assert first["residence_time"] > rows()[0]["residence_time"]
    assert [one.limit for one in given.cautions if one.code == "told-depth-differs"] == ["2 cm"]


def test_a_return_depth_that_is_said_moves_the_levels_that_rest_on_it() -> None:
    low, high = rows(), rows(return_depth="30 cm")
    assert high[2]["depth"] == pytest.approx(0.30)
    assert high[1]["depth"] > low[1]["depth"] + 0.07
    assert high[0]["depth"] == pytest.approx(low[0]["depth"]), "a free crest knows nothing of what is below"


def test_without_any_level_the_answer_is_as_it_was() -> None:
    first, bed, last = rows(2, {"depth": None})
    assert [one["depth"] for one in (first, bed, last)] == [None, None, None]
    assert (first["mean_velocity"], first["residence_time"]) == (None, None)
    assert not {"told-depth-differs", "spills", "low-head"} & {
        one.code for one in told(2, {"depth": None}).cautions
    }


def test_the_drop_of_a_fall_is_reckoned_from_the_level_it_strikes() -> None:
    bed = rows()[1]
    assert bed["inlet_velocity"] == pytest.approx((2 * 9.80665 * (0.32 - bed["depth"])) ** 0.5)


def test_levels_over_the_rim_are_cautioned_here_too() -> None:
    assert "spills" in {one.code for one in told(0, {"baffle_crest_height": "44.9 cm"}).cautions}


def test_what_a_level_rests_on_is_said() -> None:
    texts = [one.text for one in told().assumptions]
    assert "The depth of settling, bed is worked out from the level of the sections after." in texts
    assert any("A crest without a breadth is sharp" in text for text in texts)


def test_the_drop_over_a_section_is_that_between_its_neighbours() -> None:
    given = read(Inputs, BODY)
    found = standings(given.sections, given.sump_width, given.flow, None, 997.0, 8.9e-4)
    settling, _, last = (one["depth"] for one in rows())
    assert drop_over(found, 1) == pytest.approx(settling - last, abs=1e-6)
    assert drop_over(found, 0) is drop_over(found, 2) is None
    unknown = standings(given.sections[:2], given.sump_width, given.flow, None, 997.0, 8.9e-4)
    assert drop_over([*unknown, found[2]], 1) is None


def test_a_return_level_above_the_rim_is_refused() -> None:
    with pytest.raises(Invalid) as trouble:
        told(return_depth="46 cm")
    assert [fault.pointer for fault in trouble.value.faults] == ["/return_depth"]


def test_every_step_follows_from_its_own_numbers(assert_followed) -> None:
    for step in told().steps:
        assert_followed(step)
    words = [step.words for step in told().steps]
    assert len(words) == len(set(words)), "no step is shown twice"
