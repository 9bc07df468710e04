"""Photos and documents: what is recorded of each; its content is a file, see files.py."""

from __future__ import annotations

import re

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column

from weirbook.errors import Fault
from weirbook.record.base import Base, Happening, key_to, points_to, room_key
from weirbook.record.columns import Parts
from weirbook.record.database import room_of, take_next
from weirbook.record.files import Files, RoomFiles, no_folder
from weirbook.record.media.kinds import KINDS
from weirbook.record.places import Place
from weirbook.record.rooms import Room

SENT, CAMERA, ARRIVAL = "sent", "camera", "arrival"
TAKEN_BY = (SENT, CAMERA, ARRIVAL)
TURN = "attachment file"
"""The counter whose row is held by who puts or removes files."""
SHA256 = re.compile(r"[0-9a-f]{64}")


class Attachment(Happening, Base):
    """A photo or document about a place."""

    __tablename__ = "attachment"
    NOUN = "attachment"
    PLURAL = "attachments"
    REFERENCES = {"place": "place"}
    SOUGHT = ("words", "author")
    DATED_BY = "taken_at_ms"
    PLACED_BY = "place_id"

    place_id: Mapped[int] = mapped_column(sa.Integer)
    taken_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    taken_at_from: Mapped[str] = mapped_column(sa.String(10))
    words: Mapped[str | None] = mapped_column(sa.Text)
    links: Mapped[list[str] | None] = mapped_column(Parts)
    author: Mapped[str] = mapped_column(sa.String(120))
    media_type: Mapped[str] = mapped_column(sa.String(40))
    size: Mapped[int] = mapped_column(sa.BigInteger)
    sha256: Mapped[str] = mapped_column(sa.String(64))
    width: Mapped[int | None] = mapped_column(sa.Integer)
    height: Mapped[int | None] = mapped_column(sa.Integer)

    place: Mapped[Place] = points_to("Attachment.place_id", "Place")

    __table_args__ = (
        room_key(),
        key_to("place", "place_id"),
        sa.Index(None, "room_id", "taken_at_ms"),
        sa.Index(None, "room_id", "sha256"),
    )

    def faults(self) -> list[Fault]:
        """Nothing that the service writes is at fault; an import may hold anything. Raises ValueError, KeyError."""
        if not SHA256.fullmatch(self.sha256) or self.taken_at_from not in TAKEN_BY or not self.file_name:
            raise ValueError("its file is not named as files are")
        return []

    @property
    def file_name(self) -> str:
        """The name under which its content is stored, which may serve several rows."""
        return file_name(self.sha256, self.media_type)


def file_name(sha256: str, media_type: str) -> str:
    return f"{sha256}.{KINDS[media_type].ending}"


def room_files(session: Session) -> RoomFiles:
    """The files of the session's room. Raises StoreTrouble where there is no folder for any."""
    files: Files | None = session.info["files"]
    if files is None:
        raise no_folder()
    public_id = session.scalars(sa.select(Room.public_id).where(Room.room_id == room_of(session))).one()
    return files.of_room(public_id)


def hold_files(session: Session) -> None:
    """Keep others from putting and removing files of this room until the transaction ends."""
    take_next(session, TURN, 0)


def is_needed(session: Session, name: str) -> bool:
    """Whether a row of the room still needs a file."""
    asked = sa.select(Attachment.media_type).where(Attachment.sha256 == name.partition(".")[0])
    return any(file_name(name.partition(".")[0], media) == name for media in session.scalars(asked))


def names_needed(session: Session) -> dict[str, str]:
    """Every file that rows of the room need, each with the id of one of them; rows that name none are passed over."""
    asked = sa.select(Attachment.sha256, Attachment.media_type, Attachment.id).order_by(Attachment.id)
    return {
        file_name(sha256, media): str(id)
        for sha256, media, id in session.execute(asked)
        if SHA256.fullmatch(sha256) and media in KINDS
    }


def misnamed(session: Session) -> list[str]:
    """Rows that name no file as files are named, by their ids."""
    asked = sa.select(Attachment.sha256, Attachment.media_type, Attachment.id).order_by(Attachment.id)
    return [
        str(id)
        for sha256, media, id in session.execute(asked)
        if not SHA256.fullmatch(sha256) or media not in KINDS
    ]
