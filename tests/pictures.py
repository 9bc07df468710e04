"""Pictures and documents that tests send, made by Pillow; and what must not be found in them afterwards."""

from __future__ import annotations

import io
import random
import struct
import zlib
from typing import Any

from PIL import Image, ImageCms
from PIL.TiffImagePlugin import IFDRational

LATITUDE, LONGITUDE = ((38, 1), (43, 1), (4243, 100)), ((9, 1), (8, 1), (2121, 100))
"""Degrees, minutes, seconds as Exif holds them."""
SERIAL = "SN-445566-OWNER"
TAKEN = "2026:11:20 18:30:00"
TRACES = (
    SERIAL.encode(),
    b"DoNotKeep",
    b"http://ns.adobe.com/xap",
    struct.pack(">II", *LATITUDE[2]),
    struct.pack("<II", *LATITUDE[2]),
    struct.pack(">II", *LONGITUDE[2]),
    struct.pack("<II", *LONGITUDE[2]),
    TAKEN.encode(),
)
"""What a camera's notes hold, byte by byte."""
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/" about="http://ns.adobe.com/xap/1.0/">DoNotKeep</x:xmpmeta>'


def drawn(width: int = 64, height: int = 48, mode: str = "RGB", seed: int = 7) -> Image.Image:
    """A picture no two of whose corners look alike."""
    luck = random.Random(seed)
    picture = Image.new("RGB", (width, height), "navy")
    for _ in range(30):
        left, top = luck.randrange(width), luck.randrange(height)
        colour = tuple(luck.randrange(256) for _ in range(3))
        picture.paste(colour, (left, top, left + width // 4, top + height // 4))
    picture.paste("red", (0, 0, width // 4, height // 4))
    return picture.convert(mode)


def notes(orientation: int = 1, taken: str | None = TAKEN, **said: Any) -> bytes:
    """A camera's notes as Pillow writes them, with where the picture was taken."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010E] = "DoNotKeep: our house"
    exif[0xA431] = SERIAL
    within = exif.get_ifd(0x8769)
    if taken is not None:
        within[0x9003] = taken
    within[0x927C] = b"DoNotKeep maker's notes"
    for tag, value in said.get("within", {}).items():
        within[tag] = value
    exif.get_ifd(0x8825).update({1: "N", 2: _shares(LATITUDE), 3: "W", 4: _shares(LONGITUDE)})
    return exif.tobytes()


def _shares(told: tuple[tuple[int, int], ...]) -> tuple[IFDRational, ...]:
    return tuple(IFDRational(*one) for one in told)


def saved(picture: Image.Image, kind: str, **said: Any) -> bytes:
    into = io.BytesIO()
    picture.save(into, kind, **said)
    return into.getvalue()


def profile() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def jpeg(picture: Image.Image | None = None, **said: Any) -> bytes:
    return saved(picture or drawn(), "JPEG", **{"quality": 90, **said})


def png(picture: Image.Image | None = None, **said: Any) -> bytes:
    return saved(picture or drawn(), "PNG", **said)


def webp(picture: Image.Image | None = None, **said: Any) -> bytes:
    return saved(picture or drawn(), "WEBP", **{"lossless": True, **said})


def dots(content: bytes) -> tuple[str, tuple[int, int], bytes]:
    """What Pillow draws of a file, without turning it."""
    with Image.open(io.BytesIO(content)) as opened:
        return opened.mode, opened.size, opened.tobytes()


def png_chunk(name: bytes, told: bytes) -> bytes:
    return len(told).to_bytes(4) + name + told + zlib.crc32(name + told).to_bytes(4)


def vast_png(width: int, height: int) -> bytes:
    """A PNG of a few hundred bytes that says it is as large as this."""
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    packed = zlib.compress(b"\x00" * 100_000)
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        (png_chunk(b"IHDR", head), png_chunk(b"IDAT", packed), png_chunk(b"IEND", b""))
    )


PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\nstartxref\n9\n%%EOF\n"
