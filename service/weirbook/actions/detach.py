"""Delete an attachment, and its file once no row of the room needs it."""

from __future__ import annotations

from functools import partial

from sqlalchemy.orm import Session

from weirbook.actions.remove import remove
from weirbook.record.attachments import Attachment, hold_files, is_needed, room_files
from weirbook.record.database import Database, afterwards, enter_room, room_of


def detach(session: Session, row: Attachment) -> None:
    """Delete the row; the file goes after the commit, since a commit that fails would leave a row without one."""
    name = row.file_name
    remove(session, row)
    afterwards(session, partial(remove_unneeded, room_of(session), [name]))


def remove_unneeded(room_id: int, names: list[str], database: Database) -> list[str]:
    """Remove those files of a room that no row needs; which they were. Nobody can begin to need one meanwhile."""
    with database.write() as session:
        enter_room(session, room_id)
        hold_files(session)
        files = room_files(session)
        gone = [name for name in names if not is_needed(session, name)]
        for name in gone:
            files.remove(name)
    return gone
