"""Fish to look at: published sizes through the door, imperfect tests, clean fish, refusals, steps at random."""

import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.detection_sample import DETECTION_SAMPLE
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ROWS = list(csv.DictReader((PUBLISHED / "sample_size_detection.csv").open()))


def asked(**said: Any) -> Answer:
    return answer(DETECTION_SAMPLE, said)


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["case_id"])
def test_the_published_sizes(row: dict[str, str]) -> None:
    said: dict[str, Any] = {
        "prevalence": f"{row['prevalence_pct']} %",
        "confidence": f"{row['confidence_pct']} %",
    }
    if row["population"] != "infinite":
        said["population"] = int(row["population"])
    values = asked(**said).values
    assert values["sample_of_very_many"] == int(row["sample_size_infinite_population"])
    expected = row["sample_size_hypergeometric"] or row["sample_size_infinite_population"]
    assert values["sample"] == int(expected)
    assert values["diseased_fish"] == (int(row["diseased_in_population"]) if "population" in said else None)


def test_the_table_of_usual_shares_holds_the_published_sizes() -> None:
    by_share = {row["prevalence"]: row["sample"] for row in asked(prevalence="1 %").values["sizes"]}
    for row in ROWS[:3]:  # 2, 5 and 10 % of very many, at 95 %
        assert by_share[float(row["prevalence_pct"]) / 100] == int(row["sample_size_infinite_population"])
    of_fifty = {row["prevalence"]: row for row in asked(population=50, diseased=9).values["sizes"]}
    assert (of_fifty[0.1]["diseased_fish"], of_fifty[0.1]["sample"]) == (5, 22)


@pytest.mark.parametrize(("population", "percent", "many"), [(30, 2, 149), (32, 5, 59), (20, 10, 29)])
def test_very_many_fish_have_the_share_that_was_asked_not_that_of_whole_fish(
    population: int, percent: int, many: int
) -> None:
    """ln 0.05 / ln(1 - p), rounded up: rows ss01 to ss03, whatever the population."""
    assert asked(population=population, prevalence=f"{percent} %").values["sample_of_very_many"] == many
    by_heads = asked(population=20, diseased=2).values["sample_of_very_many"]
    assert by_heads == 29  # 2 of 20 are 10 %


@pytest.mark.parametrize(("clean", "verdict"), [(21, "too_few"), (22, "enough"), (None, "not_told")])
def test_clean_fish_are_held_to_the_sample(clean: int | None, verdict: str) -> None:
    """22 of 50 find 5 ill ones: row ss05."""
    values = asked(population=50, prevalence="10 %", clean=clean).values
    assert values["verdict"] == verdict
    if clean == 22:
        assert values["ruled_out_fish"] == 5 and "5 or more ill fish (10 %)" in values["reading"]
    if clean == 21:
        assert values["ruled_out_fish"] == 6
    if clean is None:
        assert values["ruled_out_fish"] is values["chance_of_missing_by_clean"] is None


def test_a_test_that_misses_half_needs_twice_the_fish_of_very_many() -> None:
    """1 - 0.5 x 0.10 shown by each is 1 - 0.05: 59 as for 5 % and a perfect test (row ss02)."""
    found = asked(prevalence="10 %", sensitivity="50 %")
    assert found.values["sample"] == 59
    assert "test-taken-as-perfect" not in codes(found)
    assert "test-taken-as-perfect" in codes(asked(prevalence="10 %"))


def test_a_poor_test_may_find_nothing_even_in_all() -> None:
    """One ill of ten, shown in 6 cases of 10: by hand, all ten leave 0.4 and one clean fish 0.94."""
    values = asked(population=10, diseased=1, sensitivity="60 %", clean=1).values
    assert (values["verdict"], values["sample"], values["chance_of_missing"]) == ("not_possible", None, None)
    assert values["chance_of_missing_by_clean"] == pytest.approx(0.94)
    assert values["ruled_out_share"] is None and "no sample finds" in values["reading"]


def test_sixty_clean_ones_of_very_many_speak_against_five_per_cent() -> None:
    """The rule of three: 3 / 60."""
    values = asked(prevalence="5 %", clean=60).values
    assert values["ruled_out_share"] == pytest.approx(0.05, rel=0.04)
    assert values["ruled_out_fish"] is None
    assert "never that it is absent" in " ".join(one.text for one in asked(prevalence="5 %").cautions)


@pytest.mark.parametrize(
    ("said", "pointer", "words"),
    [
        ({}, "/prevalence", "how much illness"),
        ({"prevalence": "5 %", "diseased": 3, "population": 50}, "/diseased", "not both"),
        ({"diseased": 3}, "/population", "needs the population"),
        ({"diseased": 30, "population": 20}, "/diseased", "only 20 fish"),
        ({"prevalence": "5 %", "clean": 30, "population": 20}, "/clean", "only 20 fish"),
        ({"prevalence": "0 %"}, "/prevalence", "more than 0"),
        ({"prevalence": "5 %", "population": 0}, "/population", "at least 1"),
        ({"prevalence": "5 %", "sensitivity": "1 %"}, "/sensitivity", "at least 5 %"),
        ({"prevalence": "5 %", "population": 200_000}, "/population", "at most"),
    ],
)
def test_what_is_refused(said: dict[str, Any], pointer: str, words: str) -> None:
    with pytest.raises(Invalid) as trouble:
        asked(**said)
    (fault,) = trouble.value.faults
    assert fault.pointer == pointer
    assert words in fault.message


@settings(max_examples=60)
@given(
    st.one_of(st.none(), st.integers(1, 300)),
    st.integers(1, 100),
    st.integers(1, 300),
    st.sampled_from([100, 90, 55, 5]),
)
def test_every_step_can_be_followed(assert_followed, population, prevalence, clean, sensitivity) -> None:
    found = asked(
        population=population,
        prevalence=f"{prevalence} %",
        clean=clean if population is None else min(clean, population),
        sensitivity=f"{sensitivity} %",
    )
    for step in found.steps:
        assert_followed(step)


@settings(max_examples=40)
@given(st.integers(1, 300), st.integers(1, 60))
def test_the_approximate_formula_comes_near(population, prevalence) -> None:
    """Cannon and Roe's, by a perfect test: within two fish or a tenth."""
    found = asked(population=population, prevalence=f"{prevalence} %")
    near = next(one.value for one in found.steps if one.words.startswith("sample by the approximate"))
    assert near == pytest.approx(found.values["sample"], abs=2, rel=0.1)
