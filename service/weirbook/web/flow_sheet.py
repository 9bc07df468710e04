"""A sheet to draw on: text, rectangles, lines and circles at their places, in px. No SVG here."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field

SIZE = 12.0
LEADING = 1.35
"""Line to line, in sizes of the letters."""
EM, BOLD_EM = 0.6, 0.68
"""Mean width of a letter in sizes of it, on the wide side of common sans-serif faces."""
TIED = "\u00a0"
"""A space at which no line is broken, between a number and its unit."""

Point = tuple[float, float]


@dataclass(frozen=True)
class Text:
    """One line of words from `x` on, its baseline at `y`; `whole` where the words were cut."""

    x: float
    y: float
    words: str
    size: float = SIZE
    bold: bool = False
    look: str = "ink"
    whole: str | None = None


@dataclass(frozen=True)
class Rect:
    x: float
    y: float
    width: float
    height: float
    look: str


@dataclass(frozen=True)
class Circle:
    x: float
    y: float
    radius: float
    look: str


@dataclass(frozen=True)
class Line:
    """Through points; an arrow at its end if said; clear of what it crosses by a white edge if `over`."""

    points: tuple[Point, ...]
    look: str
    arrow: bool = False


@dataclass(frozen=True)
class Pipes:
    """Lines that belong together: where one meets another they join, where they cross others they pass over."""

    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Curve:
    """An SVG path of its own, for leaves and looped arrows, drawn from `x`, `y`."""

    x: float
    y: float
    path: str
    look: str


Shape = Rect | Circle | Line | Pipes | Curve


@dataclass
class Sheet:
    shapes: list[Shape] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    width: float = 0.0
    height: float = 0.0


@dataclass(frozen=True)
class Said:
    """A paragraph of a caption; a mark stands in a box of its own `look`."""

    words: str
    bold: bool = False
    most_lines: int = 3
    mark: str | None = None
    size: float = SIZE


def width_of(words: str, size: float, bold: bool = False) -> float:
    """About how wide words come out; letters of the far east are square."""
    em = BOLD_EM if bold else EM
    return size * sum(1.0 if unicodedata.east_asian_width(one) in "WF" else em for one in words)


def wrap(words: str, width: float, size: float, bold: bool = False, most_lines: int = 3) -> Sequence[str]:
    """Words broken into lines that fit, at TIED never; a word that doesn't fit is broken too, what is too much ends in "…"."""

    def fits(line: str) -> bool:
        return width_of(line, size, bold) <= width

    lines, line = [], ""
    for word in filter(None, words.split(" ")):
        joined = f"{line} {word}" if line else word
        if fits(joined):
            line = joined
            continue
        if line:
            lines.append(line)
        while not fits(word) and len(word) > 1:
            cut = next(n for n in range(len(word) - 1, 0, -1) if n == 1 or fits(word[:n]))
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    lines.append(line)
    if len(lines) > most_lines:
        last = lines[most_lines - 1]
        while last and not fits(f"{last}…"):
            last = last[:-1]
        lines = [*lines[: most_lines - 1], f"{last.rstrip()}…"]
    return [one.replace(TIED, " ") for one in lines]


def write(sheet: Sheet, x: float, y: float, width: float, caption: Sequence[Said]) -> float:
    """Put a caption below `y`; gives where it ends."""
    for said in caption:
        inset = 6.0 if said.mark else 0.0
        lines = wrap(said.words, width - 2 * inset, said.size, said.bold, said.most_lines)
        cut = lines[-1].endswith("…") and not said.words.endswith("…")
        whole = said.words.replace(TIED, " ") if cut else None
        step, top = said.size * LEADING, y
        if said.mark:
            y += 5
        for line in lines:
            y += step
            look = "on-act" if said.mark == "act" else "ink"
            sheet.texts.append(Text(x + inset, y - said.size * 0.3, line, said.size, said.bold, look, whole))
        if said.mark:
            y += 7
            sheet.shapes.append(Rect(x, top + 3, width, y - top - 4, said.mark))
    return y
