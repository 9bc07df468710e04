"""How long answers over years of records take, a section a function.

    python tests/benchmarks/records.py [SECTION ...]

Through WSGI, in one process, with a bare request as the yardstick. Exit status 1 if a bar is missed.
"""

from __future__ import annotations

import gc
import itertools
import random
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import sqlalchemy as sa
import year_of_records
from flask.testing import FlaskClient

from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.app import create_app
from weirbook.config import Config, sqlite_url
from weirbook.engine.units import Quantity
from weirbook.record import search
from weirbook.record.access import Role
from weirbook.record.database import Database, now_ms
from weirbook.record.fish import Group, Species, StockEntry
from weirbook.record.journal import JournalEntry
from weirbook.record.migrations import migrate
from weirbook.record.places import Place, System, Tank, TankSystem
from weirbook.record.quarantines import Transfer
from weirbook.record.rooms import Room

ROUNDS = 20
MINUTE_MS, DAY_MS = 60_000, 86_400_000

SEARCH_BAR_MS = 50
TIMELINE_BAR_MS = 100
ENTRIES, NEIGHBOURS, NEIGHBOURS_ENTRIES = 50_000, 10, 5_000
WORDS_AN_ENTRY, VOCABULARY = 35, 20_000
EXPOSURE_BAR_MS = 200
GROUPS, TANKS, SYSTEMS, KINDS, YEARS = 300, 60, 20, 40, 5
MOVES, LOSSES, CARRIED = 12, 8, 300
"""Of each group, and in all. Groups of one kind, that fish move among, are seven or eight."""
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


def over_exposure() -> bool:
    """Who may have exposed whom, among 300 groups with 5 years of moves, shared sumps and things carried over."""
    with tempfile.TemporaryDirectory() as folder:
        client, secret, groups = _moved_about(Path(folder) / "exposure.db")
        gc.collect()
        gc.freeze()  # as the server does once it stands
        bare = _median(client, secret, "/v1/room")
        print(
            f"exposure among {GROUPS} groups in {TANKS} tanks of {SYSTEMS} systems over {YEARS} years; "
            f"a bare request {bare:.1f} ms"
        )
        held = True
        for words, query in (
            ("backward", ""),
            ("forward", "?direction=forward"),
            ("the last year", "?from=2025-11-25T00:00:00Z"),
        ):
            asked = itertools.cycle(groups)

            def ask(query: str = query, asked: Iterator[uuid.UUID] = asked) -> None:
                path = f"/v1/groups/{next(asked)}/exposure{query}"
                answered = client.get(path, headers={"Authorization": f"Bearer {secret}"})
                assert answered.status_code == 200 and b'"way":' in answered.data, answered.get_data(
                    as_text=True
                )

            taken = _median_of(ask)
            held = held and taken < EXPOSURE_BAR_MS
            print(f"  {words}: {taken:.0f} ms, {taken / bare:.0f} times a bare request")
    print(f"  bar {EXPOSURE_BAR_MS} ms: {'held' if held else 'NOT held'}")
    return held


def _moved_about(file: Path) -> tuple[FlaskClient, str, list[uuid.UUID]]:
    """A room whose groups came over five years, each with some moves to groups of its kind, losses and carried things."""
    database, now = Database(sqlite_url(file)), now_ms()
    migrate(database)
    luck, begun = random.Random(1), now - YEARS * 365 * DAY_MS
    stamps = {"version": 1, "created_at_ms": now, "updated_at_ms": now}
    with database.write() as session:
        room = open_room(session, name="Room", time_zone="UTC", now=now)
        _, secret = make_key(session, name="keeper", role=Role.KEEPER, now=now)
        numbers: dict[str, list[int]] = {}
        place = itertools.count(100)
        for noun, count in (("system", SYSTEMS), ("tank", TANKS)):
            numbers[noun] = [next(place) for _ in range(count)]
            session.execute(
                sa.insert(Place.__table__),
                [
                    {
                        "room_id": room.room_id,
                        "id": id,
                        "noun": noun,
                        "handle": f"{noun}-{id}",
                        "name": f"{noun} {id}",
                        **stamps,
                    }
                    for id in numbers[noun]
                ],
            )
        session.execute(
            sa.insert(System.__table__), [{"room_id": room.room_id, "id": id} for id in numbers["system"]]
        )
        homes = {tank: luck.choice(numbers["system"]) for tank in numbers["tank"]}
        session.execute(
            sa.insert(Tank.__table__),
            [
                {
                    "room_id": room.room_id,
                    "id": id,
                    "system_id": homes[id],
                    "use": "display",
                    "footprint": {},
                    "water_depth": Quantity(50, "cm"),
                }
                for id in numbers["tank"]
            ],
        )
        session.execute(
            sa.insert(TankSystem.__table__),
            [
                {
                    "room_id": room.room_id,
                    "subject_id": tank,
                    "system_id": system,
                    "from_ms": 0,
                    "to_ms": None,
                }
                for tank, system in homes.items()
            ],
        )
        session.execute(
            sa.insert(Species.__table__),
            [
                {"room_id": room.room_id, "id": id, "handle": f"kind-{id}", "name": f"Kind {id}", **stamps}
                for id in range(KINDS)
            ],
        )
        groups = [uuid.UUID(int=index + 1) for index in range(GROUPS)]
        session.execute(
            sa.insert(Group.__table__),
            [
                {
                    "room_id": room.room_id,
                    "id": id,
                    "species_id": index % KINDS,
                    "tank_id": luck.choice(numbers["tank"]),
                    **stamps,
                }
                for index, id in enumerate(groups)
            ],
        )
        lines: list[dict[str, Any]] = []
        for index, id in enumerate(groups):
            came = luck.randrange(begun, now - 30 * DAY_MS)
            lines.append(
                {
                    "kind": "arrival",
                    "group_id": id,
                    "number": 40,
                    "happened_at_ms": came,
                    "source": f"Source {index % 7}",
                }
            )
            for _ in range(MOVES):
                to_group = luck.choice([other for other in groups[index % KINDS :: KINDS] if other != id])
                lines.append(
                    {
                        "kind": "move",
                        "group_id": id,
                        "to_group_id": to_group,
                        "number": 1,
                        "happened_at_ms": luck.randrange(came, now),
                    }
                )
            for _ in range(LOSSES):
                lines.append(
                    {
                        "kind": "loss",
                        "group_id": id,
                        "number": 1,
                        "happened_at_ms": luck.randrange(came, now),
                        "cause": luck.choice(("disease", "unknown", "jumped")),
                    }
                )
        empty = dict.fromkeys(
            (
                "to_group_id",
                "source",
                "cause",
                "price",
                "evidence",
                "batch_id",
                "withdraws_id",
                "keeps_clock",
                "words",
            )
        )
        session.execute(
            sa.insert(StockEntry.__table__),
            [
                {
                    **empty,
                    "room_id": room.room_id,
                    "id": uuid.UUID(int=1 << 64 | number),
                    "line": number,
                    "straight_in": False,
                    "author": "keeper",
                    **line,
                    **stamps,
                }
                for number, line in enumerate(lines)
            ],
        )
        session.execute(
            sa.insert(Transfer.__table__),
            [
                {
                    "room_id": room.room_id,
                    "id": uuid.UUID(int=2 << 64 | number),
                    "what": "nets",
                    "from_place_id": source,
                    "to_place_id": target,
                    "moved_at_ms": luck.randrange(begun, now),
                    "disinfected": None,
                    "words": None,
                    **stamps,
                }
                for number in range(CARRIED)
                for source, target in [luck.sample(numbers["tank"], 2)]
            ],
        )
    return create_app(Config(sqlite_url(file)), database).test_client(), secret, luck.sample(groups, 10)


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


def over_timeline() -> bool:
    """A year of one system with 2,000 records, three thermometers and a lid: in order, and as suspects."""
    with tempfile.TemporaryDirectory() as folder:
        client, secret = year_of_records.make(Path(folder) / "year.db")
        bare = _median(client, secret, "/v1/room")
        since = time.strftime("%Y-%m-%dT00:00:00Z", time.gmtime(time.time() - 364 * 86_400))
        taken = {
            words: _median(client, secret, f"/v1/systems/pond/{path}")
            for words, path in (
                ("a year in order", f"timeline?from={since}"),
                ("a year of losses alone", f"timeline?from={since}&kind=loss"),
                ("the last 90 days in order", "timeline"),
                ("what changed in 21 days, beside the year before", "what-changed"),
                ("how settled it is", "maturity"),
            )
        }
    for words, one in taken.items():
        print(f"  {words}: {one:.1f} ms, {one / bare:.0f} times a bare request ({bare:.1f} ms)")
    held = taken["a year in order"] < TIMELINE_BAR_MS
    print(f"  bar of a year in order {TIMELINE_BAR_MS} ms: {'held' if held else 'NOT held'}")
    return held


SECTIONS: Mapping[str, Callable[[], bool]] = {
    "search": over_search,
    "exposure": over_exposure,
    "timeline": over_timeline,
}


if __name__ == "__main__":
    sys.exit(main())
