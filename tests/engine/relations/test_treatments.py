"""Levels of repeated doses balance in mass. Formalin's oxygen: fixtures/published/treatment_worked_examples.csv."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.treatments import (
    CHANGED,
    DOSED,
    OVER,
    course,
    highest_level,
    oxygen_taken_by_formalin,
)

DAY = 86400.0


def test_five_parts_of_formalin_take_one_of_oxygen() -> None:
    # Piper and others (1982), p. 276.
    assert oxygen_taken_by_formalin(0.025) == pytest.approx(0.005, rel=1e-12)


@given(st.integers(1, 40), st.floats(0, 1), st.none() | st.floats(60, DAY))
def test_what_was_dosed_is_in_the_water_or_was_changed_out(
    treatments: int, change: float, contact: float | None
) -> None:
    events = course(treatments, DAY, contact, change)
    level = out = 0.0
    for event in events:
        if event.what == CHANGED:
            out += level * change
        level = event.level
    dosed = sum(event.what == DOSED for event in events)
    assert dosed == treatments
    assert level + out == pytest.approx(dosed, rel=1e-9)
    assert max(event.level for event in events) == pytest.approx(highest_level(treatments, change), rel=1e-9)
    times = [event.time for event in events]
    assert times == sorted(times)


# By hand, half changed each time: 1, 1.5, 1.75 doses.
def test_half_a_change_between_three_doses_leaves_one_and_three_quarters() -> None:
    events = course(3, DAY, None, 0.5)
    assert [(event.what, event.level) for event in events] == [
        (DOSED, 1),
        (CHANGED, 0.5),
        (DOSED, 1.5),
        (CHANGED, 0.75),
        (DOSED, 1.75),
    ]
    assert [event.time for event in events] == [0, DAY, DAY, 2 * DAY, 2 * DAY]


def test_a_change_comes_when_the_contact_is_over() -> None:
    events = course(2, DAY, 3600.0, 1.0)
    assert [(event.what, event.number, event.time) for event in events] == [
        (DOSED, 1, 0),
        (OVER, 1, 3600),
        (CHANGED, 1, 3600),
        (DOSED, 2, DAY),
        (OVER, 2, DAY + 3600),
        (CHANGED, 2, DAY + 3600),
    ]
    assert highest_level(2, 1.0) == 1


def test_baths_made_anew_never_add_up() -> None:
    events = course(3, DAY, 3600.0, 0.0, anew=True)
    assert {event.level for event in events if event.what == DOSED} == {1}
    assert {event.level for event in events if event.what == OVER} == {0}
