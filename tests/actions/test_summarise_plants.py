"""Plants in a week: what was put in, lost and harvested, each where it stood then."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from harness import Caller
from plant_scenes import plant, set_up_kinds, tell

from weirbook.actions.summarise_plants import plants_of_week
from weirbook.app import Service
from weirbook.engine.times import instant_ms
from weirbook.record.database import enter_room
from weirbook.record.names import find_place


def week(
    app: Service, room_id: int, inside: Callable[[int], bool] = lambda place: True
) -> dict[str, list[dict[str, Any]]]:
    with app.database.read() as session:
        enter_room(session, room_id)
        start, end = instant_ms("2026-06-08T00:00:00Z"), instant_ms("2026-06-15T00:00:00Z")
        return plants_of_week(session, start, end, inside)


def place_id(app: Service, room_id: int, path: str) -> int:
    with app.database.read() as session:
        enter_room(session, room_id)
        return find_place(session, path).id


def test_a_week_tells_plantings_losses_and_harvests(app: Service, room_id: int, furnished: Caller) -> None:
    set_up_kinds(furnished)
    assert week(app, room_id) == {"plantings": [], "losses": [], "harvests": []}
    early = plant(furnished, "2026-06-01", spot="Front")
    plant(furnished, "2026-06-15")
    new = plant(furnished, "2026-06-09", kind="cress", place="sections/rack-return-1", method="basket")
    tell(furnished, early, "uprooted", "2026-06-08", by="Loaches")
    tell(furnished, early, "replanted", "2026-06-10", spot="Back")
    tell(furnished, early, "trimmed", "2026-06-11")
    tell(furnished, early, "moved", "2026-06-12", to_place="sections/rack-return-1")
    tell(furnished, early, "harvested", "2026-06-13", wet_mass="30 g", cover="4 %")
    tell(furnished, new, "lost", "2026-06-14")
    told = week(app, room_id)
    assert [(one["kind"], one["spot"], one["at"][8:10], one["again"]) for one in told["plantings"]] == [
        ("cress", None, "09", False), ("java-moss", "Back", "10", True),
    ]  # fmt: skip
    assert [(one["place"], one["outcome"], one["by"], one["spot"]) for one in told["losses"]] == [
        ("tanks/nursery", "uprooted", "Loaches", "Front"), ("sections/rack-return-1", "lost", None, None),
    ]  # fmt: skip
    (cut,) = told["harvests"]
    assert (cut["place"], cut["wet_mass"], cut["cover"]) == (
        "sections/rack-return-1", {"value": 30, "unit": "g"}, {"value": 4, "unit": "%"},
    )  # fmt: skip
    nursery = place_id(app, room_id, "tanks/nursery")
    there = week(app, room_id, lambda place: place == nursery)
    assert (len(there["plantings"]), len(there["losses"]), there["harvests"]) == (1, 1, [])
