"""What must be told of a bag and of the tank that it goes to, and what contradicts itself in it."""

from __future__ import annotations

from dataclasses import dataclass

from weirbook.engine.calculators.exchange import COLDEST, HOTTEST
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.shape import param
from weirbook.errors import Fault, Invalid

USUAL_PORTION, USUAL_INTERVAL, USUAL_STEP = 0.25, 600.0, 0.2
"""A quarter of the bag's water every ten minutes; conductivity by a fifth. Common practice, no source."""


@dataclass(frozen=True)
class Inputs:
    bag_volume: float = param("volume", doc="Water in the bag.", gt=0)
    bag_temperature: float = param("temperature", doc="Of the bag's water.", ge=COLDEST, le=HOTTEST)
    temperature: float = param(
        "temperature", doc="Of the tank.", ge=COLDEST, le=HOTTEST, role="water_temperature"
    )
    hours_closed: float | None = param(
        "time", doc="How long the bag has been closed by now.", ge=0, default=None
    )
    bag_conductivity: float | None = param("conductivity", doc="Of the bag's water.", gt=0, default=None)
    conductivity: float | None = param(
        "conductivity", doc="Of the tank.", gt=0, default=None, role="latest.conductivity"
    )
    bag_ph: float | None = param(
        "ph", doc="Of the bag's water, right after opening.", ge=0, le=14, default=None
    )
    ph: float | None = param("ph", doc="Of the tank.", ge=0, le=14, default=None, role="latest.ph")
    bag_alkalinity: float | None = param(
        "alkalinity",
        doc="Of the bag's water. Tells the pH that it takes once its carbon dioxide has gone.",
        ge=0,
        le=100,
        default=None,
    )
    alkalinity: float | None = param(
        "alkalinity", doc="Of the tank.", ge=0, default=None, role="latest.alkalinity"
    )
    bag_ammonia: float | None = param("ammonia", doc="Total ammonia in the bag.", ge=0, default=None)
    conductivity_step: float = param(
        "fraction",
        doc="The most that one portion, and the move at the end, may change conductivity, of what it then is.",
        unit="1",
        gt=0,
        lt=1,
        default=USUAL_STEP,
    )
    ph_step: float = param(
        "ph",
        doc="Difference of pH that may be crossed at once; a larger one wants a day for each.",
        gt=0,
        default=LIMITS["ph_step"].value,
    )
    temperature_an_hour: float = param(
        "temperature_difference",
        doc="The most that temperature may move in an hour.",
        gt=0,
        default=LIMITS["temperature_an_hour"].value,
    )
    largest_portion: float = param(
        "fraction",
        doc="Most tank water to add at once, as a share of the bag's first water.",
        unit="1",
        gt=0,
        le=1,
        default=USUAL_PORTION,
    )
    portion_interval: float = param(
        "time", doc="From one portion to the next.", unit="min", gt=0, default=USUAL_INTERVAL
    )
    time_constant: float | None = param(
        "time",
        doc="In which a floated bag moves 63 % of the way to the tank's temperature, if measured.",
        unit="min",
        gt=0,
        default=None,
    )
    volume: float | None = param(
        "volume",
        doc="All water of the system, to see that the bag is small beside it.",
        gt=0,
        default=None,
        role="water_volume",
    )


def refuse_contradictions(given: Inputs) -> None:
    """Raises Invalid where the bag holds as much as the system, or more."""
    if given.volume is not None and given.bag_volume >= given.volume:
        words = "A bag that holds as much as the whole system can't be mixed into it: check both volumes."
        raise Invalid("The inputs contradict each other.", faults=[Fault("/bag_volume", words)])
