import csv
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from lifelines.statistics import logrank_test
from lifelines.utils import median_survival_times
from statsmodels.duration.survfunc import SurvfuncRight, survdiff
from statsmodels.stats.proportion import proportion_confint

from weirbook.engine.relations.survival import (
    ALL_LOST,
    FROM_BEFORE,
    LOG_LOG,
    NONE_LOST,
    Curve,
    Life,
    kaplan_meier,
    log_rank,
)

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows_of(file: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / file).open()))


TABLE = rows_of("stats_kaplan_meier_6mp.csv")
LIVES = {
    group: [
        Life(float(row["time_weeks"]), row["event"] == "1")
        for row in rows_of("stats_kaplan_meier_6mp_data.csv")
        if row["group"] == group
    ]
    for group in ("6-MP", "placebo")
}
SUMMARY = {row["quantity"]: float(row["value"]) for row in rows_of("stats_kaplan_meier_6mp_summary.csv")}
CURVES = {group: kaplan_meier(lives) for group, lives in LIVES.items()}


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row['group']} {row['time_weeks']}")
def test_the_published_curve_is_found_with_its_error_and_interval(row: dict[str, str]) -> None:
    step = CURVES[row["group"]].step_at(float(row["time_weeks"]))
    assert step is not None
    assert (step.age, step.at_risk, step.lost, step.left) == tuple(
        float(row[name]) for name in ("time_weeks", "at_risk", "events", "censored")
    )
    assert step.survival == pytest.approx(float(row["survival"]), abs=1e-6)
    assert step.error == pytest.approx(float(row["greenwood_se"]), abs=1e-6)
    limits = step.interval()
    if row["ci95_low_log_log"]:
        assert limits == pytest.approx(
            (float(row["ci95_low_log_log"]), float(row["ci95_high_log_log"])), abs=1e-6
        )
    else:
        assert limits is None


def test_the_published_curve_has_no_other_steps() -> None:
    assert sum(len(curve.steps) for curve in CURVES.values()) == len(TABLE)


def test_the_published_medians_losses_times_and_log_rank_are_found() -> None:
    assert CURVES["6-MP"].median() == SUMMARY["median_6mp_weeks"]
    assert CURVES["placebo"].median() == SUMMARY["median_placebo_weeks"]
    assert CURVES["6-MP"].lost == SUMMARY["events_6mp"]
    assert CURVES["placebo"].lost == SUMMARY["events_placebo"]
    assert sum(life.end for life in LIVES["6-MP"]) == SUMMARY["person_weeks_6mp"]
    assert sum(life.end for life in LIVES["placebo"]) == SUMMARY["person_weeks_placebo"]
    compared = log_rank(LIVES["6-MP"], LIVES["placebo"])
    assert compared.chi_square == pytest.approx(SUMMARY["logrank_chi2"], abs=1e-6)
    assert compared.probability == pytest.approx(SUMMARY["logrank_p"], rel=1e-6)


AGES = st.integers(1, 12).map(float)
FIRST = st.just(0.0)
LATE = st.integers(0, 8).map(float)
WHOLE = st.integers(1, 9).map(float)


def lives(
    entry: st.SearchStrategy[float] = FIRST, heads: st.SearchStrategy[float] = WHOLE
) -> st.SearchStrategy[list[Life]]:
    """Ends lie after entries, so that all oracles say the same of who is at risk."""
    one = st.builds(
        lambda entry, more, lost, heads: Life(entry + more, lost, heads, entry),
        entry, AGES, st.booleans(), heads,
    )  # fmt: skip
    return st.lists(one, min_size=1, max_size=15)


def columns(some: Sequence[Life]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    return (
        np.array([one.end for one in some]),
        np.array([one.lost for one in some]),
        np.array([one.heads for one in some]),
        np.array([one.entry for one in some]),
    )


@settings(max_examples=25, deadline=None)
@given(lives())
def test_lifelines_finds_the_same_curve_of_lives_told_by_the_head(some: list[Life]) -> None:
    """Whole heads: it cuts fractions of those at risk."""
    ends, lost, heads, _ = columns(some)
    fitted = KaplanMeierFitter().fit(ends, lost, weights=heads)
    curve = kaplan_meier(some)
    limits = fitted.confidence_interval_.to_numpy()
    for index, age in enumerate(fitted.survival_function_.index):
        if age == 0:
            continue
        step = curve.step_at(age)
        assert step is not None
        assert step.survival == pytest.approx(float(fitted.survival_function_.iloc[index, 0]), abs=1e-9)
        assert step.at_risk == pytest.approx(float(fitted.event_table["at_risk"].iloc[index]))
        if (found := step.interval()) is not None:
            assert found == pytest.approx(tuple(limits[index]), abs=1e-7)
    limits_known = [step.interval() for step in curve.steps]
    # Where a curve or limit touches one half the rounding of fractions decides, there and here.
    told = [step.survival for step in curve.steps] + [limit for one in limits_known for limit in one or ()]
    if any(abs(one - 0.5) < 1e-9 for one in told):
        return
    assert curve.median() == finite(fitted.median_survival_time_)
    if all(limits_known):
        found = median_survival_times(fitted.confidence_interval_).to_numpy()[0]
        assert curve.median_interval() == tuple(map(finite, found))


def finite(age: float) -> float | None:
    return None if math.isinf(age) else age


@settings(max_examples=25, deadline=None)
@given(lives(LATE, WHOLE | st.floats(0.25, 8)))
@pytest.mark.filterwarnings("ignore")
def test_statsmodels_finds_the_same_curve_of_parted_heads_that_come_under_watch_late(
    some: list[Life],
) -> None:
    ends, lost, heads, entries = columns(some)
    assume(lost.any())
    # Its risk set is entry < age <= end, ties and all; entries at 0 are before every age.
    fitted = SurvfuncRight(ends, lost.astype(int), entry=entries, freq_weights=heads)
    curve = kaplan_meier(some)
    for age, survival, at_risk, dead in zip(
        fitted.surv_times, fitted.surv_prob, fitted.n_risk, fitted.n_events, strict=True
    ):
        step = curve.step_at(age)
        assert step is not None and step.age == age
        assert step.at_risk == pytest.approx(at_risk)
        assert step.lost == pytest.approx(dead)
        assert step.survival == pytest.approx(survival, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(lives(), lives())
@pytest.mark.filterwarnings("ignore")
def test_lifelines_finds_the_same_log_rank_of_lives_told_by_the_head(
    one: list[Life], other: list[Life]
) -> None:
    (ends, lost, heads, _), (more_ends, more_lost, more_heads, _) = columns(one), columns(other)
    compared = log_rank(one, other)
    assume(compared.variance > 1e-6)
    found = logrank_test(ends, more_ends, lost, more_lost, weights_A=heads, weights_B=more_heads)
    assert compared.chi_square == pytest.approx(found.test_statistic, rel=1e-6, abs=1e-9)
    assert compared.probability == pytest.approx(found.p_value, rel=1e-6, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(lives(LATE), lives(LATE))
@pytest.mark.filterwarnings("ignore")
def test_statsmodels_finds_the_same_log_rank_with_late_entry(one: list[Life], other: list[Life]) -> None:
    # It takes whole heads one by one.
    one, other = ([Life(x.end, x.lost, 1.0, x.entry) for x in some] for some in (one, other))
    ends, lost, _, entries = columns([*one, *other])
    compared = log_rank(one, other)
    assume(compared.variance > 1e-6)
    groups = np.array([0] * len(one) + [1] * len(other))
    square, probability = survdiff(ends, lost.astype(int), groups, entry=entries)
    assert compared.chi_square == pytest.approx(square, rel=1e-6, abs=1e-9)
    assert compared.probability == pytest.approx(probability, rel=1e-6, abs=1e-9)


@given(lives(LATE))
def test_heads_that_change_tanks_midway_leave_the_curve_as_it_was(some: list[Life]) -> None:
    parted = []
    for life in some:
        middle = life.entry + 1
        if life.end > middle:
            parted += [
                Life(middle, False, life.heads, life.entry),
                Life(life.end, life.lost, life.heads, middle),
            ]
        else:
            parted.append(life)
    whole, pieces = kaplan_meier(some), kaplan_meier(parted)
    for step in whole.steps:
        found = pieces.step_at(step.age)
        assert found is not None
        assert found.survival == pytest.approx(step.survival, abs=1e-9)
        if step.survival:
            assert found.spread == pytest.approx(step.spread, abs=1e-9)


def test_a_fish_dead_on_arrival_was_at_risk_and_one_counted_in_dead_was_not() -> None:
    arrived = kaplan_meier([Life(0.0, True), Life(5.0, False, 9.0)])
    assert arrived.survival_at(0.0) == pytest.approx(0.9)
    assert kaplan_meier([Life(3.0, True, 1.0, 3.0), Life(5.0, False, 9.0)]).survival_at(4.0) == 1.0


def test_nothing_is_told_beyond_the_watch_unless_nobody_was_left() -> None:
    some = kaplan_meier([Life(3.0, True), Life(10.0, False)])
    assert some.survival_at(10.0) == 0.5
    assert some.survival_at(10.5) is None and some.told_at(10.5) is None
    assert kaplan_meier([Life(3.0, True)]).survival_at(50.0) == 0.0
    assert kaplan_meier([]).survival_at(1.0) is None


def test_nothing_is_told_across_an_age_at_which_nobody_was_watched() -> None:
    gap = kaplan_meier([Life(10.0, False, 4.0), Life(30.0, True, 1.0, 20.0), Life(40.0, False, 3.0, 20.0)])
    assert gap.survival_at(10.0) == 1.0
    assert gap.survival_at(15.0) is None and gap.survival_at(30.0) is None and gap.told_at(35.0) is None
    late = kaplan_meier([Life(30.0, True, 4.0, 20.0)])
    assert late.survival_at(25.0) is None and late.survival_at(40.0) is None and late.median() is None


def test_an_interval_of_no_losses_rests_on_the_fewest_that_were_watched_on_the_way() -> None:
    some = kaplan_meier(
        [Life(10.0, False, 6.0), Life(40.0, False, 2.0), Life(40.0, False, 20.0, 15.0), Life(20.0, False)]
    )
    told = some.told_at(30.0)
    assert told is not None and told.low is not None
    assert (told.watched, told.low) == (3.0, pytest.approx(proportion_confint(3, 3, method="beta")[0]))
    moved = kaplan_meier([Life(10.0, False, 6.0), Life(40.0, False, 6.0, 10.0)]).told_at(30.0)
    assert moved is not None and moved.watched == 6.0


@pytest.mark.parametrize(("heads", "confidence"), [(1, 0.95), (6, 0.95), (30, 0.9)])
def test_none_or_all_lost_get_the_exact_binomial_interval(heads: int, confidence: float) -> None:
    alive = kaplan_meier([Life(30.0, False, heads)]).told_at(30.0, confidence)
    dead = kaplan_meier([Life(30.0, True, heads)]).told_at(40.0, confidence)
    assert alive is not None and dead is not None
    for told, living, method in ((alive, heads, NONE_LOST), (dead, 0, ALL_LOST)):
        limits = proportion_confint(living, heads, alpha=1 - confidence, method="beta")
        assert (told.low, told.high) == pytest.approx(limits, abs=1e-12)
        assert told.method == method


def test_the_upper_limit_stands_as_it_was_before_the_last_was_lost() -> None:
    told = CURVES["placebo"].told_at(30.0)
    before = CURVES["placebo"].told_at(22.0)
    assert told is not None and before is not None
    assert (told.survival, told.low, told.high) == (0.0, 0.0, before.high)
    assert (told.method, before.method) == (FROM_BEFORE, LOG_LOG)


@given(lives(LATE), st.floats(0, 25), st.sampled_from([0.5, 0.9, 0.99]))
def test_an_interval_holds_its_survival_and_widens_with_confidence(
    some: list[Life], age: float, confidence: float
) -> None:
    curve = kaplan_meier(some)
    told, wider = curve.told_at(age, confidence), curve.told_at(age, 0.999)
    if told is None:
        assert curve.survival_at(age) is None
        return
    assert wider is not None
    low, high = told.low or 0.0, told.high
    assert high is not None and wider.high is not None
    assert 0 <= (wider.low or 0.0) <= low <= told.survival + 1e-9
    assert told.survival - 1e-9 <= high <= wider.high <= 1


@given(lives(), st.floats(0.1, 10))
def test_heads_in_other_units_leave_the_survival_and_scale_its_spread(
    some: list[Life], factor: float
) -> None:
    scaled = kaplan_meier([Life(one.end, one.lost, one.heads * factor) for one in some])
    for step, other in zip(kaplan_meier(some).steps, scaled.steps, strict=True):
        assert other.survival == pytest.approx(step.survival, abs=1e-9)
        if step.survival:
            assert other.spread * factor == pytest.approx(step.spread, abs=1e-9)


@given(lives())
def test_survival_falls_and_heads_are_all_accounted_for(some: list[Life]) -> None:
    curve: Curve = kaplan_meier(some)
    survivals = [1.0, *(step.survival for step in curve.steps)]
    assert survivals == sorted(survivals, reverse=True)
    assert math.fsum(step.lost + step.left for step in curve.steps) == pytest.approx(curve.heads)
    assert curve.steps[0].at_risk == pytest.approx(curve.heads)
    assert curve.steps[-1].after == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("life", [Life(1.0, True, 1.0, 2.0), Life(1.0, True, -1.0)])
def test_a_life_that_ends_before_it_begins_is_a_fault(life: Life) -> None:
    with pytest.raises(ValueError, match="ends before"):
        kaplan_meier([life])
