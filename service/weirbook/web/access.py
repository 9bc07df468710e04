"""Who is calling, and how far the key reaches."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa
from flask import Request
from sqlalchemy.orm import Session

from weirbook.errors import Forbidden, NoKey
from weirbook.record.access import AccessKey, KeyGauge, KeyRoom, Role, hash_of
from weirbook.record.database import Database, enter_room

LAST_USE_STEP_MS = 60_000

READERS = frozenset({Role.KEEPER, Role.HELPER, Role.VIEWER})
DAILY = frozenset({Role.KEEPER, Role.HELPER})
KEEPER = frozenset({Role.KEEPER})
READING_TAKERS = frozenset({Role.KEEPER, Role.HELPER, Role.SENSOR})


@dataclass(frozen=True)
class Caller:
    """A key that was recognised."""

    room_id: int
    key_id: int
    name: str
    role: Role
    for_links: bool
    last_used_at_ms: int | None
    handle: str


def recognise(database: Database, request: Request, now: int, *, link_allowed: bool) -> Caller:
    """The caller behind a request's key. Raises NoKey.

    A key stands in the Authorization header; in the address only a viewer key marked for links may, and
    only where spreadsheets and calendars fetch from.
    """
    secret = _bearer(request)
    in_address = secret is None and "key" in request.args
    if in_address:
        if not link_allowed:
            raise NoKey(
                "A key may stand in the address only of CSV, plain-text and calendar answers. Send it as Authorization: Bearer."
            )
        secret = request.args["key"]
    if not secret:
        raise NoKey(
            "Send a key: Authorization: Bearer wb_…  A keeper makes one with POST /v1/keys, or on the host `weirbook key add`."
        )
    with database.read() as session:
        caller = caller_of(session, secret, now)
    if in_address and not caller.for_links:
        raise NoKey("This key may not stand in an address: only a viewer key made with for_links may.")
    return caller


def _bearer(request: Request) -> str | None:
    said = request.headers.get("Authorization")
    if said is None:
        return None
    scheme, _, secret = said.partition(" ")
    if scheme.lower() != "bearer":
        raise NoKey("Authorization must be: Bearer, a space, and the key.")
    return secret.strip()


def caller_of(session: Session, secret: str, now: int) -> Caller:
    """The caller of a secret. Raises NoKey if it is unknown, revoked or expired."""
    key_hash = hash_of(secret)
    room_id = session.scalar(sa.select(KeyRoom.room_id).where(KeyRoom.key_hash == key_hash))
    if room_id is None:
        raise NoKey("This key is not known here.")
    enter_room(session, room_id)
    key = session.scalars(sa.select(AccessKey).where(AccessKey.key_hash == key_hash)).one()
    if key.revoked_at_ms is not None or key.retired_at_ms is not None:
        raise NoKey("This key was revoked.")
    if key.expires_at_ms is not None and key.expires_at_ms <= now:
        raise NoKey("This key has expired.")
    return Caller(room_id, key.id, key.name, Role(key.role), key.for_links, key.last_used_at_ms, key.handle)


def refuse_beyond(caller: Caller, roles: frozenset[Role]) -> None:
    """Raise Forbidden unless the caller's role is among `roles`."""
    if caller.role not in roles:
        allowed = ", ".join(sorted(roles))
        raise Forbidden(f"A {caller.role} key can't do this. It takes: {allowed}.")


def gauges_of(session: Session, caller: Caller) -> frozenset[int]:
    """The gauges that a sensor key may post to."""
    return frozenset(session.scalars(sa.select(KeyGauge.gauge_id).where(KeyGauge.key_id == caller.key_id)))


def note_use(database: Database, caller: Caller, now: int) -> None:
    """Remember the key's last use, at most once a minute, in a small transaction of its own that waits for nobody.

    Raises Busy.
    """
    if caller.last_used_at_ms is not None and now - caller.last_used_at_ms < LAST_USE_STEP_MS:
        return
    with database.write(patience_s=0) as session:
        enter_room(session, caller.room_id)
        session.execute(
            sa.update(AccessKey)
            .where(AccessKey.room_id == caller.room_id, AccessKey.id == caller.key_id)
            .values(last_used_at_ms=now)
        )
