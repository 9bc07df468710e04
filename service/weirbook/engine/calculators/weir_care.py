"""What is said with the head over an edge: assumptions, cautions, sources. For `weir_head`."""

from __future__ import annotations

import math

from weirbook.engine.relations.weir_laws import CLINGING_HEAD, HIGHEST_RATIO, LOWEST_HEAD, SHORTEST_EDGE
from weirbook.engine.relations.weirs import Edge, Spread
from weirbook.engine.shape import Assumption, Caution, Source, show


def assumptions(toothed: bool, slots_told: bool, edge: Edge) -> list[Assumption]:
    told = []
    if math.isinf(edge.crest_height):
        words = "The edge's height is not told: the water before it counts as deep and still."
        told.append(Assumption(words, "default"))
    if not toothed and edge.channel_width is None:
        words = "Walls meet both ends of the edge, or water comes to it from all sides: nothing narrows the sheet."
        told.append(Assumption(words, "default"))
    if toothed and slots_told:
        words = "Each slot is a narrow weir whose two ends narrow its sheet, down to 0.6 of its width."
        told.append(Assumption(words, "common practice"))
    elif toothed:
        words = "The slots' width is not told: the open length counts as one plain weir with Cd 0.62."
        told.append(Assumption(words, "common practice"))
    words = (
        "The span takes in every formula in print for such an edge, and at least a third either way below 20 mm,"
        " falling to nothing at 30 mm" + (", a sixth over teeth at any head." if toothed else ".")
    )
    told.append(Assumption(words, "common practice"))
    return told


def cautions(edge: Edge, spread: Spread, freeboard: float | None, drowning: bool) -> list[Caution]:
    told = []
    if spread.value < LOWEST_HEAD:
        words = (
            "The head is below what any formula was fitted to, and they disagree: 5 % of flow at 30 mm, 16 % at 10,"
            " 64 % at 3. Trust the span, not the digits, and measure with a ruler while it runs."
        )
        told.append(Caution("below-every-formula", words, show(LOWEST_HEAD, "length", "mm")))
    if spread.value < CLINGING_HEAD:
        words = (
            "So thin a sheet is ruled by surface tension: it may cling to the edge, stand some millimetres before it"
            " runs at all, or leave through one end that lies a little low."
        )
        told.append(Caution("surface-tension", words, show(CLINGING_HEAD, "length", "mm")))
    if edge.toothed:
        words = (
            "There is no standard for combs; their flow is good to 25 % at best. Growth and snails close slots: keep"
            " them clean, and allow for the day they are not."
        )
        told.append(Caution("teeth-are-rough", words, "25 %"))
    if drowning:
        words = (
            "The water may reach the tops of the teeth. If the slots are closed above, they then run as holes and the"
            " water rises much faster than this formula says; if open, it goes over the teeth as well."
        )
        told.append(Caution("teeth-drown", words))
    if spread.value > HIGHEST_RATIO * edge.crest_height:
        words = "The head is more than twice the edge's height: more passes than is said here, so the head is less."
        told.append(Caution("low-crest", words, f"{HIGHEST_RATIO:g}"))
    if not edge.toothed and edge.length < SHORTEST_EDGE:
        words = "The edge is shorter than those the formula was fitted to."
        told.append(Caution("short-edge", words, show(SHORTEST_EDGE, "length")))
    if freeboard is not None and freeboard < spread.high - spread.value:
        words = (
            "The water may come over the rim. Lower the flow or lengthen the edge, and keep sockets and leads away"
            " from where it would run."
        )
        told.append(Caution("over-the-rim", words))
    return told


SOURCES = (
    Source(
        "Kindsvater, C. E., Carter, R. W.",
        1957,
        "Discharge characteristics of rectangular thin-plate weirs",
        "ASCE Journal of the Hydraulics Division 83 (HY6); coefficients in Rossman (2017), table 6-2",
        "The value for plain edges; width adjustments from memory of ISO 1438.",
    ),
    Source(
        "Rossman, L. A.",
        2017,
        "Storm Water Management Model reference manual, volume II, EPA/600/R-17/111",
        "eq. 6-22, Francis, with and without end contractions",
        "The value for slots; part of the span for plain edges.",
    ),
    Source(
        "Rehbock, T.",
        1929,
        "Discussion of Precise weir measurements, Trans. ASCE 93",
        "as given by Blevins (1984)",
        "Part of the span.",
    ),
    Source(
        "Ackers, P. and others",
        1978,
        "Weirs and flumes for flow measurement",
        "thin-plate weir as wide as its channel",
        "From memory; part of the span.",
    ),
    Source(
        "De Martino, G., Ragone, A.",
        1984,
        "Effects of viscosity and surface tension on slot weirs flow",
        "J. Hydraulic Research 22(5), 327, abstract, doi 10.1080/00221688409499369",
        "Slots of 3 to 20 mm: marked departures below a head of 60 mm, of either sign.",
    ),
)
