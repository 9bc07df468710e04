"""The kinds of files that are taken, and how each is known by its content."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from weirbook.errors import Invalid
from weirbook.record.media import jpeg, pdf, png, webp
from weirbook.record.media.bare import Bare


@dataclass(frozen=True)
class Kind:
    """A kind of file."""

    media: str
    name: str
    ending: str
    begins: Callable[[bytes], bool]
    lay_bare: Callable[[bytes], Bare]
    pixels: int | None = None
    """The most dots that are taken of it; None of what is no picture."""


JPEG = Kind(
    "image/jpeg", "JPEG", "jpg", lambda content: content.startswith(jpeg.START), jpeg.lay_bare, 50_000_000
)
PNG = Kind("image/png", "PNG", "png", lambda content: content.startswith(png.START), png.lay_bare, 25_000_000)
WEBP = Kind("image/webp", "WebP", "webp", webp.starts, webp.lay_bare, 25_000_000)
PDF = Kind("application/pdf", "PDF", "pdf", lambda content: content.startswith(pdf.START), pdf.lay_bare)
"""A JPEG is made small while it is read; PNG and WebP stand in memory whole: 4 bytes a dot, of WebP three times."""
KINDS = {kind.media: kind for kind in (JPEG, PNG, WEBP, PDF)}
TAKEN = "JPEG, PNG, WebP and PDF"

_OTHERS: tuple[tuple[str, Callable[[bytes], bool]], ...] = (
    ("a GIF", lambda content: content.startswith((b"GIF87a", b"GIF89a"))),
    ("a TIFF or a camera's raw picture", lambda content: content.startswith((b"II*\x00", b"MM\x00*"))),
    ("a BMP", lambda content: content.startswith(b"BM") and content[6:10] == b"\x00\x00\x00\x00"),
    (
        "a HEIC or AVIF picture",
        lambda content: (
            content[4:8] == b"ftyp" and content[8:12] in (b"heic", b"heix", b"mif1", b"msf1", b"avif")
        ),
    ),
    ("a video", lambda content: content[4:8] == b"ftyp"),
    ("a ZIP archive", lambda content: content.startswith(b"PK\x03\x04")),
    (
        "a drawing or a page as text (SVG, HTML or XML)",
        lambda content: content.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"<",
    ),
)


def refuse_other(kind: Kind, content: bytes) -> None:
    """Raise Invalid where content is not of the kind that it was sent as, naming what it is if that is plain."""
    if kind.begins(content):
        return
    for other in KINDS.values():
        if other.begins(content):
            raise Invalid(
                f"This is a {other.name}, not a {kind.name}: send it as Content-Type {other.media}.", ""
            )
    for words, begins in _OTHERS:
        if begins(content[:4096]):
            raise Invalid(
                f"This is {words}, not a {kind.name}. Taken are {TAKEN}: save it as one of them.", ""
            )
    raise Invalid(f"This is no {kind.name} that can be read. Taken are {TAKEN}.", "")


def refuse_vast(kind: Kind, bare: Bare) -> None:
    """Raise Invalid for a picture with more dots than are taken, before any is drawn."""
    if kind.pixels is None:
        return
    width, height = bare.width or 0, bare.height or 0
    if not width or not height:
        raise Invalid(f"This {kind.name} has no width or no height: it is damaged. Send it again.", "")
    if width * height > kind.pixels:
        raise Invalid(
            f"This {kind.name} is {width} by {height} dots; at most {kind.pixels // 1_000_000} million are taken. "
            "Make it smaller and send it again.",
            "",
        )
