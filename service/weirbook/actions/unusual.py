"""How unusual something is for a system, against what its own record tells of the time before."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from weirbook.actions.suspect_weights import ALWAYS, NEVER, PLAIN, UNCOMMON, UNKNOWN
from weirbook.actions.told import DAY_MS, HOUR_MS, MINUTE_MS, Told, lasting, times
from weirbook.engine.relations.usual import FAR, distance, usual

LEAST_DAYS = 56
"""Days of record before the look that can tell what is usual. Our own choice."""
LEAST_TIMES = 5
"""And times that something happened before its amounts can be compared. Our own choice."""
MUCH = 1.5
"""And by how much an amount must be larger than the middle of those before, however little they scatter."""
OFTEN = 3.0
SHORT_MS, LONG_MS = 15 * MINUTE_MS, HOUR_MS
"""Without a history: a contact tripped so shortly is nothing out of the way, for so long it is."""
DONE_SHARE = 0.8
"""A task done this often is usually done."""


@dataclass(frozen=True)
class History:
    """What is known of the time before the look."""

    start_ms: int
    days: float
    excursion_days: float
    look_days: float
    now: int
    done: Mapping[str, tuple[int, int]]
    """By task: how often it was done, and how often anything was told of it."""

    def reach(self, these: Sequence[Told]) -> float:
        """How many days of the time before are looked at for such lines."""
        return min(self.days, self.excursion_days) if these[0].kind == "excursion" else self.days


@dataclass(frozen=True)
class Verdict:
    """The factor, and why, in words; `lines` are those that stand out, where not all do."""

    factor: float
    words: str
    lines: Sequence[Told] = ()


Rule = Callable[[Sequence[Told], Sequence[Told], History], Verdict]


def how_unusual(aspect: str, these: Sequence[Told], before: Sequence[Told], history: History) -> Verdict:
    """How unusual these lines are beside those of the same kind and thing before."""
    return RULES.get(aspect, _by_rate)(these, before, history)


def _too_little(history: History) -> Verdict:
    days = round(history.days)
    known = f"{days} days before are on record" if days else "nothing before is on record"
    return Verdict(UNKNOWN, f"too little history to say whether that is usual: {known}")


def _by_rate(these: Sequence[Told], before: Sequence[Told], history: History) -> Verdict:
    """How often, beside how often before."""
    reach = history.reach(these)
    if reach < LEAST_DAYS:
        return _too_little(history)
    days = round(reach)
    if not before:
        return Verdict(NEVER, f"never in the {days} days before")
    if len(before) >= LEAST_TIMES:
        # What became a habit lately is counted from its first time on.
        first = min(one.at_ms for one in before)
        days = max(round((history.start_ms - first) / DAY_MS), LEAST_DAYS)
    expected = len(before) / days * history.look_days
    told = f"{times(len(these))} in {history.look_days:g} days; before, {times(len(before))} in {days} days"
    if len(these) >= 2 and len(these) >= OFTEN * expected:
        return Verdict(UNCOMMON, f"more often than usual: {told}")
    return Verdict(
        PLAIN if expected < 1 else ALWAYS, f"about as often as usual: {told}" if expected >= 1 else told
    )


def _of_excursion(these: Sequence[Told], before: Sequence[Told], history: History) -> Verdict:
    """How long it was outside its target, beside how long before. What lies outside a target is never as it should be."""
    reach = history.reach(these)
    now = sum(one.lasted_ms(history.now) for one in these)
    if not before or reach < LEAST_DAYS:
        return _by_rate(these, before, history)
    earlier = sum(one.lasted_ms(history.start_ms) for one in before)
    said = f"outside for {lasting(now)} of these {history.look_days:g} days; {lasting(earlier)} of the {round(reach)} before"
    if now / history.look_days >= OFTEN * earlier / reach:
        return Verdict(UNCOMMON, f"longer than usual: {said}")
    return Verdict(PLAIN, said)


def _by_length(these: Sequence[Told], before: Sequence[Told], history: History) -> Verdict:
    """How long, beside how long before: opening a lid to feed is not leaving it open."""
    longest = max(one.lasted_ms(history.now) for one in these)
    said = f"the longest was {lasting(longest)}"
    earlier = [one.lasted_ms(history.now) for one in before]
    if len(earlier) < LEAST_TIMES:
        if longest < SHORT_MS:
            return Verdict(PLAIN, f"{said}; {_few(earlier)}")
        if longest < LONG_MS:
            return Verdict(UNKNOWN, f"{said}; {_few(earlier)}")
        return Verdict(NEVER if not earlier else UNCOMMON, f"{said}; {_few(earlier)}")
    middle = median(earlier)
    usually = (
        f"usually {lasting(round(middle))}, the longest before {lasting(max(earlier))} (of {len(earlier)})"
    )
    if longest > max(earlier) and longest > OFTEN * middle:
        return Verdict(NEVER, f"longer than ever before: {said}; {usually}", _longer(these, middle, history))
    if longest > OFTEN * middle and longest >= SHORT_MS:
        return Verdict(UNCOMMON, f"longer than usual: {said}; {usually}", _longer(these, middle, history))
    return Verdict(ALWAYS, f"as long as usual: {said}; {usually}")


def _longer(these: Sequence[Told], middle: float, history: History) -> Sequence[Told]:
    return [one for one in these if one.lasted_ms(history.now) > OFTEN * middle]


def _few(earlier: Sequence[int]) -> str:
    if not earlier:
        return "never before on record"
    return f"only {times(len(earlier))} before on record, too few to say what is usual"


def _by_amount(these: Sequence[Told], before: Sequence[Told], history: History) -> Verdict:
    """How much, beside how much before."""
    largest = max(these, key=lambda one: float(one.facts["amount"]))
    if not before:
        return _by_rate(these, before, history)
    amounts = [float(one.facts["amount"]) for one in before]
    found = usual(amounts)
    near = min(before, key=lambda one: abs(one.facts["amount"] - found.middle))
    said = f"{largest.facts['shown']}; usually {near.facts['shown']} ({times(len(before))} before)"
    if len(before) < LEAST_TIMES:
        return Verdict(UNKNOWN, f"{said}: too few to say what is usual")
    amount = float(largest.facts["amount"])
    far = distance(amount, found)
    if amount >= MUCH * found.middle and (far is None or far >= FAR):
        more = f"{amount / found.middle:.2g} times the usual" if found.middle else "more than ever"
        return Verdict(
            NEVER if amount > OFTEN * max(amounts) else UNCOMMON, f"much more than usual ({more}): {said}"
        )
    by_rate = _by_rate(these, before, history)
    if by_rate.factor >= UNCOMMON:
        return by_rate
    return Verdict(ALWAYS if by_rate.factor == ALWAYS else PLAIN, f"an amount as usual: {said}")


def _of_water(these: Sequence[Told], before: Sequence[Told], history: History) -> Verdict:
    """A water change by its amount, and by the water it was done with."""
    amount = _by_amount(these, before, history)
    known = {one.facts["source"] for one in before}
    new = sorted({one.facts["source"] for one in these if one.facts["source"] not in known} - {None})
    if new and len(before) >= LEAST_TIMES and amount.factor < UNCOMMON:
        others = ", ".join(sorted(one for one in known if one)) or "a source not recorded"
        strange = [one for one in these if one.facts["source"] in new]
        return Verdict(
            UNCOMMON, f"with {', '.join(new)}, which was never used before; else {others}", strange
        )
    return amount


def _of_ration(these: Sequence[Told], before: Sequence[Told], history: History) -> Verdict:
    """How much more food a day, and whether any of it is new."""
    known = [one for one in these if one.facts["before"] is not None]
    if not known:
        return Verdict(PLAIN, "the first ration recorded there, so nothing to compare it with")
    most = max(known, key=lambda one: _ratio(one.facts["daily"], one.facts["before"]))
    ratio = _ratio(most.facts["daily"], most.facts["before"])
    new = sorted({food for one in known for food in one.facts["new"]})
    fed = f"never fed there before: {', '.join(new)}" if new else ""
    if ratio >= MUCH:
        more = (
            f"{ratio:.2g} times the food of before" if most.facts["before"] else "food where there was none"
        )
        words = f"{more}{f'; {fed}' if fed else ''}"
        return Verdict(NEVER if ratio >= OFTEN else UNCOMMON, words)
    if new:
        return Verdict(UNCOMMON, fed)
    return Verdict(PLAIN, f"{ratio:.2g} times the food of before")


def _ratio(now: float, before: float) -> float:
    return now / before if before else (1.0 if not now else OFTEN)


def _of_feeding(these: Sequence[Told], before: Sequence[Told], history: History) -> Verdict:
    """An odd feeding by its amount, where it was one."""
    fed = [one for one in these if one.facts["amount"]]
    earlier = [one for one in before if one.facts["amount"]]
    if not fed or not earlier:
        return _by_rate(these, before, history)
    largest = max(float(one.facts["amount"]) for one in fed)
    most = max(float(one.facts["amount"]) for one in earlier)
    if largest > MUCH * most:
        return Verdict(UNCOMMON, f"{largest / most:.2g} times the largest one before")
    return _by_rate(these, before, history)


def _of_task(these: Sequence[Told], before: Sequence[Told], history: History) -> Verdict:
    """What is usually done weighs more when it is not."""
    done, told = history.done.get(these[0].about, (0, 0))
    if told < LEAST_TIMES:
        known = f"it was told of only {times(told)} before" if told else "nothing was told of it before"
        return Verdict(UNKNOWN, f"{known}, so whether it is usually done is not known")
    share = f"before, it was done {done} of {told} times"
    return Verdict(UNCOMMON if done >= DONE_SHARE * told else PLAIN, share)


def _always_plain(these: Sequence[Told], before: Sequence[Told], history: History) -> Verdict:
    return Verdict(PLAIN, "")


RULES: Mapping[str, Rule] = {
    "excursion": _of_excursion,
    "lid open": _by_length,
    "mains away": _by_length,
    "pump stood": _by_length,
    "leak": _by_length,
    "other contact": _by_length,
    "dose": _by_amount,
    "treatment dosed": _by_amount,
    "water change": _of_water,
    "ration": _of_ration,
    "odd feeding": _of_feeding,
    "task not done": _of_task,
    "entered into the record": _always_plain,
    "target": _always_plain,
}
"""What goes by more than how often it happened."""


def gap_days(before: Sequence[Told]) -> float | None:
    """Days that usually lie between happenings; None where too few are on record."""
    if len(before) < LEAST_TIMES + 1:
        return None
    instants = sorted(one.at_ms for one in before)
    return median((later - one) / DAY_MS for one, later in pairwise(instants))
