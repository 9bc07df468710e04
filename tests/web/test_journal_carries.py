"""What a journal entry carries besides words: what was changed, tags, links, scored readings."""

from __future__ import annotations

from typing import Any

import pytest
from fish_scenes import DAY, entry, group, species
from harness import Caller, MakeCaller, made, on_both_engines, pointers

SCORED: dict[str, Any] = {
    "place": "tanks/nursery",
    "kind": "observation",
    "words": "More algae on the left pane.",
    "happened_at": DAY.format(20),
    "scores": [{"parameter": "algae_cover", "value": 20}, {"parameter": "behaviour_score", "value": 9}],
}


@on_both_engines
def test_a_change_says_what_was_changed_from_and_to(furnished: Caller) -> None:
    changed = {"what": "Hours of the lamp", "from": "10 h", "to": "8 h"}
    row = made(furnished, "journal", {"kind": "change", "words": "Less light.", "changed": changed})
    assert row["changed"] == changed
    patched = furnished.patch(f"/v1/journal/{row['id']}", {"changed": {"to": "7 h"}}).get_json()
    assert patched["changed"] == {**changed, "to": "7 h"}
    assert made(furnished, "journal", {"kind": "change", "words": "x", "changed": {"what": "Lid"}})


def test_a_change_that_does_not_say_what_is_refused_and_so_is_what_without_a_change(
    furnished: Caller,
) -> None:
    assert pointers(furnished.post("/v1/journal", {"kind": "change", "words": "x"})) == ["/changed"]
    noted = {"kind": "note", "words": "x", "changed": {"what": "Lid"}}
    assert pointers(furnished.post("/v1/journal", noted)) == ["/changed"]
    blank = {"kind": "change", "words": "x", "changed": {"from": "a"}}
    assert pointers(furnished.post("/v1/journal", blank)) == ["/changed/what"]


@on_both_engines
def test_scores_become_readings_of_the_gauges_by_hand_there(furnished: Caller) -> None:
    row = made(furnished, "journal", SCORED)
    assert [(one["parameter"], one["value"]) for one in row["scores"]] == [
        ("algae_cover", 20),
        ("behaviour_score", 9),
    ]
    gauges = furnished.get("/v1/gauges?place=tanks/nursery&parameter=algae_cover").get_json()["items"]
    gauge = gauges[0]["handle"]
    read = furnished.get(f"/v1/readings?gauge={gauge}&from={DAY.format(19)}").get_json()["items"]
    assert [(one["value"], one["at"]) for one in read] == [(20, DAY.format(20))]
    assert furnished.get(f"/v1/gauges/{gauge}").get_json()["by_hand"] is True
    assert furnished.get(f"/v1/journal/{row['id']}").get_json() == row


def test_an_entry_whose_score_can_not_be_is_not_stored_at_all(furnished: Caller) -> None:
    for one, at in (
        ({"parameter": "algae_cover", "value": 120}, "/scores/0/value"),
        ({"parameter": "algae_cover", "value": 20, "unit": "mg"}, "/scores/0/unit"),
        ({"parameter": "glow", "value": 2}, "/scores/0/parameter"),
    ):
        answered = furnished.post("/v1/journal", {**SCORED, "scores": [one]})
        assert pointers(answered) == [at], answered.get_data(as_text=True)
        assert [one["pointer"] for one in answered.get_json()["refusals"]] == [at]
    assert furnished.get("/v1/journal").get_json()["items"] == []


def test_a_place_by_its_bare_handle_is_refused_with_its_likely_path(furnished: Caller) -> None:
    answered = furnished.post("/v1/journal", {"place": "nursery", "words": "x"})
    (error,) = answered.get_json()["errors"]
    assert error["message"].endswith("tanks/nursery if it is a tank.")
    answered = furnished.post("/v1/journal", {"place": "The nursery", "words": "x"})
    assert "if it is" not in answered.get_json()["errors"][0]["message"]


def test_where_and_when_scores_were_taken_stays(furnished: Caller) -> None:
    row = made(furnished, "journal", SCORED)
    path = f"/v1/journal/{row['id']}"
    assert pointers(furnished.patch(path, {"happened_at": DAY.format(21)})) == ["/happened_at"]
    assert pointers(furnished.patch(path, {"place": "room"})) == ["/place"]
    assert pointers(furnished.patch(path, {"scores": None})) == ["/scores"]
    assert furnished.patch(path, {"words": "Much more algae."}).status_code == 200


@on_both_engines
def test_an_entry_with_scores_under_an_id_of_its_own_is_safe_to_repeat(furnished: Caller) -> None:
    path = "/v1/journal/01936c5e-8f00-7000-8000-00000000abcd"
    assert furnished("PUT", path, SCORED).status_code == 201
    again = furnished("PUT", path, SCORED)
    assert again.status_code == 200, again.get_data(as_text=True)
    other = [{"parameter": "algae_cover", "value": 30}]
    assert furnished("PUT", path, {**SCORED, "scores": other}).status_code == 409


@on_both_engines
def test_tags_find_entries(furnished: Caller) -> None:
    made(furnished, "journal", {"words": "One", "tags": ["lamp", "left-pane"]})
    made(furnished, "journal", {"words": "Two", "tags": ["lamps"]})
    items = furnished.get("/v1/journal?tag=lamp").get_json()["items"]
    assert [one["words"] for one in items] == ["One"]
    assert pointers(furnished.post("/v1/journal", {"words": "x", "tags": ["Two words"]})) == ["/tags/0"]


@on_both_engines
def test_links_lead_to_records_that_are_there_and_keep_them(furnished: Caller) -> None:
    species(furnished)
    shoal = group(furnished)
    links = [f"groups/{shoal}", "tanks/nursery", "species/banded-barb"]
    row = made(furnished, "journal", {"words": "They spawn.", "links": links})
    assert row["links"] == links
    refusal = furnished.delete(f"/v1/groups/{shoal}")
    assert refusal.status_code == 409
    assert "1 journal entry" in refusal.get_json()["detail"]
    furnished.patch(f"/v1/journal/{row['id']}", {"links": None})
    assert furnished.delete(f"/v1/groups/{shoal}").status_code == 204


@pytest.mark.parametrize(
    "link",
    [
        "groups/01936c5e-8f00-7000-8000-00000000ffff",
        "keys/keeper",
        "tanks/none",
        "moons/one",
        "tanks",
        "x y/z",
    ],
)
def test_a_link_to_nothing_is_refused(furnished: Caller, link: str) -> None:
    assert pointers(furnished.post("/v1/journal", {"words": "x", "links": [link]})) == ["/links/0"]


def test_a_helper_scores_by_hand(furnished: Caller, caller: MakeCaller) -> None:
    answered = caller("helper", name="Sunday").post("/v1/journal", SCORED)
    assert answered.status_code == 201
    assert answered.get_json()["author"] == "Sunday"


def test_an_entry_is_exported_as_one_line_of_csv(furnished: Caller) -> None:
    species(furnished)
    entry(furnished, "arrival", group(furnished), 3)
    made(furnished, "journal", {**SCORED, "tags": ["algae"]})
    table = furnished.get("/v1/journal?format=csv").get_data(as_text=True)
    assert len(table.strip().splitlines()) == 2


def test_an_entry_does_not_link_to_itself(furnished: Caller) -> None:
    path = f"/v1/journal/{made(furnished, 'journal', {'words': 'x'})['id']}"
    assert pointers(furnished.patch(path, {"links": [path.removeprefix("/v1/")]})) == ["/links/0"]
