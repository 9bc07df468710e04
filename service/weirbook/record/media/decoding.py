"""Pictures drawn by Pillow: whether they can be, and small ones of them. One at a time, for their memory."""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from PIL import Image

from weirbook.errors import Busy, Invalid
from weirbook.record.media.bare import Bare
from weirbook.record.media.kinds import Kind

SIZES = (160, 480, 1280)
"""The longer side of small pictures, in dots: for a list, a phone, a screen."""
SMALL_MEDIA = "image/jpeg"
QUALITY = 82
PROFILE_CAP = 8 * 1024
"""Of a colour profile that a small picture carries along."""
WAITING, PATIENCE_S = 4, 10.0
"""Pictures that may wait for their turn, and how long: a server's other threads must stay free for sensors."""

_TURNED = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What makes upright each orientation of Exif (CIPA DC-008, tag 274)."""
_turn = threading.Lock()
_places = threading.BoundedSemaphore(WAITING + 1)


def made_small(kind: Kind, bare: Bare) -> dict[int, bytes]:
    """Small upright JPEGs of a picture whose size was judged before, by their longer side; of a moving one its first frame.

    Raises Invalid where it can't be drawn, Busy where too many wait.
    """
    with _one_at_a_time():
        try:
            return _draw(kind, bare)
        except Invalid:
            raise
        except (
            Exception
        ) as trouble:  # what a damaged or hostile file makes of a decoder is nowhere written down
            raise Invalid(
                f"This is no {kind.name} that can be read: it is damaged or cut off. Send it again.", ""
            ) from trouble


@contextmanager
def _one_at_a_time() -> Iterator[None]:
    if not _places.acquire(blocking=False):
        raise Busy("Other pictures are being looked at just now. Send it again shortly.")
    try:
        if not _turn.acquire(timeout=PATIENCE_S):
            raise Busy("Other pictures are being looked at just now. Send it again shortly.")
        try:
            yield
        finally:
            _turn.release()
    finally:
        _places.release()


def _draw(kind: Kind, bare: Bare) -> dict[int, bytes]:
    with Image.open(io.BytesIO(bare.content), formats=(kind.name.upper(),)) as opened:
        if (bare.width, bare.height) not in (opened.size, opened.size[::-1]):
            raise Invalid(f"This {kind.name} says two sizes of itself: it is damaged. Send it again.", "")
        opened.draft("RGB", (SIZES[-1], SIZES[-1]))
        opened.load()
        profile = opened.info.get("icc_profile") if opened.mode == "RGB" else None
        picture = _plain(opened)
    found = {}
    for size in reversed(SIZES):
        picture.thumbnail((size, size), Image.Resampling.LANCZOS, reducing_gap=2.0)
        found[size] = _as_jpeg(picture, bare.exif.orientation, profile)
    return found


def _plain(picture: Image.Image) -> Image.Image:
    """The picture in plain colours, what is transparent on white."""
    if picture.mode.startswith("I"):
        return picture.convert("I").point(lambda value: value * (1 / 256)).convert("L")
    if picture.has_transparency_data:
        picture = picture.convert("RGBA")
        white = Image.new("RGB", picture.size, "white")
        white.paste(picture, mask=picture.getchannel("A"))
        return white
    return picture.convert("L" if picture.mode in ("1", "L") else "RGB")


def _as_jpeg(picture: Image.Image, orientation: int, profile: bytes | None) -> bytes:
    turned = picture.transpose(_TURNED[orientation]) if orientation in _TURNED else picture
    carried = {"icc_profile": profile} if profile and len(profile) <= PROFILE_CAP else {}
    into = io.BytesIO()
    turned.save(into, "JPEG", quality=QUALITY, optimize=True, **carried)
    return into.getvalue()
