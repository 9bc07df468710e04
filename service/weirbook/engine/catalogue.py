"""Every calculator, in one visible tuple."""

from __future__ import annotations

from weirbook.engine.calculators.acclimate import ACCLIMATE
from weirbook.engine.calculators.ammonia import AMMONIA
from weirbook.engine.calculators.arrival_losses import ARRIVAL_LOSSES
from weirbook.engine.calculators.baffle_levels import BAFFLE_LEVELS
from weirbook.engine.calculators.carbonate import CARBONATE
from weirbook.engine.calculators.chamber_flow import CHAMBER_FLOW
from weirbook.engine.calculators.conductivity import CONDUCTIVITY
from weirbook.engine.calculators.dechlorinate import DECHLORINATE
from weirbook.engine.calculators.detection_sample import DETECTION_SAMPLE
from weirbook.engine.calculators.dose import DOSE
from weirbook.engine.calculators.dose_recipe import DOSE_RECIPE
from weirbook.engine.calculators.dose_schedule import DOSE_SCHEDULE
from weirbook.engine.calculators.dose_stock import DOSE_STOCK
from weirbook.engine.calculators.dose_treatment import DOSE_TREATMENT
from weirbook.engine.calculators.drain_capacity import DRAIN_CAPACITY
from weirbook.engine.calculators.flow_fade import FLOW_FADE
from weirbook.engine.calculators.flow_split import FLOW_SPLIT
from weirbook.engine.calculators.hardness import HARDNESS
from weirbook.engine.calculators.harvest import HARVEST
from weirbook.engine.calculators.loss_rates import LOSS_RATES
from weirbook.engine.calculators.mixing import MIXING
from weirbook.engine.calculators.nitrifier_surface import NITRIFIER_SURFACE
from weirbook.engine.calculators.nutrients import NUTRIENTS
from weirbook.engine.calculators.overflow_blocked import OVERFLOW_BLOCKED
from weirbook.engine.calculators.oxygen_budget import OXYGEN_BUDGET
from weirbook.engine.calculators.oxygen_saturation import OXYGEN_SATURATION
from weirbook.engine.calculators.plant_bed import PLANT_BED
from weirbook.engine.calculators.plant_uptake import PLANT_UPTAKE
from weirbook.engine.calculators.pump_point import PUMP_POINT
from weirbook.engine.calculators.salt_change import SALT_CHANGE
from weirbook.engine.calculators.settling_box import SETTLING_BOX
from weirbook.engine.calculators.stop_flow import STOP_FLOW
from weirbook.engine.calculators.survival import SURVIVAL
from weirbook.engine.calculators.tank_volume import TANK_VOLUME
from weirbook.engine.calculators.top_off import TOP_OFF
from weirbook.engine.calculators.trend import TREND
from weirbook.engine.calculators.turnover import TURNOVER
from weirbook.engine.calculators.two_samples import TWO_SAMPLES
from weirbook.engine.calculators.two_shares import TWO_SHARES
from weirbook.engine.calculators.water_blend import WATER_BLEND
from weirbook.engine.calculators.water_change import WATER_CHANGE
from weirbook.engine.calculators.water_change_temperature import WATER_CHANGE_TEMPERATURE
from weirbook.engine.calculators.weir_head import WEIR_HEAD
from weirbook.engine.shape import Calculator
from weirbook.errors import Unknown

CALCULATORS: tuple[Calculator, ...] = (
    ACCLIMATE,
    AMMONIA,
    ARRIVAL_LOSSES,
    BAFFLE_LEVELS,
    CARBONATE,
    CHAMBER_FLOW,
    CONDUCTIVITY,
    DECHLORINATE,
    DETECTION_SAMPLE,
    DOSE,
    DOSE_RECIPE,
    DOSE_SCHEDULE,
    DOSE_STOCK,
    DOSE_TREATMENT,
    DRAIN_CAPACITY,
    FLOW_FADE,
    FLOW_SPLIT,
    HARDNESS,
    HARVEST,
    LOSS_RATES,
    MIXING,
    NITRIFIER_SURFACE,
    NUTRIENTS,
    OVERFLOW_BLOCKED,
    OXYGEN_BUDGET,
    OXYGEN_SATURATION,
    PLANT_BED,
    PLANT_UPTAKE,
    PUMP_POINT,
    SALT_CHANGE,
    SETTLING_BOX,
    STOP_FLOW,
    SURVIVAL,
    TANK_VOLUME,
    TOP_OFF,
    TREND,
    TURNOVER,
    TWO_SAMPLES,
    TWO_SHARES,
    WATER_BLEND,
    WATER_CHANGE,
    WATER_CHANGE_TEMPERATURE,
    WEIR_HEAD,
)


def calculator(name: str) -> Calculator:
    """The calculator of that name. Raises Unknown naming those there are."""
    for one in CALCULATORS:
        if one.name == name:
            return one
    offered = ", ".join(one.name for one in CALCULATORS)
    raise Unknown(f"There is no calculator of that name. There are: {offered}.")
