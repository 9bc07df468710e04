"""What a change of salt must be told, and what contradicts itself in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.told import water_volume
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.shape import param, refuse, show
from weirbook.errors import Fault, Lack

USUAL_CHANGE = 0.25
"""Share of the water in a change. Common practice, no source."""
MOST_DAYS = 366
LARGEST_RATIO = 1000.0
SOLUBLE = 300.0
"""kg/m3. Well below a saturated brine; no animal's water comes near it, so that more is a wrong unit."""


def _salt(doc: str, **said: Any) -> Any:
    return param("concentration", doc=doc, unit="g/L", ge=0, le=SOLUBLE, **said)


@dataclass(frozen=True)
class Inputs:
    wanted: float | None = _salt(
        "Salt wanted in the water, of a bath or of the system. Left out: what nitrite asks for.", default=None
    )
    volume: float | None = water_volume(
        "All water of the system: tanks net of sand and rock, and the sump's.", default=None
    )
    present: float = _salt("Salt in the system's water now.", default=0.0, role="latest.salt")
    purity: float = param(
        "fraction",
        doc="Share of what is weighed that is sodium chloride.",
        unit="1",
        gt=0,
        le=1,
        default=1.0,
    )
    largest_daily_change: float = _salt(
        "The most that the system's salt may rise or fall in a day.", default=LIMITS["salt_a_day"].value
    )
    change_share: float = param(
        "fraction",
        doc="Most of the water in one daily change, where salt is to fall.",
        gt=0,
        le=1,
        default=USUAL_CHANGE,
    )
    source_salt: float = _salt("Salt in the water that a change brings.", default=0.0)
    bath_volume: float | None = param(
        "volume",
        doc="Of a bath in a vessel of its own; the system then stays as it is.",
        gt=0,
        default=None,
    )
    bath_present: float = _salt("Salt in the bath's water before.", default=0.0)
    bath_time: float | None = param(
        "time", doc="How long the bath lasts, by label or veterinarian.", unit="min", gt=0, default=None
    )
    nitrite: float | None = param(
        "nitrite", doc="In the system's water.", ge=0, default=None, role="latest.nitrite"
    )
    chloride: float | None = param(
        "concentration",
        doc="In the system's water. Left out: only that of the salt in it is counted.",
        ge=0,
        default=None,
        role="chloride",
    )
    chloride_ratio: float = param(
        "number",
        doc="Chloride wanted for each part of nitrite, by mass.",
        gt=0,
        le=LARGEST_RATIO,
        default=LIMITS["chloride_to_nitrite"].value,
    )

    @property
    def is_bath(self) -> bool:
        return self.bath_volume is not None

    @property
    def water(self) -> float:
        """m3 that the salt goes into."""
        found = self.bath_volume or self.volume
        assert found is not None
        return found


def refuse_contradictions(given: Inputs) -> None:
    """Raises Invalid with a fault for each value that is missing, can't be, or not beside another."""
    faults = _of_a_bath(given) if given.is_bath else _of_a_system(given)
    refuse(faults)


def _of_a_bath(given: Inputs) -> list[Fault]:
    if given.wanted is None:
        return [Lack("/wanted", "Say how salty the bath is to be, as a label or veterinarian told you.")]
    if given.wanted < given.bath_present:
        words = (
            f"The bath's water has {show(given.bath_present, 'concentration', 'g/L')} already: thin it first."
        )
        return [Fault("/wanted", words)]
    return []


def _of_a_system(given: Inputs) -> list[Fault]:
    faults: list[Fault] = []
    if given.volume is None:
        words = "Say how much water it is: volume, or bath_volume for a bath in a vessel of its own."
        faults.append(Lack("/volume", words))
    if given.wanted is None and given.nitrite is None:
        words = "Say what is wanted: how salty the water is to be, or the nitrite that chloride is to be set against."
        faults.append(Lack("/wanted", words))
    if given.largest_daily_change == 0:
        words = "With no change a day nothing changes: say how much is allowed."
        faults.append(Fault("/largest_daily_change", words))
    for name in ("bath_time", "bath_present"):
        if getattr(given, name):
            words = "This belongs to a bath: say bath_volume, or leave it out."
            faults.append(Fault(f"/{name}", words))
    if given.wanted is not None and given.wanted < given.present and given.wanted <= given.source_salt:
        words = (
            f"Changes with water of {show(given.source_salt, 'concentration', 'g/L')} only come near that, never to"
            f" {show(given.wanted, 'concentration', 'g/L')}: say how near is near enough, a little above it."
        )
        faults.append(Fault("/wanted", words))
    return faults
