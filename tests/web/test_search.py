"""Search over HTTP: what is found, how it is narrowed, and that no question is wrong."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

import pytest
from harness import Caller, MakeCaller, made, on_both_engines, pointers
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from pictures import drawn, jpeg

from weirbook.app import Service
from weirbook.record.database import now_ms
from weirbook.watcher import watch_once


def ask(keeper: Caller, q: str, **said: str) -> dict[str, Any]:
    answered = keeper.get(f"/v1/search?{urlencode({'q': q, **said})}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    told: dict[str, Any] = answered.get_json()
    return told


def paths(keeper: Caller, q: str, **said: str) -> list[str]:
    return [one["path"] for one in ask(keeper, q, **said)["items"]]


def note(keeper: Caller, words: str, **said: Any) -> str:
    return f"/v1/journal/{made(keeper, 'journal', {'words': words, **said})['id']}"


@pytest.fixture
def told(furnished: Caller) -> dict[str, str]:
    """Entries about moss, by short names."""
    made(furnished, "systems", {"name": "Brook"})
    return {
        "wood": note(
            furnished, "Moss tied on wood holds.", place="tanks/nursery", happened_at="2026-01-05T08:00:00Z"
        ),
        "stone": note(
            furnished, "Moss on stone came off.", place="systems/brook", happened_at="2026-02-05T08:00:00Z"
        ),
        "sump": note(
            furnished,
            "Floss rinsed, mosses in it.",
            place="sections/rack-return-1",
            kind="cleaning",
            happened_at="2026-03-05T08:00:00Z",
        ),
        "credited": note(furnished, "Lid closed.", credit="Old Mossman", happened_at="2026-04-05T08:00:00Z"),
    }


def test_an_answer_tells_what_was_found_and_where(furnished: Caller, told: dict[str, str]) -> None:
    answer = ask(furnished, "WOOD mo")
    (one,) = answer.pop("items")
    assert answer == {"more": False, "looked_for": ["wood", "mo…"], "left_out": [], "ignored": 0}
    assert one == {
        "noun": "journal entry",
        "subject": told["wood"].rsplit("/", 1)[1],
        "path": told["wood"],
        "title": None,
        "place": "tanks/nursery",
        "at": "2026-01-05T08:00:00Z",
        "snippet": "«Moss» tied on «wood» holds.",
        "past": False,
    }
    assert furnished.get(one["path"]).status_code == 200


@on_both_engines
def test_words_phrases_beginnings_and_what_is_left_out(furnished: Caller, told: dict[str, str]) -> None:
    for q, found in (
        ("moss", ["wood", "stone", "sump", "credited"]),
        ("moss on", ["wood", "stone"]),
        ("on moss", ["wood", "stone"]),
        ('"moss on"', ["stone"]),
        ('"on moss"', []),
        ("moss -stone", ["wood", "sump", "credited"]),
        ('moss -"on wood" -floss', ["stone", "credited"]),
        ("mos", ["wood", "stone", "sump", "credited"]),
        ('"mos"', []),
        ("m on", []),
        ("MÖSS tied", ["wood"]),
        ("mossman old", ["credited"]),
        ("-stone", []),
        ("***", []),
    ):
        assert sorted(paths(furnished, q)) == sorted(told[name] for name in found), q


def test_answers_are_narrowed(furnished: Caller, told: dict[str, str]) -> None:
    made(
        furnished,
        "tasks",
        {"title": "Trim the moss", "schedule": {"kind": "once", "due": "2027-01-01T10:00"}},
    )
    for said, found in (
        ({"noun": "task"}, []),
        ({"noun": "journal entry,task"}, ["wood", "stone", "sump", "credited"]),
        ({"place": "tanks/nursery"}, ["wood"]),
        ({"place": "room"}, ["credited"]),
        ({"system": "rill"}, ["wood", "sump"]),
        ({"system": "brook"}, ["stone"]),
        ({"system": "rill", "place": "systems/brook"}, []),
        ({"from": "2026-02-05T08:00:00Z", "to": "2026-04-05T08:00:00Z"}, ["stone", "sump"]),
    ):
        found_here = [one for one in paths(furnished, "moss", **said) if one.startswith("/v1/journal")]
        assert sorted(found_here) == sorted(told[name] for name in found), said
    assert [one["title"] for one in ask(furnished, "moss", noun="task")["items"]] == ["Trim the moss"]


def test_a_system_is_what_belongs_to_it_now(furnished: Caller, told: dict[str, str]) -> None:
    furnished.patch("/v1/tanks/nursery", {"system": "brook"})
    assert sorted(paths(furnished, "moss", system="brook")) == sorted([told["wood"], told["stone"]])


def test_the_limit_leaves_some_out_and_says_so(furnished: Caller, told: dict[str, str]) -> None:
    answer = ask(furnished, "moss", limit="3")
    assert (len(answer["items"]), answer["more"]) == (3, True)
    assert (len(ask(furnished, "moss", limit="4")["items"]), ask(furnished, "moss", limit="4")["more"]) == (
        4,
        False,
    )


def test_what_is_narrowed_by_must_be_there(furnished: Caller) -> None:
    for said, pointer in (
        ("q=x&noun=fish%20story", "/noun"),
        ("q=x&noun=key", "/noun"),
        ("q=x&place=tanks/nowhere", "/place"),
        ("q=x&system=nowhere", "/system"),
        ("q=x&limit=0", "/limit"),
        ("q=x&limit=101", "/limit"),
        ("q=x&from=soon", "/from"),
        ("q=x&page=2", "/page"),
        ("q=%00", "/q"),
        ("q=", "/q"),
        ("noun=task", "/q"),
    ):
        assert pointers(furnished.get(f"/v1/search?{said}")) == [pointer], said


def test_names_come_before_what_is_only_mentioned(furnished: Caller) -> None:
    note(furnished, "The nursery is quiet.")
    items = ask(furnished, "nursery")["items"]
    assert [one["noun"] for one in items] == ["tank", "gauge", "journal entry"]
    assert (items[0]["title"], items[0]["snippet"], items[0]["place"]) == (
        "Nursery",
        "«Nursery»",
        "tanks/nursery",
    )


def test_notes_are_shown_where_the_words_stand_in_them(furnished: Caller) -> None:
    furnished.patch("/v1/tanks/nursery", {"notes": "Cracked rim at the back, keep the level down."})
    (one,) = ask(furnished, "cracked rim")["items"]
    assert one["snippet"] == "«Cracked» «rim» at the back, keep the level down."
    assert one["title"] == "Nursery"


def test_the_rooms_own_name_and_notes_are_found(furnished: Caller) -> None:
    furnished.patch("/v1/room", {"notes": "Fuse box behind the fern."})
    assert paths(furnished, "fuse") == ["/v1/room"]


def test_a_completion_is_found_by_its_note_at_its_tasks_place_until_it_is_undone(furnished: Caller) -> None:
    schedule = {"kind": "interval", "every": "P1D", "start": "2026-11-01T10:00"}
    task = made(
        furnished,
        "tasks",
        {
            "title": "Rinse",
            "about": "tanks/nursery",
            "schedule": schedule,
            "effective_at": "2026-11-01T00:00:00Z",
        },
    )["id"]
    done = made(furnished, f"tasks/{task}/completions", {"occurrence": "first", "note": "Snail eggs found."})
    (one,) = ask(furnished, "snail")["items"]
    assert (one["noun"], one["place"], one["past"]) == ("completion", "tanks/nursery", False)
    assert furnished.get(one["path"]).get_json()["items"][0]["id"] == done["id"]
    assert paths(furnished, "snail", system="rill") == [one["path"]]
    furnished.patch(f"/v1/tasks/{task}", {"about": "room"})
    assert ask(furnished, "snail")["items"][0]["place"] == "room"
    assert paths(furnished, "snail", place="tanks/nursery") == []
    undone = furnished.delete(f"/v1/tasks/{task}/completions/{done['id']}")
    assert undone.status_code in (200, 204), undone.get_data(as_text=True)
    assert [one["past"] for one in ask(furnished, "snail")["items"]] == [True]


def test_an_alert_is_found_by_its_reason(app: Service, furnished: Caller) -> None:
    leak = {"name": "Drip tray", "parameter": "leak", "place": "sumps/rack", "alarm": {}}
    made(furnished, "gauges", leak)
    furnished.post("/v1/readings", {"gauge": "drip-tray", "value": 1})
    watch_once(app.database, now_ms())
    (alert,) = furnished.get("/v1/alerts").get_json()["items"]
    (one,) = ask(furnished, max(alert["reason"].split(), key=len), noun="alert")["items"]
    assert (one["path"], one["place"]) == (f"/v1/alerts/{alert['id']}", "sumps/rack")
    assert one["snippet"].replace("«", "").replace("»", "") == alert["reason"]


def test_fish_are_found_by_what_the_ledger_says_of_them(furnished: Caller) -> None:
    made(furnished, "species", {"name": "Dwarf gourami", "scientific_name": "Trichogaster lalius"})
    group = made(furnished, "groups", {"species": "dwarf-gourami", "tank": "nursery"})["id"]
    arrival = {
        "kind": "arrival",
        "group": group,
        "number": 4,
        "source": "The old pond farm",
        "words": "Two are pale.",
    }
    entry = made(furnished, "stock-entries", arrival)["id"]
    assert [one["title"] for one in ask(furnished, "lalius")["items"]] == ["Dwarf gourami"]
    for q in ("pale", '"pond farm"'):
        (one,) = ask(furnished, q, noun="stock entry")["items"]
        assert (one["path"], one["place"]) == (f"/v1/stock-entries/{entry}", "tanks/nursery")
    furnished.patch(f"/v1/groups/{group}", {"origin": "Bred by a neighbour"})
    (one,) = ask(furnished, "neighbour")["items"]
    assert (one["path"], one["title"]) == (f"/v1/groups/{group}", "Dwarf gourami in nursery")
    (told,) = furnished.get("/v1/audit?noun=group&what=changed").get_json()["items"]
    assert told["origin"] == f"/v1/groups/{group}"


def test_what_was_chosen_from_a_list_is_found_as_words(furnished: Caller) -> None:
    made(furnished, "species", {"name": "Golden panchax"})
    group = made(furnished, "groups", {"species": "golden-panchax", "tank": "nursery"})["id"]
    made(furnished, "stock-entries", {"kind": "arrival", "group": group, "number": 4})
    loss = {"kind": "loss", "group": group, "number": 1, "cause": "old_age"}
    entry = made(furnished, "stock-entries", loss)["id"]
    assert paths(furnished, "loss", noun="stock entry") == [f"/v1/stock-entries/{entry}"]
    (one,) = ask(furnished, '"old age"')["items"]
    assert (one["path"], one["snippet"], one["past"]) == (
        f"/v1/stock-entries/{entry}",
        "«old age»",
        False,
    )
    wrong = {"kind": "withdrawal", "withdraws": entry, "words": "It lives."}
    made(furnished, "stock-entries", wrong)
    assert [one["past"] for one in ask(furnished, '"old age"')["items"]] == [True]
    assert [one["past"] for one in ask(furnished, "withdrawal")["items"]] == [False]

    made(furnished, "plant-kinds", {"name": "Water moss", "growth_form": "attached"})
    planting = {"kind": "water-moss", "place": "tanks/nursery", "method": "on_wood"}
    planted = made(furnished, "plantings", planting)["id"]
    assert paths(furnished, '"on wood"') == [f"/v1/plantings/{planted}"]
    uprooted = made(furnished, "planting-events", {"planting": planted, "kind": "uprooted"})["id"]
    back = {"planting": planted, "kind": "replanted", "method": "on_stone"}
    again = made(furnished, "planting-events", back)["id"]
    assert paths(furnished, "uprooted") == [f"/v1/planting-events/{uprooted}"]
    assert paths(furnished, '"on stone"') == [f"/v1/planting-events/{again}"]

    cleaned = note(furnished, "Sponges rinsed.", kind="cleaning")
    assert paths(furnished, "cleaning") == [cleaned]
    furnished.patch(cleaned, {"kind": "visit"})
    assert (paths(furnished, "cleaning"), paths(furnished, "visit")) == ([], [cleaned])


def test_a_planting_goes_by_its_kinds_name_and_a_group_by_its_species_also_once_renamed(
    furnished: Caller,
) -> None:
    made(furnished, "plant-kinds", {"name": "Water moss", "growth_form": "attached"})
    planting = {"kind": "water-moss", "place": "tanks/nursery", "method": "on_wood"}
    planted = f"/v1/plantings/{made(furnished, 'plantings', planting)['id']}"
    made(furnished, "species", {"name": "Golden panchax"})
    group = {"species": "golden-panchax", "tank": "nursery", "name": "Front lot"}
    living = f"/v1/groups/{made(furnished, 'groups', group)['id']}"
    for noun, path, key, before, after in (
        ("planting", planted, "plant-kinds/water-moss", "moss", "liverwort"),
        ("group", living, "species/golden-panchax", "panchax", "killifish"),
    ):
        assert paths(furnished, before, noun=noun) == [path]
        assert furnished.patch(f"/v1/{key}", {"name": f"Green {after}"}).status_code == 200
        assert (paths(furnished, before, noun=noun), paths(furnished, after, noun=noun)) == ([], [path])


def test_settings_of_phases_and_reasons_of_a_clock_set_back_are_found(furnished: Caller) -> None:
    trial = {
        "question": "Does it matter?",
        "varied": "Lamp height",
        "place": "tanks/nursery",
        "phases": [{"setting": "Fortnight of dusk", "from": "2026-01-01T00:00:00Z"}],
        "outcomes": [{"gauge": "nursery-temperature"}],
    }
    assert paths(furnished, "dusk") == []
    made_trial = made(furnished, "trials", trial)["id"]
    assert paths(furnished, "dusk") == [f"/v1/trials/{made_trial}"]
    stay = made(furnished, "quarantines", {"tank": "nursery", "started_at": "2026-01-01T00:00:00Z"})["id"]
    again = {"reason": "Shared a net", "at": "2026-01-02T00:00:00Z"}
    answered = furnished.post(f"/v1/quarantines/{stay}/restart", again)
    assert answered.status_code in (200, 201), answered.get_data(as_text=True)
    assert paths(furnished, '"shared a net"') == [f"/v1/quarantines/{stay}"]


def test_a_changed_setting_and_tags_are_found(furnished: Caller) -> None:
    changed = {"what": "Lamp height", "from": "20 cm", "to": "35 cm"}
    told = note(furnished, "Less glare.", kind="change", changed=changed, tags=["algae", "lamp-trial"])
    for q in ("height", "35 cm", "algae", '"lamp trial"'):
        assert paths(furnished, q) == [told], q


def test_a_photo_is_found_by_its_words_until_it_is_deleted(furnished: Caller) -> None:
    sent = furnished.post(
        "/v1/attachments?place=tanks/nursery&words=Moss%20on%20the%20root",
        jpeg(drawn(20, 12)),
        Content_Type="image/jpeg",
    )
    path = f"/v1/attachments/{sent.get_json()['id']}"
    (one,) = ask(furnished, "root moss")["items"]
    assert (one["path"], one["place"], one["noun"]) == (path, "tanks/nursery", "attachment")
    furnished.patch(path, {"words": "Fern on the stone"})
    assert (paths(furnished, "moss"), paths(furnished, "fern")) == ([], [path])
    assert furnished.delete(path).status_code == 204
    assert paths(furnished, "fern") == []


def test_what_is_imported_is_found_and_a_dry_run_is_not(furnished: Caller) -> None:
    rows = "happened_at,place,words\n2025-11-24 18:00,tanks/nursery,Snail eggs\n"
    for dry, count in (("true", 0), ("false", 1)):
        sent = furnished.post(f"/v1/imports/journal?dry_run={dry}", rows, Content_Type="text/csv")
        assert sent.status_code == 200, sent.get_data(as_text=True)
        assert len(paths(furnished, "snail")) == count


def test_names_of_keys_are_found_by_nobody(furnished: Caller, caller: MakeCaller) -> None:
    caller("viewer", name="Periwinkle screen")
    assert paths(furnished, "periwinkle") == []


def test_who_reads_may_search_and_a_sensor_may_not(furnished: Caller, caller: MakeCaller) -> None:
    for role in ("viewer", "helper"):
        assert caller(role).get("/v1/search?q=nursery").status_code == 200
    assert caller("sensor", gauges=["nursery-temperature"]).get("/v1/search?q=nursery").status_code == 403


def test_answers_come_as_a_table_too(furnished: Caller, told: dict[str, str]) -> None:
    answered = furnished.get("/v1/search?q=wood&format=csv")
    head, line = answered.get_data(as_text=True).splitlines()
    assert head == "noun,subject,path,title,place,at,snippet,past"
    assert line.split(",")[2] == told["wood"]
    assert "«wood»" in line


ODD: Sequence[str] = (
    "AND",
    "moss AND",
    "NEAR(moss wood, 2)",
    "title:moss",
    "{title body}: moss",
    "^moss",
    'moss"',
    "moss*",
    "moss OR (wood",
    "'; DROP TABLE search_entry; --",
    "a & b | !c",
    "a <-> b:*",
    "\\",
    "1\u00b7moss",
    "\U0001f41f\U0001f3fd",
    "\ufffd\u200d\u0301",
    "-",
    '""',
    "%",
    "?",
    " ".join(["moss"] * 2000),
    "m" * 10_000,
    "-x " * 3000,
    '"' * 999,
)


@on_both_engines
def test_no_question_is_wrong(furnished: Caller) -> None:
    note(furnished, "Moss.")
    for q in ODD:
        ask(furnished, q)
    assert ask(furnished, "moss*")["looked_for"] == ["moss…"]
    assert len(ask(furnished, "moss title:moss")["items"]) == 0


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), min_size=1, max_size=40))
@example("\x1f\x85\u2028")
def test_any_question_is_answered(furnished: Caller, q: str) -> None:
    answered = furnished.get(f"/v1/search?{urlencode({'q': q})}")
    assert answered.status_code == (200 if q.strip() else 422)
