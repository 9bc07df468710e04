"""Quantities in sentences."""

import pytest

from weirbook.engine.saying import less, more, near


@pytest.mark.parametrize("say", [near, less, more])
def test_a_plain_number_is_said_without_a_unit(say) -> None:
    assert (say(3.0, "number", "1"), say(0.0, "number", "1")) == ("3", "0")
    assert say(0.25, "fraction", "1") == "0.25"
    assert say(0.003, "volume", "L") == "3 L"
