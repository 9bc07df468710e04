"""Files go where their rows go: into copies of the database and back, out of a room's home and into another."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from click.testing import CliRunner, Result
from file_scenes import LISTED, attach, file_of, make_old, standing
from harness import Caller, on_both_engines

from weirbook.actions.check_record import Report, check_record, rooms_of
from weirbook.actions.export_room import export_room
from weirbook.actions.import_room import import_room, open_with_new_key, read_manifest, verify
from weirbook.app import Service
from weirbook.cli import main
from weirbook.config import sqlite_url
from weirbook.errors import Invalid, StoreTrouble, Trouble
from weirbook.record.backups import backup
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.record.file_copies import bring_back_files, files_of_copy, keep_files
from weirbook.record.files import Files
from weirbook.record.migrations import revisions
from weirbook.record.rooms import Room


@pytest.fixture
def files(app: Service) -> Files:
    assert app.database.files is not None
    return app.database.files


def check(database: Database, **said: Any) -> Report:
    with database.read() as session:
        rooms = rooms_of(session)
    return check_record(database, rooms, **said)


def test_copies_share_their_files_and_each_is_copied_once(
    app: Service, furnished: Caller, files: Files, tmp_path: Path
) -> None:
    copies = tmp_path / "copies"
    copies.mkdir()
    attach(furnished, 1)
    backup(app.database, copies / "monday.db")
    first = keep_files(app.database, copies / "monday.db")
    attach(furnished, 2)
    backup(app.database, copies / "tuesday.db")
    second = keep_files(app.database, copies / "tuesday.db")
    assert ((first.copied, first.there), (second.copied, second.there)) == ((1, 0), (1, 1))
    assert first.lost == second.lost == []
    assert standing(copies / "copied-files") == standing(files.root)
    origin, copied = (file_of(one, {"sha256": name.split(".")[0]}) for name in standing(files.root)[:1]
                      for one in (files, files_of_copy(copies / "monday.db")))  # fmt: skip
    assert not origin.samefile(copied)
    copied.write_bytes(b"damaged")
    assert keep_files(app.database, copies / "tuesday.db").copied == 1
    assert copied.read_bytes() == origin.read_bytes()


def test_what_was_deleted_since_comes_back_with_the_copy(
    app: Service, furnished: Caller, files: Files, tmp_path: Path
) -> None:
    row = attach(furnished, query="?words=Fry")
    backup(app.database, tmp_path / "copy.db")
    keep_files(app.database, tmp_path / "copy.db")
    furnished.delete(f"{LISTED}/{row['id']}")
    assert standing(files.root) == []
    told = bring_back_files(app.database, tmp_path / "copy.db")
    assert (told.copied, told.lost) == (1, [])
    assert file_of(files, row).exists()


def test_a_copy_whose_files_were_left_behind_says_which(
    app: Service, furnished: Caller, files: Files, tmp_path: Path
) -> None:
    row = attach(furnished)
    backup(app.database, tmp_path / "copy.db")
    file_of(files, row).unlink()
    assert keep_files(app.database, tmp_path / "copy.db").lost[0].endswith(f"{row['sha256']}.jpg")
    assert bring_back_files(app.database, tmp_path / "copy.db").lost[0].endswith(f"{row['sha256']}.jpg")


def test_a_copy_from_before_there_were_attachments_needs_none(
    app: Service, furnished: Caller, tmp_path: Path
) -> None:
    backup(app.database, tmp_path / "old.db")
    with closing(sqlite3.connect(tmp_path / "old.db")) as connection:
        connection.execute("DROP TABLE attachment")
    told = bring_back_files(app.database, tmp_path / "old.db")
    assert (told.copied, told.there, told.lost) == (0, 0, [])


@pytest.fixture
def weirbook(app: Service, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    monkeypatch.setenv("WEIRBOOK_DATABASE_URL", str(app.database.url))
    return lambda *words: CliRunner().invoke(main, words)


def test_the_commands_take_files_along(
    app: Service, furnished: Caller, files: Files, tmp_path: Path, weirbook: Callable[..., Result]
) -> None:
    kept, later = attach(furnished, 1), None
    folder = tmp_path / "away"
    folder.mkdir()
    done = weirbook("backup", str(folder / "copy.db"))
    assert done.exit_code == 0, done.output
    assert "1 attached files copied" in done.stdout
    furnished.delete(f"{LISTED}/{kept['id']}")
    later = attach(furnished, 2)
    app.database.dispose()
    done = weirbook("restore", "--yes", str(folder / "copy.db"))
    assert done.exit_code == 0, done.output
    assert "Attached files brought back: 1" in done.stdout
    assert [one["id"] for one in furnished.get(LISTED).get_json()["items"]] == [kept["id"]]
    assert furnished.get(f"{LISTED}/{kept['id']}/file").status_code == 200
    # What was there stands aside, with its files as second names that outlive a clean-up.
    make_old(files)
    assert weirbook("check", "--repair").exit_code == 0
    (aside,) = tmp_path.glob("weirbook.before-restore-1.db")
    assert not any(file.name.startswith(later["sha256"]) for file in files.root.rglob("*.jpg"))
    assert file_of(files_of_copy(aside), later).exists()
    file_of(files, kept).unlink()
    assert weirbook("check").exit_code == 1
    broken = weirbook("backup", str(folder / "again.db"))
    assert broken.exit_code == 0, "the folder of copies still has it"
    shutil.rmtree(folder / "copied-files")
    broken = weirbook("backup", str(folder / "third.db"))
    assert broken.exit_code == 1
    assert "missing or damaged: 1" in broken.stderr
    assert (folder / "third.db").exists()


def take_out(database: Database, folder: Path) -> Path:
    with database.read() as session:
        enter_room(session, session.scalars(sa.select(Room.room_id).order_by(Room.room_id)).first() or 0)
        export_room(session, folder, form=revisions()[-1], now=now_ms())
    return folder


def bring_in(database: Database, folder: Path) -> str:
    manifest = read_manifest(folder)
    verify(folder, manifest)
    with database.write() as session:
        import_room(session, folder, manifest)
        return open_with_new_key(session, now=now_ms())


@pytest.fixture
def elsewhere(sqlite_template: Path, tmp_path: Path) -> Database:
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    shutil.copy(sqlite_template, folder / "other.db")
    return Database(sqlite_url(folder / "other.db"))


@on_both_engines
def test_a_room_goes_out_and_in_with_its_files(
    app: Service, furnished: Caller, files: Files, tmp_path: Path, elsewhere: Database
) -> None:
    rows = [attach(furnished, seed, f"?words=photo{seed}") for seed in (1, 1, 2)]
    out = take_out(app.database, tmp_path / "out")
    assert standing(out / "files") == standing(files.root)
    secret = bring_in(elsewhere, out)
    assert elsewhere.files is not None
    assert standing(elsewhere.files.root) == standing(files.root)
    sent = {row["id"]: furnished.get(f"{LISTED}/{row['id']}/file").get_data() for row in rows}
    before, app.database = app.database, elsewhere
    there = Caller(app.test_client(), secret)
    for id, content in sent.items():
        assert there.get(f"{LISTED}/{id}/file").get_data() == content
        assert there.get(f"{LISTED}/{id}/thumbnail").status_code == 200
    app.database = before
    assert check(elsewhere).flaws == []
    elsewhere.dispose()


def spoil(folder: Path, change: Callable[[dict[str, Any]], Any]) -> None:
    """Change a row of the attachments and make the manifest fit, as one who forges an export would."""
    file = folder / "attachment.jsonl"
    row = json.loads(file.read_text())
    change(row)
    file.write_text(json.dumps(row) + "\n")
    manifest = json.loads((folder / "manifest.json").read_text())
    manifest["files"]["attachment.jsonl"]["sha256"] = hashlib.sha256(file.read_bytes()).hexdigest()
    (folder / "manifest.json").write_text(json.dumps(manifest))


@pytest.mark.parametrize(
    "how",
    ["missing", "changed", "a link", "a path for a hash", "another kind", "no folder"],
)
def test_an_export_whose_files_are_not_as_they_were_is_refused_whole(
    app: Service, furnished: Caller, tmp_path: Path, elsewhere: Database, how: str
) -> None:
    row = attach(furnished)
    out = take_out(app.database, tmp_path / "out")
    file = out / "files" / row["sha256"][:2] / f"{row['sha256']}.jpg"
    if how == "missing":
        file.unlink()
    elif how == "changed":
        file.write_bytes(file.read_bytes() + b"x")
    elif how == "a link":
        os.rename(file, tmp_path / "moved")
        file.symlink_to(tmp_path / "moved")
    elif how == "a path for a hash":
        spoil(out, lambda told: told.update(sha256="../../../../etc/passwd"))
    elif how == "another kind":
        spoil(out, lambda told: told.update(media_type="text/html"))
    else:
        elsewhere.files = None
    with pytest.raises(Trouble) as trouble:
        bring_in(elsewhere, out)
    assert isinstance(trouble.value, StoreTrouble if how == "no folder" else Invalid)
    with elsewhere.read() as session:
        assert session.scalars(sa.select(Room)).all() == []
    beside = elsewhere.file.with_name("other-files") if elsewhere.file else tmp_path
    assert standing(beside) == []
    elsewhere.dispose()


def test_a_room_whose_file_is_lost_is_not_exported_without_a_word(
    app: Service, furnished: Caller, files: Files, tmp_path: Path
) -> None:
    row = attach(furnished)
    file_of(files, row).unlink()
    with pytest.raises(StoreTrouble, match=str(row["id"])):
        take_out(app.database, tmp_path / "out")
    assert not list(tmp_path.glob("out*"))
