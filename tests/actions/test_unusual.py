"""How unusual something is, by hand-made histories: each factor at its edge."""

from __future__ import annotations

from typing import Any

import pytest

from weirbook.actions.rank_suspects import rank
from weirbook.actions.suspect_weights import ALWAYS, NEVER, PLAIN, UNCOMMON, UNKNOWN, WEIGHTS, aspect_of
from weirbook.actions.told import DAY_MS, HOUR_MS, MINUTE_MS, Told, lasting
from weirbook.actions.unusual import History, gap_days, how_unusual

START, END = 400 * DAY_MS, 421 * DAY_MS
HISTORY = History(START, 365, 91, 21, END, {"task": (9, 10)})
SHORT = History(START, 30, 91, 21, END, {})


def told(day: float, kind: str = "cleaning", minutes: float = 0, about: str = "", **facts: Any) -> Told:
    """A line so many days before the end."""
    at = END - round(day * DAY_MS)
    to = at + round(minutes * MINUTE_MS) if minutes else None
    return Told(at, kind, "systems/rill", "Words.", f"/v1/x/{day}", "x", to_ms=to, about=about, facts=facts)


def lids(*minutes: float, first: float = 30) -> list[Told]:
    return [
        told(first + index, "contact", one, "lid", parameter="lid_open", gauge="lid")
        for index, one in enumerate(minutes)
    ]


@pytest.mark.parametrize(
    ("minutes", "before", "factor"),
    [
        (31, [10] * 6, NEVER),
        (30, [10] * 6, ALWAYS),
        (31, [10] * 6 + [60], UNCOMMON),
        (14, [4] * 6 + [60], ALWAYS),
        (10, [], PLAIN),
        (59, [], UNKNOWN),
        (60, [], NEVER),
        (60, [5, 5], UNCOMMON),
    ],
)
def test_a_lid_is_judged_by_how_long_it_stood_open(
    minutes: float, before: list[float], factor: float
) -> None:
    verdict = how_unusual("lid open", lids(minutes, first=2), lids(*before), HISTORY)
    assert verdict.factor == factor, verdict.words


@pytest.mark.parametrize(
    ("here", "before", "factor"),
    [(1, 0, NEVER), (1, 2, PLAIN), (2, 2, UNCOMMON), (1, 52, ALWAYS), (3, 52, ALWAYS), (10, 52, UNCOMMON)],
)
def test_what_has_no_size_is_judged_by_how_often_it_came(here: int, before: int, factor: float) -> None:
    """52 times in a year are 3 in 21 days; two in a year are 0.12."""
    these = [told(1 + index) for index in range(here)]
    earlier = [told(22 + 7 * index if before > 2 else 100 + index) for index in range(before)]
    verdict = how_unusual("cleaning", these, earlier, HISTORY)
    assert verdict.factor == factor, verdict.words


def test_a_habit_that_began_lately_is_counted_from_its_first_time_on() -> None:
    earlier = [told(22 + 7 * index) for index in range(10)]
    assert how_unusual("cleaning", [told(1), told(8), told(15)], earlier, HISTORY).factor == ALWAYS


def test_a_short_record_tells_nothing_of_rarity() -> None:
    assert how_unusual("cleaning", [told(1)], [], SHORT).factor == UNKNOWN


def test_a_few_days_of_something_make_no_habit_of_it() -> None:
    """Daily in the fortnight before, never earlier: 14 times in 56 days at most, so that 21 in 21 are many."""
    earlier = [told(22 + index) for index in range(14)]
    assert (
        how_unusual("cleaning", [told(1 + index) for index in range(20)], earlier, HISTORY).factor == UNCOMMON
    )


@pytest.mark.parametrize(("minutes", "factor"), [(500, PLAIN), (400, PLAIN), (800, UNCOMMON)])
def test_an_excursion_goes_by_how_long_it_lasted_and_is_never_as_it_should_be(
    minutes: float, factor: float
) -> None:
    """1000 minutes in 91 days are 231 in 21: three times that are 692."""
    these = [told(3, "excursion", minutes)]
    earlier = [told(25 + index, "excursion", 100) for index in range(10)]
    assert how_unusual("excursion", these, earlier, HISTORY).factor == factor


def test_excursions_are_compared_with_the_weeks_that_are_read_for_them() -> None:
    (one,) = [told(1, "excursion")]
    assert "in the 91 days before" in how_unusual("excursion", [one], [], HISTORY).words


@pytest.mark.parametrize(("amount", "factor"), [(1.4, ALWAYS), (1.6, UNCOMMON), (4.0, NEVER)])
def test_an_amount_must_be_far_and_much_larger(amount: float, factor: float) -> None:
    """Ten doses of 1.0 to 1.1: 1.4 is far in spreads, but not half as much again."""
    earlier = [
        told(22 + 7 * index, "dose", amount=1 + 0.1 * (index % 2), shown="1 mL") for index in range(10)
    ]
    these = [told(1, "dose", amount=amount, shown=f"{amount} mL")]
    assert how_unusual("dose", these, earlier, HISTORY).factor == factor


@pytest.mark.parametrize(("ratio", "factor"), [(1.0, PLAIN), (1.49, PLAIN), (1.5, UNCOMMON), (3.0, NEVER)])
def test_food_is_judged_by_how_much_more_it_is(ratio: float, factor: float) -> None:
    these = [told(1, "ration", daily=ratio, before=1.0, new=[])]
    assert how_unusual("ration", these, [], HISTORY).factor == factor


def test_the_first_ration_has_nothing_to_be_compared_with() -> None:
    assert (
        how_unusual("ration", [told(1, "ration", daily=1, before=None, new=[])], [], HISTORY).factor == PLAIN
    )


@pytest.mark.parametrize(("done", "factor"), [((8, 10), UNCOMMON), ((7, 10), PLAIN), ((4, 4), UNKNOWN)])
def test_a_task_weighs_more_where_it_is_usually_done(done: tuple[int, int], factor: float) -> None:
    history = History(START, 365, 91, 21, END, {"task": done})
    assert how_unusual("task not done", [told(1, "task_skipped", about="task")], [], history).factor == factor


def test_scores_fall_with_distance_and_rise_with_weight() -> None:
    """One halving for each further length of the days of its weight."""
    days = WEIGHTS["cleaning"].days
    scores = []
    for day in (0.5, days, 2 * days, 3 * days):
        (one,), _ = rank([told(day)], [], [], END, HISTORY)
        scores.append(one.score / (WEIGHTS["cleaning"].weight * NEVER))
    assert scores == pytest.approx([1, 1, 0.5, 0.25])


def test_a_stretch_is_as_near_as_its_end_and_a_trial_as_its_beginning() -> None:
    lid = told(20, "contact", 20 * 24 * 60, "lid", parameter="lid_open", gauge="lid")
    trial = told(30, "trial", 29 * 24 * 60, "trial", phase=1)
    found = {one.aspect: one for one in rank([lid, trial], [], [], END, HISTORY)[0]}
    assert found["lid open"].near == 1
    assert found["trial"].near == 0.25


def test_nearness_is_reckoned_to_the_next_trouble_a_loss_or_the_time_asked_for() -> None:
    """Twelve days before the time asked for, one before a loss; a loss before it counts for nothing."""
    lid = told(12, "contact", 60, "lid", parameter="lid_open", gauge="lid")
    days = WEIGHTS["lid open"].days
    for losses, near, words in (
        ([], 0.5 ** ((12 - 1 / 24 - days) / days), "12 d before the time asked for"),
        (
            [told(13, "loss", cause="unknown")],
            0.5 ** ((12 - 1 / 24 - days) / days),
            "12 d before the time asked for",
        ),
        ([told(11, "loss", cause="unknown")], 1.0, "23 h before a loss was entered"),
    ):
        (one,), _ = rank([lid], [], losses, END, HISTORY)
        assert one.near == pytest.approx(near)
        assert one.reasons[0] == words


def test_a_cause_that_was_recorded_lifts_what_goes_with_it_alone() -> None:
    loss = told(1, "loss", cause="jumped")
    lid, leak = (told(3, "contact", 600, name, parameter=name, gauge=name) for name in ("lid_open", "leak"))
    found = {one.aspect: one for one in rank([lid, leak], [], [loss], END, HISTORY)[0]}
    assert (found["lid open"].fits, found["leak"].fits) == (1.5, 1.0)


def test_losses_notes_and_alerts_are_no_suspects() -> None:
    for kind in (
        "loss",
        "missing",
        "note",
        "observation",
        "idea",
        "alert",
        "silence",
        "birth",
        "count",
        "sample",
    ):
        assert aspect_of(told(1, kind)) is None
    assert aspect_of(told(1, "move", straight_in=False, way="out")) is None
    assert aspect_of(told(1, "transfer", way="within", disinfected=False)) is None


def test_the_usual_gap_is_the_middle_one() -> None:
    lines = [told(day) for day in (1, 8, 15, 22, 29, 60)]
    assert gap_days(lines) == 7
    assert gap_days(lines[:5]) is None


@pytest.mark.parametrize(
    ("ms", "words"),
    [
        (0, "0 min"),
        (20_000, "1 min"),
        (59 * MINUTE_MS, "59 min"),
        (3 * HOUR_MS + 20 * MINUTE_MS, "3 h 20 min"),
        (10 * HOUR_MS + 40 * MINUTE_MS, "11 h"),
        (47 * HOUR_MS, "47 h"),
        (12 * DAY_MS - HOUR_MS, "12 d"),
        (52 * HOUR_MS, "2 d 4 h"),
        (21 * DAY_MS, "21 d"),
    ],
)
def test_lengths_of_time_are_said_as_people_say_them(ms: int, words: str) -> None:
    assert lasting(ms) == words
