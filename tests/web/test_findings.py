"""Verdicts: what to act on, what to watch, what nobody can know, and what is well; worst first, each with its why."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from contract_document import DOCUMENT, validator
from harness import Caller, MakeCaller, on_both_engines

from weirbook.app import Service

NOW = datetime.now(UTC)


@pytest.fixture(autouse=True)
def _present() -> None:
    """Each test counts from its own now: the suite may have begun minutes before."""
    global NOW
    NOW = datetime.now(UTC)


MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)


def instant(ago: timedelta) -> str:
    return f"{NOW - ago:%Y-%m-%dT%H:%M:%SZ}"


@pytest.fixture
def room(furnished: Caller) -> Caller:
    assert furnished.patch("/v1/room", {"time_zone": "UTC"}).status_code == 200
    return furnished


def send(room: Caller, path: str, body: dict[str, Any]) -> Any:
    made = room.post(f"/v1/{path}", body)
    assert made.status_code in (200, 201), made.get_data(as_text=True)
    return made.get_json()


def target(room: Caller, parameter: str, place: str = "tanks/nursery", **ends: Any) -> None:
    send(
        room,
        "targets",
        {"place": place, "parameter": parameter, "valid_from": "2020-01-01T00:00:00Z", **ends},
    )


def read(room: Caller, value: Any, ago: timedelta = MINUTE, gauge: str = "nursery-temperature") -> None:
    send(room, "readings", {"gauge": gauge, "value": value, "at": instant(ago)})


def by_hand(room: Caller, parameter: str, value: Any, ago: timedelta = HOUR) -> None:
    send(
        room,
        "readings",
        {"place": "tanks/nursery", "parameter": parameter, "value": value, "at": instant(ago)},
    )


def found(room: Caller, about: str, query: str = "") -> list[dict[str, Any]]:
    answered = room.get(f"/v1/findings?about={about}{query}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    items: list[dict[str, Any]] = answered.get_json()["items"]
    return items


def only(room: Caller, about: str) -> dict[str, Any]:
    (one,) = found(room, about)
    return one


@on_both_engines
@pytest.mark.parametrize(
    ("value", "verdict", "limit"),
    [(24.5, "ok", 26), (23, "ok", 26), (26, "ok", 26), (26.1, "act", 26), (22.9, "act", 23)],
)
def test_a_reading_is_within_its_target_or_not(
    room: Caller, value: float, verdict: str, limit: float
) -> None:
    target(room, "temperature", low="23 degC", high="26 degC")
    read(room, value)
    one = only(room, "target")
    assert (one["verdict"], one["subject"]) == (verdict, "nursery-temperature")
    assert (one["system"], one["place"]) == ("rill", "tanks/nursery")
    assert one["value"] == {"value": value, "unit": "degC"}
    if verdict == "act":
        assert one["limit"] == {"value": limit, "unit": "degC"}
        assert f"is {value} degC, outside its target (23 to 26 degC)" in one["reason"]
    assert one["origin"] == "/v1/gauges/nursery-temperature/latest"


def test_a_target_in_another_unit_or_form_is_held_in_the_gauges_own(room: Caller) -> None:
    target(room, "nitrate", high="10 mg/L NO3-N")
    by_hand(room, "nitrate", 44)
    one = only(room, "target")
    assert (one["verdict"], one["limit"]["unit"]) == ("ok", "mg/L NO3")
    assert one["limit"]["value"] == pytest.approx(44.27, abs=0.005)  # 10 x 62.004 / 14.007
    by_hand(room, "nitrate", 44.4, MINUTE)
    assert only(room, "target")["verdict"] == "act"


@pytest.mark.parametrize(
    ("value", "ends", "verdict"),
    [
        ("<5", {"high": "10 mg/L NO3"}, "ok"),
        ("<5", {"high": "5 mg/L NO3"}, "ok"),
        ("<5", {"high": "3 mg/L NO3"}, "unknown"),
        ("<5", {"low": "2 mg/L NO3"}, "unknown"),
        ("<5", {"low": "6 mg/L NO3"}, "act"),
        (">50", {"high": "40 mg/L NO3"}, "act"),
        (">50", {"high": "60 mg/L NO3"}, "unknown"),
        (">50", {"low": "40 mg/L NO3"}, "ok"),
        ("10..20", {"high": "25 mg/L NO3"}, "ok"),
        ("10..20", {"high": "15 mg/L NO3"}, "unknown"),
        ("10..20", {"high": "5 mg/L NO3"}, "act"),
        ("10..20", {"low": "5 mg/L NO3", "high": "25 mg/L NO3"}, "ok"),
    ],
)
def test_a_test_with_a_bound_tells_only_what_it_can(
    room: Caller, value: str, ends: dict[str, str], verdict: str
) -> None:
    target(room, "nitrate", **ends)
    by_hand(room, "nitrate", value)
    assert only(room, "target")["verdict"] == verdict


@on_both_engines
def test_what_was_not_read_can_not_be_known(room: Caller) -> None:
    target(room, "temperature", high="26 degC")
    assert (only(room, "target")["verdict"], only(room, "silence")["verdict"]) == ("unknown", "unknown")
    assert "has never reported" in only(room, "target")["reason"]


def test_a_silent_gauge_tells_nothing_of_now_and_is_to_be_acted_on_where_something_is_watched(
    room: Caller,
) -> None:
    read(room, 24, 31 * MINUTE)
    assert only(room, "silence")["verdict"] == "watch"
    target(room, "temperature", high="26 degC")
    silence = only(room, "silence")
    assert (silence["verdict"], silence["since"]) == ("act", instant(31 * MINUTE))
    assert "no alarm can come from it" in silence["reason"]
    assert only(room, "target")["verdict"] == "unknown"
    read(room, 24)
    assert [only(room, about)["verdict"] for about in ("silence", "target")] == ["ok", "ok"]


def test_a_test_by_hand_tells_of_now_for_thirty_days(room: Caller) -> None:
    target(room, "nitrate", high="25 mg/L NO3")
    by_hand(room, "nitrate", 12, 31 * DAY)
    assert "Test again" in only(room, "target")["reason"]
    by_hand(room, "nitrate", 12, 29 * DAY)
    assert only(room, "target")["verdict"] == "ok"


def test_an_implausible_or_excluded_reading_judges_nothing(room: Caller) -> None:
    target(room, "temperature", high="26 degC")
    read(room, 45)
    one = only(room, "target")
    assert (one["verdict"], "implausible" in one["reason"]) == ("unknown", True)
    latest = room.get("/v1/gauges/nursery-temperature/latest").get_json()
    assert (latest["in_target"], latest["implausible"]) == (None, True)
    read(room, 30, timedelta(0))
    span = {
        "gauge": "nursery-temperature",
        "from": instant(30 * DAY),
        "to": instant(-DAY),
        "reason": "In air.",
    }
    send(room, "exclusions", span)
    assert "kept out of statistics" in only(room, "target")["reason"]
    latest = room.get("/v1/gauges/nursery-temperature/latest").get_json()
    assert (latest["in_target"], latest["excluded"]) == (None, True)


def test_a_target_that_nothing_measures_is_said(room: Caller) -> None:
    target(room, "ph", low=6.5)
    target(room, "hardness", "systems/rill", low="4 dGH")
    target(room, "nitrate", "room", high="25 mg/L NO3")
    target(room, "humidity", "room", high="90 %")
    send(
        room, "gauges", {"name": "Air", "parameter": "humidity", "place": "room", "expected_interval": "1 h"}
    )
    send(room, "systems", {"name": "Empty corner"})
    told = {(one["subject"], one["place"]): one["verdict"] for one in found(room, "target")}
    assert told == {
        ("ph", "tanks/nursery"): "unknown",
        ("hardness", "systems/rill"): "unknown",
        ("nitrate", "systems/rill"): "unknown",
        ("air", "room"): "unknown",
    }
    by_hand(room, "nitrate", 5)
    assert ("nitrate", "systems/rill") not in {
        (one["subject"], one["place"]) for one in found(room, "target")
    }


def test_a_target_that_was_ended_is_wanted_no_more(room: Caller) -> None:
    target(room, "temperature", high="20 degC")
    read(room, 24)
    assert only(room, "target")["verdict"] == "act"
    ended = {"place": "tanks/nursery", "parameter": "temperature", "valid_from": "2021-01-01T00:00:00Z"}
    send(room, "targets", ended)
    assert found(room, "target") == []


@pytest.mark.parametrize(
    ("parameter", "calls", "quiet"), [("leak", "on", "off"), ("mains_present", "off", "on")]
)
def test_a_contact_that_calls_is_to_be_acted_on_without_any_target(
    room: Caller, parameter: str, calls: str, quiet: str
) -> None:
    gauge = send(room, "gauges", {"name": "Contact", "parameter": parameter, "place": "sumps/rack"})["handle"]
    assert only(room, "contact")["verdict"] == "unknown"
    read(room, quiet, HOUR, gauge)
    assert only(room, "contact")["verdict"] == "ok"
    read(room, calls, MINUTE, gauge)
    one = only(room, "contact")
    assert (one["verdict"], one["since"]) == ("act", instant(MINUTE))
    assert room.get("/v1/findings").get_json()["items"][0] == one


def test_a_contact_that_should_report_and_is_silent_is_not_called_quiet(room: Caller) -> None:
    body = {"name": "Mains", "parameter": "mains_present", "place": "room", "expected_interval": "1 h"}
    read(room, "on", 4 * HOUR, send(room, "gauges", body)["handle"])
    assert only(room, "contact")["verdict"] == "unknown"
    assert {one["subject"]: one["verdict"] for one in found(room, "silence")}["mains"] == "act"


@pytest.mark.parametrize(("ago", "verdict"), [(None, "unknown"), (364 * DAY, "ok"), (367 * DAY, "watch")])
def test_a_sensor_is_to_be_held_against_another_within_a_year(
    room: Caller, ago: timedelta | None, verdict: str
) -> None:
    checked = None if ago is None else f"{NOW - ago:%Y-%m-%d}"
    assert room.patch("/v1/gauges/nursery-temperature", {"checked_on": checked}).status_code == 200
    by_hand(room, "nitrate", 5)
    send(room, "gauges", {"name": "Wet", "parameter": "leak", "place": "sumps/rack"})
    one = only(room, "check")
    assert (one["verdict"], one["subject"]) == (verdict, "nursery-temperature")
    assert room.get(one["origin"]).status_code == 200


BED = {
    "sump": "rack",
    "position": 2,
    "use": "planted-floating",
    "direction": "along",
    "length": "40 cm",
    "running_depth": "30 cm",
    "inlet": {"kind": "slot", "width": "30 cm", "height": "2 cm"},
}


@on_both_engines
def test_a_planted_section_over_its_limit_comes_with_its_mend(room: Caller) -> None:
    """600 gal/h = 6.309e-4 m3/s through 30 cm x 2 cm runs at 10.5 cm/s; at 5 cm/s it wants 4.21 cm."""
    send(room, "sections", {**BED, "limits": {"inlet_velocity": "5 cm/s"}})
    one = only(room, "section")
    assert (one["verdict"], one["system"], one["subject"]) == ("act", "rill", "rack-planted-floating-1")
    assert one["value"]["value"] == pytest.approx(10.515, abs=0.001)
    assert one["limit"] == {"value": 5, "unit": "cm/s"}
    assert "4.21 cm" in one["reason"]
    assert room.get(one["origin"]).status_code == 200
    wide = {"inlet": {"kind": "slot", "width": "30 cm", "height": "4.3 cm"}}
    assert room.patch("/v1/sections/rack-planted-floating-1", wide).status_code == 200
    assert only(room, "section")["verdict"] == "ok"


def test_what_a_section_lacks_is_said(room: Caller) -> None:
    send(room, "sections", BED)
    assert only(room, "section")["reason"] == "Unknown, because no limit of the jet at its inlet is recorded."
    assert room.patch("/v1/pumps/rack-pump", {"rated_flow": None}).status_code == 200
    assert "neither a measured nor a rated flow" in only(room, "section")["reason"]


def test_a_section_without_plants_and_limits_is_not_judged(room: Caller) -> None:
    assert found(room, "section") == []


def task(room: Caller, ago: timedelta, rule: str, **said: Any) -> str:
    start = f"{NOW - ago:%Y-%m-%dT%H:%M}"
    schedule = {"kind": "calendar", "rule": rule, "start": start}
    body = {
        "title": "Rinse",
        "about": "sumps/rack",
        "schedule": schedule,
        "effective_at": instant(ago + HOUR),
    }
    return str(send(room, "tasks", {**body, **said})["id"])


def test_work_overdue_is_to_be_watched_once_and_acted_on_from_the_second_time(room: Caller) -> None:
    path = task(room, 3 * HOUR, "FREQ=WEEKLY", window={"late": "5 h"})
    assert found(room, "task") == []
    assert room.patch(f"/v1/tasks/{path}", {"window": {"late": "2 h"}}).status_code == 200
    one = only(room, "task")
    assert (one["verdict"], one["system"], one["place"], one["subject"]) == (
        "watch",
        "rill",
        "sumps/rack",
        path,
    )
    assert one["value"]["value"] == pytest.approx(3.0, abs=0.11)
    task(room, 3 * DAY, "FREQ=DAILY", title="Look round", about=None)
    first, second = found(room, "task")
    assert (first["verdict"], first["place"], first["system"]) == ("act", "room", None)
    assert "'Look round' is overdue" in first["reason"]
    assert second == one
    assert room.patch(f"/v1/tasks/{path}", {"retired_at": instant(MINUTE)}).status_code == 200
    assert found(room, "task") == [first]


@on_both_engines
def test_findings_come_worst_first_and_are_counted(room: Caller) -> None:
    target(room, "temperature", high="20 degC")
    target(room, "ph", low=6.5)
    read(room, 24)
    task(room, 3 * HOUR, "FREQ=WEEKLY", window={"late": "2 h"})
    answered = room.get("/v1/findings").get_json()
    verdicts = [one["verdict"] for one in answered["items"]]
    assert verdicts == sorted(verdicts, key=["act", "watch", "unknown", "ok"].index)
    assert answered["verdict"] == "act"
    # To watch: the work, and that nobody is told of alerts. Unknown besides: what the pump really gives, and what
    # would fall into the sump. Well besides: the sump's level.
    assert answered["counts"] == {"act": 1, "watch": 2, "unknown": 4, "ok": 2}
    validator(DOCUMENT["components"]["schemas"]["Findings"]).validate(answered)
    watched = room.get("/v1/findings?verdict=watch").get_json()
    assert (watched["verdict"], len(watched["items"])) == ("watch", 2)


def test_a_systems_findings_are_its_own(room: Caller) -> None:
    send(room, "systems", {"name": "Pond"})
    task(room, 3 * DAY, "FREQ=DAILY", about="room")
    read(room, 24)
    of_rill = room.get("/v1/systems/rill/findings").get_json()["items"]
    assert {one["system"] for one in of_rill} == {"rill"}
    empty = room.get("/v1/systems/pond/findings").get_json()
    assert (empty["items"], empty["verdict"]) == ([], "unknown")
    assert room.get("/v1/systems/nowhere/findings").status_code == 404


def test_what_is_retired_is_not_judged(room: Caller) -> None:
    target(room, "temperature", high="20 degC")
    read(room, 24)
    assert room.patch("/v1/gauges/nursery-temperature", {"retired_at": instant(MINUTE)}).status_code == 200
    told = room.get("/v1/findings").get_json()["items"]
    water = ("spill", "level", "flow")
    assert [(one["about"], one["subject"], one["verdict"]) for one in told if one["about"] not in water] == [
        ("target", "temperature", "unknown")
    ]


def test_findings_as_csv(room: Caller) -> None:
    target(room, "temperature", high="20 degC")
    read(room, 24)
    text = room.get("/v1/findings?format=csv&about=target").get_data(as_text=True)
    (row,) = csv.DictReader(io.StringIO(text))
    assert (row["verdict"], row["value"], row["value_unit"], row["limit"]) == ("act", "24", "degC", "20")


@pytest.mark.parametrize("query", ["?verdict=bad", "?about=weather", "?when=now"])
def test_what_can_not_be_asked_is_refused(room: Caller, query: str) -> None:
    assert room.get(f"/v1/findings{query}").status_code == 422


def test_a_sensor_key_reads_no_findings(room: Caller, caller: MakeCaller) -> None:
    assert caller("sensor", gauges=["nursery-temperature"]).get("/v1/findings").status_code == 403


def test_a_sensor_that_never_moved_for_a_day_may_be_stuck(furnished: Caller) -> None:
    """144 readings: of one step only, which is its resolution; then one of two steps."""
    assert furnished.patch("/v1/gauges/nursery-temperature", {"resolution": "0.1 degC"}).status_code == 200
    body = [
        {
            "gauge": "nursery-temperature",
            "value": 24.5 + 0.1 * (step % 2),
            "at": instant((1 + step * 10) * MINUTE),
        }
        for step in range(144)
    ]
    assert furnished.post("/v1/readings", {"readings": body}).status_code == 200
    (one,) = furnished.get("/v1/findings?about=stuck").get_json()["items"]
    assert (one["verdict"], one["subject"]) == ("watch", "nursery-temperature")
    assert furnished.get("/v1/gauges/nursery-temperature/latest").get_json()["stuck"] is True
    moved = {"gauge": "nursery-temperature", "value": 24.7, "at": instant(6 * MINUTE)}
    assert furnished.post("/v1/readings", moved).status_code == 200
    assert furnished.get("/v1/findings?about=stuck").get_json()["items"] == []
    assert furnished.get("/v1/gauges/nursery-temperature/latest").get_json()["stuck"] is False


def test_half_a_day_can_not_tell_of_a_stuck_sensor(furnished: Caller) -> None:
    body = [
        {"gauge": "nursery-temperature", "value": 24.5, "at": instant((1 + step * 10) * MINUTE)}
        for step in range(72)
    ]
    assert furnished.post("/v1/readings", {"readings": body}).status_code == 200
    assert furnished.get("/v1/gauges/nursery-temperature/latest").get_json()["stuck"] is None


def test_a_room_that_no_notifier_follows_calls_in_vain(furnished: Caller, app: Service) -> None:
    (none,) = furnished.get("/v1/findings?about=follower").get_json()["items"]
    assert none["verdict"] == "watch" and "Silence is not safety" in none["reason"]
    cursor = furnished.get("/v1/changes?since=now").get_json()["cursor"]
    assert furnished("PUT", "/v1/followers/house-mail", {"cursor": cursor}).status_code == 200
    (heard,) = furnished.get("/v1/findings?about=follower").get_json()["items"]
    assert (heard["verdict"], heard["subject"]) == ("ok", "house-mail")
    with app.database.engine.begin() as connection:
        connection.exec_driver_sql(
            f"UPDATE follower SET heard_at_ms = {round((NOW - 6 * MINUTE).timestamp() * 1000)}"
        )
    (quiet,) = furnished.get("/v1/findings?about=follower").get_json()["items"]
    assert quiet["verdict"] == "act"
