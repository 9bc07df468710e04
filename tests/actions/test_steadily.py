"""Whether tests gain or lose on the likely case week by week. By hand."""

from __future__ import annotations

from datetime import date

import pytest

from weirbook.actions.compare_nutrients import Week, steadily
from weirbook.engine.units import to_si


def weeks(*unexplained: float) -> list[Week]:
    day = date(2026, 11, 2)
    return [
        Week(
            "2026-W45", day, day, 0.0, 0.0, {}, (0.0, 0.0, 0.0), None, to_si(one, "mg/L NO3", "nitrate"), True
        )
        for one in unexplained
    ]


@pytest.mark.parametrize(
    ("unexplained", "words"),
    [
        ((4, 5, 4, 5), "Test by test it gains 4.5 mg/L NO3"),  # mean 4.5, standard error 0.29
        ((-4, -5, -4, -5), "Test by test it loses 4.5 mg/L NO3"),
        ((4, 5, 4), ""),  # three are too few
        ((9, -9, 9, -9, 9), ""),  # mean 1.8, standard error 4.4
        ((0.9, 0.9, 0.9, 0.8), ""),  # steady, but finer than any test
    ],
)
def test_what_tests_gain_is_told_where_it_is_steady_and_large_enough(
    unexplained: tuple[float, ...], words: str
) -> None:
    told = steadily("nitrate", weeks(*unexplained))
    assert told.strip().startswith(words) if words else told == ""
