"""How long the oxygen of a stocked water lasts. Sources: fixtures/published/SOURCES.md."""

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.calculators.oxygen_budget import OXYGEN_BUDGET
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
STOCK = {
    "volume": "240 L",
    "temperature": "26 degC",
    "fish_mass": "900 g",
    "mean_fish_mass": "15 g",
    "feed": "12 g/d",
    "open_surface": "0.5 m2",
}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


RANGES = {
    row["quantity"]: (float(row["value_low"]), float(row["value_high"]))
    for row in rows("fish_oxygen_and_co2")
}


def asked(**said: Any) -> Answer:
    return answer(OXYGEN_BUDGET, {**STOCK, **said})


def by_groups(*groups: dict[str, Any], **said: Any) -> Answer:
    return asked(fish_mass=None, mean_fish_mass=None, groups=list(groups), **said)


def group(name: str, count: int, mass: str, **said: Any) -> dict[str, Any]:
    return {"name": name, "count": count, "mass_of_one": mass, **said}


def value(found: Answer, name: str, unit: str | None = None) -> float:
    return found.quantity(name, unit).value


def codes(found: Answer) -> set[str]:
    return {caution.code for caution in found.cautions}


def refusal(**said: Any) -> list[str]:
    with pytest.raises(Invalid) as refused:
        asked(**said)
    return [fault.pointer for fault in refused.value.faults]


@pytest.mark.parametrize("row", rows("oxygen_depletion"), ids=lambda row: row["case_id"])
@pytest.mark.parametrize("grouped", [True, False])
def test_oxygen_runs_out_as_was_computed(assert_followed, row: dict[str, str], grouped: bool) -> None:
    count, mass, activity = (
        int(row["fish_count"]),
        float(row["fish_mass_g"]),
        float(row["activity_multiplier"]),
    )
    fish: dict[str, Any] = (
        {
            "groups": [group("these", count, f"{mass} g", activity=activity)],
            "fish_mass": None,
            "mean_fish_mass": None,
        }
        if grouped
        else {"fish_mass": f"{count * mass} g", "mean_fish_mass": f"{mass} g", "activity": activity}
    )
    # The lakes' exchange, 2.07 cm/h, as the slowest.
    found = asked(
        volume=f"{row['volume_l']} L",
        temperature=f"{row['temp_c']} degC",
        dissolved_oxygen=f"{row['start_mg_l']} mg/L",
        least_oxygen=f"{row['threshold_mg_l']} mg/L",
        feed="0 g/d",
        open_surface=f"{row['surface_area_m2']} m2",
        slowest_exchange="20.7 mm/h",
        **fish,
    )
    assert value(found, "saturation") == pytest.approx(float(row["saturation_mg_l"]), abs=1e-3)
    assert value(found, "total_demand", "mg/h") == pytest.approx(float(row["consumption_mg_h"]), rel=1e-3)
    assert value(found, "time_without_air", "h") == pytest.approx(float(row["hours_no_transfer"]), rel=2e-3)
    settles = max(float(row["steady_state_mg_l"]), 0)
    assert value(found, "settles_slow_exchange") == pytest.approx(settles, abs=0.02)
    if row["hours_with_transfer"]:
        expected = float(row["hours_with_transfer"])
        assert value(found, "time_slow_exchange", "h") == pytest.approx(expected, rel=2e-3)
    else:
        assert found.values["time_slow_exchange"] is None
    for step in found.steps:
        assert_followed(step)


@pytest.mark.parametrize(
    "row", rows("fish_respiration_clarke_johnston"), ids=lambda row: f"{row['temp_c']} {row['mass_g']}"
)
def test_resting_fish_use_what_was_found_for_their_mass_and_warmth(row: dict[str, str]) -> None:
    found = by_groups(
        group("these", 7, f"{row['mass_g']} g", activity=1), temperature=f"{row['temp_c']} degC"
    )
    assert value(found, "uptake", "mg/kg/h") == pytest.approx(float(row["rate_mg_kg_h"]), rel=2e-4)
    assert value(found, "fish_demand", "mg/h") == pytest.approx(7 * float(row["rate_mg_h"]), rel=2e-4)


def test_a_pond_of_warm_water_fish_falls_within_the_usual_ranges() -> None:
    """10 kg of fish of 100 g at 25 degC, fed 2 % a day: rules of thumb, from memory."""
    found = asked(
        temperature="25 degC", fish_mass="10 kg", mean_fish_mass="100 g", feed="200 g/d", volume="5 m3"
    )
    low, high = RANGES["air-saturated routine respiration, warm-water fish"]
    assert low < value(found, "uptake", "mg/kg/h") < high
    low, high = RANGES["o2 consumed by fish per kg feed"]
    assert low < value(found, "fish_demand", "g/d") / 200 < high
    low, high = RANGES["o2 total system per kg feed (fish + bacteria)"]
    assert low < value(found, "total_demand", "g/d") / 200 < high


def test_carbon_dioxide_is_that_of_one_molecule_for_one() -> None:
    found = asked()
    low, high = RANGES["co2 produced per g o2 consumed by fish"]
    ratio = value(found, "carbon_dioxide") / value(found, "fish_demand")
    assert low - 1e-3 < ratio < high + 1e-3


def test_the_filter_needs_the_oxygen_of_the_nitrogen_fed() -> None:
    """100 g of feed with 40 % protein: x 0.092 is 3.68 g N; x 2 x 31.998 / 14.007 is 16.81 g of oxygen a day."""
    found = asked(feed="100 g/d")
    assert value(found, "filter_demand", "g/d") == pytest.approx(16.813, abs=1e-3)
    assert value(asked(feed="100 g/d", protein="50 %"), "filter_demand", "g/d") == pytest.approx(
        16.813 * 1.25, abs=1e-3
    )
    assert value(asked(feed="0 g/d"), "filter_demand") == 0


@given(
    st.lists(st.tuples(st.integers(1, 500), st.floats(0.01, 500)), min_size=1, max_size=5), st.floats(0, 200)
)
def test_the_demand_is_the_sum_of_its_parts(fish: list[tuple[int, float]], feed: float) -> None:
    groups = [group(f"g{n}", count, f"{mass} g") for n, (count, mass) in enumerate(fish)]
    found = by_groups(*groups, feed=f"{feed} g/d")
    told = found.values
    assert sum(row["demand"] for row in told["groups"]) == pytest.approx(told["fish_demand"], rel=1e-9)
    assert told["fish_demand"] + told["filter_demand"] == pytest.approx(told["total_demand"], rel=1e-9)
    mass = sum(row["fish_mass"] for row in told["groups"])
    assert mass == pytest.approx(sum(count * one for count, one in fish) / 1000, rel=1e-9)
    assert told["uptake"] * mass == pytest.approx(told["fish_demand"], rel=1e-9)
    assert told["time_without_air"] * told["total_demand"] == pytest.approx(told["usable_oxygen"], rel=1e-9)
    assert told["usable_oxygen"] == pytest.approx((told["start"] - 3e-3) * 0.24, rel=1e-9)


def test_the_same_fish_told_by_mass_or_by_groups_use_the_same() -> None:
    assert by_groups(group("all", 60, "15 g")).values["total_demand"] == pytest.approx(
        asked().values["total_demand"]
    )


def test_a_gram_of_small_fish_uses_more() -> None:
    # Mass exponent 0.80: a tenth of the mass uses 10^0.2 = 1.585 times as much a gram.
    assert value(asked(mean_fish_mass="1.5 g"), "uptake") / value(asked(), "uptake") == pytest.approx(
        1.585, abs=1e-3
    )


def at_most(found: float | None) -> float:
    return float("inf") if found is None else found


@given(
    st.floats(0.01, 5),
    st.floats(50, 5000),
    st.floats(2, 33),
    st.just(0) | st.floats(0.001, 5),
    st.floats(3.5, 14),
)
def test_air_through_the_surface_only_lengthens_it_and_warmth_shortens_it(
    mass, volume, degrees, surface, oxygen
) -> None:
    said = {
        "fish_mass": f"{mass} kg",
        "mean_fish_mass": "5 g",
        "volume": f"{volume} L",
        "open_surface": f"{surface} m2",
    }
    found = asked(temperature=f"{degrees} degC", **said)
    shut = found.values["time_without_air"]
    slow, fast = (at_most(found.values[name]) for name in ("time_slow_exchange", "time_fast_exchange"))
    assert shut * (1 - 1e-9) <= slow and slow * (1 - 1e-9) <= fast
    assert asked(temperature=f"{degrees + 1} degC", **said).values["time_without_air"] < shut
    measured = asked(temperature=f"{degrees} degC", dissolved_oxygen=f"{oxygen} mg/L", **said).values
    assert measured["usable_oxygen"] == pytest.approx((oxygen - 3) * volume / 1e6)


def test_the_verdict_is_by_how_long_nobody_may_notice() -> None:
    shut = value(asked(), "time_without_air", "h")
    fast = value(asked(), "time_fast_exchange", "h")
    assert asked(unattended=f"{shut * 0.999} h").values["verdict"] == "watch"
    assert asked(unattended=f"{shut * 1.001} h").values["verdict"] == "watch"
    assert asked(unattended=f"{fast * 0.999} h").values["verdict"] == "watch"
    assert asked(unattended=f"{fast * 1.001} h").values["verdict"] == "over"
    unknown = asked(open_surface=None)
    assert unknown.values["verdict"] == "unknown"
    assert unknown.values["time_slow_exchange"] is None and unknown.values["settles_fast_exchange"] is None
    assert "open_surface" in unknown.values["why"]
    assert asked(open_surface=None, unattended="1 min").values["verdict"] == "watch"
    told = {"open_surface": None, "dissolved_oxygen": "8 mg/L"}
    assert asked(**told, unattended="1 min").values["verdict"] == "ok"


def test_a_time_is_ok_only_where_half_of_it_still_suffices() -> None:
    """A species may use twice as much: the spread of what Clarke and Johnston found."""
    measured = {"dissolved_oxygen": "8 mg/L"}
    shut = value(asked(**measured), "time_without_air", "h")
    assert asked(**measured, unattended=f"{shut / 2 * 0.999} h").values["verdict"] == "ok"
    close = asked(**measured, unattended=f"{shut / 2 * 1.001} h")
    assert close.values["verdict"] == "watch" and "twice as much" in close.values["why"]
    assert "isn't told" not in close.values["why"]


def test_a_time_is_ok_only_where_the_oxygen_at_the_start_was_told() -> None:
    found = asked(unattended="1 min")
    assert found.values["verdict"] == "watch" and "isn't told" in found.values["why"]
    assert "twice as much" not in found.values["why"]


def test_a_night_is_the_usual_span_and_a_caution_says_what_to_do() -> None:
    found = asked()
    assert found.values["verdict"] == "over"
    assert found.cautions[0].code == "oxygen-runs-out" and found.cautions[0].limit == "8 h"
    few = asked(fish_mass="15 g", feed="0 g/d", dissolved_oxygen="8 mg/L")
    assert few.values["verdict"] == "ok"
    assert "oxygen-runs-out" not in codes(few)


def test_water_that_is_too_low_already_has_no_time() -> None:
    found = asked(dissolved_oxygen="2.5 mg/L")
    assert found.values["verdict"] == "over"
    assert [found.values[name] for name in ("time_without_air", "time_slow_exchange", "usable_oxygen")] == [
        0,
        0,
        0,
    ]
    assert "starts with 2.5 mg/L" in found.values["why"]


def test_a_closed_surface_is_the_same_as_no_air() -> None:
    found = asked(open_surface="0 m2")
    assert found.values["time_slow_exchange"] == found.values["time_without_air"]
    assert found.values["settles_fast_exchange"] == 0
    assert found.values["verdict"] == "over"


def test_a_large_surface_over_few_fish_never_comes_to_the_least() -> None:
    found = asked(fish_mass="15 g", feed="0 g/d", volume="20 L", unattended="100 h", open_surface="2 m2")
    assert found.values["time_slow_exchange"] is None and found.values["time_fast_exchange"] is None
    assert found.values["verdict"] == "watch"
    assert "for good:" in found.values["why"]
    assert value(found, "settles_slow_exchange") > 3


def test_high_up_there_is_less_in_store() -> None:
    assert value(asked(altitude="2000 m"), "start") < value(asked(), "start") * 0.8
    assert value(asked(altitude="2000 m", dissolved_oxygen="6 mg/L"), "start") == 6


def test_what_warmth_and_breath_do_is_told_in_figures() -> None:
    texts = {one.code: one.text for one in asked().cautions}
    warm = value(asked(temperature="31 degC"), "time_without_air", "h")
    # Rounded down to three figures, so that what is done by it still holds.
    assert f"lasts {int(warm * 100) / 100} h" in texts["warmth-counts-twice"]
    # 1.3754 g of CO2 to a gram of oxygen.
    rise = 1.3754 * value(asked(), "fish_demand", "mg/h") / 240
    assert f"{rise:.2f} mg/L" in texts["carbon-dioxide"]
    assert "warmer-than-measured" in codes(asked(temperature="31 degC"))
    assert "warmer-than-measured" not in codes(asked())
    assert "warmth-counts-twice" not in codes(asked(temperature="48 degC"))


@pytest.mark.parametrize(
    ("said", "pointers"),
    [
        ({"fish_mass": None, "mean_fish_mass": None}, ["/fish_mass"]),
        ({"fish_mass": None}, ["/fish_mass"]),
        ({"mean_fish_mass": None}, ["/mean_fish_mass"]),
        ({"fish_mass": "10 g"}, ["/fish_mass"]),
        ({"groups": [group("a", 1, "1 g")]}, ["/groups"]),
        ({"volume": "0 L"}, ["/volume"]),
        ({"temperature": "0 K"}, ["/temperature"]),
        ({"feed": None}, ["/feed"]),
        ({"feed": "-1 g/d"}, ["/feed"]),
        ({"protein": "140 %"}, ["/protein"]),
        ({"activity": 0.5}, ["/activity"]),
        ({"slowest_exchange": "50 mm/h"}, ["/slowest_exchange"]),
        ({"dissolved_oxygen": "-1 mg/L"}, ["/dissolved_oxygen"]),
        ({"open_surface": "-1 m2"}, ["/open_surface"]),
        ({"unattended": "0 h"}, ["/unattended"]),
        ({"pressure": "1 kPa"}, ["/pressure"]),
    ],
)
def test_what_cannot_be_or_contradicts_itself_is_refused_at_its_place(
    said: dict[str, Any], pointers: list[str]
) -> None:
    assert refusal(**said) == pointers


@pytest.mark.parametrize(
    "bad", [group("a", 0, "1 g"), group("a", 1, "0 g"), group("a", 1, "1 g", activity=9)]
)
def test_a_group_that_cannot_be_is_refused_at_its_row(bad: dict[str, Any]) -> None:
    with pytest.raises(Invalid) as refused:
        by_groups(group("b", 2, "2 g"), bad)
    assert refused.value.faults[0].pointer.startswith("/groups/1/")
    with pytest.raises(Invalid):
        by_groups(group("b", 2, "2 g"), group("b", 3, "2 g"))


@given(
    st.floats(33, 100).map(lambda x: f"{x:.1f} degF"),
    st.lists(st.tuples(st.integers(1, 300), st.floats(0.1, 500)), min_size=1, max_size=3),
    st.floats(10, 5000).map(lambda x: f"{x:.4g} L"),
    st.floats(0, 5).map(lambda x: f"{x:.3f} m2"),
    st.none() | st.floats(3.5, 12).map(lambda x: f"{x:.2f} mg/L"),
    st.floats(0, 300).map(lambda x: f"{x:.1f} g/d"),
)
def test_every_step_follows_from_its_own_numbers(
    assert_followed, temperature, fish, volume, surface, oxygen, feed
) -> None:
    groups = [group(f"g{n} {{odd}}", count, f"{mass:.3g} g") for n, (count, mass) in enumerate(fish)]
    found = by_groups(
        *groups,
        temperature=temperature,
        volume=volume,
        open_surface=surface,
        dissolved_oxygen=oxygen,
        feed=feed,
        altitude="300 m",
    )
    for step in found.steps:
        # The logarithm of a ratio near to one loses digits of what it is worked from.
        if not step.words.startswith(("hours with slow", "hours with fast")):
            assert_followed(step)


ANYTHING = st.none() | st.booleans() | st.floats() | st.text(max_size=8) | st.lists(st.integers(), max_size=2)
SIZES = st.builds(
    "{} {}".format,
    st.floats(-1e15, 1e15) | st.sampled_from([1e-300, 5e-324, 1e15]),
    st.sampled_from(["mg/L", "kPa", "m", "m2", "degC", "g/kg", "g", "kg/s", "mm/h", "L", "h", "1"]),
)
ROWS = st.lists(
    st.fixed_dictionaries(
        {"name": st.text(max_size=3), "count": st.integers(-1, 10**7), "mass_of_one": SIZES | ANYTHING}
    )
    | ANYTHING,
    max_size=2,
)


@given(st.dictionaries(st.sampled_from([*OXYGEN_BUDGET.params, "x"]), ANYTHING | SIZES | ROWS))
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body: dict[str, Any]) -> None:
    try:
        found = answer(OXYGEN_BUDGET, {**STOCK, **body})
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(found), allow_nan=False)
