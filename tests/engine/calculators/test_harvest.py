"""What plants carried out take along, held to published shares; how much a week holds nitrate, by hand and turned round."""

import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given as drawn
from hypothesis import strategies as st

from weirbook.engine.calculators.harvest import HARVEST
from weirbook.engine.relations.nutrients import Day, Pair, simulate
from weirbook.engine.relations.plants import (
    DRY_SHARE,
    TISSUE_NITROGEN,
    TISSUE_PHOSPHORUS,
    Range,
    carried_off,
    crop_for,
)
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
KNOWN = {"dry_share": "8 %", "nitrogen_share": "3 %", "phosphorus_share": "0.5 %"}


def rows(quantity: str) -> list[dict[str, str]]:
    told = csv.DictReader((PUBLISHED / "plant_tissue.csv").open())
    return [row for row in told if row["quantity"] == quantity]


def asked(over: dict[str, Any] | None = None, base: Any = HARVEST.example) -> Answer:
    return answer(HARVEST, {**base, **(over or {})})


def value(given: Answer, name: str, unit: str) -> float:
    shown = given.quantity(name, unit)
    assert shown is not None and not isinstance(shown, str), name
    return shown.value


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


def spans(one: Range, low: float, high: float) -> bool:
    return one.low - 1e-12 <= low and high <= one.high + 1e-12


@pytest.mark.parametrize("row", rows("dry_of_fresh"), ids=lambda row: row["plant"])
def test_dry_matter_of_a_form_spans_what_is_published_of_it(row: dict[str, str]) -> None:
    for form in (row["growth_form"], "other"):
        assert spans(DRY_SHARE[form], float(row["percent_low"]) / 100, float(row["percent_high"]) / 100)


@pytest.mark.parametrize("form", ["floating", "submersed", "emergent"])
def test_dry_matter_of_a_form_is_no_wider_than_published(form: str) -> None:
    (row,) = [one for one in rows("dry_of_fresh") if one["plant"] == f"{form} species"]
    assert (DRY_SHARE[form].low, DRY_SHARE[form].high) == pytest.approx(
        (float(row["percent_low"]) / 100, float(row["percent_high"]) / 100)
    )


@pytest.mark.parametrize("row", rows("protein_of_dry"), ids=lambda row: row["plant"])
def test_nitrogen_spans_the_protein_published(row: dict[str, str]) -> None:
    """Protein is 6.25 times the nitrogen found: the table says so itself."""
    nitrogen = float(row["percent_low"]) / 100 / 6.25
    assert spans(TISSUE_NITROGEN, nitrogen, nitrogen)


@pytest.mark.parametrize("row", rows("nitrogen_of_dry"), ids=lambda row: row["plant"])
def test_nitrogen_spans_what_was_found_and_reckoned_with(row: dict[str, str]) -> None:
    assert spans(TISSUE_NITROGEN, float(row["percent_low"]) / 100, float(row["percent_high"]) / 100)


@pytest.mark.parametrize("row", rows("phosphorus_of_dry"), ids=lambda row: row["plant"])
def test_phosphorus_spans_what_was_found(row: dict[str, str]) -> None:
    assert spans(TISSUE_PHOSPHORUS, float(row["percent_low"]) / 100, float(row["percent_high"]) / 100)


def test_ranges_reach_no_farther_than_their_rows() -> None:
    found = [float(row["percent_low"]) / 6.25 for row in rows("protein_of_dry")]
    found += [float(row["percent_low"]) for row in rows("nitrogen_of_dry")]
    assert (TISSUE_NITROGEN.low * 100, TISSUE_NITROGEN.high * 100) == pytest.approx(
        (min(found), max(found)), abs=0.1
    )
    found = [float(row["percent_low"]) for row in rows("phosphorus_of_dry")]
    assert (TISSUE_PHOSPHORUS.low * 100, TISSUE_PHOSPHORUS.high * 100) == pytest.approx(
        (min(found), max(found))
    )


def test_a_harvest_of_known_plants_worked_by_hand() -> None:
    """100 g x 8 % x 3 % = 240 mg N; in 200 L 1.2 mg/L N, x 62.004 / 14.007 = 5.312 mg/L NO3.

    x 0.5 % = 40 mg P; 0.2 mg/L P, x 94.9698 / 30.9738 = 0.6132 mg/L PO4. Of 2 g a day of 46 % protein 84.64 mg N are
    made: 2.8355 days. A week makes 592.48 mg, which 246.87 g carry off.
    """
    base = {**KNOWN, "wet_mass": "100 g", "water_volume": "200 L", "feed": "2 g/d", "protein": "46 %"}
    found = asked(base=base)
    for end in ("low", "high"):
        assert value(found, f"dry_mass_{end}", "g") == pytest.approx(8)
        assert value(found, f"nitrogen_{end}", "mg") == pytest.approx(240)
        assert value(found, f"phosphorus_{end}", "mg") == pytest.approx(40)
        assert value(found, f"nitrate_{end}", "mg/L NO3") == pytest.approx(5.3120, abs=5e-5)
        assert value(found, f"phosphate_{end}", "mg/L PO4") == pytest.approx(0.61323, abs=5e-6)
        assert value(found, f"weekly_{end}", "g") == pytest.approx(246.867, abs=5e-4)
        assert value(found, f"food_lasts_{end}", "d") == pytest.approx(2.83554, abs=5e-6)
    assert value(found, "nitrogen_made", "mg/d") == pytest.approx(84.64)


def test_a_range_is_told_where_nothing_is_known() -> None:
    """250 g of floating plants: x 5 % x 1.4 % = 175 mg, x 10 % x 4 % = 1000 mg; P 0.1625 and 0.2075 x 1000 mg."""
    found = asked()
    assert value(found, "nitrogen_low", "mg") == pytest.approx(175)
    assert value(found, "nitrogen_high", "mg") == pytest.approx(1000)
    assert value(found, "phosphorus_low", "mg") == pytest.approx(16.25)
    assert value(found, "phosphorus_high", "mg") == pytest.approx(207.5)
    # 4 g x 0.42 x 0.092 = 154.56 mg a day; half of a week's 540.96 mg by plants of 4 and of 0.7 mg/g.
    assert value(found, "weekly_low", "g") == pytest.approx(135.24)
    assert value(found, "weekly_high", "g") == pytest.approx(772.8)


@drawn(
    st.floats(0.1, 50), st.floats(0.02, 0.3), st.floats(0.005, 0.06), st.floats(0.05, 1), st.floats(0.02, 5)
)
def test_a_weeks_crop_holds_nitrate_in_the_balance(
    food: float, dry: float, nitrogen: float, share: float, volume: float
) -> None:
    """What the balance of nutrients makes of a week of that food and that crop ends where it began, but for the share."""
    said = {
        "feed": f"{food} g/d",
        "protein": "40 %",
        "dry_share": f"{dry} 1",
        "nitrogen_share": f"{nitrogen} 1",
    }
    crop = value(asked({**said, "share": f"{share} 1"}, {}), "weekly_low", "kg")
    made = food / 1000 * 0.4 * 0.092
    off = carried_off(crop, Range(dry, dry), Range(nitrogen, nitrogen)).low / 7
    day = Day(made=Pair(made), uptake=Pair(off))
    (*_, last) = simulate(volume, Pair(1.0), [day] * 7)
    assert last.end.nitrogen * volume - volume == pytest.approx(7 * made * (1 - share), abs=1e-9 * volume)


@drawn(st.floats(1e-6, 10), st.floats(0.01, 1), st.floats(0.001, 0.1))
def test_the_crop_for_an_amount_carries_it_off(amount: float, dry: float, share: float) -> None:
    dries, shares = Range(dry / 2, dry), Range(share / 3, share)
    crop = crop_for(amount, dries, shares)
    assert carried_off(crop.low, dries, shares).high == pytest.approx(amount)
    assert carried_off(crop.high, dries, shares).low == pytest.approx(amount)


@pytest.mark.parametrize(
    "over",
    [
        {},
        KNOWN,
        {"feed": None, "protein": None, "nitrogen": "1 g/d", "wet_mass": "1 lb", "period": "3 wk"},
        {"wet_mass": None},
        {"water_volume": None, "growth_form": "emergent"},
        {"feed": "0 g/d"},
        {"feed": None, "growth_form": "submersed"},
    ],
)
def test_every_step_can_be_followed(over: dict[str, Any], assert_followed: Any) -> None:
    found = asked(over)
    assert found.steps
    for one in found.steps:
        assert_followed(one)


@pytest.mark.parametrize(
    ("wet", "verdict", "words"),
    [
        ("800 g", "ok", "enough, even of lean plants"),
        ("250 g", "watch", "rich plants only"),
        ("100 g", "over", "more gathers"),
        (None, "unknown", "not told"),
    ],
)
def test_the_verdict_holds_what_is_taken_out_against_what_gathers(
    wet: str | None, verdict: str, words: str
) -> None:
    found = asked({"wet_mass": wet})
    assert found.values["verdict"] == verdict
    assert words in found.values["why"]


def test_a_period_makes_it_a_weeks() -> None:
    assert value(asked({"wet_mass": "1 kg", "period": "28 d"}), "weekly_done", "g") == pytest.approx(250)
    assert asked({"period": None}).values["verdict"] == "unknown"
    assert asked({"period": None}).quantity("weekly_done") is None


def test_without_food_only_what_was_carried_off_is_told() -> None:
    found = asked({"feed": None})
    assert found.values["verdict"] == "unknown"
    assert found.quantity("weekly_low") is None and found.quantity("food_lasts_low") is None
    assert value(found, "nitrogen_low", "mg") == pytest.approx(175)


def test_care_is_told() -> None:
    always = {"weigh-drained", "thin-out", "plant-sap", "plants-bring-along", "invasive-plants", "crop-them"}
    assert codes(asked(KNOWN)) == always
    assert codes(asked()) == {*always, "published-shares"}


@pytest.mark.parametrize(
    ("over", "pointer"),
    [
        ({"wet_mass": None, "feed": None}, "/wet_mass"),
        ({"wet_mass": None, "protein": None}, "/wet_mass"),
        ({"wet_mass": "0 g"}, "/wet_mass"),
        ({"wet_mass": "250 mL"}, "/wet_mass"),
        ({"period": "0 d"}, "/period"),
        ({"growth_form": "moss"}, "/growth_form"),
        ({"dry_share": "0 %"}, "/dry_share"),
        ({"dry_share": "101 %"}, "/dry_share"),
        ({"nitrogen_share": "-1 %"}, "/nitrogen_share"),
        ({"phosphorus_share": 0.01}, "/phosphorus_share"),
        ({"water_volume": "0 L"}, "/water_volume"),
        ({"share": "0 %"}, "/share"),
        ({"share": "101 %"}, "/share"),
        ({"nitrogen": "-1 mg/d"}, "/nitrogen"),
        ({"colour": "green"}, "/colour"),
    ],
)
def test_what_can_not_be_is_refused_at_the_fault(over: dict[str, Any], pointer: str) -> None:
    with pytest.raises(Invalid) as refused:
        asked(over)
    assert [fault.pointer for fault in refused.value.faults] == [pointer]
