"""How fast readings go in and weeks come out, beside a script that a keeper would write and SQLite alone.

    python tests/benchmarks/ingest.py [--quick] [--long]

Every commit is durable (synchronous=FULL). The contenders take turns within a step, so that a machine that is
busy with something else slows all of them; a ratio is the median of those turns. In brackets stands the processor
time that the service took for one post or one week. Exit status 1 if a bar is missed.
"""

from __future__ import annotations

import argparse
import itertools
import os
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))  # this folder is no package

from contenders import MINUTE_MS, Contender, Reading, body_of, readings_of, script_in, weirbook_in
from lines import Line, print_table
from served import Client, medians_ms, post_all
from weeks import measure_weeks

from weirbook.record.database import now_ms


def main() -> int:
    said = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    said.add_argument("--quick", action="store_true", help="a tenth of the work")
    said.add_argument("--long", action="store_true", help="the week also out of 25 million readings")
    chosen = said.parse_args()
    part = 10 if chosen.quick else 1
    lines: list[Line] = []
    with tempfile.TemporaryDirectory() as folder:
        posts = measure_posts(Path(folder), batches=500 // part, singles=2000 // part)
        stored = [5_000_000 // part, *([25_000_000 // part] if chosen.long else [])]
        for line in itertools.chain(posts, measure_weeks(Path(folder), stored)):
            lines.append(line)
            print(f"  … {line.what}: {' '.join(line.cells)} {line.ratio}", file=sys.stderr, flush=True)
    print_table(lines)
    return 1 if any(line.held is False for line in lines) else 0


def measure_posts(folder: Path, *, batches: int, singles: int, rounds: int = 5) -> Iterator[Line]:
    """Batches by one client, single readings by one and by eight; memory, start and disk."""
    with ExitStack() as running:
        weirbook = running.enter_context(weirbook_in(folder, "posts"))
        script = running.enter_context(script_in(folder, "script"))
        tuned = running.enter_context(script_in(folder, "tuned"))
        contenders = (weirbook, script, tuned)
        raw = running.enter_context(closing(_raw_table(folder / "raw.db")))
        yield Line("one sync of the disk", ["", "", "", f"{_sync_ms(folder / 'sync'):.2f} ms"])
        yield Line("start to first answer", [f"{one.served.started_s:.2f} s" for one in contenders])
        idle = [one.served.resident_mb() for one in contenders]
        yield Line("resident, idle", [f"{one:.0f} MB" for one in idle], bar="<= 120 MB", held=idle[0] <= 120)
        empty = _size(folder / "posts.db")
        minutes = itertools.count(now_ms() // MINUTE_MS - batches * 20 - singles // 20 - 60)
        for what, clients, each, count, bar in (
            ("readings/s, 1,000 a post", 1, 1000, batches, 1.4),
            ("single posts/s, 1 client", 1, 1, singles, 2.5),
            ("single posts/s, 8 clients", 8, 1, singles, 0.0),
        ):
            before = [one.served.cpu_s() for one in contenders]
            rates = _in_turns(contenders, raw, minutes, clients, each, count // rounds, rounds)
            posts = count // rounds * rounds
            used = [(one.served.cpu_s() - cpu) / posts for one, cpu in zip(contenders, before, strict=True)]
            ratio = statistics.median(a / b for a, b in zip(rates[0], rates[1], strict=True))
            yield Line(
                what,
                [
                    f"{statistics.median(one):,.0f}" + (f" ({cpu * 1000:.1f} ms)" if cpu else "")
                    for one, cpu in zip(rates, [*used, 0.0], strict=True)
                ],
                ratio=f"{ratio:.2f} x",
                bar=f">= {bar} x" if bar else "",
                held=ratio >= bar if bar else None,
            )
        yield Line("resident, after that", [f"{one.served.resident_mb():.0f} MB" for one in contenders])
        count = (batches * 1000 + 2 * singles) // rounds * rounds
        sizes = [_size(folder / name) for name in ("posts.db", "script.db", "tuned.db", "raw.db")]
        sizes[0] -= empty
        yield Line(
            "bytes a reading on disk",
            [f"{one / count:.1f}" for one in sizes],
            ratio=f"{sizes[0] / sizes[1]:.2f} x",
            bar="<= 30",
            held=sizes[0] / count <= 30,
        )


def _in_turns(
    contenders: Sequence[Contender],
    raw: sqlite3.Connection,
    minutes: Iterator[int],
    clients: int,
    each: int,
    count: int,
    rounds: int,
) -> list[list[float]]:
    """Readings a second of each contender in each round, SQLite alone last. All take the same readings."""
    rates: list[list[float]] = [[] for _ in range(len(contenders) + 1)]
    at_work = [[one.poster() for _ in range(clients)] for one in contenders]
    for number in range(rounds):
        readings = readings_of(minutes, each * count)
        parts = [readings[start : start + each] for start in range(0, len(readings), each)]
        bodies = [body_of(part) for part in parts]
        turns = [
            *(_poster(some, one.path, bodies) for some, one in zip(at_work, contenders, strict=True)),
            _raw_writer(raw, parts),
        ]
        for turn in range(len(turns)):
            index = (turn + number) % len(turns)
            rates[index].append(len(readings) / turns[index]())
    return rates


def _poster(clients: Sequence[Client], path: str, bodies: Sequence[bytes]) -> Callable[[], float]:
    return lambda: post_all(clients, path, bodies).seconds


def _raw_table(file: Path) -> sqlite3.Connection:
    """The least that could hold the readings durably."""
    raw = sqlite3.connect(file, isolation_level=None)
    raw.execute("PRAGMA journal_mode=WAL")
    raw.execute("PRAGMA synchronous=FULL")
    columns = "gauge INTEGER, at_ms INTEGER, value REAL, PRIMARY KEY (gauge, at_ms)"
    raw.execute(f"CREATE TABLE reading ({columns}) WITHOUT ROWID")
    return raw


def _raw_writer(raw: sqlite3.Connection, parts: Sequence[Sequence[Reading]]) -> Callable[[], float]:
    def write() -> float:
        begun = time.perf_counter()
        for part in parts:
            raw.execute("BEGIN IMMEDIATE")
            raw.executemany("INSERT OR IGNORE INTO reading VALUES (?, ?, ?)", part)
            raw.execute("COMMIT")
        return time.perf_counter() - begun

    return write


def _sync_ms(file: Path) -> float:
    """Milliseconds that the system takes to say that a page is safely on the disk."""

    def sync() -> None:
        page.write(b"x" * 4096)
        page.flush()
        os.fdatasync(page.fileno())

    with file.open("wb") as page:
        return medians_ms([sync], 200)[0]


def _size(file: Path) -> int:
    """Bytes of a database once everything stands in its file."""
    with closing(sqlite3.connect(file)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return file.stat().st_size


if __name__ == "__main__":
    sys.exit(main())
