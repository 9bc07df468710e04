"""Windows and minutes outside target read from hourly rollups, held to the raw readings they stand for.

The reference below works from the definitions alone: it walks the whole record reading by reading, cuts
every stretch at each instant where anything changes or a bound is crossed, and takes the value in the middle
of each piece, in exact fractions. It shares nothing with the code under test but the data types.

Tolerances: counts, extremes, instants and covered milliseconds are exact. Areas are float sums, so they may
be off by some 1e-16 of the sum of magnitudes a term; a crossing by 1e-16 times value over difference of
values, here at most 4e4, of a stretch of at most some hours: far below the 1e-8 minutes allowed.
"""

import csv
import itertools
import math
import statistics
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.relations.rollups import HOUR_MS, Hour, Join, Point, roll
from weirbook.engine.relations.windows import Band, Stats, minutes_outside, window, windows

MINUTE = 60_000
BASE = 400_000 * HOUR_MS
PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"

JOINS = st.sampled_from(Join)
GAPS = st.sampled_from([None, 5 * MINUTE, 30 * MINUTE, 3 * HOUR_MS])
VALUES = st.integers(90, 104).map(lambda quarter: quarter / 4) | st.integers(22_500, 26_000).map(
    lambda thousandth: thousandth / 1000
)
INSTANTS = (
    st.integers(-4, 20).map(lambda half_hour: BASE + half_hour * HOUR_MS // 2)
    | st.integers(-2, 10).map(lambda hour: BASE + hour * HOUR_MS)
    | st.integers(BASE - 2 * HOUR_MS, BASE + 10 * HOUR_MS)
)
EDGES = st.lists(INSTANTS, min_size=2, max_size=6, unique=True).map(sorted)


@st.composite
def records(draw: st.DrawFn) -> list[Point]:
    """Some hours of one gauge: bursts, long gaps, readings on the hour, implausible ones among them."""
    spacing = st.integers(1, 4).map(lambda quarter: quarter * 15 * MINUTE) | st.integers(1, 4 * HOUR_MS)
    spacing |= st.integers(1, 10 * MINUTE)
    steps = draw(st.lists(spacing, max_size=30))
    late = draw(st.sampled_from([0, 15 * MINUTE]) | st.integers(0, HOUR_MS))
    instants = itertools.accumulate(steps, initial=BASE - HOUR_MS + late)
    readings = []
    for at_ms in instants:
        readings.append(Point(at_ms, draw(VALUES), draw(st.booleans()), draw(st.integers(0, 5)) == 0))
    return readings[draw(st.integers(0, 1)) :]


@st.composite
def targets(draw: st.DrawFn) -> list[Band]:
    bands = []
    for from_ms in draw(st.lists(INSTANTS, max_size=4, unique=True).map(sorted)):
        low, high = draw(st.none() | VALUES), draw(st.none() | VALUES)
        if low is not None and high is not None and low > high:
            low, high = high, low
        bands.append(Band(from_ms, low, high))
    return bands


class View(NamedTuple):
    """What a reader hands over for a window, and which hours it was asked to read raw."""

    hours: list[Hour]
    before: Point | None
    after: Point | None
    asked: list[int]
    record: Sequence[Point]

    def raw(self, hour: int) -> list[Point]:
        self.asked.append(hour)
        return [point for point in self.record if point.at_ms // HOUR_MS == hour]


def view(record: Sequence[Point], start_ms: int, end_ms: int, join: Join, gap_ms: int | None) -> View:
    rows = roll(record, join, gap_ms).values()
    touching = [row for row in rows if row.hour * HOUR_MS < end_ms and (row.hour + 1) * HOUR_MS > start_ms]
    earlier = [p for p in record if p.at_ms < start_ms and not p.implausible]
    later = [p for p in record if p.at_ms >= end_ms and not p.implausible]
    return View(touching, earlier[-1] if earlier else None, later[0] if later else None, [], record)


def read(record: Sequence[Point], start_ms: int, end_ms: int, join: Join, gap_ms: int | None) -> Stats:
    seen = view(record, start_ms, end_ms, join, gap_ms)
    return window(seen.hours, start_ms, end_ms, join, gap_ms, seen.before, seen.after, seen.raw)


def outside(
    record: Sequence[Point], bands: Sequence[Band], start_ms: int, end_ms: int, join: Join, gap_ms: int | None
) -> float | None:
    seen = view(record, start_ms, end_ms, join, gap_ms)
    return minutes_outside(
        seen.hours, bands, start_ms, end_ms, join, gap_ms, seen.raw, seen.before, seen.after
    )


def exact_pieces(
    record: Sequence[Point],
    start_ms: int,
    end_ms: int,
    join: Join,
    gap_ms: int | None,
    bands: Sequence[Band] = (),
) -> Iterator[tuple[Fraction, Fraction, Fraction]]:
    """Begin, end and middle value of every piece of the window that the record covers."""
    plausible = [point for point in record if not point.implausible]
    stretches = [
        (a, b) for a, b in itertools.pairwise(plausible) if gap_ms is None or b.at_ms - a.at_ms <= gap_ms
    ]
    if plausible and join is Join.HOLD and gap_ms is None and plausible[-1].at_ms < end_ms:
        stretches.append((plausible[-1], Point(end_ms, plausible[-1].value)))
    bounds = {Fraction(bound) for band in bands for bound in (band.low, band.high) if bound is not None}
    for a, b in stretches:
        rise = Fraction(b.value) - Fraction(a.value) if join is Join.LINE else Fraction(0)
        span = b.at_ms - a.at_ms
        cuts = {Fraction(t) for t in (a.at_ms, b.at_ms, start_ms, end_ms, *(band.from_ms for band in bands))}
        if rise:
            cuts |= {a.at_ms + (bound - Fraction(a.value)) / rise * span for bound in bounds}
        begin, end = max(a.at_ms, start_ms), min(b.at_ms, end_ms)
        for one, other in itertools.pairwise(sorted(cut for cut in cuts if begin <= cut <= end)):
            yield one, other, Fraction(a.value) + rise * ((one + other) / 2 - a.at_ms) / span


def exact_minutes_outside(
    record: Sequence[Point], bands: Sequence[Band], start_ms: int, end_ms: int, join: Join, gap_ms: int | None
) -> Fraction | None:
    def in_force(at_ms: Fraction | int) -> Band | None:
        begun = [band for band in bands if band.from_ms <= at_ms]
        return begun[-1] if begun and (begun[-1].low, begun[-1].high) != (None, None) else None

    changes = [start_ms, *(band.from_ms for band in bands if start_ms < band.from_ms < end_ms)]
    if join is Join.PLAIN or not any(in_force(change) for change in changes):
        return None
    outside_ms = Fraction(0)
    for begin, end, value in exact_pieces(record, start_ms, end_ms, join, gap_ms, bands):
        band = in_force((begin + end) / 2)
        if band and (
            (band.low is not None and value < band.low) or (band.high is not None and value > band.high)
        ):
            outside_ms += end - begin
    return outside_ms / MINUTE


@settings(max_examples=300)
@given(records(), EDGES, JOINS, GAPS)
def test_windows_say_what_the_raw_readings_say(
    record: list[Point], edges: list[int], join: Join, gap_ms: int | None
) -> None:
    seen = view(record, edges[0], edges[-1], join, gap_ms)
    found = windows(seen.hours, edges, join, gap_ms, seen.before, seen.after, seen.raw)
    assert len(found) == len(edges) - 1
    for (start_ms, end_ms), stats in zip(itertools.pairwise(edges), found, strict=True):
        inside = [point for point in record if start_ms <= point.at_ms < end_ms]
        plausible = [point for point in inside if not point.implausible]
        values = [point.value for point in plausible]
        assert (stats.n, stats.implausible) == (len(plausible), len(inside) - len(plausible))
        assert stats.qualified == sum(point.qualified for point in plausible)
        assert (stats.low, stats.high) == ((min(values), max(values)) if values else (None, None))
        assert (stats.first_ms, stats.first) == (plausible[0][:2] if values else (None, None))
        assert (stats.last_ms, stats.last) == (plausible[-1][:2] if values else (None, None))
        if len(values) < 2:
            assert stats.stdev is None
        else:
            assert stats.stdev == pytest.approx(statistics.stdev(values), abs=1e-6)

        pieces = [] if join is Join.PLAIN else list(exact_pieces(record, start_ms, end_ms, join, gap_ms))
        covered_ms = sum(end - begin for begin, end, _ in pieces)
        area = sum((end - begin) * value for begin, end, value in pieces)
        assert stats.covered_ms == covered_ms
        assert stats.weighted == (covered_ms > 0)
        assert stats.area == pytest.approx(float(area), rel=1e-12)
        if covered_ms:
            assert stats.mean == pytest.approx(float(Fraction(area) / covered_ms), rel=1e-12)
        elif values:
            assert stats.mean == pytest.approx(math.fsum(values) / len(values), rel=1e-12)
        else:
            assert stats.mean is None


@given(records(), EDGES, JOINS, GAPS)
def test_windows_in_one_pass_equal_each_window_read_alone(
    record: list[Point], edges: list[int], join: Join, gap_ms: int | None
) -> None:
    seen = view(record, edges[0], edges[-1], join, gap_ms)
    together = windows(seen.hours, edges, join, gap_ms, seen.before, seen.after, seen.raw)
    assert together == [read(record, start, end, join, gap_ms) for start, end in itertools.pairwise(edges)]
    assert len(seen.asked) == len(set(seen.asked))
    assert set(seen.asked) <= {edge // HOUR_MS for edge in edges if edge % HOUR_MS}


@settings(max_examples=500)
@given(records(), targets(), EDGES, JOINS, GAPS)
def test_minutes_outside_equal_those_of_the_raw_readings(
    record: list[Point], bands: list[Band], edges: list[int], join: Join, gap_ms: int | None
) -> None:
    start_ms, end_ms = edges[0], edges[-1]
    seen = view(record, start_ms, end_ms, join, gap_ms)
    found = minutes_outside(
        seen.hours, bands, start_ms, end_ms, join, gap_ms, seen.raw, seen.before, seen.after
    )
    wanted = exact_minutes_outside(record, bands, start_ms, end_ms, join, gap_ms)
    assert len(seen.asked) == len(set(seen.asked))
    if wanted is None:
        assert found is None
    else:
        assert found == pytest.approx(float(wanted), abs=1e-8)


def published_averages() -> list[dict[str, str]]:
    with (PUBLISHED / "time_weighted_average.csv").open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("case", published_averages(), ids=lambda case: case["case_id"])
@pytest.mark.parametrize(
    ("join", "column"),
    [
        (Join.PLAIN, "plain_mean"),
        (Join.HOLD, "time_weighted_step_hold"),
        (Join.LINE, "time_weighted_trapezoid"),
    ],
)
def test_means_agree_with_the_published_averages(case: dict[str, str], join: Join, column: str) -> None:
    """Source and tolerance: fixtures/published/SOURCES.md, time_weighted_average.csv."""
    pairs = [pair.split("=") for pair in case["points_minutes_value"].split(";")]
    record = [Point(BASE + int(minute) * MINUTE, float(value)) for minute, value in pairs]
    start_ms = BASE + int(case["window_start_min"]) * MINUTE
    end_ms = BASE + int(case["window_end_min"]) * MINUTE
    if join is Join.PLAIN:
        end_ms += 1  # the plain mean counts the reading at the window's end, and windows are half-open
    stats = read(record, start_ms, end_ms, join, None)
    assert stats.mean == pytest.approx(float(case[column]), abs=5e-7)
    assert stats.weighted == (join is not Join.PLAIN)


def test_a_reading_at_the_end_of_a_window_belongs_to_the_next() -> None:
    record = [Point(BASE, 24.0), Point(BASE + HOUR_MS, 26.0)]
    edges = [BASE, BASE + HOUR_MS, BASE + 2 * HOUR_MS]
    seen = view(record, edges[0], edges[-1], Join.LINE, None)
    first, second = windows(seen.hours, edges, Join.LINE, None)
    assert (first.n, first.high, first.mean, first.covered_ms) == (1, 24.0, 25.0, HOUR_MS)
    assert (second.n, second.mean, second.weighted, second.covered_ms) == (1, 26.0, False, 0)


def test_edges_are_interpolated_from_the_neighbours_outside_and_add_no_reading() -> None:
    """By hand: from 20 at -30 min up to 26 at 30 min and down to 20 at 90 min, the hour averages 24.5."""
    half = HOUR_MS // 2
    record = [Point(BASE - half, 20.0), Point(BASE + half, 26.0), Point(BASE + 3 * half, 20.0)]
    stats = read(record, BASE, BASE + HOUR_MS, Join.LINE, HOUR_MS)
    assert (stats.n, stats.low, stats.high, stats.first, stats.last) == (1, 26.0, 26.0, 26.0, 26.0)
    assert stats.mean == pytest.approx(24.5, rel=1e-12)
    assert stats.covered_ms == HOUR_MS


def test_a_window_between_two_near_readings_is_covered_without_holding_one() -> None:
    record = [Point(BASE - HOUR_MS, 20.0), Point(BASE + 2 * HOUR_MS, 26.0)]
    stats = read(record, BASE, BASE + HOUR_MS, Join.LINE, 3 * HOUR_MS)
    assert (stats.n, stats.low, stats.last_ms, stats.covered_ms) == (0, None, None, HOUR_MS)
    assert stats.mean == pytest.approx(23.0, rel=1e-12)
    assert read(record, BASE, BASE + HOUR_MS, Join.LINE, 3 * HOUR_MS - 1).mean is None


def test_a_contact_that_never_reported_again_holds_to_the_end_of_the_window() -> None:
    record = [Point(BASE + 15 * MINUTE, 1)]
    first, second = windows(
        list(roll(record, Join.HOLD, None).values()),
        [BASE, BASE + HOUR_MS, BASE + 2 * HOUR_MS],
        Join.HOLD,
        None,
    )
    assert (first.n, first.mean, first.covered_ms) == (1, 1.0, 45 * MINUTE)
    assert (second.n, second.mean, second.covered_ms) == (0, 1.0, HOUR_MS)


def test_a_held_value_with_a_gap_limit_covers_nothing_after_the_last_reading() -> None:
    stats = read([Point(BASE, 24.0)], BASE, BASE + HOUR_MS, Join.HOLD, 30 * MINUTE)
    assert (stats.n, stats.mean, stats.weighted, stats.covered_ms) == (1, 24.0, False, 0)


def test_an_edge_off_the_hour_needs_the_raw_readings_of_that_hour_only() -> None:
    record = [Point(BASE + quarter * 15 * MINUTE, 24.0) for quarter in range(16)]
    start_ms, end_ms = BASE + HOUR_MS // 2, BASE + 7 * HOUR_MS // 2
    seen = view(record, start_ms, end_ms, Join.LINE, None)
    with pytest.raises(ValueError, match="raw"):
        window(seen.hours, start_ms, end_ms, Join.LINE, None, seen.before, seen.after)
    window(seen.hours, start_ms, end_ms, Join.LINE, None, seen.before, seen.after, seen.raw)
    assert seen.asked == [BASE // HOUR_MS, BASE // HOUR_MS + 3]


def test_a_bridge_between_hours_spans_a_gap_of_the_limit_and_none_longer() -> None:
    record = [Point(BASE + 50 * MINUTE, 24.0), Point(BASE + 70 * MINUTE, 26.0)]
    bridged = read(record, BASE, BASE + 2 * HOUR_MS, Join.LINE, 20 * MINUTE)
    assert (bridged.mean, bridged.weighted, bridged.covered_ms) == (25.0, True, 20 * MINUTE)
    assert read(record, BASE, BASE + 2 * HOUR_MS, Join.LINE, 20 * MINUTE - 1).covered_ms == 0


def test_a_reading_on_an_edge_off_the_hour_is_counted_once() -> None:
    record = [Point(BASE + quarter * 15 * MINUTE, 20.0 + quarter) for quarter in range(4)]
    edges = [BASE, BASE + HOUR_MS // 2, BASE + HOUR_MS]
    seen = view(record, edges[0], edges[-1], Join.LINE, None)
    first, second = windows(seen.hours, edges, Join.LINE, None, raw=seen.raw)
    assert (first.n, first.high, first.covered_ms) == (2, 21.0, 30 * MINUTE)
    assert (second.n, second.low, second.covered_ms) == (2, 22.0, 15 * MINUTE)


def test_the_deviation_of_two_large_readings_close_together_survives_the_rounding_of_their_squares() -> None:
    pair = [101325.1, 101325.1001]
    record = [Point(BASE + i * MINUTE, value) for i, value in enumerate(pair)]
    stats = read(record, BASE, BASE + HOUR_MS, Join.LINE, None)
    assert stats.stdev == pytest.approx(statistics.stdev(pair), rel=1e-9)


@given(VALUES, st.integers(2, 50))
def test_readings_that_never_change_have_no_deviation(value: float, count: int) -> None:
    record = [Point(BASE + minute * MINUTE, value * 1e6) for minute in range(count)]
    assert read(record, BASE, BASE + HOUR_MS, Join.LINE, None).stdev == 0.0


HOURLY = [
    *(Point(BASE + quarter * 15 * MINUTE, 24.0) for quarter in range(4)),
    *(Point(BASE + HOUR_MS + quarter * 15 * MINUTE, 28.0) for quarter in range(4)),
    *(
        Point(BASE + 2 * HOUR_MS + quarter * 15 * MINUTE, value)
        for quarter, value in enumerate((28, 24, 24, 24))
    ),
]
"""An hour inside 22 to 26, one above it, and one that begins above and comes back inside."""


@pytest.mark.parametrize(
    ("join", "minutes"),
    [
        # The bridges cross 26 half-way (7.5 min above), the second hour covers 45 min, its bridge 15, and the
        # third hour is above for 7.5 min of its first quarter; held, each 28 lasts its whole quarter.
        (Join.LINE, 7.5 + 45 + 15 + 7.5),
        (Join.HOLD, 0 + 45 + 15 + 15),
    ],
)
def test_only_an_hour_that_straddles_a_bound_is_read_raw(join: Join, minutes: float) -> None:
    seen = view(HOURLY, BASE, BASE + 3 * HOUR_MS, join, 45 * MINUTE)
    found = minutes_outside(
        seen.hours, [Band(0, 22.0, 26.0)], BASE, BASE + 3 * HOUR_MS, join, 45 * MINUTE, seen.raw
    )
    assert found == pytest.approx(minutes, rel=1e-12)
    assert seen.asked == [BASE // HOUR_MS + 2]


def test_an_hour_in_which_the_target_changes_is_read_raw_once() -> None:
    bands = [Band(0, 22.0, 26.0), Band(BASE + 80 * MINUTE, 27.0, 29.0)]
    seen = view(HOURLY, BASE, BASE + 2 * HOUR_MS, Join.HOLD, 45 * MINUTE)
    found = minutes_outside(
        seen.hours, bands, BASE, BASE + 2 * HOUR_MS, Join.HOLD, 45 * MINUTE, seen.raw, after=HOURLY[8]
    )
    assert found == pytest.approx(20.0, rel=1e-12)
    assert seen.asked == [BASE // HOUR_MS + 1]


def test_time_without_a_target_is_not_outside() -> None:
    bands = [Band(BASE + HOUR_MS, 22.0, 26.0), Band(BASE + 90 * MINUTE, None, None)]
    assert outside(HOURLY, bands, BASE, BASE + 3 * HOUR_MS, Join.HOLD, None) == pytest.approx(30.0)
    assert outside(HOURLY, bands, BASE, BASE + HOUR_MS, Join.HOLD, None) is None
    assert outside(HOURLY, bands, BASE + 2 * HOUR_MS, BASE + 3 * HOUR_MS, Join.HOLD, None) is None
    assert outside(HOURLY, [], BASE, BASE + 3 * HOUR_MS, Join.HOLD, None) is None


def test_values_that_do_not_join_have_no_minutes_outside() -> None:
    assert outside(HOURLY, [Band(0, 22.0, 26.0)], BASE, BASE + 3 * HOUR_MS, Join.PLAIN, None) is None


def test_held_on_the_bound_is_inside_even_in_an_hour_that_is_otherwise_above() -> None:
    record = [Point(BASE + i * 15 * MINUTE, value) for i, value in enumerate((26.0, 28.0, 26.0, 28.0))]
    found = outside(record, [Band(0, None, 26.0)], BASE, BASE + 45 * MINUTE, Join.HOLD, None)
    assert found == pytest.approx(15.0, rel=1e-12)


@pytest.mark.parametrize("join", [Join.LINE, Join.HOLD])
def test_a_value_up_to_the_bound_is_inside_to_the_last_millisecond(join: Join) -> None:
    """The later reading far outside makes the hour straddle, so that it is judged stretch by stretch."""
    values = (0.73, 6.38, 0.73, 6.38, 6.38, 0.73)
    record = [Point(BASE + i * 7 * MINUTE, value) for i, value in enumerate(values)]
    record.append(Point(BASE + 59 * MINUTE, 40.0))
    bands = [Band(0, 0.73, 6.38), Band(BASE + 13 * MINUTE + 1, 0.73, 6.38)]
    assert outside(record, bands, BASE, BASE + 35 * MINUTE, join, None) == 0.0
