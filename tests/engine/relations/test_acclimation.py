import itertools
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from weirbook.engine.relations.acclimation import evening_time, left_after, left_allowed, mixing
from weirbook.engine.relations.changes import drip_to_reach, dripped_value

values, steps, portions = st.floats(20, 3000), st.floats(0.05, 0.6), st.floats(0.05, 1)


def path(bag: float, tank: float, portion: float, count: int) -> list[float]:
    """The value after each portion, by balance of mass from one portion to the next."""
    volume, value, found = 1.0, bag, [bag]
    for _ in range(count):
        value = (value * volume + tank * portion) / (volume + portion)
        volume += portion
        found.append(value)
    return found


@given(values, values, steps, portions)
def test_no_step_is_larger_than_allowed_nor_the_last_into_the_tank(
    bag: float, tank: float, step: float, largest: float
) -> None:
    plan = mixing(bag, tank, step, largest)
    assume(plan.count < 5000)
    way = [*path(bag, tank, plan.portion, plan.count), tank]
    for before, after in itertools.pairwise(way):
        assert abs(after - before) <= step * before * (1 + 1e-6)
    assert plan.portion <= largest


@given(values, values, steps, portions)
def test_one_portion_fewer_would_not_do(bag: float, tank: float, step: float, largest: float) -> None:
    plan = mixing(bag, tank, step, largest)
    assume(1 < plan.count < 5000)
    before = path(bag, tank, plan.portion, plan.count - 1)[-1]
    assert abs(tank - before) > step * before


@given(values, values, steps, portions)
def test_what_is_left_is_what_the_balance_leaves(
    bag: float, tank: float, step: float, largest: float
) -> None:
    plan = mixing(bag, tank, step, largest)
    assume(0 < plan.count < 5000)
    end = path(bag, tank, plan.portion, plan.count)[-1]
    assert plan.left == pytest.approx((end - tank) / (bag - tank), rel=1e-6)
    assert plan.left == left_after(plan.portion, plan.count)


@given(values, values, steps, portions)
def test_a_drip_over_the_same_time_keeps_the_steps_too(
    bag: float, tank: float, step: float, largest: float
) -> None:
    plan = mixing(bag, tank, step, largest)
    assume(0 < plan.count < 500)
    all_of_it = drip_to_reach(1 - plan.allowed, 1.0)
    way = [dripped_value(bag, tank, 1.0, all_of_it * part / plan.count) for part in range(plan.count + 1)]
    for before, after in itertools.pairwise(way):
        assert abs(after - before) <= step * before * (1 + 1e-6)
    assert abs(tank - way[-1]) <= step * way[-1] * (1 + 1e-6)


def test_a_difference_within_the_step_needs_no_mixing() -> None:
    assert mixing(300, 360, 0.2, 0.25).count == 0
    assert mixing(300, 361, 0.2, 0.25).count > 0


def test_portions_are_those_worked_by_hand() -> None:
    """From 300 to 700 by fifths: 60 of 400 first, so 0.15 / 0.85; done at 700 / 1.2 = 583.33, so 116.67 of 400 left."""
    plan = mixing(300, 700, 0.2, 0.25)
    assert plan.portion == pytest.approx(0.176471, abs=5e-7)
    assert plan.allowed == pytest.approx(0.291667, abs=5e-7)
    assert plan.count == 14


def test_a_fall_ends_nearer_than_a_rise() -> None:
    assert left_allowed(700, 300, 0.2) == pytest.approx(300 * 0.2 / 0.8 / 400)
    assert left_allowed(300, 700, 0.2) == pytest.approx(700 * 0.2 / 1.2 / 400)


def test_a_bag_evens_out_as_the_law_of_cooling_is_integrated() -> None:
    """Newton's law by SciPy's solver: T' = (tank - T) / constant."""
    tank, bag, constant = 25.0, 18.0, 700.0
    time = evening_time(tank - bag, 1.0, constant)
    run = solve_ivp(lambda _, t: (tank - t) / constant, (0, time), [bag], rtol=1e-9, atol=1e-9)
    assert run.y[0][-1] == pytest.approx(24.0, abs=1e-6)
    assert evening_time(0.5, 1.0, constant) == 0
    assert math.isclose(evening_time(math.e, 1.0, 60), 60)
