"""Samples that find a disease: published sizes, SciPy, and what must hold."""

import csv
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from weirbook.engine.relations.detection import (
    chance_of_missing,
    diseased_fish,
    diseased_ruled_out,
    sample_to_detect,
    share_ruled_out,
)

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ROWS = list(csv.DictReader((PUBLISHED / "sample_size_detection.csv").open()))

POPULATIONS = st.integers(1, 400)
CONFIDENCES = st.sampled_from([0.8, 0.9, 0.95, 0.99])


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["case_id"])
def test_the_published_sizes(row: dict[str, str]) -> None:
    prevalence, confidence = float(row["prevalence_pct"]) / 100, float(row["confidence_pct"]) / 100
    without_end = sample_to_detect(None, prevalence, confidence)
    assert without_end == int(row["sample_size_infinite_population"])
    if row["published_rule_of_thumb"]:
        assert without_end == pytest.approx(int(row["published_rule_of_thumb"]), abs=1)
    if row["population"] != "infinite":
        population = int(row["population"])
        diseased = diseased_fish(population, prevalence)
        assert diseased == int(row["diseased_in_population"])
        assert sample_to_detect(population, diseased, confidence) == int(row["sample_size_hypergeometric"])


@settings(max_examples=50)
@given(POPULATIONS, st.data(), CONFIDENCES)
def test_the_sample_is_the_smallest_that_serves(population, data, confidence) -> None:
    diseased = data.draw(st.integers(1, population))
    sample = sample_to_detect(population, diseased, confidence)
    assert sample is not None
    assert stats.hypergeom.pmf(0, population, diseased, sample) <= 1 - confidence + 1e-9
    if sample > 1:
        assert stats.hypergeom.pmf(0, population, diseased, sample - 1) > 1 - confidence - 1e-9


@settings(max_examples=50)
@given(POPULATIONS, st.data(), st.floats(0.05, 1))
def test_a_test_that_misses_some_leaves_the_sum_over_all_that_may_be_in_the_net(
    population, data, sensitivity
) -> None:
    diseased = data.draw(st.integers(1, population))
    sample = data.draw(st.integers(1, population))
    missed = sum(
        stats.hypergeom.pmf(k, population, diseased, sample) * (1 - sensitivity) ** k
        for k in range(min(sample, diseased) + 1)
    )
    found = chance_of_missing(population, diseased, sample, sensitivity)
    assert found == pytest.approx(float(missed), rel=1e-8, abs=1e-15)


@settings(max_examples=50)
@given(st.floats(0.001, 0.9), st.floats(0.1, 1), CONFIDENCES)
def test_without_end_the_sample_is_the_smallest_that_serves(prevalence, sensitivity, confidence) -> None:
    sample = sample_to_detect(None, prevalence, confidence, sensitivity)
    assert sample is not None
    shown = prevalence * sensitivity
    assert stats.binom.pmf(0, sample, shown) <= 1 - confidence + 1e-9
    assert sample == 1 or stats.binom.pmf(0, sample - 1, shown) > 1 - confidence - 1e-9


@settings(max_examples=50)
@given(POPULATIONS, st.data(), CONFIDENCES, st.sampled_from([1.0, 0.6]))
def test_what_a_sample_finds_is_what_its_clean_fish_rule_out(
    population, data, confidence, sensitivity
) -> None:
    sample = data.draw(st.integers(1, population))
    least = diseased_ruled_out(population, sample, confidence, sensitivity)
    if least is None:
        assert chance_of_missing(population, population, sample, sensitivity) > 1 - confidence
        return
    needed = sample_to_detect(population, least, confidence, sensitivity)
    assert needed is not None and needed <= sample
    if least > 1:
        fewer = sample_to_detect(population, least - 1, confidence, sensitivity)
        assert fewer is None or fewer > sample


@settings(max_examples=50)
@given(st.floats(0.001, 0.9), CONFIDENCES, st.floats(0.2, 1))
def test_without_end_too(prevalence, confidence, sensitivity) -> None:
    sample = sample_to_detect(None, prevalence, confidence, sensitivity)
    assert sample is not None
    assert share_ruled_out(sample, confidence, sensitivity) <= prevalence * (1 + 1e-9)
    if sample > 1:
        assert share_ruled_out(sample - 1, confidence, sensitivity) > prevalence * (1 - 1e-9)


@pytest.mark.parametrize("sample", [30, 100, 1000])
def test_the_rule_of_three(sample: int) -> None:
    """Hanley and Lippman-Hand (1983), from memory: none of n, so below 3 / n at 95 %; a little wide for few."""
    assert share_ruled_out(sample, 0.95) == pytest.approx(3 / sample, rel=0.06)
    assert share_ruled_out(sample, 0.95) < 3 / sample


def test_a_poor_test_may_not_find_it_even_in_all() -> None:
    """One ill fish of ten, shown in three cases of five: looking at all leaves 0.4."""
    assert chance_of_missing(10, 1, 10, 0.6) == pytest.approx(0.4)
    assert sample_to_detect(10, 1, 0.95, 0.6) is None
    assert sample_to_detect(10, 1, 0.6, 0.6) == 10


def test_where_all_are_ill_one_fish_tells() -> None:
    assert sample_to_detect(None, 1.0, 0.95) == sample_to_detect(12, 12, 0.95) == 1


@pytest.mark.parametrize(
    ("population", "prevalence", "fish"), [(50, 0.05, 3), (10, 0.01, 1), (3, 1.0, 3), (30, 0.05, 2)]
)
def test_a_share_of_fish_is_rounded_half_up_and_at_least_one(population, prevalence, fish) -> None:
    assert diseased_fish(population, prevalence) == fish
