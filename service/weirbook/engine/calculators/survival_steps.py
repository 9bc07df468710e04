"""The working of a survival, as a person would do it with a pocket calculator."""

from __future__ import annotations

from weirbook.engine.calculators.survival_inputs import DAY, Inputs
from weirbook.engine.relations.survival import (
    ALL_LOST,
    FROM_BEFORE,
    LOG_LOG,
    NONE_LOST,
    Curve,
    Told,
    deviations,
)
from weirbook.engine.relations.survival import Step as CurveStep
from weirbook.engine.shape import Step, six, step


def steps_of(given: Inputs, curve: Curve, told: Told | None) -> list[Step]:
    """Each day with losses up to the one asked about, then the error and the interval there."""
    days = [one for one in curve.steps if one.lost and one.age <= given.day / DAY]
    days = [one for one in days if one.age <= curve.watched_to]
    steps = []
    before: CurveStep | None = None
    for one in days:
        steps += _day(one, before)
        before = one
    if told is None:
        return [*steps, *_watch(curve)]
    return [
        *steps,
        *(_interval(given, before) if told.method == LOG_LOG else _exact(given, curve, told, days)),
    ]


def _day(one: CurveStep, before: CurveStep | None) -> list[Step]:
    day = six(one.age)
    numbers = {
        "before": _nine(before.survival if before else 1.0),
        "lost": str(six(one.lost)),
        "at_risk": str(six(one.at_risk)),
        "spread_before": _nine(before.spread if before else 0.0),
    }
    steps = [
        step(
            f"survival past day {day}, as a share",
            "{before} × (1 − {lost} ÷ {at_risk})",
            numbers,
            one.survival,
            "fraction",
            "1",
        )
    ]
    if one.survival:
        formula = "{spread_before} + {lost} ÷ ({at_risk} × ({at_risk} − {lost}))"
        steps.append(step(f"Greenwood's sum past day {day}", formula, numbers, one.spread, "number"))
    return steps


def _interval(given: Inputs, last: CurveStep | None) -> list[Step]:
    limits = None if last is None else last.interval(given.confidence)
    assert last is not None and limits is not None, "told by these limits"
    numbers = {
        "survival": _nine(last.survival),
        "sum": _nine(last.spread),
        "deviations": _nine(deviations(given.confidence)),
    }
    return [
        step("standard error", "{survival} × sqrt({sum})", numbers, last.error, "fraction", "1"),
        step(
            "lower limit",
            "exp(ln({survival}) × exp({deviations} × sqrt({sum}) ÷ (0 − ln({survival}))))",
            numbers,
            limits[0],
            "fraction",
            "1",
        ),
        step(
            "upper limit",
            "exp(ln({survival}) ÷ exp({deviations} × sqrt({sum}) ÷ (0 − ln({survival}))))",
            numbers,
            limits[1],
            "fraction",
            "1",
        ),
    ]


def _exact(given: Inputs, curve: Curve, told: Told, days: list[CurveStep]) -> list[Step]:
    """Where nobody or everybody was lost."""
    numbers = {
        "share_left_out_at_one_end": _nine((1 - given.confidence) / 2),
        "watched": str(six(told.watched)),
    }
    root = "{share_left_out_at_one_end} ^ (1 ÷ {watched})"
    if told.method == NONE_LOST:
        return [step("lower limit, none lost", root, numbers, told.low, "fraction", "1")]
    if told.method == ALL_LOST:
        numbers["watched"] = str(six(days[-1].at_risk))
        return [step("upper limit, all lost at once", f"1 − {root}", numbers, told.high, "fraction", "1")]
    assert told.method == FROM_BEFORE
    return _interval(given, curve.step_before_the_last())


def _watch(curve: Curve) -> list[Step]:
    """Nothing is known of the day: how far it is."""
    if curve.watched_to < 0:
        begun = str(six(curve.begun))
        return [step("watched from the beginning", "{begun}", {"begun": begun}, curve.begun, "number")]
    numbers = {"longest_watch_without_a_gap": f"{six(curve.watched_to)} d"}
    formula = "{longest_watch_without_a_gap}"
    return [step("last day that is known", formula, numbers, curve.watched_to * DAY, "time", "d")]


def _nine(value: float) -> str:
    """Nine figures: the logarithm of a share near one needs them."""
    return f"{value:.9g}"
