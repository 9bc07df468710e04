"""The working of an oxygen budget, step by step, as a person would do it with a pocket calculator."""

from __future__ import annotations

from weirbook.engine.calculators.oxygen_budget_case import Budget
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.relations.nitrogen import AMMONIA_OF_PROTEIN, WITHOUT_GROWTH
from weirbook.engine.relations.oxygen import (
    WARMEST_SCHMIDT,
    Depletion,
    resting_rate,
    schmidt_number,
    transfer_velocity,
)
from weirbook.engine.shape import Step, show, six, step

OXYGEN, DIOXIDE = molar_mass("O2") * 1000, molar_mass("CO2") * 1000


def _hourly(rate: float) -> str:
    return show(rate, "mass_flow", "mg/h")


def demand_steps(found: Budget) -> list[Step]:
    given = found.given
    temperature = given.temperature
    resting = resting_rate(temperature)
    numbers = {
        "temperature": show(temperature, "temperature"),
        "mmol": str(six(resting * 3600 * 1e6 / OXYGEN)),
        "of_50_g": _hourly(resting),
    }
    steps = [
        step(
            "a resting fish of 50 g, in mmol of oxygen an hour",
            "exp(15.7 − 5020 ÷ ({temperature} + 273.15))",
            numbers,
            resting * 3600 * 1e6 / OXYGEN,
            "number",
        ),
        step("the same in mg an hour", f"{{mmol}} × {six(OXYGEN)}", numbers, resting, "mass_flow", "mg/h"),
    ]
    if given.fish_mass is not None:
        steps.append(_count_step(given.fish_mass, found.lots[0].mass_of_one))
    for lot in found.lots:
        numbers |= {
            "mass_of_one": show(lot.mass_of_one, "mass", "g"),
            "count": str(six(lot.count)),
            "activity": str(six(lot.activity)),
        }
        words = "{of_50_g} × ({mass_of_one} ÷ 50) ^ 0.8 × {count} × {activity}"
        steps.append(
            step(f"{lot.name}: oxygen in mg an hour", words, numbers, lot.demand, "mass_flow", "mg/h")
        )
    if len(found.lots) > 1:
        each = {f"group_{number}": _hourly(lot.demand) for number, lot in enumerate(found.lots, 1)}
        words = " + ".join(f"{{{name}}}" for name in each)
        steps.append(step("all fish, in mg an hour", words, each, found.of_fish, "mass_flow", "mg/h"))
    return [*steps, *_sum_steps(found)]


def _count_step(mass: float, of_one: float) -> Step:
    numbers = {"all_fish": show(mass, "mass", "g"), "mass_of_one": show(of_one, "mass", "g")}
    return step("fish", "{all_fish} ÷ {mass_of_one}", numbers, mass / of_one, "number")


def _sum_steps(found: Budget) -> list[Step]:
    given = found.given
    numbers = {
        "feed": show(given.feed, "mass_flow", "g/d"),
        "protein": show(given.protein, "fraction", "1"),
        "nitrogen": show(found.nitrogen, "mass_flow", "g/d"),
        "oxygen_to_nitrogen": str(six(WITHOUT_GROWTH.oxygen)),
        "fish": _hourly(found.of_fish),
        "filter": _hourly(found.of_filter),
    }
    by_feed = f"{{feed}} × {{protein}} × {AMMONIA_OF_PROTEIN}"
    by_nitrogen = "{nitrogen} × {oxygen_to_nitrogen} × 1000 ÷ 24"
    by_mass = f"{{fish}} × {six(DIOXIDE)} ÷ {six(OXYGEN)}"
    dioxide = found.carbon_dioxide
    return [
        step(
            "ammonia's nitrogen of the feed, in g a day", by_feed, numbers, found.nitrogen, "mass_flow", "g/d"
        ),
        step("oxygen for it, in mg an hour", by_nitrogen, numbers, found.of_filter, "mass_flow", "mg/h"),
        step("oxygen in all, in mg an hour", "{fish} + {filter}", numbers, found.demand, "mass_flow", "mg/h"),
        step("carbon dioxide of the fish, in mg an hour", by_mass, numbers, dioxide, "mass_flow", "mg/h"),
    ]


def time_steps(found: Budget) -> list[Step]:
    given = found.given
    if found.start <= given.least_oxygen:
        return []
    numbers = {
        "start": show(found.start, "concentration"),
        "least": show(given.least_oxygen, "concentration"),
        "volume": show(given.volume, "volume"),
        "usable": show(found.usable, "mass", "mg"),
        "demand": _hourly(found.demand),
    }
    shut = [
        step("usable oxygen, in mg", "({start} − {least}) × {volume}", numbers, found.usable, "mass", "mg"),
        step("hours with no air", "{usable} ÷ {demand}", numbers, found.sealed, "time", "h"),
    ]
    return [*shut, *_surface_steps(found)]


def _surface_steps(found: Budget) -> list[Step]:
    given = found.given
    if found.slow is None or found.fast is None or not given.open_surface:
        return []
    warm = given.temperature > WARMEST_SCHMIDT
    t = "30" if warm else "{temperature}"
    numbers = {"temperature": show(given.temperature, "temperature")}
    schmidt = schmidt_number(given.temperature)
    words = f"1800.6 − 120.1 × {t} + 3.7818 × {t} ^ 2 − 0.047608 × {t} ^ 3"
    gives = "Schmidt number of oxygen" + (", as at 30 degC" if warm else "")
    return [
        step(gives, words, numbers, schmidt, "number"),
        *_exchange_steps(found, "slow", given.slowest_exchange, found.slow),
        *_exchange_steps(found, "fast", given.fastest_exchange, found.fast),
    ]


def _exchange_steps(found: Budget, speed: str, k600: float, one: Depletion) -> list[Step]:
    given = found.given
    if not one.exchange or one.settles is None or given.open_surface is None:
        return []
    velocity = transfer_velocity(k600, given.temperature)
    numbers = {
        "k600": show(k600, "velocity", "mm/h"),
        "Schmidt_number": str(six(schmidt_number(given.temperature))),
        "velocity": show(velocity, "velocity", "mm/h"),
        "open_surface": show(given.open_surface, "area", "m2"),
        "through_surface": show(one.exchange, "flow"),
        "saturation": show(found.air.saturation, "concentration"),
        "demand": _hourly(found.demand),
    }
    steps = [
        step(
            f"{speed} exchange of oxygen, in mm an hour",
            "{k600} × sqrt(600 ÷ {Schmidt_number})",
            numbers,
            velocity,
            "velocity",
            "mm/h",
        ),
        step(
            f"water that {speed} exchange renews, in L an hour",
            "{velocity} × {open_surface}",
            numbers,
            one.exchange,
            "flow",
        ),
        step(
            f"level it would settle at with {speed} exchange; below 0 all is used up",
            "{saturation} − {demand} ÷ {through_surface}",
            numbers,
            one.settles,
            "concentration",
        ),
    ]
    time = found.time_of(one)
    return steps if time is None else [*steps, _time_step(found, speed, one, one.settles, time)]


def _time_step(found: Budget, speed: str, one: Depletion, settles: float, time: float) -> Step:
    numbers = {
        "volume": show(found.given.volume, "volume"),
        "through_surface": show(one.exchange, "flow"),
        "start": show(found.start, "concentration"),
        "least": show(found.given.least_oxygen, "concentration"),
        "settling_level": show(abs(settles), "concentration"),
    }
    sign = "−" if settles >= 0 else "+"
    words = (
        "{volume} ÷ {through_surface} × ln(({start} SIGN {settling_level}) ÷ ({least} SIGN {settling_level}))"
    ).replace("SIGN", sign)
    if settles < 0:
        numbers["used_beyond_0"] = numbers.pop("settling_level")
        words = words.replace("settling_level", "used_beyond_0")
    return step(f"hours with {speed} exchange", words, numbers, time, "time", "h")
