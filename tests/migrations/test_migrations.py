"""Migrations: the schema they make, both ways, under a lock, with a copy before."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

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
from weirbook.record.tables import METADATA

HEAD = migrations.revisions()[-1]


@on_both_engines
def test_the_migrated_schema_is_the_models(database: Database) -> None:
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        differences = compare_metadata(context, METADATA)
        kept = {
            name
            for name in sa.inspect(connection).get_table_names()
            if name not in ("alembic_version", "migration_lock")
        }
    assert [one for one in differences if "migration_lock" not in str(one)] == []
    assert kept == set(METADATA.tables)


def test_the_tables_of_readings_are_migrated_without_rowid(database: Database) -> None:
    with database.engine.connect() as connection:
        made = dict(
            connection.exec_driver_sql("SELECT name, sql FROM sqlite_schema WHERE type = 'table'").fetchall()
        )
    assert [name for name, sql in sorted(made.items()) if "WITHOUT ROWID" in sql] == [
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


def test_a_migration_that_fails_leaves_the_file_as_it_was(
    app: Service, furnished: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A later migration drops a table's rows and then breaks: both are undone, and a copy stands aside."""
    folder = tmp_path / "migrations"
    shutil.copytree(migrations.folder_of("_migrations", "migrations"), folder)
    (folder / "versions" / "0999_breaks.py").write_text(
        "from alembic import op\n"
        f"revision, down_revision, branch_labels, depends_on = '0999', {HEAD!r}, None, None\n"
        "def upgrade():\n"
        "    op.execute('DELETE FROM pump')\n"
        "    op.execute('CREATE TABLE half_done (x INTEGER)')\n"
        "    raise RuntimeError('broken on purpose')\n"
        "def downgrade(): ...\n"
    )
    monkeypatch.setattr(migrations, "folder_of", lambda *_: folder)
    with pytest.raises(RuntimeError, match="on purpose"):
        migrations.migrate(app.database)
    assert furnished.get("/v1/pumps").get_json()["items"][0]["handle"] == "rack-pump"
    with app.database.engine.connect() as connection:
        assert not sa.inspect(connection).has_table("half_done")
    assert app.database.file is not None
    copies = list(app.database.file.parent.glob("*.before-*.db"))
    assert len(copies) == 1
    check(copies[0])


def test_a_migration_with_data_keeps_every_row(
    app: Service, furnished: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rebuilding a table that others point to must not delete the rows that hang on it."""
    folder = tmp_path / "migrations"
    shutil.copytree(migrations.folder_of("_migrations", "migrations"), folder)
    (folder / "versions" / "0999_rebuilds.py").write_text(
        "import sqlalchemy as sa\nfrom alembic import op\n"
        f"revision, down_revision, branch_labels, depends_on = '0999', {HEAD!r}, None, None\n"
        "def upgrade():\n"
        "    with op.batch_alter_table('place', recreate='always') as batch:\n"
        "        batch.add_column(sa.Column('extra', sa.Text(), nullable=True))\n"
        "def downgrade(): ...\n"
    )
    furnished.post("/v1/readings", {"gauge": "nursery-temperature", "value": 24})
    before = _counts(app.database)
    monkeypatch.setattr(migrations, "folder_of", lambda *_: folder)
    migrations.migrate(app.database)
    assert _counts(app.database) == before


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
    shutil.copy(sqlite_template, tmp_path / "current.db")
    program = (
        "import json, sys\nfrom weirbook.app import create_app\nfrom weirbook.config import Config\n"
        "from weirbook.record.database import Database\nfrom weirbook.record.migrations import migrate\n"
        "database = Database(sys.argv[1])\nmigrate(database)\ncreate_app(Config(sys.argv[1]), database)\n"
        "print(json.dumps([name for name in ('alembic', 'scipy', 'numpy') if name in sys.modules]))"
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
