"""pH, alkalinity and CO2, asked as a keeper asks. Sources: fixtures/published/SOURCES.md."""

import csv
import math
import random
from pathlib import Path
from typing import Any

import phreeqpython
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.carbonate import CARBONATE
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open(encoding="utf-8")))


def asked(ph: float = 7.2, alkalinity: str = "4 dKH", temperature: str = "25 degC", **more: Any) -> Answer:
    return answer(CARBONATE, {"ph": ph, "alkalinity": alkalinity, "temperature": temperature, **more})


def value(given: Answer, name: str, unit: str | None = None) -> float:
    return float(given.quantity(name, unit).value)  # type: ignore[union-attr]


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize(
    "row", rows("co2_factor_from_ph_alkalinity"), ids=lambda row: f"{row['ph']}-{row['temp_c']}"
)
def test_uncorrected_co2_is_that_of_the_extension_table(row: dict[str, str]) -> None:
    given = asked(float(row["ph"]), "50 mg/L CaCO3", f"{row['temp_c']} degC")
    printed = float(row["mg_co2_per_mg_alkalinity_as_caco3"]) * 50
    assert value(given, "co2_ideal") == pytest.approx(printed, rel=0.012)
    assert 0.9 < value(given, "co2") / value(given, "co2_ideal") < 1


@pytest.mark.parametrize(
    "row", rows("co2_speciation"), ids=lambda row: f"{row['alkalinity_dkh']}-{row['ph']}"
)
def test_species_are_those_of_the_equilibrium_model(row: dict[str, str]) -> None:
    given = asked(float(row["ph"]), f"{row['alkalinity_dkh']} dKH", f"{row['temp_c']} degC")
    assert value(given, "co2") == pytest.approx(float(row["co2_mg_per_l_phreeqc"]), rel=3e-3)
    assert value(given, "co2_ideal") == pytest.approx(float(row["co2_mg_per_l_ideal_dilute"]), rel=1e-3)
    mmol = {one["species"]: one["mmol_a_litre"] for one in given.values["species"]}
    assert mmol["bicarbonate"] == pytest.approx(float(row["hco3_mmol_per_l_phreeqc"]), rel=3e-3)
    assert mmol["carbonate"] == pytest.approx(float(row["co3_mmol_per_l_phreeqc"]), rel=1e-2)
    # Masses by molmass 2026.1.8: HCO3 61.0169, CO3 60.009, C 12.011.
    assert value(given, "bicarbonate") == pytest.approx(mmol["bicarbonate"] * 61.0169, rel=2e-4)
    assert value(given, "carbonate") == pytest.approx(mmol["carbonate"] * 60.009, rel=2e-4)
    carbon = float(row["dic_mmol_per_l_phreeqc"]) * 12.011
    assert value(given, "inorganic_carbon") == pytest.approx(carbon, rel=3e-3)
    assert sum(one["share"] for one in given.values["species"]) == pytest.approx(1)


@pytest.mark.parametrize(
    "row", rows("ph_in_equilibrium_with_air"), ids=lambda row: f"{row['alkalinity_dkh']}-{row['temp_c']}"
)
def test_aerated_water_ends_at_the_models_ph_from_any_ph(row: dict[str, str]) -> None:
    for ph in (6.8, 8.0):
        given = asked(ph, f"{row['alkalinity_dkh']} dKH", f"{row['temp_c']} degC")
        assert value(given, "ph_in_air") == pytest.approx(float(row["equilibrium_ph"]), abs=0.005)
        assert value(given, "ph_in_air_ideal") == pytest.approx(float(row["equilibrium_ph"]), abs=0.04)
        assert value(given, "co2_in_air") == pytest.approx(float(row["co2_mg_per_l"]), abs=1.5e-3)
        assert value(given, "ph_rise_in_air") == pytest.approx(value(given, "ph_in_air") - ph)


@pytest.mark.parametrize("row", rows("sodium_bicarbonate_addition"), ids=lambda row: row["end_dkh"])
def test_bicarbonate_added_raises_ph_as_in_the_model(row: dict[str, str]) -> None:
    given = asked(
        float(row["start_ph"]),
        f"{row['start_alkalinity_mg_caco3_per_l']} mg/L CaCO3",
        f"{row['temp_c']} degC",
        wanted_alkalinity=f"{row['end_alkalinity_mg_caco3_per_l']} mg/L CaCO3",
    )
    found = value(given, "ph_at_wanted_alkalinity")
    # CO2 is held here, the model's water is closed.
    assert found == pytest.approx(float(row["end_ph_closed_system"]), abs=0.03)


@pytest.mark.parametrize("row", rows("altitude_pressure"), ids=lambda row: row["altitude_m"])
def test_thinner_air_leaves_less_co2(row: dict[str, str]) -> None:
    there = value(asked(altitude=f"{row['altitude_m']} m"), "co2_in_air")
    assert there / value(asked(), "co2_in_air") == pytest.approx(
        float(row["pressure_kpa"]) / 101.325, rel=2e-4
    )


def test_stale_air_lowers_the_ph_that_aeration_reaches() -> None:
    open_air, room = asked(), asked(air_co2="1000 uL/L")
    assert value(room, "co2_in_air") / value(open_air, "co2_in_air") == pytest.approx(1000 / 420)
    # A ratio of 1000 / 420 is 0.377 in pH where all alkalinity is bicarbonate; nearly so here.
    fall = value(open_air, "ph_in_air") - value(room, "ph_in_air")
    assert fall == pytest.approx(math.log10(1000 / 420), abs=0.02)


@settings(max_examples=40)
@given(st.floats(6, 8), st.floats(0.5, 15), st.floats(5, 35))
def test_halving_co2_is_worth_its_logarithm_and_all_ways_back_meet(
    ph: float, dkh: float, celsius: float
) -> None:
    given = asked(ph, f"{dkh} dKH", f"{celsius} degC")
    # Where OH, H and CO3 are small beside HCO3, the ratio alone counts.
    assert value(given, "ph_if_co2_halved") - ph == pytest.approx(math.log10(2), abs=0.02)
    assert ph - value(given, "ph_if_co2_doubled") == pytest.approx(math.log10(2), abs=0.02)
    same = asked(
        ph,
        f"{dkh} dKH",
        f"{celsius} degC",
        wanted_alkalinity=f"{dkh} dKH",
        wanted_co2=f"{value(given, 'co2')} mg/L",
    )
    assert value(same, "ph_at_wanted_alkalinity") == pytest.approx(ph, abs=1e-8)
    assert value(same, "ph_at_wanted_co2") == pytest.approx(ph, abs=1e-8)


@settings(max_examples=40)
@given(st.floats(6, 9), st.floats(0.2, 15), st.floats(0, 0.5), st.floats(0, 1))
def test_what_the_tests_may_be_off_bounds_co2(ph: float, dkh: float, off: float, drops: float) -> None:
    assume(ph < 8.5 or dkh > 1)
    given = asked(ph, f"{dkh} dKH", ph_error=off, alkalinity_error=f"{drops} dKH")
    assert 0 <= value(given, "co2_low") <= value(given, "co2") * (1 + 1e-9)
    assert value(given, "co2") <= value(given, "co2_high") * (1 + 1e-9)
    lower = max(dkh - drops, 0)
    if lower > 0:
        other = asked(min(ph + off, 14), f"{lower} dKH", ionic_strength=value(given, "ionic_strength_used"))
        assert value(given, "co2_low") == pytest.approx(value(other, "co2"), rel=1e-6, abs=1e-9)


def test_a_tenth_of_ph_is_a_quarter_of_the_co2() -> None:
    given = asked(ph_error=0.1, alkalinity_error="0 dKH")
    assert value(given, "co2_high") / value(given, "co2") == pytest.approx(10**0.1, rel=2e-3)


def test_the_ionic_strength_is_told_or_guessed_or_the_alkalinity() -> None:
    assert value(asked(), "ionic_strength_used") == pytest.approx(4 * 0.3566525, rel=1e-6)
    guessed = asked(conductivity="400 uS/cm")
    assert value(guessed, "ionic_strength_used") == pytest.approx(6.4)
    told = asked(conductivity="400 uS/cm", ionic_strength=9)
    assert value(told, "ionic_strength_used") == 9
    assert value(told, "co2") < value(guessed, "co2") < value(asked(), "co2")
    plain = asked(ionic_strength=0)
    assert value(plain, "co2") == pytest.approx(value(plain, "co2_ideal"))


def test_the_calcite_index_is_the_equilibrium_models() -> None:
    model = phreeqpython.PhreeqPython(database="phreeqc.dat")
    for ph, word in ((7.0, "dissolves"), (8.0, "near balance"), (8.9, "may fall out")):
        water = {
            "temp": 25,
            "pH": ph,
            "units": "mmol/kgw",
            "Alkalinity": 2,
            "Ca": 1,
            "Na": 1,
            "Cl": "1 charge",
        }
        solution = model.add_solution(water)
        given = asked(ph, "2 meq/L", calcium="40.078 mg/L", ionic_strength=solution.I * 1000)
        # The model binds a few percent of calcium and carbonate in pairs, more of them at high pH.
        assert value(given, "saturation_index") == pytest.approx(solution.si("Calcite"), abs=0.1)
        assert given.values["calcite"] == word
    assert asked().quantity("saturation_index") is None


def test_co2_is_judged_by_the_usual_limit_or_the_keepers_own() -> None:
    fine = asked(7.6)
    assert fine.values["verdict"] == "ok" and "co2-high" not in codes(fine)
    over = asked(6.4)
    assert value(over, "co2", "kg/m3") > LIMITS["co2_high"].value
    assert over.values["verdict"] == "over" and "co2-high" in codes(over)
    perhaps = asked(6.75)
    assert value(perhaps, "co2") < 30 < value(perhaps, "co2_high")
    assert perhaps.values["verdict"] == "watch" and "co2-may-be-high" in codes(perhaps)
    assert asked(7.6, co2_limit="2 mg/L").values["verdict"] == "over"
    assert asked(6.4, co2_limit="70 mg/L").values["verdict"] == "watch"
    assert asked(7.0, "1.5 dKH").values["verdict"] == "watch"


def test_soft_brown_water_gives_no_alarm() -> None:
    given = asked(4.4, "0 dKH")
    assert value(given, "co2") > 30  # were its acid that of CO2
    assert given.values["verdict"] == "unknown"
    assert "co2-unknown" in codes(given) and "co2-high" not in codes(given)
    assert "can't be told" in given.values["why"]
    assert asked(6.8, "0.4 dKH").values["verdict"] == "unknown"
    assert asked(6.8, "0.4 dKH", alkalinity_error="0.1 dKH").values["verdict"] == "watch"


@pytest.mark.parametrize(
    ("told", "code"),
    [
        ({"alkalinity": "1 dKH"}, "little-alkalinity"),
        ({"wanted_alkalinity": "5 dKH", "air_co2": "9000 uL/L"}, "ammonia"),
        ({"wanted_alkalinity": "9 dKH"}, "ph-moves-far"),
        ({"wanted_alkalinity": "6 dKH"}, "alkalinity-moves-far"),
        ({"wanted_alkalinity": "2 dKH"}, "lower-by-water"),
        ({"wanted_co2": "20 mg/L"}, "co2-gas"),
        ({"wanted_co2": "40 mg/L"}, "wanted-co2-high"),
        ({"air_co2": "2000 uL/L"}, "stale-air"),
        ({"ph": 6.2}, "ph-outside"),
        ({"ph": 9.2}, "ph-outside"),
        ({"ionic_strength": 200}, "brackish"),
        ({"temperature": "45 degC"}, "hotter-than-checked"),
        ({"calcium": "30 mg/L"}, "index-is-a-direction"),
    ],
)
def test_what_can_harm_or_mislead_is_said(told: dict[str, Any], code: str) -> None:
    assert code in codes(asked(**told))
    assert code not in codes(asked(air_co2="1200 uL/L", ph=8.0) if code != "ammonia" else asked(8.6))


def test_tests_and_buffers_are_always_doubted() -> None:
    assert {"co2-is-reckoned", "not-only-carbonates", "steady-before-right"} <= codes(asked())


def test_the_sentence_says_why_ph_moves() -> None:
    below = asked()
    assert "aerating drives it out" in below.values["why"] and "halving of CO2" in below.values["why"]
    above = asked(9.0)
    assert value(above, "ph_rise_in_air") < 0
    assert "less than the air gives" in above.values["why"]


@pytest.mark.parametrize(
    ("told", "pointer"),
    [
        ({"ph": -0.1}, "/ph"),
        ({"ph": 14.1}, "/ph"),
        ({"alkalinity": "-1 dKH"}, "/alkalinity"),
        ({"alkalinity": "4 dGH"}, "/alkalinity"),
        ({"temperature": "0 K"}, "/temperature"),
        ({"air_co2": "0 uL/L"}, "/air_co2"),
        ({"calcium": "0 mg/L"}, "/calcium"),
        ({"wanted_co2": "-2 mg/L"}, "/wanted_co2"),
        ({"wanted_co2": "20 g/L"}, "/wanted_co2"),
        ({"ionic_strength": 800}, "/ionic_strength"),
        ({"altitude": "12 km"}, "/altitude"),
        # Contradictions: acid water of much alkalinity, strong base of little, neutral water of none.
        ({"ph": 4.5}, "/ph"),
        ({"ph": 11, "alkalinity": "1 dKH"}, "/alkalinity"),
        ({"ph": 7.5, "alkalinity": "0 dKH"}, "/alkalinity"),
        ({"ph": 0, "alkalinity": "0 dKH"}, "/ph"),
        ({"ph": 14}, "/alkalinity"),
    ],
)
def test_bad_inputs_are_named(told: dict[str, Any], pointer: str) -> None:
    with pytest.raises(Invalid) as refused:
        asked(**told)
    assert [fault.pointer for fault in refused.value.faults] == [pointer]


def test_a_contradiction_says_what_water_can_hold() -> None:
    with pytest.raises(Invalid) as refused:
        asked(4.5)
    # Pure CO2 gas at one atmosphere and 25 degC leaves 1.5 g/L, in any handbook (from memory), and by pKH 1.468.
    assert "1500 mg/L" in refused.value.message


def test_every_step_follows_at_any_water(assert_followed: Any) -> None:
    drawn = random.Random(11)
    for _ in range(15):
        given = asked(
            drawn.uniform(6.2, 8.8),
            f"{drawn.uniform(0.7, 15):.4g} dKH",
            f"{drawn.uniform(1, 45):.4g} degC",
            conductivity=f"{drawn.uniform(50, 900):.3g} uS/cm",
            wanted_alkalinity=f"{drawn.uniform(0.7, 15):.3g} dKH",
            wanted_co2=f"{drawn.uniform(1, 40):.3g} mg/L",
            calcium=f"{drawn.uniform(1, 90):.3g} mg/L",
            altitude=f"{drawn.uniform(0, 3000):.4g} m",
            air_co2=f"{drawn.uniform(400, 3000):.4g} uL/L",
        )
        for step in given.steps:
            assert_followed(step)
        assert as_json(given)["results"]["species"]


def test_the_temperature_is_an_assumption_only_where_none_was_told() -> None:
    def assumed(found: Answer) -> bool:
        return any("The water has 25 °C" in one.text for one in found.assumptions)

    told, left_out = asked(temperature="25 degC"), asked(temperature=None)
    assert not assumed(told) and assumed(left_out)
    assert told.values["co2"] == left_out.values["co2"]


@settings(max_examples=40)
@given(st.floats(-2e-3, 2e-3))
def test_the_saturation_index_follows_from_its_step_near_balance_too(
    assert_followed, pocket_calculator, wanted: float
) -> None:
    """The calcium that brings the index there follows from the index of 40 mg/L: it grows by its logarithm."""
    at_40 = asked(calcium="40 mg/L").values["saturation_index"]
    found = asked(calcium=f"{40 * 10 ** (wanted - at_40)} mg/L")
    assert found.values["saturation_index"] == pytest.approx(wanted, abs=1e-9)
    (shown,) = (one for one in found.steps if one.words.startswith("saturation index"))
    assert pocket_calculator(shown.working) == pytest.approx(wanted, rel=1e-4, abs=1e-7)
    assert_followed(shown)
