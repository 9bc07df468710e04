"""What a treatment by label must be told, and what contradicts itself in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.dose_inputs import heavier_than_solid
from weirbook.engine.calculators.told import SAME, by_label, product_treats, water_volume
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.shape import CHOICE, COUNT, param, refuse, show
from weirbook.errors import Fault, Lack

FORMALIN, PERMANGANATE, COPPER, OTHER = "formalin", "permanganate", "copper_sulfate", "other"
PRODUCT, ACTIVE = "product", "active"
USUAL_DROP = 5e-8
"""m3, 20 drops to a millilitre. Common practice, and the extension sheet on permanganate; droppers differ by half."""
MOST_TREATMENTS = 60
LONGEST = 366 * 86400.0

FORMS = {
    "label_concentration": "mass in a volume of water",
    "label_by_weight": "mass in a mass of water",
    "label_dilution": "volume in a volume of water",
    "product_volume": "millilitres for a volume of water",
    "product_drops": "drops for a volume of water",
    "product_mass": "grams for a volume of water",
}
"""The ways in which a label tells its dose: exactly one of them is said."""
MEASURED_OUT = ("product_volume", "product_drops", "product_mass")
"""Those that measure out the product itself, for so much water."""


def _span(doc: str) -> Any:
    return param("time", doc=doc, gt=0, le=LONGEST, default=None)


@dataclass(frozen=True)
class Inputs:
    substance: str = param(
        CHOICE,
        doc="What the product holds: it decides which cautions and checks come with the answer, never a dose.",
        choices=(FORMALIN, PERMANGANATE, COPPER, OTHER),
    )
    dose_means: str = param(
        CHOICE,
        doc="Whether the label's dose counts the product as sold, or its active ingredient alone.",
        choices=(PRODUCT, ACTIVE),
        told_by="product.chosen",
    )
    label_concentration: float | None = by_label(
        "concentration", "the dose as mass in a volume of water. One form of the dose is said."
    )
    label_by_weight: float | None = by_label(
        "salinity", "the dose as mass in a mass of water (parts per million by weight).", "mg/kg"
    )
    label_dilution: float | None = by_label(
        "dilution", "the dose as liquid in a volume of water (parts per million by volume).", "uL/L"
    )
    product_volume: float | None = by_label(
        "volume", "so much of the liquid, for product_treats of water.", "mL", told_by="product.volume"
    )
    product_drops: int | None = param(
        COUNT, doc="By the label: so many drops, for product_treats of water.", ge=1, default=None
    )
    product_mass: float | None = by_label(
        "mass", "so much of the product, for product_treats of water.", told_by="product.mass"
    )
    product_treats: float | None = product_treats()
    drop_volume: float = param("volume", doc="Of one drop.", unit="mL", gt=0, le=1e-6, default=USUAL_DROP)
    active_share: float | None = param(
        "fraction",
        doc="Share of the product's mass that is the active ingredient.",
        gt=0,
        le=1,
        default=None,
    )
    density: float | None = param(
        "density", doc="Of a liquid product as sold.", unit="kg/L", ge=500, le=3000, default=None
    )
    strength: float | None = param(
        "concentration",
        doc="Of a stock solution: what of the product is weighed out for each litre of it.",
        unit="g/L",
        gt=0,
        default=None,
    )
    volume: float | None = water_volume(
        "All water that the treatment mixes into: tanks net of sand and rock, and the sump's.", default=None
    )
    gross_volume: float | None = param(
        "volume",
        doc="The same by outer or empty measures, nothing taken off: used only where volume is not known.",
        gt=0,
        default=None,
    )
    bath_volume: float | None = param(
        "volume",
        doc="Of a bath in a vessel of its own, made anew each time; the system then stays untreated.",
        gt=0,
        default=None,
    )
    contact_time: float | None = _span("By the label: how long the animals stay in it.")
    treatments: int = param(COUNT, doc="By the label: how many doses.", ge=1, le=MOST_TREATMENTS, default=1)
    interval: float | None = _span("By the label: from one dose to the next.")
    change_between: float | None = param(
        "fraction",
        doc="Share of the water that is changed after each dose, before the next.",
        ge=0,
        le=1,
        default=None,
    )
    dissolved_oxygen: float | None = param(
        "concentration",
        doc="Dissolved in the water before.",
        ge=0,
        default=None,
        role="latest.dissolved_oxygen",
    )
    hardness: float | None = param(
        "hardness",
        doc="Of the water: copper is the more poisonous the softer it is.",
        ge=0,
        default=None,
        role="latest.hardness",
    )
    alkalinity: float | None = param(
        "alkalinity",
        doc="Of the water: copper is the more poisonous the less it has.",
        ge=0,
        default=None,
        role="latest.alkalinity",
    )

    @property
    def form(self) -> str:
        """The name of the one input that tells the label's dose."""
        return next(name for name in FORMS if getattr(self, name) is not None)

    @property
    def is_bath(self) -> bool:
        return self.bath_volume is not None

    @property
    def water(self) -> float:
        """m3 that the dose is for."""
        found = self.bath_volume or self.volume or self.gross_volume
        assert found is not None
        return found

    @property
    def only_gross(self) -> bool:
        return not self.is_bath and self.volume is None


def refuse_contradictions(given: Inputs) -> None:
    """Raises Invalid with a fault for each value that is missing, can't be, or not beside another."""
    faults = [*_of_the_label(given), *_of_the_product(given), *_of_the_water(given), *_of_the_course(given)]
    refuse(faults)


def _of_the_label(given: Inputs) -> list[Fault]:
    said = [name for name in FORMS if getattr(given, name) is not None]
    if not said:
        forms = "; ".join(f"{name} ({words})" for name, words in FORMS.items())
        words = f"Say the label's dose in one form: {forms}. No dose is known here."
        return [Lack("/label_concentration", words)]
    if len(said) > 1:
        words = "Say the label's dose once, as the label does."
        return [Fault(f"/{name}", words) for name in said]
    faults: list[Fault] = []
    form = said[0]
    if form in MEASURED_OUT and given.product_treats is None:
        words = "So much for how much water? Add product_treats, as the label says it."
        faults.append(Lack("/product_treats", words))
    if form not in MEASURED_OUT and given.product_treats is not None:
        words = f"A dose by {form} is for any volume: leave product_treats out."
        faults.append(Fault("/product_treats", words))
    if given.dose_means == ACTIVE and form in (*MEASURED_OUT, "label_dilution"):
        words = (
            f"What {form} tells is the product itself, as it is measured out: say 'product'. A dose of the active"
            " ingredient is told by mass."
        )
        faults.append(Fault("/dose_means", words))
    return faults


def _of_the_product(given: Inputs) -> list[Fault]:
    faults: list[Fault] = []
    if given.dose_means == ACTIVE and given.active_share is None:
        words = "A dose of the active ingredient needs its share of the product: the label tells it."
        if given.substance == COPPER:
            share = molar_mass("Cu") / molar_mass("CuSO4.5H2O")
            words += f" (Pure copper sulfate with five parts of crystal water is {100 * share:.2f} % copper by its formula.)"
        faults.append(Lack("/active_share", words))
    if given.density is not None and given.strength is not None:
        words = "density is of a product sold as a liquid, strength of a stock made of a dry one: say one of them."
        faults.append(Fault("/strength", words))
    if given.strength is not None and (why := heavier_than_solid(given.strength)):
        faults.append(Fault("/strength", why))
    if given.product_drops is None and given.drop_volume != USUAL_DROP:
        faults.append(Fault("/drop_volume", "The dose is not told in drops: leave it out."))
    return faults


def _of_the_water(given: Inputs) -> list[Fault]:
    faults: list[Fault] = []
    if given.bath_volume is None and given.volume is None and given.gross_volume is None:
        words = "Say how much water is treated: volume, or bath_volume for a bath in a vessel of its own."
        faults.append(Lack("/volume", words))
    volume, gross = given.volume, given.gross_volume
    if volume is not None and gross is not None and gross < volume * (1 - SAME):
        words = f"{show(gross, 'volume')} by outer measures can't hold {show(volume, 'volume')}: check both."
        faults.append(Fault("/gross_volume", words))
    return faults


def _of_the_course(given: Inputs) -> list[Fault]:
    faults: list[Fault] = []
    if given.treatments > 1 and given.interval is None:
        words = "Several doses need the time from one to the next: add interval, as the label says it."
        faults.append(Lack("/interval", words))
    if given.treatments == 1 and given.interval is not None:
        words = "An interval is between doses: say how many treatments, or leave it out."
        faults.append(Fault("/interval", words))
    contact, interval = given.contact_time, given.interval
    if contact is not None and interval is not None and contact > interval * (1 + SAME):
        words = (
            f"A contact of {show(contact, 'time')} isn't over when the next dose comes after"
            f" {show(interval, 'time')}: read the label again."
        )
        faults.append(Fault("/contact_time", words))
    if given.is_bath and given.change_between is not None:
        words = "A bath is made anew each time: leave change_between out."
        faults.append(Fault("/change_between", words))
    return faults
