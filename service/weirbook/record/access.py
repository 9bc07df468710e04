"""Keys and their roles, and answers kept for safe retries."""

from __future__ import annotations

import hashlib
import secrets
import uuid
from enum import StrEnum

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.record.base import ROUTINE, Base, Named, RoomOwned, key_to, room_key

SECRET_PREFIX = "wb_"


class Role(StrEnum):
    """What a key may do: keeper all, helper the daily round, sensor its own gauges, viewer reads."""

    KEEPER = "keeper"
    HELPER = "helper"
    SENSOR = "sensor"
    VIEWER = "viewer"


class KeyRoom(Base):
    """From a key's hash to its room: looked up first, across rooms, so it stands outside them."""

    __tablename__ = "key_room"
    key_hash: Mapped[str] = mapped_column(sa.String(64), primary_key=True)
    room_id: Mapped[int] = mapped_column(sa.Integer)

    __table_args__ = (sa.ForeignKeyConstraint(["room_id"], ["room.room_id"]),)


class AccessKey(Named, Base):
    """A key to the room, kept only as a hash."""

    __tablename__ = "access_key"
    NOUN = "key"
    PLURAL = "keys"
    COUNTER = "key"
    FIXED = ("role", "for_links")
    UNTOLD = ROUTINE | {"key_hash", "last_used_at_ms"}
    SOUGHT = ()
    """Who holds keys is the keeper's business alone."""

    role: Mapped[str] = mapped_column(sa.String(10))
    for_links: Mapped[bool] = mapped_column(sa.Boolean(create_constraint=False))
    key_hash: Mapped[str] = mapped_column(sa.String(64))
    expires_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    revoked_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    last_used_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)


class KeyGauge(RoomOwned, Base):
    """A gauge that a sensor key may post to."""

    __tablename__ = "access_key_gauge"
    key_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    gauge_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)

    __table_args__ = (key_to("access_key", "key_id", cascade=True), key_to("gauge", "gauge_id", cascade=True))


class KeptAnswer(RoomOwned, Base):
    """The answer to a POST that carried an Idempotency-Key, kept for a day in the transaction it answers for."""

    __tablename__ = "kept_answer"
    key_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    token: Mapped[str] = mapped_column(sa.String(200), primary_key=True)
    request_hash: Mapped[str] = mapped_column(sa.String(64))
    status: Mapped[int] = mapped_column(sa.SmallInteger)
    headers: Mapped[str] = mapped_column(sa.Text)
    body: Mapped[bytes] = mapped_column(sa.LargeBinary)
    created_at_ms: Mapped[int] = mapped_column(sa.BigInteger)

    __table_args__ = (
        room_key(),
        key_to("access_key", "key_id", cascade=True),
        sa.Index(None, "room_id", "created_at_ms"),
    )


def new_secret() -> str:
    """A random key, 256 bits: shown once, never stored."""
    return SECRET_PREFIX + secrets.token_urlsafe(32)


def hash_of(secret: str) -> str:
    """What is stored of a key. No salt: the secret is random at full length."""
    return hashlib.sha256(secret.encode()).hexdigest()


def uuid7(now_ms: int) -> uuid.UUID:
    """A version 7 UUID (RFC 9562): sorts by the time it was made."""
    noise = secrets.randbits(74)
    return uuid.UUID(
        int=(now_ms & (1 << 48) - 1) << 80 | 7 << 76 | (noise >> 62) << 64 | 2 << 62 | noise & (1 << 62) - 1
    )
