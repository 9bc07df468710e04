"""API6:2023 Unrestricted access to sensitive business flows: what does harm when it is done too often or out of turn.

Here those are readings that overwrite or invent history, and work that counts as done. test_completions_at_once.py: a
task is done once, by however many; test_idempotency.py: a POST with a token is done once; test_access.py: a sensor
corrects nothing and makes no gauges. Here: a sensor's key alone, in the wrong hands.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from harness import Caller, MakeCaller, on_both_engines

GAUGE = "nursery-temperature"
AT = "2026-11-20T10:00:00Z"
SPAN = "from=2026-11-20T00:00:00Z&to=2026-11-21T00:00:00Z"


@on_both_engines
def test_what_was_read_is_not_overwritten_with_a_sensors_key(caller: MakeCaller, furnished: Caller) -> None:
    sensor = caller("sensor", gauges=[GAUGE])
    assert sensor.post("/v1/readings", {"gauge": GAUGE, "value": 24, "at": AT}).status_code == 200
    for wish in ("", "?on_conflict=correct", "?partial=true", "?partial=true&on_conflict=correct"):
        sensor.post(f"/v1/readings{wish}", {"gauge": GAUGE, "value": 35, "at": AT})
    found = furnished.get(f"/v1/readings?gauge={GAUGE}&{SPAN}").get_json()["items"]
    assert [one["value"] for one in found] == [24]
    assert furnished.get("/v1/corrections").get_json()["items"] == []


@on_both_engines
def test_a_reading_sent_a_hundred_times_counts_once(caller: MakeCaller, furnished: Caller) -> None:
    sensor = caller("sensor", gauges=[GAUGE])
    rows = [{"gauge": GAUGE, "value": 24, "at": AT}] * 20
    for _ in range(5):
        assert sensor.post("/v1/readings", {"readings": rows}).status_code == 200
    hour = furnished.get(f"/v1/readings?gauge={GAUGE}&{SPAN}&every=1d").get_json()["items"][0]
    assert hour["count"] == 1


def test_no_reading_of_the_future_is_taken(caller: MakeCaller, furnished: Caller) -> None:
    """It would hide that the gauge went silent."""
    sensor = caller("sensor", gauges=[GAUGE])
    for days in (1, 30, 36_500):
        at = (datetime.now(UTC) + timedelta(days=days)).isoformat()
        refused = sensor.post("/v1/readings", {"gauge": GAUGE, "value": 24, "at": at})
        assert refused.status_code == 422, refused.get_data(as_text=True)


def test_a_sensor_hides_nothing_of_what_was_read(caller: MakeCaller, furnished: Caller) -> None:
    sensor = caller("sensor", gauges=[GAUGE])
    span = {"gauge": GAUGE, "from": AT, "to": "2026-11-20T11:00:00Z", "reason": "x"}
    assert sensor.post("/v1/exclusions", span).status_code == 403
    assert sensor.delete(f"/v1/gauges/{GAUGE}").status_code == 403
    assert sensor.patch(f"/v1/gauges/{GAUGE}", {"plausible_high": "99 degC"}).status_code == 403


def test_the_last_keeper_does_not_lock_the_room_by_mistake_for_good(keeper: Caller) -> None:
    """Revoking the last keeper's key is refused, or mended on the host by `weirbook key add` (tests/test_cli.py)."""
    answered = keeper.delete("/v1/keys/keeper")
    assert answered.status_code in (204, 409)
    assert keeper.get("/v1/room").status_code == (401 if answered.status_code == 204 else 200)
