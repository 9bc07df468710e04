"""Quarantines: the clock, what sets it back, the checks, the release."""

from __future__ import annotations

from typing import Any

import pytest
from fish_scenes import DAY, entry, group, refused, species
from harness import Caller, MakeCaller, made, on_both_engines, pointers

PEN = {
    "name": "Pen",
    "system": "rill",
    "use": "quarantine",
    "footprint": {"shape": "rectangle", "length": "60 cm", "width": "30 cm"},
    "water_depth": "30 cm",
}


@pytest.fixture
def pen(furnished: Caller) -> Caller:
    species(furnished)
    made(furnished, "systems", {"name": "Pen water"})
    made(furnished, "tanks", {**PEN, "system": "pen-water"})
    return furnished


def begun(call: Caller, day: int = 1, **said: Any) -> dict[str, Any]:
    return made(call, "quarantines", {"tank": "pen", "started_at": DAY.format(day), **said})


def shown(call: Caller, one: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = call.get(f"/v1/quarantines/{one['id']}").get_json()
    return found


@on_both_engines
def test_newcomers_into_an_occupied_quarantine_begin_its_days_anew(pen: Caller) -> None:
    stay = begun(pen, planned_days=30)
    assert (stay["clock_from"], stay["ready_at"]) == (DAY.format(1), "2026-12-01T10:00:00Z")
    first, second = group(pen, "pen"), group(pen, "pen", origin="Elsewhere")
    came = entry(pen, "arrival", first, 6, 2)
    assert came["quarantine"] is None
    assert shown(pen, stay)["clock_from"] == DAY.format(2)
    assert shown(pen, stay)["restarts"] == []
    again = entry(pen, "arrival", second, 4, 9)
    assert again["quarantine"] == stay["id"]
    now = shown(pen, stay)
    assert (now["clock_from"], now["heads"], sorted(now["groups"])) == (
        DAY.format(9),
        10,
        sorted([first, second]),
    )
    assert [(one["at"], one["entry"]) for one in now["restarts"]] == [(DAY.format(9), again["id"])]
    assert "4 Banded barb" in now["restarts"][0]["reason"]


def test_a_quarantine_whose_water_other_fish_share_is_none_for_newcomers(pen: Caller) -> None:
    made(pen, "tanks", {**PEN, "name": "Side pen"})
    residents, newcomers, apart = group(pen), group(pen, "side-pen"), group(pen, "pen")
    entry(pen, "arrival", residents, 6)
    # The side pen hangs on the rill's water, where the residents live; the pen has its own.
    assert entry(pen, "arrival", newcomers, 4, 2)["straight_in"] is True
    assert entry(pen, "arrival", apart, 4, 2)["straight_in"] is False
    assert entry(pen, "arrival", apart, 2, 3)["straight_in"] is False


def test_a_reason_keeps_the_clock(pen: Caller) -> None:
    stay = begun(pen)
    shoal = group(pen, "pen")
    entry(pen, "arrival", shoal, 6, 2)
    entry(pen, "arrival", shoal, 1, 9, keeps_clock="Came in the same bag; was forgotten in the box.")
    assert (shown(pen, stay)["clock_from"], shown(pen, stay)["restarts"]) == (DAY.format(2), [])


def test_a_withdrawn_arrival_gives_the_days_back(pen: Caller) -> None:
    stay = begun(pen)
    shoal = group(pen, "pen")
    entry(pen, "arrival", shoal, 6, 2)
    wrong = entry(pen, "arrival", shoal, 6, 9)
    made(pen, "stock-entries", {"kind": "withdrawal", "withdraws": wrong["id"], "words": "Other tank."})
    assert (shown(pen, stay)["clock_from"], shown(pen, stay)["restarts"]) == (DAY.format(2), [])


def test_a_move_into_it_counts_as_newcomers_and_a_birth_does_not(pen: Caller) -> None:
    stay = begun(pen)
    inside, outside = group(pen, "pen"), group(pen)
    entry(pen, "arrival", inside, 6, 2)
    entry(pen, "arrival", outside, 6, 2)
    entry(pen, "birth", inside, 30, 4)
    assert shown(pen, stay)["clock_from"] == DAY.format(2)
    entry(pen, "move", outside, 1, 6, to_group=inside)
    assert shown(pen, stay)["clock_from"] == DAY.format(6)


def test_a_release_before_its_checks_is_refused_saying_what_is_open(pen: Caller) -> None:
    task = made(
        pen,
        "tasks",
        {
            "title": "Look at their skin",
            "schedule": {"kind": "once", "due": "2026-11-20T10:00"},
            "effective_at": DAY.format(1),
        },
    )
    stay = begun(pen, planned_days=10, checks=[task["id"]])
    shoal = group(pen, "pen")
    entry(pen, "arrival", shoal, 6, 2)
    entry(pen, "loss", shoal, 1, 8, cause="disease")
    early = pen.post(f"/v1/quarantines/{stay['id']}/release", {"at": DAY.format(11)})
    assert early.status_code == 409
    assert early.get_json()["type"].endswith("not-ready")
    said = " ".join(one["message"] for one in early.get_json()["errors"])
    assert "1 of its 10 days is left" in said
    assert "'Look at their skin'" in said
    assert "1 of its fish died" in said
    assert shown(pen, stay)["released_at"] is None
    reasoned = pen.post(
        f"/v1/quarantines/{stay['id']}/release", {"at": DAY.format(11), "reason": "The tank leaks."}
    )
    assert reasoned.status_code == 200
    told = reasoned.get_json()
    assert (told["released_at"], told["release_reason"], told["unmet"]) == (
        DAY.format(11),
        "The tank leaks.",
        [],
    )


@on_both_engines
def test_a_release_after_its_checks_needs_no_reason(pen: Caller) -> None:
    task = made(
        pen,
        "tasks",
        {
            "title": "Look",
            "schedule": {"kind": "once", "due": "2026-11-20T10:00"},
            "effective_at": DAY.format(1),
        },
    )
    stay = begun(pen, planned_days=10, checks=[task["id"]])
    entry(pen, "arrival", group(pen, "pen"), 6, 2)
    done = {"occurrence": "2026-11-20T10:00", "done_at": DAY.format(20)}
    assert pen.post(f"/v1/tasks/{task['id']}/completions", done).status_code == 201
    answered = pen.post(f"/v1/quarantines/{stay['id']}/release", {"at": DAY.format(22)})
    assert answered.status_code == 200, answered.get_data(as_text=True)
    assert pen.post(f"/v1/quarantines/{stay['id']}/release", {}).status_code == 409
    assert pen.post(f"/v1/quarantines/{stay['id']}/restart", {"reason": "x"}).status_code == 409


def test_a_check_done_before_the_clock_began_anew_does_not_count(pen: Caller) -> None:
    task = made(
        pen,
        "tasks",
        {
            "title": "Look",
            "schedule": {"kind": "once", "due": "2026-11-03T10:00"},
            "effective_at": DAY.format(1),
        },
    )
    stay = begun(pen, planned_days=5, checks=[task["id"]])
    shoal = group(pen, "pen")
    entry(pen, "arrival", shoal, 6, 2)
    done = {"occurrence": "2026-11-03T10:00", "done_at": DAY.format(3)}
    assert pen.post(f"/v1/tasks/{task['id']}/completions", done).status_code == 201
    entry(pen, "arrival", shoal, 6, 4)
    answered = pen.post(f"/v1/quarantines/{stay['id']}/release", {"at": DAY.format(20)})
    assert answered.status_code == 409
    assert "was not done since" in answered.get_json()["detail"]


def test_a_release_before_the_start_or_before_an_arrival_is_refused(pen: Caller) -> None:
    stay = begun(pen, 5)
    entry(pen, "arrival", group(pen, "pen"), 6, 9)
    for day in (4, 7):
        body = {"at": DAY.format(day), "reason": "x"}
        assert pointers(pen.post(f"/v1/quarantines/{stay['id']}/release", body)) == ["/at"]
    body = {"at": "2199-01-01T00:00:00Z", "reason": "x"}
    assert pointers(pen.post(f"/v1/quarantines/{stay['id']}/release", body)) == ["/at"]


def test_a_released_quarantine_keeps_the_fish_it_held(pen: Caller) -> None:
    stay = begun(pen, planned_days=1)
    first, outside = group(pen, "pen"), group(pen)
    entry(pen, "arrival", first, 6, 2)
    pen.post(f"/v1/quarantines/{stay['id']}/release", {"at": DAY.format(8)})
    entry(pen, "move", first, 6, 8, to_group=outside)
    later = group(pen, "pen", origin="Later")
    entry(pen, "arrival", later, 3, 12)
    assert (shown(pen, stay)["groups"], shown(pen, stay)["heads"]) == ([first], 6)
    overlapping = {"tank": "pen", "started_at": DAY.format(5)}
    answered = pen.post("/v1/quarantines", overlapping)
    assert answered.status_code == 409
    assert [one["pointer"] for one in answered.get_json()["errors"]] == ["/started_at"]


def test_a_move_out_before_the_release_says_which_quarantine_it_left(pen: Caller) -> None:
    stay = begun(pen)
    inside, outside = group(pen, "pen"), group(pen)
    entry(pen, "arrival", inside, 6, 2)
    assert entry(pen, "move", inside, 2, 5, to_group=outside)["left_quarantine"] == stay["id"]
    assert entry(pen, "loss", inside, 1, 6)["left_quarantine"] is None


def test_a_past_week_keeps_the_clock_it_had(pen: Caller) -> None:
    stay = begun(pen, 10, planned_days=30)
    shoal = group(pen, "pen")
    entry(pen, "arrival", shoal, 6, 12)
    entry(pen, "arrival", shoal, 1, 24)
    assert shown(pen, stay)["clock_from"] == DAY.format(24)
    [row] = pen.get("/v1/summaries/weekly?week=2026-W47").get_json()["living"]["quarantines"]
    assert row["clock_from"] == DAY.format(12)


def test_its_days_can_be_begun_anew_by_hand(pen: Caller) -> None:
    stay = begun(pen, planned_days=10)
    told = pen.post(f"/v1/quarantines/{stay['id']}/restart", {"at": DAY.format(6), "reason": "White spots."})
    assert told.status_code == 200
    assert told.get_json()["restarts"] == [{"at": DAY.format(6), "reason": "White spots.", "entry": None}]
    assert told.get_json()["ready_at"] == DAY.format(16)
    earlier = {"at": DAY.format(5), "reason": "x"}
    assert pointers(pen.post(f"/v1/quarantines/{stay['id']}/restart", earlier)) == ["/at"]
    assert pointers(pen.post(f"/v1/quarantines/{stay['id']}/restart", {})) == ["/reason"]


def test_a_tank_holds_one_quarantine_at_a_time(pen: Caller) -> None:
    begun(pen)
    answered = pen.post("/v1/quarantines", {"tank": "pen", "started_at": DAY.format(3)})
    assert answered.status_code == 409
    assert answered.get_json()["type"].endswith("quarantine-open")


def test_residents_penned_with_newcomers_are_part_of_it(pen: Caller) -> None:
    resident = group(pen, "pen", name="Two old hands")
    entry(pen, "arrival", resident, 2, 1)
    stay = begun(pen, 2, sentinels=[resident])
    assert stay["sentinels"] == [resident]
    assert pointers(pen.post("/v1/quarantines", {"tank": "nursery", "sentinels": [stay["id"]]})) == [
        "/sentinels/0"
    ]
    twice = {"sentinels": [resident, resident]}
    assert pointers(pen.patch(f"/v1/quarantines/{stay['id']}", twice)) == ["/sentinels/1"]
    assert pen.delete(f"/v1/groups/{resident}").status_code == 409


@pytest.mark.parametrize(
    ("said", "at"),
    [
        ({"planned_days": 0}, "/planned_days"),
        ({"planned_days": 1.5}, "/planned_days"),
        ({"tank": "none"}, "/tank"),
        ({"started_at": "2199-01-01T00:00:00Z"}, "/started_at"),
        ({"checks": ["x"]}, "/checks/0"),
        ({"checks": ["01936c5e-8f00-7000-8000-00000000ffff"]}, "/checks/0"),
        ({"released_at": DAY.format(3)}, "/released_at"),
    ],
)
def test_what_can_not_be_is_refused_at_the_fault(pen: Caller, said: dict[str, object], at: str) -> None:
    assert pointers(pen.post("/v1/quarantines", {"tank": "pen", **said})) == [at]


def test_a_helper_enters_stock_but_releases_nothing(pen: Caller, caller: MakeCaller) -> None:
    stay = begun(pen)
    helper = caller("helper")
    assert helper.post(f"/v1/quarantines/{stay['id']}/release", {"reason": "x"}).status_code == 403
    assert helper.get(f"/v1/quarantines/{stay['id']}").status_code == 200


def test_the_clock_kept_with_no_quarantine_is_refused(pen: Caller) -> None:
    shoal = group(pen, "pen")
    answered = refused(pen, kind="arrival", group=shoal, number=1, keeps_clock="Why not.")
    assert pointers(answered) == ["/keeps_clock"]


@on_both_engines
def test_quarantines_are_listed_by_tank_and_by_whether_they_are_open(pen: Caller) -> None:
    stay = begun(pen, planned_days=1)
    assert len(pen.get("/v1/quarantines?open=true&tank=pen").get_json()["items"]) == 1
    pen.post(f"/v1/quarantines/{stay['id']}/release", {"at": DAY.format(4)})
    assert pen.get("/v1/quarantines?open=true").get_json()["items"] == []
    assert len(pen.get("/v1/quarantines?open=false").get_json()["items"]) == 1
    begun(pen, 5)
    assert len(pen.get("/v1/quarantines").get_json()["items"]) == 2


def test_the_log_says_released_and_why(pen: Caller) -> None:
    stay = begun(pen)
    pen.post(f"/v1/quarantines/{stay['id']}/release", {"at": DAY.format(4), "reason": "The tank leaks."})
    entries = pen.get("/v1/changes?limit=1000").get_json()["items"]
    told = [one for one in entries if one["noun"] == "quarantine"]
    assert [one["what"] for one in told] == ["made", "released"]
    assert told[-1]["words"] == "The tank leaks."


def test_another_start_sets_the_clock_anew(pen: Caller) -> None:
    stay = begun(pen, 1, planned_days=10)
    path = f"/v1/quarantines/{stay['id']}"
    later = pen.patch(path, {"started_at": DAY.format(20)}).get_json()
    assert (later["clock_from"], later["ready_at"]) == (DAY.format(20), DAY.format(30))
    assert pen.patch(path, {"started_at": DAY.format(3)}).get_json()["clock_from"] == DAY.format(3)
    pen.post(f"{path}/release", {"at": DAY.format(15)})
    assert pointers(pen.patch(path, {"started_at": DAY.format(16)})) == ["/started_at"]


def test_a_release_before_a_restart_by_hand_is_refused(pen: Caller) -> None:
    stay = begun(pen, 1)
    pen.post(f"/v1/quarantines/{stay['id']}/restart", {"at": DAY.format(20), "reason": "White spots."})
    early = {"at": DAY.format(15), "reason": "x"}
    assert pointers(pen.post(f"/v1/quarantines/{stay['id']}/release", early)) == ["/at"]
