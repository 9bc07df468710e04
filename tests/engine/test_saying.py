"""Quantities in words: three figures, rounded to the side that is asked for."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.saying import chance, interval, less, more, near, speaking

LITTLE = [0.0, -0.0, 5e-324, 1e-313, -1e-313, 2.2e-308]


@pytest.mark.parametrize("say", [near, less, more])
@pytest.mark.parametrize("value", LITTLE)
def test_what_is_too_little_for_three_figures_is_nothing(say: object, value: float) -> None:
    assert callable(say)
    assert say(value, "number", "1") == "0"


def test_three_figures_are_rounded_to_the_side_that_is_asked_for() -> None:
    said = [say(0.0123456, "volume", "m3") for say in (less, near, more)]
    assert said == ["0.0123 m3", "0.0123 m3", "0.0124 m3"]
    with speaking({"volume": "L"}):
        assert near(0.0123456, "volume", "m3") == "12.3 L"


@given(st.floats(-1e15, 1e15))
def test_less_and_more_hold_the_value_between_them(value: float) -> None:
    at_least, at_most = (float(say(value, "number", "1")) for say in (less, more))
    slack = 1e-8 * abs(value) + 1e-300
    assert at_least <= value + slack
    assert at_most >= value - slack
    assert math.isclose(at_least, at_most, rel_tol=1.1e-2, abs_tol=1e-300)


@pytest.mark.parametrize("say", [near, less, more])
def test_a_plain_number_is_said_without_a_unit(say) -> None:
    assert (say(3.0, "number", "1"), say(0.0, "number", "1")) == ("3", "0")
    assert say(0.25, "fraction", "1") == "0.25"
    assert say(0.003, "volume", "L") == "3 L"


@pytest.mark.parametrize(
    ("p", "words"),
    [(0.023456, "p 0.023"), (0.00014, "p 0.00014"), (0.0001, "p 0.0001"), (0.00009, "p below 0.0001"), (0.0, "p below 0.0001"),
     (1.0, "p 1"), (0.5, "p 0.5")],
)  # fmt: skip
def test_a_chance_is_said_with_two_figures_and_never_as_none(p: float, words: str) -> None:
    assert chance(p) == words


def test_an_interval_names_its_confidence() -> None:
    assert interval(0.95, "1.2", "8.4") == "95 % interval 1.2 to 8.4"
    with speaking({"fraction": "1"}):
        assert interval(0.9, "1", "2") == "90 % interval 1 to 2"
