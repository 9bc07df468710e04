"""Limits echo the published figures exactly. Source: fixtures/published/SOURCES.md, thresholds_and_rates_of_change.csv."""

import csv
from pathlib import Path

import pytest

from weirbook.engine.relations.chemistry import DOSED
from weirbook.engine.relations.limits import LIMITS, MOST, PRACTICE
from weirbook.engine.units import to_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ROWS = {
    row["item"]: row
    for row in csv.DictReader((PUBLISHED / "thresholds_and_rates_of_change.csv").open(encoding="utf-8"))
}
UNITS = {
    "ph": "pH",
    "minutes": "min",
    "c": "K",
    "mg_per_l": "mg/L",
    "mg_n_per_l": "mg/L NH3-N",
    "ratio": "1",
    "mg_caco3_per_l": "mg/L CaCO3",
    "dkh": "dKH",
    "dgh": "dGH",
    "mg_no3_per_l": "mg/L NO3",
    "g_per_l": "g/L",
    "fraction": "1",
}
ITEMS = {
    "ph_low": ("ph_culture_range", "low"),
    "ph_high": ("ph_culture_range", "high"),
    "ph_step": ("ph_difference_needing_24h_adjustment", "high"),
    "bag_minutes": ("temperature_equalise_bag_minimum", "low"),
    "warming_a_day": ("temperature_rise_per_24h_tropical_fish", "high"),
    "cooling_a_day": ("temperature_fall_per_24h_tropical_fish", "high"),
    "oxygen_warm": ("dissolved_oxygen_minimum_warmwater", "low"),
    "oxygen_cold": ("dissolved_oxygen_minimum_coldwater", "low"),
    "oxygen_objective": ("dissolved_oxygen_minimum_warmwater_state_objective", "low"),
    "ammonia_stress": ("unionised_ammonia_stress", "high"),
    "ammonia_harm": ("unionised_ammonia_harm_begins", "high"),
    "ammonia_lethal": ("unionised_ammonia_lethal", "high"),
    "chloride_to_nitrite": ("chloride_to_nitrite_mass_ratio", "low"),
    "insurance_chloride": ("insurance_chloride_catfish", "low"),
    "copper_hardness": ("copper_sulfate_avoid_without_bioassay_below_hardness", "low"),
    "free_chlorine": ("free_chlorine_for_fish", "high"),
    "ph_a_day": ("ph_change_per_day_common", "high"),
    "alkalinity_a_day": ("dkh_rise_per_day_common", "high"),
    "hardness_a_day": ("dgh_rise_per_day_common", "high"),
    "temperature_an_hour": ("temperature_change_per_hour_common", "high"),
    "co2_high": ("co2_upper_common", "high"),
    "nitrate_high": ("nitrate_upper_common", "high"),
    "salt_a_day": ("salt_rise_per_day_common", "high"),
    "single_change": ("single_water_change_common", "high"),
}


@pytest.mark.parametrize("name", LIMITS)
def test_a_limit_is_the_published_one_in_its_own_unit(name: str) -> None:
    item, bound = ITEMS[name]
    limit, row = LIMITS[name], ROWS[item]
    assert limit.unit == UNITS[row["unit"]]
    assert limit.value == to_si(float(row[bound]), limit.unit, limit.kind)


@pytest.mark.parametrize("name", LIMITS)
def test_what_has_no_source_is_called_common_practice(name: str) -> None:
    item, _ = ITEMS[name]
    unsourced = ROWS[item]["provenance"] == "common_practice_no_source"
    assert (LIMITS[name].source is PRACTICE) == unsourced
    assert (LIMITS[name].origin == "common practice") == unsourced


def test_what_is_most_of_a_dosed_parameter_agrees_with_the_limits_and_between_forms() -> None:
    assert MOST.keys() == DOSED.keys()
    assert all(one.kind == DOSED[name] and one.source is PRACTICE for name, one in MOST.items())
    assert MOST["nitrate"].value == LIMITS["nitrate_high"].value
    # The customary rise of a day lies far below the most there is to rise to.
    for name in ("alkalinity", "hardness", "salt"):
        assert 5 * LIMITS[f"{name}_a_day"].value < MOST[name].value
    # The hardness of so much calcium or magnesium alone is no more than that of the hardest water.
    assert MOST["calcium"].value / 0.040078 < MOST["hardness"].value
    assert MOST["magnesium"].value / 0.024305 < MOST["hardness"].value
