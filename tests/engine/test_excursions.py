"""Stretches outside target: where they begin and end, how bad and how long, and what silence does not end."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.excursions import Excursion, Seen, excursions
from weirbook.engine.relations.rollups import HOUR_MS, Join, Point, roll
from weirbook.engine.relations.windows import Band, minutes_outside

MINUTE = 60_000
GAP = 30 * MINUTE


def told(
    values: Sequence[tuple[float, float]],
    *bands: Band,
    join: Join = Join.LINE,
    gap_ms: int | None = GAP,
    until: float = 100_000,
) -> list[Excursion]:
    """The excursions of (minute, value) readings."""
    points = [Point(round(minute * MINUTE), value) for minute, value in values]
    return of_points(points, bands, join, gap_ms, round(until * MINUTE))


def of_points(
    points: Sequence[Point], bands: Sequence[Band], join: Join, gap_ms: int | None, until_ms: int
) -> list[Excursion]:
    hours = roll(points, join, gap_ms)
    seen = [Seen(point.at_ms, point.value, point.value, point.value) for point in points]
    return excursions(
        hours.values(),
        bands,
        until_ms,
        join,
        gap_ms,
        lambda hour: [s for s in seen if s.at_ms // HOUR_MS == hour],
    )


def shown(one: Excursion) -> tuple[str, float, float | None, float, float | None]:
    """Side, start and end in minutes, worst, minutes outside."""
    end = None if one.end_ms is None else one.end_ms / MINUTE
    outside = None if one.outside_ms is None else round(one.outside_ms / MINUTE, 6)
    return one.side, one.start_ms / MINUTE, end, one.worst, outside


WARM = Band(0, 23, 26)


def test_it_begins_and_ends_where_the_line_crosses_the_bound() -> None:
    """25 to 27 in ten minutes crosses 26 after five; back to 24 in thirty crosses it after ten."""
    assert [shown(one) for one in told([(0, 25), (10, 27), (40, 24)], WARM)] == [("above", 5, 20, 27, 15)]


def test_hysteresis_joins_what_flutters_about_the_bound_and_the_minutes_are_still_those_outside() -> None:
    values = [(0, 25), (10, 27), (20, 25.8), (30, 27), (40, 25), (50, 25)]
    assert len(told(values, WARM)) == 2
    (one,) = told(values, Band(0, 23, 26, hysteresis=0.5))
    # Back to 25.5 at minute 37.5; beyond 26: 5 to 18 1/3, and 21 2/3 to 35.
    assert shown(one) == ("above", 5, 37.5, 27, round(26 + 2 / 3, 6))


def test_one_shorter_than_the_least_duration_is_none() -> None:
    values = [(0, 25), (10, 27), (20, 25)]
    assert told(values, Band(0, 23, 26, least_ms=10 * MINUTE)) != []
    assert told(values, Band(0, 23, 26, least_ms=11 * MINUTE)) == []


def test_one_that_goes_on_counts_from_when_it_is_known_to_have_lasted() -> None:
    band = Band(0, 23, 26, least_ms=15 * MINUTE)
    assert told([(0, 25), (10, 27), (19, 27)], band) == []
    assert [shown(one) for one in told([(0, 25), (10, 27), (20, 27)], band)] == [("above", 5, None, 27, 15)]


def test_silence_ends_nothing_and_adds_no_minutes() -> None:
    assert [shown(one) for one in told([(0, 25), (10, 27), (70, 27.5), (80, 27)], WARM)] == [
        ("above", 5, None, 27.5, 15)
    ]
    assert [shown(one) for one in told([(0, 25), (10, 27), (70, 25)], WARM)] == [("above", 5, 70, 27, 5)]


def test_after_a_gap_it_begins_with_the_reading_that_shows_it() -> None:
    assert [shown(one) for one in told([(0, 25), (70, 27), (80, 27)], WARM)] == [("above", 70, None, 27, 10)]


def test_from_too_cold_to_too_warm_is_two() -> None:
    """A line from 20 to 30 in twenty minutes crosses 23 after six and 26 after twelve."""
    assert [shown(one) for one in told([(0, 20), (20, 30)], WARM)] == [
        ("below", 0, 6, 20, 6),
        ("above", 12, None, 30, 8),
    ]


def test_a_new_target_judges_the_value_of_its_instant() -> None:
    wider, none = Band(5 * MINUTE, 23, 29), Band(15 * MINUTE, None, None)
    assert [shown(one) for one in told([(0, 27), (10, 27)], WARM, wider)] == [("above", 0, 5, 27, 5)]
    assert [shown(one) for one in told([(0, 27), (10, 27), (20, 27)], WARM, none)] == [
        ("above", 0, 15, 27, 15)
    ]
    narrower = Band(5 * MINUTE, 23, 24)
    assert [shown(one) for one in told([(0, 25), (10, 25)], WARM, narrower)] == [("above", 5, None, 25, 5)]


def test_an_excursion_goes_on_under_a_new_target_that_it_is_outside_of_too() -> None:
    """Above 26, then above 25: one stretch. A target written anew at the instant of a reading changes nothing."""
    lower = Band(5 * MINUTE, 23, 25)
    (one,) = told([(0, 27), (10, 27)], WARM, lower)
    assert shown(one) == ("above", 0, None, 27, 10)
    assert one.band == lower
    again = Band(10 * MINUTE, 23, 26)
    assert [shown(one) for one in told([(0, 23), (10, 20)], WARM, again)] == [("below", 0, None, 20, 10)]


def test_a_new_target_in_a_gap_joins_nothing_over_it() -> None:
    """Readings 80 minutes apart are not joined, though the target changed 10 minutes before the second."""
    narrower = Band(70 * MINUTE, 23, 24)
    assert [shown(one) for one in told([(0, 25), (80, 25)], WARM, narrower)] == [("above", 70, None, 25, 0)]


def test_a_contact_that_reports_on_change_is_outside_until_it_says_otherwise() -> None:
    dry = Band(0, None, 0)
    assert [shown(one) for one in told([(0, 0), (10, 1)], dry, join=Join.HOLD, gap_ms=None, until=25)] == [
        ("above", 10, None, 1, 15)
    ]
    ends = told([(0, 0), (10, 1), (30, 0)], dry, join=Join.HOLD, gap_ms=None)
    assert [shown(one) for one in ends] == [("above", 10, 30, 1, 20)]


def test_a_held_contact_waits_for_its_least_duration_by_the_clock() -> None:
    dry = Band(0, None, 0, least_ms=5 * MINUTE)
    assert told([(0, 0), (10, 1)], dry, join=Join.HOLD, gap_ms=None, until=14) == []
    assert len(told([(0, 0), (10, 1)], dry, join=Join.HOLD, gap_ms=None, until=15)) == 1


def test_tests_by_hand_know_no_minutes_and_no_least_duration() -> None:
    band = Band(0, None, 20, least_ms=HOUR_MS)
    values = [(0, 10), (10_000, 40), (20_000, 10)]
    assert [shown(one) for one in told(values, band, join=Join.PLAIN)] == [
        ("above", 10_000, 20_000, 40, None)
    ]


def test_a_test_that_cannot_tell_neither_opens_nor_ends() -> None:
    """ "<5" against at least 3 may be either; "<2" is below for certain."""
    band = [Band(0, 3, None)]
    inf = float("inf")
    rows = [
        (Point(0, 5, True), Seen(0, 5, -inf, 5)),
        (Point(HOUR_MS, 2, True), Seen(HOUR_MS, 2, -inf, 2)),
        (Point(2 * HOUR_MS, 5, True), Seen(2 * HOUR_MS, 5, -inf, 5)),
        (Point(3 * HOUR_MS, 4), Seen(3 * HOUR_MS, 4, 4, 4)),
    ]
    hours = roll([point for point, _ in rows], Join.PLAIN, None)
    found = excursions(hours.values(), band, 9 * HOUR_MS, Join.PLAIN, None, lambda hour: [rows[hour][1]])
    assert [(one.start_ms // HOUR_MS, one.end_ms and one.end_ms // HOUR_MS) for one in found] == [(1, 3)]


SOME_READINGS = st.lists(
    st.tuples(st.integers(1, 45), st.sampled_from([20.0, 22.5, 23.0, 24.0, 25.5, 26.0, 26.5, 30.0])),
    min_size=1,
    max_size=60,
)


@given(
    SOME_READINGS,
    st.sampled_from([Join.LINE, Join.HOLD]),
    st.sampled_from([0.0, 0.5, 1.0]),
    st.lists(
        st.tuples(st.integers(0, 900), st.sampled_from([(23, 26), (22, None), (None, 25), (None, None)])),
        max_size=3,
    ),
)
def test_the_minutes_of_all_excursions_are_the_minutes_outside(
    steps: list[tuple[int, float]],
    join: Join,
    hysteresis: float,
    changes: list[tuple[int, tuple[float | None, float | None]]],
) -> None:
    """Held to minutes_outside, another way to the same figure; without hysteresis nothing else is left out."""
    times = list(itertools.accumulate(step for step, _ in steps))
    points = [Point(minute * MINUTE, value) for minute, (_, value) in zip(times, steps, strict=True)]
    later = sorted({minute: ends for minute, ends in changes}.items())
    bands = [Band(0, 23, 26, hysteresis), *(Band(m * MINUTE, *ends, hysteresis) for m, ends in later if m)]
    until = points[-1].at_ms
    found = of_points(points, bands, join, GAP, until + 1)
    hours = list(roll(points, join, GAP).values())
    inside = lambda hour: [point for point in points if point.at_ms // HOUR_MS == hour]  # noqa: E731
    expected = minutes_outside(hours, bands, 0, until, join, GAP, inside)
    total = sum(one.outside_ms or 0 for one in found) / MINUTE
    assert total == pytest.approx(expected or 0, abs=1e-4)


@given(SOME_READINGS, st.sampled_from(list(Join)), st.sampled_from([0.0, 1.0]))
def test_they_ascend_never_overlap_and_hold_their_worst(
    steps: list[tuple[int, float]], join: Join, hysteresis: float
) -> None:
    times = list(itertools.accumulate(step for step, _ in steps))
    points = [Point(minute * MINUTE, value) for minute, (_, value) in zip(times, steps, strict=True)]
    found = of_points(points, [Band(0, 23, 26, hysteresis)], join, GAP, points[-1].at_ms + 1)
    for one, following in itertools.pairwise(found):
        assert one.end_ms is not None and one.end_ms <= following.start_ms
    for one in found:
        inside = [p.value for p in points if one.start_ms <= p.at_ms < (one.end_ms or 10**12)]
        assert one.worst == (min(inside) if one.side == "below" else max(inside))
        assert one.end_ms is None or one.end_ms > one.start_ms
