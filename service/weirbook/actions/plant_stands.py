"""The plants of a system in time: how they grow, on what area, how much they cover, and what was cut of them."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import sqlalchemy as sa

from weirbook.actions.system_facts import SystemFacts
from weirbook.engine.relations.plants import (
    DRY_SHARE,
    TISSUE_NITROGEN,
    TISSUE_PHOSPHORUS,
    UPTAKE_FORM,
    Range,
    carried_off,
    exact,
)
from weirbook.engine.units import Quantity
from weirbook.record import gauging
from weirbook.record.equipment import Gauge
from weirbook.record.places import Tank
from weirbook.record.planted import Cut, Kind, Life, kinds_of, lives_of
from weirbook.record.plants import MOVED
from weirbook.record.readings import ABOVE, BELOW, IMPLAUSIBLE

COVER = "plant_cover"
DAY_MS = 86_400_000
FIRST_CUT_DAYS = 14
"""What is cut sooner after planting was mostly put in with it, and grew elsewhere. Our own choice."""

CARRIED_DAYS = 60
"""For so long after its last cut a planting is taken to grow as by then. Our own choice."""


@dataclass(frozen=True)
class Cover:
    """Share of a place that plants cover, since when that is told, and by what."""

    share: float
    at_ms: int
    by: str


@dataclass(frozen=True)
class Stand:
    """Plants of one form of growth in a tank: m2 of it, and the share they cover."""

    name: str
    form: str
    area: float
    cover: float


@dataclass(frozen=True)
class Crop:
    """What a cut took out of the water, and since when that had grown: kg of nitrogen and phosphorus, least and most."""

    place_id: int
    since_ms: int
    at_ms: int
    nitrogen: Range
    phosphorus: Range


class PlantStands:
    """The plants of one system, read once."""

    def __init__(self, facts: SystemFacts) -> None:
        self.facts, self.session = facts, facts.session
        parts = (*facts.tanks, *facts.sumps, *facts.sections)
        self.paths = {one.id: one.path for one in parts}
        self._covers: dict[tuple[int, int], Cover | None] = {}
        self._in_tanks: dict[tuple[int, int], tuple[list[Stand], list[str]]] = {}

    @cached_property
    def kinds(self) -> Mapping[int, Kind]:
        return kinds_of(self.session)

    @cached_property
    def lives(self) -> Sequence[Life]:
        """Of plantings that ever stood in it, up to the instant of the facts."""
        everywhere = lives_of(self.session, until_ms=self.facts.at_ms)
        return [one for one in everywhere if any(stay.place_id in self.paths for stay in one.stays)]

    @cached_property
    def _readings(self) -> Mapping[int, Sequence[tuple[int, float]]]:
        """Cover as read at each place, in order; what says only below or above bounds it, and does not tell it."""
        asked = sa.select(Gauge).where(Gauge.parameter == COVER, Gauge.place_id.in_(list(self.paths)))
        found: dict[int, list[tuple[int, float]]] = defaultdict(list)
        for gauge in self.session.scalars(asked.order_by(Gauge.id)).unique():
            excluded = gauging.exclusions(self.session, [gauge.id]).get(gauge.id, ())
            offsets = gauging.offsets(self.session, [gauge.id]).get(gauge.id, ())
            for row in gauging.between(self.session, gauge.id, 0, self.facts.at_ms + 1):
                if row.mark & (BELOW | ABOVE | IMPLAUSIBLE) or any(
                    start <= row.at_ms < end for start, end in excluded
                ):
                    continue
                read = Quantity(row.value + gauging.offset_at(offsets, row.at_ms), gauge.unit).si("fraction")
                found[gauge.place_id].append((row.at_ms, min(max(read, 0.0), 1.0)))
        return {place: sorted(rows) for place, rows in found.items()}

    @cached_property
    def _changes(self) -> Mapping[int, Sequence[int]]:
        """Of each place the instants at which its plants or their cover changed: between them nothing has to be looked up."""
        found: dict[int, set[int]] = defaultdict(set)
        for life in self.lives:
            instants = {at_ms for at_ms, _ in life.covers}
            instants |= {at for stay in life.stays for at in (stay.from_ms, stay.to_ms) if at is not None}
            for place_id in {stay.place_id for stay in life.stays}:
                found[place_id] |= instants
        for place_id, rows in self._readings.items():
            found[place_id] |= {at_ms for at_ms, _ in rows}
        return {place_id: sorted(instants) for place_id, instants in found.items()}

    def _last_change(self, place_id: int, at_ms: int) -> int | None:
        instants = self._changes.get(place_id, ())
        index = bisect_right(instants, at_ms)
        return instants[index - 1] if index else None

    def _standing(self, place_id: int, at_ms: int) -> list[Life]:
        """The plantings that stood in a place at an instant."""
        return [
            one
            for one in self.lives
            if (stay := one.stay_at(at_ms)) is not None and stay.place_id == place_id
        ]

    def cover(self, place_id: int, at_ms: int) -> Cover | None:
        """Share of a place that plants cover: by the newest reading, or the plantings there if they were told of later."""
        since = self._last_change(place_id, at_ms)
        if since is None:
            return None
        if (place_id, since) not in self._covers:
            self._covers[place_id, since] = self._cover(place_id, since)
        return self._covers[place_id, since]

    def _cover(self, place_id: int, at_ms: int) -> Cover | None:
        read = [one for one in self._readings.get(place_id, ()) if one[0] <= at_ms]
        told = [one.cover_at(at_ms) for one in self._standing(place_id, at_ms)]
        known = [one for one in told if one is not None]
        newest = max((at for at, _ in known), default=None)
        if read and (newest is None or read[-1][0] >= newest or len(known) < len(told)):
            return Cover(read[-1][1], read[-1][0], "a reading of plant cover")
        if newest is None or len(known) < len(told):
            return None
        share = sum(one.si("fraction") for _, one in known)
        return Cover(min(share, 1.0), newest, "what its plantings cover")

    def in_tank(self, tank: Tank, at_ms: int) -> tuple[list[Stand], list[str]]:
        """The stands of a tank by form of growth, and the kinds whose cover nobody told."""
        since = self._last_change(tank.id, at_ms)
        if since is None:
            return [], []
        if (tank.id, since) not in self._in_tanks:
            self._in_tanks[tank.id, since] = self._in_tank(tank, since)
        return self._in_tanks[tank.id, since]

    def _in_tank(self, tank: Tank, at_ms: int) -> tuple[list[Stand], list[str]]:
        shares: dict[str, float] = defaultdict(float)
        untold, forms = [], set()
        for life in self._standing(tank.id, at_ms):
            kind, told = self.kinds[life.kind_id], life.cover_at(at_ms)
            form = UPTAKE_FORM[kind.growth_form]
            forms.add(form)
            if told is None:
                untold.append(kind.handle)
            else:
                shares[form] += told[1].si("fraction")
        whole = self.cover(tank.id, at_ms)
        if whole is not None:
            if len(forms) == 1:
                shares, untold = {forms.pop(): whole.share}, []
            elif not untold and (total := sum(shares.values())):
                shares = {form: one * whole.share / total for form, one in shares.items()}
        area = tank.surface_area_si
        stands = [
            Stand(f"{tank.handle} {form}", form, area, min(one, 1.0))
            for form, one in sorted(shares.items())
            if one
        ]
        return stands, untold

    @property
    def cuts(self) -> Iterator[tuple[Cut, Kind]]:
        """What was weighed as it was taken out of this system's water."""
        for life in self.lives:
            for cut in life.cuts:
                if cut.place_id in self.paths:
                    yield cut, self.kinds[life.kind_id]

    @cached_property
    def crops(self) -> Sequence[Crop]:
        """The cuts that tell how much grew in this water."""
        return [_crop(cut, kind) for cut, kind in self.cuts if _grew_here(cut)]

    @cached_property
    def carried(self) -> Sequence[tuple[Crop, int | None]]:
        """The last cuts of each planting as one crop, where they tell a rate, and until when it then stood on there."""
        return [
            (_crop(last, self.kinds[life.kind_id]), _stood_until(life, last))
            for life in self.lives
            for last in _last_cuts(life.cuts)
            if last.place_id in self.paths
        ]

    @property
    def too_soon(self) -> int:
        """How many cuts came so soon after planting that they tell nothing of growth here."""
        return sum(1 for _ in self.cuts) - len(self.crops)


def _grew_here(cut: Cut) -> bool:
    return cut.after_cut or cut.at_ms - cut.since_ms >= FIRST_CUT_DAYS * DAY_MS


def _last_cuts(cuts: Sequence[Cut]) -> Iterator[Cut]:
    """Of each stretch of growth in one place the last cuts as one, as many as it takes to span two weeks.

    What is cut on two days running is one cut done in two parts: the second alone would tell a rate many times too high.
    """
    for index, last in enumerate(cuts):
        if index + 1 < len(cuts) and cuts[index + 1].after_cut:
            continue  # it grew on from here, and the next cut tells how much
        mass = 0.0
        for one in reversed(cuts[: index + 1]):
            mass += one.mass
            if not _grew_here(one):
                break
            if last.at_ms - one.since_ms >= FIRST_CUT_DAYS * DAY_MS:
                yield replace(last, since_ms=one.since_ms, mass=mass)
                break


def _stood_until(life: Life, cut: Cut) -> int | None:
    """When a planting left the place of a cut, or was replanted in it; None while it stands there."""
    end = cut.at_ms
    for stay in life.stays:
        if stay.to_ms is not None and stay.to_ms <= cut.at_ms:
            continue
        if stay.place_id != cut.place_id:
            break
        if stay.to_ms is None:
            return None
        end = stay.to_ms
        if stay.ended != MOVED:
            break
    return end


def _crop(cut: Cut, kind: Kind) -> Crop:
    dry = DRY_SHARE[UPTAKE_FORM[kind.growth_form]] if kind.dry_matter is None else exact(kind.dry_matter)
    nitrogen = TISSUE_NITROGEN if kind.nitrogen is None else exact(kind.nitrogen)
    phosphorus = TISSUE_PHOSPHORUS if kind.phosphorus is None else exact(kind.phosphorus)
    return Crop(
        cut.place_id,
        cut.since_ms,
        cut.at_ms,
        carried_off(cut.mass, dry, nitrogen),
        carried_off(cut.mass, dry, phosphorus),
    )


def stands_of(facts: SystemFacts) -> PlantStands:
    """The plants of a system, gathered once for the same facts."""
    kept = facts.worked_out.get("plants")
    if not isinstance(kept, PlantStands):
        kept = facts.worked_out["plants"] = PlantStands(facts)
    return kept
