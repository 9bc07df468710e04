"""How often a wrong key may be tried: by key and by address, in memory, in bounded space.

A key is 256 random bits, so nobody guesses one; what is held back is the load and the noise of those who try, and of
devices whose key was revoked and who never stop.

* The same refused key is soon refused without a look into the database. That touches nobody else, since a good key
  has no failures.
* An address past its limit hears 429 instead of 401, but a good key from there is served: behind one router or
  proxy stand many callers, and a stranger must not be able to keep the room's own devices out.
* An address far past it is refused unlooked, except keys that were good here lately.
"""

from __future__ import annotations

import math
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic

from weirbook.errors import TooMany

REMEMBERED = 4096
"""Keys and addresses each; the one longest unheard of is forgotten first."""
SAME_KEY_SHARE = 3
"""One key alone may fail a third as often as its whole address."""
FAR_BEYOND = 10
"""This many minutes' worth of failures past the limit, an address is refused unlooked."""


@dataclass
class _Bucket:
    tokens: float
    at: float


class _Buckets:
    """A token bucket for each name: full at first, refilled over a minute, in debt down to `floor`."""

    def __init__(self, size: int, floor: int, clock: Callable[[], float]) -> None:
        self._size, self._floor, self._clock = size, floor, clock
        self._known: OrderedDict[str, _Bucket] = OrderedDict()

    def left(self, name: str) -> float:
        """Failures that the name may still make just now; below zero once it is in debt."""
        bucket = self._known.get(name)
        if bucket is None:
            return self._size
        now = self._clock()
        bucket.tokens = min(self._size, bucket.tokens + (now - bucket.at) * self._size / 60)
        bucket.at = now
        return bucket.tokens

    def take(self, name: str) -> None:
        left = self.left(name)
        self._known[name] = _Bucket(max(self._floor, left - 1), self._clock())
        self._known.move_to_end(name)
        if len(self._known) > REMEMBERED:
            self._known.popitem(last=False)

    def wait_s(self, name: str, wanted: float = 1) -> int:
        return max(1, math.ceil((wanted - self.left(name)) * 60 / self._size))


class Failures:
    """Who failed to show a good key lately."""

    def __init__(self, per_minute: int, clock: Callable[[], float] = monotonic) -> None:
        self._by_key = _Buckets(max(1, per_minute // SAME_KEY_SHARE), 0, clock)
        self._debt = -per_minute * FAR_BEYOND
        self._by_address = _Buckets(per_minute, self._debt, clock)
        self._good: OrderedDict[str, None] = OrderedDict()
        self._lock = threading.Lock()

    def refuse_unlooked(self, key_hash: str, address: str) -> None:
        """Raise TooMany for a key that keeps failing, and for strangers at an address far past its limit."""
        with self._lock:
            if self._by_key.left(key_hash) < 1:
                raise _too_many("This key was refused again and again", self._by_key.wait_s(key_hash))
            if key_hash not in self._good and self._by_address.left(address) < self._debt + 1:
                raise _too_many(
                    "Far too many wrong keys came from this address",
                    self._by_address.wait_s(address, self._debt + 1),
                )

    def note(self, key_hash: str, address: str) -> None:
        """Count one failure. Raises TooMany where the address is past its limit."""
        with self._lock:
            self._good.pop(key_hash, None)
            self._by_key.take(key_hash)
            past = self._by_address.left(address) < 1
            self._by_address.take(address)
            if past:
                raise _too_many(
                    "Too many wrong keys came from this address", self._by_address.wait_s(address)
                )

    def note_good(self, key_hash: str) -> None:
        """Remember a key that was good."""
        with self._lock:
            self._good[key_hash] = None
            self._good.move_to_end(key_hash)
            if len(self._good) > REMEMBERED:
                self._good.popitem(last=False)


def _too_many(words: str, wait_s: int) -> TooMany:
    return TooMany(f"{words}. Correct the key, and try again after {wait_s} s.", wait_s)
