"""Look whether every attachment has its file, unchanged, and whether files stand there that nothing needs."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from pathlib import Path

from weirbook.actions.detach import remove_unneeded
from weirbook.record.attachments import misnamed, names_needed
from weirbook.record.checks import Flaw
from weirbook.record.database import Database, enter_room
from weirbook.record.files import RoomFiles, copy_sound, plainly

GRACE_S = 3600
"""A younger file may belong to an upload that is under way."""
LOST, UNNEEDED = "files", "unneeded files"


def check_files(
    database: Database,
    room: tuple[int, str],
    files: RoomFiles | None,
    *,
    repair: bool,
    copies: RoomFiles | None = None,
) -> tuple[int, list[Flaw], list[Flaw]]:
    """How many files were looked at, what is wrong, and what was wrong and is mended.

    With `repair` files that nothing needs are removed, and lost ones brought back from `copies`.
    """
    room_id, name = room
    standing = [] if files is None else [one for one in files.names() if _is_old(files.path(one))]
    with database.read() as session:
        enter_room(session, room_id)
        needed = names_needed(session)
        strange = misnamed(session)
    if files is None:
        words = "There is no folder for files (WEIRBOOK_FILES), but attachments that need theirs: {}."
        return 0, [Flaw(LOST, words.format(len(needed)), name)] if needed else [], []
    flaws = [
        Flaw("attachments", f"Attachment {id} names no file as files are named.", name) for id in strange
    ]
    mended: list[Flaw] = []
    for file, id in needed.items():
        if not files.is_sound(file):
            flaw = Flaw(LOST, f"The file of attachment {id} is missing or damaged: {files.path(file)}", name)
            brought = repair and copies is not None and _brought(copies, files, file)
            (mended if brought else flaws).append(flaw)
    if unneeded := [one for one in standing if one not in needed]:
        words = f"Files that no attachment needs: {_listed(map(files.path, unneeded))}"
        if repair:
            remove_unneeded(room_id, unneeded, database)
        (mended if repair else flaws).append(Flaw(UNNEEDED, words, name))
    return len(needed), flaws, mended


def _brought(copies: RoomFiles, files: RoomFiles, name: str) -> bool:
    """Whether a sound copy of a file could be put in its place. Raises Busy."""
    with plainly():
        return copy_sound(copies.path(name), files.path(name), name)


def check_folder(database: Database, *, repair: bool) -> tuple[list[Flaw], list[Flaw]]:
    """What stands beside the rooms' files: uploads that broke off, which repair removes. What is wrong, what is mended."""
    if database.files is None:
        return [], []
    left = [one for one in database.files.left_behind() if _is_old(one)]
    if not left:
        return [], []
    flaw = Flaw(UNNEEDED, f"Files of uploads that broke off: {_listed(left)}")
    if not repair:
        return [flaw], []
    for one in left:
        one.unlink(missing_ok=True)
    return [], [flaw]


def _is_old(file: Path) -> bool:
    try:
        return time.time() - file.stat().st_mtime > GRACE_S
    except OSError:
        return False


def _listed(files: Iterable[Path]) -> str:
    found = list(files)
    size = sum(_sizes(found))
    return f"{len(found)} ({size / 1e6:.1f} MB), the first {found[0]}"


def _sizes(files: Iterable[Path]) -> Iterator[int]:
    for file in files:
        try:
            yield file.stat().st_size
        except OSError:
            continue
