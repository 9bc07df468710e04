"""A camera's notes (Exif): the few that are read, and the one that is kept.

Source: CIPA DC-008 (Exif 2.32): tags of table 4 and 8, TIFF 6.0 section 2 for how they stand.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from datetime import datetime

from weirbook.record.media.bare import UPRIGHT, Exif

LONGEST = 64 * 1024
"""Of a JPEG no more can be there; longer notes in other pictures are not looked at."""
ORIENTATION, NOTES = 0x0112, 0x8769
TAKEN = ((0x9003, 0x9011), (0x9004, 0x9012))
"""When the picture was taken, else when it was digitised: each its clock and the clock's offset."""
ASCII, SHORT, LONG = 2, 3, 4
ENTRIES = 1000
_CLOCK = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)", re.ASCII)
_OFFSET = re.compile(r"[+-](?:0\d|1[0-4]):[0-5]\d", re.ASCII)


def read(notes: bytes) -> Exif:
    """What notes tell, as a TIFF with or without "Exif" before it; nothing of what can't be read."""
    notes = notes.removeprefix(b"Exif\x00\x00")
    if len(notes) > LONGEST:
        return Exif()
    order = {b"II*\x00": "<", b"MM\x00*": ">"}.get(notes[:4])
    if order is None:
        return Exif()
    try:
        first = dict(_entries(notes, order, struct.unpack_from(f"{order}I", notes, 4)[0]))
        within = first.get(NOTES)
        second = dict(_entries(notes, order, within)) if isinstance(within, int) else {}
    except struct.error:
        return Exif()
    turned = first.get(ORIENTATION)
    return Exif(turned if isinstance(turned, int) and 1 <= turned <= 8 else UPRIGHT, _clock(second))


def only_orientation(orientation: int) -> bytes:
    """Notes that say nothing but how the picture is to be turned."""
    return struct.pack(">4sIHHHIHHI", b"MM\x00*", 8, 1, ORIENTATION, SHORT, 1, orientation, 0, 0)


def _entries(notes: bytes, order: str, at: int) -> Iterator[tuple[int, int | str]]:
    """The single numbers and the texts of one list of notes."""
    (count,) = struct.unpack_from(f"{order}H", notes, at)
    for index in range(min(count, ENTRIES)):
        tag, kind, many = struct.unpack_from(f"{order}HHI", notes, at + 2 + 12 * index)
        value = at + 2 + 12 * index + 8
        if kind == ASCII and many <= 64:
            start = value if many <= 4 else struct.unpack_from(f"{order}I", notes, value)[0]
            yield tag, notes[start : start + many].rstrip(b"\x00 ").decode("ascii", "replace")
        elif kind in (SHORT, LONG) and many == 1:
            yield tag, struct.unpack_from(f"{order}{'H' if kind == SHORT else 'I'}", notes, value)[0]


def _clock(told: dict[int, int | str]) -> datetime | None:
    for clock, offset in TAKEN:
        found = _CLOCK.fullmatch(str(told.get(clock, "")))
        if found is None:
            continue
        zone = str(told.get(offset, ""))
        try:
            return datetime.fromisoformat(
                f"{found[1]}-{found[2]}-{found[3]}T{found[4]}{zone if _OFFSET.fullmatch(zone) else ''}"
            )
        except ValueError:
            continue
    return None
