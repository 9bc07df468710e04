"""The newest test of a parameter while it still tells of now, and whether anything is fed."""

from __future__ import annotations

from weirbook.actions.fill_water import ROLES, water_of
from weirbook.actions.filling import Absent
from weirbook.actions.measured_days import Measured, last_measured
from weirbook.actions.system_facts import SystemFacts
from weirbook.engine.times import day_of

DAY_MS = 86_400_000
TELLS_FOR_DAYS = 30
"""How long a test of water tells of now. Common practice, as for targets."""


def recent(facts: SystemFacts, parameter: str, days: int = TELLS_FOR_DAYS) -> Measured | Absent:
    """The newest test within so many days, else what to test, in words."""
    last = last_of(facts, parameter)
    if last is None:
        return Absent(f"{name_of(parameter)} was never tested: test it.")
    if last.at_ms < facts.at_ms - days * DAY_MS:
        day = day_of(last.at_ms, water_of(facts).zone)
        return Absent(f"{name_of(parameter)} was last tested on {day}: test it again.")
    return last


def recent_value(facts: SystemFacts, parameter: str) -> float | Absent:
    """SI; a test that says only below or above has no value."""
    last = recent(facts, parameter)
    if isinstance(last, Absent):
        return last
    if last.qualifier in ("below", "above"):
        said = f"{last.qualifier} {last.shown.text()}"
        return Absent(f"{name_of(parameter)} was only told as {said}: test it another way.")
    return last.value


def last_of(facts: SystemFacts, parameter: str) -> Measured | None:
    """The newest test of whatever age, asked once for the same facts."""
    key = ("last", parameter)
    if key not in facts.worked_out:
        facts.worked_out[key] = last_measured(water_of(facts), parameter)
    kept = facts.worked_out[key]
    assert kept is None or isinstance(kept, Measured)
    return kept


def bound_of(one: Measured) -> str:
    """What goes before a value that a test only bounds."""
    return f"{one.qualifier} " if one.qualifier in ("below", "above") else ""


def readings_of(last: Measured) -> str:
    """Where a test can be seen."""
    return f"/v1/readings?gauge={last.gauge}"


def name_of(parameter: str) -> str:
    """A parameter as a sentence begins with it."""
    return "pH" if parameter == "ph" else parameter.replace("_", " ").capitalize()


def food_of(facts: SystemFacts) -> float | Absent:
    """kg/s that an average day's rations come to: 0 where they say that nothing is fed."""
    found = ROLES["daily_feed"](facts)
    return found if isinstance(found, Absent) else found.value.si("mass_flow")
