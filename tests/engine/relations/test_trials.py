"""What a trial shows: verdicts worked by hand, simulated rooms, and the words a keeper reads."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from series_scenes import SETTLE, rooms

from weirbook.engine.relations.differences import Difference, Stretch
from weirbook.engine.relations.persistence import Mixture
from weirbook.engine.relations.trends import trend
from weirbook.engine.relations.trial_words import (
    TrialWords,
    at_most,
    either,
    outwards,
    plain,
    times_likelier,
    trend_words,
    two,
)
from weirbook.engine.relations.trials import Meanwhile, Outcome, Phase, Trial, judged

LENGTH = 28


def trial(
    *shifts: float, seed: int = 6, rho: float = 0.3, spread: float = 2.0, slope: float = 0.0, **said: object
) -> Trial:
    """Phases of four weeks about 40 % cover, each moved by its shift; settings A, B, C… unless told."""
    settings = said.pop("settings", "ABCDEF")
    length = int(said.pop("length", LENGTH))  # type: ignore[call-overload]
    (room,) = rooms(seed, 1, length * len(shifts), rho)
    phases = []
    for which, shift in enumerate(shifts):
        begins = which * length
        days = tuple(range(begins + SETTLE, begins + length))
        values = tuple(40 + spread * room[day] + shift + slope * day for day in days)
        phases.append(Phase(settings[which], begins, Stretch(days, values)))  # type: ignore[index]
    return Trial(Outcome("algae cover", "%", tuple(phases), **said))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (-9, -2, "lower"),
        (2, 9, "higher"),
        (-1, 1, "flat"),
        (-0.9, -0.1, "flat"),  # told from nought, and too little to matter
        (-1.1, 0.5, "unclear"),
        (-0.5, 1.1, "unclear"),
        (-5, 5, "unclear"),
    ],
)
def test_an_interval_is_judged_by_what_it_leaves_out(low: float, high: float, verdict: str) -> None:
    assert judged(Difference((low + high) / 2, low, high), 1.0) == verdict
    assert judged(None, 1.0) == "unknown"


def test_a_phase_in_figures() -> None:
    days = (0, 1, 2, 4, 5)
    phase = Phase("A", 0, Stretch(days, (4.0, 6, 5, 9, 6)))
    (summary,) = Trial(Outcome("flow", "L/h", (phase,))).summaries
    assert (summary.n, summary.mean, summary.median) == (5, 6, 6)
    assert summary.spread == pytest.approx(3.5**0.5)
    assert (summary.lowest, summary.highest) == (4, 9)
    assert summary.worth is not None and 1 < summary.worth <= 5
    assert summary.trend is not None and summary.trend.test.n == 5
    (empty,) = Trial(Outcome("flow", "L/h", (Phase("A", 0, Stretch((), ())),))).summaries
    assert empty.n == 0 and empty.mean is None and empty.trend is None


def test_a_clear_effect_is_read_as_a_step_with_its_interval() -> None:
    found = trial(0, -8)
    (change,) = found.changes
    assert change.verdict == "lower" and change.alone
    assert change.difference is not None and change.difference.low <= -8 <= change.difference.high
    words = TrialWords(found).reading()
    assert words.startswith("Algae cover under 'B' beside 'A': lower by ")
    assert (
        " points (90 % interval); a step somewhere between day 27 and day 31 (the settle time and gaps are not counted) fits "
        in words
    )
    assert "better than a steady trend; beside it no trend is seen (falling by up to " in words


def test_what_fell_all_along_is_no_sign_of_the_setting() -> None:
    found = trial(0, 0, slope=-0.12, rho=0.0, seed=4)
    (change,) = found.changes
    assert change.verdict == "lower" and change.shape is not None and change.shape.shape == "trend"
    assert not change.alone
    assert "better than a step, so it can't be laid to the setting." in TrialWords(found).reading()
    assert found.whole is not None and found.whole.direction == -1
    assert found.whole.sen.low <= -0.12 <= found.whole.sen.high


def test_a_steep_trend_is_said_before_the_difference_that_it_hides() -> None:
    """Within phases a trend looks like wandering, so that the difference alone is not clear."""
    found = trial(0, 0, slope=-0.3)
    assert found.changes[0].verdict == "unclear"
    words = TrialWords(found).reading()
    assert words.startswith(
        "Algae cover under 'B' beside 'A': a steady trend that runs through the change fits "
    )
    assert "better than a step; between the phases lower by up to " in words


def test_flat_is_said_where_the_interval_lies_within_what_matters() -> None:
    words = TrialWords(trial(0, 0, margin=4.0)).reading()
    assert "flat, changed by at most " in words and "within the 4.0 points that would matter." in words
    narrow = trial(0, 0, margin=0.2)
    assert narrow.changes[0].verdict == "unclear"
    assert "no difference found, but lower by up to " in TrialWords(narrow).reading()
    assert "can't be excluded (90 % interval)." in TrialWords(narrow).reading()


def test_the_margin_is_as_told_else_half_the_first_spread_else_the_resolution() -> None:
    assert trial(0, 0, margin=1.5).margin == (1.5, "given")
    usual = trial(0, 0)
    spread = usual.summaries[0].spread
    assert spread is not None
    assert usual.margin == (pytest.approx(spread / 2), "common practice")
    assert trial(0, 0, resolution=5.0).margin == (5.0, "resolution")
    for one, words in ((usual, "common practice, no source"), (trial(0, 0, margin=1.5), "as told")):
        assert words in TrialWords(one).limits()[-1]


def test_what_happened_in_the_same_week_is_named_and_what_did_later_is_not() -> None:
    near, far = Meanwhile(LENGTH + 6, "feeding changed"), Meanwhile(LENGTH + SETTLE + 8, "moss trimmed")
    before = Meanwhile(LENGTH - 6, "feeding changed")
    found = trial(0, -8, meanwhile=(before, near, far))
    (change,) = found.changes
    assert change.meanwhile == (before, near) and not change.alone
    assert (
        "; in the same week: feeding changed, so the two can't be told apart." in TrialWords(found).reading()
    )
    several = trial(0, -8, meanwhile=(near, Meanwhile(LENGTH, "12 fish came")))
    assert "feeding changed and 12 fish came, so these can't be told apart" in TrialWords(several).reading()
    assert "are not counted) fits far better than" in TrialWords(trial(0, -16)).reading()
    flat = trial(0, 0, margin=4.0, meanwhile=(near,))
    assert "feeding changed, which may have hidden a difference" in TrialWords(flat).reading()


@pytest.mark.parametrize(
    ("day", "named"), [(19, False), (20, True), (27, True), (36, True), (41, True), (50, True), (51, False)]
)
def test_what_happened_while_no_day_counts_can_not_be_told_apart_from_the_change(
    day: int, named: bool
) -> None:
    """Day 27 is the last that counts before the change and 43 the first after it: 15 days to settle, a week either side."""
    whole = trial(0, -24)
    first, second = whole.phases
    late = Phase("B", LENGTH, Stretch(tuple(range(43, 56)), second.stretch.values[-13:]))
    other = Meanwhile(day, "the lid swapped")
    found = Trial(Outcome("algae cover", "%", (first, late), meanwhile=(other,), day_words="{}. May".format))
    (change,) = found.changes
    assert change.meanwhile == ((other,) if named else ()) and change.alone is not named
    words = TrialWords(found).comparison(change)
    assert (
        "a step somewhere between 27. May and 43. May (the settle time and gaps are not counted) fits"
        in words
    )
    when = (
        "in the same week" if abs(day - LENGTH) < 7 else "between the days compared or within a week of them"
    )
    assert (f"{when}: the lid swapped, so the two can't be told apart." in words) is named


def test_a_step_between_neighbouring_days_is_one_at_the_change() -> None:
    whole = trial(0, -8)
    first, second = whole.phases
    days = tuple(range(LENGTH, LENGTH + second.stretch.n))
    found = Trial(
        Outcome("algae cover", "%", (first, Phase("B", LENGTH, Stretch(days, second.stretch.values))))
    )
    assert "; a step at the change fits " in TrialWords(found).reading()


def test_a_day_without_readings_before_a_change_is_a_gap_too() -> None:
    first, second = trial(0, -8).phases
    cut = Phase("A", 0, Stretch(first.stretch.days[:-12], first.stretch.values[:-12]))
    other = Meanwhile(9, "the lid swapped")
    for before, named in ((first, False), (cut, True)):
        (change,) = Trial(Outcome("it", "%", (before, second), meanwhile=(other,))).changes
        assert bool(change.meanwhile) is named


def test_what_changed_within_one_phase_only_is_named_at_most_three_and_the_rest_counted() -> None:
    inside = [Meanwhile(LENGTH + 11 + count, f"{count}", 1, f"Lamp {count} (day)") for count in range(5)]
    week = Meanwhile(LENGTH + 1, "fish that came", 1, "9 came (day)")
    first = Meanwhile(8, "a plant lost", 0)
    found = trial(0, -8, 3, meanwhile=(first, week, *inside))
    words = TrialWords(found)
    assert words.comparison(found.changes[0]).endswith(
        "in the same week: fish that came, so the two can't be told apart; also during 'A' only: a plant lost;"
        " also during 'B' only: Lamp 0 (day), Lamp 1 (day), Lamp 2 (day) and 2 more."
    )
    # Beside the first phase nothing is the change's own week: all that happened within either is said.
    assert words.comparison(found.against_first[0]).endswith("; also during 'A' only: a plant lost.")
    quiet = trial(0, -8, meanwhile=(inside[0],))
    assert quiet.changes[0].alone and "told apart" not in TrialWords(quiet).comparison(quiet.changes[0])
    back = trial(0, -8, 0, settings="ABA", meanwhile=(first,))
    assert "also during 'A' (phase 1) only: a plant lost." in TrialWords(back).reading()
    short = trial(0, -8, length=SETTLE + 4, meanwhile=(inside[0],))
    assert "also during" not in TrialWords(short).reading()


def test_without_days_that_scatter_it_is_unknown_what_would_be_flat() -> None:
    one = Phase("A", 0, Stretch((3,), (9.0,)))
    for phases in (
        (one,),
        (Phase("A", 0, Stretch(tuple(range(14)), (3.0,) * 14)),),
        (Phase("A", 0, Stretch((1, 2), (3.0, 5.0))), one),
    ):
        found = Trial(Outcome("cover", "%", phases))
        assert found.margin[1] == "unknown"
        limit = TrialWords(found).limits()[-1]
        assert limit.startswith("Unknown what would count as flat") and "say `matters`" in limit
    assert Trial(Outcome("cover", "%", (one,), margin=2.0)).margin == (2.0, "given")
    assert "within 3e-08 points" in TrialWords(Trial(Outcome("cover", "%", (one,), margin=3e-8))).limits()[-1]


def test_the_lowest_and_highest_settings_are_named_only_where_intervals_allow_it() -> None:
    clear = trial(0, -12, 9)
    assert (clear.extreme("lowest").setting, clear.extreme("lowest").why) == ("B", "told")
    assert clear.extreme("highest").setting == "C"
    assert TrialWords(clear).reading().endswith("it was lowest under 'B' and highest under 'C'.")
    close = trial(0, -12, -12)
    assert (close.extreme("lowest").setting, close.extreme("lowest").why) == (None, "too close")
    assert "Of the settings tried it was highest under 'A'" in TrialWords(close).reading()
    assert "the intervals overlap too much" in TrialWords(trial(0, 0, 0)).reading()
    mixed = trial(0, -12, 9, meanwhile=(Meanwhile(LENGTH, "feeding changed"),))
    assert mixed.extreme("lowest").why == "not alone"
    assert TrialWords(mixed).reading().endswith("holds here too.")
    assert trial(0, -12, settings="AA").extreme("lowest").why == "one setting"
    assert "Of the settings" not in TrialWords(trial(0, -12)).reading()  # of two the difference says it


@pytest.mark.parametrize(
    ("shifts", "confidence"), [((0, -8), 0.9), ((0, -8, 5), 0.95), ((0, -8, 5, 9, 1), 0.975)]
)
def test_more_settings_ask_for_wider_intervals(
    shifts: tuple[float, ...], confidence: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A tenth of doubt in all, shared by the comparisons with each other setting (Bonferroni)."""
    asked: list[float] = []

    def interval(_mixture: Mixture, at: float) -> tuple[float, float]:
        asked.append(at)
        return 1.0, 2.0

    found = trial(*shifts)
    monkeypatch.setattr(Mixture, "interval", interval)
    found.__dict__["changes"] = []
    assert found.extreme("lowest").setting == "B"
    assert asked == pytest.approx([confidence] * (len(shifts) - 1))


def test_going_back_speaks_for_or_against_the_setting() -> None:
    back = trial(0, -8, 0, settings="ABA")
    words = TrialWords(back).reading()
    assert "Back under 'A' it moved the other way again, which speaks for the setting" in words
    assert back.extreme("lowest").setting == "B"
    stayed = trial(0, -8, -8, settings="ABA")
    assert "did not move back as far as can be seen, which speaks against" in TrialWords(stayed).reading()
    assert not any("Going back" in limit for limit in TrialWords(back).limits())
    assert any("Going back" in limit for limit in TrialWords(trial(0, -8)).limits())
    assert [one.second for one in back.against_first] == [2]
    assert "beside 'A' (phases 1 and 3)" in words


def test_too_few_days_are_said_to_be_too_few() -> None:
    short = trial(0, -8, length=SETTLE + 4)
    words = TrialWords(short).reading()
    assert short.changes[0].verdict == "unknown"
    assert "unknown, because 4 and 4 days have a value and 5 are needed in each phase" in words
    three = trial(0, -8, 2, length=SETTLE + 4)
    assert "some phases have too few days" in TrialWords(three).reading()
    assert TrialWords(short).trend(short.summaries[0].trend).startswith("unknown, because fewer than 5 days")
    one = Trial(Outcome("algae cover", "%", short.phases[:1]))
    assert TrialWords(one).reading() == "Algae cover: one phase so far, so nothing can be compared."
    few = TrialWords(trial(0, -8, length=12))
    assert any(limit.startswith("Few days with a value: 'A' 9 and 'B' 9;") for limit in few.limits())


def test_strong_persistence_is_among_the_limits() -> None:
    tied = TrialWords(trial(0, 0, rho=0.9, seed=3))
    assert any("Each day keeps much of the day before" in limit for limit in tied.limits())
    loose = TrialWords(trial(0, 0, rho=0.0, seed=3))
    assert not any("Each day keeps" in limit for limit in loose.limits())


def test_a_few_days_that_keep_little_are_not_said_to_keep_much() -> None:
    few = TrialWords(trial(0, 0, rho=0.0, seed=3, length=SETTLE + 5))
    (limit,) = [one for one in few.limits() if "the day before" in one]
    assert few.trial.persistence < 0.5
    worth = [one.worth for one in few.trial.summaries]
    assert limit.startswith("Days may keep something of the day before (about ")
    assert f"the 5 days of 'A' are worth about {worth[0]:.0f}" in limit
    days = tuple(range(0, 35, 7))
    weekly = [
        Phase(name, at, Stretch(tuple(at + day for day in days), (40.0, 43, 39, 44, 41)))
        for at, name in ((0, "A"), (35, "B"))
    ]
    told = TrialWords(Trial(Outcome("cover", "%", tuple(weekly))))
    assert min(one.worth or 0 for one in told.trial.summaries) > 4.5
    assert not any("the day before" in one for one in told.limits())


def test_no_words_hold_a_bare_chance() -> None:
    for one in (trial(0, -8), trial(0, 0), trial(0, 0, slope=-0.3), trial(0, -4, -9)):
        words = TrialWords(one)
        told = " ".join(
            [words.reading(), *words.limits(), *(words.trend(each.trend) for each in one.summaries)]
        )
        assert (
            "p =" not in told
            and "p <" not in told
            and "signific" not in told
            and "caused it" not in (words.reading())
        )


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (2.2, 9.1, ("2", "9")),
        (0.21, 0.93, ("0.2", "0.9")),
        (0.04, 9.1, ("0.04", "9.10")),
        (120.0, 870.0, ("100", "900")),
        (3.0, 3.0, ("3.0", "3.0")),
        (0.9999996, 1.0000004, ("1.000", "1.000")),
        (2e-8, 9e-8, ("2e-08", "9e-08")),
        (2.1e29, 9.3e29, ("2.1e+29", "9.3e+29")),
    ],
)
def test_ends_of_an_interval_are_rounded_by_its_width(
    low: float, high: float, words: tuple[str, str]
) -> None:
    assert two(low, high) == words


def test_reaches_either_side_are_rounded_alike() -> None:
    ways = ("lower", "higher")
    assert either(2.6, 0.31, ways, "mg/L") == "lower by up to 2.6 mg/L or higher by up to 0.4 mg/L"
    # An end that rounds to nought says nothing beside the other.
    assert either(2.6, 0.03, ways, "mg/L") == "lower by up to 2.6 mg/L"
    assert either(0.0, 1.1, ways, "points") == "higher by up to 1.1 points"
    assert either(2e-9, 3e-9, ways, "") == "lower by up to 2e-09 or higher by up to 3e-09"
    assert plain(-0.04, 1) == "0"


def test_above_a_hundred_times_likelier_is_far_better() -> None:
    assert [times_likelier(odds) for odds in (12.4, 99.6, 100.4, 906.0)] == [
        "12 times",
        "100 times",
        "far",
        "far",
    ]


@pytest.mark.parametrize(
    ("reach", "digits", "shown"),
    [
        (0.532, 1, "0.6"),
        (0.5, 1, "0.5"),
        (0.7, 1, "0.7"),
        (1.08, 1, "1.1"),
        (123.0, -1, "130"),
        (2.111e8, 0, "2.12e+08"),
    ],
)
def test_what_is_the_most_is_rounded_up(reach: float, digits: int, shown: str) -> None:
    assert outwards(reach, digits) == shown


@pytest.mark.parametrize(
    ("reach", "margin", "shown"),
    [
        (0.532, 4.0, ("0.6", "4.0")),
        (0.532, 0.54, ("0.54", "0.54")),
        (0.532, 0.5321, ("0.532", "0.532")),
        (0.5, 0.5, ("0.5", "0.5")),
        (3e-9, 4e-9, ("3e-09", "4e-09")),
        (2.111e30, 2.112e30, ("2.11e+30", "2.11e+30")),
    ],
)
def test_a_flat_reach_never_reads_as_more_than_the_margin(
    reach: float, margin: float, shown: tuple[str, str]
) -> None:
    assert at_most(reach, margin) == shown


@given(st.floats(1e-12, 1e12), st.floats(1, 3))
def test_a_reach_within_the_margin_reads_so(reach: float, times: float) -> None:
    shown, within = at_most(reach, reach * times)
    assert float(shown) <= float(within)
    assert float(shown) >= reach * 0.994


def test_a_trend_in_words_goes_by_the_week() -> None:
    rising = trend(range(20), [0.5 * day for day in range(20)])
    assert trend_words(rising, "mg/L") == "rising by 3.5 to 3.5 mg/L a week (90 % interval)"
    level = trend(range(20), [1.0] * 20)
    assert trend_words(level, "") == "no trend found: level, as far as the readings show"
    either = trend(range(8), [1.0, 2, 1, 2, 2, 1, 2, 1])
    assert trend_words(either, "mg/L").startswith("no trend found, but falling by up to ")


@pytest.mark.parametrize(
    ("unit", "shown"), [("%", "points"), ("degC", "K"), ("pH", ""), ("mg/L NO3", "mg/L NO3")]
)
def test_differences_have_units_of_their_own(unit: str, shown: str) -> None:
    phases = trial(0, -8).phases
    assert TrialWords(Trial(Outcome("it", unit, phases))).unit == shown


@pytest.mark.parametrize(
    ("before", "after", "verdict", "words"),
    [
        ([3.0] * 14, [3.0] * 14, "flat", "flat, the same in both as far as the readings show"),
        ([0.0] * 14, [0.0] * 14, "flat", "flat, the same in both as far as the readings show"),
        ([3.0] * 14, [4.0] * 14, "higher", "higher by 0.3 to 1.7 mg/L (90 % interval, no narrower than the step"),
        ([1e9 + one for one in range(14)], [1e9 + 30 + one for one in range(14)], "higher", "higher by "),
        ([1e-10 * one for one in range(14)], [1e-10 * (50 + one) for one in range(14)], "higher", "higher by "),
        ([1e30 * (one % 3) for one in range(14)], [-1e30 * (one % 5) for one in range(14)], "lower", "lower by "),
    ],
)  # fmt: skip
def test_odd_series_are_read_without_stumbling(
    before: list[float], after: list[float], verdict: str, words: str
) -> None:
    phases = (
        Phase("A", 0, Stretch(tuple(range(14)), tuple(before))),
        Phase("B", 17, Stretch(tuple(range(17, 31)), tuple(after))),
    )
    found = Trial(Outcome("it", "mg/L", phases))
    assert found.changes[0].verdict == verdict
    assert words in TrialWords(found).reading()


def lowest_named(seed: int, count: int, shift: float) -> float:
    found = [trial(0, shift, 0, seed=seed + which).extreme("lowest") for which in range(count)]
    return sum(one.setting is not None for one in found) / count


def test_in_a_few_rooms_a_lowest_setting_is_seldom_invented() -> None:
    assert lowest_named(100, 8, 0.0) <= 0.25
    assert lowest_named(100, 4, -8.0) == 1


@pytest.mark.slow
def test_a_lowest_setting_is_invented_in_a_tenth_of_rooms_at_most() -> None:
    assert lowest_named(1000, 200, 0.0) <= 0.1
    assert lowest_named(2000, 100, -8.0) >= 0.95
