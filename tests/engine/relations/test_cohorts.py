from collections import defaultdict
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.cohorts import (
    ARRIVAL,
    BIRTH,
    COUNT,
    DAY_MS,
    DEPARTURE,
    HERE,
    LOSS,
    MISSING,
    MOVE,
    OLD_AGE,
    WITHDRAWAL,
    Cohorts,
    Line,
    Stay,
    bin_of,
    ended,
    fish_days,
    fish_days_by_age,
    follow,
    lives,
)
from weirbook.engine.relations.survival import kaplan_meier

A, B, C = 1, 2, 3


def ledger(*told: tuple) -> list[Line]:
    """Lines from (day, kind, group, number, more)."""
    return [
        Line(id, round(day * DAY_MS), kind, group, number, **(more[0] if more else {}))
        for id, (day, kind, group, number, *more) in enumerate(told, start=1)
    ]


def brief(stays: list[Stay] | tuple[Stay, ...]) -> set[tuple]:
    return {
        (
            stay.batch.id,
            stay.group,
            stay.from_ms / DAY_MS,
            None if stay.to_ms is None else stay.to_ms / DAY_MS,
            round(stay.heads, 9),
            stay.end,
        )
        for stay in stays
    }


def test_a_batch_is_lost_moved_and_kept_with_its_age() -> None:
    found = follow(
        ledger(
            (0, ARRIVAL, A, 10, {"source": "north"}),
            (3, LOSS, A, 2, {"cause": "disease"}),
            (5, MOVE, A, 5, {"to_group": B}),
            (9, LOSS, B, 1),
            (12, DEPARTURE, A, 3),
        )
    )
    assert brief(found.stays) == {
        (1, A, 0, 3, 2, LOSS),
        (1, A, 0, 5, 5, MOVE),
        (1, B, 5, 9, 1, LOSS),
        (1, A, 0, 12, 3, DEPARTURE),
        (1, B, 5, None, 4, HERE),
    }
    assert found.counts[A] == [(0, 10), (3 * DAY_MS, 8), (5 * DAY_MS, 3), (12 * DAY_MS, 0)]
    assert found.heads_at(B, 8 * DAY_MS) == 5 and found.heads_at(B, 9 * DAY_MS) == 4
    assert found.heads_at(B, 0) == 0 and found.heads_at(C, 0) == 0
    assert len(ended(found.stays, [LOSS], 3 * DAY_MS, 9 * DAY_MS)) == 1
    lost = ended(found.stays, [LOSS], 0, 10 * DAY_MS)
    assert {(stay.cause, stay.line, stay.batch.source) for stay in lost} == {
        ("disease", 2, "north"),
        (None, 4, "north"),
    }


def test_a_loss_of_no_named_batch_is_shared_by_heads_and_a_named_one_is_not() -> None:
    two = ((0, ARRIVAL, A, 30), (10, ARRIVAL, A, 10))
    shared = follow(ledger(*two, (12, LOSS, A, 4)))
    assert (1, A, 0, 12, 3, LOSS) in brief(shared.stays) and (2, A, 10, 12, 1, LOSS) in brief(shared.stays)
    named = follow(ledger(*two, (12, LOSS, A, 4, {"batch": 2})))
    assert [(stay.batch.id, stay.heads) for stay in ended(named.stays, [LOSS], 0, 99 * DAY_MS)] == [(2, 4)]


def test_of_old_age_the_oldest_batches_die_first_and_only_those_of_one_instant_share() -> None:
    three = ((0, ARRIVAL, A, 3), (0, BIRTH, A, 1), (100, BIRTH, A, 40))

    def lost(number: int, **more: object) -> dict[object, float]:
        found = follow(ledger(*three, (120, LOSS, A, number, {"cause": OLD_AGE, **more})))
        return {stay.batch.id: stay.heads for stay in ended(found.stays, [LOSS], 0, 999 * DAY_MS)}

    assert lost(2) == {1: 1.5, 2: 0.5}
    assert lost(6) == {1: 3, 2: 1, 3: 2}
    assert lost(2, batch=3) == {3: 2}
    assert lost(2, cause="disease") == pytest.approx({1: 6 / 44, 2: 2 / 44, 3: 80 / 44})


def test_fish_that_came_before_those_of_a_tank_are_older_wherever_they_were() -> None:
    found = follow(
        ledger(
            (0, ARRIVAL, A, 4),
            (5, ARRIVAL, B, 4),
            (9, MOVE, A, 2, {"to_group": B}),
            (20, LOSS, B, 1, {"cause": OLD_AGE}),
        )
    )
    assert [(stay.batch.id, stay.heads) for stay in ended(found.stays, [LOSS], 0, 99 * DAY_MS)] == [(1, 1)]


def test_a_named_batch_that_was_thought_smaller_gives_all_and_the_others_the_rest() -> None:
    found = follow(
        ledger((0, ARRIVAL, A, 10), (1, ARRIVAL, A, 10), (2, LOSS, A, 2), (3, LOSS, A, 10, {"batch": 2}))
    )
    lost = [stay for stay in found.stays if stay.line == 4]
    assert {stay.batch.id: stay.heads for stay in lost} == pytest.approx({2: 9.0, 1: 1.0})


def test_a_loss_of_fish_that_came_by_a_move_is_taken_from_their_batches() -> None:
    found = follow(
        ledger(
            (0, ARRIVAL, A, 10),
            (1, ARRIVAL, B, 10),
            (2, BIRTH, A, 10),
            (3, MOVE, A, 4, {"to_group": B}),
            (9, LOSS, B, 2, {"batch": 4}),
            (10, MOVE, A, 3, {"to_group": B, "batch": 3}),
            (11, LOSS, B, 3, {"batch": 6}),
        )
    )
    assert {(stay.batch.id, stay.heads) for stay in found.stays if stay.line == 5} == {(1, 1), (3, 1)}
    assert {(stay.batch.id, stay.came_by, stay.heads) for stay in found.stays if stay.line == 7} == {
        (3, 6, 3)
    }


def test_a_count_of_fewer_makes_missing_and_one_of_more_makes_fish_of_unknown_age() -> None:
    found = follow(ledger((0, ARRIVAL, A, 10), (4, COUNT, A, 8), (6, COUNT, A, 11), (7, COUNT, A, 11)))
    assert found.adjustments == {2: -2, 3: 3, 4: 0}
    assert brief(found.stays) == {
        (1, A, 0, 4, 2, MISSING),
        (1, A, 0, None, 8, HERE),
        (3, A, 6, None, 3, HERE),
    }
    assert fish_days(found.stays, 0, 10 * DAY_MS) == 4 * 10 + 2 * 8 + 4 * 11
    assert fish_days_by_age(found.stays, [5], 0, 10 * DAY_MS) == [4 * 10 + 8, 5 * 8]
    assert sum(life.heads for life in lives(found.stays, 0, 10 * DAY_MS)) == 10


def test_what_is_taken_back_was_never_there_whichever_line_it_was() -> None:
    lines = ledger(
        (0, ARRIVAL, A, 10),
        (1, ARRIVAL, A, 90),
        (2, COUNT, A, 9),
        (3, WITHDRAWAL, A, 0, {"takes_back": 2}),
        (4, LOSS, A, 1),
        (5, WITHDRAWAL, A, 0, {"takes_back": 5}),
    )
    found = follow(lines)
    assert found.counts[A] == [(0, 10), (2 * DAY_MS, 9)]
    assert found.adjustments == {3: -1}


def test_missing_fish_end_a_life_only_where_they_are_taken_for_lost() -> None:
    found = follow(ledger((0, ARRIVAL, A, 10), (4, MISSING, A, 2), (6, LOSS, A, 4)))
    seen = kaplan_meier(lives(found.stays, 0, 20 * DAY_MS))
    assert seen.survival_at(10) == pytest.approx(0.5)
    thought = kaplan_meier(lives(found.stays, 0, 20 * DAY_MS, missing_is_lost=True))
    assert thought.survival_at(10) == pytest.approx(0.4)


def test_a_window_takes_those_who_were_there_before_it_from_their_age_on() -> None:
    found = follow(ledger((0, ARRIVAL, A, 10), (15, ARRIVAL, A, 5), (20, LOSS, A, 3, {"batch": 1})))
    some = {
        (life.entry, life.end, life.lost, life.heads) for life in lives(found.stays, 10 * DAY_MS, 20 * DAY_MS)
    }
    assert some == {(10, 20, False, 3), (10, 20, False, 7), (0, 5, False, 5)}
    later = lives(found.stays, 10 * DAY_MS, 20 * DAY_MS + 1)
    assert sum(life.heads for life in later if life.lost) == 3


def test_a_fish_lost_in_the_instant_it_was_moved_in_counts_in_its_new_group_and_in_both() -> None:
    found = follow(ledger((0, ARRIVAL, A, 10), (5, MOVE, A, 4, {"to_group": B}), (5, LOSS, B, 1)))
    of_b = kaplan_meier(lives([stay for stay in found.stays if stay.group == B], 0, 20 * DAY_MS))
    assert of_b.lost == 1 and of_b.steps[0].survival == pytest.approx(0.75)
    assert kaplan_meier(lives(found.stays, 0, 20 * DAY_MS)).survival_at(6) == pytest.approx(0.9)


def test_a_count_of_heads_has_one_step_an_instant() -> None:
    found = follow(ledger((0, ARRIVAL, A, 10), (0, LOSS, A, 1), (4, ARRIVAL, A, 2), (4, COUNT, A, 12)))
    assert found.counts[A] == [(0, 9), (4 * DAY_MS, 12)]


def test_an_edge_of_ages_opens_the_bin_after_it() -> None:
    assert [bin_of(age, (7, 30)) for age in (0, 6.9, 7, 29, 30, 400)] == [0, 0, 1, 1, 2, 2]


def test_more_than_there_was_is_told_and_never_counted_below_nothing() -> None:
    found = follow(ledger((0, ARRIVAL, A, 3), (1, MOVE, A, 5, {"to_group": B}), (2, LOSS, A, 1)))
    assert found.lacking == [(2, 2), (3, 1)]
    assert found.counts[A] == [(0, 3), (DAY_MS, 0), (2 * DAY_MS, 0)] and found.counts[B] == [(DAY_MS, 3)]


def test_lines_out_of_the_order_of_time_are_a_fault() -> None:
    with pytest.raises(ValueError, match="order"):
        follow(ledger((2, ARRIVAL, A, 3), (1, LOSS, A, 1)))
    with pytest.raises(ValueError, match="stolen"):
        follow(ledger((2, "stolen", A, 3)))


@st.composite
def ledgers(draw: st.DrawFn, one_batch: bool = False) -> list[Line]:
    """Any ledger whose lines take no more than there is, several lines an instant."""
    lines: list[Line] = []
    day = 0
    for id in range(1, draw(st.integers(1, 25)) + 1):
        day += draw(st.integers(0, 3))
        heads = naive_heads(lines)
        group = draw(st.sampled_from((A, B, C)))
        kinds = [] if one_batch and lines else [ARRIVAL] if one_batch else [ARRIVAL, BIRTH, COUNT]
        if heads[group]:
            kinds += [LOSS, LOSS, MISSING, DEPARTURE, MOVE, MOVE]
        if not kinds:
            continue
        kind = draw(st.sampled_from(kinds))
        most = 12 if kind in (ARRIVAL, BIRTH, COUNT) else heads[group]
        number = draw(st.integers(0 if kind == COUNT else 1, most))
        line = Line(id, day * DAY_MS, kind, group, number)
        if kind == MOVE:
            line = replace(line, to_group=draw(st.sampled_from(sorted({A, B, C} - {group}))))
        if kind in (LOSS, MOVE, DEPARTURE):
            line = replace(line, batch=draw(st.none() | st.integers(1, id)))
        if kind == LOSS:
            line = replace(line, cause=draw(st.sampled_from((None, OLD_AGE))))
        lines.append(line)
    return lines


def naive_heads(lines: list[Line]) -> dict[int, int]:
    """What a keeper reckons with a pencil."""
    heads: dict[int, int] = defaultdict(int)
    for line in lines:
        if line.kind == COUNT:
            heads[line.group] = line.number
        elif line.kind in (ARRIVAL, BIRTH):
            heads[line.group] += line.number
        else:
            heads[line.group] -= line.number
            if line.to_group is not None:
                heads[line.to_group] += line.number
    return heads


def inside(found: Cohorts, group: int, ms: int) -> float:
    return sum(
        stay.heads
        for stay in found.stays
        if stay.group == group and stay.from_ms <= ms and (stay.to_ms is None or ms < stay.to_ms)
    )


@given(ledgers())
def test_heads_are_those_of_a_naive_count_after_every_line_and_those_of_the_stays(lines: list[Line]) -> None:
    for index, line in enumerate(lines):
        last_of_instant = index + 1 == len(lines) or lines[index + 1].at_ms > line.at_ms
        found = follow(lines[: index + 1])
        assert not found.lacking
        for group, heads in naive_heads(lines[: index + 1]).items():
            assert found.heads_at(group, line.at_ms) == heads
            if last_of_instant:
                assert inside(found, group, line.at_ms) == pytest.approx(heads, abs=1e-6)


@given(ledgers())
def test_every_head_that_came_is_lost_gone_or_here_and_keeps_its_batch(lines: list[Line]) -> None:
    found = follow(lines)
    came: dict[int, float] = defaultdict(float)
    for line in lines:
        more = found.adjustments.get(line.id, 0) if line.kind == COUNT else line.number
        if line.kind in (ARRIVAL, BIRTH, COUNT) and more > 0:
            came[line.id] += more
    ended_or_here: dict[int, float] = defaultdict(float)
    for stay in found.stays:
        assert stay.from_ms >= stay.batch.at_ms and (stay.to_ms is None or stay.to_ms >= stay.from_ms)
        if stay.end != MOVE:
            ended_or_here[stay.batch.id] += stay.heads
    assert dict(ended_or_here) == pytest.approx(dict(came), abs=1e-6)
    taken = {line.id: line.number for line in lines if line.kind in (LOSS, MISSING, DEPARTURE, MOVE)}
    of_lines: dict[int, float] = defaultdict(float)
    for stay in found.stays:
        if stay.line in taken:
            of_lines[stay.line] += stay.heads
    assert dict(of_lines) == pytest.approx(taken, abs=1e-6)


@given(
    ledgers(), st.integers(-3, 40), st.integers(0, 40), st.lists(st.integers(0, 40), max_size=3, unique=True)
)
def test_fish_days_are_the_area_under_the_counts_and_add_up_over_ages(
    lines: list[Line], start: int, length: int, edges: list[int]
) -> None:
    from_ms, to_ms = start * DAY_MS, (start + length) * DAY_MS
    found = follow(lines)
    area = 0.0
    for steps in found.counts.values():
        for index, (at_ms, heads) in enumerate(steps):
            until = steps[index + 1][0] if index + 1 < len(steps) else to_ms
            area += heads * max(0, min(until, to_ms) - max(at_ms, from_ms)) / DAY_MS
    assert fish_days(found.stays, from_ms, to_ms) == pytest.approx(area, abs=1e-6)
    known = [stay for stay in found.stays if stay.batch.age_known]
    by_age = fish_days_by_age(found.stays, sorted(edges), from_ms, to_ms)
    assert sum(by_age) == pytest.approx(fish_days(known, from_ms, to_ms), abs=1e-6)
    each = lives(found.stays, from_ms, to_ms) if length else []
    assert sum(life.heads * (life.end - life.entry) for life in each) == pytest.approx(sum(by_age), abs=1e-6)


@given(ledgers(one_batch=True))
def test_moves_between_groups_leave_the_survival_of_a_batch_as_it_was_in_one(lines: list[Line]) -> None:
    at_home = [replace(line, group=A, batch=None) for line in lines if line.kind != MOVE]
    parted, whole = (kaplan_meier(lives(follow(some).stays, 0, 200 * DAY_MS)) for some in (lines, at_home))
    assert parted.lost == pytest.approx(whole.lost)
    for step in whole.steps:
        assert parted.survival_at(step.age) == pytest.approx(whole.survival_at(step.age))
