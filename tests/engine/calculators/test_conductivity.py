"""A reading of conductivity, asked as a keeper asks. Sources: fixtures/published/SOURCES.md."""

import csv
import random
from pathlib import Path
from typing import Any

import gsw
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.conductivity import CONDUCTIVITY
from weirbook.engine.saying import speaking
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open(encoding="utf-8")))


def asked(conductivity: str = "500 uS/cm", temperature: str = "25 degC", **more: Any) -> Answer:
    return answer(CONDUCTIVITY, {"conductivity": conductivity, "temperature": temperature, **more})


def value(given: Answer, name: str, unit: str | None = None) -> float:
    return float(given.quantity(name, unit).value)  # type: ignore[union-attr]


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize(
    "row",
    rows("conductivity_temperature_compensation"),
    ids=lambda row: f"{row['measured_us_per_cm']}-{row['method']}-{row['coefficient_percent_per_k']}",
)
def test_a_raw_reading_is_brought_to_25_degrees_as_published(row: dict[str, str]) -> None:
    linear = row["method"] == "linear_alpha25"
    coefficient = {"coefficient": f"{row['coefficient_percent_per_k']} %"} if linear else {}
    given = asked(
        f"{row['measured_us_per_cm']} uS/cm", f"{row['temp_c']} degC", compensation="none", **coefficient
    )
    found = value(given, "at_25_linear" if linear else "at_25")
    printed = row["conductivity_25c_us_per_cm"]
    # Half the last of two decimals, or of one.
    assert found == pytest.approx(float(printed), abs=0.0051 if linear else 0.051)


@pytest.mark.parametrize("row", rows("conductivity_natural_water_f25"), ids=lambda row: row["temp_c"])
def test_a_raw_reading_takes_the_printed_factor_and_20_degrees_the_tables(row: dict[str, str]) -> None:
    given = asked("1000 uS/cm", f"{row['temp_c']} degC", compensation="none")
    assert value(given, "at_25", "mS/cm") == pytest.approx(float(row["f25"]), abs=5e-4)
    assert value(given, "at_20", "mS/cm") == pytest.approx(float(row["f25"]) / 1.116, abs=5e-4)
    assert value(given, "at_water_temperature", "mS/cm") == 1


@pytest.mark.parametrize("row", rows("practical_salinity"), ids=lambda row: row["practical_salinity"])
def test_a_raw_reading_has_the_published_salinity(row: dict[str, str]) -> None:
    given = asked(
        f"{row['conductivity_ms_per_cm']} mS/cm", f"{row['temp_c_its90']} degC", compensation="none"
    )
    printed = float(row["practical_salinity"])
    assert value(given, "practical_salinity") == pytest.approx(printed, abs=1.2e-4 if printed >= 2 else 2e-4)
    assert value(given, "sea_salt") == pytest.approx(printed * 35.16504 / 35, rel=2e-4)


def test_a_compensated_reading_has_the_salinity_of_25_degrees() -> None:
    given = asked("5 mS/cm", "18 degC", compensation="to_25")
    assert value(given, "practical_salinity") == pytest.approx(float(gsw.SP_from_C(5, 25, 0)), abs=1e-9)


@settings(max_examples=40)
@given(st.floats(5, 2000), st.floats(0, 35), st.sampled_from(["to_25", "to_20"]), st.floats(0.5, 3))
def test_a_meters_own_compensation_is_undone_and_done_again(
    conductivity: float, celsius: float, to: str, percent: float
) -> None:
    """A raw water shown by a meter along a line, told as that, comes out as the raw water told itself."""
    coefficient = {"coefficient": f"{percent} %"}
    raw = asked(f"{conductivity} uS/cm", f"{celsius} degC", compensation="none", **coefficient)
    base = 25 if to == "to_25" else 20
    shown = conductivity * (1 + percent / 100 * (base - 25)) / (1 + percent / 100 * (celsius - 25))
    told = asked(f"{shown} uS/cm", f"{celsius} degC", compensation=to, **coefficient)
    assert value(told, "at_25_linear") == pytest.approx(value(raw, "at_25"), rel=1e-9)
    natural = value(raw, "at_25" if to == "to_25" else "at_20")
    again = asked(f"{natural} uS/cm", f"{celsius} degC", compensation=to)
    assert value(again, "at_water_temperature") == pytest.approx(conductivity, rel=1e-9)
    assert value(again, "at_25") == pytest.approx(value(raw, "at_25"), rel=1e-9)


def test_the_spread_runs_over_all_ways_to_compensate() -> None:
    given = asked("400 uS/cm", "15 degC", compensation="none", coefficient="2.4 %")
    found = [row["at_25"] for row in given.values["methods"]]
    assert len(found) == 4
    assert given.values["at_25_low"] == min(found)
    assert given.values["at_25_high"] == max(found) == given.values["at_25_linear"]
    assert "by the ways meters compensate" in given.values["why"]
    assert "by the ways" not in asked().values["why"]


@pytest.mark.parametrize(
    "row",
    rows("tds_conductivity_single_salts"),
    ids=lambda row: f"{row['salt_anhydrous']}-{row['tds_mg_per_l']}",
)
def test_the_salts_of_every_single_salt_lie_within_what_is_said(row: dict[str, str]) -> None:
    given = asked(f"{row['conductivity_25c_us_per_cm']} uS/cm", tds_factor=float(row["tds_to_ec_factor"]))
    salts = float(row["tds_mg_per_l"])
    assert value(given, "tds_one_salt_low") <= salts <= value(given, "tds_one_salt_high")
    assert value(given, "tds") == pytest.approx(salts, rel=5e-4)
    # What the caution on salinity says of other salts than the sea's.
    off = value(given, "sea_salt") * 1000 / salts - 1
    near = {"NaCl": 0.01, "KCl": 0.08, "CaCl2": 0.1}
    if row["salt_anhydrous"] in near:
        assert abs(off) <= near[row["salt_anhydrous"]]
    else:
        assert -0.5 < off < -0.12


def test_meters_show_their_factor_times_the_conductivity() -> None:
    given = asked("500 uS/cm")
    shown = {row["factor"]: row["shows"] * 1000 for row in given.values["meter_scales"]}
    assert shown == pytest.approx({0.5: 250, 0.64: 320, 0.7: 350})
    assert (value(given, "tds_low"), value(given, "tds_high")) == pytest.approx((250, 400))
    assert given.quantity("tds") is None


@pytest.mark.parametrize(
    ("told", "code"),
    [
        ({"conductivity": "30 uS/cm"}, "thin-water"),
        ({"conductivity": "1200 uS/cm"}, "salty-water"),
        ({"conductivity": "90 mS/cm"}, "beyond-the-salinity-scale"),
        ({"temperature": "40 degC"}, "beyond-the-table"),
        ({"temperature": "10 degC"}, "far-from-25"),
    ],
)
def test_what_lies_outside_the_table_is_answered_with_a_word(told: dict[str, str], code: str) -> None:
    assert code in codes(asked(**told))
    assert code not in codes(asked())


def test_a_ppm_is_never_taken_for_salt_weighed_without_a_word() -> None:
    assert {"ppm-is-a-factor", "not-what-is-in-it", "salinity-of-the-sea"} <= codes(asked())


def test_no_conductivity_is_answered_with_no_salt() -> None:
    given = asked("0 uS/cm", compensation="none")
    assert value(given, "practical_salinity") == value(given, "tds_high") == value(given, "at_25") == 0


def test_the_sentence_speaks_the_keepers_units() -> None:
    with speaking({"conductivity": "mS/cm"}):
        assert "0.5 mS/cm" in asked().values["why"]


@pytest.mark.parametrize(
    ("told", "pointer"),
    [
        ({"conductivity": "-1 uS/cm"}, "/conductivity"),
        ({"conductivity": "500 mg/L"}, "/conductivity"),
        ({"conductivity": None}, "/conductivity"),
        ({"temperature": "0 K"}, "/temperature"),
        ({"temperature": "60 degC"}, "/temperature"),
        ({"coefficient": "5 %"}, "/coefficient"),
        ({"tds_factor": 0}, "/tds_factor"),
        ({"compensation": "yes"}, "/compensation"),
    ],
)
def test_bad_inputs_are_named(told: dict[str, Any], pointer: str) -> None:
    with pytest.raises(Invalid) as refused:
        asked(**told)
    assert [fault.pointer for fault in refused.value.faults] == [pointer]


def test_every_step_follows_at_any_water(assert_followed: Any) -> None:
    drawn = random.Random(3)
    for compensation in ("none", "to_25", "to_20"):
        for _ in range(6):
            given = asked(
                f"{10 ** drawn.uniform(0.5, 4.6):.5g} uS/cm",
                f"{drawn.uniform(0, 50):.4g} degC",
                compensation=compensation,
                tds_factor=0.6,
            )
            for step in given.steps:
                assert_followed(step)
            assert as_json(given)["results"]["methods"]


@pytest.mark.parametrize(("factor", "unlikely"), [(0.42, True), (0.44, False), (0.94, False), (0.96, True)])
def test_a_factor_that_no_salt_of_fresh_water_has_is_cautioned(factor: float, unlikely: bool) -> None:
    """The range of single salts, from calcium chloride to sodium bicarbonate, which the fixture's rows hold."""
    assert ("unlikely-factor" in codes(asked(tds_factor=factor))) is unlikely
