"""Handles, numbers and paths: made from names, never used twice, found in one's own room."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import islice

import pytest
from harness import Caller, on_both_engines
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.app import Service
from weirbook.errors import Conflict, Unknown
from weirbook.record.base import HANDLE, HANDLE_CAP, RESERVED_HANDLES, Named, handle_from
from weirbook.record.database import Database, enter_room, take_next
from weirbook.record.names import NAMED, claim_handle, find, find_place, free_handle
from weirbook.record.places import System


@pytest.fixture
def session(database: Database, room_id: int) -> Iterator[Session]:
    with database.write() as found:
        enter_room(found, room_id)
        yield found


def system(session: Session, name: str, **said: object) -> System:
    return create(session, System, {"name": name, "handle": None, **said}, now=1)


@pytest.mark.parametrize(
    ("name", "handle"),
    [
        ("Nursery", "nursery"),
        ("  North  wall, rack 2 ", "north-wall-rack-2"),
        ("Grünes Becken", "grunes-becken"),
        ("Étagère n° 3", "etagere-n-3"),
        ("ﬁlter", "filter"),
        ("水槽", ""),
        ("--", ""),
        ("A" * 200, "a" * (HANDLE_CAP - 5)),
    ],
)
def test_a_handle_is_made_from_the_name(name: str, handle: str) -> None:
    assert handle_from(name) == handle


@given(st.text(max_size=130))
def test_whatever_the_name_the_handle_is_a_slug_or_nothing(name: str) -> None:
    made = handle_from(name)
    assert made == "" or HANDLE.fullmatch(made)
    assert len(f"{made}-9999") <= HANDLE_CAP


def test_names_alike_are_numbered_and_a_name_of_no_letters_takes_the_nouns(session: Session) -> None:
    assert [system(session, "Rill").handle for _ in range(3)] == ["rill", "rill-2", "rill-3"]
    assert [system(session, "水").handle for _ in range(2)] == ["system", "system-2"]


NAMED_BY_NAME = [model for model in NAMED.values() if model.handle_stems is Named.handle_stems]


@pytest.mark.parametrize("model", NAMED_BY_NAME, ids=lambda model: model.__name__)
def test_a_name_of_no_letters_still_gives_a_slug(model: type[Named]) -> None:
    stems = model(name="水").handle_stems()
    assert all(HANDLE.fullmatch(stem) for stem in islice(stems, 3))


@pytest.mark.parametrize("word", sorted(RESERVED_HANDLES))
def test_a_word_of_the_paths_is_no_handle(session: Session, word: str) -> None:
    with pytest.raises(Conflict, match="word that paths use"):
        claim_handle(session, System, word)
    assert free_handle(session, System, iter((word, f"{word}-2"))) == f"{word}-2"


def test_a_retired_things_handle_is_not_given_again(session: Session) -> None:
    system(session, "Rill", retired_at_ms=1)
    with pytest.raises(Conflict, match="never used again"):
        claim_handle(session, System, "rill")
    assert system(session, "Rill").handle == "rill-2"


def test_what_is_not_there_is_refused_with_what_is(session: Session) -> None:
    with pytest.raises(Unknown, match=r"None is recorded yet: make one with POST /v1/systems"):
        find(session, System, "rill")
    for name in ("Rill", "Brook"):
        system(session, name)
    system(session, "Gone", retired_at_ms=1)
    with pytest.raises(Unknown, match=r"There are: brook, rill\."):
        find(session, System, "pond")
    assert find(session, System, "gone").name == "Gone"


@pytest.mark.parametrize(
    "path", ["", "systems", "systems/", "rooms", "room/", "room/x", "pumps/x", "Systems/rill", "places/rill"]
)
def test_what_is_no_path_of_a_place_is_refused(session: Session, path: str) -> None:
    system(session, "Rill")
    with pytest.raises(Unknown, match="is not a place"):
        find_place(session, path)


def test_every_place_is_found_by_the_path_it_shows(session: Session) -> None:
    system(session, "Rill")
    for path in ("room", "systems/rill"):
        assert find_place(session, path).path == path


@on_both_engines
def test_numbers_taken_at_once_are_all_different_and_none_is_left_out(app: Service, room_id: int) -> None:
    def take(_: int) -> int:
        with app.database.write() as session:
            enter_room(session, room_id)
            return take_next(session, "probe")

    with ThreadPoolExecutor(8) as pool:
        assert sorted(pool.map(take, range(40))) == list(range(1, 41))


@on_both_engines
def test_a_number_taken_by_what_came_to_nothing_is_taken_again(app: Service, room_id: int) -> None:
    def take_and_fail() -> None:
        with app.database.write() as session:
            enter_room(session, room_id)
            assert take_next(session, "probe") == 1
            raise ZeroDivisionError

    for _ in range(2):
        with pytest.raises(ZeroDivisionError):
            take_and_fail()


@on_both_engines
def test_things_of_one_name_made_at_once_have_each_their_handle(app: Service, keeper: Caller) -> None:
    def make(_: int) -> int:
        return Caller(app.test_client(), keeper.secret).post("/v1/systems", {"name": "Rill"}).status_code

    with ThreadPoolExecutor(6) as pool:
        assert set(pool.map(make, range(12))) == {201}
    handles = [one["handle"] for one in keeper.get("/v1/systems").get_json()["items"]]
    assert sorted(handles) == sorted(["rill", *(f"rill-{number}" for number in range(2, 13))])
