"""Done and skipped: told once whoever tells it and however often, with readings along, and undone in history."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines

NOW = datetime.now(UTC)
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
ID = "01936c5e-8f00-7000-8000-00000000b001"


def clock(ago: timedelta) -> str:
    return f"{NOW - ago:%Y-%m-%dT%H:%M}"


def instant(ago: timedelta) -> str:
    return f"{NOW - ago:%Y-%m-%dT%H:%M:00Z}"


@pytest.fixture
def keeper_in_utc(furnished: Caller) -> Caller:
    assert furnished.patch("/v1/room", {"time_zone": "UTC"}).status_code == 200
    furnished.post("/v1/helpers", {"name": "Ana"})
    furnished.post("/v1/helpers", {"name": "Bo"})
    return furnished


def task(keeper: Caller, schedule: dict[str, Any] | None = None, **said: Any) -> str:
    """A daily task that was first due four days ago."""
    schedule = schedule or {"kind": "calendar", "rule": "FREQ=DAILY", "start": clock(4 * DAY)}
    body = {"title": "Look round", "schedule": schedule, "effective_at": instant(9 * DAY), **said}
    made = keeper.post("/v1/tasks", body)
    assert made.status_code == 201, made.get_data(as_text=True)
    return f"/v1/tasks/{made.get_json()['id']}"


INTERVAL = {"kind": "interval", "every": "P3D", "start": clock(8 * DAY)}


def open_names(keeper: Caller) -> list[str]:
    return [one["occurrence"] for one in keeper.get("/v1/tasks/due").get_json()["items"]]


def pointer(answered: Any) -> str:
    assert answered.status_code == 422, answered.get_data(as_text=True)
    found: str = answered.get_json()["errors"][0]["pointer"]
    return found


@on_both_engines
def test_what_is_done_is_due_no_more_and_says_by_whom_and_when(
    keeper_in_utc: Caller, caller: MakeCaller
) -> None:
    path, helper = task(keeper_in_utc), caller("helper", name="Ana's phone")
    told = {"occurrence": clock(4 * DAY), "by": "ana", "note": "All well.", "done_at": instant(3 * DAY)}
    made = helper.post(f"{path}/completions", told)
    assert made.status_code == 201, made.get_data(as_text=True)
    found = made.get_json()
    assert {name: found[name] for name in told} == told
    assert (found["outcome"], found["due"], found["recorded_by"]) == ("done", instant(4 * DAY), "Ana's phone")
    assert (found["undone_at"], found["readings"]) == (None, [])
    assert open_names(keeper_in_utc) == [clock(days * DAY) for days in (3, 2, 1, 0)]
    assert keeper_in_utc.get(made.headers["Location"]).get_json() == found
    assert keeper_in_utc.get(f"{path}/completions").get_json()["items"] == [found]


@on_both_engines
def test_the_same_told_again_by_the_same_key_is_one_completion(
    keeper_in_utc: Caller, caller: MakeCaller
) -> None:
    path, helper = task(keeper_in_utc), caller("helper")
    told = {"occurrence": clock(DAY), "by": "ana"}
    first, again = (helper.post(f"{path}/completions", told) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.get_json() == first.get_json()
    assert again.headers["ETag"] == first.headers["ETag"]
    seconds = helper.post(f"{path}/completions", {**told, "occurrence": f"{clock(DAY)}:00"})
    assert seconds.status_code == 200


@on_both_engines
@pytest.mark.parametrize(
    "other", [{"by": "bo"}, {"outcome": "skipped"}, {"note": "Twice."}, {"done_at": instant(HOUR)}]
)
def test_the_same_occurrence_told_otherwise_is_refused_naming_the_first(
    keeper_in_utc: Caller, other: dict[str, Any]
) -> None:
    path = task(keeper_in_utc)
    told = {"occurrence": clock(DAY), "by": "ana", "done_at": instant(2 * HOUR)}
    first = keeper_in_utc.post(f"{path}/completions", told).get_json()
    refused = keeper_in_utc.post(f"{path}/completions", {**told, **other})
    assert refused.status_code == 409
    problem = refused.get_json()
    assert problem["type"] == "urn:weirbook:problem:already-completed"
    assert problem["completion"] == first
    assert problem["detail"].startswith(
        f"Ana did it already, on {clock(2 * HOUR)[:10]} at {clock(2 * HOUR)[11:]}"
    )


@on_both_engines
def test_of_two_who_tick_at_once_one_wins_and_the_other_is_told(
    keeper_in_utc: Caller, caller: MakeCaller
) -> None:
    ana, bo = caller("helper", name="Ana"), caller("helper", name="Bo")
    for _ in range(6):
        path, answers = task(keeper_in_utc, INTERVAL), []
        together = threading.Barrier(2)

        def tick(who: Caller, path: str = path, answers: list[Any] = answers, wait: Any = together) -> None:
            wait.wait()
            answers.append(who.post(f"{path}/completions", {"occurrence": "first"}))

        threads = [threading.Thread(target=tick, args=(who,)) for who in (ana, bo)]
        for one in threads:
            one.start()
        for one in threads:
            one.join()
        won, lost = sorted(answers, key=lambda one: one.status_code)
        assert (won.status_code, lost.status_code) == (201, 409)
        assert lost.get_json()["completion"] == won.get_json()
        assert won.get_json()["recorded_by"] in lost.get_json()["detail"]
        assert len(keeper_in_utc.get(f"{path}/completions").get_json()["items"]) == 1


@on_both_engines
def test_a_retry_that_comes_after_the_undoing_brings_nothing_back(keeper_in_utc: Caller) -> None:
    path = task(keeper_in_utc)
    told = {"id": ID, "occurrence": clock(DAY)}
    assert keeper_in_utc.post(f"{path}/completions", told).status_code == 201
    assert keeper_in_utc.delete(f"{path}/completions/{ID}").status_code == 204
    late = keeper_in_utc.post(f"{path}/completions", told)
    assert (late.status_code, late.get_json()["type"]) == (409, "urn:weirbook:problem:completion-undone")
    assert clock(DAY) in open_names(keeper_in_utc)
    assert keeper_in_utc.post(f"{path}/completions", {"occurrence": clock(DAY)}).status_code == 201


def test_an_id_is_not_taken_for_another_occurrence(keeper_in_utc: Caller) -> None:
    path = task(keeper_in_utc)
    keeper_in_utc.post(f"{path}/completions", {"id": ID, "occurrence": clock(DAY)})
    refused = keeper_in_utc.post(f"{path}/completions", {"id": ID, "occurrence": clock(2 * DAY)})
    assert (refused.status_code, refused.get_json()["type"]) == (409, "urn:weirbook:problem:id-taken")


def test_the_same_id_is_a_repeat_under_a_renewed_key(keeper_in_utc: Caller, caller: MakeCaller) -> None:
    path = task(keeper_in_utc)
    told = {"id": ID, "occurrence": clock(DAY)}
    old, new = caller("helper", name="Phone"), caller("helper", name="Phone again")
    assert [who.post(f"{path}/completions", told).status_code for who in (old, new)] == [201, 200]


@on_both_engines
def test_what_is_undone_is_due_again_and_stays_in_history(keeper_in_utc: Caller) -> None:
    path = task(keeper_in_utc)
    made = keeper_in_utc.post(f"{path}/completions", {"occurrence": clock(2 * DAY)}).get_json()
    one = f"{path}/completions/{made['id']}"
    assert keeper_in_utc("DELETE", one).status_code == 428
    assert keeper_in_utc.delete(one, if_match='"9"').status_code == 412
    assert keeper_in_utc.delete(one, if_match='"1"').status_code == 204
    assert keeper_in_utc.get(f"{path}/completions").get_json()["items"] == []
    (undone,) = keeper_in_utc.get(f"{path}/completions?undone=true").get_json()["items"]
    assert (undone["id"], undone["undone_by"], undone["version"]) == (made["id"], "keeper", 2)
    assert undone["undone_at"] is not None
    assert clock(2 * DAY) in open_names(keeper_in_utc)


def test_a_helper_undoes_what_its_own_key_told_alone(keeper_in_utc: Caller, caller: MakeCaller) -> None:
    path, ana, bo = task(keeper_in_utc), caller("helper", name="Ana"), caller("helper", name="Bo")
    made = ana.post(f"{path}/completions", {"occurrence": clock(DAY)}).get_json()["id"]
    refused = bo.delete(f"{path}/completions/{made}")
    assert refused.status_code == 403
    assert "'Ana' recorded this" in refused.get_json()["detail"]
    assert ana.delete(f"{path}/completions/{made}").status_code == 204


@on_both_engines
def test_work_by_interval_goes_on_from_each_completion_and_a_skip_restarts_the_count(
    keeper_in_utc: Caller,
) -> None:
    path = task(keeper_in_utc, INTERVAL)
    assert open_names(keeper_in_utc) == ["first"]
    first = keeper_in_utc.post(
        f"{path}/completions", {"occurrence": "first", "done_at": instant(7 * DAY)}
    ).get_json()
    (then,) = keeper_in_utc.get("/v1/tasks/due").get_json()["items"]
    assert (then["occurrence"], then["due"]) == (first["id"], instant(4 * DAY))
    skip = {"occurrence": first["id"], "outcome": "skipped", "done_at": instant(DAY)}
    second = keeper_in_utc.post(f"{path}/completions", skip).get_json()
    assert (second["due"], open_names(keeper_in_utc)) == (instant(4 * DAY), [])
    listed = keeper_in_utc.get(f"{path}/occurrences").get_json()["items"]
    assert [(one["occurrence"], one["state"]) for one in listed] == [
        ("first", "done"),
        (first["id"], "skipped"),
        (second["id"], "upcoming"),
    ]
    assert listed[2]["due"] == instant(-2 * DAY)


@on_both_engines
def test_of_work_by_interval_only_the_newest_is_undone(keeper_in_utc: Caller) -> None:
    path = task(keeper_in_utc, INTERVAL)
    first = keeper_in_utc.post(
        f"{path}/completions", {"occurrence": "first", "done_at": instant(7 * DAY)}
    ).get_json()["id"]
    second = keeper_in_utc.post(f"{path}/completions", {"occurrence": first}).get_json()["id"]
    refused = keeper_in_utc.delete(f"{path}/completions/{first}")
    assert (refused.status_code, refused.get_json()["type"]) == (409, "urn:weirbook:problem:not-the-newest")
    assert keeper_in_utc.delete(f"{path}/completions/{second}").status_code == 204
    assert open_names(keeper_in_utc) == [first]
    assert keeper_in_utc.delete(f"{path}/completions/{first}").status_code == 204
    assert open_names(keeper_in_utc) == ["first"]


@on_both_engines
def test_readings_come_along_in_the_same_transaction_and_stay_when_it_is_undone(
    keeper_in_utc: Caller, caller: MakeCaller
) -> None:
    path, helper = task(keeper_in_utc), caller("helper")
    told = {
        "occurrence": clock(DAY),
        "done_at": instant(HOUR),
        "readings": [
            {"place": "tanks/nursery", "parameter": "nitrate", "value": "<5"},
            {"place": "tanks/nursery", "parameter": "ph", "value": 7.2, "at": instant(2 * HOUR)},
        ],
    }
    made = helper.post(f"{path}/completions", told)
    assert made.get_json()["readings"] == [
        {"gauge": "nursery-nitrate-by-hand", "at": instant(HOUR)},
        {"gauge": "nursery-ph-by-hand", "at": instant(2 * HOUR)},
    ]
    assert helper.post(f"{path}/completions", told).status_code == 200
    assert helper.delete(f"{path}/completions/{made.get_json()['id']}").status_code == 204
    asked = f"/v1/readings?gauge=nursery-nitrate-by-hand&from={instant(DAY)}&to={instant(-DAY)}"
    kept = keeper_in_utc.get(asked).get_json()["items"]
    assert [(one["value"], one["qualifier"], one["at"]) for one in kept] == [(5, "below", instant(HOUR))]


@on_both_engines
@pytest.mark.parametrize(
    ("bad", "status", "where"),
    [
        ({"place": "tanks/nursery", "parameter": "ph", "value": 99}, 422, "/readings/1/value"),
        ({"place": "tanks/nursery", "parameter": "wetness", "value": 1}, 422, "/readings/1/parameter"),
        (
            {"place": "tanks/nursery", "parameter": "ph", "value": 7, "colour": "red"},
            422,
            "/readings/1",
        ),
        ({"gauge": "nursery-temperature", "value": 24}, 403, "/readings/1/gauge"),
        (
            {"place": "tanks/nursery", "parameter": "ph", "value": 7, "at": instant(-DAY)},
            422,
            "/readings/1/at",
        ),
        (
            {"place": "tanks/nursery", "parameter": "nitrate", "value": 3, "unit": "mg"},
            422,
            "/readings/1/unit",
        ),
        ("7.2", 422, "/readings/1"),
    ],
)
def test_one_bad_reading_keeps_all_of_it_out(
    keeper_in_utc: Caller, caller: MakeCaller, bad: Any, status: int, where: str
) -> None:
    path, helper = task(keeper_in_utc), caller("helper")
    good = {"place": "tanks/nursery", "parameter": "nitrate", "value": 4}
    refused = helper.post(f"{path}/completions", {"occurrence": clock(DAY), "readings": [good, bad]})
    assert refused.status_code == status, refused.get_data(as_text=True)
    assert refused.get_json()["errors"][0]["pointer"].startswith(where)
    assert keeper_in_utc.get(f"{path}/completions").get_json()["items"] == []
    assert [one["handle"] for one in keeper_in_utc.get("/v1/gauges").get_json()["items"]] == [
        "nursery-temperature"
    ]
    assert clock(DAY) in open_names(keeper_in_utc)


@pytest.mark.parametrize(
    ("told", "where", "words"),
    [
        ({"occurrence": "2026-11-25T99:00"}, "/occurrence", "is no occurrence"),
        ({"occurrence": f"{clock(DAY)[:-2]}99"}, "/occurrence", "is no occurrence"),
        ({"occurrence": clock(DAY + HOUR)}, "/occurrence", "Near it are: "),
        ({"occurrence": "first"}, "/occurrence", f"The one open is '{clock(4 * DAY)}'"),
        ({"occurrence": ID}, "/occurrence", "is no occurrence"),
        ({"occurrence": "2199-01-01T10:00"}, "/occurrence", "is no occurrence"),
        ({}, "/occurrence", "missing"),
        ({"occurrence": clock(DAY), "done_at": instant(-HOUR)}, "/done_at", "ahead of now"),
        ({"occurrence": clock(DAY), "done_at": "1999-01-01T00:00:00Z"}, "/done_at", "before 2000"),
        ({"occurrence": clock(DAY), "done_at": instant(3 * DAY)}, "/done_at", "may be done from"),
        ({"occurrence": clock(-3 * DAY)}, "/done_at", "may be done from"),
        ({"occurrence": clock(DAY), "by": "nobody"}, "/by", "There is no helper 'nobody'"),
        ({"occurrence": clock(DAY), "outcome": "half"}, "/outcome", "done, skipped"),
        ({"occurrence": clock(DAY), "id": "7"}, "/id", "UUID"),
        ({"occurrence": clock(DAY), "readings": {}}, "/readings", "list"),
        ({"occurrence": clock(DAY), "readings": [{}] * 201}, "/readings", "at most 200"),
        ({"occurrence": clock(DAY), "mood": "fine"}, "/mood", "no field"),
    ],
)
def test_what_can_not_be_is_refused_and_nothing_stored(
    keeper_in_utc: Caller, told: dict[str, Any], where: str, words: str
) -> None:
    path = task(keeper_in_utc)
    refused = keeper_in_utc.post(f"{path}/completions", told)
    assert pointer(refused) == where
    assert words in refused.get_json()["errors"][0]["message"]
    assert keeper_in_utc.get(f"{path}/completions").get_json()["items"] == []


def test_work_ahead_is_skipped_and_not_done_and_not_years_ahead(keeper_in_utc: Caller) -> None:
    path = task(keeper_in_utc)
    skip = {"occurrence": clock(-9 * DAY), "outcome": "skipped"}
    assert keeper_in_utc.post(f"{path}/completions", skip).status_code == 201
    far = {"occurrence": clock(-800 * DAY), "outcome": "skipped"}
    assert pointer(keeper_in_utc.post(f"{path}/completions", far)) == "/occurrence"


def test_an_interval_is_not_done_before_what_it_is_counted_from(keeper_in_utc: Caller) -> None:
    path = task(keeper_in_utc, INTERVAL, window={"early": "90 d"})
    first = keeper_in_utc.post(
        f"{path}/completions", {"occurrence": "first", "done_at": instant(7 * DAY)}
    ).get_json()["id"]
    early = {"occurrence": first, "done_at": instant(8 * DAY)}
    assert pointer(keeper_in_utc.post(f"{path}/completions", early)) == "/done_at"


def test_a_skip_told_late_does_not_end_an_interval(keeper_in_utc: Caller) -> None:
    """A skip before the completion that it follows would leave nothing to count on from."""
    path = task(keeper_in_utc, INTERVAL)
    first = keeper_in_utc.post(
        f"{path}/completions", {"occurrence": "first", "done_at": instant(7 * DAY)}
    ).get_json()["id"]
    late = {"occurrence": first, "outcome": "skipped", "done_at": instant(8 * DAY)}
    assert pointer(keeper_in_utc.post(f"{path}/completions", late)) == "/done_at"
    assert open_names(keeper_in_utc) == [first]


@on_both_engines
def test_what_was_done_early_is_open_again_when_undone_after_a_shorter_interval(
    keeper_in_utc: Caller,
) -> None:
    """By the new interval it was due sooner than when it was told: from the change on."""
    path = task(keeper_in_utc, {"kind": "interval", "every": "P7D", "start": clock(8 * DAY)})
    first, second = "first", None
    for ago in (7 * DAY - HOUR, timedelta(minutes=1)):
        told = {"occurrence": first, "done_at": instant(ago)}
        first, second = keeper_in_utc.post(f"{path}/completions", told).get_json()["id"], first
    shorter = {"kind": "interval", "every": "P3D", "start": clock(8 * DAY)}
    assert keeper_in_utc.patch(path, {"schedule": shorter}).status_code == 200
    assert keeper_in_utc.delete(f"{path}/completions/{first}").status_code == 204
    assert open_names(keeper_in_utc) == [second]


@pytest.mark.parametrize("role", ["viewer", "sensor"])
def test_who_only_looks_or_measures_ticks_nothing(
    keeper_in_utc: Caller, caller: MakeCaller, role: str
) -> None:
    path = task(keeper_in_utc)
    other = caller(role, gauges=["nursery-temperature"] if role == "sensor" else ())
    assert other.post(f"{path}/completions", {"occurrence": clock(DAY)}).status_code == 403


def test_a_completion_is_found_under_its_own_task_alone(keeper_in_utc: Caller) -> None:
    path, other = task(keeper_in_utc), task(keeper_in_utc)
    made = keeper_in_utc.post(f"{path}/completions", {"occurrence": clock(DAY)}).get_json()["id"]
    assert keeper_in_utc.get(f"{other}/completions/{made}").status_code == 404
    assert keeper_in_utc.get(f"/v1/tasks/{ID}/completions").status_code == 404
    assert keeper_in_utc.post(f"/v1/tasks/{ID}/completions", {"occurrence": "first"}).status_code == 404


@on_both_engines
def test_completions_are_paged_newest_first(keeper_in_utc: Caller) -> None:
    path = task(keeper_in_utc)
    for days in (4, 3, 2, 1):
        keeper_in_utc.post(f"{path}/completions", {"occurrence": clock(days * DAY)})
    page = keeper_in_utc.get(f"{path}/completions?limit=3").get_json()
    rest = keeper_in_utc.get(f"{path}/completions?limit=3&cursor={page['next']}").get_json()
    found = [one["occurrence"] for one in (*page["items"], *rest["items"])]
    assert found == [clock(days * DAY) for days in (1, 2, 3, 4)]
    assert rest["next"] is None


def test_a_retry_does_not_quarrel_with_a_reading_that_was_corrected_meanwhile(keeper_in_utc: Caller) -> None:
    path = task(keeper_in_utc)
    reading = {"place": "tanks/nursery", "parameter": "nitrate", "value": 40}
    told = {"occurrence": clock(DAY), "done_at": instant(HOUR), "readings": [reading]}
    assert keeper_in_utc.post(f"{path}/completions", told).status_code == 201
    right = {**reading, "value": 4, "at": instant(HOUR)}
    assert keeper_in_utc.post("/v1/readings?on_conflict=correct", right).status_code == 200
    assert keeper_in_utc.post(f"{path}/completions", told).status_code == 200
    more = {**told, "readings": [{**reading, "parameter": "ph", "value": 7}, {**reading, "value": 5}]}
    assert keeper_in_utc.post(f"{path}/completions", more).status_code == 409
