"""What is in a source water at an instant: by its reports, or by what it is prepared from."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.filling import Absent
from weirbook.actions.latest_of import MEASURED
from weirbook.engine.inputs import bare
from weirbook.engine.relations.chemistry import COMPOUNDS, DOSED, IONS, carried
from weirbook.engine.shape import Filled
from weirbook.engine.times import day_of, zone
from weirbook.engine.units import KINDS, Quantity
from weirbook.record.database import room_of
from weirbook.record.rooms import Room
from weirbook.record.waters import Preparation, SourceWater, WaterReport

R = TypeVar("R")

UNBLENDED = frozenset({"ph", "temperature", "redox", "chlorine", "chloramine"})
"""What two waters don't share out by volume, or what is gone before they are used."""
DEEPEST = 50
"""How many times over a water may be made of others."""


@dataclass(frozen=True)
class _Value:
    """A value of a report and since when it holds."""

    sampled_ms: int
    value: Quantity


class Waters:
    """Every source water of the room, what was found in each and what each is made of, read once."""

    def __init__(self, session: Session) -> None:
        rows = session.scalars(sa.select(SourceWater).order_by(SourceWater.id))
        self.by_handle: Mapping[str, SourceWater] = {row.handle: row for row in rows}
        self._found: dict[tuple[str, str], list[_Value]] = defaultdict(list)
        for report in session.scalars(
            sa.select(WaterReport).order_by(WaterReport.sampled_at_ms, WaterReport.id)
        ).unique():
            for one in report.found:
                self._found[report.source.handle, one["parameter"]].append(
                    _Value(report.sampled_at_ms, one["value"])
                )
        self._made: dict[str, list[Preparation]] = defaultdict(list)
        for made in session.scalars(sa.select(Preparation).order_by(Preparation.valid_from_ms)).unique():
            self._made[made.water.handle].append(made)
        self._kept: dict[tuple[str, str, int], Filled | Absent] = {}
        self._zone: ZoneInfo = zone(session.get_one(Room, room_of(session)).time_zone)

    @property
    def in_use(self) -> list[SourceWater]:
        return [row for row in self.by_handle.values() if row.retired_at_ms is None]

    def value_of(self, handle: str, parameter: str, at_ms: int, *, depth: int = 0) -> Filled | Absent:
        """What a water holds of a parameter at an instant.

        A report holds from its sampling on, the first one also before it. A prepared water is what it was made of,
        unless it was tested after its last preparation. Each water is worked out once, however many it is part of.
        """
        asked = handle, parameter, at_ms
        if asked not in self._kept:
            self._kept[asked] = Absent(f"{handle} is made of itself.")  # found so only by asking for it again
            self._kept[asked] = self._value_of(handle, parameter, at_ms, depth)
        return self._kept[asked]

    def _value_of(self, handle: str, parameter: str, at_ms: int, depth: int) -> Filled | Absent:
        made = _last(self._made[handle], at_ms, key=lambda one: one.valid_from_ms)
        found = _last(self._found[handle, parameter], at_ms, key=lambda one: one.sampled_ms)
        if made is not None and (
            found is None or (found.sampled_ms < made.valid_from_ms and at_ms >= made.valid_from_ms)
        ):
            return self._blended(handle, made, parameter, at_ms, depth)
        if found is None and parameter == "hardness":
            return self._of_its_ions(handle, at_ms, depth)
        if found is None:
            return Absent(f"No water report of {handle} tells its {parameter.replace('_', ' ')}.")
        day = day_of(found.sampled_ms, self._zone)
        later = ", sampled later" if found.sampled_ms > at_ms else ""
        return Filled(found.value, "record", f"water {handle}, report of {day}{later}")

    def _of_its_ions(self, handle: str, at_ms: int, depth: int) -> Filled | Absent:
        """Hardness by the calcium and magnesium that a report tells."""
        moles, notes = 0.0, []
        for name, ion in (("calcium", "Ca"), ("magnesium", "Mg")):
            one = self.value_of(handle, name, at_ms, depth=depth)
            if isinstance(one, Absent):
                return Absent(f"No water report of {handle} tells its hardness, nor its {name}.")
            moles += one.value.si("concentration") / IONS[ion].molar_mass
            notes.append(one.note)
        value = Quantity(moles, "mol/m3").to("dGH", "hardness")
        return Filled(value, "record", f"by its calcium and magnesium: {notes[0]}")

    def _blended(
        self, handle: str, made: Preparation, parameter: str, at_ms: int, depth: int
    ) -> Filled | Absent:
        words = parameter.replace("_", " ")
        if parameter in UNBLENDED or parameter not in MEASURED:
            return Absent(f"{handle} is a blend, and {words} does not follow from its parts: test it.")
        if depth >= DEEPEST:
            return Absent(f"{handle} is made of others more than {DEEPEST} times over.")
        kind, total = MEASURED[parameter], 0.0
        for part in made.blend:
            one = self.value_of(part["source"], parameter, at_ms, depth=depth + 1)
            if isinstance(one, Absent):
                return Absent(f"{handle} is a blend. {one.why}")
            total += part["share"].si("fraction") * one.value.si(kind)
        for added in made.adds or ():
            compound = COMPOUNDS[added["compound"]]
            if parameter in DOSED and parameter != "salt":
                moles = added["amount"].si("concentration") / compound.molar_mass
                total += moles * carried(compound, parameter)
            elif parameter == "conductivity":
                return Absent(f"{handle} has salts added: measure its conductivity.")
        parts = ", ".join(f"{part['source']} {bare(part['share'])}" for part in made.blend)
        added_words = "".join(f", {one['compound']} {bare(one['amount'])}" for one in made.adds or ())
        value = Quantity(total, KINDS[kind].si).to(KINDS[kind].default, kind)
        return Filled(value, "record", f"water {handle}: {parts}{added_words}")


def _last(rows: Sequence[R], at_ms: int, *, key: Callable[[R], int]) -> R | None:
    """The last of rows in order of time that had begun by an instant, the first one before all."""
    if not rows:
        return None
    return rows[max(bisect_right(rows, at_ms, key=key) - 1, 0)]
