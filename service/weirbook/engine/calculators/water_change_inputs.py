"""What a water change must be told, and what contradicts itself in it."""

from __future__ import annotations

from dataclasses import dataclass

from weirbook.engine.calculators.exchange import COLDEST, EXCHANGED, HOTTEST, of_parameter
from weirbook.engine.calculators.told import water_volume
from weirbook.engine.relations.changes import Pace, Water, after_changes
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.saying import said
from weirbook.engine.shape import CHOICE, param, refuse
from weirbook.errors import Fault, Lack


@dataclass(frozen=True)
class Inputs:
    parameter: str = param(
        CHOICE, doc="What the change is for. An ion is told by its own mass.", choices=tuple(EXCHANGED)
    )
    volume: float = water_volume()
    present: float = of_parameter("The parameter's present value.", ge=0, role="latest.{parameter}")
    source: float = of_parameter("Its value in the new water.", ge=0, role="source.{parameter}")
    wanted: float | None = of_parameter(
        "The value wanted; between present and source. Left out: what the usual change does.",
        ge=0,
        default=None,
    )
    change_share: float | None = param(
        "fraction",
        doc="Share of the water that one usual change replaces. Goes before change_volume.",
        unit="1",
        gt=0,
        lt=1,
        default=None,
    )
    change_volume: float | None = param(
        "volume", doc="Water of one usual change.", gt=0, default=None, role="change_volume"
    )
    drip_flow: float | None = param(
        "flow", doc="Of a steady drip that new water runs in by.", gt=0, default=None, role="drip_flow"
    )
    drift: float | None = of_parameter(
        "By how much the parameter moves by itself in drift_time; below 0 if it falls.", default=None
    )
    drift_time: float | None = param(
        "time", doc="In which time it moves so far.", unit="d", gt=0, default=None
    )
    hardness: float | None = param(
        "hardness",
        doc="Of the tank, to judge the jump by.",
        ge=0,
        default=None,
        role="latest.hardness",
    )
    source_hardness: float | None = param(
        "hardness", doc="Of the new water.", ge=0, default=None, role="source.hardness"
    )
    alkalinity: float | None = param(
        "alkalinity", doc="Of the tank.", ge=0, default=None, role="latest.alkalinity"
    )
    source_alkalinity: float | None = param(
        "alkalinity", doc="Of the new water.", ge=0, default=None, role="source.alkalinity"
    )
    ph: float | None = param("ph", doc="Of the tank.", ge=0, le=14, default=None, role="latest.ph")
    source_ph: float | None = param(
        "ph", doc="Of the new water, after it stood a day.", ge=0, le=14, default=None, role="source.ph"
    )
    temperature: float | None = param(
        "temperature",
        doc="Of the tank.",
        ge=COLDEST,
        le=HOTTEST,
        default=None,
        role="water_temperature",
    )
    source_temperature: float | None = param(
        "temperature",
        doc="Of the new water as it goes in. Left out: taken for the tank's.",
        ge=COLDEST,
        le=HOTTEST,
        default=None,
        role="source.temperature",
    )
    hardness_a_day: float = param(
        "hardness",
        doc="The most that hardness may move in a day.",
        gt=0,
        default=LIMITS["hardness_a_day"].value,
    )
    alkalinity_a_day: float = param(
        "alkalinity",
        doc="The most that alkalinity may move in a day.",
        gt=0,
        default=LIMITS["alkalinity_a_day"].value,
    )
    ph_a_day: float = param(
        "ph", doc="The most that pH may move in a day.", gt=0, default=LIMITS["ph_a_day"].value
    )
    temperature_step: float = param(
        "temperature_difference",
        doc="The most that one change may cool or warm the tank.",
        gt=0,
        default=LIMITS["temperature_an_hour"].value,
    )
    size_limit: float = param(
        "fraction",
        doc="The largest share that one change may replace.",
        unit="1",
        gt=0,
        le=1,
        default=LIMITS["single_change"].value,
    )

    @property
    def kind(self) -> str:
        return EXCHANGED[self.parameter]

    @property
    def usual_share(self) -> float | None:
        """Share of one usual change, if any was told."""
        if self.change_share is not None:
            return self.change_share
        return None if self.change_volume is None else self.change_volume / self.volume

    @property
    def tank(self) -> Water:
        """What was told of the tank's water; what the change is for counts as told for it."""
        hardness = self.present if self.parameter == "hardness" else self.hardness
        alkalinity = self.present if self.parameter == "alkalinity" else self.alkalinity
        return Water(hardness, alkalinity, self.ph, self.temperature)

    @property
    def new_water(self) -> Water:
        hardness = self.source if self.parameter == "hardness" else self.source_hardness
        alkalinity = self.source if self.parameter == "alkalinity" else self.source_alkalinity
        return Water(hardness, alkalinity, self.source_ph, self.source_temperature)

    @property
    def pace(self) -> Pace:
        return Pace(
            self.size_limit, self.hardness_a_day, self.alkalinity_a_day, self.ph_a_day, self.temperature_step
        )


def refuse_contradictions(given: Inputs) -> None:
    """Raises Invalid with a fault for each value that can't be, or not beside another."""
    faults = [*_of_the_wanted_value(given)]
    if given.change_share is None and given.change_volume is not None and given.change_volume >= given.volume:
        words = (
            f"One change of {said(given.change_volume, 'volume')} would leave nothing of all the water,"
            f" {said(given.volume, 'volume')}: say less than that, or check the volume."
        )
        faults.append(Fault("/change_volume", words))
    if given.wanted is None and given.usual_share is None:
        words = "Say the value wanted, or how much one change replaces (change_share or change_volume)."
        faults.append(Lack("/wanted", words))
    if given.drift is not None and given.drift_time is None:
        faults.append(Lack("/drift_time", "A drift needs the time in which it happens: add drift_time."))
    if given.drift_time is not None and given.drift is None:
        faults.append(Lack("/drift", "A time of drift needs how far the value moves in it: add drift."))
    refuse(faults)


def _of_the_wanted_value(given: Inputs) -> list[Fault]:
    if given.wanted is None or given.wanted == given.present:
        return []
    here, there, wanted = (said(one, given.kind) for one in (given.present, given.source, given.wanted))
    if given.present == given.source:
        words = f"The new water has the tank's own {there}: no change of water moves it. Take another water."
        return [Fault("/wanted", words)]
    if min(given.present, given.source) < given.wanted < max(given.present, given.source):
        return []
    falls = given.source < given.present
    side = "lowest" if falls else "highest"
    largest = said(after_changes(given.present, given.source, given.size_limit, 1), given.kind)
    words = (
        f"{wanted} can't be had from {here} with water of {there}: changes only lead from the one towards the other,"
        f" ever nearer and never there. The {side} to be reached lies just {'above' if falls else 'below'} {there}"
        f" (one largest change: {largest}). Want a value between them, or take another water."
    )
    return [Fault("/wanted", words)]
