"""Many who tick, repeat, undo and edit at once: one completion counts, and nothing is lost."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines

NAMES = [f"2026-11-{day:02}T10:00" for day in range(10, 16)]
ID = "01936c5e-8f00-7000-8000-00000000c001"


@pytest.fixture
def task(furnished: Caller) -> str:
    assert furnished.patch("/v1/room", {"time_zone": "UTC"}).status_code == 200
    rule = {"kind": "calendar", "rule": "FREQ=DAILY;COUNT=6", "start": NAMES[0]}
    body = {"title": "Look", "schedule": rule, "effective_at": "2026-11-01T00:00:00Z"}
    return f"/v1/tasks/{furnished.post('/v1/tasks', body).get_json()['id']}"


def together(calls: Sequence[Callable[[], Any]]) -> list[Any]:
    """What each was answered, all begun at once; who is told that the record is busy tries again."""
    start, answers = threading.Barrier(len(calls)), [None] * len(calls)

    def run(number: int) -> None:
        start.wait()
        answers[number] = calls[number]()
        while answers[number].status_code == 503:
            answers[number] = calls[number]()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(len(calls))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


def open_names(keeper: Caller) -> list[str]:
    return [one["occurrence"] for one in keeper.get("/v1/tasks/due").get_json()["items"]]


@on_both_engines
def test_of_five_keys_that_tick_each_of_six_times_one_wins_each(
    furnished: Caller, caller: MakeCaller, task: str
) -> None:
    helpers = [caller("helper", name=f"Phone {number}") for number in range(5)]
    for name in NAMES:
        told = {"occurrence": name}
        answers = together(
            [lambda one=one, told=told: one.post(f"{task}/completions", told) for one in helpers]
        )
        assert sorted(one.status_code for one in answers) == [201, 409, 409, 409, 409]
        won = next(one.get_json() for one in answers if one.status_code == 201)
        for lost in answers:
            if lost.status_code == 409:
                assert lost.get_json()["type"] == "urn:weirbook:problem:already-completed"
                assert lost.get_json()["completion"] == won
    assert len(furnished.get(f"{task}/completions").get_json()["items"]) == len(NAMES)
    assert open_names(furnished) == []


@on_both_engines
def test_the_same_tick_sent_by_several_at_once_is_one(furnished: Caller, task: str) -> None:
    told = {"id": ID, "occurrence": NAMES[2]}
    answers = together([lambda: furnished.post(f"{task}/completions", told)] * 4)
    assert sorted(one.status_code for one in answers) == [200, 200, 200, 201]
    assert {one.get_json()["id"] for one in answers} == {ID}
    assert open_names(furnished) == [name for name in NAMES if name != NAMES[2]]


@on_both_engines
def test_different_times_of_one_task_ticked_at_once_all_count(furnished: Caller, task: str) -> None:
    answers = together(
        [lambda name=name: furnished.post(f"{task}/completions", {"occurrence": name}) for name in NAMES[1:]]
    )
    assert [one.status_code for one in answers] == [201] * 5
    assert open_names(furnished) == NAMES[:1]


@on_both_engines
def test_undoing_one_while_another_is_ticked_leaves_the_list_right(furnished: Caller, task: str) -> None:
    for first, second in zip(NAMES[::2], NAMES[1::2], strict=True):
        made = furnished.post(f"{task}/completions", {"occurrence": first}).get_json()["id"]
        undone, done = together(
            [
                lambda made=made: furnished.delete(f"{task}/completions/{made}"),
                lambda second=second: furnished.post(f"{task}/completions", {"occurrence": second}),
            ]
        )
        assert (undone.status_code, done.status_code) == (204, 201)
    assert open_names(furnished) == NAMES[::2]


@on_both_engines
def test_a_rule_changed_while_it_is_ticked_loses_neither(furnished: Caller, task: str) -> None:
    weekly = {"kind": "calendar", "rule": "FREQ=WEEKLY", "start": "2030-01-01T10:00"}
    edited, done = together(
        [
            lambda: furnished.patch(task, {"schedule": weekly}),
            lambda: furnished.post(f"{task}/completions", {"occurrence": NAMES[0]}),
        ]
    )
    assert (edited.status_code, done.status_code) == (200, 201)
    assert open_names(furnished) == NAMES[1:]
