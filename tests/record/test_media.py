"""What is stored of a picture: the same dots, its colours and how it is turned; nothing of where, when and whose."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pictures import PDF, TRACES, XMP, dots, drawn, jpeg, notes, png, png_chunk, profile, webp
from PIL import Image, ImageChops, ImageOps

from weirbook.errors import Invalid
from weirbook.record.media import exif
from weirbook.record.media.bare import Bare, Exif
from weirbook.record.media.decoding import SIZES, made_small
from weirbook.record.media.kinds import JPEG, KINDS, PNG, WEBP, Kind
from weirbook.record.media.kinds import PDF as DOCUMENT

HTML = b"<html><script>alert(1)</script></html>"
each_kind = pytest.mark.parametrize(
    ("kind", "make"), [(JPEG, jpeg), (PNG, png), (WEBP, webp)], ids=["JPEG", "PNG", "WebP"]
)
Make = Callable[..., bytes]


def burdened(kind: Kind, orientation: int = 1) -> bytes:
    """A picture with everything in it that must not be kept."""
    said: dict[str, Any] = {"exif": notes(orientation), "icc_profile": profile()}
    if kind is JPEG:
        return jpeg(**said, xmp=XMP, comment=b"DoNotKeep")
    if kind is WEBP:
        return webp(**said, xmp=XMP)
    content = png(**said)
    extra = png_chunk(b"iTXt", b"XML:com.adobe.xmp\x00\x00\x00\x00\x00" + XMP) + png_chunk(
        b"tEXt", b"c\x00DoNotKeep"
    )
    return content[:33] + extra + png_chunk(b"tIME", b"\x07\xea\x0b\x14\x12\x1e\x00") + content[33:]


@each_kind
@pytest.mark.parametrize("orientation", range(1, 9))
def test_nothing_of_where_when_and_whose_stays_and_every_dot_does(
    kind: Kind, make: Make, orientation: int
) -> None:
    content = burdened(kind, orientation)
    # Pillow writes its notes uncompressed, so what is to be gone must first be found.
    assert sum(trace in content for trace in TRACES) >= 5
    bare = kind.lay_bare(content)
    assert [trace for trace in TRACES if trace in bare.content] == []
    assert dots(bare.content) == dots(content)
    with Image.open(io.BytesIO(bare.content)) as kept:
        assert dict(kept.getexif()) == ({} if orientation == 1 else {0x0112: orientation})
        assert kept.getexif().get_ifd(0x8825) == {}
        assert set(kept.info) <= {
            "jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi", "exif", "icc_profile", "loop", "background",
            "timestamp", "duration",
        }  # fmt: skip
        assert kept.info["icc_profile"] == profile()
    assert bare.exif == Exif(orientation, datetime(2026, 11, 20, 18, 30))
    assert (bare.width, bare.height) == ((64, 48) if orientation < 5 else (48, 64))


@each_kind
@pytest.mark.parametrize("orientation", range(1, 9))
def test_small_pictures_are_upright(kind: Kind, make: Make, orientation: int) -> None:
    """Beside Pillow's own turning of the whole picture."""
    content = make(drawn(640, 400), exif=notes(orientation))
    bare = kind.lay_bare(content)
    small = made_small(kind, bare)
    assert set(small) == set(SIZES)
    with Image.open(io.BytesIO(content)) as whole, Image.open(io.BytesIO(small[160])) as shown:
        upright = ImageOps.exif_transpose(whole).convert("RGB").resize(shown.size)
        assert shown.size == ((160, 100) if orientation < 5 else (100, 160))
        assert _differ(upright, shown) < 12
        assert (bare.width, bare.height) == ImageOps.exif_transpose(whole).size
        assert dict(shown.getexif()) == {}


def _differ(one: Image.Image, other: Image.Image) -> float:
    """How far two pictures lie apart, of 255, over all their dots."""
    told = ImageChops.difference(one, other.convert("RGB")).convert("L").histogram()
    return sum(step * count for step, count in enumerate(told)) / sum(told)


@each_kind
@pytest.mark.parametrize(
    "tail",
    [HTML, b"PK\x03\x04" + b"x" * 99, jpeg(exif=notes()), b"\x00" * 10],
    ids=["page", "archive", "second picture", "zeros"],
)
def test_what_stands_behind_the_end_is_cut_off(kind: Kind, make: Make, tail: bytes) -> None:
    content = make()
    assert kind.lay_bare(content + tail).content == kind.lay_bare(content).content
    assert tail not in kind.lay_bare(content + tail).content


def test_a_jpeg_that_is_an_archive_as_well_is_one_no_more() -> None:
    into = io.BytesIO(jpeg())
    with zipfile.ZipFile(into, "a") as packed:
        packed.writestr("x.html", HTML)
    assert zipfile.is_zipfile(io.BytesIO(into.getvalue()))
    assert not zipfile.is_zipfile(io.BytesIO(JPEG.lay_bare(into.getvalue()).content))


def test_a_pdf_is_cut_at_its_end_and_otherwise_left_as_it_is() -> None:
    assert DOCUMENT.lay_bare(PDF).content == PDF
    assert DOCUMENT.lay_bare(PDF + HTML).content == PDF
    assert DOCUMENT.lay_bare(PDF.rstrip() + b"\r\n" + HTML).content == PDF.rstrip() + b"\r\n"
    more = PDF + b"2 0 obj<<>>endobj\n%%EOF"
    assert DOCUMENT.lay_bare(more).content == more, "one that was added to ends with its last end"


@pytest.mark.parametrize(
    "said",
    [{"progressive": True}, {"quality": 100, "subsampling": 0}, {"restart_marker_blocks": 1}, {"quality": 5}],
    ids=["progressive", "finest", "restarts", "coarse"],
)
@pytest.mark.parametrize("mode", ["RGB", "L", "CMYK"])
def test_every_way_to_write_a_jpeg_keeps_its_dots(said: dict[str, Any], mode: str) -> None:
    content = jpeg(drawn(333, 217, mode), exif=notes(), **said)
    bare = JPEG.lay_bare(content)
    assert dots(bare.content) == dots(content)
    assert made_small(JPEG, bare)[160]


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "L", "LA", "P", "1", "I;16"])
def test_every_way_to_write_a_png_keeps_its_dots(mode: str) -> None:
    picture = drawn(333, 217).convert("L").convert("I;16") if mode == "I;16" else drawn(333, 217, mode)
    content = png(picture, exif=notes())
    bare = PNG.lay_bare(content)
    assert dots(bare.content) == dots(content)
    assert made_small(PNG, bare)[160]


def test_sixteen_bits_of_grey_are_shown_as_grey() -> None:
    picture = Image.new("I;16", (40, 40), 32_768)
    with Image.open(io.BytesIO(made_small(PNG, PNG.lay_bare(png(picture)))[160])) as shown:
        assert shown.getpixel((20, 20)) == pytest.approx(128, abs=2)


def test_what_is_transparent_is_shown_on_white() -> None:
    clear = Image.new("RGBA", (40, 40), (255, 0, 0, 0))
    for kind, content in ((PNG, png(clear)), (WEBP, webp(clear))):
        with Image.open(io.BytesIO(made_small(kind, kind.lay_bare(content))[160])) as shown:
            assert min(shown.getpixel((20, 20))) > 250


@pytest.mark.parametrize("lossless", [True, False])
def test_a_moving_webp_keeps_its_frames_and_shows_the_first(lossless: bool) -> None:
    frames = [drawn(100, 80, seed=seed) for seed in (1, 2, 3)]
    content = webp(
        frames[0],
        lossless=lossless,
        save_all=True,
        append_images=frames[1:],
        duration=90,
        exif=notes(),
        xmp=XMP,
    )
    bare = WEBP.lay_bare(content)
    assert [trace for trace in TRACES if trace in bare.content] == []
    with Image.open(io.BytesIO(content)) as sent, Image.open(io.BytesIO(bare.content)) as kept:
        assert kept.n_frames == sent.n_frames == 3
        for number in range(3):
            sent.seek(number)
            kept.seek(number)
            assert kept.tobytes() == sent.tobytes()
    with Image.open(io.BytesIO(made_small(WEBP, bare)[160])) as shown:
        assert _differ(frames[0], shown) < 12


def test_a_moving_png_keeps_its_frames() -> None:
    frames = [drawn(seed=seed) for seed in (1, 2)]
    content = png(frames[0], save_all=True, append_images=frames[1:], exif=notes())
    with Image.open(io.BytesIO(PNG.lay_bare(content).content)) as kept:
        assert kept.n_frames == 2


def test_a_small_webp_without_notes_stays_as_it_was() -> None:
    for lossless in (True, False):
        content = webp(lossless=lossless)
        assert WEBP.lay_bare(content).content == content


def test_a_preview_within_a_jpeg_goes() -> None:
    """A JFIF thumbnail (T.871, 10.1), three bytes a dot, and a JFXX one."""
    content = jpeg()
    assert content[6:11] == b"JFIF\x00"
    preview = (
        content[:2]
        + b"\xff\xe0"
        + (16 + 12).to_bytes(2)
        + content[6:18]
        + b"\x02\x02"
        + b"DoNotKeep..."
        + content[20:]
    )
    more = preview[:32] + b"\xff\xe0\x00\x13JFXX\x00\x10DoNotKeep..." + preview[32:]
    assert dots(more) == dots(content)
    bare = JPEG.lay_bare(more).content
    assert b"DoNotKeep" not in bare and b"JFXX" not in bare
    assert dots(bare) == dots(content)


def test_what_only_looks_like_a_colour_profile_goes() -> None:
    for content, kind in (
        (jpeg(icc_profile=b"DoNotKeep" * 30), JPEG),
        (jpeg(icc_profile=profile() + b"DoNotKeep"), JPEG),
        (jpeg(icc_profile=profile()[:36] + b"none" + profile()[40:]), JPEG),
        (png(icc_profile=b"DoNotKeep" * 30), PNG),
        (webp(icc_profile=b"DoNotKeep" * 30), WEBP),
    ):
        with Image.open(io.BytesIO(kind.lay_bare(content).content)) as kept:
            assert "icc_profile" not in kept.info
        assert dots(kind.lay_bare(content).content) == dots(content)


def test_a_colour_profile_that_unpacks_without_end_goes() -> None:
    bomb = b"p\x00\x00" + zlib.compress(b"\x00" * 5_000_000)
    content = png()
    assert PNG.lay_bare(content[:33] + png_chunk(b"iCCP", bomb) + content[33:]).content == content


@pytest.mark.parametrize(
    ("within", "clock"),
    [
        ({}, datetime(2026, 11, 20, 18, 30)),
        ({0x9011: "+01:00"}, datetime(2026, 11, 20, 18, 30, tzinfo=timezone(timedelta(hours=1)))),
        ({0x9011: "-03:30"}, datetime(2026, 11, 20, 18, 30, tzinfo=timezone(-timedelta(hours=3.5)))),
        ({0x9011: "+99:00"}, datetime(2026, 11, 20, 18, 30)),
        ({0x9003: "2026:02:30 18:30:00"}, None),
        ({0x9003: "0000:00:00 00:00:00"}, None),
        ({0x9003: "    :  :     :  :  "}, None),
        ({0x9003: "20 November 2026"}, None),
        ({0x9003: "2026:02:30 18:30:00", 0x9004: "2026:11:21 08:00:00"}, datetime(2026, 11, 21, 8)),
        ({0x9004: "2026:11:21 08:00:00", 0x9012: "+05:00"}, datetime(2026, 11, 20, 18, 30)),
    ],
)
def test_a_cameras_clock_is_read(within: dict[int, str], clock: datetime | None) -> None:
    assert exif.read(notes(within=within)).clock == clock


def test_notes_without_a_clock_or_of_no_sense_tell_nothing() -> None:
    assert exif.read(notes(taken=None)) == Exif()
    for told in (
        b"",
        b"Exif\x00\x00",
        b"II*\x00",
        b"II*\x00\xff\xff\xff\xff",
        b"II*\x00\x08\x00\x00\x00\xff\xff",
    ):
        assert exif.read(told) == Exif()
    assert exif.read(notes(0)).orientation == exif.read(notes(9)).orientation == 1
    assert exif.read(notes() + b"\x00" * 65_536) == Exif()


@given(st.binary(max_size=300))
def test_no_notes_make_the_reader_fail(told: bytes) -> None:
    for start in (b"II*\x00\x08\x00\x00\x00", b"MM\x00*\x00\x00\x00\x08", b""):
        exif.read(start + told)


SOUND = {kind: burdened(kind, 6) for kind in (JPEG, PNG, WEBP)} | {DOCUMENT: PDF}


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
@settings(max_examples=60)
@given(data=st.data())
def test_a_damaged_file_is_refused_or_laid_bare_once_and_for_all(kind: Kind, data: st.DataObject) -> None:
    """Whatever is done to it: nothing else comes up than Invalid, and what is kept is kept as it is the next time."""
    content = bytearray(SOUND[kind])
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content) - 1))
        done = data.draw(st.sampled_from(["set", "cut", "put"]))
        if done == "set":
            content[at] = data.draw(st.integers(0, 255))
        elif done == "cut":
            del content[at : at + data.draw(st.integers(1, 40))]
        else:
            content[at:at] = data.draw(st.binary(max_size=8))
        if not content:
            return
    try:
        bare: Bare = kind.lay_bare(bytes(content))
        again = kind.lay_bare(bare.content)
        if kind.pixels is not None and (bare.width or 0) * (bare.height or 0) < 100_000:
            made_small(kind, bare)
    except Invalid:
        return
    assert again.content == bare.content
    assert (again.width, again.height, again.exif.orientation) == (
        bare.width,
        bare.height,
        bare.exif.orientation,
    )


def test_a_webp_says_of_itself_what_it_still_holds() -> None:
    """The flags of RFC 9649, 2.7: 0x20 a profile, 0x08 Exif, 0x04 XMP."""
    for orientation, flags in ((1, 0x20), (6, 0x28)):
        content = webp(exif=notes(orientation), icc_profile=profile(), xmp=XMP)
        assert content[20] & 0x2C == 0x2C
        assert WEBP.lay_bare(content).content[20] & 0x2C == flags
    frame = webp(drawn(), save_all=True, append_images=[drawn(seed=2)], duration=90)
    at = frame.index(b"ANMF")
    length = int.from_bytes(frame[at + 4 : at + 8], "little")
    more = b"NOTE\x09\x00\x00\x00DoNotKeep\x00"
    within = frame[: at + 8 + length] + more + frame[at + 8 + length :]
    within = within[: at + 4] + (length + len(more)).to_bytes(4, "little") + within[at + 8 :]
    within = within[:4] + (len(within) - 8).to_bytes(4, "little") + within[8:]
    assert WEBP.lay_bare(within).content == WEBP.lay_bare(frame).content


def test_what_says_how_a_png_looks_stays_and_its_turning_stands_before_its_dots() -> None:
    content = png(exif=notes(6), dpi=(300, 300))
    bare = PNG.lay_bare(content).content
    assert b"pHYs" in bare
    assert bare[33:41] == b"\x00\x00\x00\x1aeXIf"
    long_one = content[:33] + png_chunk(b"gAMA", b"DoNotKeep" * 9) + content[33:]
    assert b"DoNotKeep" not in PNG.lay_bare(long_one).content
