import csv
from pathlib import Path
from typing import Any

import gsw
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.calculators.water_change_temperature import WATER_CHANGE_TEMPERATURE
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ASKED = dict(WATER_CHANGE_TEMPERATURE.example)
PLAIN = {
    "volume": "200 L",
    "change_volume": "50 L",
    "temperature": "25 degC",
    "source_temperature": "19 degC",
}


def value(given: Answer, name: str, unit: str | None = None) -> float:
    found = given.quantity(name, unit)
    assert found is not None and not isinstance(found, str)
    return float(found.value)


def refusal(asked: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        answer(WATER_CHANGE_TEMPERATURE, asked)
    return {fault.pointer: fault.message for fault in refused.value.faults}


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


def mixed_by_mass(volumes: dict[float, float]) -> float:
    """Temperature of fresh water mixed, by the thermodynamic equation of sea water, TEOS-10 (gsw): degC to litres."""
    heat = mass = 0.0
    for celsius, litres in volumes.items():
        warm = gsw.CT_from_t(0, celsius, 0)
        one = litres * gsw.rho(0, warm, 0)
        heat, mass = heat + one * warm, mass + one
    return float(gsw.t_from_CT(0, heat / mass, 0))


@pytest.mark.parametrize("source", [5, 12, 19, 24.5, 31, 38])
@pytest.mark.parametrize("changed", [10, 50, 150])
def test_the_tank_is_as_warm_as_the_equation_of_state_has_it(source: float, changed: float) -> None:
    found = answer(
        WATER_CHANGE_TEMPERATURE,
        {**PLAIN, "change_volume": f"{changed} L", "source_temperature": f"{source} degC"},
    )
    expected = mixed_by_mass({25: 200 - changed, source: changed})
    assert value(found, "temperature_after", "degC") == pytest.approx(expected, abs=0.05)
    assert value(found, "temperature_change") == pytest.approx(expected - 25, abs=0.05)


@pytest.mark.parametrize(("hot", "cold", "wanted"), [(38, 8, 25), (40, 15, 27), (36, 12, 18)])
def test_hot_and_cold_make_what_the_equation_of_state_has(hot: float, cold: float, wanted: float) -> None:
    found = answer(
        WATER_CHANGE_TEMPERATURE,
        {
            **ASKED,
            "hot_temperature": f"{hot} degC",
            "cold_temperature": f"{cold} degC",
            "mixed_temperature": f"{wanted} degC",
        },
    )
    litres = value(found, "hot_water", "L"), value(found, "cold_water", "L")
    assert sum(litres) == pytest.approx(120, rel=1e-9)
    assert mixed_by_mass({hot: litres[0], cold: litres[1]}) == pytest.approx(wanted, abs=0.1)


def test_hot_and_cold_by_hand() -> None:
    """13 of 40 degrees on the way from cold to hot: 0.325 of 120 L."""
    found = answer(WATER_CHANGE_TEMPERATURE, ASKED)
    assert value(found, "hot_water", "L") == pytest.approx(39)
    assert value(found, "cold_water", "L") == pytest.approx(81)
    assert value(found, "temperature_change") == 0


def test_the_step_is_the_habit_of_an_hour_unless_told() -> None:
    rows = csv.DictReader((PUBLISHED / "thresholds_and_rates_of_change.csv").open())
    published = next(row for row in rows if row["item"] == "temperature_change_per_hour_common")
    default = WATER_CHANGE_TEMPERATURE.params["temperature_step"].default
    assert default == pytest.approx(float(published["high"]))


@given(st.floats(5, 40), st.floats(5, 40), st.floats(1, 199), st.floats(0.1, 5))
def test_neither_the_largest_change_nor_the_coolest_water_passes_the_step(
    tank: float, source: float, changed: float, most: float
) -> None:
    asked = {
        "volume": "200 L",
        "change_volume": f"{changed} L",
        "temperature": f"{tank} degC",
        "source_temperature": f"{source} degC",
        "temperature_step": f"{most} K",
    }
    found = answer(WATER_CHANGE_TEMPERATURE, asked)
    moved = abs(value(found, "temperature_change"))
    assert found.values["verdict"] == ("ok" if moved <= most + 1e-6 else "watch") or abs(moved - most) < 1e-6
    largest = value(found, "largest_water", "L")
    assert largest / 200 * abs(source - tank) <= most + 1e-6
    for name in ("coolest_new", "warmest_new"):
        new = value(found, name, "degC")
        assert changed / 200 * abs(new - tank) <= most + 1e-6


def test_the_verdict_says_how_much_may_go_in() -> None:
    """By hand: a quarter of 6 degrees is 1.5; 1 of 6 is a sixth of 200 L."""
    found = answer(WATER_CHANGE_TEMPERATURE, PLAIN)
    assert found.values["verdict"] == "watch"
    assert value(found, "temperature_after", "degC") == pytest.approx(23.5)
    assert value(found, "largest_water", "L") == pytest.approx(200 / 6)
    assert value(found, "coolest_new", "degC") == pytest.approx(21)
    assert value(found, "warmest_new", "degC") == pytest.approx(29)
    assert "33.3 L" in found.values["why"]


def test_water_that_burns_is_never_poured_in_however_little_it_is() -> None:
    """45 degC: common practice, no source."""
    for changed in ("50 L", "1 L"):
        hot = answer(
            WATER_CHANGE_TEMPERATURE, {**PLAIN, "change_volume": changed, "source_temperature": "60 degC"}
        )
        assert hot.values["verdict"] == "over" and "burns-animals" in codes(hot)
        assert "never pour it" in hot.values["why"] and "at most" not in hot.values["why"]
        assert value(hot, "largest_water") == 0
        assert value(hot, "warmest_new", "degC") <= 45 + 1e-9
    warm = answer(WATER_CHANGE_TEMPERATURE, {**PLAIN, "source_temperature": "44.9 degC"})
    assert warm.values["verdict"] == "watch" and "burns-animals" not in codes(warm)


BAD: dict[str, tuple[dict[str, Any], set[str]]] = {
    "more than all": ({"change_volume": "201 L"}, {"/change_volume"}),
    "no new water": ({"source_temperature": None}, {"/source_temperature"}),
    "hot alone": ({"hot_temperature": "50 degC"}, {"/cold_temperature"}),
    "cold alone": ({"cold_temperature": "9 degC"}, {"/hot_temperature"}),
    "hot and cold exchanged": (
        {"hot_temperature": "9 degC", "cold_temperature": "50 degC"},
        {"/hot_temperature"},
    ),
    "too cool to warm it": (
        {"hot_temperature": "22 degC", "cold_temperature": "9 degC"},
        {"/hot_temperature"},
    ),
    "too warm to cool it": (
        {"hot_temperature": "50 degC", "cold_temperature": "27 degC"},
        {"/cold_temperature"},
    ),
    "a mix of nothing": ({"mixed_temperature": "24 degC"}, {"/mixed_temperature"}),
    "absolute cold": ({"temperature": "0 K"}, {"/temperature"}),
    "steam": ({"hot_temperature": "101 degC", "cold_temperature": "9 degC"}, {"/hot_temperature"}),
    "ice": ({"source_temperature": "-1 degC"}, {"/source_temperature"}),
}


@pytest.mark.parametrize("case", BAD)
def test_what_can_not_be_is_refused_where_it_stands(case: str) -> None:
    change, pointers = BAD[case]
    assert set(refusal({**PLAIN, **change})) == pointers


def test_the_cautions_belong_to_what_was_told() -> None:
    assert {"hot-tap", "scald"} <= codes(answer(WATER_CHANGE_TEMPERATURE, ASKED))
    cold = codes(answer(WATER_CHANGE_TEMPERATURE, PLAIN))
    assert not {"hot-tap", "scald", "less-oxygen"} & cold
    warm = answer(WATER_CHANGE_TEMPERATURE, {**PLAIN, "source_temperature": "28 degC"})
    assert "less-oxygen" in codes(warm)


def test_hot_and_cold_go_before_the_water_as_it_comes() -> None:
    found = answer(
        WATER_CHANGE_TEMPERATURE,
        {**PLAIN, "hot_temperature": "50 degC", "cold_temperature": "10 degC"},
    )
    assert value(found, "temperature_after", "degC") == pytest.approx(25)
    assert any("left aside" in one.text for one in found.assumptions)
