"""What a trial shows, in words a keeper reads: how far, how sure, what else it may have been. Never a bare p-value."""

from __future__ import annotations

import math
from collections.abc import Sequence

from weirbook.engine.relations.differences import FEWEST_DAYS
from weirbook.engine.relations.trends import Trend
from weirbook.engine.relations.trials import LEAST_TOLD, SAME_WEEK_DAYS, Comparison, Meanwhile, Trial

FEW_DAYS = 14
"""In a phase: common practice. Below two weeks a weekly habit or one odd week is the whole phase."""
FEW_WORTH = 6.0
STRONG = 0.5
"""Worth saying: a phase worth fewer independent days, or a day that keeps more than half of the one before."""
_KEEPS = {True: "Each day keeps much of the day before", False: "Days may keep something of the day before"}
SAME = 1e-6
"""Of the values: a reach below it is rounding."""
MOST_DECIMALS = 6
DAYS_A_WEEK = 7
FAR_BETTER = 100
"""Times likelier: above it a count says no more than that one fits far better."""
MOST_NAMED = 3
"""Of what else changed during a phase; the rest is counted."""
_DIFFERENCES = {"degC": "K", "degF": "°F", "pH": "", "%": "points", "1": "", "on/off": ""}
"""Units of a difference where they are not those of the value: 2 % less of 40 % is not 38 %, but 2 points are."""


class TrialWords:
    """The readings of a trial, sentence by sentence."""

    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        unit = trial.outcome.unit
        self.unit = _DIFFERENCES.get(unit, unit)

    def reading(self) -> str:
        """The whole in one paragraph: every change, going back, the lowest and highest setting."""
        trial = self.trial
        if not trial.changes:
            return f"{self._outcome()}: one phase so far, so nothing can be compared."
        told = [self.comparison(change) for change in trial.changes]
        told += [self.comparison(one) for one in trial.against_first]
        return " ".join([*told, *self._returned(), *self._extremes()])

    def comparison(self, one: Comparison) -> str:
        """One difference: how far, of what shape, and what else happened."""
        phases = self.trial.phases
        first, second = phases[one.first].setting, phases[one.second].setting
        since = f"{self._outcome()} under '{second}' beside '{first}'"
        if one.first != one.second - 1:
            since += f" (phases {one.first + 1} and {one.second + 1})"
        parts = [self.difference(one), *self._shape(one)]
        if _trend_first(one):
            parts.reverse()
        if one.meanwhile and one.verdict not in ("unknown", "flat"):
            names = _listed(_names(one.meanwhile))
            several = len(_names(one.meanwhile)) > 1
            parts.append(
                f"{self._when(one)}: {names}, so {'these' if several else 'the two'} can't be told apart"
            )
        elif one.meanwhile and one.verdict == "flat":
            parts.append(
                f"{self._when(one)}: {_listed(_names(one.meanwhile))}, which may have hidden a difference"
            )
        if one.verdict != "unknown":
            parts += self._during(one)
        return f"{since}: {'; '.join(parts)}."

    def _when(self, one: Comparison) -> str:
        begins = self.trial.phases[one.second].begins
        if all(abs(each.day - begins) < SAME_WEEK_DAYS for each in one.meanwhile):
            return "in the same week"
        return "between the days compared or within a week of them"

    def _during(self, one: Comparison) -> list[str]:
        """What else changed within only one of the two phases: it may have moved that one's days."""
        told = []
        for which in (one.first, one.second):
            here = {each.named or each.words: None for each in one.during if each.during == which}
            if here:
                names = [*here][:MOST_NAMED]
                if len(here) > MOST_NAMED:
                    names.append(f"{len(here) - MOST_NAMED} more")
                told.append(f"also during {self._phase_name(one, which)} only: {_listed(names)}")
        return told

    def _phase_name(self, one: Comparison, which: int) -> str:
        setting = self.trial.phases[which].setting
        same = self.trial.phases[one.first].setting == self.trial.phases[one.second].setting
        return f"'{setting}' (phase {which + 1})" if same else f"'{setting}'"

    def difference(self, one: Comparison) -> str:
        """By how much, with its interval, or what can't be excluded."""
        found = one.difference
        if found is None:
            counts = " and ".join(
                str(self.trial.phases[which].stretch.n) for which in (one.first, one.second)
            )
            return f"unknown, because {counts} days have a value and {FEWEST_DAYS} are needed in each phase"
        margin, origin = self.trial.margin
        if one.verdict == "flat":
            if origin == "unknown" or max(abs(found.low), abs(found.high)) < SAME * max(
                abs(value) for value in self._centres(one)
            ):
                return "flat, the same in both as far as the readings show"
            reach, matters = at_most(max(abs(found.low), abs(found.high)), margin)
            words = f"flat, changed by at most {self._with_unit(reach)} either way (90 % interval)"
            return f"{words}, within the {self._with_unit(matters)} that would matter"
        if one.verdict == "unclear":
            begin = "between the phases" if _trend_first(one) else "no difference found, but"
            reach = either(-found.low, found.high, ("lower", "higher"), self.unit)
            return f"{begin} {reach} can't be excluded (90 % interval)"
        least, most = two(*sorted((abs(found.low), abs(found.high))))
        bound = ", no narrower than the step between readings" if self._alike(one) else ""
        return f"{one.verdict} by {least} to {self._with_unit(most)} (90 % interval{bound})"

    def _alike(self, one: Comparison) -> bool:
        """Whether each of both phases read the same on all days."""
        both = [self.trial.summaries[which] for which in (one.first, one.second)]
        return all(each.lowest == each.highest for each in both)

    def _centres(self, one: Comparison) -> list[float]:
        return [self.trial.summaries[which].median or LEAST_TOLD for which in (one.first, one.second)]

    def _shape(self, one: Comparison) -> list[str]:
        found = one.shape
        if found is None:
            return [] if one.first != one.second - 1 or one.difference is None else [self._too_short()]
        if found.shape == "none":
            return []
        if found.shape == "step":
            low, high = (DAYS_A_WEEK * end for end in found.slope)
            return [
                f"a step {self._where(one)} fits {times_likelier(found.odds)} better than a steady trend; beside it"
                f" {self._drift(low, high)}"
            ]
        if found.shape == "trend":
            words = f"a steady trend that runs through the change fits {times_likelier(1 / found.odds)} better than a step"
            if one.verdict in ("lower", "higher"):
                words += ", so it can't be laid to the setting"
            return [words]
        if found.shape == "step and trend":
            low, high = found.step
            return [
                f"a trend runs through the change, and besides it a step {self._where(one)} of"
                f" {self._signed(low, high)} (90 % interval)"
            ]
        if found.shape == "step on another day" and found.elsewhere is not None:
            off = found.elsewhere - self.trial.phases[one.second].begins
            when = f"{abs(off)} days {'before' if off < 0 else 'after'} the change"
            return [f"the values shifted {when} rather than at it, so look for what happened then"]
        if one.verdict not in ("lower", "higher"):
            return []
        return [
            f"whether it is a step {self._where(one)} or a trend that runs through the change can't be told"
        ]

    def _where(self, one: Comparison) -> str:
        """Where a step lies, as closely as the days that count can tell."""
        phases = self.trial.phases
        last, first = phases[one.first].stretch.days[-1], phases[one.second].stretch.days[0]
        if first == last + 1:
            return "at the change"
        told = self.trial.outcome.day_words
        return f"somewhere between {told(last)} and {told(first)} (the settle time and gaps are not counted)"

    def _too_short(self) -> str:
        return "too few days to tell a step from a trend"

    def _drift(self, low: float, high: float) -> str:
        if low <= 0 <= high:
            if low == high:
                return "no trend is seen"
            reach = either(-low, high, ("falling", "rising"), self.unit)
            return f"no trend is seen ({reach} a week can't be excluded)"
        return f"a trend of {self._signed(low, high)} a week"

    def trend(self, found: Trend | None) -> str:
        """A trend in words, by the week."""
        if found is None:
            return f"unknown, because fewer than {FEWEST_DAYS} days have a value"
        return trend_words(found, self.unit)

    def _returned(self) -> list[str]:
        told = []
        for second, back in self.trial.returned:
            there = self.trial.changes[second - 2].verdict
            setting = self.trial.phases[second].setting
            again = self.trial.changes[second - 1].verdict
            if {there, again} == {"lower", "higher"} and back.verdict in ("flat", "unclear"):
                told.append(
                    f"Back under '{setting}' it moved the other way again, which speaks for the setting and against a trend."
                )
            elif there in ("lower", "higher") and again not in ("lower", "higher"):
                told.append(
                    f"Back under '{setting}' it did not move back as far as can be seen, which speaks against the setting."
                )
        return told

    def _extremes(self) -> list[str]:
        """Of three settings and more, under which the outcome was lowest and highest, as far as that can be told."""
        settings = {phase.setting for phase in self.trial.phases}
        if len(settings) < 3:
            return []
        lowest, highest = self.trial.extreme("lowest"), self.trial.extreme("highest")
        if lowest.why == "too few days":
            return ["Which setting lies lowest or highest can't be told: some phases have too few days."]
        named = [
            f"{way} under '{one.setting}'"
            for way, one in (("lowest", lowest), ("highest", highest))
            if one.setting is not None
        ]
        if not named:
            return ["Which setting lies lowest or highest can't be told: the intervals overlap too much."]
        words = f"Of the settings tried it was {' and '.join(named)}"
        if "not alone" in (lowest.why, highest.why):
            words += ", but what is said above of trends and of what else happened holds here too"
        return [f"{words}."]

    def limits(self) -> list[str]:
        """What this can't show, and what it rests on."""
        trial = self.trial
        told = [
            "One place and no control beside it: a season, growing fish or plants, or a new batch of food would look"
            " the same. What came after a change was not thereby caused by it.",
            "Phases follow one another in one order, so whatever else went its way meanwhile went with them."
            + (
                ""
                if trial.returned
                else " Going back to the first setting for a phase would show whether it moves back."
            ),
        ]
        short = [one for one in trial.summaries if one.n < FEW_DAYS]
        if short:
            names = _listed([f"'{one.phase.setting}' {one.n}" for one in short])
            told.append(f"Few days with a value: {names}; two weeks a phase are the least that is usual.")
        strong = trial.persistence > STRONG
        if strong or any(
            one.worth is not None and one.worth < min(FEW_WORTH, one.n - 0.5) for one in trial.summaries
        ):
            worth = _listed(
                [
                    f"the {one.n} days of '{one.phase.setting}' are worth about {one.worth:.0f}"
                    for one in trial.summaries
                    if one.worth is not None
                ]
            )
            told.append(
                f"{_KEEPS[strong]} (about {max(trial.persistence, 0):.1f} of it, as far as they show it), so {worth}"
                " independent ones; the intervals allow for it."
            )
        told.append(self._margin())
        return told

    def _margin(self) -> str:
        margin, origin = self.trial.margin
        if origin == "unknown":
            return (
                "Unknown what would count as flat, because no phase has days enough that scatter: say `matters`, the"
                " smallest difference that matters to you."
            )
        if origin == "given":
            return f"A difference within {self._amount(margin)} counts as flat, as told."
        if origin == "resolution":
            return f"A difference within {self._amount(margin)}, the step of the readings, counts as flat."
        return (
            f"A difference within {self._amount(margin)}, half the day-to-day spread of the first phase, counts as flat:"
            " common practice, no source. Say the smallest difference that matters to you."
        )

    def _outcome(self) -> str:
        words = self.trial.outcome.words
        return words[:1].upper() + words[1:]

    def _signed(self, low: float, high: float) -> str:
        digits = _decimals(high - low, max(abs(low), abs(high)))
        ends = [f"{'+' if end > 0 else ''}{plain(end, digits)}" for end in (low, high)]
        return f"{ends[0]} to {self._with_unit(ends[1])}"

    def _amount(self, value: float) -> str:
        return self._with_unit(amount(value))

    def _with_unit(self, figure: str) -> str:
        return with_unit(figure, self.unit)


def _trend_first(one: Comparison) -> bool:
    """Whether a trend is seen where the difference alone is not clear: it looks like wandering to that."""
    return one.verdict == "unclear" and one.shape is not None and "trend" in one.shape.shape


def trend_words(found: Trend, unit: str) -> str:
    """A trend by the week: which way and how fast, or what can't be excluded. Times of the trend are days."""
    low, high = DAYS_A_WEEK * found.sen.low, DAYS_A_WEEK * found.sen.high
    if low == high == 0:
        return "no trend found: level, as far as the readings show"
    if found.direction == 0:
        reach = either(-low, high, ("falling", "rising"), unit)
        return f"no trend found, but {reach} a week can't be excluded (90 % interval)"
    least, most = two(*sorted((abs(low), abs(high))))
    way = "rising" if found.direction > 0 else "falling"
    return f"{way} by {least} to {with_unit(most, unit)} a week (90 % interval)"


def with_unit(figure: str, unit: str) -> str:
    """A figure and its unit, if it has one."""
    return f"{figure} {unit}".rstrip()


def either(down: float, up: float, ways: tuple[str, str], unit: str) -> str:
    """Two reaches either side of nought, rounded up alike; one that is as good as nought beside the other is left out."""
    digits = _decimals(down + up)
    reaches = [max(reach, 0.0) for reach in (down, up)]
    shown = ["0" if plain(reach, digits) == "0" else outwards(reach, digits) for reach in reaches]
    if shown == ["0", "0"]:
        shown = [f"{reach:.2g}" for reach in reaches]
    told = zip(ways, shown, strict=True)
    return " or ".join(f"{way} by up to {with_unit(each, unit)}" for way, each in told if each != "0")


def two(least: float, most: float) -> tuple[str, str]:
    """The ends of an interval that leaves nought out, so rounded that neither end reads as nought."""
    digits = _decimals(most - least, most)
    while digits < MOST_DECIMALS and float(plain(least, digits)) == 0 and least > 0:
        digits += 1
    if least > 0 and float(plain(least, digits)) == 0:
        return f"{least:.2g}", f"{most:.2g}"
    return plain(least, digits), plain(most, digits)


def plain(value: float, digits: int) -> str:
    """A figure with so many decimals; tens and hundreds for fewer than none, three figures beyond a million."""
    if abs(value) >= 1e6:
        return f"{value:.3g}"
    rounded = round(value, digits)
    return f"{rounded:.{max(digits, 0)}f}" if rounded else "0"


def outwards(value: float, digits: int) -> str:
    """A reach above nought with so many decimals, rounded up: what is said to be the most is no less than it."""
    if value >= 1e6:
        digits = _figures(value, 3)
    up = math.ceil(value * 10.0**digits * (1 - SAME)) / 10.0**digits
    return plain(up, digits)


def at_most(reach: float, margin: float) -> tuple[str, str]:
    """A reach rounded up and the margin it lies within, with decimals enough that the words say so, too."""
    digits = _decimals(reach)
    shown, within = outwards(reach, digits), amount(margin)
    while float(shown) > float(within) and digits < MOST_DECIMALS:
        digits += 1
        shown, within = outwards(reach, digits), plain(margin, digits)
    if float(shown) > float(within):
        return f"{reach:.3g}", f"{margin:.3g}"
    return shown, within


def amount(value: float) -> str:
    """A figure by itself."""
    shown = plain(value, _decimals(value) if value > 0 else 0)
    return f"{value:.2g}" if shown == "0" else shown


def _decimals(width: float, largest: float = 0.0) -> int:
    """As many as show an interval of that width to a fifth or finer, but no more than four figures of its larger end."""
    if width <= 0:
        return 0 if largest <= 0 else _figures(largest, 2)
    digits = -math.floor(math.log10(width / 5))
    return min(digits, MOST_DECIMALS, _figures(largest, 4) if largest > 0 else digits)


def _figures(value: float, count: int) -> int:
    return count - 1 - math.floor(math.log10(value))


def times_likelier(odds: float) -> str:
    """How many times better a shape fits."""
    return "far" if odds > FAR_BETTER else f"{odds:.0f} times"


def _names(happened: Sequence[Meanwhile]) -> list[str]:
    return list(dict.fromkeys(one.words for one in happened))


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
