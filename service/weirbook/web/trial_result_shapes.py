"""Documented shapes of what a trial shows."""

from __future__ import annotations

from weirbook.web.shapes import (
    COUNT,
    FLAG,
    GAUGE,
    INSTANT,
    NUMBER,
    TEXT,
    UNIT,
    Shape,
    described,
    many,
    or_null,
    ref,
    thing,
)

TRIAL_RESULT = ref("TrialResult")
DATE: Shape = {"type": "string", "format": "date"}
_FIGURE = or_null(NUMBER)
_VERDICT: Shape = {"type": "string", "enum": ["lower", "higher", "flat", "unclear", "unknown"]}
_SHAPE: Shape = {
    "type": "string",
    "enum": ["none", "step", "trend", "step and trend", "step on another day", "undecided"],
}
_EXTREME = thing(
    {
        "setting": described(or_null(TEXT), "The setting, if that can be told"),
        "why": described(
            {"type": "string", "enum": ["told", "not alone", "too close", "too few days", "one setting"]},
            "not alone: a trend or something else about a change may be behind it; too close: intervals overlap",
        ),
    }
)
_PHASE: dict[str, Shape] = {
    "phase": described(COUNT, "Its number, from 1"),
    "setting": described(TEXT, "What it was set to"),
    "from": described(INSTANT, "When it began"),
    "to": described(or_null(INSTANT), "When it ended; null: still running"),
    "first_day": described(or_null(DATE), "First day that counts, after the settle time; null: none yet"),
    "last_day": described(or_null(DATE), "Last day that counts"),
}
_SUMMARY: dict[str, Shape] = {
    "phase": described(COUNT, "Its number, from 1"),
    "setting": described(TEXT, "What it was set to"),
    "days": described(COUNT, "Days with a value"),
    "mean": described(_FIGURE, "Of the daily values; null: none"),
    "median": described(_FIGURE, "Of the daily values"),
    "spread": described(_FIGURE, "Their standard deviation"),
    "lowest": described(_FIGURE, "Lowest daily value"),
    "highest": described(_FIGURE, "Highest daily value"),
    "worth": described(
        _FIGURE, "How many independent days they are worth, since each keeps something of the day before"
    ),
    "trend_a_week": described(
        _FIGURE, "Sen's slope within the phase, in the unit a week; null: too few days"
    ),
    "trend_low": described(_FIGURE, "Low end of its 90 % interval"),
    "trend_high": described(_FIGURE, "High end"),
    "trend": described(TEXT, "The same in words"),
}
_COMPARISON: dict[str, Shape] = {
    "phase": described(COUNT, "The later phase"),
    "beside": described(COUNT, "The earlier phase"),
    "difference": described(_FIGURE, "Later less earlier, of means or medians as asked; null: too few days"),
    "difference_low": described(_FIGURE, "Low end of its 90 % interval"),
    "difference_high": described(_FIGURE, "High end"),
    "verdict": described(
        _VERDICT,
        "flat: the whole interval within what matters; unclear: it holds nought and reaches beyond; unknown: too few days",
    ),
    "shape": described(
        or_null(_SHAPE),
        "What fits best at the change; null where phases are no neighbours or days too few",
    ),
    "step_odds": described(
        _FIGURE, "How many times likelier the days are with a step at the change than with a steady trend"
    ),
    "step_low": described(_FIGURE, "Low end of the step if a trend may run besides"),
    "step_high": described(_FIGURE, "High end"),
    "slope_low": described(_FIGURE, "Low end of the trend a week if a step may stand besides"),
    "slope_high": described(_FIGURE, "High end"),
    "words": described(TEXT, "The comparison as a sentence"),
}
_MEANWHILE: dict[str, Shape] = {
    "at": described(INSTANT, "When it happened or began"),
    "day": described(DATE, "The same as a day of the room"),
    "kind": described(TEXT, "Its kind in the timeline"),
    "place": described(TEXT, "Where, as a path"),
    "words": described(TEXT, "What happened, in a sentence"),
    "path": described(TEXT, "Where the record can be read"),
    "in_the_week_of": described(
        many(COUNT),
        "Phases from whose change it can't be told apart, for one outcome at least: between the last day that counts before"
        " it and the first after it, settle time and gaps included, or within a week of these; never the first phase",
    ),
    "during": described(
        or_null(COUNT),
        "The phase within which it changed something that lasted, so that it may set it apart; null: none",
    ),
    "routine": described(FLAG, "It went on in half of the weeks and more, so it sets no phase apart"),
    "own": described(FLAG, "Taken for what the trial itself varies, by its day and words"),
}
RESULT_COLUMNS = (
    "gauge",
    "unit",
    *(name for name in _SUMMARY if name != "trend"),
    "first_day",
    "last_day",
    "beside",
    *(name for name in _COMPARISON if name.startswith(("difference", "step", "slope"))),
    "verdict",
    "shape",
    "words",
)
"""Of the CSV: a row for each phase of each outcome, its comparison the one with the phase before."""

SHAPES: dict[str, Shape] = {
    "TrialResult": thing(
        {
            "trial": described(TEXT, "Its id"),
            "question": described(TEXT, "What was to be found out"),
            "varied": described(TEXT, "The one thing that differs between phases"),
            "place": described(TEXT, "Where it was tried, as a path"),
            "of": described({"type": "string", "enum": ["mean", "median"]}, "What of each phase is compared"),
            "reading": described(TEXT, "All outcomes in plain words"),
            "phases": described(many(thing(_PHASE)), "Oldest first"),
            "outcomes": described(many(ref("TrialOutcome")), "In the trial's order"),
            "meanwhile": described(many(thing(_MEANWHILE)), "What else happened in its water, oldest first"),
            "assumptions": described(
                many(thing({"text": TEXT, "origin": TEXT})), "What was taken for granted, and on whose word"
            ),
            "sources": described(many(ref("Source")), "Where the methods come from"),
        }
    ),
    "TrialOutcome": thing(
        {
            "gauge": GAUGE,
            "parameter": described(TEXT, "What it measures"),
            "place": described(TEXT, "Its place as a path"),
            "unit": UNIT,
            "reading": described(TEXT, "What this outcome shows, in plain words"),
            "matters": described(
                thing(
                    {
                        "difference": described(
                            _FIGURE, "The smallest that matters, in the unit; null: unknown, so say it"
                        ),
                        "origin": described(
                            {"type": "string", "enum": ["given", "resolution", "common practice", "unknown"]},
                            "As told, the step of the readings, half the first phase's spread, or none of these",
                        ),
                    }
                ),
                "Within it a difference counts as flat",
            ),
            "phases": described(many(thing(_SUMMARY)), "Each phase in figures"),
            "comparisons": described(
                many(thing(_COMPARISON)), "Each phase beside the one before, then each beside the first"
            ),
            "whole": described(
                thing(
                    {name: _SUMMARY[name] for name in ("trend_a_week", "trend_low", "trend_high", "trend")}
                ),
                "The trend over all phases, as if nothing had been changed",
            ),
            "kept": described(
                NUMBER, "How much a day keeps of the day before, by all phases together: 0 none, 1 all"
            ),
            "lowest": described(_EXTREME, "Under which setting it was lowest"),
            "highest": described(_EXTREME, "Under which setting it was highest"),
            "limits": described(many(TEXT), "What this can't show"),
        }
    ),
}
"""Shapes that the document names once, under components."""
