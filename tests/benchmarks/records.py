"""How long answers over years of records take, a section a function.

    python tests/benchmarks/records.py [SECTION ...]

Through WSGI, in one process, with a bare request as the yardstick. Exit status 1 if a bar is missed.
"""

from __future__ import annotations

import itertools
import random
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Mapping
from pathlib import Path
from urllib.parse import urlencode

import sqlalchemy as sa
from flask.testing import FlaskClient

from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.app import create_app
from weirbook.config import Config, sqlite_url
from weirbook.record import search
from weirbook.record.access import Role
from weirbook.record.database import Database, now_ms
from weirbook.record.journal import JournalEntry
from weirbook.record.migrations import migrate
from weirbook.record.rooms import Room

ROUNDS = 20
MINUTE_MS = 60_000

SEARCH_BAR_MS = 50
ENTRIES, NEIGHBOURS, NEIGHBOURS_ENTRIES = 50_000, 10, 5_000
WORDS_AN_ENTRY, VOCABULARY = 35, 20_000
QUESTIONS: Mapping[str, Mapping[str, str]] = {
    "a word in every entry": {"q": "water"},
    "a word in every entry, 100 answers": {"q": "water", "limit": "100"},
    "a word in one entry of a hundred": {"q": "heron"},
    "a word in 25 entries": {"q": "axolotl"},
    "a word in none": {"q": "nothinglikeit"},
    "three words, two of them everywhere": {"q": "water tank heron"},
    "two words in a row": {"q": '"water tank"'},
    "two letters, as the beginning of a word": {"q": "he"},
    "everywhere, without a word in one of a hundred": {"q": "water -heron"},
    "everywhere, of one day years ago": {
        "q": "water",
        "from": "2025-11-01T00:00:00Z",
        "to": "2025-11-02T00:00:00Z",
    },
    "everywhere, of a kind that has none": {"q": "water", "noun": "target"},
}


def main() -> int:
    wanted = sys.argv[1:] or list(SECTIONS)
    held = [SECTIONS[name]() for name in wanted]
    return 0 if all(held) else 1


def over_search() -> bool:
    """Search over 50,000 journal entries, with other rooms that use the same words in the same file."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "search.db"
        begun = time.perf_counter()
        client, secret = _library(file)
        made = time.perf_counter() - begun
        bare = _median(client, secret, "/v1/room")
        print(
            f"search over {ENTRIES} entries of {WORDS_AN_ENTRY} words, {NEIGHBOURS} other rooms beside; "
            f"made in {made:.0f} s, file {file.stat().st_size / 2**20:.0f} MB; a bare request {bare:.1f} ms"
        )
        held = True
        for words, query in QUESTIONS.items():
            taken = _median(client, secret, f"/v1/search?{urlencode(query)}")
            held = held and taken < SEARCH_BAR_MS
            print(f"  {words}: {taken:.1f} ms, {taken / bare:.0f} times a bare request")
        written = _median_of(lambda: _note(client, secret))
        print(f"  an entry is written in {written:.1f} ms")
    print(f"  bar {SEARCH_BAR_MS} ms: {'held' if held else 'NOT held'}")
    return held


def _library(file: Path) -> tuple[FlaskClient, str]:
    """A room full of journal entries, and its neighbours."""
    database, now = Database(sqlite_url(file)), now_ms()
    migrate(database)
    luck = random.Random(1)
    vocabulary = [
        "".join(some) for some in itertools.product("bdfghklmnprst", "aeiou", "lmnrst", "aeiou", "ns")
    ]
    luck.shuffle(vocabulary)
    # As in any language, the n-th word in order of use comes about 1/n as often as the first.
    weights = list(itertools.accumulate(1 / (rank + 1) for rank in range(len(vocabulary[:VOCABULARY]))))
    with database.write() as session:
        secret = ""
        for number in range(1 + NEIGHBOURS):
            room = open_room(session, name=f"Room {number}", time_zone="UTC", now=now)
            if number == 0:
                _, secret = make_key(session, name="keeper", role=Role.KEEPER, now=now)
            count = NEIGHBOURS_ENTRIES if number else ENTRIES
            session.execute(
                sa.insert(JournalEntry),
                [
                    {
                        "room_id": room.room_id,
                        "id": uuid.UUID(int=number << 64 | index),
                        "place_id": 0,
                        "kind": "note",
                        "happened_at_ms": now - (count - index) * 20 * MINUTE_MS,
                        "words": _words(luck, index, vocabulary[:VOCABULARY], weights),
                        "author": "keeper",
                        "version": 1,
                        "created_at_ms": now,
                        "updated_at_ms": now,
                    }
                    for index in range(count)
                ],
            )
    with database.write() as session:
        search.make_anew(session, list(session.scalars(sa.select(Room.room_id))))
    return create_app(Config(sqlite_url(file)), database).test_client(), secret


def _words(luck: random.Random, index: int, vocabulary: list[str], weights: list[float]) -> str:
    words = luck.choices(vocabulary, cum_weights=weights, k=WORDS_AN_ENTRY - 2)
    words.insert(luck.randrange(len(words)), "water")
    words.insert(luck.randrange(len(words)), "tank")
    for word, every in (("heron", 100), ("axolotl", 2000)):
        if index % every == 0:
            words[-1] = word
    return " ".join(words).capitalize() + "."


def _note(client: FlaskClient, secret: str) -> None:
    answered = client.post(
        "/v1/journal",
        json={"words": "Water in the tank is clear."},
        headers={"Authorization": f"Bearer {secret}"},
    )
    assert answered.status_code == 201, answered.get_data(as_text=True)


def _median(client: FlaskClient, secret: str, path: str) -> float:
    """Milliseconds of the middle one of some requests."""

    def ask() -> None:
        answered = client.get(path, headers={"Authorization": f"Bearer {secret}"})
        assert answered.status_code == 200, answered.get_data(as_text=True)

    return _median_of(ask)


def _median_of(what: Callable[[], None]) -> float:
    taken = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        what()
        taken.append((time.perf_counter() - begun) * 1000)
    return statistics.median(taken)


SECTIONS: Mapping[str, Callable[[], bool]] = {"search": over_search}


if __name__ == "__main__":
    sys.exit(main())
