"""What tests of calculators share: a pocket calculator that follows a step as a person would."""

import math
import re
from collections.abc import Callable

import pytest

from weirbook.engine.shape import Step
from weirbook.engine.units import KINDS, Quantity

UNIT_NAMES = sorted(
    {unit.name for kind in KINDS.values() for unit in kind.units} - {"1"}, key=len, reverse=True
)
UNIT = re.compile(rf"(?<=[0-9)]) (?:{'|'.join(map(re.escape, UNIT_NAMES))})(?![^\s)])")
SIGNS = {"×": "*", "÷": "/", "−": "-", "^": "**", "π": "pi", "°": "* pi / 180"}
KEYS = {
    "pi": math.pi,
    "ln": math.log,
    "exp": math.exp,
    "sqrt": math.sqrt,
    "sin": math.sin,
    "tan": math.tan,
    "atan": math.atan,
}
PLAIN = re.compile(rf"(?:[0-9.]+(?:e[+-]?[0-9]+)?|{'|'.join(KEYS)}|[-+*/() ])+")


def worked_out(working: str) -> float:
    """The value of the arithmetic in a step's working, its units left out."""
    text = UNIT.sub("", working)
    for sign, plain in SIGNS.items():
        text = text.replace(sign, plain)
    assert PLAIN.fullmatch(text), f"not plain arithmetic: {working!r}"
    return float(eval(text, {"__builtins__": {}}, KEYS))


@pytest.fixture(scope="session")
def pocket_calculator() -> Callable[[str], float]:
    return worked_out


@pytest.fixture(scope="session")
def assert_followed() -> Callable[[Step], None]:
    def check(step: Step) -> None:
        shown = Quantity(step.value, KINDS[step.kind].si).to(step.unit or KINDS[step.kind].default, step.kind)
        # Terms are shown with six digits, so each may be off by 5e-6 of itself, and so may their difference.
        largest = max(
            (abs(float(n)) for n in re.findall(r"[0-9.]+(?:e[+-]?[0-9]+)?", step.working)), default=0.0
        )
        takes_away = "−" in step.working or re.search(r"(?<![e0-9.])-[0-9.]", step.working)
        slack = 1.5e-5 * largest if takes_away else 0.0
        assert worked_out(step.working) == pytest.approx(shown.value, rel=1e-4, abs=slack), step

    return check
