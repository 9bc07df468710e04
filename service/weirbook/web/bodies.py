"""The bytes of a request's body: whole, unpacked where they came packed, and never more than the cap."""

from __future__ import annotations

import io
import zlib
from typing import IO, cast

from flask import Request
from werkzeug.exceptions import ClientDisconnected
from werkzeug.utils import cached_property
from werkzeug.wsgi import LimitedStream

from weirbook.errors import Malformed, NotOffered, TooLarge

PACKINGS = frozenset({"gzip", "x-gzip"})
"""x-gzip is the same by an older name (RFC 9110, 8.4.1.3)."""
GZIP_WINDOW = 16 + zlib.MAX_WBITS
"""What zlib calls: a gzip header and trailer, the largest window."""
PIECE = 16 * 1024
SWELL = 100
"""Times that a body without a cap may grow in unpacking, beyond its first SLACK bytes. Readings grow up to 30 times; gzip
could make a thousand, and so a short body keep the service busy for hours."""
SLACK = 16 * 1024 * 1024


class PlainRequest(Request):
    """A request whose body reads as it was before it was packed.

    `max_content_length` counts for what travels and for what it is unpacked to.
    """

    @cached_property
    def stream(self) -> IO[bytes]:
        """Raises NotOffered of a packing that is none of ours; reading from it Malformed and TooLarge."""
        packed = _is_packed(self.headers.get("Content-Encoding", ""))
        sent: IO[bytes] | io.RawIOBase = super().stream  # refuses a length beyond the cap
        if self.content_length is not None:
            sent = _Whole(self.environ["wsgi.input"], self.content_length)
        elif isinstance(sent, LimitedStream):
            sent = _Whole(self.environ["wsgi.input"], sent.limit, is_max=True)
        if packed:
            sent = Unpacked(cast(io.RawIOBase, sent), self.max_content_length)
        return cast(IO[bytes], sent)


def _is_packed(said: str) -> bool:
    """Whether a body came packed, by its Content-Encoding. Raises NotOffered."""
    packings = [one for each in said.split(",") if (one := each.strip().lower()) not in ("", "identity")]
    if not packings:
        return False
    if len(packings) > 1 or packings[0] not in PACKINGS:
        raise NotOffered(
            f"Content-Encoding {said[:80]!r} is not taken. Send the body plain (identity) or packed once as gzip.",
            slug="encoding-not-offered",
        )
    return True


class _Whole(LimitedStream):
    """A body that is as long as it said, or Malformed."""

    def on_disconnect(self, error: Exception | None = None) -> None:
        try:
            super().on_disconnect(error)
        except ClientDisconnected:
            raise Malformed("The body broke off before its end. Send it again.") from error


class Unpacked(io.RawIOBase):
    """What a gzip stream (RFC 1952, of one member or several) holds, unpacked as it is read.

    Reading raises Malformed where it is no gzip or breaks off, TooLarge beyond `cap` bytes (None: no cap) and where it
    swells beyond measure.
    """

    def __init__(self, packed: io.RawIOBase, cap: int | None) -> None:
        self._packed, self._cap = packed, cap
        self._unread = b""
        self._member: zlib._Decompress | None = None
        self._begun = False
        self._taken = self._given = 0

    def readable(self) -> bool:
        return True

    def readinto(self, room: bytearray | memoryview) -> int:  # type: ignore[override]
        plain = self._next(len(room))
        self._given += len(plain)
        if self._cap is not None and self._given > self._cap:
            raise TooLarge(
                f"The body unpacks to more than the {self._cap} bytes that one request may carry. Send it in parts."
            )
        if self._given > SLACK + SWELL * self._taken:
            raise TooLarge(f"The body unpacks to more than {SWELL} times its length. Send it plain.")
        room[: len(plain)] = plain
        return len(plain)

    def _next(self, wanted: int) -> bytes:
        """Some of the content, up to so many bytes; nothing at its end."""
        while wanted:
            if not self._unread:
                self._unread = self._packed.read(PIECE) or b""
                self._taken += len(self._unread)
            if not self._unread:
                if self._member is not None or not self._begun:
                    raise Malformed("The gzip body breaks off before its end. Send it again.")
                break
            if self._member is None:
                self._member, self._begun = zlib.decompressobj(GZIP_WINDOW), True
            try:
                plain = self._member.decompress(self._unread, wanted)
            except zlib.error as trouble:
                raise Malformed(f"The body is no sound gzip: {trouble}.") from None
            ended = self._member.eof
            self._unread = self._member.unused_data if ended else self._member.unconsumed_tail
            self._member = None if ended else self._member
            if plain:
                return plain
        return b""
