"""What a dosing schedule must be told, and what contradicts itself in it."""

from __future__ import annotations

from dataclasses import dataclass

from weirbook.engine.calculators.dose_inputs import Dosing, misfits, of_parameter
from weirbook.engine.relations.chemistry import DOSED, Compound
from weirbook.engine.shape import COUNT, param, refuse, show
from weirbook.errors import Fault, Lack

HOUR, DAY = 3600.0, 86400.0
MOST_BETWEEN = 60
"""Days between two doses."""


@dataclass(frozen=True, kw_only=True)
class Inputs(Dosing):
    wanted: float = of_parameter("The level to keep: what the water holds just before a dose.", gt=0)
    daily_uptake: float = of_parameter(
        "By how much it falls in a day without doses and water changes: test it over a week. 0 is allowed.",
        ge=0,
    )
    present: float | None = of_parameter(
        "Its present value. Left out: the wanted one.", ge=0, default=None, role="latest.{parameter}"
    )
    lowest: float | None = of_parameter("The lowest allowed.", ge=0, default=None)
    highest: float | None = of_parameter(
        "The highest allowed. Left out: none, of nitrate the customary one.",
        gt=0,
        default=None,
        role="most_wanted.{parameter}",
    )
    days_between_doses: int = param(
        COUNT, doc="1 for a dose a day, 7 for one a week.", ge=1, le=MOST_BETWEEN, default=1
    )
    change_volume: float | None = param(
        "volume",
        doc="Water changed at a time. Left out: none.",
        gt=0,
        default=None,
        role="change_volume",
    )
    change_interval: float | None = param(
        "time",
        doc="From one water change to the next, to the hour.",
        unit="d",
        ge=HOUR,
        le=366 * DAY,
        default=None,
        role="change_interval",
    )
    source: float | None = of_parameter(
        "What the new water of a change holds of it. Left out: none.",
        ge=0,
        default=None,
        role="source.{parameter}",
    )
    usual_dose: float | None = of_parameter(
        "What one dose raises it by as it is dosed now, to see where that leads. Left out: the even dose.",
        ge=0,
        default=None,
    )

    @property
    def share(self) -> float:
        """Of the water changed at a time."""
        return 0.0 if self.change_volume is None else self.change_volume / self.volume

    @property
    def change_hours(self) -> int:
        """From one change to the next; 0 where there is none."""
        return 0 if self.change_interval is None else round(self.change_interval / HOUR)

    @property
    def dose_hours(self) -> int:
        return 24 * self.days_between_doses

    @property
    def source_level(self) -> float:
        return self.source or 0.0


def refuse_contradictions(given: Inputs, compound: Compound | None) -> None:
    """Raises Invalid with a fault for each value that can't be, or not beside another."""
    kind, faults = DOSED[given.parameter], misfits(given, compound)
    if (given.change_volume is None) != (given.change_interval is None):
        lacks = "change_volume" if given.change_volume is None else "change_interval"
        words = "A water change needs both change_volume and change_interval: say this one too, or neither."
        faults.append(Lack(f"/{lacks}", words))
    if given.change_volume is not None and given.change_volume > given.volume:
        words = f"No more can be changed at a time than there is: {show(given.volume, 'volume')}."
        faults.append(Fault("/change_volume", words))
    if given.lowest is not None and given.lowest > given.wanted:
        words = f"The lowest allowed lies above the wanted {show(given.wanted, kind)}: lower one, or raise the other."
        faults.append(Fault("/lowest", words))
    if given.highest is not None and given.highest < given.wanted:
        words = f"The highest allowed lies below the wanted {show(given.wanted, kind)}: lower one, or raise the other."
        faults.append(Fault("/highest", words))
    refuse(faults)
