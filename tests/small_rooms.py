"""Small rooms of a few groups and tanks over a few instants, for what holds in any."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import strategies as st

from weirbook.engine.relations.contacts import Carried, Moved, Plumbed, Room, Rules, Stay

LAST = 12
TANKS, SYSTEMS, GROUPS = (1, 2, 3, 4), (1, 2), (1, 2, 3, 4, 5)


@st.composite
def rooms(draw: st.DrawFn) -> Room:
    """Small rooms whose groups live in one tank at a time, die out, begin anew, and are moved about."""
    stays, plumbed = [], []
    for group in GROUPS:
        marks = sorted(draw(st.lists(st.integers(0, LAST), max_size=5, unique=True)))
        for start, end in pairwise([*marks, None]):
            if draw(st.integers(0, 3)):
                stays.append(Stay(group, draw(st.sampled_from(TANKS)), start, end))
    for tank in TANKS:
        marks = sorted(draw(st.lists(st.integers(0, LAST), max_size=3, unique=True)))
        for start, end in pairwise([*marks, None]):
            if draw(st.integers(0, 3)):
                plumbed.append(Plumbed(tank, draw(st.sampled_from(SYSTEMS)), start, end))
    groups, places = st.sampled_from(GROUPS), st.sampled_from(
        [*(("tank", tank) for tank in TANKS), *(("system", system) for system in SYSTEMS)]
    )  # fmt: skip
    instants = st.integers(0, LAST)
    moved = draw(st.lists(st.builds(Moved, instants, groups, groups, st.integers(100, 199)), max_size=4))
    carried = draw(
        st.lists(
            st.builds(Carried, instants, places, places, st.integers(200, 299), st.booleans()), max_size=4
        )
    )
    return Room(stays, plumbed, [move for move in moved if move.from_group != move.to_group], carried)


RULES = st.builds(Rules, st.integers(0, 4), st.integers(0, 4))
