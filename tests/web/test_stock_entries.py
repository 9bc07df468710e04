"""The ledger of heads: appended, never edited, never below zero."""

from __future__ import annotations

import uuid

import pytest
from fish_scenes import DAY, entry, group, heads, refused, species
from harness import Caller, MakeCaller, made, on_both_engines, pointers

FURTHER_TANK = {
    "name": "Long tank",
    "system": "rill",
    "use": "display",
    "footprint": {"shape": "rectangle", "length": "1 m", "width": "40 cm"},
    "water_depth": "40 cm",
}


@pytest.fixture
def stocked(furnished: Caller) -> Caller:
    species(furnished)
    made(furnished, "tanks", FURTHER_TANK)
    return furnished


@on_both_engines
def test_the_head_count_is_the_sum_of_the_ledger(stocked: Caller) -> None:
    shoal = group(stocked)
    assert heads(stocked, shoal) == 0
    entry(stocked, "arrival", shoal, 12, 1, source="A breeder", price=36)
    entry(stocked, "birth", shoal, 5, 2)
    entry(stocked, "loss", shoal, 2, 3, cause="jumped", evidence="On the floor, dry.")
    entry(stocked, "missing", shoal, 1, 4)
    entry(stocked, "departure", shoal, 4, 5, price=12)
    assert heads(stocked, shoal) == 10
    rows = stocked.get(f"/v1/stock-entries?group={shoal}").get_json()["items"]
    assert [(one["kind"], one["heads_before"], one["heads_after"]) for one in rows] == [
        ("departure", 14, 10),
        ("missing", 15, 14),
        ("loss", 17, 15),
        ("birth", 12, 17),
        ("arrival", 0, 12),
    ]


@on_both_engines
def test_a_move_is_one_entry_on_both_sides(stocked: Caller) -> None:
    here, there = group(stocked), group(stocked, "long-tank")
    entry(stocked, "arrival", here, 9)
    moved = entry(stocked, "move", here, 4, 2, to_group=there)
    assert (heads(stocked, here), heads(stocked, there)) == (5, 4)
    for side in (here, there):
        rows = stocked.get(f"/v1/stock-entries?group={side}&kind=move").get_json()["items"]
        assert [one["id"] for one in rows] == [moved["id"]]


def test_fish_that_move_to_a_tank_join_the_group_of_their_kind_and_origin_there(stocked: Caller) -> None:
    here = group(stocked, origin="Bred here")
    other = group(stocked, "long-tank", origin="Wild")
    entry(stocked, "arrival", here, 9)
    first = entry(stocked, "move", here, 2, 2, to_tank="long-tank")["to_group"]
    again = entry(stocked, "move", here, 3, 3, to_tank="long-tank")["to_group"]
    assert first == again != other
    made_there = stocked.get(f"/v1/groups/{first}").get_json()
    assert (made_there["tank"], made_there["origin"], made_there["heads"]) == ("long-tank", "Bred here", 5)


def test_a_loss_larger_than_the_count_is_refused_saying_what_there_was(stocked: Caller) -> None:
    shoal = group(stocked)
    entry(stocked, "arrival", shoal, 3)
    answered = refused(stocked, kind="loss", group=shoal, number=4, cause="unknown")
    assert pointers(answered) == ["/number"]
    assert "had 3 at that time" in answered.get_json()["errors"][0]["message"]
    assert heads(stocked, shoal) == 3


def test_an_entry_of_the_past_may_not_leave_a_later_one_without_fish(stocked: Caller) -> None:
    shoal = group(stocked)
    entry(stocked, "arrival", shoal, 3, 1)
    later = entry(stocked, "departure", shoal, 3, 5)
    answered = refused(
        stocked, kind="loss", group=shoal, number=1, cause="unknown", happened_at=DAY.format(3)
    )
    assert pointers(answered) == ["/number"]
    assert later["id"] in answered.get_json()["errors"][0]["message"]


def test_a_count_that_differs_wants_an_explanation_and_makes_an_adjustment(stocked: Caller) -> None:
    shoal = group(stocked)
    entry(stocked, "arrival", shoal, 10)
    same = entry(stocked, "count", shoal, 10, 2)
    assert (same["heads_before"], same["heads_after"]) == (10, 10)
    answered = refused(stocked, kind="count", group=shoal, number=8, happened_at=DAY.format(3))
    assert pointers(answered) == ["/words"]
    assert "ledger says 10, you counted 8" in answered.get_json()["errors"][0]["message"]
    differs = entry(stocked, "count", shoal, 8, 3, words="Two fewer; the lid was open.")
    assert (differs["heads_before"], differs["heads_after"]) == (10, 8)
    # A loss found out later explains part of it, and the count stands.
    entry(stocked, "loss", shoal, 1, 2, cause="jumped")
    shown = stocked.get(f"/v1/stock-entries/{differs['id']}").get_json()
    assert (shown["heads_before"], shown["heads_after"], heads(stocked, shoal)) == (9, 8, 8)


@on_both_engines
def test_a_wrong_entry_is_withdrawn_by_another_and_stays_readable(stocked: Caller) -> None:
    shoal = group(stocked)
    wrong = entry(stocked, "arrival", shoal, 60)
    took = made(
        stocked, "stock-entries", {"kind": "withdrawal", "withdraws": wrong["id"], "words": "Six, not sixty."}
    )
    assert (took["group"], took["number"], took["happened_at"]) == (shoal, 0, wrong["happened_at"])
    entry(stocked, "arrival", shoal, 6)
    assert heads(stocked, shoal) == 6
    shown = stocked.get(f"/v1/stock-entries/{wrong['id']}").get_json()
    assert (shown["withdrawn_by"], shown["heads_after"]) == (took["id"], None)
    body = {"kind": "withdrawal", "withdraws": wrong["id"], "words": "Again."}
    assert stocked.post("/v1/stock-entries", body).status_code == 409
    body = {"kind": "withdrawal", "withdraws": took["id"], "words": "No."}
    assert pointers(stocked.post("/v1/stock-entries", body)) == ["/withdraws"]


def test_a_withdrawal_may_not_leave_the_group_short(stocked: Caller) -> None:
    shoal = group(stocked)
    came = entry(stocked, "arrival", shoal, 6)
    entry(stocked, "loss", shoal, 2, 3)
    body = {"kind": "withdrawal", "withdraws": came["id"], "words": "Never came."}
    assert pointers(stocked.post("/v1/stock-entries", body)) == ["/withdraws"]
    assert heads(stocked, shoal) == 4


def test_a_withdrawn_move_is_taken_back_on_both_sides(stocked: Caller) -> None:
    here, there = group(stocked), group(stocked, "long-tank")
    entry(stocked, "arrival", here, 9)
    moved = entry(stocked, "move", here, 4, 2, to_group=there)
    body = {"kind": "withdrawal", "withdraws": moved["id"], "words": "They stayed."}
    made(stocked, "stock-entries", body)
    assert (heads(stocked, here), heads(stocked, there)) == (9, 0)
    assert pointers(refused(stocked, kind="loss", group=there, number=1, cause="unknown")) == ["/number"]
    again = entry(stocked, "move", here, 4, 3, to_group=there)
    entry(stocked, "loss", there, 1, 4)
    body = {"kind": "withdrawal", "withdraws": again["id"], "words": "They stayed."}
    assert pointers(stocked.post("/v1/stock-entries", body)) == ["/withdraws"]


def test_the_ledger_takes_no_edit_and_no_deletion(stocked: Caller) -> None:
    shoal = group(stocked)
    made_id = entry(stocked, "arrival", shoal, 6)["id"]
    path = f"/v1/stock-entries/{made_id}"
    for answered in (stocked.patch(path, {"number": 7}), stocked.delete(path)):
        assert answered.status_code == 405
        assert "POST a withdrawal that names it" in answered.get_json()["detail"]
    assert "withdrawal" not in stocked("POST", path, {}).get_json()["detail"]
    assert stocked.delete(f"/v1/groups/{shoal}").status_code == 409


def test_refusals_of_ids_and_of_numbers_in_quotes_say_what_to_do(stocked: Caller) -> None:
    shoal = group(stocked)
    for said, words in (
        ({"kind": "arrival", "group": "Left barbs", "number": 1}, "GET /v1/groups lists them."),
        ({"kind": "arrival", "group": shoal, "number": "6"}, "to 1000000, without quotes."),
        ({"kind": "arrival", "group": shoal, "number": 6, "price": "16"}, ", without quotes."),
        ({"kind": "withdrawal", "withdraws": "x", "words": "No."}, "GET /v1/stock-entries lists them."),
    ):
        (error,) = refused(stocked, **said).get_json()["errors"]
        assert error["message"].endswith(words), error
    (error,) = refused(stocked, kind="arrival", group=shoal, number="six").get_json()["errors"]
    assert "quotes" not in error["message"]
    other = {"kind": "arrival", "group": shoal, "number": 3, "happened_at": "2026-11-01T10:00:00Z"}
    path = "/v1/stock-entries/01936c5e-8f00-7000-8000-00000000aaaa"
    assert stocked("PUT", path, other).status_code == 201
    assert "withdrawal" in stocked("PUT", path, {**other, "number": 4}).get_json()["detail"]


@pytest.mark.parametrize(
    ("said", "at"),
    [
        ({"kind": "loss", "number": 1}, "/cause"),
        ({"kind": "loss", "number": 1, "cause": "gone"}, "/cause"),
        ({"kind": "loss", "number": 0, "cause": "unknown"}, "/number"),
        ({"kind": "loss", "number": 1.5, "cause": "unknown"}, "/number"),
        ({"kind": "loss", "number": -1, "cause": "unknown"}, "/number"),
        ({"kind": "loss", "cause": "unknown"}, "/number"),
        ({"kind": "birth", "number": 1, "cause": "unknown"}, "/cause"),
        ({"kind": "birth", "number": 1, "source": "A shop"}, "/source"),
        ({"kind": "birth", "number": 1, "withdraws": str(uuid.uuid4())}, "/withdraws"),
        ({"kind": "arrival", "number": 1, "keeps_clock": "They are well."}, "/keeps_clock"),
        ({"kind": "arrival", "number": 1, "happened_at": "2199-01-01T00:00:00Z"}, "/happened_at"),
        ({"kind": "move", "number": 1}, "/to_group"),
        ({"kind": "move", "number": 1, "to_tank": "nursery"}, "/to_tank"),
        ({"kind": "move", "number": 1, "to_tank": "nowhere"}, "/to_tank"),
        ({"kind": "arrival", "number": 1, "to_tank": "long-tank"}, "/to_tank"),
        ({"kind": "departure", "number": 1, "batch": str(uuid.uuid4())}, "/batch"),
        ({"kind": "withdrawal", "words": "x"}, "/withdraws"),
        (
            {"kind": "withdrawal", "words": "x", "withdraws": str(uuid.uuid4())},
            "/withdraws",
        ),
        ({"kind": "sale", "number": 1}, "/kind"),
        ({"kind": "birth", "number": 1, "group": str(uuid.uuid4())}, "/group"),
        ({"kind": "birth", "number": 1, "group": "nursery"}, "/group"),
        ({"kind": "birth", "number": 10_000_000}, "/number"),
    ],
)
def test_an_entry_that_can_not_be_is_refused_at_the_fault(
    stocked: Caller, said: dict[str, object], at: str
) -> None:
    shoal = group(stocked)
    entry(stocked, "arrival", shoal, 6)
    assert pointers(refused(stocked, **{"group": shoal, **said})) == [at]
    assert heads(stocked, shoal) == 6


def test_a_move_to_the_same_tank_or_to_another_species_is_refused(stocked: Caller) -> None:
    here, beside = group(stocked), group(stocked)
    made(stocked, "species", {"name": "Spotted goby"})
    gobies = made(stocked, "groups", {"species": "spotted-goby", "tank": "long-tank"})["id"]
    entry(stocked, "arrival", here, 6)
    assert pointers(refused(stocked, kind="move", group=here, number=1, to_group=beside)) == ["/to_group"]
    assert pointers(refused(stocked, kind="move", group=here, number=1, to_group=here)) == ["/to_group"]
    assert pointers(refused(stocked, kind="move", group=here, number=1, to_group=gobies)) == ["/to_group"]


def test_a_batch_is_one_by_which_fish_came_into_the_group(stocked: Caller) -> None:
    here, there = group(stocked), group(stocked, "long-tank")
    first = entry(stocked, "arrival", here, 6)["id"]
    moved = entry(stocked, "move", here, 3, 2, to_group=there, batch=first)["id"]
    entry(stocked, "loss", there, 1, 3, batch=moved)
    assert pointers(refused(stocked, kind="loss", group=there, number=1, cause="unknown", batch=first)) == [
        "/batch"
    ]


def test_an_arrival_into_stocked_water_without_quarantine_is_recorded_as_such(stocked: Caller) -> None:
    here, beside = group(stocked), group(stocked, "long-tank")
    assert entry(stocked, "arrival", here, 6)["straight_in"] is False
    # The long tank was empty, but shares the rill's water.
    assert entry(stocked, "arrival", beside, 2, 2)["straight_in"] is True
    assert entry(stocked, "birth", beside, 2, 3)["straight_in"] is False


@on_both_engines
def test_an_entry_under_an_id_of_its_own_is_safe_to_repeat(stocked: Caller) -> None:
    shoal = group(stocked)
    own = "01936c5e-8f00-7000-8000-00000000abcd"
    body = {"kind": "arrival", "group": shoal, "number": 4, "happened_at": DAY.format(1)}
    assert stocked("PUT", f"/v1/stock-entries/{own}", body).status_code == 201
    assert stocked("PUT", f"/v1/stock-entries/{own}", body).status_code == 200
    assert stocked("PUT", f"/v1/stock-entries/{own}", {**body, "number": 5}).status_code == 409
    assert heads(stocked, shoal) == 4


def test_helpers_enter_stock_and_viewers_read_it(stocked: Caller, caller: MakeCaller) -> None:
    shoal = group(stocked)
    helper, viewer = caller("helper", name="Morning round"), caller("viewer")
    body = {"kind": "arrival", "group": shoal, "number": 4, "happened_at": DAY.format(1)}
    assert helper.post("/v1/stock-entries", body).get_json()["author"] == "Morning round"
    assert viewer.post("/v1/stock-entries", body).status_code == 403
    assert len(viewer.get("/v1/stock-entries").get_json()["items"]) == 1


@on_both_engines
def test_entries_are_listed_by_tank_system_kind_and_time_and_as_csv(stocked: Caller) -> None:
    here, there = group(stocked), group(stocked, "long-tank")
    entry(stocked, "arrival", here, 6, 1)
    entry(stocked, "move", here, 2, 3, to_group=there)
    entry(stocked, "loss", there, 1, 5)

    def kinds(query: str) -> list[str]:
        return [one["kind"] for one in stocked.get(f"/v1/stock-entries?{query}").get_json()["items"]]

    assert kinds("tank=long-tank") == ["loss", "move"]
    assert kinds("system=rill") == ["loss", "move", "arrival"]
    assert kinds("kind=move") == ["move"]
    assert kinds(f"from={DAY.format(2)}&to={DAY.format(5)}") == ["move"]
    assert kinds("group=" + there + "&kind=arrival") == []
    table = stocked.get("/v1/stock-entries?format=csv").get_data(as_text=True).splitlines()
    assert len(table) == 4
    assert table[0].startswith("version,") or "heads_after" in table[0]


def test_no_more_leave_a_batch_than_it_brought(stocked: Caller) -> None:
    shoal = group(stocked)
    came = entry(stocked, "arrival", shoal, 6)["id"]
    entry(stocked, "birth", shoal, 20, 2)
    entry(stocked, "loss", shoal, 4, 3, batch=came)
    answered = refused(stocked, kind="departure", group=shoal, number=3, batch=came)
    assert pointers(answered) == ["/batch"]
    assert "6 came by it, and 7" in answered.get_json()["errors"][0]["message"]


def test_a_line_before_a_count_that_agreed_may_not_make_it_differ_unsaid(stocked: Caller) -> None:
    shoal = group(stocked)
    entry(stocked, "arrival", shoal, 7)
    exact = entry(stocked, "count", shoal, 7, 4)
    answered = refused(
        stocked, kind="loss", group=shoal, number=2, cause="unknown", happened_at=DAY.format(3)
    )
    assert pointers(answered) == ["/happened_at"]
    assert exact["id"] in answered.get_json()["errors"][0]["message"]
    assert heads(stocked, shoal) == 7


@on_both_engines
def test_a_move_told_by_its_tank_is_safe_to_repeat(stocked: Caller) -> None:
    shoal = group(stocked)
    entry(stocked, "arrival", shoal, 7)
    path = "/v1/stock-entries/01936c5e-8f00-7000-8000-00000000abce"
    body = {"kind": "move", "group": shoal, "number": 2, "to_tank": "long-tank", "happened_at": DAY.format(2)}
    assert stocked("PUT", path, body).status_code == 201
    assert stocked("PUT", path, body).status_code == 200
    assert stocked("PUT", path, {**body, "number": 3}).status_code == 409


def test_a_withdrawal_takes_number_and_instant_from_what_it_takes_back(stocked: Caller) -> None:
    came = entry(stocked, "arrival", group(stocked), 6)["id"]
    for said, at in (({"number": 6}, "/number"), ({"happened_at": DAY.format(2)}, "/happened_at")):
        body = {"kind": "withdrawal", "withdraws": came, "words": "x", **said}
        assert pointers(stocked.post("/v1/stock-entries", body)) == [at]
