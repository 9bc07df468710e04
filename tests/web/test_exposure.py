"""Which groups may have exposed which: fish, water, things."""

from __future__ import annotations

from typing import Any

import pytest
from fish_scenes import DAY, entry, group, species
from harness import Caller, made, on_both_engines

POND_TANKS = (("Pond", "pond"), ("Upper", "rill"), ("Cell", "pond"))


@pytest.fixture
def fish_room(furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> Caller:
    """The nursery and another tank on the rill, two on the pond, a species; it is 25 November."""
    from water_scenes import stop_the_clock

    stop_the_clock(monkeypatch)
    made(furnished, "systems", {"name": "Pond"})
    for name, system in POND_TANKS:
        made(
            furnished,
            "tanks",
            {
                "name": name,
                "system": system,
                "use": "grow-out",
                "footprint": {"shape": "rectangle", "length": "100 cm", "width": "50 cm"},
                "rim_height": "55 cm",
                "water_depth": "50 cm",
            },
        )
    species(furnished)
    return furnished


def exposure(call: Caller, of: str, query: str = "") -> dict[str, Any]:
    answered = call.get(f"/v1/groups/{of}/exposure{query}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    found: dict[str, Any] = answered.get_json()
    return found


def brief(found: dict[str, Any]) -> list[tuple[Any, ...]]:
    return [(one["group"], one["way"], one["first_from"][:10], one["steps"]) for one in found["items"]]


@on_both_engines
def test_tanks_of_one_system_expose_each_other_and_a_loss_to_disease_is_named(fish_room: Caller) -> None:
    mine, other, apart = group(fish_room), group(fish_room, "upper"), group(fish_room, "pond")
    for one in (mine, other, apart):
        entry(fish_room, "birth", one, 20, 1)
    entry(fish_room, "loss", other, 3, 5, cause="disease")
    entry(fish_room, "loss", apart, 4, 6, cause="disease")
    entry(fish_room, "loss", mine, 1, 9)

    found = exposure(fish_room, mine)

    assert brief(found) == [(other, "shared water", "2026-11-01", 1)]
    row = found["items"][0]
    assert (row["water"], row["to"], row["lost_to_disease"], row["in_window"]) == (
        "systems/rill",
        None,
        3,
        True,
    )
    assert found["verdict"] == "found"
    assert found["says"] == [
        "Banded barb in upper, by shared water since 2026-11-01, lost 3 to disease.",
        "Since then: none that the record tells of.",
    ]
    assert (found["window_to"], found["why_window"]) == (
        DAY.format(9),
        "its last loss to disease or unknown causes",
    )


def test_fish_that_jumped_follow_no_exposure_and_the_answer_says_so(fish_room: Caller) -> None:
    mine, other = group(fish_room), group(fish_room, "upper")
    for one in (mine, other):
        entry(fish_room, "birth", one, 20, 1)
    entry(fish_room, "loss", other, 1, 4, cause="jumped")
    entry(fish_room, "loss", mine, 2, 9, cause="jumped")

    found = exposure(fish_room, mine)

    assert found["verdict"] == "none found"
    assert found["says"][0] == (
        "No group that shared water with Banded barb in nursery was brought in or lost fish to disease or unknown causes"
        " in the 42 days before 2026-11-09 (its last loss), by fish, water or things that the record tells of."
    )
    assert "not-recorded" in {one["code"] for one in found["cautions"]}


def test_fish_that_moved_in_bring_what_they_met_with_the_record_of_the_move(fish_room: Caller) -> None:
    first, second, mine = group(fish_room, "pond"), group(fish_room, "cell"), group(fish_room)
    for one in (second, mine):
        entry(fish_room, "birth", one, 20, 1)
    entry(fish_room, "arrival", first, 5, 2, source="A friend")
    moved = entry(fish_room, "move", second, 4, 7, to_group=mine)

    found = exposure(fish_room, mine)

    assert brief(found) == [
        (second, "fish moved", "2026-11-07", 1),
        (first, "fish moved", "2026-11-07", 2),
    ]
    assert {one["record"] for one in found["items"]} == {f"stock-entries/{moved['id']}"}
    assert found["items"][1]["walk"] == (
        "Banded barb in pond → shared water, 2026-11-02 → Banded barb in cell → fish moved, 2026-11-07 →"
        " Banded barb in nursery"
    )
    assert found["says"] == [
        "Banded barb in pond, by fish moved on 2026-11-07, 2 steps removed, were brought in on 2026-11-02 without quarantine."
    ]
    assert exposure(fish_room, mine, f"?from={DAY.format(8)}")["items"] == []
    forward = exposure(fish_room, first, "?direction=forward")
    assert {one["group"] for one in forward["items"]} == {second, mine}
    assert forward["says"][0] == "Banded barb in pond may have exposed 2 groups."
    assert (forward["verdict"], forward["window_from"]) == ("exposed, none ill so far", DAY.format(2))
    entry(fish_room, "loss", mine, 2, 9, cause="disease")
    assert exposure(fish_room, first, "?direction=forward")["verdict"] == "exposed, some lost"


@on_both_engines
def test_things_carry_over_unless_disinfected_and_from_outside_are_named(fish_room: Caller) -> None:
    ill, mine = group(fish_room, "pond"), group(fish_room)
    for one in (ill, mine):
        entry(fish_room, "birth", one, 20, 1)
    entry(fish_room, "loss", ill, 2, 3, cause="disease")
    net = {"what": "nets", "from_place": "tanks/cell", "to_place": "sections/rack-return-1"}
    made(fish_room, "transfers", {**net, "moved_at": DAY.format(4), "disinfected": "Dried for a week"})
    assert exposure(fish_room, mine)["items"] == []
    carried = made(fish_room, "transfers", {**net, "moved_at": DAY.format(5)})
    made(fish_room, "transfers", {"what": "plants", "to_place": "tanks/upper", "moved_at": DAY.format(6)})

    found = exposure(fish_room, mine)

    assert brief(found) == [(ill, "transfer", "2026-11-05", 1)]
    assert found["items"][0]["record"] == f"transfers/{carried['id']}"
    assert found["items"][0]["walk"] == "Banded barb in pond → nets, 2026-11-05 → Banded barb in nursery"
    assert "Plants from outside went into tanks/upper on 2026-11-06." in found["says"]
    assert [one["what"] for one in found["from_outside"]] == ["plants"]


def test_a_group_that_left_shortly_before_is_a_near_miss_until_a_residual_time_counts_it(
    fish_room: Caller,
) -> None:
    gone, mine, nursery = group(fish_room, "pond"), group(fish_room, "cell"), group(fish_room)
    entry(fish_room, "birth", gone, 5, 1)
    entry(fish_room, "loss", gone, 5, 3, cause="disease")
    entry(fish_room, "birth", nursery, 9, 1)
    entry(fish_room, "move", nursery, 5, 8, to_group=mine)

    found = exposure(fish_room, mine)

    assert [one["group"] for one in found["items"]] == [nursery]
    assert [(one["group"], one["left_at"]) for one in found["near_misses"]] == [(gone, DAY.format(3))]
    assert any("residual time" in words for words in found["says"])
    late = exposure(fish_room, mine, "?residual=6")
    assert {one["group"] for one in late["items"]} == {gone, nursery} and late["near_misses"] == []


def test_replumbing_ends_and_begins_exposure(fish_room: Caller) -> None:
    mine, other = group(fish_room), group(fish_room, "pond")
    for one in (mine, other):
        entry(fish_room, "birth", one, 20, 1)
    at = DAY.format(10)
    answered = fish_room.patch("/v1/tanks/pond", {"system": "rill", "effective_at": at})
    assert answered.status_code == 200, answered.get_data(as_text=True)
    assert brief(exposure(fish_room, mine)) == [(other, "shared water", "2026-11-10", 1)]


def test_an_arrival_of_its_own_and_a_group_without_fish_are_said(fish_room: Caller) -> None:
    mine, empty = group(fish_room), group(fish_room, "upper")
    entry(fish_room, "arrival", mine, 6, 2, source="A friend")
    found = exposure(fish_room, mine)
    assert found["verdict"] == "found" and found["own_arrivals"][0]["number"] == 6
    assert any("what they met before is not recorded" in words for words in found["says"])
    none = exposure(fish_room, empty)
    assert none["verdict"] == "unknown" and none["says"][0].startswith("Unknown, because")
    nobody = exposure(fish_room, empty, "?direction=forward")
    assert (nobody["verdict"], nobody["window_from"]) == ("nobody exposed", None)


def test_rows_come_as_csv_and_dates_in_order(fish_room: Caller) -> None:
    mine, other = group(fish_room), group(fish_room, "upper")
    entry(fish_room, "birth", mine, 20, 1)
    entry(fish_room, "birth", other, 2, 3)
    entry(fish_room, "loss", other, 2, 6, cause="jumped")
    found = exposure(fish_room, mine)
    assert [(one["what"], one["at"]) for one in found["dates"]] == [
        ("began", DAY.format(3)),
        ("ended", DAY.format(6)),
    ]
    table = fish_room.get(f"/v1/groups/{mine}/exposure?format=csv").get_data(as_text=True).splitlines()
    assert table[0].startswith("group,called,species,tank,way,steps,first_from,to") and other in table[1]


@pytest.mark.parametrize(("arrived", "verdict"), [(5, "found"), (6, "found"), (20, "none found")])
def test_what_came_into_a_water_after_a_thing_was_carried_from_it_does_not_count(
    fish_room: Caller, arrived: int, verdict: str
) -> None:
    other, mine = group(fish_room, "pond"), group(fish_room)
    for one in (other, mine):
        entry(fish_room, "birth", one, 20, 1)
    sponge = {"what": "media", "from_place": "tanks/pond", "to_place": "tanks/nursery"}
    made(fish_room, "transfers", {**sponge, "moved_at": DAY.format(6)})
    entry(fish_room, "arrival", other, 5, arrived, source="A friend")
    entry(fish_room, "loss", mine, 2, 22)

    found = exposure(fish_room, mine)

    assert found["verdict"] == verdict
    assert found["items"][0]["brought_in"] == (DAY.format(arrived) if arrived < 7 else None)


@pytest.mark.parametrize(
    ("lost", "number", "verdict"), [(9, 3, "found"), (10, 20, "found"), (12, 3, "none found")]
)
def test_a_loss_counts_until_the_sharing_of_water_ended_and_where_it_ended_it(
    fish_room: Caller, lost: int, number: int, verdict: str
) -> None:
    other, mine = group(fish_room, "upper"), group(fish_room)
    for one in (other, mine):
        entry(fish_room, "birth", one, 20, 1)
    if number < 20:
        parted = {"system": "pond", "effective_at": DAY.format(10)}
        assert fish_room.patch("/v1/tanks/upper", parted).status_code == 200
    entry(fish_room, "loss", other, number, lost, cause="disease")
    entry(fish_room, "loss", mine, 2, 22)
    assert exposure(fish_room, mine)["verdict"] == verdict


@pytest.mark.parametrize(("lost", "verdict"), [(4, "found"), (6, "none found")])
def test_in_a_chain_a_loss_counts_as_long_as_the_next_link_can_carry_it(
    fish_room: Caller, lost: int, verdict: str
) -> None:
    """Pond and cell share water to the end; from the cell fish were moved on the 5th, and never again."""
    first, second, mine = group(fish_room, "pond"), group(fish_room, "cell"), group(fish_room)
    for one in (first, second, mine):
        entry(fish_room, "birth", one, 20, 1)
    entry(fish_room, "move", second, 4, 5, to_group=mine)
    entry(fish_room, "loss", first, 3, lost, cause="disease")
    entry(fish_room, "loss", mine, 2, 22)
    assert exposure(fish_room, mine)["verdict"] == verdict


@on_both_engines
def test_what_came_since_the_last_loss_is_to_be_watched(fish_room: Caller) -> None:
    guppies, mine = group(fish_room, "pond", name="Neighbour's guppies"), group(fish_room)
    entry(fish_room, "birth", guppies, 4, happened_at="2026-10-20T10:00:00Z")
    entry(fish_room, "arrival", guppies, 20, happened_at="2026-10-27T10:00:00Z", source="A friend")
    entry(fish_room, "birth", mine, 20, 1)
    entry(fish_room, "loss", mine, 2, 19, cause="jumped")
    assert exposure(fish_room, mine)["verdict"] == "none found"
    plants = {"what": "plants", "from_place": "tanks/pond", "to_place": "tanks/nursery"}
    made(fish_room, "transfers", {**plants, "moved_at": DAY.format(24)})

    found = exposure(fish_room, mine)

    assert found["verdict"] == "none before, some since"
    assert found["says"][0].startswith("No group that shared water with Banded barb in nursery")
    assert found["says"][1:] == [
        "Since then: Neighbour's guppies, by plants carried on 2026-11-24, were brought in on 2026-10-27 without"
        " quarantine: look closely until 2027-01-05."
    ]
    assert found["since"] == {
        "from": DAY.format(19),
        "to": found["since"]["to"],
        "verdict": "found",
        "groups": [guppies],
        "watch_until": "2027-01-05T10:00:00Z",
    }
    entry(fish_room, "loss", mine, 1, 25, cause="disease")
    assert exposure(fish_room, mine)["verdict"] == "found"


def test_water_that_goes_on_being_shared_is_told_since_only_for_what_is_new(fish_room: Caller) -> None:
    mine, other = group(fish_room), group(fish_room, "upper")
    for one in (mine, other):
        entry(fish_room, "birth", one, 20, 1)
    entry(fish_room, "loss", other, 3, 5, cause="disease")
    entry(fish_room, "loss", mine, 1, 9)
    assert exposure(fish_room, mine)["since"]["verdict"] == "none found"
    entry(fish_room, "loss", other, 2, 12)
    assert exposure(fish_room, mine)["says"][1] == (
        "Since then: Banded barb in upper, by shared water since 2026-11-01, lost 2 to unknown causes:"
        " look closely until 2026-12-24."
    )


def test_a_tank_that_joins_with_fish_in_it_is_named_by_those_of_either_side(fish_room: Caller) -> None:
    mine, right = group(fish_room), group(fish_room, "pond", name="Right killies")
    for one in (mine, right):
        entry(fish_room, "birth", one, 20, 1)
    joined = {"system": "rill", "effective_at": DAY.format(14)}
    assert fish_room.patch("/v1/tanks/pond", joined).status_code == 200
    assert exposure(fish_room, mine)["says"][-1] == (
        "Right killies began to share its water on 2026-11-14, as their tank joined; none of them was lost to disease."
    )
    entry(fish_room, "loss", mine, 3, 16, cause="disease")
    assert exposure(fish_room, right)["says"][-1] == (
        "Banded barb in nursery began to share its water on 2026-11-14, as its own tank joined theirs;"
        " 3 of them lost to disease since."
    )


def test_days_are_said_by_the_rooms_clock(fish_room: Caller) -> None:
    """Ten in the morning UTC is midnight of the next day fourteen hours ahead."""
    mine, other = group(fish_room), group(fish_room, "upper")
    for one in (mine, other):
        entry(fish_room, "birth", one, 20, 1)
    entry(fish_room, "loss", other, 3, 5, cause="disease")
    assert fish_room.patch("/v1/room", {"time_zone": "Pacific/Kiritimati"}).status_code == 200
    found = exposure(fish_room, mine)
    assert found["says"][0] == "Banded barb in upper, by shared water since 2026-11-02, lost 3 to disease."
    assert "shared water, 2026-11-02" in found["items"][0]["walk"]


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("?direction=sideways", 422),
        ("?residual=-1", 422),
        ("?within=0", 422),
        (f"?from={DAY.format(9)}&to={DAY.format(9)}", 422),
        ("?until=now", 422),
    ],
)
def test_a_question_that_can_t_be_is_refused(fish_room: Caller, query: str, status: int) -> None:
    assert fish_room.get(f"/v1/groups/{group(fish_room)}/exposure{query}").status_code == status


def test_an_unknown_group_is_not_found(fish_room: Caller) -> None:
    assert fish_room.get("/v1/groups/01936c5e-8f00-7000-8000-00000000ffff/exposure").status_code == 404
