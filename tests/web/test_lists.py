"""Lists: pages, cursors, filters, CSV; the journal as the example of what grows."""

from __future__ import annotations

import csv
import dataclasses
import io

import pytest
from harness import Caller, on_both_engines

from weirbook.app import Service


def note(keeper: Caller, words: str, at: str = "2026-11-20T10:00:00Z", **said: str) -> str:
    made = keeper.post("/v1/journal", {"words": words, "happened_at": at, **said})
    assert made.status_code == 201
    return str(made.get_json()["id"])


def walk(keeper: Caller, path: str) -> list[str]:
    found: list[str] = []
    cursor = ""
    while True:
        page = keeper.get(f"{path}{cursor}").get_json()
        found += [one.get("words") or one["handle"] for one in page["items"]]
        if page["next"] is None:
            return found
        cursor = f"&cursor={page['next']}"


@on_both_engines
def test_a_cursor_walks_everything_once_newest_first(furnished: Caller) -> None:
    for number in range(7):
        note(furnished, f"n{number}", f"2026-11-{10 + number // 2:02d}T10:00:00Z")
    found = walk(furnished, "/v1/journal?limit=2")
    assert sorted(found) == [f"n{number}" for number in range(7)]
    assert found[0] == "n6"


@on_both_engines
def test_records_made_meanwhile_don_t_shift_the_pages(furnished: Caller) -> None:
    for number in range(4):
        note(furnished, f"n{number}", f"2026-11-{10 + number}T10:00:00Z")
    first = furnished.get("/v1/journal?limit=2").get_json()
    note(furnished, "late", "2026-11-20T10:00:00Z")
    second = furnished.get(f"/v1/journal?limit=2&cursor={first['next']}").get_json()
    assert [one["words"] for one in second["items"]] == ["n1", "n0"]


@pytest.mark.parametrize(
    "cursor", ["x", "W10", "WzEsMl0", "bnVsbA", "WyJhIiwgImIiXQ", "[]", "%00", "W251bGwsbnVsbF0"]
)
def test_a_cursor_that_was_not_made_here_is_refused(furnished: Caller, cursor: str) -> None:
    for path in ("/v1/journal", "/v1/tanks", "/v1/sections"):
        refused = furnished.get(f"{path}?cursor={cursor}")
        assert refused.status_code == 422, path
        assert refused.get_json()["errors"][0]["pointer"] == "/cursor"


@pytest.mark.parametrize(
    "query",
    [
        "limit=0",
        "limit=1001",
        "limit=x",
        "limit=1.5",
        "limit=-1",
        "limit=99999999999999999999",
        "page=2",
        "limit=1&limit=2",
        "retired=yes",
    ],
)
def test_a_query_that_is_not_offered_is_refused(furnished: Caller, query: str) -> None:
    assert furnished.get(f"/v1/tanks?{query}").status_code == 422


def test_a_filter_that_names_nothing_is_refused_by_name(furnished: Caller) -> None:
    refused = furnished.get("/v1/tanks?system=nothing")
    assert refused.status_code == 422
    assert "There are: rill" in refused.get_json()["errors"][0]["message"]


def test_csv_gives_every_row_without_a_cursor(furnished: Caller) -> None:
    text = furnished.get("/v1/tanks?format=csv").get_data(as_text=True)
    rows = list(csv.DictReader(io.StringIO(text)))
    assert (rows[0]["handle"], rows[0]["water_depth"], rows[0]["water_depth_unit"]) == ("nursery", "50", "cm")
    assert (rows[0]["net_volume"], rows[0]["net_volume_unit"]) == ("300", "L")


def test_text_that_would_be_a_formula_is_made_harmless(furnished: Caller) -> None:
    note(furnished, "=1+1")
    rows = list(csv.DictReader(io.StringIO(furnished.get("/v1/journal?format=csv").get_data(as_text=True))))
    assert rows[0]["words"] == "'=1+1"


def test_csv_past_the_cap_is_refused(app: Service, furnished: Caller) -> None:
    app.settings = dataclasses.replace(app.settings, csv_cap=1)
    note(furnished, "one")
    assert furnished.get("/v1/journal?format=csv").status_code == 200
    note(furnished, "two")
    assert furnished.get("/v1/journal?format=csv").status_code == 413


def test_format_beats_accept(furnished: Caller) -> None:
    assert furnished.get("/v1/tanks", Accept="text/csv").mimetype == "text/csv"
    assert furnished.get("/v1/tanks?format=json", Accept="text/csv").mimetype == "application/json"
    assert furnished.get("/v1/tanks?format=xml").status_code == 422


@on_both_engines
def test_the_journal_is_searched_by_its_words(furnished: Caller) -> None:
    for words in ("Loaches hide.", "100% water change", "Nothing_else", "loach fry"):
        note(furnished, words)

    def found(sought: str) -> set[str]:
        return {one["words"] for one in furnished.get(f"/v1/journal?q={sought}").get_json()["items"]}

    assert found("LOACH") == {"Loaches hide.", "loach fry"}
    assert found("%25") == {"100% water change"}
    assert found("_") == {"Nothing_else"}


@on_both_engines
def test_the_journal_is_filtered_by_place_kind_and_time(furnished: Caller) -> None:
    note(furnished, "there", place="tanks/nursery", kind="cleaning")
    note(furnished, "room")
    note(furnished, "early", "2026-01-01T00:00:00Z")
    for query, words in (
        ("place=tanks/nursery", ["there"]),
        ("kind=cleaning", ["there"]),
        ("to=2026-02-01T00:00:00Z", ["early"]),
        ("place=room&from=2026-02-01T00:00:00Z", ["room"]),
    ):
        assert [one["words"] for one in furnished.get(f"/v1/journal?{query}").get_json()["items"]] == words


def test_a_note_says_who_and_when_by_itself(furnished: Caller) -> None:
    made = furnished.post("/v1/journal", {"words": "Seen."}).get_json()
    assert (made["author"], made["place"], made["kind"]) == ("keeper", "room", "note")


def test_the_journal_tells_nothing_of_the_future(furnished: Caller) -> None:
    refused = furnished.post("/v1/journal", {"words": "Soon.", "happened_at": "2126-01-01T00:00:00Z"})
    assert refused.get_json()["errors"][0]["pointer"] == "/happened_at"


@on_both_engines
def test_an_id_of_the_clients_own_is_safe_to_repeat(furnished: Caller) -> None:
    path = "/v1/journal/01936c5e-8f00-7000-8000-00000000aaaa"
    body = {"words": "Offline.", "place": "tanks/nursery"}
    assert furnished("PUT", path, body).status_code == 201
    assert furnished("PUT", path, body).status_code == 200
    clash = furnished("PUT", path, {**body, "words": "Other."})
    assert clash.status_code == 409
    assert clash.get_json()["type"] == "urn:weirbook:problem:id-taken"
    assert len(furnished.get("/v1/journal").get_json()["items"]) == 1


def test_targets_too_are_safe_to_repeat(furnished: Caller) -> None:
    path = "/v1/targets/01936c5e-8f00-7000-8000-00000000aaab"
    body = {
        "place": "room",
        "parameter": "nitrate",
        "high": "20 mg/L NO3",
        "valid_from": "2026-01-01T00:00:00+01:00",
    }
    assert [furnished("PUT", path, body).status_code for _ in range(2)] == [201, 200]


@on_both_engines
def test_a_second_target_of_the_same_instant_is_a_conflict(furnished: Caller) -> None:
    body = {"place": "room", "parameter": "nitrate", "high": 20, "valid_from": "2026-01-01T00:00:00Z"}
    assert [furnished.post("/v1/targets", body).status_code for _ in range(2)] == [201, 409]
