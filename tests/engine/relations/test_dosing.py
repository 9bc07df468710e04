import csv
import itertools
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.dosing import Routine, after_changes, closed_swing, days_of, swing

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


@pytest.mark.parametrize("row", rows("water_change_serial"), ids=lambda row: row["c_final_mg_per_l"])
def test_water_changes_thin_as_published(row: dict[str, str]) -> None:
    level = after_changes(
        float(row["c0_mg_per_l"]),
        float(row["source_water_mg_per_l"]),
        float(row["fraction_per_change"]),
        int(row["number_of_changes"]),
    )
    assert level == pytest.approx(float(row["c_final_mg_per_l"]), rel=1e-5)


def routine_of(row: dict[str, str]) -> Routine:
    """A load as daily doses; an exchange that never stops as doses and changes every hour."""
    volume, load = float(row["volume_l"]), float(row["load_mg_basis_g_per_day"]) * 1000
    exchange, source = float(row["exchange_l_per_day_or_fraction"]), float(row["source_water_mg_per_l"])
    if row["exchange_type"] == "continuous_l_per_day":
        return Routine(load / volume / 24, 1, 0.0, exchange / volume / 24, 1, source)
    return Routine(load / volume, 24, 0.0, exchange, 24 * int(row["interval_days"]), source)


@pytest.mark.parametrize("row", rows("nitrate_steady_state"), ids=lambda row: row["case"])
def test_a_steady_load_settles_at_the_published_levels(row: dict[str, str]) -> None:
    routine = routine_of(row)
    for low, high in (closed_swing(routine), swing(routine) or (0, 0)):
        assert high == pytest.approx(float(row["steady_peak_mg_per_l"]), rel=1e-4)
        if row["exchange_type"] != "continuous_l_per_day":
            assert low == pytest.approx(float(row["steady_trough_mg_per_l"]), rel=1e-4)


RISES = st.floats(0.05, 5)


@st.composite
def routines(draw, in_step: bool = False) -> Routine:
    dose_every = 24 * draw(st.integers(1, 5))
    change_every = dose_every * draw(st.integers(1, 6)) if in_step else draw(st.integers(12, 400))
    return Routine(
        draw(RISES),
        dose_every,
        draw(RISES) / 24,
        draw(st.floats(0.15, 1)),
        change_every,
        draw(st.floats(0, 30)),
        draw(st.sampled_from([0.0, 1.5])),
    )


def simulated(routine: Routine, start: float) -> tuple[float, float]:
    """The lowest and highest level of the last common cycle, after as many as it takes to forget the start."""
    level, then, low, high = start, 0, math.inf, -math.inf
    cycle = math.lcm(routine.dose_every, routine.change_every)
    changes = math.ceil(math.log(1e-13) / math.log1p(-min(routine.share, 0.999999)))
    last = cycle * math.ceil(changes * routine.change_every / cycle)
    hours = {
        *range(0, last + cycle + 1, routine.dose_every),
        *range(0, last + cycle + 1, routine.change_every),
    }
    for hour in sorted(hours):
        level, then = level - routine.uptake * (hour - then), hour
        if hour > last:
            low = min(low, level)
        if hour % routine.change_every == 0:
            level = level * (1 - routine.share) + routine.share * routine.source + routine.after_change
            low = min(low, level) if hour > last else low
        if hour % routine.dose_every == 0:
            level += routine.dose
        if hour > last:
            high = max(high, level)
    return low, high


@given(routines(in_step=True), st.floats(0, 100))
def test_the_closed_form_is_where_day_by_day_reckoning_ends(routine: Routine, start: float) -> None:
    assert closed_swing(routine) == pytest.approx(simulated(routine, start), rel=1e-9, abs=1e-9)
    assert swing(routine) == pytest.approx(closed_swing(routine), rel=1e-9, abs=1e-9)


@given(routines(), st.floats(0, 100))
def test_any_two_intervals_settle_where_day_by_day_reckoning_ends(routine: Routine, start: float) -> None:
    assert swing(routine) == pytest.approx(simulated(routine, start), rel=1e-8, abs=1e-8)


def test_without_water_changes_nothing_settles() -> None:
    routine = Routine(1.0, 24, 0.01)
    assert swing(routine) is None
    with pytest.raises(ValueError, match="keep step"):
        closed_swing(routine)
    with pytest.raises(ValueError, match="keep step"):
        closed_swing(Routine(1.0, 48, 0.0, 0.5, 72))


@given(st.floats(0.1, 5), st.floats(0.05, 1), st.integers(1, 5))
def test_without_uptake_a_dose_at_each_change_piles_up_to_the_dose_over_the_share(
    dose: float, share: float, days: int
) -> None:
    low, high = closed_swing(Routine(dose, 24 * days, 0.0, share, 24 * days))
    assert high == pytest.approx(dose / share)
    assert high - low == pytest.approx(dose, rel=1e-9)


@given(routines(in_step=True), st.floats(0, 40), st.floats(0, 5), st.floats(1, 60))
def test_from_one_day_to_the_next_mass_is_kept(
    routine: Routine, start: float, first: float, top: float
) -> None:
    days = days_of(routine, start, first, 14, top)
    assert days[0].before == start
    for number, (day, following) in enumerate(itertools.pairwise(days)):
        wished = (first if number == 0 else 0.0) + day.changes * routine.after_change
        wished += routine.dose if number * 24 % routine.dose_every == 0 else 0.0
        assert day.changes == (number > 0 and number * 24 % routine.change_every == 0)
        kept = day.before - day.changes * routine.share * (day.before - routine.source)
        assert day.rise == pytest.approx(min(wished, max(0.0, top - kept)), rel=1e-9, abs=1e-12)
        assert day.after == pytest.approx(kept + day.rise, rel=1e-9, abs=1e-12)
        assert following.before == pytest.approx(
            max(0.0, day.after - 24 * routine.uptake), rel=1e-9, abs=1e-9
        )


def test_two_days_by_hand() -> None:
    # 10, + 2 = 12, less 24 x 0.05 = 10.8; half changed for water of 4: 7.4, + 1 + 2 = 10.4; less 1.2 = 9.2; + 2.
    routine = Routine(2.0, 24, 0.05, 0.5, 24, 4.0, 1.0)
    days = days_of(routine, 10.0, 0.0, 3, 100.0)
    assert [(one.before, one.changes, one.rise, one.after) for one in days] == [
        (10.0, 0, 2.0, 12.0),
        (pytest.approx(10.8), 1, 3.0, pytest.approx(10.4)),
        (pytest.approx(9.2), 1, 3.0, pytest.approx(9.6)),
    ]


def test_no_more_is_dosed_than_up_to_the_top_and_nothing_falls_below_0() -> None:
    routine = Routine(2.0, 48, 1.0)
    first, second, third = days_of(routine, 10.0, 5.0, 3, 12.0)
    assert (first.rise, first.after) == (2.0, 12.0)
    assert (second.before, second.rise) == (0.0, 0.0)
    assert (third.before, third.after) == (0.0, 2.0)
