"""What gauges can measure: the built-in list is whole, consistent, and wide enough for a real emergency."""

import pytest

from weirbook.engine.parameters import PARAMETERS, Parameter, _parameter
from weirbook.engine.units import KINDS, from_si, to_si, unit
from weirbook.errors import Invalid

EACH = pytest.mark.parametrize("one", PARAMETERS.values(), ids=lambda one: one.name)


def test_the_built_in_parameters_are_all_there() -> None:
    assert set(PARAMETERS) == {
        *("temperature", "ph", "alkalinity", "hardness", "total_ammonia", "nitrite", "nitrate", "phosphate"),
        *("dissolved_oxygen", "conductivity", "redox", "co2", "iron", "potassium", "chlorine", "light"),
        *("chloramine", "chloride"),
        *(
            "water_level",
            "flow",
            "air_temperature",
            "humidity",
            "power",
            "energy",
            "algae_cover",
            "plant_cover",
        ),
        *("behaviour_score", "feeding_response"),
        *("leak", "float", "mains_present", "pump_running", "lid_open"),
    }


@EACH
def test_a_parameter_accepts_units_of_its_kind_by_their_canonical_names(one: Parameter) -> None:
    assert one.kind in KINDS
    assert len(one.units) == len(set(one.units)) > 0
    for name in one.units:
        assert unit(one.kind, name).name == name


@EACH
def test_what_is_possible_has_a_lower_end_below_its_upper_end(one: Parameter) -> None:
    assert one.possible_low is not None
    assert one.possible_high is None or one.possible_low < one.possible_high


@EACH
def test_contacts_hold_and_know_only_on_and_off(one: Parameter) -> None:
    assert one.contact == (one.kind == "contact") == (one.join == "hold")
    if one.contact:
        assert (one.possible_low, one.possible_high) == (0, 1)


def test_tests_by_hand_and_scores_carry_no_time_weight() -> None:
    by_hand = {
        *("alkalinity", "hardness", "total_ammonia", "nitrite", "nitrate", "phosphate", "co2", "iron"),
        *(
            "potassium",
            "chlorine",
            "chloramine",
            "chloride",
            "algae_cover",
            "plant_cover",
            "behaviour_score",
            "feeding_response",
        ),
    }
    assert {one.name for one in PARAMETERS.values() if one.join == "plain"} == by_hand


# Real states of water and rooms, good and bad, that must never be taken for a slip of the hand.
# Oxygen at 0 degC under air: EN 25814, 14.62 mg/L. Sea water: 35 g/kg has 42.914 mS/cm at 15 degC (PSS-78).
# The rest is common practice, no source: what keepers meet when a heater sticks or a filter dies.
REAL = [
    ("temperature", 0.0, "degC"),
    ("temperature", 45.0, "degC"),
    ("ph", 4.0, "pH"),
    ("alkalinity", 0.0, "dKH"),
    ("alkalinity", 30.0, "dKH"),
    ("hardness", 60.0, "dGH"),
    ("total_ammonia", 20.0, "mg/L NH3-N"),
    ("nitrite", 50.0, "mg/L NO2"),
    ("nitrate", 600.0, "mg/L NO3"),
    ("dissolved_oxygen", 14.62, "mg/L"),
    ("dissolved_oxygen", 0.0, "mg/L"),
    ("conductivity", 42.914, "mS/cm"),
    ("redox", -300.0, "mV"),
    ("humidity", 100.0, "%"),
    ("water_level", -15.0, "cm"),
    ("air_temperature", -20.0, "degC"),
    ("lid_open", 1.0, "on/off"),
]


@pytest.mark.parametrize(("name", "value", "unit_name"), REAL)
def test_a_real_state_of_a_room_is_possible(name: str, value: float, unit_name: str) -> None:
    one = PARAMETERS[name]
    si = to_si(value, unit_name, one.kind)
    assert one.possible_low is not None and one.possible_low <= si
    assert one.possible_high is None or si <= one.possible_high


# Slips that are typical: Fahrenheit sent as Celsius, a failed one-wire probe's 85, a comma lost from pH,
# microsiemens taken for millisiemens, a share sent as percent of percent.
SLIPS = [
    ("temperature", 77.0, "degC"),
    ("temperature", 85.0, "degC"),
    ("temperature", -127.0, "degC"),
    ("ph", 72.0, "pH"),
    ("conductivity", 450.0, "mS/cm"),
    ("dissolved_oxygen", 98.0, "mg/L"),
    ("humidity", 5500.0, "%"),
    ("algae_cover", 140.0, "%"),
    ("nitrate", -1.0, "mg/L NO3"),
    ("pump_running", 2.0, "on/off"),
]


@pytest.mark.parametrize(("name", "value", "unit_name"), SLIPS)
def test_a_typical_slip_is_not_possible(name: str, value: float, unit_name: str) -> None:
    one = PARAMETERS[name]
    si = to_si(value, unit_name, one.kind)
    assert one.possible_low is not None
    assert si < one.possible_low or (one.possible_high is not None and si > one.possible_high)


def test_the_possible_range_is_kept_in_si() -> None:
    water = PARAMETERS["temperature"]
    assert water.possible_low is not None and water.possible_high is not None
    assert (from_si(water.possible_low, "degC", "temperature"), water.possible_high) == (-2.0, 333.15)


def test_a_parameter_with_a_unit_of_another_kind_is_refused() -> None:
    with pytest.raises(Invalid, match="is a unit of alkalinity, not of hardness"):
        _parameter("wrong", "-", "hardness", ("dGH", "dKH"), (0, 1), "plain")
