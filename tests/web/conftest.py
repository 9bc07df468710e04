"""The vat of the nutrient tests, set up once a process and copied for each test on SQLite."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from harness import Caller
from nutrient_scenes import begin
from water_scenes import stop_the_clock

from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.record.database import Database


@pytest.fixture(scope="session")
def vat_template(
    furnished_template: tuple[Path, str], application: Service, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, str]:
    """A file in which the vat has begun."""
    template, secret = furnished_template
    file = tmp_path_factory.mktemp("vat") / "vat.db"
    shutil.copy(template, file)
    before, application.database = application.database, Database(sqlite_url(file))
    begin(Caller(application.test_client(), secret))
    with application.database.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    application.database.dispose()
    application.database = before
    return file, secret


@pytest.fixture
def vat(
    request: pytest.FixtureRequest, app: Service, furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> Caller:
    """The vat's keeper; it is Wednesday 25 November."""
    stop_the_clock(monkeypatch)
    file = app.database.file
    if file is None:
        begin(furnished)
        return furnished
    template, secret = request.getfixturevalue("vat_template")
    app.database.dispose()
    for part in (file.with_name(f"{file.name}-wal"), file.with_name(f"{file.name}-shm")):
        part.unlink(missing_ok=True)
    shutil.copy(template, file)
    return Caller(app.test_client(), secret)
