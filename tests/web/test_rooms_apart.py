"""Two rooms in one database whose inside numbers and handles cross: neither is seen or moved from the other."""

from __future__ import annotations

from typing import Any

import pytest
from contract_document import operations
from harness import FURNITURE, Caller, on_both_engines
from pictures import drawn, jpeg

from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.app import Service
from weirbook.record.access import Role
from weirbook.record.database import enter_room, now_ms
from weirbook.watcher import watch_once

AT = "2026-11-20T10:00:00Z"
LISTS = (
    "systems",
    "tanks",
    "sumps",
    "sections",
    "pumps",
    "gauges",
    "targets",
    "journal",
    "attachments",
    "helpers",
    "tasks",
    "tasks/due",
    "findings",
    "exclusions",
    "corrections",
    "parameters",
    "latest",
    "room",
    "summaries/weekly?week=2026-W47",
    "systems/rill/timeline?from=2026-11-01T00:00:00Z",
    "systems/rill/what-changed",
    "systems/rill/maturity",
    "readings?gauge=nursery-temperature&from=2026-11-01T00:00:00Z",
    "alerts",
    "species",
    "groups",
    "stock-entries",
    "samples",
    "feeding-responses",
    "quarantines",
    "transfers",
    "plant-kinds",
    "plantings",
    "planting-events",
    "trials",
    "excursions?from=2026-11-01T00:00:00Z",
    "changes?limit=1000",
    "audit",
    "followers",
    "search?q=quietwater&limit=100",
    "search?q=loudwater&limit=100",
)


@pytest.fixture
def neighbour(app: Service, furnished: Caller) -> Caller:
    """The keeper of a second room: the same names, numbered inside the other way round."""
    with app.database.write() as session:
        room = open_room(session, name="Next door", time_zone="Asia/Kolkata", now=now_ms())
        enter_room(session, room.room_id)
        _, secret = make_key(session, name="neighbour", role=Role.KEEPER, now=now_ms())
    keeper = Caller(app.test_client(), secret)
    for name in ("Decoy", "Cellar"):
        keeper.post("/v1/systems", {"name": name})
    tank = {**FURNITURE[1][1], "name": "Cellar tank", "system": "cellar"}
    keeper.post("/v1/tanks", tank)
    keeper.post("/v1/pumps", {"name": "Cellar pump", "to_tank": "cellar-tank", "rated_flow": "1 L/h"})
    for path, body in FURNITURE:
        assert keeper.post(path, body).status_code == 201
    return keeper


def fill(keeper: Caller, mark: str, value: float) -> None:
    keeper.post("/v1/readings", {"gauge": "nursery-temperature", "value": value, "at": AT})
    keeper.post(
        "/v1/readings?on_conflict=correct", {"gauge": "nursery-temperature", "value": value + 1, "at": AT}
    )
    keeper.post("/v1/journal", {"words": mark, "place": "tanks/nursery"})
    keeper.post("/v1/targets", {"place": "room", "parameter": "temperature", "high": value, "valid_from": AT})
    photo = jpeg(drawn(seed=len(mark)))
    keeper("POST", f"/v1/attachments?words={mark}&taken_at={AT}", photo, Content_Type="image/jpeg")
    span = {"gauge": "nursery-temperature", "from": AT, "to": "2026-11-20T10:00:01Z", "reason": mark}
    keeper.post("/v1/exclusions", span)
    keeper.post("/v1/helpers", {"name": mark, "handle": "bea"})
    task = {
        "title": mark,
        "about": "tanks/nursery",
        "helper": "bea",
        "schedule": {"kind": "calendar", "rule": "FREQ=DAILY", "start": "2026-11-18T10:00"},
        "effective_at": "2026-11-18T00:00:00Z",
    }
    made = keeper.post("/v1/tasks", task).get_json()["id"]
    keeper.post(f"/v1/tasks/{made}/completions", {"occurrence": "2026-11-19T10:00", "note": mark})
    keeper.post("/v1/parameters", {"name": f"{mark} tint", "kind": "score", "join": "plain"})
    fill_water(keeper, mark, value)
    fill_fish(keeper, mark, value)


def fill_fish(keeper: Caller, mark: str, value: float) -> None:
    """Fish, quarantine, plants and a trial, by the same handles in every room."""

    def made(path: str, body: dict[str, Any]) -> str:
        answered = keeper.post(f"/v1/{path}", body)
        assert answered.status_code == 201, answered.get_data(as_text=True)
        return str(answered.get_json().get("id"))

    made("species", {"name": mark, "handle": "barb", "notes": mark})
    group = made("groups", {"species": "barb", "tank": "nursery", "name": mark, "wanted": round(value)})
    came = {"kind": "arrival", "group": group, "number": round(value), "source": mark, "happened_at": AT}
    made("stock-entries", came)
    made("samples", {"group": group, "mass": f"{value} mg", "sampled_at": AT, "words": mark})
    made(
        "feeding-responses", {"group": group, "feed": "granules", "response": 5, "seen_at": AT, "words": mark}
    )
    made("quarantines", {"tank": "nursery", "started_at": AT, "notes": mark})
    made("transfers", {"what": "nets", "to_place": "tanks/nursery", "moved_at": AT, "words": mark})
    made("plant-kinds", {"name": mark, "handle": "moss", "growth_form": "attached"})
    stand = {"kind": "moss", "place": "tanks/nursery", "method": "on_wood", "planted_at": AT, "words": mark}
    planting = made("plantings", {**stand, "review_days": []})
    made("planting-events", {"planting": planting, "kind": "trimmed", "happened_at": AT, "words": mark})
    made(
        "trials",
        {
            "question": mark,
            "varied": mark,
            "place": "tanks/nursery",
            "phases": [{"setting": mark, "from": AT}],
            "outcomes": [{"gauge": "nursery-temperature"}],
        },
    )


def fill_water(keeper: Caller, mark: str, value: float) -> None:
    """Food, waters and doses, by the same handles in every room."""
    keeper.post("/v1/feeds", {"name": mark, "handle": "granules", "protein": "40 %"})
    fed = [{"feed": "granules", "amount": f"{value} mg"}]
    keeper.post("/v1/rations", {"tank": "nursery", "valid_from": AT, "feeds": fed, "notes": mark})
    feeding = {"tank": "nursery", "feed": "granules", "amount": f"{value} mg", "fed_at": AT, "words": mark}
    keeper.post("/v1/feedings", feeding)
    keeper.post("/v1/source-waters", {"name": mark, "handle": "tap", "kind": "tap"})
    keeper.post("/v1/source-waters", {"name": f"{mark} mix", "handle": "mix", "kind": "prepared"})
    found = [{"parameter": "nitrate", "value": f"{value} mg/L NO3"}]
    keeper.post("/v1/water-reports", {"source": "tap", "sampled_at": AT, "values": found, "notes": mark})
    blend = [{"source": "tap", "share": "100 %"}]
    keeper.post("/v1/preparations", {"water": "mix", "valid_from": AT, "blend": blend, "notes": mark})
    drip = {"system": "rill", "kind": "drip", "flow": f"{value} mL/d", "source": "tap"}
    keeper.post("/v1/standing-exchanges", {**drip, "valid_from": AT, "notes": mark})
    changed = {"place": "tanks/nursery", "volume": f"{value} mL", "source": "tap", "changed_at": AT}
    keeper.post("/v1/water-changes", {**changed, "words": mark})
    keeper.post("/v1/products", {"name": mark, "handle": "bottle", "notes": mark})
    dose = {"place": "systems/rill", "product": "bottle", "volume": f"{value} mL", "dosed_at": AT}
    keeper.post("/v1/doses", {**dose, "words": mark})


def everything(keeper: Caller) -> dict[str, Any]:
    found = {}
    for path in LISTS:
        answered = keeper.get(f"/v1/{path}")
        assert answered.status_code == 200, path
        found[path] = answered.get_json()
    return found


def first_id(keeper: Caller, path: str) -> str:
    """A record of the caller's that the neighbour will reach for; `fill` must make one of every kind."""
    rows = keeper.get(path).get_json()["items"]
    assert rows, f"fill() leaves {path} empty, so that nothing is there to be protected"
    return str(rows[0]["id"])


@on_both_engines
def test_a_hostile_neighbour_with_the_same_names_reads_and_changes_nothing(
    app: Service, furnished: Caller, neighbour: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Both looks at one instant: findings tell in words how long a sensor has been silent.
    looked_at = now_ms()
    monkeypatch.setattr("weirbook.web.perform.now_ms", lambda: looked_at)
    fill(furnished, "Quietwater", 22.25)
    fill(neighbour, "Loudwater", 28.75)
    watch_once(app.database, looked_at)  # both thermometers have been silent for days
    before = everything(furnished)
    assert "Loudwater" not in str(before)
    assert "Quietwater" not in str(everything(neighbour))
    for method, path, said in sorted(operations(), key=lambda one: one[0] == "PUT"):
        named = {**said["x-example"]["path"]}
        if "id" in named:
            named["id"] = first_id(furnished, f"/v1/{path.split('/')[2]}")
        if "completion_id" in named:
            named["completion_id"] = first_id(furnished, f"/v1/tasks/{named['id']}/completions")
        for name, value in named.items():
            path = path.replace(f"{{{name}}}", value)
        assert "{" not in path
        answered = neighbour(method, path, said["x-example"].get("body"), If_Match="*")
        assert answered.status_code < 500, (method, path)
        assert answered.status_code not in (401, 403, 405), (method, path)
        assert "Quietwater" not in answered.get_data(as_text=True), (method, path)
        if "id" in said["x-example"]["path"] and method != "PUT":
            assert answered.status_code == 404, (method, path)
    assert everything(furnished) == before


@on_both_engines
def test_handles_of_another_room_are_unknown_and_not_listed_in_the_refusal(
    furnished: Caller, neighbour: Caller
) -> None:
    refused = furnished.get("/v1/tanks/cellar-tank")
    assert refused.status_code == 404
    assert "cellar" not in refused.get_json()["detail"].replace("'cellar-tank'", "")
    for path, body in (
        ("/v1/tanks", {**FURNITURE[1][1], "name": "X", "system": "cellar"}),
        ("/v1/pumps", {"name": "X", "to_tank": "cellar-tank"}),
        ("/v1/journal", {"words": "x", "place": "tanks/cellar-tank"}),
        ("/v1/targets", {"place": "systems/cellar", "parameter": "ph", "high": 7, "valid_from": AT}),
        ("/v1/readings", {"place": "systems/cellar", "parameter": "ph", "value": 7}),
        ("/v1/keys", {"name": "x", "role": "sensor", "gauges": ["cellar-gauge"]}),
    ):
        answered = furnished.post(path, body)
        assert answered.status_code == 422, path
        assert "next door" not in answered.get_data(as_text=True).lower()
    assert furnished.patch("/v1/tanks/nursery", {"system": "cellar"}).status_code == 422


@on_both_engines
def test_filters_look_into_the_callers_room_alone(furnished: Caller, neighbour: Caller) -> None:
    """Inside, pump 1 here feeds tank 2, and number 2 next door is another thing altogether."""
    here = furnished.get("/v1/pumps?system=rill").get_json()["items"]
    assert [one["handle"] for one in here] == ["rack-pump"]
    there = neighbour.get("/v1/pumps?system=rill").get_json()["items"]
    assert [one["handle"] for one in there] == ["rack-pump"]
    cellar = neighbour.get("/v1/pumps?system=cellar").get_json()["items"]
    assert [one["handle"] for one in cellar] == ["cellar-pump"]
    assert neighbour.get("/v1/pumps?system=decoy").get_json()["items"] == []


@on_both_engines
def test_an_answer_counts_the_callers_water_alone(furnished: Caller, neighbour: Caller) -> None:
    """300 L and 33.75 L in both rooms, whatever stands next door; 600 US gallons are 2271.247 L."""
    for keeper in (furnished, neighbour):
        path = "/v1/systems/rill/answers/turnover?format=text&result=turnovers_per_hour"
        assert float(keeper.get(path).get_data(as_text=True)) == pytest.approx(
            2271.2470704 / 333.75, rel=1e-9
        )


@on_both_engines
def test_a_cursor_from_another_room_is_only_a_place_in_ones_own_list(
    furnished: Caller, neighbour: Caller
) -> None:
    for words in ("theirs 1", "theirs 2", "theirs 3"):
        neighbour.post("/v1/journal", {"words": words, "happened_at": AT})
    furnished.post("/v1/journal", {"words": "ours", "happened_at": "2026-11-19T10:00:00Z"})
    cursor = neighbour.get("/v1/journal?limit=1").get_json()["next"]
    page = furnished.get(f"/v1/journal?cursor={cursor}").get_json()
    assert [one["words"] for one in page["items"]] == ["ours"]


@on_both_engines
def test_the_same_id_may_be_used_in_two_rooms(furnished: Caller, neighbour: Caller) -> None:
    path = "/v1/journal/01936c5e-8f00-7000-8000-00000000aaaa"
    assert furnished("PUT", path, {"words": "ours"}).status_code == 201
    assert neighbour.get(path).status_code == 404
    assert neighbour("PUT", path, {"words": "theirs"}).status_code == 201
    assert neighbour.delete(path).status_code == 204
    assert furnished.get(path).get_json()["words"] == "ours"


@on_both_engines
def test_the_same_gauge_and_instant_in_two_rooms_are_two_readings(
    furnished: Caller, neighbour: Caller
) -> None:
    for keeper, value in ((furnished, 21), (neighbour, 29)):
        sent = keeper.post("/v1/readings", {"gauge": "nursery-temperature", "value": value, "at": AT})
        assert sent.get_json()["stored"] == 1
    for keeper, value in ((furnished, 21), (neighbour, 29)):
        assert keeper.get("/v1/gauges/nursery-temperature/latest").get_json()["value"] == value
        hour = keeper.get(
            "/v1/readings?gauge=nursery-temperature&from=2026-11-20T10:00:00Z&to=2026-11-20T11:00:00Z&every=1h"
        ).get_json()["items"][0]
        assert (hour["count"], hour["min"], hour["max"]) == (1, value, value)
