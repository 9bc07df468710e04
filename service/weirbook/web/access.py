"""Who is calling, and how far the key reaches."""

from __future__ import annotations

import hmac
from dataclasses import dataclass
from functools import partial

import sqlalchemy as sa
from flask import Request, current_app, g
from sqlalchemy.orm import Session

from weirbook.errors import Forbidden, NoKey
from weirbook.record.access import AccessKey, Role, hash_of
from weirbook.record.database import Database, enter_room, fetch, room_of
from weirbook.record.remembered import forget, last_remembered, remembered
from weirbook.web.failures import Failures

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
    key_hash: str
    expires_at_ms: int | None
    gauges: frozenset[int]
    """The gauges that a sensor key may post to."""


def recognise(database: Database, request: Request, now: int, *, link_allowed: bool) -> Caller:
    """The caller behind a request's key. Raises NoKey, and TooMany where wrong keys were tried too often.

    A key stands in the Authorization header; in the address only a viewer key marked for links may, and
    only where spreadsheets and calendars fetch from.
    """
    secret = _bearer(request)
    in_address = secret is None and "key" in request.args
    if in_address:
        if not link_allowed:
            raise NoKey(
                "A key may stand in the address only of CSV, plain-text, calendar and drawn answers. Send it as "
                "Authorization: Bearer."
            )
        secret = request.args["key"]
    if not secret:
        raise NoKey(
            "Send a key: Authorization: Bearer wb_…  A keeper makes one with POST /v1/keys, or on the host `weirbook key add`."
        )
    caller = _known(database, secret, request.remote_addr or "", now)
    if in_address and not caller.for_links:
        raise NoKey("This key may not stand in an address: only a viewer key made with for_links may.")
    return caller


def _known(database: Database, secret: str, address: str, now: int) -> Caller:
    """The caller of a secret, with wrong ones counted. No key at all is no failure: nothing was tried."""
    failures: Failures = current_app.extensions["weirbook_failures"]
    key_hash = hash_of(secret)
    failures.refuse_unlooked(key_hash, address)
    try:
        caller: Caller | None = last_remembered(database, _remembered_as(key_hash))
        if caller is None:
            with database.read() as session:
                caller = caller_of(session, secret, now)
        _refuse_expired(caller, now)
    except NoKey:
        failures.note(key_hash, address)
        g.key_refused = True
        raise
    failures.note_good(key_hash)
    g.key_handle = caller.handle
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
    """The caller of a secret. Raises NoKey if it is unknown, revoked or expired.

    The index finds a key by its SHA-256. How long that takes may tell how far a stored hash agrees with the hash of
    what was sent; nobody can choose a secret by the hash it will have, and the stored ones are of 256 random bits, so
    that tells nothing of any secret. What was found is still compared in constant time.
    """
    key_hash = hash_of(secret)
    rows = fetch(session, "SELECT room_id, key_hash FROM key_room WHERE key_hash = ?", (key_hash,))
    if not rows or not hmac.compare_digest(rows[0][1], key_hash):
        raise NoKey("This key is not known here.")
    enter_room(session, rows[0][0])
    caller = remembered(session, _remembered_as(key_hash), partial(_find, key_hash=key_hash))
    _refuse_expired(caller, now)
    return caller


def refuse_ended(session: Session, caller: Caller, now: int) -> None:
    """Raise NoKey where a caller's key was revoked or expired since it was recognised, as this transaction sees it.

    A key never changes otherwise, so the caller is not asked for anew.
    """
    remembered(session, _remembered_as(caller.key_hash), partial(_find, key_hash=caller.key_hash))
    _refuse_expired(caller, now)


def _remembered_as(key_hash: str) -> tuple[str, str]:
    return ("caller", key_hash)


def _refuse_expired(caller: Caller, now: int) -> None:
    if caller.expires_at_ms is not None and caller.expires_at_ms <= now:
        raise NoKey("This key has expired.")


def _find(session: Session, key_hash: str) -> Caller:
    room_id = room_of(session)
    rows = fetch(
        session,
        "SELECT id, name, role, for_links, last_used_at_ms, handle, expires_at_ms FROM access_key WHERE room_id = ? "
        "AND key_hash = ? AND revoked_at_ms IS NULL AND retired_at_ms IS NULL",
        (room_id, key_hash),
    )
    if not rows:
        raise NoKey("This key was revoked.")
    key_id, name, role, for_links, used_at_ms, handle, expires_at_ms = rows[0]
    asked = "SELECT gauge_id FROM access_key_gauge WHERE room_id = ? AND key_id = ?"
    gauges = frozenset(row[0] for row in fetch(session, asked, (room_id, key_id)))
    kind = Role(role)
    return Caller(
        room_id, key_id, name, kind, bool(for_links), used_at_ms, handle, key_hash, expires_at_ms, gauges
    )


def refuse_beyond(caller: Caller, roles: frozenset[Role]) -> None:
    """Raise Forbidden unless the caller's role is among `roles`."""
    if caller.role not in roles:
        allowed = ", ".join(sorted(roles))
        raise Forbidden(f"A {caller.role} key can't do this. It takes: {allowed}.")


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
    forget(database, _remembered_as(caller.key_hash))
