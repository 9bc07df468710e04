"""The working of a water change, step by step, as a person would do it with a pocket calculator."""

from __future__ import annotations

import math
from collections.abc import Mapping

from weirbook.engine.calculators.exchange import carbon, carbon_steps
from weirbook.engine.calculators.water_change_case import DAY, Change
from weirbook.engine.calculators.water_change_inputs import Inputs
from weirbook.engine.relations.changes import after_changes, ph_bound
from weirbook.engine.shape import Step, show, step


def change_steps(found: Change) -> list[Step]:
    return [
        *_share(found),
        *_usual_changes(found),
        *_drip(found),
        *_bounds(found),
        *_days(found),
        *_drift(found),
    ]


def _numbers(given: Inputs) -> dict[str, str]:
    return {
        "present": show(given.present, given.kind),
        "source": show(given.source, given.kind),
        "volume": show(given.volume, "volume"),
    }


def _share(found: Change) -> list[Step]:
    given, steps = found.given, []
    numbers = _numbers(given) | {"share": show(found.share, "fraction", "1")}
    if given.change_share is None and given.change_volume is not None:
        numbers["change_volume"] = show(given.change_volume, "volume")
        usual = given.change_volume / given.volume
        steps.append(
            step("usual change's share", "{change_volume} ÷ {volume}", numbers, usual, "fraction", "1")
        )
    if given.wanted is not None and found.share:
        numbers["wanted"] = show(given.wanted, given.kind)
        formula = "({present} − {wanted}) ÷ ({present} − {source})"
        steps.append(step("share of one change", formula, numbers, found.share, "fraction", "1"))
    water = found.share * given.volume
    steps.append(step("water of one change, in L", "{share} × {volume}", numbers, water, "volume", "L"))
    if given.wanted is None:
        formula = "{present} + {share} × ({source} − {present})"
        steps.append(step("value after it", formula, numbers, found.value_after, given.kind))
    return steps


def _usual_changes(found: Change) -> list[Step]:
    given, usual = found.given, found.given.usual_share
    if not found.changes or usual is None:
        return []
    numbers = _numbers(given) | {
        "share": show(found.share, "fraction", "1"),
        "usual_share": show(usual, "fraction", "1"),
        "count": str(found.changes),
    }
    exact = math.log1p(-found.share) / math.log1p(-usual)
    after = after_changes(given.present, given.source, usual, found.changes)
    return [
        step(
            f"usual changes, rounded up to {found.changes}",
            "ln(1 − {share}) ÷ ln(1 − {usual_share})",
            numbers,
            exact,
            "number",
        ),
        step(
            "value after them",
            "{source} + ({present} − {source}) × (1 − {usual_share}) ^ {count}",
            numbers,
            after,
            given.kind,
        ),
    ]


def _drip(found: Change) -> list[Step]:
    given = found.given
    if not found.share:
        return []
    numbers = {"volume": show(given.volume, "volume"), "share": show(found.share, "fraction", "1")}
    water = found.drip_water
    formula = "{volume} × ln(1 ÷ (1 − {share}))"
    steps = [step("water to drip through instead, in L", formula, numbers, water, "volume", "L")]
    if given.drip_flow is not None:
        numbers |= {"drip_water": show(water, "volume"), "drip_flow": show(given.drip_flow, "flow")}
        time = water / given.drip_flow
        steps.append(step("hours of dripping", "{drip_water} ÷ {drip_flow}", numbers, time, "time", "h"))
    return steps


def _bounds(found: Change) -> list[Step]:
    given, steps = found.given, []
    for name, kind in (
        ("hardness", "hardness"),
        ("alkalinity", "alkalinity"),
        ("temperature", "temperature"),
    ):
        here, there = getattr(given.tank, name), getattr(given.new_water, name)
        if found.bounds.get(name, 1.0) == 1 or here is None or there is None:
            continue
        most = getattr(given.pace, name)
        within = "temperature_difference" if name == "temperature" else kind
        numbers = {
            "most": show(most, within),
            "higher": show(max(here, there), kind),
            "lower": show(min(here, there), kind),
        }
        words = f"largest share by {name}"
        formula = "{most} ÷ ({higher} − {lower})"
        steps.append(step(words, formula, numbers, found.bounds[name], "fraction", "1"))
    steps += _ph_bound(found)
    numbers = {
        "largest_share": show(found.largest, "fraction", "1"),
        "volume": show(given.volume, "volume"),
    }
    water = found.largest * given.volume
    words = "largest change today, in L"
    return [*steps, step(words, "{largest_share} × {volume}", numbers, water, "volume", "L")]


def _ph_bound(found: Change) -> list[Step]:
    given = found.given
    tank, source = given.tank.buffered, given.new_water.buffered
    if found.bounds.get("ph", 1.0) == 1 or tank is None or source is None:
        return []
    bound = ph_bound(tank[0], source[0], given.ph_a_day)
    waters: Mapping[str, float] = {"in the tank": tank[0], "in the source": source[0], "at the limit": bound}
    numbers = {
        "alkalinity": show(tank[1], "alkalinity"),
        "source_alkalinity": show(source[1], "alkalinity"),
        "in_the_tank": carbon(tank[0]),
        "in_the_source": carbon(source[0]),
        "at_the_limit": carbon(bound),
    }
    formula = (
        "{alkalinity} × ({at_the_limit} − {in_the_tank}) ÷ ({alkalinity} × ({at_the_limit} − {in_the_tank})"
        " + {source_alkalinity} × ({in_the_source} − {at_the_limit}))"
    )
    last = step("largest share by pH", formula, numbers, found.bounds["ph"], "fraction", "1")
    return [*carbon_steps(waters), last]


def _days(found: Change) -> list[Step]:
    """What is left of the difference after each day, so that the last day's share follows."""
    if len(found.days) < 2:
        return []
    *before, last = found.days
    numbers = {
        f"day_{number}": show(day.share, "fraction", "1") for number, day in enumerate(before, start=1)
    }
    numbers["share"] = show(found.share, "fraction", "1")
    product = " × ".join(f"(1 − {{{name}}})" for name in numbers if name != "share")
    words = f"share of day {len(found.days)}, which ends it"
    return [step(words, f"1 − (1 − {{share}}) ÷ ({product})", numbers, last.share, "fraction", "1")]


def _drift(found: Change) -> list[Step]:
    given, steps = found.given, []
    if given.drift is None or given.drift_time is None:
        return []
    numbers = _numbers(given) | {
        "after": show(found.value_after, given.kind),
        "drift": show(given.drift, given.kind),
        "drift_time": show(given.drift_time, "time", "d"),
    }
    if found.time_back is not None:
        formula = "({present} − {after}) ÷ {drift} × {drift_time}"
        steps.append(step("days until it is back", formula, numbers, found.time_back, "time", "d"))
    steps += _last_day_with_drift(found, numbers)
    if found.settles_at is not None and given.drip_flow is not None:
        numbers["drip_flow"] = show(given.drip_flow, "flow", "L/d")
        formula = "{source} + {drift} ÷ {drift_time} × {volume} ÷ {drip_flow}"
        steps.append(step("value that the drip holds", formula, numbers, found.settles_at, given.kind))
    return steps


def _last_day_with_drift(found: Change, numbers: Mapping[str, str]) -> list[Step]:
    """From the value after the day before; none where the drift leads below nothing in between."""
    given, values = found.given, found.days_with_drift
    if values is None or len(values) < 2 or given.drift is None or given.drift_time is None:
        return []
    if values[-2] + given.drift / given.drift_time * DAY < 0:
        return []
    told = {
        **numbers,
        "day_before": show(values[-2], given.kind),
        "share": show(found.days[-1].share, "fraction", "1"),
    }
    formula = "({day_before} + {drift} ÷ {drift_time}) × (1 − {share}) + {source} × {share}"
    words = f"value after day {len(values)}, with the drift"
    return [step(words, formula, told, values[-1], given.kind)]
