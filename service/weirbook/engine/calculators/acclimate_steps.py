"""The working of an arrival, step by step, as a person would do it with a pocket calculator."""

from __future__ import annotations

from weirbook.engine.calculators.acclimate_case import Arrival
from weirbook.engine.calculators.carbonate_inputs import OPEN_AIR
from weirbook.engine.calculators.carbonate_steps import constant_steps, gas_steps, trial
from weirbook.engine.relations.acclimation import first_step_allowed
from weirbook.engine.relations.ammonia import PKA_BASE, PKA_SLOPE
from weirbook.engine.relations.carbonate import CO2_MASS, equilibria
from weirbook.engine.shape import Step, show, six, step


def arrival_steps(found: Arrival) -> list[Step]:
    return [
        *_temperature(found),
        *_portions(found),
        *_drip(found),
        *_ph(found),
        *_air(found),
        *_ammonia(found),
    ]


def _temperature(found: Arrival) -> list[Step]:
    given, steps = found.given, []
    numbers = {
        "tank": show(given.temperature, "temperature"),
        "bag": show(given.bag_temperature, "temperature"),
        "an_hour": show(given.temperature_an_hour, "temperature_difference"),
    }
    differs = found.warming
    steps.append(
        step("difference of temperature", "{tank} − {bag}", numbers, differs, "temperature_difference")
    )
    numbers["difference"] = show(abs(differs), "temperature_difference")
    steps.append(
        step("hours at the hourly step", "{difference} ÷ {an_hour}", numbers, found.gentle_time, "time", "h")
    )
    if given.time_constant is not None and abs(differs) > given.temperature_an_hour:
        numbers["time_constant"] = show(given.time_constant, "time", "min")
        formula = "{time_constant} × ln({difference} ÷ {an_hour})"
        time = found.evening
        steps.append(step("minutes until an hour's step is left", formula, numbers, time, "time", "min"))
    return steps


def _portions(found: Arrival) -> list[Step]:
    given, plan = found.given, found.mixing
    if found.method == "transfer" or plan is None or not plan.count:
        return []
    if given.bag_conductivity is None or given.conductivity is None:
        return []
    bag, tank, rises = given.bag_conductivity, given.conductivity, given.conductivity > given.bag_conductivity
    first = first_step_allowed(bag, tank, given.conductivity_step)
    numbers = {
        "step": show(given.conductivity_step, "fraction", "1"),
        "bag": show(bag, "conductivity"),
        "tank": show(tank, "conductivity"),
        "difference": show(abs(tank - bag), "conductivity"),
        "first_share": show(first, "fraction", "1"),
        "left_at_most": show(plan.allowed, "fraction", "1"),
        "portion": show(plan.portion, "fraction", "1"),
        "bag_water": show(given.bag_volume, "volume"),
        "count": str(plan.count),
    }
    sign = "+" if rises else "−"
    steps = [
        step(
            "share of the difference that the first portion may move",
            "{step} × {bag} ÷ {difference}",
            numbers,
            first,
            "fraction",
            "1",
        ),
        step(
            "share of it that may be left at the end",
            f"{{step}} × {{tank}} ÷ ((1 {sign} {{step}}) × {{difference}})",
            numbers,
            plan.allowed,
            "fraction",
            "1",
        ),
    ]
    if plan.portion < given.largest_portion:
        formula = "{first_share} ÷ (1 − {first_share})"
        steps.append(
            step("portion, as a share of the bag's water", formula, numbers, plan.portion, "fraction", "1")
        )
    steps.append(
        step(
            f"portions, rounded up to {plan.count}",
            "(1 ÷ {left_at_most} − 1) ÷ {portion}",
            numbers,
            (1 / plan.allowed - 1) / plan.portion,
            "number",
        )
    )
    if found.portions is None:
        return steps
    water = plan.portion * given.bag_volume
    whole = given.bag_volume + plan.count * water
    numbers["portion_water"] = show(water, "volume")
    return [
        *steps,
        step("one portion, in L", "{portion} × {bag_water}", numbers, water, "volume", "L"),
        step(
            "vessel for all of it, in L",
            "{bag_water} + {count} × {portion_water}",
            numbers,
            whole,
            "volume",
            "L",
        ),
    ]


def _drip(found: Arrival) -> list[Step]:
    given, plan, water, time = found.given, found.portions, found.drip_water, found.mixing_time
    if plan is None or not plan.count or water is None or not time:
        return []
    numbers = {
        "bag_water": show(given.bag_volume, "volume"),
        "left_at_most": show(plan.allowed, "fraction", "1"),
        "water": show(water, "volume"),
        "count": str(plan.count),
        "interval": show(given.portion_interval, "time", "h"),
        "time": show(time, "time", "h"),
    }
    formula = "{bag_water} × ln(1 ÷ {left_at_most})"
    return [
        step("hours of mixing", "{count} × {interval}", numbers, time, "time", "h"),
        step("water to drip through instead, in L", formula, numbers, water, "volume", "L"),
        step("its flow, in mL/min", "{water} ÷ {time} × 1000 ÷ 60", numbers, water / time, "flow", "mL/min"),
    ]


def _ph(found: Arrival) -> list[Step]:
    given = found.given
    if given.ph is None or given.bag_ph is None or not found.ph_time:
        return []
    numbers = {
        "higher_pH": str(six(max(given.ph, given.bag_ph))),
        "lower_pH": str(six(min(given.ph, given.bag_ph))),
        "step": str(six(given.ph_step)),
    }
    formula = "({higher_pH} − {lower_pH}) ÷ {step}"
    return [step("days that pH wants", formula, numbers, found.ph_time, "time", "d")]


def _air(found: Arrival) -> list[Step]:
    """The pH that the bag's alkalinity and the air's CO2 come to."""
    given, in_air = found.given, found.co2_aired * CO2_MASS
    if given.bag_alkalinity is None:
        return []
    return [
        *constant_steps(given.temperature),
        *gas_steps(given.temperature, OPEN_AIR, 0.0, in_air),
        trial(
            "of the bag in balance with the air",
            equilibria(given.temperature),
            found.ph_aired,
            given.bag_alkalinity,
            in_air,
        ),
    ]


def _ammonia(found: Arrival) -> list[Step]:
    given, steps = found.given, []
    for words, ph, temperature, share in (
        ("in the bag", given.bag_ph, given.bag_temperature, found.toxic_share_before),
        ("at the tank's pH and temperature", given.ph, given.temperature, found.toxic_share_after),
        ("at the highest pH", found.ph_highest, given.temperature, found.toxic_share_highest),
    ):
        if ph is None or share is None:
            continue
        numbers = {"temperature": show(temperature, "temperature", "K"), "pH": str(six(ph))}
        formula = f"1 ÷ (1 + 10 ^ ({PKA_BASE} + {PKA_SLOPE} ÷ {{temperature}} − {{pH}}))"
        steps.append(step(f"poisonous share of ammonia {words}", formula, numbers, share, "fraction", "1"))
        if given.bag_ammonia is not None:
            numbers |= {"total": show(given.bag_ammonia, "ammonia"), "share": show(share, "fraction", "1")}
            value = share * given.bag_ammonia
            steps.append(step(f"un-ionized ammonia {words}", "{share} × {total}", numbers, value, "ammonia"))
    return steps
