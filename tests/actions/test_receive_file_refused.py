"""What is no photo or document, or is more than one, is refused in plain words and leaves nothing behind."""

from __future__ import annotations

import io
import random
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pictures import PDF, drawn, jpeg, png, png_chunk, vast_png, webp

from weirbook.actions.receive_file import receive_file
from weirbook.errors import Invalid
from weirbook.record.files import Files
from weirbook.record.media import decoding
from weirbook.record.media.kinds import KINDS

HTML = b"<!DOCTYPE html><html><script>fetch('/v1/keys')</script></html>"
DRAWING = b"<?xml version='1.0'?><svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>"


@pytest.fixture(autouse=True)
def files(tmp_path: Path) -> Iterator[Files]:
    """No test here leaves anything."""
    found = Files(tmp_path / "files")
    yield found
    assert [one for one in found.root.rglob("*") if one.is_file()] == []


def refused(files: Files, content: bytes, media: str) -> str:
    with pytest.raises(Invalid) as trouble:
        receive_file(files, KINDS[media], content)
    assert [fault.pointer for fault in trouble.value.faults] == [""]
    return trouble.value.message


def archive() -> bytes:
    into = io.BytesIO()
    with zipfile.ZipFile(into, "w") as packed:
        packed.writestr("x.html", HTML)
    return into.getvalue()


@pytest.mark.parametrize(
    ("content", "media", "words"),
    [
        (png(), "image/jpeg", "This is a PNG, not a JPEG: send it as Content-Type image/png."),
        (jpeg(), "image/png", "This is a JPEG, not a PNG"),
        (webp(), "image/png", "This is a WebP, not a PNG"),
        (PDF, "image/webp", "This is a PDF, not a WebP"),
        (jpeg(), "application/pdf", "This is a JPEG, not a PDF"),
        (HTML, "image/png", "This is a drawing or a page as text (SVG, HTML or XML), not a PNG"),
        (DRAWING, "image/png", "This is a drawing or a page as text (SVG, HTML or XML), not a PNG"),
        (b"\xef\xbb\xbf\n" + DRAWING, "image/webp", "drawing or a page"),
        (archive(), "application/pdf", "This is a ZIP archive, not a PDF"),
        (b"GIF89a" + b"\x00" * 40, "image/png", "This is a GIF, not a PNG"),
        (b"\x00\x00\x00\x18ftypheic" + b"\x00" * 40, "image/jpeg", "This is a HEIC or AVIF picture"),
        (b"\x00\x00\x00\x18ftypisom" + b"\x00" * 40, "image/jpeg", "This is a video"),
        (b"II*\x00" + b"\x00" * 40, "image/jpeg", "This is a TIFF"),
        (b"Nitrate 20, all well.", "image/jpeg", "This is no JPEG that can be read"),
        (b"\x00", "image/png", "This is no PNG that can be read"),
        (random.Random(3).randbytes(5000), "image/webp", "This is no WebP that can be read"),
    ],
)
def test_what_it_is_is_told_by_its_content(files: Files, content: bytes, media: str, words: str) -> None:
    assert words in refused(files, content, media)


@pytest.mark.parametrize(
    ("make", "media"),
    [(jpeg, "image/jpeg"), (png, "image/png"), (webp, "image/webp"), (lambda: PDF, "application/pdf")],
)
@pytest.mark.parametrize("part", [0.02, 0.3, 0.7, 0.97])
def test_what_breaks_off_is_refused(files: Files, make: Callable[[], bytes], media: str, part: float) -> None:
    content = make()
    words = refused(files, content[: max(8, int(len(content) * part))], media)
    assert any(
        said in words for said in ("breaks off", "cut off", "no WebP that can be read", "does not begin")
    ), words


def test_a_jpeg_whose_dots_break_off_before_a_false_end_is_refused_or_drawn_and_never_a_fault(
    files: Files,
) -> None:
    """Where its end is forged nobody can tell; the picture then ends in grey."""
    content = jpeg(drawn(400, 300))
    try:
        received = receive_file(files, KINDS["image/jpeg"], content[:900] + b"\xff\xd9")
    except Invalid:
        return
    assert (received.bare.width, received.bare.height) == (400, 300)


@pytest.mark.parametrize(
    ("width", "height"), [(60_000, 60_000), (2**31 - 1, 2**31 - 1), (30_000_000, 1), (5001, 5000)]
)
def test_a_vast_picture_in_a_small_file_is_refused_before_it_is_drawn(
    files: Files, width: int, height: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(decoding, "_draw", None)
    content = vast_png(width, height)
    assert len(content) < 1000
    words = refused(files, content, "image/png")
    assert f"{width} by {height} dots; at most 25 million are taken" in words


def test_a_vast_jpeg_is_refused_before_it_is_drawn(files: Files, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decoding, "_draw", None)
    content = bytearray(jpeg())
    at = content.index(b"\xff\xc0")
    content[at + 5 : at + 9] = struct.pack(">HH", 65_500, 65_500)
    assert "at most 50 million" in refused(files, bytes(content), "image/jpeg")


def test_a_vast_moving_webp_is_refused_before_it_is_drawn(
    files: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = bytearray(
        webp(drawn(), save_all=True, append_images=[drawn(seed=8), drawn(seed=9)], duration=100)
    )
    assert content[12:16] == b"VP8X"
    content[24:30] = (2**24 - 1).to_bytes(3, "little") * 2
    monkeypatch.setattr(decoding, "_draw", None)
    assert "at most 25 million" in refused(files, bytes(content), "image/webp")


def test_a_picture_that_says_two_sizes_is_refused(files: Files) -> None:
    content = bytearray(webp(drawn().convert("RGBA"), exif=b"Exif\x00\x00II*\x00", lossless=True))
    assert content[12:16] == b"VP8X"
    content[24:27] = (4000).to_bytes(3, "little")
    refused(files, bytes(content), "image/webp")
    content[24:27] = (3).to_bytes(3, "little")
    assert "larger than the whole" in refused(files, bytes(content), "image/webp")


def test_a_png_whose_dots_are_fewer_than_it_says_is_refused(files: Files) -> None:
    head = struct.pack(">IIBBBBB", 3000, 3000, 8, 2, 0, 0, 0)
    parts = (
        png_chunk(b"IHDR", head),
        png_chunk(b"IDAT", zlib.compress(b"\x00" * 5000)),
        png_chunk(b"IEND", b""),
    )
    content = b"\x89PNG\r\n\x1a\n" + b"".join(parts)
    assert "cut off" in refused(files, content, "image/png")


@pytest.mark.parametrize(
    "content",
    [
        b"\x89PNG\r\n\x1a\n" + png_chunk(b"IEND", b""),
        b"\x89PNG\r\n\x1a\n" + png_chunk(b"IDAT", b"x") + png_chunk(b"IEND", b""),
        png()[:-4] + b"xxxx",
        png().replace(b"IDAT", b"IDAQ"),
        png()[:33] + png_chunk(b"ABCD", b"x") + png()[33:],
        b"\x89PNG\r\n\x1a\n" + b"\xff\xff\xff\xffIHDR" + b"\x00" * 30,
        png()[:33] + png_chunk(b"tEXt", b"") * 100_001 + png()[33:],
    ],
    ids=[
        "only an end",
        "no head",
        "wrong check sum",
        "unknown part",
        "needed part",
        "endless part",
        "100,001 parts",
    ],
)
def test_a_png_that_is_not_made_as_one_is_refused(files: Files, content: bytes) -> None:
    refused(files, content, "image/png")


@pytest.mark.parametrize(
    "content",
    [
        b"\xff\xd8\xff\xd9",
        b"\xff\xd8\xff\xda\x00\x02\xff\xd9",
        b"\xff\xd8" + b"\xff\xfe\x00\x02" * 10_001 + jpeg()[2:],
        b"\xff\xd8" + b"\xff" * 100_000,
        b"\xff\xd8\xff\xe1\x00\x00" + jpeg()[2:],
        b"\xff\xd8\xff\xe1\x00\x01" + jpeg()[2:],
        b"\xff\xd8" + jpeg(),
        jpeg().replace(b"\xff\xc0", b"\xff\xc3"),
        jpeg().replace(b"\xff\xc0", b"\xff\xc9"),
        jpeg()[:2] + jpeg()[jpeg().index(b"\xff\xc0") : jpeg().index(b"\xff\xc0") + 19] + jpeg()[2:],
    ],
    ids=[
        "only an end",
        "no frame",
        "10,001 comments",
        "only fill bytes",
        "part of no length",
        "part shorter than its length",
        "two beginnings",
        "lossless",
        "arithmetic",
        "two frames",
    ],
)
def test_a_jpeg_that_is_not_made_as_one_is_refused(files: Files, content: bytes) -> None:
    refused(files, content, "image/jpeg")


def test_a_jpeg_drawn_in_countless_passes_is_refused(files: Files) -> None:
    content = jpeg(progressive=True)
    first = content.index(b"\xff\xda")
    end = first + 2 + int.from_bytes(content[first + 2 : first + 4])
    assert "passes" in refused(
        files, content[:first] + content[first:end] * 101 + content[first:], "image/jpeg"
    )


@pytest.mark.parametrize(
    "content",
    [
        b"RIFF\x04\x00\x00\x00WEBP",
        b"RIFF\xff\xff\xff\xffWEBPVP8 ",
        webp()[:4] + (len(webp()) - 8).to_bytes(4, "little") + b"WEBPVP8L" + b"\xff" * 4 + webp()[20:],
        webp().replace(b"VP8L", b"VP8 "),
        b"RIFF" + (4 + 8 * 20_001).to_bytes(4, "little") + b"WEBP" + b"ABCD\x00\x00\x00\x00" * 20_001,
    ],
    ids=["nothing in it", "longer than it is", "part longer than all", "of another coding", "20,001 parts"],
)
def test_a_webp_that_is_not_made_as_one_is_refused(files: Files, content: bytes) -> None:
    refused(files, content, "image/webp")


@pytest.mark.parametrize(
    "content",
    [
        b"%PDF-",
        b"%PDF-9.9\n%%EOF",
        b"%PDF-1.4\n" + b"x" * 3000,
        b"%PDF-1.4\n%%EOF" + b"x" * 3000,
        b"\n" + PDF,
        b"%!PS-Adobe-3.0\n%%EOF",
    ],
    ids=[
        "only a beginning",
        "no such version",
        "no end",
        "end long before",
        "something before",
        "postscript",
    ],
)
def test_a_pdf_with_a_wrong_beginning_or_end_is_refused(files: Files, content: bytes) -> None:
    refused(files, content, "application/pdf")


def test_a_jpeg_with_a_second_frame_is_refused_before_it_is_drawn(
    files: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(decoding, "_draw", None)
    content = jpeg()
    at = content.index(b"\xff\xc0")
    twice = content[:at] + content[at : at + 2 + int.from_bytes(content[at + 2 : at + 4])] + content[at:]
    assert "can't be shown" in refused(files, twice, "image/jpeg")
