"""Alerts: opened and closed by the watch, called again and handed on, owned and muted by people."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines

from weirbook.app import Service
from weirbook.engine.times import instant_ms, instant_text
from weirbook.record.database import now_ms
from weirbook.watcher import watch_once

MINUTE = 60_000


@dataclass
class Room:
    """A furnished room under watch, with a clock that a test turns. Minute 0 is two hours ago."""

    app: Service
    keeper: Caller
    start: int

    def at(self, minute: float) -> str:
        return instant_text(round(self.start + minute * MINUTE))

    def read(self, gauge: str, *rows: tuple[float, Any]) -> None:
        body = [{"gauge": gauge, "value": value, "at": self.at(minute)} for minute, value in rows]
        answer = self.keeper.post("/v1/readings", {"readings": body})
        assert answer.status_code == 200, answer.get_data(as_text=True)

    def watch(self, minute: float, heard_since: float = -10_000) -> int:
        heard = round(self.start + heard_since * MINUTE)
        return watch_once(self.app.database, round(self.start + minute * MINUTE), heard_since=heard)

    def alerts(self, **query: str) -> list[dict[str, Any]]:
        asked = "&".join(f"{name}={value}" for name, value in query.items())
        found: list[dict[str, Any]] = self.keeper.get(f"/v1/alerts?{asked}").get_json()["items"]
        return found

    def told(self, *nouns: str) -> list[tuple[str, str]]:
        items = self.keeper.get("/v1/changes?limit=1000").get_json()["items"]
        return [(one["noun"], one["what"]) for one in items if one["noun"] in nouns]


@pytest.fixture
def room(app: Service, furnished: Caller) -> Room:
    found = Room(app, furnished, now_ms() // MINUTE * MINUTE - 120 * MINUTE)
    for name in ("Ana", "Tomas", "Ines"):
        assert furnished.post("/v1/helpers", {"name": name}).status_code == 201
    target(furnished)
    leak = {"name": "Leak", "parameter": "leak", "place": "sumps/rack", "alarm": {"owner": "tomas"}}
    assert furnished.post("/v1/gauges", leak).status_code == 201
    return found


def target(keeper: Caller, **said: Any) -> str:
    body = {
        "place": "tanks/nursery",
        "parameter": "temperature",
        "low": "23 degC",
        "high": "26 degC",
        "valid_from": "2026-01-01T00:00:00Z",
        "alarm": {
            "owner": "ana",
            "repeat": "30 min",
            "escalate": [{"after": "20 min", "to": "tomas"}, {"after": "45 min", "to": "ines"}],
        },
        **said,
    }
    answer = keeper.post("/v1/targets", body)
    assert answer.status_code == 201, answer.get_data(as_text=True)
    return str(answer.get_json()["id"])


@on_both_engines
def test_an_excursion_opens_one_alert_and_closes_it_by_itself(room: Room) -> None:
    room.read("nursery-temperature", (0, 25), (10, 27), (20, 28))
    assert room.watch(20) > 0
    assert room.watch(21) == 0
    (alert,) = room.alerts()
    assert (alert["cause"], alert["side"], alert["gauge"], alert["place"]) == (
        "excursion",
        "above",
        "nursery-temperature",
        "tanks/nursery",
    )
    assert alert["began_at"] == room.at(5)
    assert (alert["low"], alert["high"], alert["worst"]) == (23, 26, {"value": 28, "unit": "degC"})
    assert alert["owner"] == "ana" and alert["closed_at"] is None
    assert "28 degC, above its target (23 to 26 degC)" in alert["reason"]
    room.read("nursery-temperature", (30, 29), (40, 25))
    room.watch(40)
    (alert,) = room.alerts()
    assert alert["ended_at"] == room.at(37.5)
    assert (alert["closed_at"], alert["worst"]["value"]) == (room.at(40), 29)
    assert [(one["what"], one["who"], one["tell"]) for one in alert["story"]] == [
        ("opened", "Weirbook", ["ana"]),
        ("closed", "Weirbook", ["ana"]),
    ]
    assert room.told("excursion", "alert") == [
        ("excursion", "opened"),
        ("alert", "opened"),
        ("excursion", "closed"),
        ("alert", "closed"),
    ]
    assert room.watch(41) == 0


@on_both_engines
def test_what_came_and_went_while_nobody_watched_is_told_too(room: Room) -> None:
    """A buffer posted late, or a service that was down."""
    room.read("nursery-temperature", (0, 25))
    room.watch(0)
    room.read("nursery-temperature", (10, 27), (20, 25), (30, 25))
    room.watch(30)
    (alert,) = room.alerts()
    assert (alert["began_at"], alert["ended_at"]) == (room.at(5), room.at(15))
    assert [one["what"] for one in alert["story"]] == ["opened", "closed"]
    assert room.watch(31) == 0


@on_both_engines
def test_a_corrected_reading_takes_its_alert_back(room: Room) -> None:
    room.read("nursery-temperature", (0, 25), (10, 30))
    room.watch(10)
    again = {"gauge": "nursery-temperature", "value": 25, "at": room.at(10)}
    assert room.keeper.post("/v1/readings?on_conflict=correct", again).status_code == 200
    room.watch(11)
    (alert,) = room.alerts(open="false")
    assert alert["closed_because"].startswith("Taken back")


def test_a_target_that_is_widened_closes_its_alert(room: Room) -> None:
    room.read("nursery-temperature", (0, 25), (10, 27))
    room.watch(10)
    target(room.keeper, high="30 degC", valid_from=room.at(11), alarm=None)
    room.watch(12)
    (alert,) = room.alerts()
    assert alert["ended_at"] == room.at(11)
    assert room.watch(13) == 0


@on_both_engines
def test_a_contact_calls_and_each_of_its_moves_is_told(room: Room) -> None:
    room.read("leak", (0, "off"))
    room.watch(0)
    room.read("leak", (5, "on"))
    room.watch(5)
    (alert,) = room.alerts(cause="contact")
    assert (alert["place"], alert["owner"]) == ("sumps/rack", "tomas")
    assert "water stands where none should" in alert["reason"]
    room.read("leak", (9, "off"))
    room.watch(9)
    assert room.alerts(open="true") == []
    assert room.told("contact") == [("contact", "off"), ("contact", "on"), ("contact", "off")]


def test_a_leak_that_was_there_before_the_first_round_calls(room: Room) -> None:
    room.read("leak", (0, "on"))
    room.watch(5)
    assert [one["cause"] for one in room.alerts(open="true")] == ["contact"]


@on_both_engines
def test_a_watched_gauge_that_falls_silent_calls_and_its_open_excursion_stays(room: Room) -> None:
    room.read("nursery-temperature", (0, 25), (10, 27))
    room.watch(10)
    room.watch(40)
    assert [one["cause"] for one in room.alerts(open="true")] == ["excursion"]
    room.watch(41)
    assert sorted(one["cause"] for one in room.alerts(open="true")) == ["excursion", "silence"]
    room.read("nursery-temperature", (50, 27))
    room.watch(50)
    assert [one["cause"] for one in room.alerts(open="true")] == ["excursion"]
    assert room.told("gauge")[-2:] == [("gauge", "silent"), ("gauge", "heard")]


def test_no_gauge_is_silent_for_what_nobody_heard(room: Room) -> None:
    """A service that was down for an hour: the sensors get three intervals to be heard again."""
    room.read("nursery-temperature", (0, 25))
    room.watch(0)
    room.watch(65, heard_since=60)
    assert room.alerts() == []
    room.watch(91, heard_since=60)
    assert [one["cause"] for one in room.alerts()] == ["silence"]


@on_both_engines
def test_it_is_told_again_and_handed_on_until_somebody_acknowledges_it(room: Room) -> None:
    room.read("nursery-temperature", (0, 25), (10, 27))
    steps = []
    for minute in (10, 29, 30, 31, 54, 55, 60, 85):
        room.read("nursery-temperature", (minute + 0.5, 27))
        room.watch(minute)
    (alert,) = room.alerts(open="true")
    steps = [(one["at"], one["what"], one["tell"]) for one in alert["story"]]
    assert [(what, tell) for _, what, tell in steps] == [
        ("opened", ["ana"]),
        ("escalated", ["ana", "tomas"]),
        ("escalated", ["ana", "tomas", "ines"]),
        ("repeated", ["ana", "tomas", "ines"]),
    ]
    answer = room.keeper.patch(f"/v1/alerts/{alert['id']}", {"acknowledged": True})
    assert answer.status_code == 200, answer.get_data(as_text=True)
    assert answer.get_json()["acknowledged_by"] == "keeper"
    room.read("nursery-temperature", (119, 27))
    room.watch(119)
    (alert,) = room.alerts(open="true")
    assert [one["what"] for one in alert["story"]][-1] == "acknowledged"


@on_both_engines
def test_a_muted_alert_calls_nobody_until_its_time_is_over(room: Room) -> None:
    room.read("nursery-temperature", (0, 25), (119, 27), (119.5, 27))
    room.watch(120)
    (alert,) = room.alerts(open="true")
    until = instant_text(now_ms() + 90 * MINUTE)
    assert room.keeper.patch(f"/v1/alerts/{alert['id']}", {"mute_until": until}).status_code == 200
    minutes = (instant_ms(until) - room.start) / MINUTE
    room.watch(minutes - 1, heard_since=minutes)
    assert [one["what"] for one in room.alerts(open="true")[0]["story"]] == ["opened", "muted"]
    room.watch(minutes + 1, heard_since=minutes)
    assert room.alerts(open="true")[0]["story"][-1]["what"] == "escalated"


@on_both_engines
def test_a_helper_takes_an_alert_on_and_a_viewer_may_only_look(room: Room, caller: MakeCaller) -> None:
    room.read("nursery-temperature", (0, 25), (10, 27))
    room.watch(10)
    path = f"/v1/alerts/{room.alerts()[0]['id']}"
    assert (
        caller("helper", name="Tomas").patch(path, {"owner": "tomas", "acknowledged": True}).status_code
        == 200
    )
    story = room.keeper.get(path).get_json()["story"]
    assert (story[-1]["what"], story[-1]["who"]) == ("acknowledged", "Tomas")
    assert room.keeper.get(path).get_json()["owner"] == "tomas"
    assert caller("viewer").get(path).status_code == 200
    assert caller("viewer").patch(path, {"acknowledged": False}).status_code == 403


@pytest.mark.parametrize(
    ("patch", "status", "pointer"),
    [
        ({"mute_until": "2020-01-01T00:00:00Z"}, 422, "/mute_until"),
        ({"mute_until": "2090-01-01T00:00:00Z"}, 422, "/mute_until"),
        ({"owner": "nobody"}, 422, "/owner"),
        ({"closed_at": "2026-11-25T00:00:00Z"}, 422, "/closed_at"),
        ({"acknowledged": "yes"}, 422, "/acknowledged"),
    ],
)
def test_what_an_alert_does_not_take(room: Room, patch: dict[str, Any], status: int, pointer: str) -> None:
    room.read("nursery-temperature", (0, 25), (10, 27))
    room.watch(10)
    answer = room.keeper.patch(f"/v1/alerts/{room.alerts()[0]['id']}", patch)
    assert answer.status_code == status
    assert answer.get_json()["errors"][0]["pointer"] == pointer


def test_a_closed_alert_is_left_as_it_is(room: Room) -> None:
    room.read("nursery-temperature", (0, 25), (10, 27), (20, 25))
    room.watch(20)
    (alert,) = room.alerts()
    answer = room.keeper.patch(f"/v1/alerts/{alert['id']}", {"owner": "tomas"})
    assert (answer.status_code, answer.get_json()["type"]) == (409, "urn:weirbook:problem:alert-closed")


def test_a_target_may_keep_its_excursions_to_the_log(room: Room) -> None:
    target(room.keeper, place="room", parameter="humidity", low=None, high="80 %", alarm={"calls": False})
    gauge = {"name": "Air", "parameter": "humidity", "place": "room", "expected_interval": "10 min"}
    assert room.keeper.post("/v1/gauges", gauge).status_code == 201
    room.read("air", (0, 85), (10, 90))
    room.watch(10)
    assert room.alerts() == []
    assert room.told("excursion") == [("excursion", "opened")]
    assert room.watch(11) == 0


def test_least_duration_and_hysteresis_keep_a_flutter_from_calling(room: Room) -> None:
    target(
        room.keeper,
        valid_from="2026-02-01T00:00:00Z",
        hysteresis="0.5 degC",
        least_duration="15 min",
    )
    room.read("nursery-temperature", (0, 25), (10, 26.4), (15, 25), (20, 25))
    room.watch(20)
    assert room.alerts() == []
    room.read("nursery-temperature", (30, 26.4), (40, 25.8), (50, 26.2))
    room.watch(50)
    assert [one["closed_at"] for one in room.alerts()] == [None]
    room.read("nursery-temperature", (60, 25.4))
    room.watch(60)
    assert [one["closed_at"] for one in room.alerts()] == [room.at(60)]


def test_a_leak_from_a_clock_that_runs_ahead_calls_at_once_and_its_moves_are_told(room: Room) -> None:
    room.read("leak", (0, "off"))
    room.watch(0)
    room.read("leak", (5, "on"), (6, "off"), (7, "on"))
    room.watch(3)
    assert len(room.alerts(open="true")) == 1
    room.watch(8)
    assert room.told("contact") == [("contact", word) for word in ("off", "on", "off", "on")]


def test_a_gauge_that_was_never_watched_is_told_of_for_its_last_hour_alone(room: Room) -> None:
    room.read("nursery-temperature", (0, 25), (10, 27), (20, 25), (90, 25), (100, 27), (110, 25))
    room.watch(115)
    assert [one["began_at"] for one in room.alerts()] == [room.at(95)]


def test_a_gauge_that_is_retired_lets_its_alerts_go(room: Room) -> None:
    room.read("nursery-temperature", (0, 25), (10, 27))
    room.watch(10)
    assert room.keeper.patch("/v1/gauges/nursery-temperature", {"retired_at": room.at(11)}).status_code == 200
    room.watch(12)
    assert room.alerts()[0]["closed_because"] == "Its gauge was retired."


@pytest.mark.parametrize(
    ("said", "pointer"),
    [
        ({"alarm": {"owner": "nobody"}}, "/alarm/owner"),
        ({"alarm": {"escalate": [{"after": "10 min", "to": "nobody"}]}}, "/alarm/escalate/0/to"),
        (
            {"alarm": {"escalate": [{"after": "10 min", "to": "ana"}, {"after": "10 min", "to": "ines"}]}},
            "/alarm/escalate/1/after",
        ),
        ({"alarm": {"repeat": "1 s"}}, "/alarm/repeat"),
        ({"alarm": {"loud": True}}, "/alarm/loud"),
        ({"hysteresis": "-1 degC"}, "/hysteresis"),
        ({"hysteresis": "4 degC"}, "/hysteresis"),
        ({"hysteresis": "4 mm"}, "/hysteresis"),
        ({"least_duration": "-1 s"}, "/least_duration"),
    ],
)
def test_rules_that_cannot_be_followed_are_refused(room: Room, said: dict[str, Any], pointer: str) -> None:
    body = {
        "place": "tanks/nursery",
        "parameter": "temperature",
        "low": 23,
        "high": 26,
        "valid_from": "2026-03-01T00:00:00Z",
        **said,
    }
    answer = room.keeper.post("/v1/targets", body)
    assert answer.status_code == 422
    assert [one["pointer"] for one in answer.get_json()["errors"]] == [pointer]


@on_both_engines
def test_tests_by_hand_open_and_close_and_call_once(room: Room) -> None:
    target(room.keeper, parameter="nitrate", low=None, high="20 mg/L NO3", alarm={"owner": "ana"})

    def test(minute: float, value: Any) -> None:
        body = {"place": "tanks/nursery", "parameter": "nitrate", "value": value, "at": room.at(minute)}
        assert room.keeper.post("/v1/readings", body).status_code == 200
        room.watch(minute)

    test(0, 10)
    test(10, 40)
    (alert,) = room.alerts(open="true")
    assert alert["next_call_at"] is None
    test(20, "<50")
    assert len(room.alerts(open="true")) == 1
    test(30, 10)
    assert room.alerts(open="true") == []
