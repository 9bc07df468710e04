"""How many heads a system had before and after lines of the ledger, and by how much a count differed from it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass

from weirbook.actions.fish_days import ledger_lines
from weirbook.actions.told import Look
from weirbook.record.fish import COUNT, GAINS, MOVE
from weirbook.record.ledger import walk


@dataclass(frozen=True)
class Heads:
    """Of a line: heads of the system before and after it, and how many more a count found than the ledger had."""

    before: int
    after: int
    more: int = 0


def heads_around(look: Look) -> Mapping[uuid.UUID, Heads]:
    """Of each arrival, birth, move and count within the look, by its id. Tanks count while they belonged to the system."""
    if "heads around" not in look.kept:
        look.kept["heads around"] = _heads_around(look)
    found: Mapping[uuid.UUID, Heads] = look.kept["heads around"]
    return found


def _heads_around(look: Look) -> Mapping[uuid.UUID, Heads]:
    groups = {number: tank for number, (_, tank) in look.groups.items() if tank in look.belongs.spans}
    standing: dict[uuid.UUID, int] = {}
    found: dict[uuid.UUID, Heads] = {}

    def here(at_ms: int) -> int:
        return sum(count for one, count in standing.items() if look.belongs.held(groups[one], at_ms))

    for entered in walk(ledger_lines(look, groups)):
        line, group = entered.line, entered.group_id
        told = look.inside(line.happened_at_ms) and line.kind in (*GAINS, MOVE, COUNT)
        # A move stands twice, once for each group: its first line's heads before are the move's.
        before = found[line.id].before if line.id in found else here(line.happened_at_ms) if told else 0
        if group in groups:
            standing[group] = entered.after
        if told:
            more = entered.after - entered.before if line.kind == COUNT else 0
            found[line.id] = Heads(before, here(line.happened_at_ms), more)
    return found
