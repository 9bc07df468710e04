"""One system at an instant: what of it stands in the record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.record.base import Named
from weirbook.record.equipment import Pump, PumpRunning
from weirbook.record.places import Section, SectionUse, Sump, System, Tank
from weirbook.record.whereabouts import Whereabouts, states_at, whereabouts


def facts_of(session: Session, system: System, at_ms: int) -> SystemFacts:
    """The facts of a system at an instant, the same ones however often a transaction that only reads asks for them."""
    if not session.info.get("reads_only"):
        return SystemFacts(session, system, at_ms)
    kept: dict[tuple[int, int], SystemFacts] = session.info.setdefault("facts", {})
    return kept.setdefault((system.id, at_ms), SystemFacts(session, system, at_ms))


class SystemFacts:
    """A system at an instant: its tanks, sumps, sections and pumps; what was retired by then is left out."""

    def __init__(self, session: Session, system: System, at_ms: int) -> None:
        self.session, self.system, self.at_ms = session, system, at_ms
        self.worked_out: dict[object, object] = {}
        """What was worked out from these facts, by what it is: kept for as long as they are."""

    def in_use(self, row: Named) -> bool:
        return row.retired_at_ms is None or row.retired_at_ms > self.at_ms

    @cached_property
    def where(self) -> Whereabouts:
        return whereabouts(self.session, self.at_ms)

    @cached_property
    def tanks(self) -> Sequence[Tank]:
        everything = self.session.scalars(sa.select(Tank).order_by(Tank.id)).unique()
        return [
            tank
            for tank in everything
            if self.where.system_of(tank.id) == self.system.id and self.in_use(tank)
        ]

    @cached_property
    def sumps(self) -> Sequence[Sump]:
        asked = sa.select(Sump).where(Sump.system_id == self.system.id).order_by(Sump.id)
        return [sump for sump in self.session.scalars(asked).unique() if self.in_use(sump)]

    @cached_property
    def sections(self) -> Sequence[Section]:
        """Its sections, sump by sump in flow order."""
        sumps = [sump.id for sump in self.sumps]
        asked = (
            sa.select(Section)
            .where(Section.sump_id.in_(sumps))
            .order_by(Section.sump_id, Section.position, Section.id)
        )
        return [one for one in self.session.scalars(asked).unique() if self.in_use(one)]

    def sections_of(self, sump: Sump) -> Sequence[Section]:
        return [one for one in self.sections if one.sump_id == sump.id]

    @cached_property
    def water_volume_si(self) -> float | None:
        """m3 of all water that mixes, sections at their running depth; None without a tank, or a depth recorded."""
        sections = [one.water_volume_si for one in self.sections]
        if not self.tanks or None in sections:
            return None
        return sum(tank.net_volume_si for tank in self.tanks) + sum(one or 0.0 for one in sections)

    @cached_property
    def uses(self) -> Mapping[int, str]:
        """What each section was used for then, by its number."""
        return states_at(self.session, SectionUse, self.at_ms)

    @cached_property
    def pumps(self) -> Sequence[Pump]:
        """Every pump that delivers within the system, running or not."""
        asked = (
            sa.select(Pump)
            .where(
                sa.or_(
                    Pump.to_tank_id.in_([tank.id for tank in self.tanks]),
                    Pump.to_sump_id.in_([sump.id for sump in self.sumps]),
                )
            )
            .order_by(Pump.id)
        )
        return [pump for pump in self.session.scalars(asked).unique() if self.in_use(pump)]

    @cached_property
    def pumps_away(self) -> Sequence[Pump]:
        """Pumps that draw from the system and deliver to what is not in use in it."""
        asked = (
            sa.select(Pump)
            .where(
                sa.or_(
                    Pump.from_section_id.in_([one.id for one in self.sections]),
                    Pump.from_tank_id.in_([tank.id for tank in self.tanks]),
                )
            )
            .order_by(Pump.id)
        )
        here = {pump.id for pump in self.pumps}
        return [
            pump for pump in self.session.scalars(asked).unique() if pump.id not in here and self.in_use(pump)
        ]

    @cached_property
    def running(self) -> Mapping[int, bool]:
        """Whether each pump ran then, by its number."""
        return states_at(self.session, PumpRunning, self.at_ms)
