"""Migrations: the schema they make, both ways, under a lock, with a copy before."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from harness import Caller, on_both_engines

from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.errors import StoreTrouble
from weirbook.record import migrations
from weirbook.record.backups import check
from weirbook.record.database import Database
from weirbook.record.full_text import TABLE
from weirbook.record.tables import METADATA

HEAD = migrations.revisions()[-1]


@on_both_engines
def test_the_migrated_schema_is_the_models(database: Database) -> None:
    with database.engine.connect() as connection:
        outside = {"compare_type": True, "include_name": lambda name, *_: not _of_search(name)}
        context = MigrationContext.configure(connection, opts=outside)
        differences = compare_metadata(context, METADATA)
        kept = {
            name
            for name in sa.inspect(connection).get_table_names()
            if name not in ("alembic_version", "migration_lock") and not _of_search(name)
        }
    assert [one for one in differences if "migration_lock" not in str(one)] == []
    assert kept == set(METADATA.tables)


def _of_search(name: str | None) -> bool:
    """What an engine finds words by stands outside the models: FTS5 with its own tables, a GIN index."""
    return name is not None and (name == TABLE or name.startswith(f"{TABLE}_"))


@on_both_engines
def test_the_migrated_schema_is_the_one_the_models_make(database: Database) -> None:
    """Also what Alembic's comparison passes over: the names of keys, checks, what a delete does, exact types."""
    migrated = _shape(database)
    with migrations._locked(database) as connection:
        migrations.run(connection, "downgrade", "base")
    with database.engine.connect().execution_options(weirbook_writes=True) as connection:
        METADATA.create_all(connection)
        connection.commit()
    assert migrated == _shape(database)


def _shape(database: Database) -> dict[str, dict[str, Any]]:
    found = {}
    with database.engine.connect() as connection:
        looker = sa.inspect(connection)
        for name in METADATA.tables:
            columns = {
                one["name"]: (str(one["type"]), one["nullable"], one.get("default"), one.get("autoincrement"))
                for one in looker.get_columns(name)
            }
            found[name] = {"columns": columns} | {
                kind: sorted(
                    _told(one) for one in getattr(looker, f"get_{kind}")(name) if not _of_search(one["name"])
                )
                for kind in ("foreign_keys", "unique_constraints", "check_constraints", "indexes")
            }
            found[name]["primary_key"] = looker.get_pk_constraint(name)
    return found


def _told(one: Any) -> str:
    """What the database says of a key or index; the condition of a partial one as its text."""
    options = {name: str(value) for name, value in one.get("dialect_options", {}).items()}
    return str({**one, "dialect_options": options})


def test_the_tables_of_readings_are_migrated_without_rowid(database: Database) -> None:
    with database.engine.connect() as connection:
        made = dict(
            connection.exec_driver_sql("SELECT name, sql FROM sqlite_schema WHERE type = 'table'").fetchall()
        )
    clustered = [name for name, sql in sorted(made.items()) if "WITHOUT ROWID" in sql]
    assert [name for name in clustered if not _of_search(name)] == [
        "reading",
        "reading_bounds",
        "reading_hour",
    ]


@on_both_engines
def test_down_to_nothing_and_up_again(database: Database) -> None:
    with migrations._locked(database) as connection:
        migrations.run(connection, "downgrade", "base")
    assert migrations.revision_of(database) is None
    migrations.migrate(database)
    assert migrations.revision_of(database) == HEAD


def test_a_database_newer_than_the_program_is_refused(database: Database) -> None:
    with database.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(StoreTrouble, match="newer than this program"):
        migrations.migrate(database)


@on_both_engines
def test_a_migration_that_fails_leaves_the_record_as_it_was(
    app: Service, furnished: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A later migration drops a table's rows and then breaks: both are undone, and a copy stands aside."""
    folder = _with_another(
        tmp_path,
        "breaks",
        "op.execute('DELETE FROM pump')",
        "op.execute('CREATE TABLE half_done (x INTEGER)')",
        "raise RuntimeError('broken on purpose')",
    )
    monkeypatch.setattr(migrations, "folder_of", lambda *_: folder)
    with pytest.raises(RuntimeError, match="on purpose"):
        migrations.migrate(app.database)
    assert furnished.get("/v1/pumps").get_json()["items"][0]["handle"] == "rack-pump"
    with app.database.engine.connect() as connection:
        assert not sa.inspect(connection).has_table("half_done")
    if app.database.file is not None:
        copies = list(app.database.file.parent.glob("*.before-*"))
        assert len(copies) == 1
        check(copies[0])


def _with_another(tmp_path: Path, name: str, *upgrade: str, downgrade: Sequence[str] = ("pass",)) -> Path:
    """A folder of migrations with one more at its end, made of these lines."""
    folder = tmp_path / "migrations"
    shutil.copytree(migrations.folder_of("_migrations", "migrations"), folder)
    lines = [
        "import sqlalchemy as sa",
        "from alembic import op",
        f"revision, down_revision, branch_labels, depends_on = '0999', {HEAD!r}, None, None",
        *("def upgrade():", *(f"    {line}" for line in upgrade)),
        *("def downgrade():", *(f"    {line}" for line in downgrade)),
    ]
    (folder / "versions" / f"0999_{name}.py").write_text("\n".join(lines) + "\n")
    return folder


@on_both_engines
def test_what_was_recorded_before_there_was_search_is_found_after(app: Service, furnished: Caller) -> None:
    furnished.post("/v1/journal", {"words": "Mosses held on wood."})
    entries = "SELECT * FROM search_entry ORDER BY noun, subject"
    with app.database.engine.connect() as connection:
        before = list(map(tuple, connection.exec_driver_sql(entries)))
    with migrations._locked(app.database) as connection:
        migrations.run(connection, "downgrade", "0006")
        assert not sa.inspect(connection).has_table("search_entry")
    migrations.migrate(app.database)
    with app.database.engine.connect() as connection:
        after = list(map(tuple, connection.exec_driver_sql(entries)))
    assert len(before) == len(after) > 5
    found = furnished.get("/v1/search?q=wood%20moss").get_json()["items"]
    assert [one["snippet"] for one in found] == ["«Mosses» held on «wood»."]
    assert (
        furnished.get("/v1/search?q=nursery&noun=tank").get_json()["items"][0]["path"] == "/v1/tanks/nursery"
    )


REBUILD = (
    "with op.batch_alter_table('place', recreate=RECREATE) as batch:",
    "    batch.add_column(sa.Column('extra', sa.Text(), nullable=True))",
)
REBUILD_BACK = (
    "with op.batch_alter_table('place', recreate=RECREATE) as batch:",
    "    batch.drop_column('extra')",
)


@on_both_engines
def test_a_migration_with_data_keeps_every_row_up_and_down(
    app: Service, furnished: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rebuilding a table that others point to must not delete the rows that hang on it."""
    manner = "'always'" if app.database.is_sqlite else "'auto'"
    up, down = ([line.replace("RECREATE", manner) for line in lines] for lines in (REBUILD, REBUILD_BACK))
    folder = _with_another(tmp_path, "rebuilds", *up, downgrade=down)
    furnished.post("/v1/readings", {"gauge": "nursery-temperature", "value": 24})
    before, shape = _counts(app.database), _shape(app.database)
    assert before["tank_system"] == before["reading"] == before["section"] == 1
    monkeypatch.setattr(migrations, "folder_of", lambda *_: folder)
    migrations.migrate(app.database)
    assert _counts(app.database) == before
    with migrations._locked(app.database) as connection:
        migrations.run(connection, "downgrade", HEAD)
    assert _counts(app.database) == before
    assert _shape(app.database) == shape


def test_a_migration_that_would_leave_rows_pointing_at_nothing_is_refused(
    app: Service, furnished: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = _with_another(tmp_path, "orphans", "op.execute('DELETE FROM tank')")
    before = _counts(app.database)
    monkeypatch.setattr(migrations, "folder_of", lambda *_: folder)
    with pytest.raises(StoreTrouble, match="point at nothing"):
        migrations.migrate(app.database)
    assert _counts(app.database) == before
    assert migrations.revision_of(app.database) == HEAD


def test_processes_that_migrate_a_filled_file_at_once_all_end_well_with_one_copy(
    app: Service, furnished: Caller, tmp_path: Path
) -> None:
    folder = _with_another(
        tmp_path, "slow", "import time", "time.sleep(0.3)", "op.execute('DELETE FROM counter')"
    )
    program = (
        "import sys\nfrom pathlib import Path\nfrom weirbook.record import migrations\n"
        "from weirbook.record.database import Database\nimport weirbook.record.tables\n"
        "migrations.folder_of = lambda *_: Path(sys.argv[2])\nmigrations.migrate(Database(sys.argv[1]))"
    )
    before = _counts(app.database)
    file = app.database.file
    assert file is not None
    running = [
        subprocess.Popen(
            [sys.executable, "-c", program, sqlite_url(file), str(folder)], stderr=subprocess.PIPE, text=True
        )
        for _ in range(4)
    ]
    for process in running:
        _, errors = process.communicate(timeout=60)
        assert process.returncode == 0, errors
    assert migrations.revision_of(app.database) == "0999"
    assert _counts(app.database) == {**before, "counter": 0}
    copies = list(file.parent.glob("*.before-*"))
    assert len(copies) == 1
    check(copies[0])
    with closing(sqlite3.connect(copies[0])) as connection:
        assert connection.execute("SELECT count(*) FROM counter").fetchall() == [(before["counter"],)]


def _counts(database: Database) -> dict[str, int]:
    with database.engine.connect() as connection:
        return {
            name: connection.exec_driver_sql(f"SELECT count(*) FROM {name}").scalar() or 0
            for name in METADATA.tables
        }


def test_a_fresh_database_is_not_copied_and_a_current_one_not_migrated(tmp_path: Path) -> None:
    database = Database(sqlite_url(tmp_path / "new.db"))
    assert migrations.migrate(database) is None
    assert migrations.migrate(database) is None
    database.dispose()
    assert list(tmp_path.glob("*.before-*")) == []


def test_two_processes_that_migrate_at_once_both_end_well(tmp_path: Path) -> None:
    program = (
        "import sys\nfrom weirbook.record.database import Database\nfrom weirbook.record.migrations import migrate\n"
        "import weirbook.record.tables\nmigrate(Database(sys.argv[1]))"
    )
    url = sqlite_url(tmp_path / "race.db")
    running = [
        subprocess.Popen([sys.executable, "-c", program, url], stderr=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    for process in running:
        _, errors = process.communicate(timeout=60)
        assert process.returncode == 0, errors
    with closing(sqlite3.connect(tmp_path / "race.db")) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchall() == [(HEAD,)]


def test_a_current_database_is_served_without_loading_alembic(sqlite_template: Path, tmp_path: Path) -> None:
    """Nor needs the service numpy or scipy: the tests' oracles bring them, and pint would load them where it can."""
    shutil.copy(sqlite_template, tmp_path / "current.db")
    program = (
        "import json, sys\nsys.modules.update(numpy=None, scipy=None)\n"
        "import weirbook.cli\nfrom weirbook.app import create_app\nfrom weirbook.config import Config\n"
        "from weirbook.record.database import Database\nfrom weirbook.record.migrations import migrate\n"
        "database = Database(sys.argv[1])\nmigrate(database)\ncreate_app(Config(sys.argv[1]), database)\n"
        "print(json.dumps([name for name in ('alembic', 'numpy', 'scipy') if sys.modules.get(name)]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, sqlite_url(tmp_path / "current.db")],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert json.loads(done.stdout) == []


def test_migrations_are_found_beside_the_package_first_and_in_the_checkout_otherwise(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert migrations.folder_of("_nothing_such", "migrations") == migrations.PACKAGE.parents[1] / "migrations"
    (tmp_path / "_migrations").mkdir()
    monkeypatch.setattr(migrations, "PACKAGE", tmp_path)
    assert migrations.folder_of("_migrations", "migrations") == tmp_path / "_migrations"
