"""Pictures of the demo, drawn: a fern on a root, the same each time."""

from __future__ import annotations

import io
import itertools
import math
import random

from PIL import Image, ImageDraw, ImageFilter

WIDTH, HEIGHT = 480, 360
WATER = ((28, 74, 82), (120, 176, 164))
"""Below and above."""
SAND, ROOT, LEAF = (176, 158, 120), (74, 52, 36), (52, 122, 58)
FISH = (214, 120, 60)


def fern(leaves: int) -> bytes:
    """A JPEG of a fern of so many leaves on a root, with fish behind it."""
    luck = random.Random("fern")
    picture = _water()
    draw = ImageDraw.Draw(picture)
    for _ in range(5):
        _fish(draw, luck.randrange(60, WIDTH - 60), luck.randrange(40, HEIGHT // 2), luck.randrange(12, 20))
    picture = picture.filter(ImageFilter.GaussianBlur(2))
    draw = ImageDraw.Draw(picture)
    draw.rectangle((0, HEIGHT - 46, WIDTH, HEIGHT), fill=SAND)
    draw.polygon([(60, HEIGHT - 40), (210, HEIGHT - 120), (430, HEIGHT - 70), (440, HEIGHT - 40)], fill=ROOT)
    for _ in range(leaves):
        _leaf(draw, luck.randrange(140, 320), HEIGHT - 95, luck.uniform(-0.9, 0.9), luck.randrange(70, 170))
    into = io.BytesIO()
    picture.save(into, "JPEG", quality=70)
    return into.getvalue()


def _water() -> Image.Image:
    """Water that is lighter above."""
    column = Image.new("RGB", (1, HEIGHT))
    for row in range(HEIGHT):
        share = 1 - row / HEIGHT
        column.putpixel(
            (0, row), tuple(round(low + share * (high - low)) for low, high in zip(*WATER, strict=True))
        )
    return column.resize((WIDTH, HEIGHT))


def _leaf(draw: ImageDraw.ImageDraw, foot: int, ground: int, lean: float, length: int) -> None:
    """A narrow leaf that widens and comes to a point again, bending as it rises."""
    spine = [
        (foot + length * math.sin(lean * step), ground - length * step * math.cos(lean * step / 2))
        for step in (part / 12 for part in range(13))
    ]
    for index, ((left, top), (right, bottom)) in enumerate(itertools.pairwise(spine)):
        draw.line((left, top, right, bottom), fill=LEAF, width=2 + round(9 * math.sin(math.pi * index / 12)))


def _fish(draw: ImageDraw.ImageDraw, x: int, y: int, half: int) -> None:
    draw.ellipse((x - half, y - half // 3, x + half, y + half // 3), fill=FISH)
    draw.polygon([(x + half - 3, y), (x + half + 8, y - 6), (x + half + 8, y + 6)], fill=FISH)
