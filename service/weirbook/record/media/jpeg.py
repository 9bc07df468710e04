"""JPEG: its dots kept bit for bit, everything else left behind.

Source: ITU-T T.81, annex B (markers and segments); ITU-T T.871 (JFIF); ICC.1:2022, B.4 (profiles).
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field

from weirbook.errors import Invalid
from weirbook.record.media import colour, exif
from weirbook.record.media.bare import UPRIGHT, Bare, Exif, seen

START = b"\xff\xd8\xff"
BEGIN, END, SCAN = 0xD8, 0xD9, 0xDA
APP0, APP1, APP2, ADOBE = 0xE0, 0xE1, 0xE2, 0xEE
FRAMES = range(0xC0, 0xC3)
"""Baseline, extended and progressive: what cameras write and every program shows."""
OTHER_FRAMES = frozenset({0xC3, 0xC5, 0xC6, 0xC7, 0xC9, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF})
TABLES = frozenset({0xC4, 0xDB, 0xDD})
"""Huffman and quantisation tables, the restart interval."""
ALONE = frozenset({0x01, *range(0xD0, 0xD8)})
PROFILE = b"ICC_PROFILE\x00"
SEGMENTS, SCANS = 10_000, 100
"""Far more than any camera writes; some million empty ones would keep a reader busy."""
_MARKER = re.compile(rb"\xff[\x01-\xfe]")
_AFTER_SCAN = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")


@dataclass
class _Found:
    """What a picture holds, as it is walked through."""

    density: bytes = b""
    profile: dict[int, bytes] = field(default_factory=dict)
    profile_parts: list[bytes] = field(default_factory=list)
    exif: Exif | None = None
    size: tuple[int, int] | None = None
    scans: int = 0
    kept: list[bytes] = field(default_factory=list)


def lay_bare(content: bytes) -> Bare:
    """The picture without a camera's notes, comments, previews and whatever stands behind its end. Raises Invalid."""
    found = _Found()
    for marker, segment in _segments(content):
        _take(found, marker, segment)
    if found.size is None or not found.scans:
        raise Invalid("This JPEG holds no picture.", "")
    notes = found.exif or Exif()
    parts = [content[:2], found.density]
    if notes.orientation != UPRIGHT:
        parts.append(_segment(APP1, b"Exif\x00\x00" + exif.only_orientation(notes.orientation)))
    if colour.is_profile(b"".join(found.profile[number] for number in sorted(found.profile))):
        parts += found.profile_parts
    return seen(b"".join([*parts, *found.kept, b"\xff\xd9"]), *found.size, notes)


def _segments(content: bytes) -> Iterator[tuple[int, bytes]]:
    """Each marker with its whole segment, of a scan with its coded dots. Raises Invalid where it breaks off."""
    at = 2
    for _ in range(SEGMENTS):
        marked = _MARKER.search(content, at)
        if marked is None:
            break
        marker, at = content[marked.start() + 1], marked.end()
        if marker == END:
            return
        if marker in ALONE:
            continue
        if marker == BEGIN:
            raise Invalid("This JPEG is damaged: a second one begins within it. Send it again.", "")
        begun = marked.start()
        at += int.from_bytes(content[at : at + 2])
        if marker == SCAN:
            after = _AFTER_SCAN.search(content, at)
            at = len(content) if after is None else after.start()
        if at > len(content) or at < begun + 4:
            break
        yield marker, content[begun:at]
    else:
        raise Invalid(f"This JPEG has more than {SEGMENTS} parts, as no camera makes it.", "")
    raise Invalid("This JPEG breaks off before its end. Send it again, or take it from the camera anew.", "")


def _take(found: _Found, marker: int, segment: bytes) -> None:
    told = segment[4:]
    if marker in FRAMES:
        if found.size is not None or len(told) < 6 or told[0] != 8:
            raise Invalid("This JPEG is of a kind that can't be shown. Save it as an ordinary one.", "")
        height, width = struct.unpack_from(">HH", told, 1)
        found.size = (width, height)
        found.kept.append(segment)
    elif marker in OTHER_FRAMES:
        raise Invalid("This JPEG is of a kind that can't be shown. Save it as an ordinary one.", "")
    elif marker == SCAN:
        found.scans += 1
        if found.scans > SCANS:
            raise Invalid(f"This JPEG is drawn in more than {SCANS} passes, as no camera makes it.", "")
        found.kept.append(segment)
    elif marker in TABLES or (marker == ADOBE and told.startswith(b"Adobe")):
        found.kept.append(segment)
    elif marker == APP0 and told.startswith(b"JFIF\x00") and len(told) >= 14 and not found.density:
        found.density = _segment(APP0, told[:12] + b"\x00\x00")  # without its preview
    elif marker == APP1 and told.startswith(b"Exif\x00\x00") and found.exif is None:
        found.exif = exif.read(told)
    elif marker == APP2 and told.startswith(PROFILE) and len(told) > len(PROFILE) + 2:
        number = told[len(PROFILE)]
        if number not in found.profile:
            found.profile[number] = told[len(PROFILE) + 2 :]
            found.profile_parts.append(segment)


def _segment(marker: int, told: bytes) -> bytes:
    return bytes((0xFF, marker)) + (len(told) + 2).to_bytes(2) + told
