"""WebP: its dots kept as they are, notes and whatever stands behind its end left behind.

Source: RFC 9649, 2 (container) and 3 (lossless header); RFC 6386, 9.1 (lossy frame header).
"""

from __future__ import annotations

from collections.abc import Iterator

from weirbook.errors import Invalid
from weirbook.record.media import colour, exif
from weirbook.record.media.bare import UPRIGHT, Bare, Exif, seen

EXTENDED, LOSSY, LOSSLESS, ALPHA = b"VP8X", b"VP8 ", b"VP8L", b"ALPH"
MOVING, FRAME, PROFILE, NOTES = b"ANIM", b"ANMF", b"ICCP", b"EXIF"
HAS_PROFILE, HAS_NOTES, HAS_XMP = 0x20, 0x08, 0x04
FRAME_HEAD = 16
CHUNKS = 20_000


def starts(content: bytes) -> bool:
    """Whether content begins as a WebP."""
    return content[:4] == b"RIFF" and content[8:12] == b"WEBP"


def lay_bare(content: bytes) -> Bare:
    """The picture without notes and what stands behind its end. Raises Invalid."""
    length = int.from_bytes(content[4:8], "little")
    if 8 + length > len(content):
        raise Invalid("This WebP breaks off before its end. Send it again.", "")
    head: bytearray | None = None
    notes: Exif | None = None
    kept: list[bytes] = []
    sizes: list[tuple[int, int]] = []
    profile = b""
    for name, told in _chunks(content[12 : 8 + length]):
        if name == EXTENDED and head is None and not kept and len(told) >= 10:
            head = bytearray(told[:10])
            sizes.append((1 + int.from_bytes(told[4:7], "little"), 1 + int.from_bytes(told[7:10], "little")))
        elif name in (LOSSY, LOSSLESS):
            sizes.append(_size(name, told))
            kept.append(_chunk(name, told))
        elif name in (ALPHA, MOVING):
            kept.append(_chunk(name, told))
        elif name == FRAME:
            kept.append(_chunk(FRAME, told[:FRAME_HEAD] + _within_frame(told[FRAME_HEAD:])))
        elif name == PROFILE and colour.is_profile(told):
            profile = _chunk(PROFILE, told)
        elif name == NOTES and notes is None:
            notes = exif.read(told)
    if not sizes or not kept:
        raise Invalid("This WebP holds no picture.", "")
    if any(width > sizes[0][0] or height > sizes[0][1] for width, height in sizes):
        raise Invalid("This WebP is damaged: its parts are larger than the whole. Send it again.", "")
    notes = notes or Exif()
    if head is None:
        return seen(_whole(kept), *sizes[0], Exif(clock=notes.clock))
    head[0] = head[0] & ~(HAS_PROFILE | HAS_NOTES | HAS_XMP) | (HAS_PROFILE if profile else 0)
    after = []
    if notes.orientation != UPRIGHT:
        head[0] |= HAS_NOTES
        after.append(_chunk(NOTES, exif.only_orientation(notes.orientation)))
    return seen(_whole([_chunk(EXTENDED, bytes(head)), profile, *kept, *after]), *sizes[0], notes)


def _chunks(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 0
    for _ in range(CHUNKS):
        if at + 8 > len(content):
            return
        length = int.from_bytes(content[at + 4 : at + 8], "little")
        if at + 8 + length > len(content):
            raise Invalid("This WebP is damaged: a part is longer than the whole. Send it again.", "")
        yield content[at : at + 4], content[at + 8 : at + 8 + length]
        at += 8 + length + length % 2
    raise Invalid(f"This WebP has more than {CHUNKS} parts, as no program makes it.", "")


def _within_frame(content: bytes) -> bytes:
    """The parts of one frame that are dots."""
    return b"".join(_chunk(name, told) for name, told in _chunks(content) if name in (LOSSY, LOSSLESS, ALPHA))


def _size(name: bytes, told: bytes) -> tuple[int, int]:
    if name == LOSSLESS and told[:1] == b"\x2f" and len(told) >= 5:
        bits = int.from_bytes(told[1:5], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    if name == LOSSY and told[3:6] == b"\x9d\x01\x2a" and len(told) >= 10:
        return int.from_bytes(told[6:8], "little") & 0x3FFF, int.from_bytes(told[8:10], "little") & 0x3FFF
    raise Invalid("This WebP is damaged: its picture does not begin as one. Send it again.", "")


def _chunk(name: bytes, told: bytes) -> bytes:
    return name + len(told).to_bytes(4, "little") + told + b"\x00" * (len(told) % 2)


def _whole(chunks: list[bytes]) -> bytes:
    body = b"WEBP" + b"".join(chunks)
    return b"RIFF" + len(body).to_bytes(4, "little") + body
