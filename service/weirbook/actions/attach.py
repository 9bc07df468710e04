"""Attach a file that was received: its row, and the file in its place before the row is committed."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.judge_reading import AHEAD_MS
from weirbook.actions.receive_file import Received
from weirbook.engine.times import EARLIEST_MS, local_ms
from weirbook.record.attachments import ARRIVAL, CAMERA, SENT, Attachment, hold_files, room_files


def attach(
    session: Session,
    received: Received,
    values: Mapping[str, Any],
    where: ZoneInfo,
    *,
    now: int,
    chosen_id: uuid.UUID | None = None,
) -> Attachment:
    """The new row. When it was taken is as sent, else by the camera's clock, else now. Raises Invalid, Busy."""
    files = room_files(session)
    hold_files(session)
    row = create(
        session,
        Attachment,
        {**_taken(received, values, where, now), **values, **_told_by(received)},
        now=now,
        chosen_id=chosen_id,
    )
    received.arriving.take_to(files, received.name)
    files.keep_small(received.name, received.small)
    return row


def _told_by(received: Received) -> dict[str, Any]:
    """What the file tells of itself."""
    return {
        "media_type": received.kind.media,
        "size": len(received.bare.content),
        "sha256": received.sha256,
        "width": received.bare.width,
        "height": received.bare.height,
    }


def _taken(received: Received, values: Mapping[str, Any], where: ZoneInfo, now: int) -> dict[str, Any]:
    if values.get("taken_at_ms") is not None:
        return {"taken_at_from": SENT}
    clock = received.bare.exif.clock
    if clock is not None and EARLIEST_MS <= (at_ms := _instant(clock, where)) <= now + AHEAD_MS:
        return {"taken_at_ms": at_ms, "taken_at_from": CAMERA}
    return {"taken_at_ms": now, "taken_at_from": ARRIVAL}


def _instant(clock: datetime, where: ZoneInfo) -> int:
    """A camera's clock is read in the room's zone unless it told its own offset."""
    return round(clock.timestamp() * 1000) if clock.tzinfo is not None else local_ms(clock, where)
