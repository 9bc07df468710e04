import csv
from pathlib import Path
from typing import Any

import pytest

from weirbook.engine.calculators.plant_bed import PLANT_BED
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ASKED = {
    "nitrate": ("nitrate", "mg/L NO3-N"),
    "tp": ("phosphate", "mg/L PO4-P"),
    "tn": ("total_nitrogen", "mg/L"),
    "bog": ("nitrate", "mg/L NO3-N"),
    "ammonium": ("total_ammonia", "mg/L NH3-N"),
}
MANY_TANKS = 1000
"""As near to plug flow as an answer takes: its outlet lies a thousandth above."""


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


def asked(over: dict[str, Any] | None = None) -> Answer:
    return answer(PLANT_BED, {**PLANT_BED.example, **(over or {})})


def value(given: Answer, name: str, unit: str) -> float:
    shown = given.quantity(name, unit)
    assert shown is not None and not isinstance(shown, str), name
    return shown.value


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize("row", rows("wetland_kcstar_cases"), ids=lambda row: row["case"])
def test_a_bed_lets_through_what_was_computed(row: dict[str, str]) -> None:
    constituent, unit = ASKED[row["case"].split("_")[0]]
    plug = not row["tanks_p_blank_is_plug_flow"]
    given = answer(
        PLANT_BED,
        {
            "constituent": constituent,
            "inlet": f"{row['c_in_mg_per_l']} {unit}",
            "background": f"{row['c_star_mg_per_l']} {unit}",
            # The cases' year has 365 days.
            "rate": f"{float(row['k20_m_per_year']) / 365 * 1000} mm/d",
            "theta": f"{row['theta']} 1",
            "temperature": f"{row['temp_c']} degC",
            "flow": f"{row['flow_m3_per_day']} m3/d",
            "area": f"{row['area_m2']} m2",
            "tanks": f"{MANY_TANKS if plug else row['tanks_p_blank_is_plug_flow']} 1",
        },
    )
    out, removed = float(row["c_out_mg_per_l"]), float(row["areal_removal_g_per_m2_day"])
    assert value(given, "outlet", unit) == pytest.approx(out, rel=2.5e-3 if plug else 1e-5)
    assert value(given, "areal_removal", "g/m2/d") == pytest.approx(removed, rel=1e-3)
    assert value(given, "rate", "m/d") * 365 == pytest.approx(float(row["k_t_m_per_year"]), abs=5e-4)
    assert value(given, "loading", "m/d") * 365 == pytest.approx(
        float(row["hydraulic_load_m_per_year"]), abs=5e-4
    )


@pytest.mark.parametrize(
    ("constituent", "row", "inlet", "background"),
    [
        ("nitrate", "nitrate_n_median", "40 mg/L NO3", "0 mg/L NO3-N"),
        ("total_ammonia", "ammonium_n_median", "1 mg/L NH3", "0 mg/L NH3-N"),
        ("total_nitrogen", "total_nitrogen_median", "8 mg/L", "1.5 mg/L"),
        ("phosphate", "total_phosphorus_median", "2 mg/L PO4", "0.002 mg/L PO4-P"),
    ],
)
def test_left_out_the_constants_are_those_of_the_table(
    constituent: str, row: str, inlet: str, background: str
) -> None:
    (table,) = (one for one in rows("wetland_rate_constants") if one["parameter"] == row)
    told = {"constituent": constituent, "inlet": inlet}
    own = {
        "rate": f"{float(table['k20_m_per_year']) / 365.25 * 1000} mm/d",
        "theta": f"{table['theta']} 1",
        "background": background,
        "tanks": f"{table['tanks_p']} 1",
    }
    left_out, said = asked(told), asked({**told, **own})
    assert float(table["c_star_mg_per_l"]) == float(background.split()[0])
    assert value(left_out, "removed_a_day", "mg/d") == pytest.approx(value(said, "removed_a_day", "mg/d"))
    assert "from memory" in " ".join(one.text for one in left_out.assumptions)
    assert "from memory" not in " ".join(one.text for one in said.assumptions)


def test_loading_is_told_beside_the_guides() -> None:
    (guide,) = (
        float(row["value"])
        for row in rows("wetland_guidelines_published")
        if row["quantity"] == "subsurface_flow_area_per_daily_flow"
    )
    # As built by the guide: 18.5 m2 for a cubic metre a day.
    given = asked({"flow": "1 m3/d", "area": f"{guide} m2"})
    assert value(given, "loading_to_guide", "1") == pytest.approx(1)
    assert "loading-beyond-data" not in codes(given)
    assert "loading-beyond-data" in codes(asked({"flow": "4 m3/d", "area": f"{guide} m2"}))


@pytest.mark.parametrize(
    "row",
    [row for row in rows("plant_nutrient_uptake") if row["growth_form"] in ("floating", "emergent")],
    ids=lambda row: row["plant"],
)
def test_its_plants_take_up_a_range_that_holds_the_published_plant(row: dict[str, str]) -> None:
    for constituent, inlet, element in (("nitrate", "40 mg/L NO3", "n"), ("phosphate", "2 mg/L PO4", "p")):
        if not row[f"{element}_uptake_low_g_per_m2_day"]:
            continue
        given = asked(
            {
                "constituent": constituent,
                "inlet": inlet,
                "growth_form": row["growth_form"],
                "area": "1 m2",
                "cover": "100 %",
            }
        )
        low, high = value(given, "uptake_low", "g/d"), value(given, "uptake_high", "g/d")
        assert low * (1 - 1e-9) <= float(row[f"{element}_uptake_low_g_per_m2_day"])
        assert float(row[f"{element}_uptake_high_g_per_m2_day"]) <= high * (1 + 1e-9)


def test_a_bed_worked_by_hand() -> None:
    # q = 60 L/h x 24 / 0.8 m2 = 1.8 m/d. k = 26.5 m / 365.25 d x 1.11^5 (1.68506) = 0.12226 m/d.
    # Left: (1 + 0.12226 / 5.4)^-3 = 1.022640^-3 = 0.93504; 9.0362 mg/L of nitrogen x 0.93504 = 8.4492.
    given = asked()
    assert value(given, "loading", "m/d") == pytest.approx(1.8)
    assert value(given, "rate", "m/d") == pytest.approx(0.12226, abs=5e-6)
    assert value(given, "outlet", "mg/L NO3-N") == pytest.approx(8.4492, abs=5e-5)
    assert value(given, "outlet", "mg/L NO3") == pytest.approx(40 * 0.93504, abs=5e-4)
    # (9.0362 - 8.4492) x 1440 L = 845.2 mg; / 0.8 m2 = 1.0565 g.
    assert value(given, "removed_a_day", "mg/d") == pytest.approx(845.2, abs=0.1)
    assert value(given, "areal_removal", "g/m2/d") == pytest.approx(1.0565, abs=1e-4)


def test_the_share_taken_out_is_a_step_of_its_own_that_keeps_its_digits(pocket_calculator: Any) -> None:
    """By hand: 1 - (1 + 0.12226 / 5.4)^-3 = 0.06496; at 200 times the flow it is k / q = 0.12226 / 360 = 3.3955e-4."""
    told = {"flow": "12000 L/h"}
    for over, share, slack in (({}, 0.06496, 5e-6), (told, 3.3955e-4, 3e-7)):
        given = asked(over)
        taken = next(one for one in given.steps if one.words.startswith("share taken out of it"))
        assert taken.value == pytest.approx(share, abs=slack)
        out = next(one for one in given.steps if "taken out, in mg a day" in one.words)
        assert pocket_calculator(out.working) == pytest.approx(
            value(given, "removed_a_day", "mg/d"), rel=2e-5
        )


def test_what_leaves_the_water_is_what_is_taken_out() -> None:
    for constituent, inlet, unit in (
        ("nitrate", "40 mg/L NO3", "mg/L NO3-N"),
        ("total_ammonia", "1 mg/L NH3", "mg/L NH3-N"),
        ("phosphate", "2 mg/L PO4", "mg/L PO4-P"),
        ("total_nitrogen", "8 mg/L", "mg/L"),
    ):
        given = asked({"constituent": constituent, "inlet": inlet})
        before = value(
            asked({"constituent": constituent, "inlet": inlet, "rate": "1e-12 mm/d"}), "outlet", unit
        )
        removed = (before - value(given, "outlet", unit)) * 60 * 24
        assert removed == pytest.approx(value(given, "removed_a_day", "mg/d"), rel=1e-6)
        share = removed / (before * 60 * 24) * 100
        assert share == pytest.approx(value(given, "removed_share", "%"), rel=1e-6)


def test_a_fast_bed_takes_out_its_most_for_each_area() -> None:
    given = asked({"flow": "5000 L/h"})
    most = value(given, "areal_most", "g/m2/d")
    assert value(given, "areal_removal", "g/m2/d") == pytest.approx(most, rel=2e-3)
    assert value(asked(), "areal_removal", "g/m2/d") < most


@pytest.mark.parametrize(
    "over",
    [
        {"constituent": "total_nitrogen", "inlet": "1 mg/L"},
        {"constituent": "total_ammonia", "inlet": "0.2 mg/L NH4", "flow": "10 gal/h"},
        {"constituent": "phosphate", "inlet": "2 mg/L PO4", "area": "5 ft2", "temperature": "59 degF"},
    ],
)
def test_every_step_can_be_followed(over: dict[str, Any], assert_followed: Any) -> None:
    for one in asked(over).steps:
        assert_followed(one)


@pytest.mark.parametrize(
    ("over", "verdict", "words"),
    [
        ({}, "watch", "Count on the plants"),
        # 0.64 m2 of emergent plants take up 21.9 to 461 mg of nitrogen a day; 2 mg/L NO3 in 48 L are 21.7 mg.
        ({"inlet": "2 mg/L NO3", "flow": "2 L/h"}, "ok", "even at their least"),
        ({"inlet": "20 mg/L NO3", "flow": "2 L/h"}, "watch", "Count on the low figure"),
        ({"inlet": "2 mg/L NO3", "flow": "1000 L/h"}, "watch", "times the flow that beds are built for"),
        ({"inlet": "0 mg/L NO3"}, "over", "nothing is to be gained"),
        ({"constituent": "total_nitrogen", "inlet": "1 mg/L"}, "over", "nothing is to be gained"),
    ],
)
def test_the_verdict_says_what_to_count_on(over: dict[str, Any], verdict: str, words: str) -> None:
    given = asked(over)
    assert given.values["verdict"] == verdict
    assert words in given.values["why"]


def test_care_fits_what_is_taken_out() -> None:
    assert "nitrate-needs-mud" in codes(asked())
    assert "ammonia-becomes-nitrate" in codes(asked({"constituent": "total_ammonia", "inlet": "1 mg/L NH3"}))
    assert "phosphate-fills-up" in codes(asked({"constituent": "phosphate", "inlet": "1 mg/L PO4"}))
    assert "below-background" in codes(asked({"constituent": "total_nitrogen", "inlet": "1 mg/L"}))
    assert {"plant-sap", "invasive-plants", "plants-bring-along"} <= codes(asked())


@pytest.mark.parametrize(
    ("over", "pointer"),
    [
        ({"constituent": "iron"}, "/constituent"),
        ({"inlet": "-1 mg/L NO3"}, "/inlet"),
        ({"inlet": "1 mg/L PO4"}, "/inlet"),
        ({"flow": "0 L/h"}, "/flow"),
        ({"area": "0 m2"}, "/area"),
        ({"temperature": "0 K"}, "/temperature"),
        ({"rate": "0 mm/d"}, "/rate"),
        ({"theta": "2 1"}, "/theta"),
        ({"tanks": "0 1"}, "/tanks"),
        ({"cover": "101 %"}, "/cover"),
    ],
)
def test_what_cannot_be_is_refused(over: dict[str, Any], pointer: str) -> None:
    with pytest.raises(Invalid) as refused:
        asked(over)
    assert pointer in {fault.pointer for fault in refused.value.faults}


def test_a_tiny_bed_under_a_flood_is_answered() -> None:
    as_json(asked({"area": "1 mm2", "flow": "1e6 m3/h"}))
    as_json(asked({"area": "1000000 m2", "flow": "1 mL/d"}))
