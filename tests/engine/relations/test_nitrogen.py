"""What food leaves in the water and what nitrification uses up, beside published ratios and worked cases."""

import csv
from pathlib import Path

import pytest

from weirbook.engine.relations.nitrogen import (
    AMMONIA_OF_FOOD,
    AMMONIA_OF_PROTEIN_FAO,
    LEAST_ALKALINITY,
    LEAST_OXYGEN,
    SOLIDS_OF_FOOD,
    WITH_GROWTH,
    WITHOUT_GROWTH,
    ammonia_made,
    nitrogen_fed,
)
from weirbook.engine.units import convert, from_si, to_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
BASES = {"no_growth": WITHOUT_GROWTH, "with_cell_growth": WITH_GROWTH}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


TABLE = rows("nitrification_stoichiometry")
GUJER = {row["quantity"]: float(row["value"]) for row in TABLE if row["source_id"] == "GUJER_JENKINS1974"}
RATIOS = {
    (row["quantity"], row["basis"]): float(row["value"])
    for row in TABLE
    if row["source_id"] != "GUJER_JENKINS1974"
}


def as_caco3(equivalents: float) -> float:
    """kg of CaCO3."""
    return convert(equivalents, "meq/L", "mg/L CaCO3", "alkalinity") / 1000


@pytest.mark.parametrize("row", rows("feed_to_ammonia"), ids=lambda row: row["case"])
def test_food_gives_the_published_ammonia(row: dict[str, str]) -> None:
    feed = to_si(float(row["feed_g_per_day"]), "g/d", "mass_flow")
    protein = float(row["protein_fraction"])
    made = {
        "feed*protein*0.092": lambda: ammonia_made(feed, protein),
        "feed*protein/6.25 (total N upper bound)": lambda: nitrogen_fed(feed, protein),
        "feed*protein*0.16*0.61": lambda: ammonia_made(feed, protein, AMMONIA_OF_PROTEIN_FAO),
    }[row["method"]]()
    assert from_si(made, "g/d", "mass_flow") == pytest.approx(float(row["tan_g_n_per_day"]), rel=1e-3)


@pytest.mark.parametrize("protein", [0.2, 0.35, 0.5, 0.8])
def test_no_rule_by_protein_passes_the_nitrogen_that_is_in_it(protein: float) -> None:
    for of_protein in (0.092, AMMONIA_OF_PROTEIN_FAO):
        assert 0.5 < ammonia_made(1.0, protein, of_protein) / nitrogen_fed(1.0, protein) < 0.7


def test_the_rule_by_food_is_that_of_25_mg_a_gram() -> None:
    # SOURCES.md of the reference names it; it falls on the rule by protein at 27 % protein.
    assert AMMONIA_OF_FOOD == 0.025
    assert ammonia_made(1.0, 0.2717) == pytest.approx(AMMONIA_OF_FOOD, rel=1e-3)


@pytest.mark.parametrize("basis", BASES)
def test_nitrification_uses_what_is_published(basis: str) -> None:
    named = "no_growth (NH4 + 2 O2 -> NO3)" if basis == "no_growth" else basis
    by_alkalinity = "no_growth (2 eq per mol N)" if basis == "no_growth" else basis
    by_bicarbonate = "no_growth" if basis == "no_growth" else basis
    ratios = BASES[basis]
    assert ratios.oxygen == pytest.approx(RATIOS["o2_g_per_g_tan", named], abs=5e-5)
    assert as_caco3(ratios.alkalinity) == pytest.approx(
        RATIOS["alkalinity_g_caco3_per_g_tan", by_alkalinity], rel=2e-4
    )
    assert ratios.bicarbonate == pytest.approx(RATIOS["nahco3_g_per_g_tan", by_bicarbonate], rel=2e-4)


def test_what_is_read_elsewhere_lies_about_the_ratios() -> None:
    assert round(WITHOUT_GROWTH.oxygen, 2) == RATIOS["o2_g_per_g_tan", "no_growth published"]
    steps = GUJER["o2_g_per_g_tan_step_nh4_to_no2"] + GUJER["o2_g_per_g_tan_step_no2_to_no3"]
    # The text prints 4.32 for their sum.
    for oxygen in (steps, GUJER["o2_g_per_g_tan"]):
        assert WITH_GROWTH.oxygen < oxygen < WITHOUT_GROWTH.oxygen
    assert RATIOS["o2_g_per_g_tan_design", "rule"] == pytest.approx(WITHOUT_GROWTH.oxygen, rel=0.01)
    low = RATIOS["alkalinity_g_caco3_per_g_tan_low_observed", "observed attached growth"]
    high = RATIOS["alkalinity_g_caco3_per_g_tan_high_observed", "observed attached growth"]
    for ratios in BASES.values():
        assert low < as_caco3(ratios.alkalinity) < high
    rule = RATIOS["alkalinity_per_ammonia_operator_rule", "rule (lb per lb)"]
    assert rule == pytest.approx(as_caco3(WITHOUT_GROWTH.alkalinity), rel=0.01)


def test_with_growth_the_nitrate_made_is_a_little_less_than_the_ammonia() -> None:
    # The balance counts all of it as nitrate: at most this much too high.
    assert 0.97 < RATIOS["nitrate_n_g_per_g_tan", "with_cell_growth"] < 1


def test_the_least_oxygen_and_alkalinity_are_those_published() -> None:
    assert from_si(LEAST_OXYGEN, "mg/L", "concentration") == pytest.approx(
        RATIOS["minimum_do_mg_per_l_for_nitrification", "advice"]
    )
    assert from_si(LEAST_ALKALINITY, "mg/L CaCO3", "alkalinity") == pytest.approx(
        RATIOS["minimum_alkalinity_mg_caco3_per_l_for_nitrification", "advice"]
    )


@pytest.mark.parametrize("row", rows("nitrification_cases"))
def test_a_days_ammonia_uses_the_worked_alkalinity_and_oxygen(row: dict[str, str]) -> None:
    ratios, grams = BASES[row["basis"]], float(row["tan_g_n_per_day"])
    used, volume = grams / 1000 * ratios.alkalinity, float(row["volume_l"]) / 1000
    assert as_caco3(used) * 1000 == pytest.approx(float(row["alkalinity_consumed_g_caco3_per_day"]), rel=1e-3)
    assert ratios.bicarbonate * grams == pytest.approx(float(row["nahco3_g_per_day"]), rel=1e-3)
    assert ratios.oxygen * grams == pytest.approx(float(row["o2_g_per_day"]), rel=1e-3)
    drop = used / volume
    assert from_si(drop, "dKH", "alkalinity") == pytest.approx(float(row["dkh_drop_per_day"]), rel=1e-3)
    assert from_si(drop, "mg/L CaCO3", "alkalinity") == pytest.approx(
        float(row["alkalinity_drop_mg_caco3_per_l_day"]), rel=1e-3
    )


def test_solids_are_the_published_range() -> None:
    (row,) = (row for row in rows("fish_oxygen_and_co2") if row["quantity"] == "solids produced per kg feed")
    assert (float(row["value_low"]), float(row["value_high"])) == SOLIDS_OF_FOOD


def test_food_gives_what_worked_examples_find() -> None:
    """FAO Technical Paper 589, appendix 4, from memory: 200 g of feed with 32 % protein give 7.5 g NH3, 6.25 g N."""
    assert ammonia_made(200, 0.32) == pytest.approx(6.25, rel=0.07)
    # Timmons and Ebeling, from memory: 36.8 g N of a kilogram of feed with 40 % protein.
    assert ammonia_made(1000, 0.4) == pytest.approx(36.8)


def test_two_molecules_of_oxygen_go_to_a_nitrogen() -> None:
    """IUPAC weights; a textbook prints 4.57."""
    assert WITHOUT_GROWTH.oxygen == pytest.approx(2 * 31.998 / 14.007)
    assert WITHOUT_GROWTH.oxygen == pytest.approx(4.57, abs=5e-3)
