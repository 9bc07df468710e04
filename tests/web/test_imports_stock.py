"""The ledger of heads out of a keeper's spreadsheet: the oldest first, each line checked against the ledger as it then is."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from harness import FURNITURE, Caller, made, on_both_engines
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from import_scenes import refusals, send, stored, tried, verdicts

KIND = "stock-entries"
HEADER = "date,kind,species,tank,number,cause,to tank,notes\n"


@pytest.fixture
def stocked(furnished: Caller) -> Caller:
    """A room with a species and a second tank."""
    made(furnished, "species", {"name": "Guppy"})
    made(furnished, "tanks", {**copy.deepcopy(FURNITURE[1][1]), "name": "Teen tank"})
    return furnished


def heads(caller: Caller) -> dict[str, int]:
    return {one["tank"]: one["heads"] for one in caller.get("/v1/groups").get_json()["items"]}


def entries(caller: Caller) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = caller.get(f"/v1/{KIND}").get_json()["items"]
    return items


@on_both_engines
def test_a_ledger_is_tried_then_stored_and_the_same_file_again_is_repeated(stocked: Caller) -> None:
    body = HEADER + (
        "2025-11-22,arrival,Guppy,nursery,12,,,From a friend\n"
        "2025-11-23,loss,guppy,Nursery,2,Old age,,\n"
        "2025-11-24,move,guppy,nursery,4,,Teen tank,\n"
    )
    answer = tried(stocked, KIND, body)
    assert verdicts(answer) == [(2, "new"), (3, "new"), (4, "new")]
    assert [row["becomes"]["group_called"] for row in answer["rows"]] == ["Guppy in nursery"] * 3
    assert heads(stocked) == {}
    answer = stored(stocked, KIND, body)
    assert answer["stored"] == 3
    assert verdicts(answer) == [(2, "stored"), (3, "stored"), (4, "stored")]
    assert {row["becomes"]["group"] for row in answer["rows"]} == {
        one["id"] for one in stocked.get("/v1/groups?tank=nursery").get_json()["items"]
    }
    assert heads(stocked) == {"nursery": 6, "teen-tank": 4}
    assert stored(stocked, KIND, body)["counts"]["repeated"] == 3
    assert heads(stocked) == {"nursery": 6, "teen-tank": 4}


def test_a_loss_larger_than_the_count_is_refused_and_only_that_row(stocked: Caller) -> None:
    body = HEADER + (
        "2025-11-22,arrival,guppy,nursery,3,,,\n"
        "2025-11-23,loss,guppy,nursery,4,unknown,,\n"
        "2025-11-24,loss,guppy,nursery,3,unknown,,\n"
        "2025-11-25,loss,guppy,nursery,1,unknown,,\n"
    )
    answer = tried(stocked, KIND, body)
    assert verdicts(answer) == [(2, "new"), (3, "refused"), (4, "new"), (5, "refused")]
    assert "had 3 at that time" in refusals(answer)[3]
    assert answer["rows"][1]["column"] == "number"
    assert send(stocked, KIND, body, dry_run="false").status_code == 422
    assert heads(stocked) == {}
    assert stored(stocked, KIND, body, partial="true")["stored"] == 2
    assert heads(stocked) == {"nursery": 0}


def test_a_file_with_the_newest_first_is_entered_from_its_end(stocked: Caller) -> None:
    """On one day first the arrival, which stands below, then the loss."""
    body = HEADER + (
        "2025-11-23,loss,guppy,nursery,2,unknown,,\n"
        "2025-11-22,loss,guppy,nursery,1,unknown,,\n"
        "2025-11-22,arrival,guppy,nursery,3,,,\n"
    )
    assert stored(stocked, KIND, body)["stored"] == 3
    newest = entries(stocked)[0]
    assert (newest["heads_before"], newest["heads_after"]) == (2, 0)


def test_lines_of_one_instant_stay_in_the_order_of_the_file(stocked: Caller) -> None:
    lines = [
        f"2025-11-22,{kind},guppy,nursery,1,{cause},,"
        for kind, cause in (("birth", ""), ("loss", "unknown")) * 20
    ]
    assert stored(stocked, KIND, HEADER + "\n".join(lines))["counts"]["refused"] == 0
    assert heads(stocked) == {"nursery": 0}


def test_a_group_that_a_refused_row_made_is_gone_with_it(stocked: Caller) -> None:
    body = HEADER + "2025-11-22,arrival,guppy,nursery,0,,,\n2025-11-23,loss,guppy,nursery,1,unknown,,\n"
    said = refusals(tried(stocked, KIND, body))
    assert "At least one fish" in said[2]
    assert "There is no group of guppy in nursery" in said[3]
    stored(stocked, KIND, body + "2025-11-24,arrival,guppy,nursery,5,,,\n", partial="true")
    assert heads(stocked) == {"nursery": 5}


def test_a_group_is_named_by_id_by_name_or_by_what_it_is_called(stocked: Caller) -> None:
    one = made(
        stocked, "groups", {"species": "guppy", "tank": "nursery", "name": "Blue line", "origin": "Bred here"}
    )
    other = made(stocked, "groups", {"species": "guppy", "tank": "nursery", "origin": "A friend"})
    body = "date,kind,group,number,species,tank,origin\n" + "".join(
        f"2025-11-2{n},arrival,{row}\n"
        for n, row in enumerate(
            (
                f"{one['id']},1,,,",
                "BLUE LINE,1,,,",
                "guppy in nursery,1,,,",
                ",1,guppy,nursery,bred here",
                ",1,guppy,nursery,",
                "Red line,1,,,",
                ",1,,nursery,",
            )
        )
    )
    answer = tried(stocked, KIND, body)
    groups = [None if row["becomes"] is None else row["becomes"]["group"] for row in answer["rows"]]
    assert groups == [one["id"], one["id"], other["id"], one["id"], None, None, None]
    said = refusals(answer)
    assert one["id"] in said[6] and other["id"] in said[6]
    assert "no group called 'Red line'" in said[7]
    assert "species and tank" in said[8]


def test_the_ledger_s_own_csv_comes_back_as_it_went(stocked: Caller) -> None:
    body = HEADER + (
        "2025-11-21,arrival,guppy,nursery,12,,,\n"
        "2025-11-22,loss,guppy,nursery,2,disease,,\n"
        "2025-11-23,move,guppy,nursery,4,,teen-tank,\n"
        "2025-11-24,count,guppy,nursery,7,,,One more than thought\n"
    )
    stored(stocked, KIND, body)
    wrong = next(one for one in entries(stocked) if one["kind"] == "loss")
    made(stocked, KIND, {"kind": "withdrawal", "withdraws": wrong["id"], "words": "Counted twice"})
    before = entries(stocked)
    out = stocked.get(f"/v1/{KIND}?format=csv").get_data()
    answer = stored(stocked, KIND, out)
    assert answer["counts"]["repeated"] == 5, answer["rows"]
    assert {"version", "heads_before", "heads_after"} <= {
        one["column"] for one in answer["recognised"]["unused"]
    }
    assert entries(stocked) == before


LINES = st.lists(
    st.tuples(
        st.integers(1, 28), st.sampled_from(["arrival", "birth", "loss", "missing"]), st.integers(1, 5)
    ),
    min_size=1,
    max_size=12,
)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(LINES)
def test_verdicts_are_those_of_a_naive_ledger_kept_in_order(
    stocked: Caller, lines: list[tuple[int, str, int]]
) -> None:
    body = HEADER + "".join(
        f"2025-01-{day:02d},{kind},guppy,nursery,{number},{'unknown' if kind == 'loss' else ''},,\n"
        for day, kind, number in lines
    )
    count, group, expected = 0, False, {}
    descending = lines[0][0] > lines[-1][0]
    places = sorted(range(len(lines)), key=lambda n: (lines[n][0], -n if descending else n))
    for place in places:
        _, kind, number = lines[place]
        gains = kind in ("arrival", "birth")
        fits = gains or (group and number <= count)
        group = group or gains
        count += 0 if not fits else number if gains else -number
        expected[place + 2] = "new" if fits else "refused"
    assert dict(verdicts(tried(stocked, KIND, body))) == expected
