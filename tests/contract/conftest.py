"""A small demo room, made once and copied for each test that asks for it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from harness import Caller

from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.demo import furnish
from weirbook.record.database import Database, now_ms
from weirbook.record.migrations import migrate


@dataclass
class DemoCopy:
    """One test's own copy of the demo room."""

    app: Service
    caller: Caller


@pytest.fixture(scope="session")
def demo_template(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    file = tmp_path_factory.mktemp("demo") / "demo.db"
    database = Database(sqlite_url(file))
    migrate(database)
    secrets = furnish(database, now_ms=now_ms(), weeks=2)
    with database.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    database.dispose()
    return file, secrets


@pytest.fixture
def demo_copy(
    demo_template: tuple[Path, dict[str, str]], application: Service, tmp_path: Path
) -> Callable[[], DemoCopy]:
    """Makes a fresh copy each time it is called."""
    file, secrets = demo_template
    made = iter(range(1000))

    def copy() -> DemoCopy:
        own = tmp_path / f"demo-{next(made)}.db"
        shutil.copy(file, own)
        application.database = Database(sqlite_url(own))
        return DemoCopy(application, Caller(application.test_client(), secrets["keeper"]))

    return copy
