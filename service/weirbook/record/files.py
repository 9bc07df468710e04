"""Files of attachments: a folder of each room, in it each file under the SHA-256 of its content.

A file is written under a name of its own, synced, and moved to its place before the row that needs it is committed, so
that a crash leaves at most a file that nothing needs. What stands under a name never changes.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
import uuid
import weakref
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from weirbook.errors import Busy, StoreTrouble

ARRIVING = "arriving"
"""Where files stand until the row that needs them is about to be committed."""
SMALL = "small"
"""Where small pictures stand: they can be made anew, so nothing keeps or checks them."""
PIECE = 1024 * 1024
_OURS = re.compile(r"[0-9a-f]{64}\.[a-z]{3,4}(\.[0-9a-f-]{36}\.part)?")
"""What we write into a room's folder: files, and copies of them that broke off."""


class Files:
    """All files of a database."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def of_room(self, public_id: uuid.UUID) -> RoomFiles:
        return RoomFiles(self.root / str(public_id))

    def receive(self, content: bytes) -> Arriving:
        """Write content down, synced, under a name of its own; it goes if nobody takes it to its place. Raises Busy."""
        with plainly():
            folder = _made(self.root / ARRIVING)
            file = folder / f"{uuid.uuid4()}.part"
            try:
                with file.open("xb") as out:
                    out.write(content)
                    out.flush()
                    os.fsync(out.fileno())
            except OSError:
                file.unlink(missing_ok=True)
                raise
        return Arriving(file, hashlib.sha256(content).hexdigest())

    def left_behind(self) -> list[Path]:
        """What arrived and was never taken to its place."""
        return sorted((self.root / ARRIVING).glob("*.part"))


class Arriving:
    """Content that is written down and not yet in its place."""

    def __init__(self, file: Path, sha256: str) -> None:
        self.file, self.sha256 = file, sha256
        self._forget = weakref.finalize(self, file.unlink, missing_ok=True)

    def take_to(self, room: RoomFiles, name: str) -> None:
        """Move it to its place, in the place of what stands there: that has, or had, the same content. Raises Busy."""
        with plainly():
            place = room.path(name)
            _made(place.parent)
            os.replace(self.file, place)
            sync(place.parent)
        self._forget.detach()


class RoomFiles:
    """The files of one room."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, name: str) -> Path:
        """Where a file stands: name is its SHA-256 and ending. Raises ValueError for any other name."""
        if not _OURS.fullmatch(name):
            raise ValueError(f"{name!r} is no name of a file here")
        return self.folder / name[:2] / name

    def small_path(self, name: str, size: int) -> Path:
        return self.folder / SMALL / name[:2] / f"{name}.{size}.jpg"

    def sound(self, name: str) -> bytes | None:
        """A file's content; None where it is missing, can't be read or is not what it was."""
        try:
            content = self.path(name).read_bytes()
        except OSError:
            return None
        return content if hashlib.sha256(content).hexdigest() == sha256_in(name) else None

    def is_sound(self, name: str) -> bool:
        """Whether a file is there and what it was."""
        return digest(self.path(name)) == sha256_in(name)

    def keep_small(self, name: str, pictures: Mapping[int, bytes]) -> None:
        """Keep small pictures where the disk allows it: they are made anew where it doesn't."""
        for size, content in pictures.items():
            place = self.small_path(name, size)
            try:
                _made(place.parent)
                partial = place.with_name(f"{place.name}.{uuid.uuid4()}.part")
                partial.write_bytes(content)
                os.replace(partial, place)
            except OSError:
                return

    def small(self, name: str, size: int) -> bytes | None:
        try:
            return self.small_path(name, size).read_bytes()
        except OSError:
            return None

    def remove(self, name: str) -> None:
        """Remove a file and the small pictures of it."""
        self.path(name).unlink(missing_ok=True)
        for small in (self.folder / SMALL / name[:2]).glob(f"{name}.*"):
            small.unlink(missing_ok=True)

    def names(self) -> Iterator[str]:
        """Every file that stands here, in order."""
        if self.folder.is_dir():
            for folder in sorted(self.folder.iterdir()):
                if len(folder.name) == 2 and folder.is_dir():
                    yield from sorted(file.name for file in folder.iterdir() if _OURS.fullmatch(file.name))


def sha256_in(name: str) -> str:
    """The SHA-256 that a file's name says of its content."""
    return name.partition(".")[0]


def digest(file: Path) -> str | None:
    """The SHA-256 of a file; None where it can't be read."""
    try:
        with file.open("rb") as opened:
            return hashlib.file_digest(opened, "sha256").hexdigest()
    except OSError:
        return None


def copy_sound(origin: Path, target: Path, name: str) -> bool:
    """Copy a file, synced and whole, or leave nothing; whether it was what its name says. Raises OSError of the target."""
    partial = _made(target.parent) / f"{target.name}.{uuid.uuid4()}.part"
    found = hashlib.sha256()
    try:
        with partial.open("xb") as out:
            try:
                with origin.open("rb") as opened:
                    while piece := opened.read(PIECE):
                        found.update(piece)
                        out.write(piece)
            except FileNotFoundError:
                return False
            if found.hexdigest() != sha256_in(name):
                return False
            out.flush()
            os.fsync(out.fileno())
        os.replace(partial, target)
        sync(target.parent)
    finally:
        partial.unlink(missing_ok=True)
    return True


def link_sound(origin: Path, target: Path, name: str) -> bool:
    """Give a file a second name, or copy it where the disk can't; whether it was what its name says. Raises OSError."""
    if digest(origin) != sha256_in(name):
        return False
    partial = _made(target.parent) / f"{target.name}.{uuid.uuid4()}.part"
    try:
        os.link(origin, partial)
    except OSError:
        return copy_sound(origin, target, name)
    os.replace(partial, target)
    sync(target.parent)
    return True


@contextmanager
def plainly() -> Iterator[None]:
    """What the disk says, as Busy where it may pass or be put right outside the service."""
    try:
        yield
    except OSError as trouble:
        if trouble.errno in (errno.ENOSPC, errno.EDQUOT):
            said = "The disk for files is full, so nothing was stored; free some space on it"
        else:
            said = f"The folder for files can't be written to ({trouble.strerror}), so nothing was stored"
        raise Busy(f"{said}. Try again then.") from trouble


def sync(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def no_folder() -> StoreTrouble:
    """What to say where there is no folder for files."""
    return StoreTrouble(
        "There is no folder for files yet. Name one in WEIRBOOK_FILES on the host, and start the service again."
    )


def _made(folder: Path) -> Path:
    """The folder, made where it is missing and synced into those above it."""
    if not folder.is_dir():
        above = _made(folder.parent) if not folder.parent.is_dir() else folder.parent
        folder.mkdir(mode=0o700, exist_ok=True)
        sync(above)
    return folder
