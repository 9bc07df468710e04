"""Tanks and sumps as pictures: walls, water at its level, baffles, beds, plants. Heights are true, within one vessel."""

from __future__ import annotations

import math

from weirbook.engine.relations.levels import BOTH, OPEN, OVER, UNDER, Gate
from weirbook.engine.relations.plumbing import Brimmed, Compartment, Passed, Pool, Trough
from weirbook.record.places import FLOATING, ROOTED
from weirbook.web.flow_sheet import Circle, Curve, Line, Rect, Sheet

TANK_HEIGHT, SUMP_HEIGHT = 120.0, 130.0
USUAL_SHARE = 0.85
"""Where a line stands in a vessel whose true level, or rim, is unknown."""
LEAF = "c4,-7 12,-7 16,0 c-4,4 -12,4 -16,0"


def tank_picture(
    sheet: Sheet, x: float, y: float, width: float, pool: Pool, one: Brimmed, certain: bool
) -> float:
    """A tank with its top at `y`; gives the height at which its water leaves."""
    floor = y + TANK_HEIGHT
    scale = TANK_HEIGHT / (pool.rim or max(one.depth, pool.depth) / USUAL_SHARE)
    water = max(floor - one.depth * scale, y - 6)
    edge = water if pool.crest is None or pool.edge is None else max(floor - pool.crest * scale, y)
    sheet.shapes += [
        Rect(x, water, width, floor - water, "water"),
        Line(((x, water), (x + width, water)), "surface" if certain else "surface-unknown"),
        Line(((x, y), (x, floor), (x + width, floor), (x + width, edge)), "wall"),
        Line(((x, y), (x + width, y)), "rim" if pool.rim is not None else "rim-unknown"),
    ]
    if pool.edge is not None:
        crest = "wall" if pool.crest is not None else "wall-unknown"
        sheet.shapes.append(Line(((x + width - 7, edge), (x + width + 7, edge)), crest))
    return edge


def stirring_picture(sheet: Sheet, x: float, y: float) -> None:
    """A looped arrow: water that goes round within a tank."""
    sheet.shapes.append(Curve(x, y, "m14,0 a14,9 0 1 0 4,7", "loop"))
    sheet.shapes.append(Line(((x + 16, y + 13), (x + 18.5, y + 6)), "loop", True))


def sump_wall(sheet: Sheet, x: float, y: float, width: float, closed: bool) -> None:
    floor = y + SUMP_HEIGHT
    around = ((x, y), (x, floor), (x + width, floor), (x + width, y))
    sheet.shapes.append(Line((*around, (x, y)) if closed else around, "wall"))


def section_picture(
    sheet: Sheet, x: float, y: float, width: float, trough: Trough, part: Compartment, one: Passed, use: str
) -> float:
    """A section without its walls; gives the height of its water, or where it might stand."""
    floor, scale = y + SUMP_HEIGHT, SUMP_HEIGHT / trough.height
    known = one.depth is not None or trough.closed
    depth = trough.height if trough.closed else one.depth
    water = floor - SUMP_HEIGHT * USUAL_SHARE if depth is None else max(floor - depth * scale, y - 6)
    sheet.shapes += [
        Rect(x, water, width, floor - water, "water" if known else "water-unknown"),
        Line(((x, water), (x + width, water)), "surface" if known else "surface-unknown"),
    ]
    if part.cell.media_volume:
        bed = min(max(part.cell.bed_height * scale, 8.0), SUMP_HEIGHT)
        sheet.shapes.append(Rect(x + 6, floor - bed, width - 12, bed - 3, "media"))
    if use == FLOATING:
        _leaves(sheet, x, water, width)
    if use == ROOTED:
        _stems(sheet, x, floor, max(water - 14, y - 6), width)
    _way(sheet, x + width / 2, (water + floor) / 2, floor - water, part.cell.direction)
    return water


def baffle_picture(sheet: Sheet, x: float, y: float, trough: Trough, gate: Gate | None) -> None:
    """What parts two sections, at its true heights; dashed where those are not recorded."""
    floor, scale = y + SUMP_HEIGHT, SUMP_HEIGHT / trough.height
    if gate is None or gate.passes == OPEN:
        sheet.shapes.append(Line(((x, y + 4), (x, floor)), "open"))
        return
    top = y if gate.passes == UNDER or gate.crest_height is None else floor - gate.crest_height * scale
    foot = floor - (gate.gap_height or 0.0) * scale if gate.passes in (UNDER, BOTH) else floor
    look = "baffle" if gate.passes in (OVER, UNDER, BOTH) and gate.known else "baffle-unknown"
    sheet.shapes.append(Line(((x, max(top, y)), (x, foot)), look))


def pump_picture(sheet: Sheet, x: float, y: float, radius: float, look: str) -> None:
    sheet.shapes.append(Circle(x, y, radius, look))
    blade = radius * 0.55
    corners = (
        (x - blade * 0.7, y - blade),
        (x + blade, y),
        (x - blade * 0.7, y + blade),
        (x - blade * 0.7, y - blade),
    )
    sheet.shapes.append(Line(corners, "blade"))


def _way(sheet: Sheet, x: float, y: float, depth: float, direction: str) -> None:
    half = min(max(depth / 2 - 4, 8.0), 18.0)
    dx, dy = {"along": (18.0, 0.0), "up": (0.0, -half), "down": (0.0, half)}[direction]
    sheet.shapes.append(Line(((x - dx, y - dy), (x + dx, y + dy)), "way", True))


def _leaves(sheet: Sheet, x: float, water: float, width: float) -> None:
    count = max(int(width // 34), 2)
    for index in range(count):
        sheet.shapes.append(Curve(x + width * (index + 0.5) / count - 8, water, f"m0,0 {LEAF}", "leaf"))


def _stems(sheet: Sheet, x: float, floor: float, top: float, width: float) -> None:
    count = max(int(width // 40), 2)
    for index in range(count):
        at = x + width * (index + 0.5) / count + (10 if count % 2 else 0)
        sheet.shapes.append(Line(((at, floor - 3), (at, top)), "stem"))
        sheet.shapes.append(Curve(at, top + 2, f"m0,0 {LEAF}", "leaf"))
        sheet.shapes.append(Curve(at - 16, top + 10, f"m0,0 {LEAF}", "leaf"))


def plan_width(area: float, narrowest: float, widest: float) -> float:
    """Of a tank's picture, by its plan area in m2."""
    return min(max(230.0 * math.sqrt(area), narrowest), widest)
