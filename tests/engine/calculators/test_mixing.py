import csv
import json
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.mixing import MIXING
from weirbook.engine.shape import answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def published(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


WASHOUT = published("cstr_time_to_fraction")
POOL = [
    row for row in published("turnover_dilution_published") if row["published_value_how_obtained"] == "read"
]
CHAINS = published("tanks_in_series_washout")
LOOPS = published("two_tank_loop_washout")
STEADY = published("filter_steady_state")

PAIR = {
    "bodies": [{"name": "display", "volume": "400 L"}, {"name": "sump", "volume": "100 L"}],
    "flows": [
        {"from_body": "display", "to_body": "sump", "flow": "1500 L/h"},
        {"from_body": "sump", "to_body": "display", "flow": "1500 L/h"},
    ],
}


def refusal(**told: object) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        answer(MIXING, told)
    return {fault.pointer: fault.message for fault in refused.value.faults}


def loop(row: dict[str, str]) -> dict[str, object]:
    flow = f"{row['flow_l_per_h']} L/h"
    removal = f"{row['removal_per_pass_at_sump_outlet']} 1"
    return {
        "bodies": [
            {"name": "display", "volume": f"{row['display_volume_l']} L"},
            {"name": "sump", "volume": f"{row['sump_volume_l']} L", "removal_per_pass": removal},
        ],
        "flows": [
            {"from_body": "display", "to_body": "sump", "flow": flow},
            {"from_body": "sump", "to_body": "display", "flow": flow},
        ],
        "after": f"{row['time_h']} h",
    }


@pytest.mark.parametrize("row", WASHOUT, ids=lambda row: row["case_id"])
def test_one_tank_exchanges_as_a_stirred_tank_does(row: dict[str, str]) -> None:
    told = {
        "volume": f"{row['volume_l']} L",
        "flow": f"{row['flow_l_per_h']} L/h",
        "removal_per_pass": f"{row['removal_per_pass']} 1",
        "shares": [{"share": f"{row['fraction_removed']} 1"}],
    }
    given = answer(MIXING, told)
    assert given.values["times"][0]["time"] / 3600 == pytest.approx(float(row["time_h"]), rel=1e-4)
    assert given.quantity("mean_stay", "h").value == pytest.approx(float(row["residence_time_h"]), rel=1e-4)


@pytest.mark.parametrize("row", POOL, ids=lambda row: row["turnovers"])
def test_one_tank_exchanges_as_measured_in_a_model_pool(row: dict[str, str]) -> None:
    told = {"volume": "1 m3", "flow": "1 m3/h", "after": f"{row['turnovers']} h"}
    left = answer(MIXING, told).values["share_left"]
    assert 1 - left == pytest.approx(float(row["published_fraction_filtered"]), abs=0.01)


@pytest.mark.parametrize(
    "row", CHAINS, ids=lambda row: f"{row['tank_count']} tanks, {row['dimensionless_time']}"
)
def test_a_chain_lets_go_as_the_published_distribution(assert_followed, row: dict[str, str]) -> None:
    told = {
        "volume": "1 m3",
        "flow": "1 m3/h",
        "tanks_in_series": int(row["tank_count"]),
        "shares": [{"share": f"{row['fraction_exited']} 1"}],
    }
    given = answer(MIXING, told)
    assert given.values["times"][0]["time"] / 3600 == pytest.approx(
        float(row["dimensionless_time"]), rel=1e-3
    )
    for step in given.steps:
        assert_followed(step)


@pytest.mark.parametrize("row", LOOPS, ids=lambda row: row["case_id"])
def test_a_display_and_its_sump_wash_out_as_the_exact_solution(row: dict[str, str]) -> None:
    given = answer(MIXING, loop(row))
    assert given.values["share_left"] == pytest.approx(float(row["mass_remaining_ratio"]), rel=5e-3)
    first = given.values["bodies"][0]["first_level"]
    for body, column in enumerate(("display_concentration_ratio", "sump_concentration_ratio")):
        level = given.values["bodies"][body]["level_after"]
        assert level / first == pytest.approx(float(row[column]), rel=5e-3)


@pytest.mark.parametrize("row", STEADY, ids=lambda row: row["case_id"])
def test_a_steady_load_settles_at_the_published_level(row: dict[str, str]) -> None:
    told = {
        "volume": f"{row['system_volume_l']} L",
        "flow": f"{row['flow_l_per_h']} L/h",
        "removal_per_pass": f"{row['removal_per_pass']} 1",
        "load": f"{float(row['waste_input_mg_per_day']) / 1000} g/d",
    }
    level = answer(MIXING, told).quantity("steady_level", "mg/L")
    assert level.value == pytest.approx(float(row["steady_concentration_mg_per_l"]), rel=1e-3)


def test_a_simple_question_needs_volume_and_flow_alone() -> None:
    given = answer(MIXING, {"volume": "200 L", "flow": "1000 L/h"})
    assert [row["share"] for row in given.values["times"]] == [0.5, 0.9, 0.95, 0.99]
    assert given.values["even_time"] is None and given.values["bodies"] == []


def test_two_bodies_even_out_by_the_sum_of_their_rates() -> None:
    # Exact for two bodies: their difference fades as exp(-(Q/V1 + Q/V2) t), of 4 even levels in the sump.
    given = answer(MIXING, {**PAIR, "dosed_body": "sump", "even_within": "1 %"})

    hours = math.log(4 / 0.01) / (1500 / 400 + 1500 / 100)
    assert given.quantity("even_time", "h").value == pytest.approx(hours, rel=1e-5)
    assert "strong-at-first" in [caution.code for caution in given.cautions]


def test_a_dose_in_the_largest_body_is_not_strong_at_first() -> None:
    given = answer(MIXING, {**PAIR, "dosed_body": "display"})
    assert "strong-at-first" not in [caution.code for caution in given.cautions]
    assert [row["time_in_bodies"] for row in given.values["times"]] == [None] * 4


def test_a_body_whose_flows_do_not_balance_is_named() -> None:
    flows = [PAIR["flows"][0], {**PAIR["flows"][1], "flow": "1400 L/h"}]
    words = refusal(bodies=PAIR["bodies"], flows=flows)["/flows"]
    assert "run dry" in words or "fill up" in words
    assert "display" in words or "sump" in words


def test_flows_that_balance_roughly_are_taken_and_said_to_keep_levels_apart() -> None:
    flows = [PAIR["flows"][0], {**PAIR["flows"][1], "flow": "1490 L/h"}]
    roughly = answer(MIXING, {"bodies": PAIR["bodies"], "flows": flows})
    assert roughly.values["even_time"] is not None
    asked = answer(MIXING, {"bodies": PAIR["bodies"], "flows": flows, "even_within": "0.1 %"})
    assert asked.values["even_time"] is None
    assert "never-even" in [caution.code for caution in asked.cautions]


def test_bodies_that_share_no_water_are_named() -> None:
    bodies = [*PAIR["bodies"], {"name": "vat", "volume": "1 m3"}]
    assert "'vat'" in refusal(bodies=bodies, flows=PAIR["flows"])["/flows"]


def test_names_and_inputs_that_do_not_fit_are_refused_at_their_place() -> None:
    flows = [{"from_body": "sump", "to_body": "sump", "flow": "1 L/h"}]
    assert list(refusal(bodies=PAIR["bodies"], flows=flows)) == ["/flows/0/to_body"]
    flows = [{"from_body": "pond", "to_body": "sump", "flow": "1 L/h"}]
    assert list(refusal(bodies=PAIR["bodies"], flows=flows)) == ["/flows/0/from_body"]
    assert list(refusal(**PAIR, dosed_body="pond")) == ["/dosed_body"]
    assert list(refusal()) == ["/volume", "/flow"]
    assert list(refusal(volume="1 m3")) == ["/flow"]
    assert list(refusal(volume="1 m3", flow="1 m3/h", dosed_body="sump")) == ["/dosed_body"]
    assert list(refusal(volume="1 m3", flow="1 m3/h", tanks_in_series=2, removal_per_pass="50 %")) == [
        "/removal_per_pass"
    ]
    assert list(refusal(**PAIR, load="1 g/d")) == ["/load"]
    many = [{"name": f"tank {n}", "volume": "1 m3"} for n in range(13)]
    assert "12" in refusal(bodies=many)["/bodies"]


LITRES, RATES = st.floats(1, 5000).map("{:.3f} L".format), st.floats(1, 9000).map("{:.3f} L/h".format)


@st.composite
def rooms(draw: st.DrawFn) -> dict[str, object]:
    """Tanks of any names on one sump, side by side, and the same water as one body."""
    count = draw(st.integers(1, 4))
    names = draw(
        st.lists(
            st.text("ab -é{}.1", min_size=1, max_size=5).filter(str.strip),
            min_size=count,
            max_size=count,
            unique=True,
        )
    )
    names = [name for name in names if name != "sump"]
    bodies = [{"name": name, "volume": draw(LITRES)} for name in names]
    bodies.append(
        {"name": "sump", "volume": draw(LITRES), "removal_per_pass": f"{draw(st.floats(0, 1)):.3f} 1"}
    )
    flows = []
    for name in names:
        flow = draw(RATES)
        flows.append({"from_body": "sump", "to_body": name, "flow": flow})
        flows.append({"from_body": name, "to_body": "sump", "flow": flow})
    told: dict[str, object] = {
        "bodies": bodies,
        "flows": flows,
        "dosed_body": draw(st.sampled_from([*names, "sump"])),
    }
    if draw(st.booleans()):
        told["after"] = f"{draw(st.floats(0, 1000)):.3f} min"
    if draw(st.booleans()):
        told |= {"volume": draw(LITRES), "flow": draw(RATES)}
    return told


@settings(max_examples=40)
@given(rooms())
def test_every_step_follows_from_its_own_numbers(assert_followed, told: dict[str, object]) -> None:
    for step in answer(MIXING, told).steps:
        assert_followed(step)


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
HUGE = st.floats(0, 1e300) | st.floats(0, 10)
NAMES = st.sampled_from(["a", "b", "c"])
VOLUMES, FLOWS = HUGE.map("{} L".format) | ANYTHING, HUGE.map("{} L/h".format) | ANYTHING
BODIES = st.one_of(
    ANYTHING,
    st.fixed_dictionaries(
        {},
        optional={
            "volume": VOLUMES,
            "flow": FLOWS,
            "tanks_in_series": st.integers(-1, 60) | ANYTHING,
            "removal_per_pass": st.floats(0, 1).map("{} 1".format) | ANYTHING,
            "shares": st.lists(
                st.fixed_dictionaries({"share": st.floats(0, 1).map("{} 1".format)}), max_size=2
            ),
            "load": HUGE.map("{} g/d".format) | ANYTHING,
            "after": HUGE.map("{} min".format) | ANYTHING,
            "even_within": st.floats(0, 1).map("{} 1".format) | ANYTHING,
        },
    ),
    st.builds(
        lambda one, other, flow, after: {
            "bodies": [
                {"name": "a", "volume": one},
                {"name": "b", "volume": other, "removal_per_pass": "30 %"},
            ],
            "flows": [
                {"from_body": "a", "to_body": "b", "flow": flow},
                {"from_body": "b", "to_body": "a", "flow": flow},
            ],
            "after": after,
        },
        VOLUMES,
        VOLUMES,
        FLOWS,
        HUGE.map("{} min".format) | ANYTHING,
    ),
)


@settings(max_examples=60)
@given(BODIES)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        given = answer(MIXING, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(given), allow_nan=False)
