"""What a gauge can measure, and how each parameter's readings are judged and joined in time.

The possible range is not a target: it is what the water, the room or the eye can show at all. A reading
outside it is a slip of the hand, a wrong unit or a failed sensor. Ranges are wide on purpose, so that a real
emergency is never taken for a slip. A bound without a named source is our own judgement, reasoned beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from weirbook.engine.units import to_si, unit

Join = Literal["line", "hold", "plain"]
"""Between two readings: a straight line, the earlier value, or nothing (no time weight)."""


@dataclass(frozen=True)
class Parameter:
    """One thing that is measured. `units` are accepted, the first by default; possible values in SI."""

    name: str
    words: str
    kind: str
    units: tuple[str, ...]
    possible_low: float | None
    possible_high: float | None
    join: Join
    contact: bool


def _parameter(
    name: str,
    words: str,
    kind: str,
    units: tuple[str, ...],
    possible: tuple[float | None, float | None],
    join: Join,
) -> Parameter:
    """`possible` is given in the first of `units`. Raises errors.Invalid for a unit that its kind lacks."""
    for name_of_unit in units:
        unit(kind, name_of_unit)
    low, high = (None if bound is None else to_si(bound, units[0], kind) for bound in possible)
    return Parameter(name, words, kind, units, low, high, join, contact=kind == "contact")


def _contact(name: str, words: str) -> Parameter:
    return _parameter(name, words, "contact", ("on/off",), (0, 1), "hold")


_LIST = (
    _parameter(
        "temperature",
        "Temperature of the water.",
        "temperature",
        ("degC", "degF", "K"),
        # Water: from freezing, less a cheap probe's error, to what a heater stuck on could reach.
        (-2, 60),
        "line",
    ),
    _parameter(
        "ph",
        "Acidity of the water.",
        "ph",
        ("pH",),
        # The scale of meters and tests.
        (0, 14),
        "line",
    ),
    _parameter(
        "alkalinity",
        "Carbonate hardness (KH).",
        "alkalinity",
        (
            "dKH",
            "meq/L",
            "mg/L CaCO3",
            "mg/L HCO3",
            "mmol/L HCO3",
            "mmol/L CaCO3",
            "fH",
            "Clark",
            "gr/gal CaCO3",
        ),
        # About 100 meq/L: a soda lake; tap water and tanks stay below a tenth of it.
        (0, 280),
        "plain",
    ),
    _parameter(
        "hardness",
        "General hardness (GH): calcium and magnesium.",
        "hardness",
        ("dGH", "mmol/L", "meq/L", "mg/L CaCO3", "fH", "Clark", "gr/gal CaCO3"),
        # Sea water has about 360 dGH (from memory); fresh water stays far below.
        (0, 400),
        "plain",
    ),
    _parameter(
        "total_ammonia",
        "Total ammonia: NH3 and NH4+ together.",
        "ammonia",
        ("mg/L NH3-N", "ug/L NH3-N", "mg/L NH3", "mg/L NH4", "mmol/L", "umol/L"),
        # Far beyond what fish outlive; more is a slip of micrograms for milligrams.
        (0, 500),
        "plain",
    ),
    _parameter(
        "nitrite",
        "Nitrite.",
        "nitrite",
        ("mg/L NO2", "ug/L NO2", "mg/L NO2-N", "ug/L NO2-N", "mmol/L", "umol/L"),
        # As for ammonia, weighed as NO2.
        (0, 1500),
        "plain",
    ),
    _parameter(
        "nitrate",
        "Nitrate.",
        "nitrate",
        ("mg/L NO3", "mg/L NO3-N", "mmol/L", "umol/L"),
        # Closed systems reach several thousand; a fertiliser's stock solution is not a reading.
        (0, 10_000),
        "plain",
    ),
    _parameter(
        "phosphate",
        "Phosphate.",
        "phosphate",
        ("mg/L PO4", "ug/L PO4", "mg/L PO4-P", "ug/L PO4-P", "mg/L P2O5", "mmol/L", "umol/L"),
        # Tests and waters end far below.
        (0, 1000),
        "plain",
    ),
    _parameter(
        "dissolved_oxygen",
        "Oxygen dissolved in the water.",
        "concentration",
        ("mg/L", "ug/L"),
        # Saturation at 0 degC is 14.62 mg/L under air (EN 25814), 20.95 % of which is oxygen: 70 in oxygen.
        (0, 70),
        "line",
    ),
    _parameter(
        "conductivity",
        "Electrical conductivity of the water.",
        "conductivity",
        ("uS/cm", "mS/cm", "mS/m", "S/m"),
        # A probe in air shows 0; saturated salt brine about 250 mS/cm (from memory).
        (0, 250_000),
        "line",
    ),
    _parameter(
        "redox",
        "Redox potential, as the electrode shows it.",
        "potential",
        ("mV", "V"),
        # Water itself is split outside about -830 to 1230 mV against hydrogen (textbook values, from memory);
        # usual electrodes show some 200 mV less, strong oxidisers and a poor probe more.
        (-1100, 1500),
        "line",
    ),
    _parameter(
        "co2",
        "Carbon dioxide dissolved in the water.",
        "concentration",
        ("mg/L", "g/L"),
        # Under one atmosphere of pure CO2 at 0 degC water holds about 3400 mg/L (from memory).
        (0, 3500),
        "plain",
    ),
    _parameter(
        "iron",
        "Iron dissolved in the water.",
        "concentration",
        ("mg/L", "ug/L"),
        # Well water rarely passes 50; more is micrograms taken for milligrams.
        (0, 100),
        "plain",
    ),
    _parameter(
        "potassium",
        "Potassium.",
        "potassium",
        ("mg/L K", "mg/L K2O", "mmol/L"),
        # Ten times the potassium of sea water, 0.4 g/L (from memory).
        (0, 4000),
        "plain",
    ),
    _parameter(
        "chlorine",
        "Chlorine in the water, as Cl2.",
        "concentration",
        ("mg/L", "ug/L"),
        # Disinfecting baths stand at some hundreds.
        (0, 1000),
        "plain",
    ),
    _parameter(
        "chloramine",
        "Combined chlorine (chloramine) in the water, as Cl2.",
        "concentration",
        ("mg/L", "ug/L"),
        # As for chlorine.
        (0, 1000),
        "plain",
    ),
    _parameter(
        "chloride",
        "Chloride: that of salt, not of disinfectant.",
        "concentration",
        ("mg/L", "g/L"),
        # Saturated brine holds about 190 g/L (from memory).
        (0, 200_000),
        "plain",
    ),
    _parameter(
        "light",
        "Photosynthetic photons (400 to 700 nm) falling on the place.",
        "photon_flux_density",
        ("umol/m2/s",),
        # Full sun is about 2000 (from memory); a sensor held against a strong lamp may show more, and one in
        # the dark drifts to just below 0.
        (-5, 5000),
        "line",
    ),
    _parameter(
        "water_level",
        "Height of the water above the keeper's mark; negative below it.",
        "length",
        ("mm", "cm", "m", "in", "ft"),
        # No vessel of a room is deeper than 10 m.
        (-10_000, 10_000),
        "line",
    ),
    _parameter(
        "flow",
        "Water passing in a pipe or a section.",
        "flow",
        ("L/h", "L/min", "m3/h", "gal/h", "gal/min", "gal_imp/h", "gal_imp/min"),
        # One cubic metre a second is a stream, not a room. Meters do not show a backward flow as negative.
        (0, 3_600_000),
        "line",
    ),
    _parameter(
        "air_temperature",
        "Temperature of the air.",
        "temperature",
        ("degC", "degF", "K"),
        # From an unheated shed in the coldest places to the inside of a lamp's hood.
        (-60, 90),
        "line",
    ),
    _parameter(
        "humidity",
        "Relative humidity of the air.",
        "fraction",
        ("%", "1"),
        # Saturated air is 100 %; a wet sensor shows a little more.
        (0, 105),
        "line",
    ),
    _parameter(
        "power",
        "Electric power drawn.",
        "power",
        ("W", "kW"),
        # A megawatt is a district. Metering a solar roof may show power given back.
        (-1_000_000, 1_000_000),
        "line",
    ),
    _parameter(
        "energy",
        "The stand of an energy meter, which only counts up.",
        "energy",
        ("kWh", "Wh", "MWh", "MJ"),
        # An old meter may stand anywhere above 0.
        (0, None),
        "line",
    ),
    _parameter(
        "algae_cover",
        "Share of the glass or bottom under algae, by eye.",
        "fraction",
        ("%", "1"),
        # A share of one surface.
        (0, 100),
        "plain",
    ),
    _parameter(
        "plant_cover",
        "Share of the surface or bottom under plants, by eye.",
        "fraction",
        ("%", "1"),
        # A share of one surface.
        (0, 100),
        "plain",
    ),
    _parameter(
        "behaviour_score",
        "How the fish behave, by eye: 0 gravely wrong, 10 nothing to remark.",
        "score",
        ("points",),
        # The scale's own ends.
        (0, 10),
        "plain",
    ),
    _parameter(
        "feeding_response",
        "How the fish take food, by eye: 0 not at all, 10 at once and all of them.",
        "score",
        ("points",),
        # The scale's own ends.
        (0, 10),
        "plain",
    ),
    _contact("leak", "On when water stands where none should."),
    _contact("float", "On when the water holds the float up."),
    _contact("mains_present", "On while the mains supply is there."),
    _contact("pump_running", "On while the pump runs."),
    _contact("lid_open", "On while the lid is open."),
)

PARAMETERS: Mapping[str, Parameter] = MappingProxyType({one.name: one for one in _LIST})
"""Every built-in parameter by name. A keeper may add others to the record."""
