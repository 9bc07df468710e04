"""Uptake of plants: ranges, held to the published rows of each form of growth."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.plants import (
    UPTAKE,
    UPTAKE_SHARE_OF_REMOVAL,
    Range,
    area_for,
    uptake,
)
from weirbook.engine.units import to_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ROWS = list(csv.DictReader((PUBLISHED / "plant_nutrient_uptake.csv").open()))
SHARES = list(csv.DictReader((PUBLISHED / "plant_uptake_share_of_removal.csv").open()))


def rates(row: dict[str, str], element: str) -> list[float]:
    return [
        to_si(float(row[f"{element}_uptake_{end}_g_per_m2_day"]), "g/m2/d", "areal_rate")
        for end in ("low", "high")
        if row[f"{element}_uptake_{end}_g_per_m2_day"]
    ]


def inside(rate: float, bounds: Range) -> bool:
    return bounds.low * (1 - 1e-9) <= rate <= bounds.high * (1 + 1e-9)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["plant"])
def test_every_published_plant_lies_within_one_of_its_forms(row: dict[str, str]) -> None:
    for element in ("n", "p"):
        bounds = [
            UPTAKE[form].nitrogen if element == "n" else UPTAKE[form].phosphorus
            for form in row["growth_form"].split("/")
        ]
        for rate in rates(row, element):
            assert any(inside(rate, one) for one in bounds)


@pytest.mark.parametrize("form", ["floating", "emergent"])
@pytest.mark.parametrize("element", ["n", "p"])
def test_a_forms_range_is_no_wider_than_its_published_plants(form: str, element: str) -> None:
    bounds = UPTAKE[form].nitrogen if element == "n" else UPTAKE[form].phosphorus
    own = [rate for row in ROWS if row["growth_form"] == form for rate in rates(row, element)]
    assert bounds.low == pytest.approx(min(own), rel=1e-9)
    assert bounds.high == pytest.approx(max(own), rel=1e-9)


@pytest.mark.parametrize("form", ["submersed", "other"])
def test_forms_without_a_source_say_so_and_hope_for_less_than_floating_plants(form: str) -> None:
    guess, sure = UPTAKE[form], UPTAKE["floating"]
    assert not guess.published and sure.published
    assert guess.nitrogen.low < sure.nitrogen.low and guess.nitrogen.high < sure.nitrogen.high
    assert guess.phosphorus.low < sure.phosphorus.low and guess.phosphorus.high < sure.phosphorus.high


def test_plants_take_up_several_times_more_nitrogen_than_phosphorus() -> None:
    # By the rows of the table: from 2.9 (Salvinia, least) to 9.
    ratios = [n / p for row in ROWS for n, p in zip(rates(row, "n"), rates(row, "p"), strict=False)]
    for form in UPTAKE.values():
        for nitrogen, phosphorus in (
            (form.nitrogen.low, form.phosphorus.low),
            (form.nitrogen.high, form.phosphorus.high),
        ):
            assert min(ratios) * 0.99 <= nitrogen / phosphorus <= max(ratios) * 1.01


def test_the_share_of_removal_is_the_published_range() -> None:
    row = next(row for row in SHARES if row["element"] == "N" and row["study"].startswith("eight"))
    assert Range(float(row["uptake_share_low"]), float(row["uptake_share_high"])) == UPTAKE_SHARE_OF_REMOVAL
    for other in (row for row in SHARES if row["element"] == "N"):
        assert inside(float(other["uptake_share_low"]), UPTAKE_SHARE_OF_REMOVAL)
        assert inside(float(other["uptake_share_high"]), UPTAKE_SHARE_OF_REMOVAL)


@given(st.sampled_from(list(UPTAKE)), st.floats(0.01, 50), st.floats(0.05, 1))
def test_the_area_for_what_is_taken_up_is_the_area(form: str, area: float, cover: float) -> None:
    nitrogen, phosphorus = uptake(form, area, cover)
    assert nitrogen.low <= nitrogen.middle <= nitrogen.high
    assert phosphorus.low <= phosphorus.middle <= phosphorus.high
    assert area_for(form, nitrogen.low, cover).high == pytest.approx(area)
    assert area_for(form, nitrogen.high, cover).low == pytest.approx(area)


def test_half_the_cover_takes_up_half() -> None:
    half, whole = uptake("floating", 1.0, 0.5)[0], uptake("floating", 1.0, 1.0)[0]
    assert half.low * 2 == pytest.approx(whole.low)
    assert half.high * 2 == pytest.approx(whole.high)


def test_the_middle_is_as_far_from_both_ends_by_times() -> None:
    assert Range(1.0, 9.0).middle == pytest.approx(3.0)
    assert Range(0.0, 0.0).middle == 0.0
