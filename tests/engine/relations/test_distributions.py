"""Distributions beside SciPy 1.17 at random points, small tails and ends included, and by what must hold."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from weirbook.engine.relations import distributions as ours

SIZES = st.floats(-1, 4.5).map(lambda exponent: 10.0**exponent)
SHARES = st.floats(1e-12, 1 - 1e-12)
QUANTILES = st.one_of(st.floats(1e-8, 0.5), st.floats(0.5, 1 - 1e-8))
FREEDOMS = st.floats(0, 5).map(lambda exponent: 10.0**exponent)
POPULATIONS = st.integers(1, 20_000)
TIMES = st.one_of(st.just(0.0), st.floats(1e-100, 4))


def agrees(mine: float, theirs: float, rel: float = 1e-9) -> bool:
    """Equal but for rounding, where it isn't far below what a float holds well."""
    return mine == pytest.approx(float(theirs), rel=rel, abs=1e-280)


@settings(max_examples=50)
@given(SIZES, SIZES, SHARES, st.floats(-4, 4))
def test_the_incomplete_beta_function_and_its_other_end(a, b, share, away) -> None:
    # Half of the points near the middle of the distribution, where the value is neither 0 nor 1.
    middle, spread = a / (a + b), math.sqrt(a * b / (a + b + 1)) / (a + b)
    for x in (share, middle + away * spread):
        if 0 < x < 1:
            assert agrees(ours.beta_share(a, b, x), special.betainc(a, b, x))
            assert agrees(ours.beta_share(b, a, 1 - x, x), special.betaincc(a, b, x))


@settings(max_examples=50)
@given(QUANTILES, st.floats(0.5, 1e4), st.floats(0.5, 1e4))
def test_the_beta_quantile_gives_back_its_share(share, a, b) -> None:
    x, rest = ours.beta_quantile(share, a, b)
    assert x + rest == pytest.approx(1, abs=1e-15)
    assert agrees(x, special.betaincinv(a, b, share), 1e-8)
    if share <= 0.5:
        assert ours.beta_share(a, b, x, rest) == pytest.approx(share, rel=1e-9)


def test_a_beta_quantile_near_one_keeps_the_digits_of_what_is_left() -> None:
    """I_x(a, 1) = x^a: half of it lies below 2^(-1/a), which leaves ln 2 / a for large a."""
    x, rest = ours.beta_quantile(0.5, 1e9, 1.0)
    assert rest == pytest.approx(math.log(2) / 1e9, rel=1e-8)
    assert x == pytest.approx(1)


@settings(max_examples=50)
@given(st.floats(-40, 40), FREEDOMS)
def test_student_t_and_its_tail(t, freedom) -> None:
    assert agrees(ours.t_tail(t, freedom), stats.t.sf(t, freedom))
    assert agrees(ours.t_cdf(t, freedom), stats.t.cdf(t, freedom))


@settings(max_examples=50)
@given(QUANTILES, FREEDOMS)
def test_the_quantile_of_student_t(share, freedom) -> None:
    assert ours.t_quantile(share, freedom) == pytest.approx(
        float(stats.t.ppf(share, freedom)), rel=1e-9, abs=1e-12
    )


@pytest.mark.parametrize(
    ("freedom", "printed"), [(1, 12.706), (2, 4.303), (10, 2.228), (30, 2.042), (120, 1.980), (1e9, 1.960)]
)
def test_the_printed_table_of_student_t(freedom: float, printed: float) -> None:
    """Two-sided 95 %: the table at the end of any textbook of statistics, from memory; SciPy agrees above."""
    assert ours.two_sided_t(0.95, freedom) == pytest.approx(printed, abs=5e-4)


@settings(max_examples=50)
@given(st.floats(-37, 37))
def test_the_normal_tail(z) -> None:
    assert agrees(ours.normal_tail(z), stats.norm.sf(z))


@settings(max_examples=50)
@given(QUANTILES)
def test_the_normal_quantile(share) -> None:
    assert ours.normal_quantile(share) == pytest.approx(float(stats.norm.ppf(share)), rel=1e-9, abs=1e-12)
    if share < 1 - 1e-6:
        assert ours.normal_tail(ours.two_sided_z(share)) == pytest.approx((1 - share) / 2, rel=1e-8)


@settings(max_examples=50)
@given(st.integers(0, 20_000), POPULATIONS, SHARES)
def test_binomial_chances_and_tails(count, of, share) -> None:
    count = min(count, of)
    assert agrees(ours.binomial_chance(count, of, share), stats.binom.pmf(count, of, share))
    assert agrees(ours.binomial_at_most(count, of, share), stats.binom.cdf(count, of, share))
    assert agrees(ours.binomial_at_least(count, of, share), stats.binom.sf(count - 1, of, share))


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_what_never_or_always_happens(share: float) -> None:
    sure = 5 if share else 0
    for count in range(6):
        assert ours.binomial_chance(count, 5, share) == (count == sure)
        assert ours.binomial_at_most(count, 5, share) == (count >= sure)
        assert ours.binomial_at_least(count, 5, share) == (count <= sure)


def test_counts_that_can_not_be_have_no_chance() -> None:
    assert ours.binomial_at_most(-1, 5, 0.3) == ours.binomial_at_least(6, 5, 0.3) == 0
    assert ours.hypergeometric_chance(3, 10, 2, 5) == ours.hypergeometric_chance(0, 10, 8, 5) == 0
    assert ours.hypergeometric_at_most(2, 10, 8, 5) == ours.hypergeometric_at_least(3, 10, 2, 5) == 0
    assert ours.hypergeometric_at_most(2, 10, 2, 5) == ours.hypergeometric_at_least(3, 10, 8, 5) == 1


@settings(max_examples=40)
@given(POPULATIONS, st.data())
def test_hypergeometric_chances_and_tails(population, data) -> None:
    marked = data.draw(st.integers(0, population))
    drawn = data.draw(st.integers(0, population))
    count = data.draw(st.integers(max(0, drawn + marked - population), min(drawn, marked)))
    asked = population, marked, drawn
    assert agrees(ours.hypergeometric_chance(count, *asked), stats.hypergeom.pmf(count, *asked))
    assert agrees(ours.hypergeometric_at_most(count, *asked), stats.hypergeom.cdf(count, *asked))
    assert agrees(ours.hypergeometric_at_least(count, *asked), stats.hypergeom.sf(count - 1, *asked))


@settings(max_examples=50)
@given(FREEDOMS, TIMES)
def test_the_chi_squared_tail(freedom, times) -> None:
    value = freedom * times
    assert agrees(ours.chi_squared_tail(value, freedom), stats.chi2.sf(value, freedom))


@settings(max_examples=50)
@given(SIZES, TIMES)
def test_both_ends_of_the_incomplete_gamma_function(shape, times) -> None:
    x = shape * times
    assert agrees(ours.gamma_share(shape, x), special.gammainc(shape, x))
    assert agrees(ours.gamma_tail(shape, x), special.gammaincc(shape, x))


@settings(max_examples=50)
@given(st.integers(0, 100_000), st.floats(0.5, 0.9999))
def test_the_exact_interval_of_a_poisson_mean(count, confidence) -> None:
    """Garwood's by quantiles of chi-squared, as it is printed everywhere."""
    doubt = (1 - confidence) / 2
    low, high = ours.poisson_mean_interval(count, confidence)
    assert low == pytest.approx(float(stats.chi2.ppf(doubt, 2 * count) / 2) if count else 0.0, rel=1e-9)
    assert high == pytest.approx(float(stats.chi2.isf(doubt, 2 * count + 2) / 2), rel=1e-9)


@settings(max_examples=50)
@given(st.integers(0, 500), st.floats(1e-6, 500))
def test_a_poisson_chance(count, mean) -> None:
    assert agrees(ours.poisson_chance(count, mean), stats.poisson.pmf(count, mean))
