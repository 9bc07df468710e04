"""A solved system as one SVG document, for print and for screen readers.

Every look is told by attributes, nothing by style sheets or scripts: a drawing is served under a strict policy, printed
without its surroundings, and put into other pages. What colours tell, shades, dashes and words tell too.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from xml.sax.saxutils import escape

from weirbook.actions.finding import Finding
from weirbook.actions.solve_flow import SystemFlow
from weirbook.web.flow_layout import lay_out
from weirbook.web.flow_sheet import Circle, Curve, Line, Pipes, Point, Rect, Shape, Text
from weirbook.web.flow_words import Words

INK, PALE, WATER, DEEP = "#1a1a1a", "#8a8a8a", "#d9ebf5", "#0b4f7a"
UNWRITABLE = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
"""What XML 1.0 can't hold, or no reader shows."""
HALO = 5.0
ARROW = 6.0
"""Of the head of an arrow, along it: this and two of its strokes."""

LOOKS: Mapping[str, Mapping[str, object]] = {
    "ink": {"fill": INK},
    "on-act": {"fill": "#ffffff"},
    "act": {"fill": "#8c1d04", "stroke": "#8c1d04"},
    "watch": {"fill": "#fff3d1", "stroke": "#7a5200", "stroke-width": 2},
    "water": {"fill": WATER},
    "water-unknown": {"fill": "#f3f3f3"},
    "surface": {"stroke": DEEP, "stroke-width": 2},
    "surface-unknown": {"stroke": INK, "stroke-width": 1.5, "stroke-dasharray": "5 4"},
    "wall": {"stroke": INK, "stroke-width": 2.5},
    "wall-unknown": {"stroke": INK, "stroke-width": 2.5, "stroke-dasharray": "3 3"},
    "rim": {"stroke": PALE, "stroke-width": 1},
    "rim-unknown": {"stroke": INK, "stroke-width": 1, "stroke-dasharray": "5 4"},
    "baffle": {"stroke": INK, "stroke-width": 4},
    "baffle-unknown": {"stroke": INK, "stroke-width": 2, "stroke-dasharray": "5 4"},
    "open": {"stroke": PALE, "stroke-width": 1, "stroke-dasharray": "1 4"},
    "media": {"fill": "url(#hatch)", "stroke": "#555555", "stroke-width": 1},
    "leaf": {"fill": "#4f8a3c", "stroke": "#234a18", "stroke-width": 1},
    "stem": {"stroke": "#234a18", "stroke-width": 1.5},
    "way": {"stroke": DEEP, "stroke-width": 2.5},
    "loop": {"stroke": DEEP, "stroke-width": 2},
    "gravity": {"stroke": "#2a7fb8", "stroke-width": 2},
    "gravity-unknown": {"stroke": "#2a7fb8", "stroke-width": 2, "stroke-dasharray": "6 4"},
    "pumped": {"stroke": DEEP, "stroke-width": 3.5},
    "pumped-unknown": {"stroke": DEEP, "stroke-width": 3, "stroke-dasharray": "6 4"},
    "still": {"stroke": PALE, "stroke-width": 1.5},
    "pump": {"fill": "#ffffff", "stroke": DEEP, "stroke-width": 3},
    "pump-unknown": {"fill": "#ffffff", "stroke": DEEP, "stroke-width": 2, "stroke-dasharray": "5 4"},
    "pump-off": {"fill": "#ffffff", "stroke": PALE, "stroke-width": 2},
    "blade": {"stroke": INK, "stroke-width": 1.5},
}
HATCH = (
    '<pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse">'
    '<rect width="7" height="7" fill="#efe9dc"/><path d="M0,7 L7,0" stroke="#6b5d3f" stroke-width="1"/></pattern>'
)


def draw(flow: SystemFlow, findings: Sequence[Finding], units: Mapping[str, str]) -> str:
    """The drawing of a solved system, with the marks of its findings.

    `units`: by kind the unit that the room prefers. The same system gives the same text.
    """
    words = Words(flow, findings, units)
    sheet = lay_out(words)
    width, height = math.ceil(sheet.width), math.ceil(sheet.height)
    return "\n".join(
        [
            '<?xml version="1.0" encoding="UTF-8"?>',
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
            'style="max-width:100%" '
            'role="img" aria-labelledby="flow-title flow-words" xml:lang="en">',
            f'<title id="flow-title">{_clean(words.title())}</title>',
            f'<desc id="flow-words">{_clean(words.whole())}</desc>',
            f"<defs>{HATCH}</defs>",
            f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
            '<g aria-hidden="true" fill="none" stroke-linejoin="round">',
            *(element for shape in sheet.shapes for element in _shape(shape)),
            "</g>",
            '<g font-family="sans-serif">',
            *(_text(text) for text in sheet.texts),
            "</g>",
            "</svg>",
            "",
        ]
    )


def _text(text: Text) -> str:
    said = {"x": _n(text.x), "y": _n(text.y), "font-size": _n(text.size), **LOOKS[text.look]}
    if text.bold:
        said["font-weight"] = "bold"
    title = "" if text.whole is None else f"<title>{_clean(text.whole)}</title>"
    return f"<text{_attributes(said)}>{title}{_clean(text.words)}</text>"


def _shape(shape: Shape) -> Iterator[str]:
    match shape:
        case Rect(x, y, width, height, look):
            size = {"x": _n(x), "y": _n(y), "width": _n(width), "height": _n(max(height, 0.0))}
            yield f"<rect{_attributes({**size, **LOOKS[look]})}/>"
        case Circle(x, y, radius, look):
            yield f"<circle{_attributes({'cx': _n(x), 'cy': _n(y), 'r': _n(radius), **LOOKS[look]})}/>"
        case Curve(x, y, path, look):
            yield f"<path{_attributes({'d': f'M{_n(x)},{_n(y)} {path}', **LOOKS[look]})}/>"
        case Line():
            yield from _line(shape)
        case Pipes(lines):
            for line in lines:
                edge = {"stroke": "#ffffff", "stroke-width": _stroke(line) + HALO}
                yield f"<path{_attributes({'d': _through(_shortened(line)), **edge})}/>"
            for line in lines:
                yield from _line(line)


def _line(line: Line) -> Iterator[str]:
    look = LOOKS[line.look]
    yield f"<path{_attributes({'d': _through(_shortened(line)), **look})}/>"
    if line.arrow:
        head = _head(line.points[-2], line.points[-1], _arrow(line))
        yield f"<path{_attributes({'d': head, 'fill': look['stroke']})}/>"


def _arrow(line: Line) -> float:
    return ARROW + 2 * _stroke(line)


def _stroke(line: Line) -> float:
    return float(str(LOOKS[line.look]["stroke-width"]))


def _shortened(line: Line) -> Sequence[Point]:
    """Ends within its arrow, so that the tip stays sharp."""
    if not line.arrow:
        return line.points
    (x0, y0), (x1, y1) = line.points[-2:]
    long = math.hypot(x1 - x0, y1 - y0) or 1.0
    back = min(_arrow(line) - 1, long) / long
    return (*line.points[:-1], (x1 - (x1 - x0) * back, y1 - (y1 - y0) * back))


def _head(start: Point, tip: Point, size: float) -> str:
    (x0, y0), (x1, y1) = start, tip
    long = math.hypot(x1 - x0, y1 - y0) or 1.0
    dx, dy = size * (x1 - x0) / long, size * (y1 - y0) / long
    sides = [(x1 - dx + side * dy / 2, y1 - dy - side * dx / 2) for side in (1, -1)]
    return f"{_through([tip, *sides])} Z"


def _through(points: Sequence[Point]) -> str:
    return "M" + " L".join(f"{_n(x)},{_n(y)}" for x, y in points)


def _attributes(said: Mapping[str, object]) -> str:
    return "".join(f' {name}="{value}"' for name, value in said.items())


def _n(value: float) -> str:
    """Tenths of a px are finer than any printer."""
    return f"{value:.1f}".removesuffix(".0")


def _clean(words: str) -> str:
    return escape(UNWRITABLE.sub(" ", words))
