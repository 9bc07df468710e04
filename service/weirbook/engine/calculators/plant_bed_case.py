"""What a planted bed must be told, and what it does to the water."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from weirbook.engine.calculators.told import measured_temperature
from weirbook.engine.relations.nutrients import KG_N_A_MOLE, KG_P_A_MOLE
from weirbook.engine.relations.plants import UPTAKE, Range
from weirbook.engine.relations.wetlands import (
    CONSTANTS,
    USUAL_LOADING,
    BedConstants,
    left_share,
    outlet,
    rate_at,
)
from weirbook.engine.saying import near
from weirbook.engine.shape import CHOICE, FOLLOWING, Follows, param
from weirbook.engine.units import to_si


@dataclass(frozen=True)
class Constituent:
    """What a bed takes out: the kind it is told in, its unit as the element, kg of that in the SI unit of the kind."""

    kind: str
    unit: str
    element: str
    kg: float
    constants: BedConstants


CONSTITUENTS = {
    "nitrate": Constituent("nitrate", "mg/L NO3-N", "nitrogen", KG_N_A_MOLE, CONSTANTS["nitrate"]),
    "total_ammonia": Constituent("ammonia", "mg/L NH3-N", "nitrogen", KG_N_A_MOLE, CONSTANTS["ammonium"]),
    "total_nitrogen": Constituent("concentration", "mg/L", "nitrogen", 1.0, CONSTANTS["total_nitrogen"]),
    "phosphate": Constituent("phosphate", "mg/L PO4-P", "phosphorus", KG_P_A_MOLE, CONSTANTS["phosphate"]),
}
BY_CONSTITUENT = Follows("constituent", {word: one.kind for word, one in CONSTITUENTS.items()})

FAR_ABOVE = 3.0
"""Times the loading of design guides, from which on the constants are stretched. Common practice, no source."""


def _of_constituent(doc: str, **said: Any) -> Any:
    return param(FOLLOWING, doc=doc, follows=BY_CONSTITUENT, **said)


@dataclass(frozen=True)
class Inputs:
    constituent: str = param(
        CHOICE,
        doc="What the bed is to take out. Total nitrogen is told as nitrogen.",
        choices=tuple(CONSTITUENTS),
    )
    inlet: float = _of_constituent("In the water that comes to the bed.", ge=0, role="latest.{constituent}")
    flow: float = param("flow", doc="Through the bed.", gt=0, role="through_flow")
    area: float = param("area", doc="Of the bed, as seen from above.", gt=0)
    temperature: float = measured_temperature(hottest=to_si(45, "degC", "temperature"))
    rate: float | None = param(
        "velocity",
        doc="k at 20 °C, volume over area and time. Left out: the median of treatment wetlands.",
        unit="mm/d",
        gt=0,
        default=None,
    )
    theta: float | None = param(
        "number", doc="By which k grows for each degree. Left out: theirs.", gt=0.9, lt=1.3, default=None
    )
    background: float | None = _of_constituent(
        "What no bed takes out. Left out: that of treatment wetlands.", ge=0, default=None
    )
    tanks: float | None = param(
        "number",
        doc="Stirred tanks in a row that the bed behaves like, P. Left out: that of treatment wetlands.",
        gt=0,
        le=1000,
        default=None,
    )
    growth_form: str = param(
        CHOICE,
        doc="How its plants grow, to compare what they take up.",
        choices=tuple(UPTAKE),
        default="emergent",
    )
    cover: float = param("fraction", doc="How much of the bed they cover.", ge=0, le=1, default=1.0)


@dataclass(frozen=True)
class Bed:
    """The bed's constants as told or published, and what comes out. Contents in kg/m3 of the element."""

    given: Inputs

    @property
    def of(self) -> Constituent:
        return CONSTITUENTS[self.given.constituent]

    @property
    def k20(self) -> float:
        return self.of.constants.k20 if self.given.rate is None else self.given.rate

    @property
    def theta(self) -> float:
        return self.of.constants.theta if self.given.theta is None else self.given.theta

    @property
    def tanks(self) -> float:
        return self.of.constants.tanks if self.given.tanks is None else self.given.tanks

    @property
    def background(self) -> float:
        own = self.given.background
        return self.of.constants.background / 1000 if own is None else own * self.of.kg

    @property
    def inlet(self) -> float:
        return self.given.inlet * self.of.kg

    @cached_property
    def loading(self) -> float:
        """m/s over the bed."""
        return self.given.flow / self.given.area

    @cached_property
    def rate(self) -> float:
        return rate_at(self.k20, self.theta, self.given.temperature)

    @cached_property
    def left(self) -> float:
        return left_share(self.rate, self.loading, self.tanks)

    @cached_property
    def outlet(self) -> float:
        return outlet(self.inlet, self.background, self.left)

    @property
    def removed(self) -> float:
        """kg/s; below 0 where water poorer than the background comes in."""
        return (self.inlet - self.outlet) * self.given.flow

    @property
    def areal_removal(self) -> float:
        return self.removed / self.given.area

    @property
    def areal_most(self) -> float:
        """What it would come to at endless flow: the rate times what stands above the background."""
        return self.rate * (self.inlet - self.background)

    @property
    def uptake_rates(self) -> Range:
        form = UPTAKE[self.given.growth_form]
        return form.nitrogen if self.of.element == "nitrogen" else form.phosphorus

    @property
    def uptake(self) -> Range:
        """kg/s by its plants."""
        return self.uptake_rates * (self.given.area * self.given.cover)

    @property
    def stretched(self) -> bool:
        return self.loading > FAR_ABOVE * USUAL_LOADING

    @property
    def verdict(self) -> tuple[str, str]:
        removed, most = near(self.removed, "mass_flow", "mg/d"), near(self.uptake.high, "mass_flow", "mg/d")
        what = self.of.element
        if self.removed <= 0:
            return "over", "The water holds no more than a bed leaves in it: nothing is to be gained."
        if self.removed > self.uptake.high:
            way = {"nitrate": "into gas", "total_ammonia": "to nitrate", "phosphate": "bound to gravel"}.get(
                self.given.constituent, "to nitrate or into gas"
            )
            return (
                "watch",
                f"The model takes out {removed} of {what}, the plants at most {most}: the rest must go {way}, which a"
                " young or well aired bed may not do. Count on the plants.",
            )
        if self.stretched:
            return (
                "watch",
                f"The model takes out {removed} of {what}, within the {most} that plants may reach, but at"
                f" {near(self.loading / USUAL_LOADING, 'number', '1').removesuffix(' 1')} times the flow that beds are"
                " built for: believe tests before and behind it.",
            )
        if self.removed > self.uptake.low:
            least = near(self.uptake.low, "mass_flow", "mg/d")
            return (
                "watch",
                f"The model takes out {removed} of {what}; the plants {least} to {most}: only plants that grow well reach"
                " it. Count on the low figure.",
            )
        return (
            "ok",
            f"The model takes out {removed} of {what}, which its plants alone take up even at their least.",
        )
