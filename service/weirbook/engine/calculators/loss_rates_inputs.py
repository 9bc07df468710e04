"""The inputs of `loss_rates`, and the fish-days they come to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.two_groups import confidence, name
from weirbook.engine.shape import COUNT, param, refuse
from weirbook.errors import Fault, Lack

DAY = 86400.0


def _losses(which: str) -> Any:
    return param(COUNT, doc=f"Fish lost in {which}.", ge=0)


def _fish_days(which: str) -> Any:
    return param(
        "number",
        doc=f"Fish-days of {which}: the head counts of all its days added up. Or say fish and time.",
        gt=0,
        le=1e9,
        default=None,
    )


def _fish(which: str) -> Any:
    return param("number", doc=f"Fish in {which}, on average over its days.", gt=0, le=1e6, default=None)


def _time(which: str) -> Any:
    return param("time", doc=f"How long {which} lasted.", unit="d", gt=0, le=36525 * DAY, default=None)


@dataclass(frozen=True)
class Inputs:
    first_losses: int = _losses("the first: the later period, or the group asked about")
    second_losses: int = _losses("the second: the period before, or the group it is compared with")
    first_fish_days: float | None = _fish_days("the first")
    first_fish: float | None = _fish("the first")
    first_time: float | None = _time("the first")
    second_fish_days: float | None = _fish_days("the second")
    second_fish: float | None = _fish("the second")
    second_time: float | None = _time("the second")
    first_name: str = name("the first")
    second_name: str = name("the second")
    confidence: float = confidence()


def exposures(given: Inputs) -> tuple[float, float]:
    """Fish-days of both. Raises Invalid where they are told twice or not at all."""
    faults: list[Fault] = []
    told = []
    for which in ("first", "second"):
        days, fish, time = (getattr(given, f"{which}_{one}") for one in ("fish_days", "fish", "time"))
        if days is not None and (fish is not None or time is not None):
            words = f"Say {which}_fish_days, or {which}_fish and {which}_time, not both."
            faults.append(Fault(f"/{which}_fish_days", words))
        elif days is None and (fish is None or time is None):
            words = (
                f"Say {which}_fish_days, or {which}_fish and {which}_time: a rate needs both fish and days."
            )
            faults.append(Lack(f"/{which}_fish_days", words))
        else:
            told.append(days if days is not None else fish * time / DAY)
    refuse(faults)
    first, second = told
    return first, second
