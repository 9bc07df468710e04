"""What search keeps on each engine: any text is found by each of its words, and both answer as a naive reader would."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from pathlib import Path

import pytest
import sqlalchemy as sa
from harness import on_both_engines
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from weirbook.actions.create import create
from weirbook.actions.edit import edit
from weirbook.actions.open_room import open_room
from weirbook.actions.remove import remove
from weirbook.actions.search_record import search_record
from weirbook.engine.searching import Question, Term, read_question, words_of
from weirbook.errors import Invalid
from weirbook.record import full_text, search
from weirbook.record.backups import backup, restore
from weirbook.record.changes import may_be_taken_back
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.record.full_text import Narrowing
from weirbook.record.journal import JournalEntry

NOW = 1_900_000_000_000
"""After any room was opened."""
ONE_DATABASE = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def write(database: Database, room_id: int, *entries: tuple[str, str | None]) -> list[uuid.UUID]:
    """Journal entries, the first the oldest."""
    with database.write() as session:
        enter_room(session, room_id)
        return [
            create(
                session,
                JournalEntry,
                {
                    "place": "room",
                    "kind": "note",
                    "words": words,
                    "author": "Ana",
                    "credit": credit,
                    "happened_at_ms": NOW + number,
                },
                now=now_ms(),
            ).id
            for number, (words, credit) in enumerate(entries)
        ]


def clear(database: Database, room_id: int) -> None:
    with database.write() as session:
        enter_room(session, room_id)
        for row in session.scalars(sa.select(JournalEntry)):
            remove(session, row)


def found(database: Database, room_id: int, question: Question, limit: int = 1000) -> list[str]:
    with database.read() as session:
        enter_room(session, room_id)
        items, _ = search_record(session, question, Narrowing(nouns=["journal entry"]), limit)
        return [one.subject for one in items]


def flaws(database: Database, room_id: int) -> list[str]:
    with database.read() as session:
        enter_room(session, room_id)
        return list(search.flaws(session))


@pytest.fixture
def next_door(database: Database, room_id: int) -> int:
    """Another room with the same words in it."""
    with database.write() as session:
        other = open_room(session, name="Next door", time_zone="Asia/Kolkata", now=now_ms()).room_id
    write(database, other, ("moss on wood", "Bea"), ("a stone", None))
    return other


@on_both_engines
@ONE_DATABASE
@given(
    text=st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), min_size=1, max_size=60)
)
@example(text="moss'tied\\\" \u00b7 1\u00b7x \u00b6 :A & | ! <-> ( )")
@example(text="w" * 5000)
@example(text="moss " * 4000)
@example(text="水草 " * 300)
def test_any_text_is_found_by_each_of_its_words(database: Database, room_id: int, text: str) -> None:
    (written,) = write(database, room_id, (text, None))
    for word in sorted(set(words_of(text)))[:12]:
        assert found(database, room_id, Question((Term((word,)),), ())) == [str(written)]
    assert flaws(database, room_id) == []
    clear(database, room_id)
    assert flaws(database, room_id) == []


WORD = st.sampled_from(["moss", "mossy", "on", "wood", "Stöne", "stones", "pH-7"])
TEXT = st.lists(WORD, min_size=1, max_size=6).map(" ".join)
PART = st.one_of(
    WORD,
    st.sampled_from(["mo", "st", "wo"]),
    st.lists(WORD, min_size=2, max_size=3).map(lambda words: f'"{" ".join(words)}"'),
    WORD.map(lambda word: f"-{word}"),
)


@on_both_engines
@ONE_DATABASE
@given(
    entries=st.lists(st.tuples(TEXT, st.none() | TEXT), min_size=1, max_size=6),
    asked=st.lists(st.lists(PART, min_size=1, max_size=3).map(" ".join), min_size=8, max_size=8),
)
def test_both_engines_find_what_a_naive_reader_finds(
    database: Database, next_door: int, room_id: int, entries: list[tuple[str, str | None]], asked: list[str]
) -> None:
    ids = write(database, room_id, *entries)
    for text in asked:
        question = read_question(text)
        expected = {
            str(id) for id, entry in zip(ids, entries, strict=True) if answers(question, (*entry, "Ana"))
        }
        assert set(found(database, room_id, question)) == (expected if question.wanted else set()), text
    clear(database, room_id)


def answers(question: Question, texts: Sequence[str | None]) -> bool:
    """Whether a record does, read word by word."""
    fields = [words_of(text) for text in texts if text]

    def stands(term: Term) -> bool:
        size = len(term.words)
        rows = [tuple(words[at : at + size]) for words in fields for at in range(len(words))]
        last = term.words[-1]
        return any(
            row == term.words
            or (term.begins and len(row) == size and row[:-1] == term.words[:-1] and row[-1].startswith(last))
            for row in rows
        )

    return all(map(stands, question.wanted)) and not any(map(stands, question.unwanted))


@on_both_engines
def test_the_best_come_first_alike_on_both_engines(database: Database, room_id: int) -> None:
    ids = write(
        database,
        room_id,
        ("The moss came off the stone in the flow of the second pump", None),
        ("Moss", None),
        ("moss, and moss again", None),
        ("Mosses", None),
        ("Moss", None),
        ("Nothing of it", "Moss"),
        ("Nothing at all", None),
    )
    order = [ids.index(uuid.UUID(one)) for one in found(database, room_id, read_question("moss"))]
    assert order[0] == 2  # twice, and short
    assert order.index(4) + 1 == order.index(1)  # the same words: the newer first
    assert order.index(1) < order.index(3)  # a whole word before one that only begins so
    assert order.index(1) < order.index(0)  # a short text before a long one
    assert sorted(order) == [0, 1, 2, 3, 4, 5]


@on_both_engines
@ONE_DATABASE
@given(st.text(max_size=120))
@example("'")
@example('"')
@example("1\u00b7moss")
@example("moss NEAR(wood, 2) OR title:moss* AND NOT x")
@example("a & b | !c <-> d:*A \\ ' ''")
@example("\U0001f41f \ufe0f \u200d")
@example("-a -b")
def test_no_question_upsets_an_engine(database: Database, next_door: int, room_id: int, text: str) -> None:
    assert found(database, room_id, read_question(text.replace("\x00", " "))) == []


@on_both_engines
def test_a_very_long_question_is_answered(database: Database, room_id: int) -> None:
    (written,) = write(database, room_id, (" ".join(f"w{number}" for number in range(3000)), None))
    for text in (
        " ".join(f"w{number}" for number in range(2000)),
        '"' + " ".join(f"w{number}" for number in range(2000)) + '"',
        " ".join(f"-x{number} w{number}" for number in range(1000)),
    ):
        assert found(database, room_id, read_question(text)) == [str(written)]
    assert found(database, room_id, read_question("w" * 10_000)) == []


@on_both_engines
def test_of_very_common_words_the_newest_and_the_titles_are_weighed(
    database: Database, room_id: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(full_text, "CANDIDATES", 3)
    with database.write() as session:
        enter_room(session, room_id)
        from_the_start = session.scalars(sa.select(search.sought_models()["room"])).one()
        edit(session, from_the_start, {"name": "Moss house"}, now=now_ms())
    ids = write(database, room_id, *[("moss", None)] * 5)
    with database.read() as session:
        enter_room(session, room_id)
        items, more = search_record(session, read_question("moss"), Narrowing(), 10)
    assert [one.subject for one in items] == ["room", *(str(one) for one in ids[:1:-1])]
    assert not more


@on_both_engines
def test_rolled_back_words_are_not_kept(database: Database, room_id: int) -> None:
    with pytest.raises(ZeroDivisionError):
        _write_and_fail(database, room_id)
    assert found(database, room_id, read_question("moss")) == []
    assert flaws(database, room_id) == []


def _write_and_fail(database: Database, room_id: int) -> None:
    with database.write() as session:
        enter_room(session, room_id)
        note = {"place": "room", "kind": "note", "words": "moss", "author": "Ana", "happened_at_ms": NOW}
        create(session, JournalEntry, note, now=now_ms())
        search._keep(session)
        raise ZeroDivisionError


@on_both_engines
def test_what_a_part_of_a_transaction_takes_back_is_not_kept(database: Database, room_id: int) -> None:
    note = {"place": "room", "kind": "note", "author": "Ana", "happened_at_ms": NOW}
    with database.write() as session:
        enter_room(session, room_id)
        row = create(session, JournalEntry, {**note, "words": "moss"}, now=now_ms())
        for refused in (True, False):
            try:
                with may_be_taken_back(session):
                    create(
                        session, JournalEntry, {**note, "words": "fern" if refused else "rush"}, now=now_ms()
                    )
                    if refused:
                        remove(session, row)
                        raise Invalid("Taken back.")
            except Invalid:
                pass
    asked = {text: len(found(database, room_id, read_question(text))) for text in ("moss", "fern", "rush")}
    assert asked == {"moss": 1, "fern": 0, "rush": 1}
    assert flaws(database, room_id) == []


@on_both_engines
def test_made_and_deleted_in_one_transaction_leaves_nothing(database: Database, room_id: int) -> None:
    with database.write() as session:
        enter_room(session, room_id)
        for words in ("moss", "fern"):
            row = create(
                session,
                JournalEntry,
                {"place": "room", "kind": "note", "words": words, "author": "Ana", "happened_at_ms": NOW},
                now=now_ms(),
            )
            edit(session, row, {"words": f"{words} twice"}, now=now_ms())
            if words == "moss":
                remove(session, row)
    assert found(database, room_id, read_question("moss")) == []
    assert len(found(database, room_id, read_question("fern twice"))) == 1
    assert flaws(database, room_id) == []


def test_a_copy_brought_back_finds_what_it_holds(database: Database, room_id: int, tmp_path: Path) -> None:
    (kept,) = write(database, room_id, ("moss", None))
    backup(database, tmp_path / "copy.db")
    write(database, room_id, ("moss, told later", None))
    restore(database, tmp_path / "copy.db")
    assert found(database, room_id, read_question("moss")) == [str(kept)]
    assert flaws(database, room_id) == []


@on_both_engines
def test_of_a_hundred_rooms_each_finds_its_own(database: Database) -> None:
    """Numbers that begin alike, and the same words in all."""
    rooms = []
    for number in range(101):
        with database.write() as session:
            rooms.append(
                open_room(session, name=f"Moss house {number}", time_zone="UTC", now=NOW + number).room_id
            )
    assert {1, 10, 100} <= set(rooms)
    for room_id in (*rooms[::7], 1, 10, 100):
        with database.read() as session:
            enter_room(session, room_id)
            for text in ("moss", '"moss house"', "mo", "house moss -fern"):
                items, more = search_record(session, read_question(text), Narrowing(), 100)
                assert [one.title for one in items] == [f"Moss house {rooms.index(room_id)}"]
                assert not more
