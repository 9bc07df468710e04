"""Make a key to a room, or end one."""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import create, named
from weirbook.errors import Fault, Invalid
from weirbook.record.access import AccessKey, KeyGauge, KeyRoom, Role, hash_of, new_secret
from weirbook.record.database import room_of


def make_key(
    session: Session,
    *,
    name: str,
    role: Role,
    now: int,
    for_links: bool = False,
    gauges: Sequence[str] = (),
    expires_at_ms: int | None = None,
    notes: str | None = None,
) -> tuple[AccessKey, str]:
    """A new key and its secret, which is shown once and never stored. Raises Invalid for what doesn't fit its role."""
    _refuse_misfits(role, for_links, gauges, expires_at_ms, now)
    secret = new_secret()
    values = {
        "name": name,
        "handle": None,
        "role": str(role),
        "for_links": for_links,
        "key_hash": hash_of(secret),
        "expires_at_ms": expires_at_ms,
        "notes": notes,
    }
    key = create(session, AccessKey, values, now=now)
    session.add(KeyRoom(key_hash=key.key_hash, room_id=room_of(session)))
    for index, handle in enumerate(gauges):
        gauge = named(session, "gauge", handle, f"/gauges/{index}")
        session.merge(KeyGauge(room_id=room_of(session), key_id=key.id, gauge_id=gauge.id))
    session.flush()
    return key, secret


def revoke_key(session: Session, key: AccessKey, *, now: int) -> None:
    """End a key at once, for good. What it wrote stays."""
    if key.revoked_at_ms is None:
        key.revoked_at_ms = now
        key.version += 1
        key.updated_at_ms = now
        session.flush()


def gauges_listed(session: Session, key: AccessKey) -> Sequence[int]:
    """The gauges that a sensor key lists."""
    return session.scalars(sa.select(KeyGauge.gauge_id).where(KeyGauge.key_id == key.id)).all()


def _refuse_misfits(
    role: Role, for_links: bool, gauges: Sequence[str], expires_at_ms: int | None, now: int
) -> None:
    faults = []
    if for_links and role is not Role.VIEWER:
        faults.append(
            Fault("/for_links", "Only a viewer key may stand in an address: it can do nothing but read.")
        )
    if (role is Role.SENSOR) != bool(gauges):
        words = (
            "A sensor key lists the gauges it posts to."
            if role is Role.SENSOR
            else "Only a sensor key lists gauges."
        )
        faults.append(Fault("/gauges", words))
    if expires_at_ms is not None and expires_at_ms <= now:
        faults.append(Fault("/expires_at", "This lies in the past: the key would be dead at once."))
    if faults:
        raise Invalid("The key doesn't fit its role.", faults=faults)
