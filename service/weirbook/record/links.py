"""Links from one record to others, written as their paths: groups/ID, tanks/nursery."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.errors import Unknown
from weirbook.record.access import AccessKey
from weirbook.record.attachments import Attachment
from weirbook.record.base import Edited, Named
from weirbook.record.database import room_of
from weirbook.record.journal import JournalEntry
from weirbook.record.names import HAPPENED, NAMED, find, find_happening

_MODELS: tuple[type[Edited], ...] = (*NAMED.values(), *HAPPENED.values())
LINKED: dict[str, type[Edited]] = {model.PLURAL: model for model in _MODELS if model is not AccessKey}
"""What can be linked to, by the first word of its path."""
LINKING: tuple[type[Any], ...] = (JournalEntry, Attachment)
"""What has links."""


def find_linked(session: Session, path: str) -> Any:
    """The record behind a link. Raises Unknown."""
    plural, _, key = path.partition("/")
    model = LINKED.get(plural)
    if model is None:
        raise Unknown(f"'{plural:.40}' can't be linked to. A link begins with one of: {', '.join(LINKED)}.")
    if issubclass(model, Named):
        return find(session, model, key)
    return find_happening(session, model.NOUN, key)


def linked_from(session: Session, model: type[Any], row: Any) -> int:
    """How many records of a kind link to a row."""
    key = getattr(row, "handle", None) or row.id
    asked = sa.select(sa.func.count()).select_from(model)
    asked = asked.where(model.room_id == room_of(session), links_to(model, f"{row.PLURAL}/{key}"))
    return int(session.scalar(asked) or 0)


def links_to(model: type[Any], path: str) -> sa.ColumnElement[bool]:
    """The condition that a record of a kind links to a path."""
    return sa.type_coerce(model.links, sa.Text).contains(f'"{path}"', autoescape=True)
