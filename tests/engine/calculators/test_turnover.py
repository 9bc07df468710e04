import csv
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.calculators.turnover import TURNOVER
from weirbook.engine.shape import answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
WASHOUT = list(csv.DictReader((PUBLISHED / "cstr_time_to_fraction.csv").open()))
POOL = {
    row["turnovers"]: float(row["published_fraction_filtered"])
    for row in csv.DictReader((PUBLISHED / "turnover_dilution_published.csv").open())
}


def tank(name: str, volume: str, flow: str) -> dict[str, str]:
    return {"name": name, "volume": volume, "flow": flow}


@pytest.mark.parametrize(
    "row", [r for r in WASHOUT if r["fraction_removed"] in ("0.95", "0.99")], ids=lambda row: row["case_id"]
)
def test_turnover_and_times_are_those_of_a_stirred_tank(row: dict[str, str]) -> None:
    told = {
        "volume": f"{row['volume_l']} L",
        "flow": f"{row['flow_l_per_h']} L/h",
        "removal_per_pass": f"{row['removal_per_pass']} 1",
    }
    given = answer(TURNOVER, told)
    percent = round(float(row["fraction_removed"]) * 100)
    assert given.quantity("turnovers_per_hour").value == pytest.approx(
        float(row["turnovers_per_h"]), rel=1e-4
    )
    assert given.quantity(f"time_to_{percent}", "h").value == pytest.approx(float(row["time_h"]), rel=1e-4)
    assert given.quantity("minutes_per_turnover").value == pytest.approx(60 * float(row["residence_time_h"]))


def test_63_per_cent_are_through_after_about_one_turnover_and_95_after_about_three() -> None:
    given = answer(TURNOVER, {"volume": "800 L", "flow": "800 L/h"})
    assert (POOL["1"], POOL["3"]) == (0.63, 0.95)
    assert given.quantity("time_to_63", "h").value == pytest.approx(1, abs=0.02)
    assert given.quantity("time_to_95", "h").value == pytest.approx(3, abs=0.02)


def test_us_gallons_an_hour_are_shown_converted_before_they_are_used() -> None:
    given = answer(TURNOVER, {"volume": "800 L", "flow": "900 gal/h"})
    # 1 US gallon is 3.785411784 L by definition.
    assert given.quantity("turnovers_per_hour").value == pytest.approx(900 * 3.785411784 / 800)
    assert given.steps[0].working == "900 gal/h × 3.78541"
    assert as_json(given)["inputs"]["flow"] == {"value": 900, "unit": "gal/h", "origin": "given"}


def test_tanks_on_one_sump_get_their_share_and_their_own_turnover() -> None:
    tanks = [tank("left", "300 L", "1500 L/h"), tank("right", "100 L", "500 L/h")]
    given = answer(TURNOVER, {"volume": "500 L", "flow": "2000 L/h", "tanks": tanks})
    rows = as_json(given)["results"]["tanks"]
    assert [row["share_of_flow"]["value"] for row in rows] == [75, 25]
    assert [row["turnovers_per_hour"]["value"] for row in rows] == [5, 5]
    assert [row["minutes_per_turnover"] for row in rows] == [{"value": 12, "unit": "min"}] * 2
    assert "not-one-body" in [caution.code for caution in given.cautions]


def test_flow_that_reaches_no_named_tank_is_told_as_an_assumption() -> None:
    tanks = [tank("left", "300 L", "1500 L/h")]
    given = answer(TURNOVER, {"volume": "500 L", "flow": "2000 L/h", "tanks": tanks})
    assert any("500 L/h of the flow goes elsewhere" in one.text for one in given.assumptions)


@pytest.mark.parametrize(
    ("tanks", "word"),
    [
        ([tank("left", "200 L", "1500 L/h"), tank("right", "200 L", "600 L/h")], "2100 L/h"),
        ([tank("left", "300 L", "1000 L/h"), tank("right", "300 L", "1000 L/h")], "600 L"),
    ],
)
def test_tanks_that_are_more_than_the_whole_are_refused(tanks: list[dict[str, str]], word: str) -> None:
    with pytest.raises(Invalid) as refused:
        answer(TURNOVER, {"volume": "500 L", "flow": "2000 L/h", "tanks": tanks})
    assert [fault.pointer for fault in refused.value.faults] == ["/tanks"]
    assert word in refused.value.faults[0].message


def test_measured_shares_that_miss_the_whole_by_less_than_a_hundredth_are_taken_to_add_up() -> None:
    tanks = [tank("left", "200 L", "1005 L/h"), tank("right", "200 L", "1005 L/h")]
    given = answer(TURNOVER, {"volume": "500 L", "flow": "2000 L/h", "tanks": tanks})
    assert not any("elsewhere" in one.text for one in given.assumptions)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("volume", "0 L"),
        ("flow", "-5 L/h"),
        ("flow", 900),
        ("removal_per_pass", "0 %"),
        ("removal_per_pass", "120 %"),
        ("volume", "800 L/h"),
    ],
)
def test_an_impossible_input_is_refused_at_its_place(name: str, value: object) -> None:
    with pytest.raises(Invalid) as refused:
        answer(TURNOVER, {"volume": "800 L", "flow": "900 L/h", name: value})
    assert [fault.pointer for fault in refused.value.faults] == [f"/{name}"]


FIGURES = st.floats(0.01, 1e5).map(lambda x: float(f"{x:.4g}"))


@given(
    FIGURES,
    st.sampled_from(["L", "gal", "m3"]),
    FIGURES,
    st.sampled_from(["L/h", "gal/min"]),
    st.floats(0.05, 1),
)
def test_every_step_follows_from_its_own_numbers(
    assert_followed, volume, v_unit, flow, f_unit, removal
) -> None:
    told = {"volume": f"{volume} {v_unit}", "flow": f"{flow} {f_unit}", "removal_per_pass": f"{removal} 1"}
    part = {"name": "only", "volume": f"{volume / 2} {v_unit}", "flow": f"{flow / 3} {f_unit}"}
    for step in answer(TURNOVER, {**told, "tanks": [part]}).steps:
        assert_followed(step)


@given(FIGURES, FIGURES, st.floats(0.05, 1))
def test_more_flow_or_better_removal_is_never_slower(volume: float, flow: float, removal: float) -> None:
    def time(flow: float, removal: float) -> float:
        told = {"volume": f"{volume} L", "flow": f"{flow} L/h", "removal_per_pass": f"{removal} 1"}
        return answer(TURNOVER, told).values["time_to_95"]

    assert time(2 * flow, removal) == pytest.approx(time(flow, removal) / 2)
    assert time(flow, 1.0) <= time(flow, removal)


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
SIZES = st.builds("{} {}".format, st.floats(-1e15, 1e15), st.sampled_from(["L", "uL", "m3", "gal"]))
RATES = st.builds("{} {}".format, st.floats(-1e15, 1e15), st.sampled_from(["L/h", "mL/d", "m3/s"]))
TANKS = st.lists(
    st.fixed_dictionaries(
        {"name": st.text(max_size=5) | ANYTHING, "volume": SIZES | ANYTHING, "flow": RATES | ANYTHING}
    )
    | ANYTHING,
    max_size=3,
)
BODIES = ANYTHING | st.fixed_dictionaries(
    {"volume": SIZES | ANYTHING, "flow": RATES | ANYTHING},
    optional={
        "removal_per_pass": st.floats().map("{} 1".format) | ANYTHING,
        "tanks": TANKS | ANYTHING,
        "x": ANYTHING,
    },
)


@given(BODIES)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        given = answer(TURNOVER, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(given), allow_nan=False)
