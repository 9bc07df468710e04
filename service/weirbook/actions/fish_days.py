"""Fish-days lived and fish lost in one system over a stretch of time, by the ledger of heads."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence

from weirbook.actions.told import DAY_MS, Look
from weirbook.record.fish import JUMPED, LOSS
from weirbook.record.ledger import Line, lines_of, walk

NOT_OF_WATER = (JUMPED, "injury", "aggression", "predation", "handling", "old_age")
"""Causes of loss that tell nothing of how settled the water is. Our own choice."""


def fish_days(look: Look, start_ms: int, end_ms: int) -> tuple[int, float]:
    """Fish that died of what may lie in the water, and fish-days lived, in tanks while they belonged to the system.

    Heads are held from one line of the ledger to the next; fish that went missing are not among those that died.
    """
    groups = {number: tank for number, (_, tank) in look.groups.items() if tank in look.belongs.spans}
    lines = ledger_lines(look, groups)
    lost = sum(
        line.number
        for line in lines
        if line.kind == LOSS
        and line.cause not in NOT_OF_WATER
        and start_ms <= line.happened_at_ms < end_ms
        and look.belongs.held(groups[line.group_id], line.happened_at_ms)
    )
    lived = 0.0
    for group_id, levels in _levels(lines).items():
        if group_id in groups:
            lived += sum(
                heads * _overlap(look, groups[group_id], max(since, start_ms), min(until, end_ms))
                for since, until, heads in levels
            )
    return lost, lived / DAY_MS


def ledger_lines(look: Look, groups: Mapping[uuid.UUID, int]) -> Sequence[Line]:
    """The ledger of these groups, read once a look."""
    if "ledger lines" not in look.kept:
        look.kept["ledger lines"] = lines_of(look.session, groups) if groups else []
    found: Sequence[Line] = look.kept["ledger lines"]
    return found


def _levels(lines: Sequence[Line]) -> Mapping[uuid.UUID, list[tuple[int, int, int]]]:
    """By group: from, to and heads of each stretch between its lines; the last without end."""
    found: dict[uuid.UUID, list[tuple[int, int, int]]] = defaultdict(list)
    standing: dict[uuid.UUID, tuple[int, int]] = {}
    for one in walk(lines):
        at_ms = one.line.happened_at_ms
        if one.group_id in standing:
            since, heads = standing[one.group_id]
            found[one.group_id].append((since, at_ms, heads))
        standing[one.group_id] = at_ms, one.after
    for group_id, (since, heads) in standing.items():
        found[group_id].append((since, 1 << 60, heads))
    return found


def _overlap(look: Look, tank_id: int, start_ms: int, end_ms: int) -> int:
    """ms of a stretch in which a tank belonged to the system."""
    return sum(
        max(0, min(end_ms, end_ms if until is None else until) - max(start_ms, since))
        for since, until in look.belongs.spans[tank_id]
    )
