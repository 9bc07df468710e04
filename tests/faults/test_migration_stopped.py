"""A migration that can't end: the file stays as it was, the words are clear, and the next start ends the work.

Kills in the middle of it stand in test_kill.py, a migration that is itself at fault in tests/migrations.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from faults.served import fill, form_of, rows_of, serving, small_disk, whole
from harness import Caller

from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.record import migrations
from weirbook.record.backups import check


@pytest.mark.parametrize("copy_fits", [False, True])
def test_a_disk_that_fills_up_while_migrating_leaves_the_file_as_it_was(
    app: Service, furnished: Caller, tmp_path: Path, copy_fits: bool
) -> None:
    before = app.database.file
    assert before is not None
    with migrations._locked(app.database) as connection:
        migrations.run(connection, "downgrade", "0001")
    app.database.dispose()
    with small_disk(tmp_path / "disk", 4096) as disk:
        file = disk / "room.db"
        rows_of(before, f"VACUUM INTO '{file}'")
        schema = rows_of(file, "SELECT type, name, sql FROM sqlite_schema")
        file_kilobytes = file.stat().st_size // 1024
        ballast = fill(disk, file_kilobytes + 100 if copy_fits else file_kilobytes // 2)
        for _ in range(2 if copy_fits else 1):
            with (
                pytest.raises(AssertionError, match=r"(The|Is the|or) disk"),
                serving(sqlite_url(file), tmp_path / "log"),
            ):
                pass
            assert len(list(disk.glob("room.before-*"))) == copy_fits, "tries leave one copy, not one each"
        assert "Traceback" not in (tmp_path / "log").read_text()
        check(file)
        assert form_of(file) == "0001"
        assert rows_of(file, "SELECT type, name, sql FROM sqlite_schema") == schema
        ballast.unlink()
        with serving(sqlite_url(file), tmp_path / "log"):
            pass
        assert form_of(file) == migrations.revisions()[-1]
        whole(file)
