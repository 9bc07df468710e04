"""Files and rows stay together: whatever breaks off, whoever writes at once, wherever the record goes."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from click.testing import CliRunner, Result
from file_scenes import LISTED, attach, file_of, make_old, standing
from harness import Caller, on_both_engines
from pictures import drawn, jpeg

from weirbook.actions.check_files import LOST, UNNEEDED
from weirbook.actions.check_record import Report, check_record, rooms_of
from weirbook.actions.export_room import export_room
from weirbook.actions.import_room import import_room, open_with_new_key, read_manifest, verify
from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.app import Service
from weirbook.cli import main
from weirbook.config import sqlite_url
from weirbook.errors import Busy, Invalid, StoreTrouble, Trouble
from weirbook.record.access import Role
from weirbook.record.attachments import Attachment
from weirbook.record.backups import backup
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.record.file_copies import bring_back_files, files_of_copy, keep_files
from weirbook.record.files import Files, RoomFiles
from weirbook.record.migrations import revisions
from weirbook.record.rooms import Room


@pytest.fixture
def files(app: Service) -> Files:
    assert app.database.files is not None
    return app.database.files


@pytest.fixture
def neighbour(app: Service, furnished: Caller) -> Caller:
    """The keeper of another room in the same database."""
    with app.database.write() as session:
        enter_room(session, open_room(session, name="Next door", time_zone="UTC", now=now_ms()).room_id)
        _, secret = make_key(session, name="neighbour", role=Role.KEEPER, now=now_ms())
    return Caller(app.test_client(), secret)


def check(database: Database, **said: Any) -> Report:
    with database.read() as session:
        rooms = rooms_of(session)
    return check_record(database, rooms, **said)


def kinds(report: Report) -> list[str]:
    return [flaw.kind for flaw in report.flaws]


def test_files_stand_beside_the_database_and_nobody_else_may_read_them(
    app: Service, furnished: Caller, files: Files
) -> None:
    attach(furnished)
    assert app.database.file is not None
    assert files.root == app.database.file.with_name("weirbook-files")
    assert files.root.stat().st_mode & 0o077 == 0


@on_both_engines
def test_two_rooms_neither_share_nor_reach_nor_remove_each_others_files(
    furnished: Caller, neighbour: Caller, files: Files
) -> None:
    ours, theirs = attach(furnished), attach(neighbour)
    assert ours["sha256"] == theirs["sha256"]
    assert len(standing(files.root)) == 2
    for part in ("", "/file", "/thumbnail"):
        assert neighbour.get(f"{LISTED}/{ours['id']}{part}").status_code == 404
    assert neighbour.patch(f"{LISTED}/{ours['id']}", {"words": "x"}).status_code == 404
    assert neighbour.delete(f"{LISTED}/{ours['id']}").status_code == 404
    assert neighbour.delete(f"{LISTED}/{theirs['id']}").status_code == 204
    assert len(standing(files.root)) == 1
    assert furnished.get(f"{LISTED}/{ours['id']}/file").status_code == 200


@on_both_engines
def test_an_upload_whose_commit_fails_leaves_at_most_a_file_that_nothing_needs(
    app: Service, furnished: Caller, files: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sqlalchemy.orm import Session

    def fail(_: Session) -> None:
        raise Busy("as if the machine stopped here")

    with monkeypatch.context() as patched:
        patched.setattr("weirbook.record.database.Session.commit", fail)
        answered = furnished("POST", LISTED, jpeg(), Content_Type="image/jpeg")
        assert answered.status_code == 503
    assert furnished.get(LISTED).get_json()["items"] == []
    assert len(standing(files.root)) == 1
    assert kinds(check(app.database)) == [], "a young file may belong to an upload under way"
    make_old(files)
    report = check(app.database)
    assert kinds(report) == [UNNEEDED]
    assert "Files that no attachment needs: 1 (" in report.flaws[0].words
    assert len(standing(files.root)) == 1, "a check writes nothing"
    assert [flaw.kind for flaw in check(app.database, repair=True).mended] == [UNNEEDED]
    assert [file for file in files.root.rglob("*") if file.is_file()] == []
    assert kinds(check(app.database)) == []


@on_both_engines
def test_a_delete_whose_commit_fails_keeps_the_file(
    app: Service, furnished: Caller, files: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sqlalchemy.orm import Session

    row = attach(furnished)

    def fail(_: Session) -> None:
        raise Busy("as if the machine stopped here")

    with monkeypatch.context() as patched:
        patched.setattr("weirbook.record.database.Session.commit", fail)
        assert furnished.delete(f"{LISTED}/{row['id']}").status_code == 503
    assert furnished.get(f"{LISTED}/{row['id']}/file").status_code == 200


def test_a_file_is_synced_in_its_place_before_its_row_is_committed(
    furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    fsync, replace = os.fsync, os.replace

    def note_sync(descriptor: int) -> None:
        done.append("sync folder" if os.path.isdir(f"/proc/self/fd/{descriptor}") else "sync file")
        fsync(descriptor)

    def note_move(one: Any, other: Any) -> None:
        done.append("move" if "small" not in Path(other).parts else "small")
        replace(one, other)

    def note_commit(*_: Any) -> None:
        done.append("commit")

    attach(furnished, seed=1)  # the folders are made now
    monkeypatch.setattr("weirbook.record.files.os.fsync", note_sync)
    monkeypatch.setattr("weirbook.record.files.os.replace", note_move)
    sa.event.listen(sa.Engine, "commit", note_commit)
    try:
        attach(furnished, seed=1)
    finally:
        sa.event.remove(sa.Engine, "commit", note_commit)
    kept = [one for one in done if one != "small"]
    assert kept[:4] == ["sync file", "move", "sync folder", "commit"], kept


@on_both_engines
def test_uploads_and_deletes_of_one_photo_at_once_never_part_a_row_from_its_file(
    app: Service, furnished: Caller, files: Files
) -> None:
    content = jpeg(drawn(8, 8))
    troubles: list[str] = []

    def come_and_go() -> None:
        own = Caller(app.test_client(), furnished.secret)
        for _ in range(6):
            row = attach(own, content=content)
            if own.get(f"{LISTED}/{row['id']}/file").status_code != 200:
                troubles.append(f"{row['id']} lost its file")
            own.delete(f"{LISTED}/{row['id']}")

    threads = [threading.Thread(target=come_and_go) for _ in range(3)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert troubles == []
    assert furnished.get(LISTED).get_json()["items"] == []
    assert standing(files.root) == []


@on_both_engines
def test_a_check_names_files_that_are_missing_or_changed_and_brings_them_back_from_copies(
    app: Service, furnished: Caller, files: Files, tmp_path: Path
) -> None:
    gone, changed, sound = (attach(furnished, seed) for seed in (1, 2, 3))
    shutil.copytree(files.root, tmp_path / "copies")
    file_of(files, gone).unlink()
    file_of(files, changed).write_bytes(b"x" * changed["bytes"])
    report = check(app.database)
    assert report.files == 3
    assert kinds(report) == [LOST, LOST]
    words = " ".join(flaw.words for flaw in report.flaws)
    assert gone["id"] in words and changed["id"] in words and sound["id"] not in words
    assert kinds(check(app.database, repair=True)) == [LOST, LOST]
    mended = check(app.database, repair=True, copies=Files(tmp_path / "copies"))
    assert (mended.flaws, len(mended.mended)) == ([], 2)
    for row in (gone, changed):
        assert furnished.get(f"{LISTED}/{row['id']}/file").status_code == 200
    file_of(files, gone).unlink()
    file_of(Files(tmp_path / "copies"), gone).write_bytes(b"spoilt too")
    assert kinds(check(app.database, repair=True, copies=Files(tmp_path / "copies"))) == [LOST]


def test_a_check_names_rows_that_no_program_of_ours_wrote(app: Service, furnished: Caller) -> None:
    rows = [attach(furnished, seed) for seed in (1, 2)]
    assert app.database.file is not None
    with closing(sqlite3.connect(app.database.file)) as connection:
        connection.execute("UPDATE attachment SET sha256 = '../../x' WHERE sha256 = ?", (rows[0]["sha256"],))
        connection.execute(
            "UPDATE attachment SET media_type = 'text/html' WHERE sha256 = ?", (rows[1]["sha256"],)
        )
        connection.commit()
    report = check(app.database)
    assert kinds(report) == ["attachments", "attachments"]
    assert {flaw.words.split()[1] for flaw in report.flaws} == {row["id"] for row in rows}


def test_a_check_leaves_alone_what_is_not_ours_and_removes_what_broke_off(
    app: Service, furnished: Caller, files: Files
) -> None:
    place = file_of(files, attach(furnished))
    strange = [place.with_name("notes.txt"), files.root / "elsewhere" / "ab" / f"{'a' * 64}.jpg"]
    for one in strange:
        one.parent.mkdir(parents=True, exist_ok=True)
        one.write_text("mine")
    broken = [files.root / "arriving" / "x.part", place.with_name(f"{place.name}.{'0' * 36}.part")]
    for one in broken:
        one.write_text("half")
    make_old(files)
    assert kinds(check(app.database)) == [UNNEEDED, UNNEEDED]
    assert check(app.database, repair=True).flaws == []
    assert all(one.exists() for one in (*strange, place))
    assert not any(one.exists() for one in broken)


def test_no_name_leads_out_of_the_folder(tmp_path: Path) -> None:
    room = RoomFiles(tmp_path)
    for name in (
        "../../etc/passwd",
        "..",
        "",
        f"{'a' * 64}",
        f"{'a' * 64}.jpg/..",
        f"../{'a' * 64}.jpg",
        "a\x00.jpg",
    ):
        with pytest.raises(ValueError, match="no name of a file"):
            room.path(name)


# Copies of the database


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


# A room as open files


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
    import hashlib

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


def test_rows_that_no_program_of_ours_wrote_are_at_fault() -> None:
    sound: dict[str, Any] = {"sha256": "a" * 64, "media_type": "image/jpeg", "taken_at_from": "camera"}
    assert Attachment(**sound).faults() == []
    for change in ({"sha256": "../x"}, {"media_type": "text/html"}, {"taken_at_from": "moon"}):
        with pytest.raises((ValueError, KeyError)):
            Attachment(**{**sound, **change}).faults()
