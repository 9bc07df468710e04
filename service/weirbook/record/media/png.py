"""PNG: its dots kept as they are, texts, notes and whatever stands behind its end left behind.

Source: PNG Specification, third edition (W3C), 5 and 11.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from weirbook.errors import Invalid
from weirbook.record.media import colour, exif
from weirbook.record.media.bare import UPRIGHT, Bare, Exif, seen

START = b"\x89PNG\r\n\x1a\n"
DOTS = frozenset({b"PLTE", b"IDAT", b"tRNS", b"acTL", b"fcTL", b"fdAT"})
"""The picture, its palette and transparency, and what moves of it."""
LOOKS = frozenset({b"gAMA", b"cHRM", b"sRGB", b"sBIT", b"bKGD", b"pHYs", b"cICP", b"mDCV", b"cLLI"})
CHUNKS = 100_000


def lay_bare(content: bytes) -> Bare:
    """The picture without notes, texts and what stands behind its end. Raises Invalid."""
    kept: list[bytes] = []
    notes: Exif | None = None
    size: tuple[int, int] | None = None
    drawn = False
    for name, told in _chunks(content):
        if size is None:
            if name != b"IHDR" or len(told) != 13:
                raise Invalid("This PNG does not begin as one: it is damaged. Send it again.", "")
            size = struct.unpack_from(">II", told)
            kept.append(_chunk(name, told))
        elif name in DOTS or (name in LOOKS and len(told) <= 64):
            drawn = drawn or name == b"IDAT"
            kept.append(_chunk(name, told))
        elif name == b"iCCP" and _is_profile(told):
            kept.append(_chunk(name, b"profile\x00" + told.split(b"\x00", 1)[1]))
        elif name == b"eXIf" and notes is None:
            notes = exif.read(told)
        elif not name[0] & 0x20:
            raise Invalid("This PNG holds a part that no program for pictures knows.", "")
    if size is None or not drawn:
        raise Invalid("This PNG holds no picture.", "")
    notes = notes or Exif()
    if notes.orientation != UPRIGHT:
        kept.insert(1, _chunk(b"eXIf", exif.only_orientation(notes.orientation)))
    return seen(b"".join([START, *kept, _chunk(b"IEND", b"")]), *size, notes)


def _chunks(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Each part with its name, up to the end. Raises Invalid where it breaks off or doesn't fit its check sum."""
    at = len(START)
    for _ in range(CHUNKS):
        length, name = int.from_bytes(content[at : at + 4]), content[at + 4 : at + 8]
        told, check = content[at + 8 : at + 8 + length], content[at + 8 + length : at + 12 + length]
        if len(check) < 4:
            raise Invalid("This PNG breaks off before its end. Send it again.", "")
        if zlib.crc32(told, zlib.crc32(name)) != int.from_bytes(check):
            raise Invalid("This PNG is damaged: a part does not fit its check sum. Send it again.", "")
        if name == b"IEND":
            return
        yield name, told
        at += 12 + length
    raise Invalid(f"This PNG has more than {CHUNKS} parts, as no program makes it.", "")


def _chunk(name: bytes, told: bytes) -> bytes:
    return len(told).to_bytes(4) + name + told + zlib.crc32(told, zlib.crc32(name)).to_bytes(4)


def _is_profile(told: bytes) -> bool:
    name, _, packed = told.partition(b"\x00")
    if not 1 <= len(name) <= 79 or packed[:1] != b"\x00":
        return False
    unpacking = zlib.decompressobj()
    try:
        profile = unpacking.decompress(packed[1:], colour.LONGEST + 1)
    except zlib.error:
        return False
    return unpacking.eof and not unpacking.unused_data and colour.is_profile(profile)
