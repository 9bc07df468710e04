"""How a dose is judged: by what is usual in fresh water, by what is usual in a day, and by its stock."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from weirbook.engine.calculators.dose_inputs import Inputs
from weirbook.engine.relations.chemistry import DOSED, Compound
from weirbook.engine.relations.limits import LIMITS, MOST
from weirbook.engine.saying import less, more, near
from weirbook.engine.shape import Caution

OK, WATCH, OVER, UNKNOWN = "ok", "watch", "over", "unknown"
ORDER = (OVER, WATCH, UNKNOWN)
SAME = 1e-9
"""Share by which a value may pass a bound by conversion alone."""


def too_much(parameter: str, value: float) -> str | None:
    """Why a value is more than is wanted in fresh water; None where it isn't, or no bound is known."""
    most = MOST.get(parameter)
    if most is None or value <= most.value * (1 + SAME):
        return None
    kind, unit = most.kind, most.unit
    return (
        f"{near(value, kind, unit)} is more than {near(most.value, kind, unit)}, the {most.words} (common practice):"
        " check the figure and its unit."
    )


def beyond_usual(parameter: str, value: float) -> list[Caution]:
    """A word of doubt about a value that is more than is wanted in fresh water."""
    why = too_much(parameter, value)
    if why is None:
        return []
    most = MOST[parameter]
    return [Caution("more-than-usual", why, near(most.value, most.kind, most.unit))]


def verdict_of(given: Inputs, compound: Compound | None, values: Mapping[str, Any]) -> tuple[str, str]:
    """The gravest of what speaks against a dose, with every reason."""
    found = [*_of_the_value(given, values), *_of_the_stock(given, compound, values)]
    found.sort(key=lambda one: ORDER.index(one[0]))
    if found:
        return found[0][0], " ".join(words for _, words in found)
    if not values["days"]:
        return OK, "The wanted value is the present one: there is nothing to dose."
    return OK, "Nothing that was told speaks against it: value and daily rise stay within what is usual."


def _of_the_value(given: Inputs, values: Mapping[str, Any]) -> list[tuple[str, str]]:
    found = []
    if why := too_much(given.parameter, given.wanted):
        found.append((OVER, why))
    limit = LIMITS.get(f"{given.parameter}_a_day")
    daily = values["rise"] / values["days"] if values["days"] else 0.0
    if limit is not None and daily > limit.value * (1 + SAME):
        words = (
            f"It rises by {more(daily, DOSED[given.parameter], limit.unit)} in a day, more than the customary"
            f" {near(limit.value, limit.kind, limit.unit)}: say a largest_daily_change that the animals bear."
        )
        found.append((WATCH, words))
    if given.parameter == "total_ammonia" and values["days"]:
        found.append((WATCH, "Ammonia poisons animals: only where none lives."))
    return found


def _of_the_stock(
    given: Inputs, compound: Compound | None, values: Mapping[str, Any]
) -> list[tuple[str, str]]:
    if given.stock_strength is None or compound is None:
        return []
    surely = values["stock_dissolves"]
    if surely is None:
        return [(UNKNOWN, f"How much {compound.name} dissolves is not known here: try a little first.")]
    if given.stock_strength > surely * (1 + SAME):
        limit = less(surely, "concentration", "g/L")
        return [(WATCH, f"So strong a stock may leave crystals: {limit} dissolve for certain.")]
    return []
