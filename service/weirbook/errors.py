"""What can go wrong, knowing no HTTP.

Every refusal carries a `slug` that a program can test, a message for a keeper (what was wrong, what is
allowed, what to do) and, where single values are to blame, their places as JSON pointers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One bad value: a JSON pointer (RFC 6901) into what was sent, and what to do about it."""

    pointer: str
    message: str

    def under(self, prefix: str) -> Fault:
        """The same fault seen from one level further out."""
        return Fault(prefix + self.pointer, self.message)


class Lack(Fault):
    """A value that isn't there though it is needed, as against one that is wrong."""


class Trouble(Exception):
    """Base of every refusal that the service makes on purpose."""

    slug = "trouble"

    def __init__(
        self,
        message: str,
        pointer: str | None = None,
        *,
        faults: Iterable[Fault] = (),
        slug: str | None = None,
        more: Mapping[str, object] | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.faults = tuple(faults) or ((Fault(pointer, message),) if pointer is not None else ())
        self.slug = slug or type(self).slug
        self.more = dict(more or {})


class Invalid(Trouble):
    """A value can't be taken: wrong kind, out of range, contradictory, physically impossible."""

    slug = "invalid"


class Malformed(Trouble):
    """What was sent can't be read at all."""

    slug = "malformed"


class Unknown(Trouble):
    """A record that was named does not exist in this room."""

    slug = "unknown-record"


class Conflict(Trouble):
    """The record as it stands forbids it; `slug` tells which rule."""

    slug = "conflict"


class Stale(Trouble):
    """The record changed since the caller read it."""

    slug = "stale"


class VersionWanted(Trouble):
    """An edit that does not say which version it edits."""

    slug = "version-wanted"


class NoKey(Trouble):
    """No key, or one that is wrong, revoked or expired."""

    slug = "no-key"


class Forbidden(Trouble):
    """The key's role does not reach this far."""

    slug = "forbidden"


class Lost(Trouble):
    """What was asked for was there once, and is not any more."""

    slug = "lost"


class TooLarge(Trouble):
    """More than one request may carry or one answer may hold."""

    slug = "too-large"


class NotOffered(Trouble):
    """The form asked for (media type) is not one that is offered."""

    slug = "not-offered"


class Busy(Trouble):
    """The store can't take it just now; the same request may succeed later."""

    slug = "busy"


class TooMany(Trouble):
    """Too many wrong keys lately; `wait_s` tells after how many seconds to try again."""

    slug = "too-many-failures"

    def __init__(self, message: str, wait_s: int) -> None:
        super().__init__(message)
        self.wait_s = wait_s


class StoreTrouble(Trouble):
    """The database can't be opened, is newer than this program, or failed its check."""

    slug = "store"
