"""What is unusual of recent days, and when a series moved: numpy beside ours, and simulated rooms."""

import math

import numpy as np
import pytest
from series_scenes import rooms

from weirbook.engine.relations.persistence import RHOS
from weirbook.engine.relations.shifts import TELLING, shift, unusual

MOVED = 2.5


def log_likelihood(days: list[int], values: list[float], place: int | None, rhos: list[float]) -> float:
    x = [np.ones(len(days))]
    if place is not None:
        x.append((np.arange(len(days)) >= place).astype(float))
    columns = np.column_stack(x)
    best = -np.inf
    for rho in rhos:
        correlation = rho ** np.abs(np.subtract.outer(days, days)).astype(float)
        inverse = np.linalg.inv(correlation)
        line = np.linalg.solve(columns.T @ inverse @ columns, columns.T @ inverse @ values)
        left = (values - columns @ line) @ inverse @ (values - columns @ line)
        best = max(best, -np.linalg.slogdet(correlation)[1] / 2 - len(days) / 2 * np.log(left))
    return best


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_move_is_the_likeliest_of_all_days(seed: int) -> None:
    """With gaps, by the covariance written out, every third ρ as the search tries them."""
    (room,) = rooms(seed, 1, 40, 0.4)
    days = [day for day in range(40) if day not in (3, 11, 12, 30)]
    values = [room[day] + 1.5 * (day >= 25) for day in days]
    rhos = list(RHOS[::3])
    logs = {place: log_likelihood(days, values, place, rhos) for place in range(5, len(days) - 4)}
    found = shift(days, values)
    assert found is not None
    place = max(logs, key=lambda one: logs[one])
    assert found.day == days[place]
    gain = logs[place] - log_likelihood(days, values, None, rhos)
    assert math.log(found.odds) == pytest.approx(gain, abs=1e-6)


def test_a_clear_move_is_found_on_its_day_and_by_its_amount() -> None:
    (room,) = rooms(3, 1, 60, 0.3)
    found = shift(range(100, 160), [20 + 0.1 * value - 0.6 * (day >= 48) for day, value in enumerate(room)])
    assert found is not None and found.telling and abs(found.day - 148) <= 1
    assert found.difference.low <= -0.6 <= found.difference.high < 0


def test_too_little_history_is_said_and_nothing_guessed() -> None:
    assert shift(range(20), [float(day > 9) for day in range(20)]) is None
    assert unusual(range(27), [0.0] * 26 + [9.0], 26) is None  # one recent day
    assert unusual(range(40), [0.0] * 33 + [9.0] * 7, 33) is None  # a week beside less than six
    assert unusual(range(22), [0.0] * 20 + [9.0] * 2, 20) is None


def test_days_that_never_changed_have_not_moved() -> None:
    found = shift(range(30), [7.0] * 30)
    assert found is not None and not found.telling and found.odds == pytest.approx(1)
    same = unusual(range(60), [7.0] * 60, 53)
    assert same is not None and same.z == 0 and not same.telling


def test_the_robust_distance_worked_out_with_numpy() -> None:
    (room,) = rooms(8, 1, 67, 0.2)
    room[20] = 60.0  # one wild day moves neither median nor scale
    found = unusual(range(67), room, 60)
    history = np.array(room[:60])
    own = np.median(np.lib.stride_tricks.sliding_window_view(history, 7), axis=1)
    usual = np.median(history)
    scale = 1.4826 * np.median(np.abs(own - usual))
    assert found is not None
    assert found.z == pytest.approx((np.median(room[60:]) - usual) / scale)
    assert (found.recent_days, found.history_days) == (7, 60)
    assert found.usual == pytest.approx(usual) and found.recent == pytest.approx(np.median(room[60:]))


def test_a_series_mostly_alike_is_measured_by_its_mean_distance_and_its_rounding() -> None:
    values = [7.0] * 50 + [7.5] * 2 + [7.0] * 8 + [8.0] * 2
    found = unusual(range(62), values, 60)
    own = np.median(np.lib.stride_tricks.sliding_window_view(values[:60], 2), axis=1)
    assert found is not None and found.z == pytest.approx(1 / (1.2533 * np.mean(np.abs(own - 7))))
    coarse = unusual(range(60), [7.0] * 58 + [8.0] * 2, 58, resolution=1.0)
    assert coarse is not None and coarse.z == pytest.approx(math.sqrt(12)) and not coarse.telling


def told(seed: int, count: int, days: int, rho: float, by: float) -> tuple[float, float]:
    """How often a move is told, and an unusual last week."""
    moves = weeks = 0
    for room in rooms(seed, count, days, rho):
        values = [value + by * (day >= days - 10) for day, value in enumerate(room)]
        moved, last = shift(range(days), values), unusual(range(days), values, days - 7)
        assert moved is not None and last is not None
        moves += moved.telling
        weeks += last.telling
    return moves / count, weeks / count


def test_in_a_few_rooms_moves_are_seen_and_not_invented() -> None:
    quiet, moved = told(51, 20, 60, 0.4, 0.0), told(51, 20, 60, 0.4, MOVED)
    assert max(quiet) <= 0.1
    assert min(moved) >= 0.6
    assert TELLING == 1000


@pytest.mark.slow
@pytest.mark.parametrize("rho", [0.0, 0.3, 0.6, 0.8])
@pytest.mark.parametrize("days", [60, 90, 180])
def test_moves_are_seen_and_not_invented(days: int, rho: float) -> None:
    quiet, moved = told(52, 200, days, rho, 0.0), told(53, 100, days, rho, MOVED)
    assert quiet[0] <= 0.08 and quiet[1] <= 0.07
    assert moved[0] >= 0.55 and moved[1] >= 0.3
