import json
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.chamber_flow import CHAMBER_FLOW
from weirbook.engine.calculators.flow_split import FLOW_SPLIT
from weirbook.engine.relations.bypasses import next_size
from weirbook.engine.relations.pipes import PLASTIC_ROUGHNESS, Piece, loss
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid


def told(**said: Any) -> Answer:
    """A bed of 80 cm x 60 cm x 30 cm in 3600 L/h, with what is said otherwise; None leaves out."""
    body = {
        "flow": "3600 L/h",
        "use": "planted-floating",
        "direction": "along",
        "length": "80 cm",
        "width": "60 cm",
        "depth": "30 cm",
        **said,
    }
    return answer(FLOW_SPLIT, {name: value for name, value in body.items() if value is not None})


def refused(**said: Any) -> list[str]:
    with pytest.raises(Invalid) as trouble:
        told(**said)
    return [fault.pointer for fault in trouble.value.faults]


def codes(given: Answer) -> set[str]:
    return {one.code for one in given.cautions}


def test_the_share_that_may_enter_keeps_every_wish_and_the_rest_goes_round() -> None:
    """3600 L/h are 1000 cm3/s: 0.5556 cm/s over 1800 cm2, so 0.4 cm/s are 72 %."""
    values = told(wanted_mean_velocity="0.4 cm/s").values
    assert values["share"] == pytest.approx(0.72)
    assert values["flow_round"] == pytest.approx(0.28e-3)
    assert values["mean_velocity_then"] == pytest.approx(0.004)
    assert values["residence_time_then"] == pytest.approx(values["residence_time"] / 0.72)
    names = {row["name"]: row["length_that_would_do"] for row in values["sizes"]}
    assert names == {"width": pytest.approx(0.6 / 0.72), "depth": pytest.approx(0.3 / 0.72)}


def test_of_several_wishes_the_hardest_sets_the_share() -> None:
    slot = {"inlet_kind": "slot", "inlet_width": "60 cm", "inlet_height": "4 cm"}
    values = told(wanted_mean_velocity="0.4 cm/s", wanted_inlet_velocity="2 cm/s", **slot).values
    # 1000 cm3/s through 240 cm2 are 4.167 cm/s: 48 %.
    assert values["share"] == pytest.approx(0.48)
    assert values["inlet_velocity_then"] == pytest.approx(0.02)
    assert values["mean_velocity_then"] < 0.004


def test_what_goes_round_already_counts_with_the_rest() -> None:
    values = told(flow_share="80 %", wanted_residence_time="4 min").values
    # 144 L in 4 min are 36 L/min, 2160 L/h.
    assert values["flow_in"] * 3.6e6 == pytest.approx(2160)
    assert values["flow_round"] * 3.6e6 == pytest.approx(1440)


def test_the_way_round_is_sized_at_the_drop_that_is_left() -> None:
    given = told(wanted_mean_velocity="0.4 cm/s", head_drop="10 mm", bypass_length="1 m", bypass_elbows=3)
    values = given.values
    assert values["drop"] == pytest.approx(0.01 * 0.72**2)
    assert values["slot_area"] == pytest.approx(0.28e-3 / (0.61 * math.sqrt(2 * 9.80665 * values["drop"])))
    lost = loss(0.28e-3, (Piece(values["bypass_bore"], 1.0, PLASTIC_ROUGHNESS, 1.5 + 3 * 0.9),), 8.93e-7)
    assert lost == pytest.approx(values["drop"], rel=1e-3)
    name, inside = next_size(values["bypass_bore"]) or ("", 0.0)
    assert values["bypass_size"] == name and inside >= values["bypass_bore"]
    assert {"two-ways-open"} <= codes(given) and "way-round-not-sized" not in codes(given)
    without = told(wanted_mean_velocity="0.4 cm/s")
    assert without.values["bypass_bore"] is without.values["slot_area"] is None
    assert "way-round-not-sized" in codes(without)


def test_a_pipe_wider_than_any_is_not_named() -> None:
    given = told(flow="40000 L/h", wanted_mean_velocity="1 mm/s", head_drop="1 mm")
    assert given.values["bypass_size"] is None and given.values["bypass_bore"] > 0.3
    assert "wider-than-any-pipe" in codes(given)


def test_where_every_wish_is_met_nothing_goes_round() -> None:
    given = told(wanted_mean_velocity="1 cm/s", head_drop="10 mm")
    assert (given.values["share"], given.values["flow_round"], given.values["bypass_bore"]) == (1, 0, None)
    assert (given.values["mend"], given.values["sizes"]) == (None, [])
    assert not {"two-ways-open", "way-round-not-sized"} & codes(given)


def test_a_fall_is_mended_by_its_drop_alone() -> None:
    given = told(inlet_kind="fall", inlet_height="20 cm", wanted_inlet_velocity="50 cm/s")
    assert given.values["share"] == 1
    assert given.values["inlet_velocity_then"] == given.values["inlet_velocity"]
    [row] = given.values["sizes"]
    assert (row["name"], row["length_that_would_do"]) == ("inlet_height", pytest.approx(0.25 / (2 * 9.80665)))
    assert "fall-is-not-mended" in codes(given)


def test_a_spreader_is_mended_by_its_open_area() -> None:
    values = told(inlet_kind="spreader", inlet_open_area="100 cm2", wanted_inlet_velocity="5 cm/s").values
    [row] = values["sizes"]
    assert (row["area_now"], row["area_that_would_do"]) == (pytest.approx(0.01), pytest.approx(0.02))
    assert row["length_now"] is row["length_that_would_do"] is None


def test_a_wish_that_can_not_be_judged_is_set_aside_and_alone_refused() -> None:
    given = told(wanted_mean_velocity="0.4 cm/s", wanted_inlet_velocity="4 cm/s")
    assert "wish-set-aside" in codes(given)
    assert given.values["share"] == pytest.approx(0.72)
    assert refused(wanted_inlet_velocity="4 cm/s") == ["/inlet_kind"]
    assert refused(wanted_mean_velocity="4 cm/s", depth=None) == ["/depth"]
    assert refused(wanted_residence_time="4 min", depth=None, direction="up") == ["/depth"]


@pytest.mark.parametrize(
    ("said", "place"),
    [
        ({}, "/wanted_mean_velocity"),
        ({"flow": "0 L/h"}, "/flow"),
        ({"flow_share": "0 %"}, "/flow_share"),
        ({"inlet_diameter": "4 cm"}, "/inlet_diameter"),
        ({"head_drop": "0 mm"}, "/head_drop"),
        ({"use": "return", "plant_coverage": "50 %"}, "/plant_coverage"),
        ({"media_volume": "900 L"}, "/media_volume"),
    ],
)
def test_what_can_not_be_is_refused_at_its_place(said: dict[str, Any], place: str) -> None:
    wish = {"wanted_mean_velocity": "1 cm/s"} if said else {}
    assert refused(**wish, **said) == [place]


SPEEDS = st.floats(0.05, 20).map(lambda x: f"{x:.4g} cm/s")
SPLITS = st.fixed_dictionaries(
    {
        "flow": st.floats(50, 20000).map("{:.4g} L/h".format),
        "direction": st.sampled_from(["along", "up", "down"]),
        "flow_share": st.integers(10, 100).map("{} %".format),
        "wanted_mean_velocity": SPEEDS,
        "head_drop": st.floats(0.5, 100).map("{:.4g} mm".format),
    },
    optional={
        "wanted_residence_time": st.floats(0.1, 60).map("{:.4g} min".format),
        "media_volume": st.just("50 L"),
        "plant_coverage": st.integers(0, 100).map("{} %".format),
        "bypass_elbows": st.integers(0, 6),
    },
)


@given(SPLITS)
@settings(max_examples=60)
def test_every_step_follows_from_its_own_numbers(assert_followed, said) -> None:
    for step in told(**said).steps:
        assert_followed(step)


@given(SPLITS)
@settings(max_examples=60)
def test_what_enters_and_what_goes_round_are_the_whole_flow_and_keep_the_wishes(said) -> None:
    values = told(**said).values
    assert values["flow_in"] + values["flow_round"] == pytest.approx(float(said["flow"].split()[0]) / 3.6e6)
    assert values["mean_velocity_then"] <= float(said["wanted_mean_velocity"].split()[0]) / 100 * (1 + 1e-9)
    if "wanted_residence_time" in said:
        assert values["residence_time_then"] >= float(said["wanted_residence_time"].split()[0]) * 60 * (
            1 - 1e-9
        )
    if values["bypass_bore"] is not None:
        assert math.pi / 4 * values["bypass_bore"] ** 2 > 0.61 * values["slot_area"]


@given(SPLITS)
@settings(max_examples=40)
def test_the_share_is_the_one_that_chamber_flow_wants(said) -> None:
    section = {
        "name": "bed",
        "use": "planted-floating",
        "length": "80 cm",
        "width": "60 cm",
        "depth": "30 cm",
        "limit_mean_velocity": said["wanted_mean_velocity"],
        "limit_shortest_residence": said.get("wanted_residence_time"),
        **{name: said.get(name) for name in ("direction", "flow_share", "media_volume", "plant_coverage")},
    }
    [row] = answer(CHAMBER_FLOW, {"flow": said["flow"], "sections": [section]}).values["sections"]
    values = told(**said).values
    wanted = row["wanted_flow_share"]
    assert values["share"] == pytest.approx(
        float(said["flow_share"].split()[0]) / 100 if wanted is None else wanted
    )


MAGNITUDES = st.floats(0, 1e15) | st.floats(0, 1e-290) | st.integers(0, 100)
LENGTHS = st.builds("{} {}".format, MAGNITUDES, st.sampled_from(["cm", "m"]))


@given(
    st.fixed_dictionaries(
        {"flow": MAGNITUDES.map("{} L/h".format), "wanted_mean_velocity": MAGNITUDES.map("{} cm/s".format)},
        optional={
            "length": LENGTHS,
            "width": LENGTHS,
            "depth": LENGTHS,
            "head_drop": LENGTHS,
            "bypass_length": LENGTHS,
            "flow_share": st.floats(0, 1).map("{} 1".format),
        },
    )
)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(said) -> None:
    try:
        given = told(**said)
    except Invalid as trouble:
        assert trouble.message
    else:
        json.dumps(as_json(given), allow_nan=False)
