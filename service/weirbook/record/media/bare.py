"""A file laid bare: what may be stored of it, and what was read from what may not."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

UPRIGHT = 1
"""The orientation of a picture that is stored as it is to be seen."""


@dataclass(frozen=True)
class Exif:
    """What is read of a camera's notes: how the picture is to be turned, and when it was taken by the camera's clock."""

    orientation: int = UPRIGHT
    clock: datetime | None = None
    """As the camera's clock showed it; with an offset only where the camera told one."""


@dataclass(frozen=True)
class Bare:
    """What is stored of a file, its size in dots as it is to be seen (None of what is no picture), its camera's notes."""

    content: bytes
    width: int | None = None
    height: int | None = None
    exif: Exif = Exif()


def seen(content: bytes, width: int, height: int, exif: Exif) -> Bare:
    """A picture stored as width by height; orientations 5 to 8 lie on their side."""
    return Bare(content, *((height, width) if exif.orientation >= 5 else (width, height)), exif)
