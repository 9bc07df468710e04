import csv
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.baffle_levels import BAFFLE_LEVELS
from weirbook.engine.relations.weirs import sharp_crest_head
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows_of(file: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / file).open()))


GAPS = rows_of("baffle_slot_head_loss.csv")
PACKED = rows_of("packed_bed_pressure_drop.csv")
DROWNED = [row for row in rows_of("weir_submerged_villemonte.csv") if row["weir_shape"] == "rectangular"]


def section(name: str = "return", **said: Any) -> dict[str, Any]:
    """A section of 40 cm that water goes along, with what is said otherwise."""
    return {"name": name, "use": "other", "direction": "along", "length": "40 cm", **said}


def over(crest: str, **said: Any) -> dict[str, Any]:
    return {"baffle_passes": "over", "baffle_crest_height": crest, **said}


def under(gap: str, **said: Any) -> dict[str, Any]:
    return {"baffle_passes": "under", "baffle_gap_height": gap, **said}


def told(*sections: dict[str, Any], **said: Any) -> Answer:
    body = {"flow": "3600 L/h", "sump_width": "50 cm", "sump_height": "45 cm", "return_depth": "20 cm"}
    return answer(BAFFLE_LEVELS, {**body, "sections": list(sections), **said})


def rows(*sections: dict[str, Any], **said: Any) -> list[dict[str, Any]]:
    return list(told(*sections, **said).values["sections"])


def refused(*sections: dict[str, Any], **said: Any) -> list[str]:
    with pytest.raises(Invalid) as trouble:
        told(*sections, **said)
    return [fault.pointer for fault in trouble.value.faults]


def codes(given: Answer) -> set[str]:
    return {one.code for one in given.cautions}


@pytest.mark.parametrize("row", GAPS, ids=lambda row: row["case_id"])
def test_the_loss_through_a_gap_stands_with_the_least_that_it_may_be(row: dict[str, str]) -> None:
    first = section(
        "first", width=f"{row['slot_width_m']} m", **under(f"{float(row['slot_height_m']) * 100} cm")
    )
    [found, _] = rows(first, section(), flow=f"{row['flow_m3_per_s']} m3/s", sump_width="60 cm")
    assert found["gate_loss"] == pytest.approx(float(row["head_loss_cd_0_61_m"]), rel=1e-3)
    assert found["least_gap_loss"] == pytest.approx(
        float(row["head_loss_entry_0_5_plus_exit_1_0_m"]), rel=1e-3
    )
    assert found["gap_velocity"] == pytest.approx(float(row["slot_velocity_m_per_s"]), rel=1e-3)
    assert found["level"] == pytest.approx(0.2 + found["gate_loss"])


@pytest.mark.parametrize("row", PACKED, ids=lambda row: row["case_id"])
def test_water_that_sinks_through_a_bed_stands_above_it_by_what_the_bed_loses(row: dict[str, str]) -> None:
    speed = float(row["superficial_velocity_m_per_s"])
    bed = section(
        "bed",
        direction="down",
        media_volume="20 L",
        media_porosity=f"{row['void_fraction']} 1",
        media_grain_size=f"{row['particle_diameter_mm']} mm",
        baffle_passes="open",
    )
    # 20 L over 40 x 50 cm are 10 cm of bed.
    [found, last] = rows(
        bed, section(), flow=f"{speed * 0.2} m3/s", temperature=f"{row['temperature_c']} degC"
    )
    assert found["bed_loss"] == pytest.approx(0.1 * float(row["head_gradient_m_per_m"]), rel=5e-3)
    assert found["level"] - last["level"] == pytest.approx(found["bed_loss"])


@pytest.mark.parametrize("row", DROWNED, ids=lambda row: row["case_id"])
def test_a_crest_that_water_reaches_from_behind_is_drowned(row: dict[str, str]) -> None:
    """The level at which it passes the share that Villemonte found is the level that is answered."""
    ratio, share = float(row["downstream_over_upstream_head"]), float(row["flow_reduction_factor"])
    if ratio == 0 or share == 0:
        return
    head = sharp_crest_head(1e-3 / share, 0.5, 0.2)
    down = 0.2 + ratio * head
    [found, _] = rows(section("first", **over("20 cm")), section(), return_depth=f"{down} m")
    assert found["crest_depth"] == pytest.approx(head, rel=2e-3)
    assert found["passing"] == "over the crest, which the water after it reaches"
    assert found["crest_drowned"] is True


def test_a_row_of_baffles_is_worked_out_from_the_last_section_up_the_flow() -> None:
    given = told(
        section("settling", **over("32 cm")),
        section("down", baffle_passes="open"),
        section("up", **under("4 cm")),
        section("return"),
    )
    settling, down, up, last = given.values["sections"]
    assert (last["level"], last["origin"]) == (0.2, "told")
    assert up["level"] == down["level"] == pytest.approx(0.2 + up["gate_loss"])
    assert settling["level"] == pytest.approx(0.32 + sharp_crest_head(1e-3, 0.5, 0.32))
    assert settling["freeboard"] == pytest.approx(0.45 - settling["level"])
    assert [one["crest_drowned"] for one in (settling, down, up, last)] == [False, None, None, None]
    assert [one["one_with_next"] for one in (settling, down, up)] == [False, True, True]
    assert given.values["highest_section"] == "settling"
    assert given.values["sections_at_one_level"] == 2
    assert given.values["running_volume"] == pytest.approx(
        0.2 * sum(one["level"] for one in given.values["sections"])
    )


def test_without_a_return_depth_the_last_sections_own_depth_serves() -> None:
    sections = (section("first", **over("32 cm")), section(depth="20 cm"))
    assert rows(*sections, return_depth=None) == rows(*sections)
    assert rows(*sections, return_depth="35 cm")[1]["level"] == pytest.approx(0.35)


def test_what_is_not_recorded_stays_unknown_and_says_so() -> None:
    first, second, third, last = rows(
        section("a", **over("40 cm")), section("b"), section("c", baffle_passes="under"), section("d")
    )
    assert (first["level"], second["level"], third["level"]) == (None, None, None)
    assert "a level after it" in first["why"]
    assert "say open where nothing parts the two" in second["why"]
    assert "the height of the gap after it is not recorded" in third["why"]
    assert (last["level"], last["why"]) == (0.2, None)
    given = told(section("a", **over("30 cm")), section("b"), return_depth=None)
    assert given.values["sections_unknown"] == 2
    assert given.values["running_volume"] is given.values["highest_level"] is None
    assert "level in the last section is not recorded" in given.values["sections"][1]["why"]


def test_past_a_baffle_that_is_not_recorded_levels_start_anew_from_a_told_depth() -> None:
    first, second, last = rows(section("a", **over("38 cm")), section("b", depth="30 cm"), section("c"))
    assert (second["level"], second["origin"], second["passing"]) == (0.3, "told", "not known")
    assert first["level"] == pytest.approx(0.38 + sharp_crest_head(1e-3, 0.5, 0.38))
    assert last["level"] == 0.2


def test_a_told_depth_that_differs_from_the_level_is_cautioned_with_the_difference() -> None:
    sections = (section("a", depth="36 cm", **over("30 cm")), section("b"))
    given = told(*sections)
    first = given.values["sections"][0]
    assert first["told_above_level"] == pytest.approx(0.36 - first["level"])
    [one] = [one for one in given.cautions if one.code == "told-depth-differs"]
    assert "above the level worked out" in one.text
    close = told(section("a", depth="32 cm", **over("30 cm")), section("b"))
    assert "told-depth-differs" not in codes(close)


def test_water_that_would_stand_above_the_rim_spills_and_the_caution_says_by_how_much() -> None:
    given = told(section("a", **over("44.5 cm")), section("b"))
    assert given.values["least_freeboard"] < 0
    [one] = [one for one in given.cautions if one.code == "spills"]
    level = given.values["sections"][0]["level"]
    assert f"{(level - 0.45) * 100:.3f}"[:4] in one.text
    near = told(section("a", **over("42 cm")), section("b"))
    assert {"near-the-rim"} <= codes(near) and "spills" not in codes(near)


def test_cautions_name_low_heads_and_gaps_that_are_not_under_water() -> None:
    assert {"low-head", "clean-and-level", "room-for-a-stop"} <= codes(
        told(section("a", **over("30 cm")), section("b"))
    )
    shallow = told(section("a", **under("15 cm")), section("b"), return_depth="2 cm")
    assert "gap-not-under-water" in codes(shallow)
    assert shallow.values["sections"][0]["passing"].startswith("through the gap, which the water")
    deep = told(section("a", **under("4 cm")), section("b"))
    assert not {"gap-not-under-water", "low-head"} & codes(deep)


def test_media_of_unknown_grain_or_porosity_lose_nothing_and_are_named() -> None:
    bed = {"media_volume": "20 L", "baffle_passes": "open"}
    for said in ({}, {"media_porosity": "40 %"}, {"media_grain_size": "5 mm"}):
        given = told(section("gravel", **bed, **said), section("b"))
        assert given.values["sections"][0]["bed_loss"] == 0
        assert any("No head is lost in the media of gravel" in one.text for one in given.assumptions)
    given = told(section("gravel", **bed, media_porosity="40 %", media_grain_size="5 mm"), section("b"))
    assert given.values["sections"][0]["bed_loss"] > 0
    assert not any("No head is lost" in one.text for one in given.assumptions)
    assert "clean-bed" in codes(given)


def test_of_media_only_what_stands_under_water_counts() -> None:
    tall = {"direction": "up", "media_porosity": "40 %", "media_grain_size": "5 mm", "baffle_passes": "open"}
    first, _ = rows(section("a", media_volume="90 L", **tall), section("b"))
    brimful, _ = rows(section("a", media_volume="40 L", **tall), section("b"))
    # 40 L over 0.2 m2 are the 20 cm of the water.
    assert first["bed_loss"] == pytest.approx(brimful["bed_loss"])
    assert first["water_volume"] == pytest.approx(0.4 * 0.04)


@pytest.mark.parametrize(
    ("said", "place"),
    [
        (over("46 cm"), "/sections/0/baffle_crest_height"),
        (under("46 cm"), "/sections/0/baffle_gap_height"),
        ({**over("30 cm"), "baffle_width": "51 cm"}, "/sections/0/baffle_width"),
        ({**under("3 cm"), "baffle_crest_breadth": "1 cm"}, "/sections/0/baffle_crest_breadth"),
        ({"baffle_passes": "open", "baffle_width": "20 cm"}, "/sections/0/baffle_width"),
        (
            {"baffle_passes": "both", "baffle_crest_height": "20 cm", "baffle_gap_height": "21 cm"},
            "/sections/0/baffle_gap_height",
        ),
        ({"media_grain_size": "5 mm"}, "/sections/0/media_grain_size"),
        ({"plant_coverage": "50 %"}, "/sections/0/plant_coverage"),
        ({"depth": "46 cm"}, "/sections/0/depth"),
    ],
)
def test_a_baffle_or_section_that_can_not_be_is_refused_at_its_place(
    said: dict[str, Any], place: str
) -> None:
    assert refused(section("first", **said), section()) == [place]


def test_a_return_level_above_the_rim_and_no_section_are_refused() -> None:
    assert refused(section(), return_depth="46 cm") == ["/return_depth"]
    assert refused() == ["/sections"]


CM = st.floats(1, 60).map(lambda x: f"{x:.4g} cm")
GATES = st.one_of(
    st.just({}),
    st.just({"baffle_passes": "open"}),
    st.builds(over, CM, baffle_crest_breadth=st.none() | CM),
    st.builds(under, CM),
    st.builds(
        lambda crest, gap: {
            "baffle_passes": "both",
            "baffle_crest_height": f"{crest + gap:.4g} cm",
            "baffle_gap_height": f"{gap:.4g} cm",
        },
        st.floats(1, 50),
        st.floats(0.3, 10),
    ),
)
MEDIA = st.just({}) | st.fixed_dictionaries(
    {"media_volume": st.floats(1, 50).map("{:.3g} L".format)},
    optional={
        "media_porosity": st.floats(0.3, 0.9).map("{:.3g} 1".format),
        "media_grain_size": st.floats(1, 30).map("{:.3g} mm".format),
    },
)
SUMPS = st.lists(
    st.builds(
        lambda length, direction, gate, media, share: {
            "use": "other",
            "length": length,
            "direction": direction,
            "flow_share": f"{share} %",
            **gate,
            **media,
        },
        CM,
        st.sampled_from(["along", "up", "down"]),
        GATES,
        MEDIA,
        st.sampled_from([100, 100, 40]),
    ),
    min_size=1,
    max_size=4,
).map(lambda many: [{"name": f"s{n}", **one} for n, one in enumerate(many)])


@given(SUMPS, st.floats(10, 20000), CM)
@settings(max_examples=60)
def test_every_step_follows_from_its_own_numbers(assert_followed, sump, flow, depth) -> None:
    for step in told(*sump, flow=f"{flow:.4g} L/h", return_depth=depth, sump_height="2 m").steps:
        assert_followed(step)


@given(SUMPS, st.floats(10, 10000), CM, st.floats(1, 3))
@settings(max_examples=60)
def test_levels_fall_along_the_flow_and_rise_with_it(sump, flow, depth, times) -> None:
    said = {"return_depth": depth, "sump_height": None}
    less, more = (
        [one["level"] for one in rows(*sump, flow=f"{q:.6g} L/h", **said)] for q in (flow, flow * times)
    )
    known = [level for level in less if level is not None]
    assert known == pytest.approx(sorted(known, reverse=True))
    assert all((a is None) == (b is None) for a, b in zip(less, more, strict=True))
    assert all(a <= b + 1e-6 for a, b in zip(less, more, strict=True) if a is not None)


MAGNITUDES = st.floats(0, 1e15) | st.floats(0, 1e-290) | st.integers(0, 100)
LENGTHS = st.builds("{} {}".format, MAGNITUDES, st.sampled_from(["cm", "m"]))
WILD = st.fixed_dictionaries(
    {
        "name": st.text(max_size=5),
        "use": st.just("media"),
        "direction": st.sampled_from(["along", "up"]),
        "length": LENGTHS,
    },
    optional={
        "width": LENGTHS,
        "depth": LENGTHS,
        "media_volume": MAGNITUDES.map("{} L".format),
        "media_porosity": st.floats(0, 1).map("{} 1".format),
        "media_grain_size": LENGTHS,
        "baffle_passes": st.sampled_from(["over", "under", "both", "open"]),
        "baffle_crest_height": LENGTHS,
        "baffle_crest_breadth": LENGTHS,
        "baffle_gap_height": LENGTHS,
        "baffle_width": LENGTHS,
    },
)
BODIES = st.fixed_dictionaries(
    {"flow": MAGNITUDES.map("{} L/h".format), "sections": st.lists(WILD, max_size=3)},
    optional={"sump_width": LENGTHS, "return_depth": LENGTHS, "sump_height": LENGTHS},
)


@given(BODIES)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        given = answer(BAFFLE_LEVELS, body)
    except Invalid as trouble:
        assert trouble.message
    else:
        json.dumps(as_json(given), allow_nan=False)


@given(LENGTHS, LENGTHS, LENGTHS, LENGTHS, MAGNITUDES)
def test_silly_sizes_of_one_baffle_never_leave_the_numbers(length, crest, depth, width, flow) -> None:
    """As above, past the refusals of sizes that contradict each other."""
    body = {
        "flow": f"{flow} L/h",
        "sump_width": width,
        "return_depth": depth,
        "sections": [section("a", length=length, **over(crest)), section("b", length=length)],
    }
    try:
        given = answer(BAFFLE_LEVELS, body)
    except Invalid as trouble:
        assert trouble.message
    else:
        json.dumps(as_json(given), allow_nan=False)
