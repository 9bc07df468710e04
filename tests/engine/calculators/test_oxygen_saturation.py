"""Oxygen saturation as a keeper asks for it. Sources: fixtures/published/SOURCES.md."""

import csv
import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.calculators.oxygen_saturation import OXYGEN_SATURATION
from weirbook.engine.saying import speaking
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
WATER = {"temperature": "20 degC"}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


def asked(**said: Any) -> Answer:
    return answer(OXYGEN_SATURATION, {**WATER, **said})


def value(found: Answer, name: str, unit: str | None = None) -> float:
    return found.quantity(name, unit).value


def codes(found: Answer) -> set[str]:
    return {caution.code for caution in found.cautions}


@pytest.mark.parametrize("row", rows("do_saturation_fresh_1atm"), ids=lambda row: row["temp_c"])
def test_at_the_sea_it_is_what_the_standard_prints(row: dict[str, str]) -> None:
    found = asked(temperature=f"{row['temp_c']} degC")
    assert value(found, "saturation", "mg/L") == pytest.approx(float(row["do_sat_mg_per_l"]), abs=0.006)


@pytest.mark.parametrize(
    "row",
    rows("do_saturation_pressure_salinity"),
    ids=lambda row: f"{row['temp_c']} {row['salinity_psu']} {row['pressure_mmhg']}",
)
def test_it_follows_pressure_altitude_and_salt(row: dict[str, str]) -> None:
    water = {"temperature": f"{row['temp_c']} degC", "salinity": f"{row['salinity_psu']} g/kg"}
    held = float(row["do_sat_mg_per_l"])
    found = asked(**water, pressure=f"{row['pressure_kpa']} kPa")
    assert value(found, "saturation", "mg/L") == pytest.approx(held, abs=1e-3)
    # mmHg is printed to a tenth, which is 1 in 5,000 of the lowest.
    assert value(asked(**water, pressure=f"{row['pressure_mmhg']} mmHg"), "saturation") == pytest.approx(
        held, abs=2e-3
    )
    if row["altitude_m"]:
        by_height = asked(**water, altitude=f"{row['altitude_m']} m")
        assert value(by_height, "saturation") == pytest.approx(held, rel=1e-3)
        assert value(by_height, "pressure", "kPa") == pytest.approx(float(row["pressure_kpa"]), rel=1e-3)


def test_a_measurement_is_told_as_a_share() -> None:
    # 9.09 mg/L at 20 degC: EN 25814.
    found = asked(dissolved_oxygen="6 mg/L")
    assert value(found, "share", "%") == pytest.approx(6 / 9.09 * 100, abs=0.1)
    assert value(found, "missing") == pytest.approx(3.09, abs=0.006)
    # 8.26 mg/L at 25 degC.
    assert value(found, "saturation_warmer") == pytest.approx(8.26, abs=0.006)


@pytest.mark.parametrize(
    ("oxygen", "verdict", "code"),
    [
        ("2.99 mg/L", "over", "too-little-oxygen"),
        ("3 mg/L", "watch", None),
        ("4.99 mg/L", "watch", None),
        ("5 mg/L", "ok", None),
        # 110 % of 9.09 is 10.0.
        ("9.98 mg/L", "ok", None),
        ("10.02 mg/L", "watch", "gas-bubbles"),
    ],
)
def test_the_verdict_turns_at_the_published_limits(oxygen: str, verdict: str, code: str | None) -> None:
    found = asked(dissolved_oxygen=oxygen)
    assert found.values["verdict"] == verdict
    assert codes(found) & {"too-little-oxygen", "gas-bubbles"} == ({code} if code else set())


def test_cold_water_fish_are_asked_for_with_their_own_least() -> None:
    assert asked(dissolved_oxygen="5.5 mg/L", least_oxygen="6 mg/L").values["verdict"] == "over"
    assert asked(dissolved_oxygen="6 mg/L", least_oxygen="6 mg/L").values["verdict"] == "ok"
    assert asked(dissolved_oxygen="4.5 mg/L", least_oxygen="4 mg/L").values["verdict"] == "watch"


def test_without_a_measurement_the_verdict_is_unknown_but_the_saturation_is_told() -> None:
    found = asked()
    assert found.values["verdict"] == "unknown"
    assert found.values["share"] is None and found.values["missing"] is None
    assert found.values["why"] == "Not measured; this water can hold 9.09 mg/L."


def test_where_the_tanks_stand_is_told_or_assumed() -> None:
    assert any("level of the sea" in one.text for one in asked().assumptions)
    assert not any("level of the sea" in one.text for one in asked(altitude="0 m").assumptions)
    high, sea = asked(altitude="600 m"), asked()
    assert value(high, "saturation") / value(sea, "saturation") == pytest.approx(1 - 6 * 0.012, abs=0.004)
    below = asked(altitude="-400 m")
    assert value(below, "saturation") > value(sea, "saturation")


def test_a_pressure_told_goes_before_the_altitude_and_one_reduced_to_the_sea_is_noticed() -> None:
    told = asked(altitude="1500 m", pressure="84 kPa")
    assert value(told, "pressure") == 84
    assert "pressure-and-altitude" not in codes(told)
    reduced = asked(altitude="1500 m", pressure="1013 hPa")
    assert value(reduced, "pressure") == 101.3
    assert "pressure-and-altitude" in codes(reduced)


def test_hot_water_that_cannot_hold_what_is_wanted_says_so() -> None:
    found = asked(temperature="40 degC", altitude="2500 m", dissolved_oxygen="4 mg/L")
    assert "cannot-hold-enough" in codes(found)
    assert "cannot-hold-enough" not in codes(asked(dissolved_oxygen="4 mg/L"))


@pytest.mark.parametrize(
    "said",
    [{"temperature": "41 degC"}, {"pressure": "50 kPa"}, {"pressure": "112 kPa"}, {"salinity": "41 g/kg"}],
)
def test_outside_the_published_range_the_answer_carries_a_caution(said: dict[str, Any]) -> None:
    assert "outside-the-formula" in codes(asked(**said))


@pytest.mark.parametrize(
    "said",
    [
        {},
        {"temperature": "40 degC"},
        {"pressure": "51 kPa"},
        {"pressure": "111 kPa"},
        {"salinity": "40 g/kg"},
    ],
)
def test_within_it_there_is_none(said: dict[str, Any]) -> None:
    assert "outside-the-formula" not in codes(asked(**said))


@pytest.mark.parametrize(
    ("said", "pointer"),
    [
        ({"temperature": "0 K"}, "/temperature"),
        ({"temperature": "-1 degC"}, "/temperature"),
        ({"temperature": None}, "/temperature"),
        ({"pressure": "0 kPa"}, "/pressure"),
        ({"pressure": "2 kPa"}, "/pressure"),
        ({"pressure": "1013 kPa"}, "/pressure"),
        ({"altitude": "9100 m"}, "/altitude"),
        ({"dissolved_oxygen": "-1 mg/L"}, "/dissolved_oxygen"),
        ({"dissolved_oxygen": "80 %"}, "/dissolved_oxygen"),
        ({"least_oxygen": "0 mg/L"}, "/least_oxygen"),
        ({"salinity": "60 g/kg"}, "/salinity"),
    ],
)
def test_an_impossible_input_is_refused_at_its_place(said: dict[str, Any], pointer: str) -> None:
    with pytest.raises(Invalid) as refused:
        asked(**said)
    assert [fault.pointer for fault in refused.value.faults] == [pointer]


def test_air_so_thin_that_water_boils_is_refused_in_words() -> None:
    # Water boils at 20 degC under 2.34 kPa: steam tables.
    asked(pressure="2.4 kPa")
    with pytest.raises(Invalid, match="boils"):
        asked(pressure="2.3 kPa")


def test_sentences_speak_in_the_rooms_units() -> None:
    with speaking({"concentration": "ug/L"}):
        assert asked(dissolved_oxygen="6 mg/L").values["why"].startswith("6000 ug/L was measured")


STEPS = st.fixed_dictionaries(
    {"temperature": st.floats(33, 120).map(lambda x: f"{x:.1f} degF")},
    optional={
        "pressure": st.floats(60, 110).map(lambda x: f"{x:.2f} kPa"),
        "altitude": st.floats(-500, 9000).map(lambda x: f"{x:.0f} m"),
        "salinity": st.floats(0.01, 40).map(lambda x: f"{x:.2f} g/kg"),
        "dissolved_oxygen": st.floats(0.1, 20).map(lambda x: f"{x:.2f} mg/L"),
    },
)


@given(STEPS)
def test_every_step_follows_from_its_own_numbers(assert_followed, said) -> None:
    for step in asked(**said).steps:
        assert_followed(step)


@given(STEPS)
def test_the_polynomials_are_followed_though_their_terms_nearly_cancel(said) -> None:
    """The shared check allows for the size of single terms: here each is worked out and held to 2 in 10,000."""
    for step in asked(**said).steps:
        if step.words.startswith(("logarithm of", "theta,")):
            plain = re.sub(r"(?<=\d) (degC|g/kg)", "", step.working)
            for sign, python in (("÷", "/"), ("×", "*"), ("−", "-"), ("^", "**")):
                plain = plain.replace(sign, python)
            assert eval(plain) == pytest.approx(step.value, rel=2e-4, abs=2e-5)


ANYTHING = st.none() | st.booleans() | st.floats() | st.text(max_size=8) | st.lists(st.integers(), max_size=2)
SIZES = st.builds(
    "{} {}".format,
    st.floats(-1e15, 1e15),
    st.sampled_from(["mg/L", "kPa", "m", "ft", "degC", "g/kg", "ug/L"]),
)


@given(st.dictionaries(st.sampled_from([*OXYGEN_SATURATION.params, "x"]), ANYTHING | SIZES))
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body: dict[str, Any]) -> None:
    try:
        found = answer(OXYGEN_SATURATION, {**WATER, **body})
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(found), allow_nan=False)
