"""Another process holds SQLite's write lock: writes are put off in clear words, reads go on."""

from __future__ import annotations

import shutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from faults.served import START, Answer, Line, readings, refused_clearly, serving, value_at, whole

from weirbook.config import sqlite_url
from weirbook.record.database import PATIENCE_S

WRITERS = 30
"""More than may wait at once."""
HOLDER = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("BEGIN IMMEDIATE")
print("held", flush=True)
sys.stdin.readline()
connection.execute("ROLLBACK")
"""


@contextmanager
def write_lock_held(file: Path) -> Iterator[None]:
    """Another process is writing, for as long as the block lasts."""
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(file)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert holder.stdin is not None and holder.stdout is not None
    try:
        assert holder.stdout.readline() == "held\n"
        yield
    finally:
        holder.communicate("\n", timeout=30)


def test_while_another_process_holds_the_lock_writes_are_put_off_and_reads_go_on(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    template, secret = furnished_template
    file = tmp_path / "room.db"
    shutil.copy(template, file)
    answers: list[Answer] = []

    def write(number: int) -> None:
        with Line(server.port, secret) as line:
            answers.append(line("POST", "/v1/readings", readings([START + number])))

    with serving(sqlite_url(file), tmp_path / "log") as server, Line(server.port, secret) as reader:
        with write_lock_held(file):
            writers = [threading.Thread(target=write, args=(number,)) for number in range(WRITERS)]
            for writer in writers:
                writer.start()
            reads = [reader("GET", "/v1/tanks/nursery") for _ in range(50)]
            put_off_meanwhile = len(answers)
            for writer in writers:
                writer.join()
        assert {answer.status for answer in reads} == {200}
        assert sum(answer.seconds for answer in reads) < PATIENCE_S
        assert put_off_meanwhile < WRITERS
        assert len(answers) == WRITERS and all(refused_clearly(answer) for answer in answers)
        assert max(answer.seconds for answer in answers) < 2 * PATIENCE_S
        with write_lock_held(file):
            writer = threading.Thread(target=write, args=(0,))
            writer.start()
            writer.join(timeout=0.5)
            assert writer.is_alive()
        writer.join()
        assert answers[-1].status == 200, "a short hold is waited out"
    assert whole(file) == {START: value_at(START)}
