"""Files and rows stay together, whatever breaks off and whoever writes at once."""

from __future__ import annotations

import os
import shutil
import sqlite3
import threading
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from file_scenes import LISTED, attach, file_of, make_old, standing
from harness import Caller, on_both_engines
from pictures import drawn, jpeg
from sqlalchemy.orm import Session

from weirbook.actions.check_files import LOST, UNNEEDED
from weirbook.actions.check_record import Report, check_record, rooms_of
from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.app import Service
from weirbook.errors import Busy
from weirbook.record.access import Role
from weirbook.record.attachments import Attachment
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.record.files import Files, RoomFiles


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


def test_rows_that_no_program_of_ours_wrote_are_at_fault() -> None:
    sound: dict[str, Any] = {"sha256": "a" * 64, "media_type": "image/jpeg", "taken_at_from": "camera"}
    assert Attachment(**sound).faults() == []
    for change in ({"sha256": "../x"}, {"media_type": "text/html"}, {"taken_at_from": "moon"}):
        with pytest.raises((ValueError, KeyError)):
            Attachment(**{**sound, **change}).faults()
