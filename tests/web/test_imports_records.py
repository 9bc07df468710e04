"""Journal and species out of a keeper's spreadsheet: made as if each were sent, and known again."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from harness import FURNITURE, Caller, made, on_both_engines
from import_scenes import refusals, send, stored, tried, verdicts

JOURNAL = (
    "Date;Time;Tank;Note;Tags\r\n"
    '24.11.2025;18:00;Nursery;"Fry off the bottom; ""all"" of them";fry, moss\r\n'
    "25.11.2025;;Nursery;Fed;\r\n"
    "25.11.2025;;Nursery;Fed;\r\n"
)
SPECIES = (
    "Name,Scientific name,Adult size (cm),Temperature min (degC),Temperature max (degC),pH min,pH max,School size,Notes\r\n"
    "Cherry barb,Puntius titteya,5,22,27,6,7.5,8,=shy at first\r\n"
    "Guppy,Poecilia reticulata,4,,,,,,\r\n"
)


def listed(caller: Caller, path: str) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = caller.get(f"/v1/{path}").get_json()["items"]
    return items


@on_both_engines
def test_entries_are_tried_then_stored_and_the_same_file_again_is_repeated(furnished: Caller) -> None:
    answer = tried(furnished, "journal", JOURNAL)
    assert verdicts(answer) == [(2, "new"), (3, "new"), (4, "new")]
    assert listed(furnished, "journal") == []
    assert stored(furnished, "journal", JOURNAL)["stored"] == 3
    entries = listed(furnished, "journal")
    assert [(one["happened_at"], one["words"], one["tags"]) for one in entries] == [
        ("2025-11-25T12:00:00Z", "Fed", None),
        ("2025-11-25T12:00:00Z", "Fed", None),
        ("2025-11-24T18:00:00Z", 'Fry off the bottom; "all" of them', ["fry", "moss"]),
    ]
    assert {one["place"] for one in entries} == {"tanks/nursery"}
    assert {one["id"] for one in entries} == {row["becomes"]["id"] for row in answer["rows"]}
    assert stored(furnished, "journal", JOURNAL)["counts"]["repeated"] == 3
    assert len(listed(furnished, "journal")) == 3


@on_both_engines
def test_what_is_stored_stands_in_the_log_and_what_is_tried_does_not(furnished: Caller) -> None:
    def told() -> int:
        log = furnished.get("/v1/changes?limit=500").get_json()["items"]
        return sum(one["noun"] in ("journal entry", "species") for one in log)

    tried(furnished, "journal", JOURNAL)
    tried(furnished, "species", SPECIES)
    assert told() == 0
    stored(furnished, "journal", JOURNAL)
    stored(furnished, "species", SPECIES)
    assert told() == 5


def test_a_dry_run_leaves_no_trace_in_what_the_service_remembers(furnished: Caller) -> None:
    tried(furnished, "species", SPECIES)
    assert furnished.get("/v1/species/guppy").status_code == 404
    assert made(furnished, "species", {"name": "Guppy"})["handle"] == "guppy"


def test_the_same_file_saved_another_way_is_the_same_rows(furnished: Caller) -> None:
    stored(furnished, "journal", JOURNAL)
    other = (
        "note,date,tank,time,tags,mood\n"
        '"Fry off the bottom; ""all"" of them",2025-11-24,tanks/nursery,6:00 PM,"fry,moss",good\n'
        "Fed,2025-11-25 12:00,NURSERY,,,\n"
        "Fed,25 Nov 2025,nursery,,,\n"
        "Fed,25 Nov 2025,nursery,,,\n"
    )
    answer = tried(furnished, "journal", other)
    assert verdicts(answer) == [(2, "repeated"), (3, "repeated"), (4, "repeated"), (5, "new")]
    assert [one["column"] for one in answer["recognised"]["unused"]] == ["mood"]


def test_an_entry_that_was_edited_since_is_not_made_again(furnished: Caller) -> None:
    stored(furnished, "journal", JOURNAL)
    first = listed(furnished, "journal")[0]["id"]
    assert furnished.patch(f"/v1/journal/{first}", {"words": "Fed little"}).status_code == 200
    assert stored(furnished, "journal", JOURNAL)["counts"]["repeated"] == 3


def test_a_row_with_an_id_of_its_own_is_known_by_it(furnished: Caller) -> None:
    row = "01936c5e-8f00-7000-8000-0000000000e1,2025-11-24,Fed"
    stored(furnished, "journal", f"id,date,note\n{row}\n")
    answer = tried(furnished, "journal", f"id,date,note\n{row}\n{row} twice\nx,2025-11-24,Fed\n")
    assert verdicts(answer) == [(2, "repeated"), (3, "refused"), (4, "refused")]
    assert answer["rows"][1]["type"] == "already-there"
    assert answer["rows"][2]["column"] == "id"


def test_rows_at_fault_are_told_and_stop_a_real_run(furnished: Caller) -> None:
    body = (
        "date,place,kind,note\n"
        "2025-11-24,nowhere,note,Fed\n"
        "2025-11-24,nursery,party,Fed\n"
        "2025-11-24,nursery,Observation,Fed\n"
        ",nursery,note,Fed\n"
        "2025-11-24,nursery,note,\n"
        "2099-11-24,nursery,note,Fed\n"
        "2025-11-24,nursery,change,Moved the lamp\n"
    )
    said = refusals(tried(furnished, "journal", body))
    assert "There is no place 'nowhere'" in said[2]
    assert "observation" in said[3]
    assert 4 not in said
    assert "date is empty" in said[5]
    assert 6 in said
    assert "ahead" in said[7]
    assert "what was changed" in said[8]
    refused = send(furnished, "journal", body, dry_run="false")
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/2/place"
    assert listed(furnished, "journal") == []
    assert stored(furnished, "journal", body, partial="true")["stored"] == 1


def test_scores_are_taken_along_and_one_that_is_refused_leaves_nothing(furnished: Caller) -> None:
    def row(value: int) -> str:
        return f'2025-11-2{value % 9},nursery,Looked,"[{{""parameter"": ""behaviour_score"", ""value"": {value}}}]"'

    body = f"date,tank,note,scores\n{row(8)}\n{row(70)}\n"
    answer = stored(furnished, "journal", body, partial="true")
    assert verdicts(answer) == [(2, "stored"), (3, "refused")]
    [entry] = listed(furnished, "journal")
    assert entry["scores"] == [{"parameter": "behaviour_score", "value": 8}]
    assert furnished.get("/v1/gauges/nursery-behaviour-score-by-hand").status_code == 200
    assert stored(furnished, "journal", body, partial="true")["counts"]["repeated"] == 1


def test_words_that_a_spreadsheet_would_run_come_back_as_they_were(furnished: Caller) -> None:
    for words in ("=1+1", "-2 left", "+3 fry", "@noon", "plain"):
        made(furnished, "journal", {"words": words, "happened_at": "2025-11-24T10:00:00Z"})
    out = furnished.get("/v1/journal?format=csv").get_data()
    assert b"'=1+1" in out
    answer = stored(furnished, "journal", out)
    assert answer["counts"]["repeated"] == 5, answer["rows"]


def test_the_journal_s_own_csv_comes_back_as_it_went(furnished: Caller) -> None:
    made(
        furnished,
        "journal",
        {
            "place": "tanks/nursery",
            "kind": "change",
            "words": "Raised the lamp,\r\nby a hand",
            "credit": "A friend",
            "tags": ["lamp", "set-up"],
            "changed": {"what": "lamp", "from": "30 cm", "to": "40 cm"},
            "links": ["tanks/nursery"],
            "scores": [{"parameter": "behaviour_score", "value": 8}],
            "happened_at": "2025-11-24T10:00:00.250Z",
        },
    )
    made(furnished, "journal", {"words": "Two lines"})
    before = listed(furnished, "journal")
    answer = stored(furnished, "journal", furnished.get("/v1/journal?format=csv").get_data())
    counted = {"rows": 2, "blank": 0, "values": None, "new": 0, "repeated": 2, "refused": 0, "flagged": 0}
    assert answer["counts"] == counted
    assert {one["column"] for one in answer["recognised"]["unused"]} == {
        "version",
        "created_at",
        "updated_at",
    }
    assert listed(furnished, "journal") == before


def test_an_entry_taken_out_of_the_csv_of_another_room_is_made_here(furnished: Caller) -> None:
    entry = made(
        furnished, "journal", {"words": "Fed", "tags": ["fry"], "happened_at": "2025-11-24T10:00:00Z"}
    )
    out = furnished.get("/v1/journal?format=csv").get_data()
    assert furnished.delete(f"/v1/journal/{entry['id']}").status_code == 204
    assert stored(furnished, "journal", out)["stored"] == 1
    [back] = listed(furnished, "journal")
    service = ("version", "created_at", "updated_at")
    assert {k: v for k, v in back.items() if k not in service} == {
        k: v for k, v in entry.items() if k not in service
    }


@on_both_engines
def test_species_are_stored_with_their_units_and_known_again(furnished: Caller) -> None:
    assert stored(furnished, "species", SPECIES)["stored"] == 2
    barb = furnished.get("/v1/species/cherry-barb").get_json()
    assert barb["adult_length"] == {"value": 5, "unit": "cm"}
    assert barb["temperature"] == {
        "low": {"value": 22, "unit": "degC"},
        "high": {"value": 27, "unit": "degC"},
    }
    assert barb["ph"]["high"]["value"] == 7.5
    assert barb["school_size"] == 8
    assert barb["notes"] == "=shy at first"
    assert stored(furnished, "species", SPECIES)["counts"]["repeated"] == 2
    out = furnished.get("/v1/species?format=csv").get_data()
    assert stored(furnished, "species", out)["counts"]["repeated"] == 2


def test_a_species_that_says_something_else_is_refused_and_named(furnished: Caller) -> None:
    stored(furnished, "species", SPECIES)
    said = refusals(tried(furnished, "species", "name,school size\nGUPPY,9\nNeon tetra,8\nneon TETRA,9\n"))
    assert "'guppy' already" in said[2]
    assert set(said) == {2, 4}


@pytest.mark.parametrize(
    ("cell", "words"),
    [("5", "Say the unit"), ("5 stone", "not a unit"), ("five", "no number"), ("9 m", "at most")],
)
def test_a_size_that_can_not_be_is_refused_in_its_column(furnished: Caller, cell: str, words: str) -> None:
    [row] = tried(furnished, "species", f"name,adult size\nGuppy,{cell}\n")["rows"]
    assert (row["verdict"], row["column"]) == ("refused", "adult size")
    assert words in row["message"]


def test_faults_of_several_columns_are_each_told_by_their_own(furnished: Caller) -> None:
    body = "name,adult size,weight\nGuppy,5 stone,3 feet\n"
    [row] = tried(furnished, "species", body)["rows"]
    assert row["column"] == "adult size, weight"
    size, weight = row["message"].split(" weight: ")
    assert size.startswith("adult size: ")
    assert "stone" in size
    assert "feet" in weight
    errors = send(furnished, "species", body, dry_run="false").get_json()["errors"]
    assert [one["pointer"] for one in errors] == ["/2/adult size", "/2/weight"]


def test_a_thing_that_is_meant_is_named_once(furnished: Caller) -> None:
    made(furnished, "tanks", {**copy.deepcopy(FURNITURE[1][1]), "name": "Teen tank"})
    said = refusals(tried(furnished, "journal", "date,note,tank\n2025-11-24,x,Teen tan\n"))
    assert "Did you mean tanks/teen-tank" in said[2]
    assert said[2].count("teen-tank") == 1


def test_more_rows_than_are_taken_at_once_are_refused(furnished: Caller) -> None:
    assert send(furnished, "species", "name\n" + "x\n" * 1001).status_code == 413
    assert send(furnished, "journal", "date,note\n" + "2025-01-01,x\n" * 10_001).status_code == 413


def test_a_missing_column_is_named_with_those_there_are(furnished: Caller) -> None:
    refused = send(furnished, "journal", "date,wrds\n2025-11-24,Fed\n")
    assert refused.status_code == 422
    assert "A column 'words' is missing" in refused.get_json()["detail"]
    assert "date, wrds" in refused.get_json()["detail"]


def test_an_entry_with_scores_can_be_put_twice(furnished: Caller) -> None:
    body = {
        "words": "Looked",
        "scores": [{"parameter": "behaviour_score", "value": 8}],
        "place": "tanks/nursery",
    }
    body["happened_at"] = "2025-11-24T10:00:00Z"
    path = "/v1/journal/01936c5e-8f00-7000-8000-0000000000e2"
    assert [furnished("PUT", path, body).status_code for _ in range(2)] == [201, 200]
    other = {**body, "scores": [{"parameter": "behaviour_score", "value": 7}]}
    assert furnished("PUT", path, other).status_code == 409


def test_a_retired_place_is_found_and_refused_as_retired_unless_one_in_use_is_called_so(
    furnished: Caller,
) -> None:
    old = made(furnished, "tanks", {**FURNITURE[1][1], "name": "Old tank"})
    furnished.patch(f"/v1/tanks/{old['handle']}", {"retired_at": "2025-01-01T00:00:00Z"})
    assert (
        "is retired" in refusals(tried(furnished, "journal", "date,tank,note\n2025-11-24,OLD TANK,Fed\n"))[2]
    )
    made(furnished, "tanks", {**FURNITURE[1][1], "name": "Old tank", "handle": "older"})
    [row] = tried(furnished, "journal", "date,tank,note\n2025-11-24,OLD TANK,Fed\n")["rows"]
    assert row["becomes"]["place"] == "tanks/older"


def test_a_file_full_of_names_that_nothing_carries_is_answered_all_the_same(furnished: Caller) -> None:
    body = "date,tank,note\n" + "".join(f"2025-11-24,{'x' * 50}{n},Fed\n" for n in range(3000))
    assert tried(furnished, "journal", body)["counts"]["refused"] == 3000


@on_both_engines
def test_what_is_stored_is_found_by_its_words_and_what_is_tried_is_not(furnished: Caller) -> None:
    def found() -> int:
        return len(furnished.get("/v1/search?q=moonwort").get_json()["items"])

    body = "date,note\n2025-11-24,Moonwort in the moss\n"
    tried(furnished, "journal", body)
    assert found() == 0
    stored(furnished, "journal", body)
    assert found() == 1
