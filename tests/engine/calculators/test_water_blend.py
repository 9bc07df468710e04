import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from phreeqpython import PhreeqPython

from weirbook.engine.calculators.water_blend import WATER_BLEND
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ROWS = list(csv.DictReader((PUBLISHED / "water_blending.csv").open()))
ASKED = dict(WATER_BLEND.example)
PLAIN = {"parameter": "other", "first": "30 mg/L", "second": "2 mg/L", "wanted": "10 mg/L", "total": "80 L"}
TOTALS = {"us_gal_per_min": "gal", "m3_per_s": "m3", "l": "L"}
"""A flow is told as what runs in one minute or second."""


def value(given: Answer, name: str, unit: str | None = None) -> float:
    found = given.quantity(name, unit)
    assert found is not None and not isinstance(found, str)
    return float(found.value)


def refusal(asked: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        answer(WATER_BLEND, asked)
    return {fault.pointer: fault.message for fault in refused.value.faults}


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["case"])
def test_two_waters_make_the_published_blend(row: dict[str, str]) -> None:
    parameter, unit = (
        ("hardness", "dGH")
        if row["case"].endswith("dgh")
        else ("alkalinity", "dKH")
        if row["case"].endswith("dkh")
        else ("other", "mg/L")
    )
    volume = TOTALS[row["total_unit"]]
    found = answer(
        WATER_BLEND,
        {
            "parameter": parameter,
            "first": f"{row['a_mg_per_l']} {unit}",
            "second": f"{row['b_mg_per_l']} {unit}",
            "wanted": f"{row['target_mg_per_l']} {unit}",
            "total": f"{row['total']} {volume}",
        },
    )
    assert value(found, "first_water", volume) == pytest.approx(float(row["a_amount"]), abs=5e-5)
    assert value(found, "second_water", volume) == pytest.approx(float(row["b_amount"]), abs=5e-5)
    if row["published_a"]:
        assert value(found, "first_water", volume) == pytest.approx(float(row["published_a"]), abs=0.5)
        assert value(found, "second_water", volume) == pytest.approx(float(row["published_b"]), abs=0.5)


@given(st.floats(0, 300), st.floats(0, 300), st.floats(0, 1), st.floats(1, 5000))
def test_a_blend_holds_what_both_waters_brought(
    first: float, second: float, way: float, total: float
) -> None:
    if abs(first - second) < 0.01:
        return
    wanted = min(max(first + way * (second - first), min(first, second)), max(first, second))
    found = answer(
        WATER_BLEND,
        {
            "parameter": "other",
            "first": f"{first} mg/L",
            "second": f"{second} mg/L",
            "wanted": f"{wanted} mg/L",
            "total": f"{total} L",
        },
    ).values
    assert found["first_water"] + found["second_water"] == pytest.approx(total / 1000, rel=1e-9)
    assert found["first_share"] + found["second_share"] == pytest.approx(1, rel=1e-9)
    brought = first * found["first_water"] + second * found["second_water"]
    assert brought == pytest.approx(wanted * total / 1000, rel=1e-9, abs=1e-9)


def test_what_else_is_told_is_blended_too() -> None:
    """By hand: 62.5 % of the second water."""
    found = answer(WATER_BLEND, ASKED)
    assert value(found, "hardness", "dGH") == pytest.approx(6)
    assert value(found, "alkalinity", "dKH") == pytest.approx(0.375 * 11 + 0.625 * 0.3)
    assert as_json(found)["results"]["others"] == [
        {"name": "nitrate in mg/L", "value": {"value": pytest.approx(0.375 * 24 + 0.625), "unit": "1"}}
    ]


def test_ph_of_a_blend_is_that_of_a_chemical_equilibrium_model() -> None:
    """PHREEQC, closed to air: the example's two waters."""
    chemistry = PhreeqPython(database="phreeqc.dat")
    # One dKH is 0.35663 meq/L.
    tap, pure = (
        chemistry.add_solution({"temp": 20, "pH": ph, "Alkalinity": dkh * 0.35663, "Na": "1 charge"})
        for ph, dkh in ((7.6, 11), (6, 0.3))
    )
    blend = chemistry.mix_solutions({tap: 0.375, pure: 0.625})
    assert value(answer(WATER_BLEND, ASKED), "ph") == pytest.approx(blend.pH, abs=0.05)


def test_ph_is_left_out_where_nothing_can_be_reckoned() -> None:
    for lack in ("first_ph", "second_ph", "first_alkalinity"):
        found = answer(WATER_BLEND, {**ASKED, lack: None})
        assert found.values["ph"] is None and "ph-does-not-blend" in codes(found)
    none = answer(WATER_BLEND, {**ASKED, "first_alkalinity": "0 dKH", "second_alkalinity": "0 dKH"})
    assert none.values["ph"] is None


def test_water_without_alkalinity_leaves_the_others_ph() -> None:
    found = answer(WATER_BLEND, {**ASKED, "second_alkalinity": "0 dKH"})
    assert value(found, "ph") == pytest.approx(7.6, abs=1e-9)


BAD: dict[str, tuple[dict[str, Any], set[str]]] = {
    "above both": ({"wanted": "31 mg/L"}, {"/wanted"}),
    "below both": ({"wanted": "1.9 mg/L"}, {"/wanted"}),
    "alike": ({"second": "30 mg/L"}, {"/second"}),
    "nothing to make": ({"total": "0 L"}, {"/total"}),
    "negative": ({"first": "-2 mg/L"}, {"/first"}),
    "ph beyond its scale": ({"first_ph": "15 pH"}, {"/first_ph"}),
    "ph among the others": ({"others": [{"name": "pH of it", "first": 7, "second": 6}]}, {"/others/0/name"}),
    "twice the same": (
        {
            "others": [
                {"name": "copper", "first": 7, "second": 6},
                {"name": "copper", "first": 1, "second": 6},
            ]
        },
        {"/others/1/name"},
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_what_can_not_be_is_refused_where_it_stands(case: str) -> None:
    change, pointers = BAD[case]
    assert set(refusal({**PLAIN, **change})) == pointers


@pytest.mark.parametrize(("wanted", "second"), [("30 mg/L", 0), ("2 mg/L", 1)])
def test_one_water_alone_is_a_blend_too(wanted: str, second: float) -> None:
    assert value(answer(WATER_BLEND, {**PLAIN, "wanted": wanted}), "second_share", "1") == second


def test_the_cautions_belong_to_what_was_told() -> None:
    assert {"dechlorinate", "softened-is-not-pure", "ph-does-not-blend"} <= codes(answer(WATER_BLEND, PLAIN))
    salty = {
        "parameter": "conductivity",
        "first": "700 uS/cm",
        "second": "20 uS/cm",
        "wanted": "300 uS/cm",
        "total": "50 L",
    }
    assert "conductivity-not-quite" in codes(answer(WATER_BLEND, salty))


@pytest.mark.parametrize(
    ("within", "beyond"),
    [
        ({"second_ph": "5.5 pH"}, {"second_ph": "5.4 pH"}),
        ({"first_ph": "8.25 pH"}, {"first_ph": "8.3 pH"}),
        ({"first_alkalinity": "4 meq/L"}, {"first_alkalinity": "4.1 meq/L"}),
    ],
)
def test_ph_is_called_rough_beyond_what_it_is_held_to(within: dict[str, str], beyond: dict[str, str]) -> None:
    """The ranges over which the pH of mixes is compared with PHREEQC."""
    assert "ph-is-rough" not in codes(answer(WATER_BLEND, {**ASKED, **within}))
    assert "ph-is-rough" in codes(answer(WATER_BLEND, {**ASKED, **beyond}))


@pytest.mark.parametrize(
    ("told", "verdict", "words"),
    [
        ({}, "unknown", "without the alkalinity of both"),
        # Half of 8 and 0.4 dKH is 4.2; a tenth of 8 and nine tenths of 0 is 0.8.
        ({"first_alkalinity": "8 dKH", "second_alkalinity": "0.4 dKH"}, "ok", "4.2 dKH"),
        (
            {"wanted": "1.6 dGH", "first_alkalinity": "8 dKH", "second_alkalinity": "0 dKH"},
            "watch",
            "0.8 dKH",
        ),
        ({"wanted": "15.9 dGH"}, "watch", "0.625 %"),
        ({"first": "60 dGH", "wanted": "40 dGH"}, "over", "more than 30 dGH"),
    ],
)
def test_a_blend_is_judged(told: dict[str, str], verdict: str, words: str) -> None:
    blend = {
        "parameter": "hardness",
        "first": "16 dGH",
        "second": "0 dGH",
        "wanted": "8 dGH",
        "total": "100 L",
    }
    found = answer(WATER_BLEND, {**blend, **told}).values
    assert found["verdict"] == verdict
    assert words in found["why"]


def test_no_room_blends_a_lake() -> None:
    blend = {"parameter": "hardness", "first": "16 dGH", "second": "0 dGH", "wanted": "8 dGH"}
    with pytest.raises(Invalid) as refused:
        answer(WATER_BLEND, {**blend, "total": "1e14 L"})
    assert [fault.pointer for fault in refused.value.faults] == ["/total"]
