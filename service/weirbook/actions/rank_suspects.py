"""What came before a trouble, ranked: by its kind, by how unusual it is here, by how near it lies."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from weirbook.actions.more_fish import MORE_FISH, MoreFish
from weirbook.actions.suspect_weights import AFTER, ALWAYS, FITS, UNCOMMON, WEIGHTS, aspect_of
from weirbook.actions.told import DAY_MS, Told, capital, lasting, plain, sentence
from weirbook.actions.unusual import History, Verdict, gap_days, how_unusual

LEFT_OUT = "water change left out"
OVERDUE = 2.0
"""Times the usual gap after which a water change is called left out. Our own choice."""
SINGLY = ("arrival", "move", "transfer", "quarantine", "change", "plumbing")
"""Kinds whose lines stand each for themselves."""


@dataclass(frozen=True)
class Suspect:
    """One thing that came before, with the figures that make its score."""

    aspect: str
    lines: Sequence[Told]
    words: str
    reasons: Sequence[str]
    weight: float
    unusual: float
    near: float
    fits: float
    order: float

    @property
    def score(self) -> float:
        """The product of its factors."""
        return self.weight * self.unusual * self.near * self.fits * self.order

    @property
    def first(self) -> Told:
        return self.lines[0]

    @property
    def last(self) -> Told:
        return self.lines[-1]


def rank(
    lines: Sequence[Told],
    earlier: Sequence[Told],
    losses: Sequence[Told],
    before_ms: int,
    history: History,
    more: MoreFish | None = None,
) -> tuple[list[Suspect], list[str]]:
    """Suspects, the gravest first, and in words what happened as it always does.

    `lines` are those of the look, `earlier` those of the time before it that tell what is usual; `more` tells by which of
    them heads rose.
    """
    usual = _grouped(earlier, singly=False)
    suspects, ordinary = [], []
    for (aspect, _), these in _grouped(lines, singly=True).items():
        same: Sequence[Told] = usual.get((aspect, _thing(these[0])), ())
        if these[0].kind in SINGLY:
            same = [one for (other, _), some in usual.items() if other == aspect for one in some]
        verdict = how_unusual(aspect, these, same, history)
        if verdict.factor == ALWAYS:
            ordinary.append(
                sentence(capital(aspect) + ": " + _summed(aspect, these, history.now), capital(verdict.words))
            )
        else:
            suspects.append(_suspect(aspect, these, verdict, losses, before_ms, history.now))
    if more is not None:
        risen = _suspect(MORE_FISH, more.lines, more.verdict, losses, before_ms, history.now)
        suspects.append(replace(risen, words=more.words))
    suspects += _left_out(lines, earlier, losses, before_ms, history.now)
    return sorted(suspects, key=lambda one: (-one.score, -one.last.at_ms, one.aspect)), ordinary


def _grouped(lines: Sequence[Told], *, singly: bool) -> Mapping[tuple[str, str], list[Told]]:
    found: dict[tuple[str, str], list[Told]] = defaultdict(list)
    for one in lines:
        aspect = aspect_of(one)
        if aspect is not None:
            found[aspect, one.path + one.about if singly and one.kind in SINGLY else _thing(one)].append(one)
    return found


def _thing(one: Told) -> str:
    """What lines of one aspect are gathered by."""
    return "" if one.kind in ("entered", "cleaning", "visit") else one.about


def _suspect(
    aspect: str,
    these: Sequence[Told],
    verdict: Verdict,
    losses: Sequence[Told],
    before_ms: int,
    now: int,
) -> Suspect:
    weight = WEIGHTS[aspect]
    rest = len(these) - len(verdict.lines) if verdict.lines else 0
    these = verdict.lines or these
    days, whose = _nearest(these, losses, before_ms)
    near = 1.0 if days <= weight.days else 0.5 ** ((days - weight.days) / weight.days)
    reasons = [_when(days, whose)]
    if verdict.words:
        reasons.append(verdict.words)
    if rest:
        reasons.append(f"{rest} more in these days {'is' if rest == 1 else 'are'} not out of the way")
    fits, cause = _fitting(weight.causes, losses)
    if cause is not None:
        reasons.append(f"goes with the cause recorded for the losses ({plain(cause)})")
    order = 1.0
    if losses:
        after = sum(one.at_ms > these[0].at_ms for one in losses)
        if not after:
            order = AFTER
            reasons.append("began only after the losses of these days")
        else:
            count = "all the" if after == len(losses) else f"{after} of the {len(losses)}"
            reasons.append(f"began before {count} losses entered in these days")
    return Suspect(
        aspect, these, _summed(aspect, these, now), reasons, weight.weight, verdict.factor, near, fits, order
    )


def _ended(one: Told, before_ms: int) -> int:
    """When a line was over. Of a trial's phase its beginning counts: that is when something was changed."""
    if one.kind == "trial":
        return one.at_ms
    return before_ms if one.open else min(one.to_ms or one.at_ms, before_ms)


def _nearest(these: Sequence[Told], losses: Sequence[Told], before_ms: int) -> tuple[float, bool]:
    """Days from the end of a line to the next trouble, the least of all; whether that is a loss of these days."""
    found = [
        (max(0.0, (trouble - _ended(one, trouble)) / DAY_MS), trouble != before_ms)
        for one in these
        for trouble in (before_ms, *(loss.at_ms for loss in losses))
        if trouble >= one.at_ms
    ]
    return min(found, default=(0.0, False))


def _when(days: float, loss: bool) -> str:
    trouble = "a loss was entered" if loss else "the time asked for"
    if days == 0:
        return f"it lasted to when {trouble}" if loss else f"it lasted to {trouble}"
    return f"{lasting(round(days * DAY_MS))} before {trouble}"


def _fitting(causes: Sequence[str], losses: Sequence[Told]) -> tuple[float, str | None]:
    told = [one.facts["cause"] for one in losses]
    cause = next((one for one in causes if one in told), None)
    return (1.0, None) if cause is None else (FITS, cause)


def _summed(aspect: str, these: Sequence[Told], now: int) -> str:
    """One line as it stands; several with how many, how long in all, and the last."""
    if len(these) == 1:
        return these[0].words
    if aspect == "entered into the record":
        return f"{len(these)} records were entered, the last: {these[-1].words}"
    total = sum(one.lasted_ms(now) for one in these)
    whole = f", {lasting(total)} in all" if total else ""
    return f"{len(these)} times{whole}; the last: {these[-1].words}"


def _left_out(
    lines: Sequence[Told], earlier: Sequence[Told], losses: Sequence[Told], before_ms: int, now: int
) -> list[Suspect]:
    """A water change that did not come when it usually does."""
    changes = [one for one in (*earlier, *lines) if one.kind == "water_change"]
    gap = gap_days(changes)
    if gap is None:
        return []
    last = max(changes, key=lambda one: one.at_ms)
    since = (before_ms - last.at_ms) / DAY_MS
    if since < OVERDUE * gap or since < gap + 2:
        return []
    missing = Told(
        last.at_ms + round(gap * DAY_MS),
        "water_change",
        last.place,
        f"No water was changed for {since:.3g} days; usually every {gap:.3g} days.",
        last.path,
        "water change",
    )
    verdict = Verdict(UNCOMMON, f"usually every {gap:.3g} days, by {len(changes)} changes")
    return [_suspect(LEFT_OUT, [missing], verdict, losses, before_ms, now)]
