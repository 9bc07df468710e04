"""The daily balance of nitrogen and phosphorus, held to published steady states and to numerical integration."""

import csv
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from weirbook.engine.relations.nutrients import (
    DAY,
    KG_N_A_MOLE,
    KG_P_A_MOLE,
    NOTHING,
    Day,
    Inflow,
    Pair,
    Routine,
    State,
    Terms,
    days_ahead,
    even_day,
    gain_that_holds,
    share_that_holds,
    simulate,
    swing,
)
from weirbook.engine.units import from_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
STEADY = list(csv.DictReader((PUBLISHED / "nitrate_steady_state.csv").open()))

masses = st.integers(0, 1000).map(lambda mg: mg / 1e6)
pairs = st.builds(Pair, masses, masses)
litres = st.integers(0, 100).map(lambda litres: litres / 1000)
waters = st.builds(Inflow, litres, st.builds(Pair, masses, masses))
days = st.builds(
    Day,
    made=pairs,
    dosed=pairs,
    changes=st.lists(waters, max_size=3),
    drip=waters,
    top_off=waters,
    uptake=pairs,
    cropped=pairs,
    denitrified=masses,
    denitrification_rate=st.sampled_from([0.0, 1e-9, 1e-6, 1 / DAY]),
)


def in_kg(row: dict[str, str], column: str) -> float:
    return float(row[column]) / 1000


@pytest.mark.parametrize("row", STEADY, ids=lambda row: row["case"])
def test_a_long_run_ends_where_the_published_steady_state_is(row: dict[str, str]) -> None:
    volume, load = in_kg(row, "volume_l"), in_kg(row, "load_mg_basis_g_per_day")
    source = Pair(in_kg(row, "source_water_mg_per_l"), in_kg(row, "source_water_mg_per_l"))
    exchanged = float(row["exchange_l_per_day_or_fraction"])
    made = Pair(load, load)
    if row["exchange_type"] == "continuous_l_per_day":
        run = [Day(made, drip=Inflow(exchanged / 1000, source))] * 400
    else:
        interval = int(row["interval_days"])
        once = Day(made, changes=[Inflow(exchanged * volume, source)])
        run = ([Day(made)] * (interval - 1) + [once]) * 200
    last = simulate(volume, NOTHING, run)[-1]
    for of in (lambda pair: pair.nitrogen, lambda pair: pair.phosphorus):
        # The last day begins at the peak, just before its change, which leads to the trough.
        peak, trough = of(last.start), of(last.after_changes)
        assert peak * 1000 == pytest.approx(float(row["steady_peak_mg_per_l"]), rel=1e-4)
        assert trough * 1000 == pytest.approx(float(row["steady_trough_mg_per_l"]), rel=1e-4)


def closes(terms: Terms) -> None:
    through = terms.start + terms.came_in
    assert abs(through - terms.left - terms.end) <= 1e-9 * through


@given(st.sampled_from([0.1, 0.35, 5.0]), pairs, st.lists(days, min_size=1, max_size=6))
def test_every_day_balances_for_both_elements(volume: float, start: Pair, run: list[Day]) -> None:
    states = simulate(volume, start, run)
    held = start
    for state in states:
        closes(state.nitrogen)
        closes(state.phosphorus)
        assert state.start.nitrogen == pytest.approx(held.nitrogen)
        assert state.start.phosphorus == pytest.approx(held.phosphorus)
        held = state.end
        for terms in (state.nitrogen, state.phosphorus):
            assert (
                min(terms.end, terms.plants, terms.harvested, terms.denitrified, terms.out_by_drip) >= -1e-15
            )
        assert state.phosphorus.denitrified == 0


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1.5), st.sampled_from([0.0, 1e-9, 0.02, 0.5, 3.0]))
def test_a_day_ends_as_numerical_integration_has_it(
    mass: float, coming: float, wanted: float, share: float
) -> None:
    end, flushed, taken = even_day(mass, coming, wanted, share)

    def change(_: float, now: Any) -> list[float]:
        return [coming - wanted - share * now[0], share * now[0], wanted]

    empty: Any = lambda _, now: now[0]  # noqa: E731
    empty.terminal, empty.direction = True, -1
    try:
        found = solve_ivp(change, (0, 1), [mass, 0, 0], rtol=1e-9, atol=1e-12, events=empty)
    except ValueError:
        reject()  # the library loses the instant at which it runs empty where both ends of a step round to 0
    rest = 1 - found.t[-1]
    assert end == pytest.approx(found.y[0, -1], abs=1e-7)
    assert flushed == pytest.approx(found.y[1, -1], abs=1e-7)
    assert taken == pytest.approx(found.y[2, -1] + rest * min(coming, wanted), abs=1e-7)


def test_changes_come_before_the_dose_and_both_before_the_rest_of_the_day() -> None:
    # 100 L with 10 mg/L (1 g): two changes of half leave 0.25 g; 0.5 g is dosed, 0.1 g made.
    day = Day(
        made=Pair(0.1e-3),
        dosed=Pair(0.5e-3),
        changes=[Inflow(0.05), Inflow(0.05)],
    )
    (state,) = simulate(0.1, Pair(10e-3), [day])
    assert state.nitrogen.out_by_changes == pytest.approx(0.75e-3)
    assert state.after_changes.nitrogen == pytest.approx(7.5e-3)
    assert state.end.nitrogen == pytest.approx(8.5e-3)


def test_top_off_brings_what_its_water_holds_and_takes_nothing_out() -> None:
    (state,) = simulate(0.1, Pair(10e-3, 1e-3), [Day(top_off=Inflow(0.004, Pair(5e-3, 0.5e-3)))])
    assert state.nitrogen.source_of_top_off == pytest.approx(0.02e-3)
    assert state.end.nitrogen == pytest.approx(10.2e-3)
    assert state.end.phosphorus == pytest.approx(1.02e-3)
    assert state.nitrogen.left == 0


def test_plants_and_denitrification_share_what_there_is() -> None:
    day = Day(made=Pair(0.3e-3), uptake=Pair(0.6e-3), denitrified=0.2e-3)
    (state,) = simulate(0.1, NOTHING, [day])
    assert state.nitrogen.plants == pytest.approx(0.225e-3)
    assert state.nitrogen.denitrified == pytest.approx(0.075e-3)
    assert state.end.nitrogen == 0


def test_what_harvests_measured_counts_as_uptake_under_its_own_name() -> None:
    """Three want 0.6, 0.4 and 0.2 of the 0.3 g there are: half, a third and a sixth of it."""
    day = Day(made=Pair(0.3e-3), uptake=Pair(0.6e-3), cropped=Pair(0.4e-3), denitrified=0.2e-3)
    (state,) = simulate(0.1, NOTHING, [day])
    assert state.nitrogen.plants == pytest.approx(0.15e-3)
    assert state.nitrogen.harvested == pytest.approx(0.1e-3)
    assert state.nitrogen.denitrified == pytest.approx(0.05e-3)
    for as_one in (Pair(3e-4, 1e-4), Pair(1e-3, 2e-3)):
        (one,) = simulate(0.1, Pair(5e-3, 5e-3), [Day(uptake=as_one)])
        (other,) = simulate(0.1, Pair(5e-3, 5e-3), [Day(cropped=as_one)])
        assert (other.end, other.phosphorus.harvested) == (one.end, one.phosphorus.plants)


def test_solids_carry_off_their_part_of_what_is_made() -> None:
    (state,) = simulate(0.1, NOTHING, [Day(made=Pair(1e-3, 0.2e-3), in_solids=Pair(0.25e-3, 0.15e-3))])
    assert state.end.nitrogen == pytest.approx(7.5e-3)
    assert state.end.phosphorus == pytest.approx(0.5e-3)


def test_nitrogen_and_phosphorus_never_touch_each_other() -> None:
    run = [Day(made=Pair(1e-3, 0), uptake=Pair(0, 1e-3), drip=Inflow(0.01, Pair(0, 2e-3)))] * 30
    states = simulate(0.1, Pair(0, 1e-3), run)
    alone = simulate(0.1, NOTHING, [Day(made=Pair(1e-3), drip=Inflow(0.01))] * 30)
    assert [state.end.nitrogen for state in states] == [state.end.nitrogen for state in alone]


@given(st.floats(0, 0.05), st.floats(0, 0.05))
def test_a_run_in_two_pieces_is_the_run(first: float, second: float) -> None:
    run = [Day(made=Pair(1e-4, 1e-5), drip=Inflow(0.002, Pair(first, second)), uptake=Pair(5e-5, 1e-5))] * 10
    whole = simulate(0.2, NOTHING, run)
    half: list[State] = simulate(0.2, NOTHING, run[:4])
    rest = simulate(0.2, half[-1].end, run[4:])
    assert rest[-1].end.nitrogen == pytest.approx(whole[-1].end.nitrogen)


@pytest.mark.parametrize(
    ("volume", "start", "day"),
    [
        (0.0, NOTHING, Day()),
        (0.1, Pair(-1e-3), Day()),
        (0.1, NOTHING, Day(made=Pair(0, -1e-3))),
        (0.1, NOTHING, Day(uptake=Pair(-1e-3))),
        (0.1, NOTHING, Day(cropped=Pair(0, -1e-3))),
        (0.1, NOTHING, Day(dosed=Pair(float("nan")))),
        (0.1, NOTHING, Day(denitrified=-1e-3)),
        (0.1, NOTHING, Day(denitrification_rate=-1.0)),
        (0.1, NOTHING, Day(drip=Inflow(-0.1))),
        (0.1, NOTHING, Day(top_off=Inflow(0.1, Pair(-1e-3)))),
        (0.1, NOTHING, Day(changes=[Inflow(0.11)])),
        (0.1, NOTHING, Day(made=Pair(1e-3), in_solids=Pair(2e-3))),
        (0.1, NOTHING, Day(made=Pair(0, 1e-3), in_solids=Pair(0, 2e-3))),
    ],
)
def test_what_cannot_be_is_refused(volume: float, start: Pair, day: Day) -> None:
    with pytest.raises(ValueError, match="than"):
        simulate(volume, start, [day])


def test_a_mole_of_nitrate_and_phosphate_weighs_what_their_tests_say() -> None:
    assert KG_N_A_MOLE * 1e3 == pytest.approx(from_si(1.0, "mg/L NO3-N", "nitrate"))
    assert KG_P_A_MOLE * 1e3 == pytest.approx(from_si(1.0, "mg/L PO4-P", "phosphate"))


def routine_of(row: dict[str, str]) -> tuple[Routine, float]:
    """A row's routine, and the gain, kg/s, that its load and drip make."""
    volume, load = in_kg(row, "volume_l"), in_kg(row, "load_mg_basis_g_per_day") / DAY
    source, exchanged = in_kg(row, "source_water_mg_per_l"), float(row["exchange_l_per_day_or_fraction"])
    if row["exchange_type"] == "continuous_l_per_day":
        drip = exchanged / 1000 / DAY
        return Routine(volume, 0.0, 7 * DAY, drip, source), load + drip * source
    return Routine(volume, exchanged, float(row["interval_days"]) * DAY, 0.0, source), load


@pytest.mark.parametrize("row", STEADY, ids=lambda row: row["case"])
def test_the_long_run_is_the_published_steady_state(row: dict[str, str]) -> None:
    routine, gain = routine_of(row)
    settled = swing(routine, gain)
    assert settled is not None
    assert settled[0] * 1000 == pytest.approx(float(row["steady_peak_mg_per_l"]), rel=1e-4)
    assert settled[1] * 1000 == pytest.approx(float(row["steady_trough_mg_per_l"]), rel=1e-4)


@pytest.mark.parametrize("row", STEADY, ids=lambda row: row["case"])
def test_what_holds_a_published_peak_is_its_own_load_and_change(row: dict[str, str]) -> None:
    routine, gain = routine_of(row)
    peak = in_kg(row, "steady_peak_mg_per_l")
    assert gain_that_holds(routine, peak) == pytest.approx(gain, rel=2e-5)
    share = share_that_holds(routine, gain, peak)
    assert share == pytest.approx(routine.share, rel=2e-5, abs=1e-6)


@settings(max_examples=40)
@given(
    share=st.sampled_from([0.0, 0.1, 0.5, 1.0]),
    interval=st.integers(1, 14),
    drip=st.sampled_from([0.0, 0.002, 0.02]),
    source=st.sampled_from([0.0, 5e-3]),
    made=st.integers(0, 50).map(lambda mg: mg / 1e5),
    wanted=st.integers(0, 50).map(lambda mg: mg / 1e5),
)
def test_the_long_run_is_where_the_days_end(
    share: float, interval: int, drip: float, source: float, made: float, wanted: float
) -> None:
    volume = 0.2
    brought = Inflow(drip, Pair(source, source))
    quiet = Day(Pair(made, made), drip=brought, uptake=Pair(wanted, wanted))
    if not share and not drip:
        return
    once = Day(
        quiet.made,
        drip=brought,
        uptake=quiet.uptake,
        changes=[Inflow(share * volume, brought.holds)] if share else [],
    )
    last = simulate(volume, NOTHING, ([quiet] * (interval - 1) + [once]) * (2000 // interval))[-1]
    settled = swing(
        Routine(volume, share, interval * DAY, drip / DAY, source), (made + drip * source - wanted) / DAY
    )
    assert settled == pytest.approx((last.start.nitrogen, last.after_changes.nitrogen), rel=1e-6, abs=1e-9)
    assert settled == pytest.approx(
        (last.start.phosphorus, last.after_changes.phosphorus), rel=1e-6, abs=1e-9
    )


@given(
    share=st.sampled_from([0.0, 0.2, 0.5, 1.0]),
    interval=st.sampled_from([0.25, 1.0, 2.5, 7.0, 45.0]),
    drip=st.sampled_from([0.0, 0.004, 0.3]),
    source=st.sampled_from([0.0, 1e-3, 20e-3]),
    made=st.integers(0, 50).map(lambda mg: mg / 1e5),
    wanted=st.integers(0, 50).map(lambda mg: mg / 1e5),
    start=st.sampled_from([0.0, 5e-3, 80e-3]),
)
def test_the_days_ahead_are_those_of_the_run_with_every_term(
    share: float, interval: float, drip: float, source: float, made: float, wanted: float, start: float
) -> None:
    volume, number = 0.2, 60
    fresh = Inflow(drip, Pair(source, source))
    change = Inflow(share * volume, fresh.holds)
    due = [math.floor(day / interval) for day in range(number)]
    run = [
        Day(Pair(made, made), changes=[change] * (now - before), drip=fresh, uptake=Pair(wanted, wanted))
        for before, now in zip([0, *due], due, strict=False)
    ]
    routine = Routine(volume, share, interval * DAY, drip / DAY, source)
    found = days_ahead(routine, start, (made + drip * source - wanted) / DAY, number)
    states = simulate(volume, Pair(start, start), run)
    assert found == pytest.approx([state.end.nitrogen for state in states], rel=1e-9, abs=1e-12)
    assert found == pytest.approx([state.end.phosphorus for state in states], rel=1e-9, abs=1e-12)


@given(
    share=st.sampled_from([0.05, 0.3, 1.0]),
    drip=st.sampled_from([0.0, 0.01, 0.3]),
    source=st.sampled_from([0.0, 1e-3, 20e-3]),
    gain=st.integers(0, 100).map(lambda micrograms: micrograms / 1e9),
    times=st.sampled_from([1.1, 3.0, 20.0]),
)
def test_what_holds_a_value_leads_to_it(
    share: float, drip: float, source: float, gain: float, times: float
) -> None:
    routine = Routine(0.3, share, 7 * DAY, drip / DAY, source)
    held = source * times + 1e-3
    settled = swing(routine, gain_that_holds(routine, held))
    assert settled is not None and settled[0] == pytest.approx(held)
    needed = share_that_holds(routine, gain, held)
    if needed and needed > 1e-9:
        settled = swing(Routine(0.3, needed, 7 * DAY, drip / DAY, source), gain)
        assert settled is not None and settled[0] == pytest.approx(held)


def test_nothing_settles_where_nothing_carries_it_off() -> None:
    closed = Routine(0.3, 0.0, 7 * DAY, 0.0, 0.0)
    assert swing(closed, 1e-9) is None
    assert swing(closed, -1e-9) == (0.0, 0.0)


def test_no_change_holds_less_than_its_own_water_brings() -> None:
    assert share_that_holds(Routine(0.3, 0.2, 7 * DAY, 0.0, 10e-3), 1e-9, 8e-3) is None
    assert share_that_holds(Routine(0.3, 0.2, 7 * DAY, 0.0, 10e-3), -1e-9, 8e-3) == 0.0
    assert share_that_holds(Routine(0.3, 0.2, 7 * DAY, 0.0, 0.0), 1.0, 8e-3) is None
