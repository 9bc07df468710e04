"""A planned water change: whether it would move the water too far at once, or was forgotten."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from weirbook.actions.fill_system import ROLES
from weirbook.actions.fill_water import water_of
from weirbook.actions.filling import Absent
from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.finding_of_water import of_water
from weirbook.actions.latest_of import MEASURED
from weirbook.actions.recent import recent_value
from weirbook.actions.system_facts import SystemFacts
from weirbook.engine.relations.limits import LIMITS, Limit
from weirbook.engine.saying import near
from weirbook.engine.times import day_of
from weirbook.record.places import Tank
from weirbook.record.waters import WaterChange

DAY_MS = 86_400_000
A_TRIFLE = 1 + 1e-9
"""Rounding is no step too far."""

STEPS: Sequence[tuple[str, str, str, Limit, Limit]] = (
    ("hardness", "hardness", "dGH", LIMITS["hardness_a_day"], LIMITS["hardness_a_day"]),
    ("alkalinity", "alkalinity", "dKH", LIMITS["alkalinity_a_day"], LIMITS["alkalinity_a_day"]),
    ("temperature", "temperature_difference", "K", LIMITS["warming_a_day"], LIMITS["cooling_a_day"]),
)
"""What a change moves, the kind and unit of its step, and the most that it may rise and fall in a day."""


def judge_change(facts: SystemFacts) -> Iterator[Finding]:
    """Planned changes that would move the water too far at once, and plans that are past."""
    for change in water_of(facts).planned:
        yield _finding(facts, change, *_judged(facts, change))


def _finding(facts: SystemFacts, change: WaterChange, verdict: Verdict, words: str) -> Finding:
    return of_water(facts, verdict, About.CHANGE, str(change.id), words, f"/v1/water-changes/{change.id}")


def _judged(facts: SystemFacts, change: WaterChange) -> tuple[Verdict, str]:
    water = water_of(facts)
    when = day_of(change.changed_at_ms, water.zone)
    if change.changed_at_ms < facts.at_ms - DAY_MS:
        words = (
            f"Unknown whether the change planned for {when} was done: set its state to done, or delete it."
        )
        return Verdict.UNKNOWN, words
    unknown = f"Unknown how far the change planned for {when} moves the water."
    replaced, handle = change.volume_si, water.source_of(change)
    holds = _holds(facts, change)
    if isinstance(holds, Absent):
        return Verdict.UNKNOWN, f"{unknown} {holds.why}"
    if replaced is None:
        return (
            Verdict.UNKNOWN,
            f"{unknown} How much it is does not follow from how far the level falls: say its volume.",
        )
    whole, place = holds
    share = replaced / whole
    told = f"The change planned for {when}, {near(replaced, 'volume', 'L')}{'' if handle is None else f' of {handle}'},"
    if share > A_TRIFLE:
        words = f"{told} is more than the {near(whole, 'volume', 'L')} that {place} holds: correct it."
        return Verdict.ACT, words
    too_far, lacking = _too_far(facts, change, handle, share, place)
    missing = f" Unknown: {' '.join(lacking)}" if lacking else ""
    if too_far:
        words = (
            f"{told} is too much at once for {place}: {'; '.join(too_far)}. Spread it over days (ask water-change), or blend"
            f" water that is nearer.{missing}"
        )
        return Verdict.WATCH, words
    if lacking:
        return Verdict.UNKNOWN, f"{told} moves nothing in {place} too far, as far as is known.{missing}"
    return (
        Verdict.OK,
        f"{told} moves hardness, alkalinity and temperature in {place} no further than a day allows.",
    )


def _holds(facts: SystemFacts, change: WaterChange) -> tuple[float, str] | Absent:
    """m3 that a change thins out at once, and where: a tank's own water before it mixes, else all that mixes."""
    if isinstance(change.place, Tank):
        return change.place.net_volume_si, change.place.handle
    volume = ROLES["water_volume"](facts)
    return volume if isinstance(volume, Absent) else (volume.value.si("volume"), facts.system.handle)


def _too_far(
    facts: SystemFacts, change: WaterChange, handle: str | None, share: float, place: str
) -> tuple[list[str], list[str]]:
    """Each step that is too far, and what can't be told, in words."""
    too_far, lacking = [], []
    largest = LIMITS["single_change"]
    if share > largest.value * A_TRIFLE:
        too_far.append(
            f"{near(share, 'fraction', '%')} of its water, where {near(largest.value, 'fraction', '%')} is the most"
            f" ({_source(largest)})"
        )
    for parameter, kind, unit, rise, fall in STEPS:
        moved = _moved(facts, change, handle, parameter, share)
        if isinstance(moved, Absent):
            lacking.append(moved.why)
            continue
        limit = rise if moved > 0 else fall
        if abs(moved) > limit.value * A_TRIFLE:
            too_far.append(
                f"{parameter} {'up' if moved > 0 else 'down'} by {near(abs(moved), kind, unit)}, where"
                f" {near(limit.value, kind, unit)} a day is the most ({_source(limit)})"
            )
    return too_far, list(dict.fromkeys(lacking))


def _source(limit: Limit) -> str:
    return "common practice" if limit.origin == "common practice" else limit.source.title


def _moved(
    facts: SystemFacts, change: WaterChange, handle: str | None, parameter: str, share: float
) -> float | Absent:
    """By how much a change moves a parameter (SI, a step), or what of it is not known."""
    kind = MEASURED[parameter]
    present = recent_value(facts, parameter)
    if isinstance(present, Absent):
        return present
    if parameter == "temperature":
        if change.temperature is None:
            return Absent("How warm the new water will be is not told: say the change's temperature.")
        return share * (change.temperature.si(kind) - present)
    if handle is None:
        return Absent("Which water comes in is not told: say the change's source.")
    found = water_of(facts).waters.value_of(handle, parameter, facts.at_ms)
    return found if isinstance(found, Absent) else share * (found.value.si(kind) - present)
