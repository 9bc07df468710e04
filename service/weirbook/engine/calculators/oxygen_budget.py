"""What uses the oxygen of a stocked water, and how long it lasts once air and pumps have stopped."""

from __future__ import annotations

from weirbook.engine.calculators.oxygen_air import Air
from weirbook.engine.calculators.oxygen_budget_care import LIMITS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.oxygen_budget_case import Budget, Inputs, lots
from weirbook.engine.calculators.oxygen_budget_steps import demand_steps, time_steps
from weirbook.engine.relations.oxygen import Depletion
from weirbook.engine.shape import TEXT, Calculator, Result, Working, show
from weirbook.errors import Fault, Invalid


def solve(given: Inputs) -> Working:
    """Demand of fish and filter, oxygen in store, and the times until it is down to the least.

    Equations: fish R = activity x R50(T) (m / 50 g)^0.80 each (`respiration`); filter = feed x protein x 0.092 x 4.569;
    with no air t = (C0 - C*) V / R; through the surface dC/dt = (k A / V) (Cs - C) - R / V, `Depletion`, at the
    slowest and the fastest exchange of still water; carbon dioxide = 1.375 x oxygen of the fish.
    Shapes and units: SI, see `Inputs`.
    Valid for: bony fish, 0 to 30 degC, well-mixed water without bubbles or stirring.
    Uncertainty: a factor of 2 for a species, of 8 for the exchange of a still surface, hence a range.
    Raises: Invalid for no fish, fish told twice, less than one fish, a slowest exchange above the fastest, water
    that boils.
    Source: see SOURCES.
    Not covered: plants, algae and mulm; fish that breathe air; what aeration must supply.
    """
    if given.slowest_exchange > given.fastest_exchange:
        words = (
            f"The slowest exchange, {show(given.slowest_exchange, 'velocity', 'mm/h')}, is more than the fastest,"
            f" {show(given.fastest_exchange, 'velocity', 'mm/h')}."
        )
        raise Invalid(words, faults=[Fault("/slowest_exchange", words)])
    found = Budget(given, lots(given), Air(given))
    values = {
        "verdict": found.verdict,
        "why": found.why,
        "fish_demand": found.of_fish,
        "uptake": found.of_fish / found.fish_mass,
        "filter_demand": found.of_filter,
        "total_demand": found.demand,
        "carbon_dioxide": found.carbon_dioxide,
        "saturation": found.air.saturation,
        "start": found.start,
        "usable_oxygen": found.usable,
        "time_without_air": found.sealed,
        "time_slow_exchange": found.time_of(found.slow),
        "time_fast_exchange": found.time_of(found.fast),
        "settles_slow_exchange": _settles(found.slow),
        "settles_fast_exchange": _settles(found.fast),
        "groups": [
            {
                "name": lot.name,
                "fish_mass": lot.mass,
                "demand": lot.demand,
                "uptake": lot.demand / lot.mass,
            }
            for lot in found.lots
        ],
    }
    steps = [*found.air.steps, *demand_steps(found), *time_steps(found)]
    return Working(values, steps, assumptions(found), cautions(found))


def _settles(one: Depletion | None) -> float | None:
    """Nothing is left where more is used than the surface can bring."""
    if one is None:
        return None
    return 0.0 if one.settles is None else max(one.settles, 0.0)


OXYGEN_BUDGET = Calculator(
    name="oxygen-budget",
    title="Oxygen budget",
    doc=(
        "How much oxygen the fish and the filter's bacteria use, how much the water has in store, and how long that"
        " lasts once air and pumps have stopped: with no air at all, and with what a still surface lets in, from its"
        " slowest to its fastest. Also where it would settle, and the carbon dioxide that fish give off."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "ok: with no air at all half the time lasts as long as nobody may notice, and the start is measured; watch:"
            " only the whole time does, or only with what the surface lets in at its fastest; over: not even so, or too"
            " little now; unknown: the surface is not known.",
        ),
        Result("why", TEXT, "What the verdict rests on."),
        Result("fish_demand", "mass_flow", "Oxygen that the fish use.", "mg/h"),
        Result("uptake", "specific_uptake", "The same for each kilogram of them."),
        Result("filter_demand", "mass_flow", "Oxygen that turns the feed's ammonia into nitrate.", "mg/h"),
        Result("total_demand", "mass_flow", "Both together.", "mg/h"),
        Result("carbon_dioxide", "mass_flow", "Given off by the fish.", "mg/h"),
        Result("saturation", "concentration", "Oxygen that the water holds in balance with air."),
        Result("start", "concentration", "Oxygen that it starts with: as measured, else all it holds."),
        Result("usable_oxygen", "mass", "In the water above the least.", "mg"),
        Result("time_without_air", "time", "Until the least, with no air at all."),
        Result(
            "time_slow_exchange",
            "time",
            "Until the least, with the slowest exchange of a still surface; none where it never comes to it, or the"
            " surface is not known.",
        ),
        Result("time_fast_exchange", "time", "The same with the fastest exchange."),
        Result(
            "settles_slow_exchange",
            "concentration",
            "Where it ends with the slowest exchange; 0 where all is used up, none where the surface is not known.",
        ),
        Result("settles_fast_exchange", "concentration", "The same with the fastest exchange."),
        Result(
            "groups",
            "list",
            "The fish, group by group.",
            fields=(
                Result("name", TEXT, "The group."),
                Result("fish_mass", "mass", "All of it."),
                Result("demand", "mass_flow", "Oxygen that it uses.", "mg/h"),
                Result("uptake", "specific_uptake", "The same for each kilogram."),
            ),
        ),
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={
        "volume": "240 L",
        "temperature": "26 degC",
        "fish_mass": "900 g",
        "mean_fish_mass": "15 g",
        "feed": "12 g/d",
        "protein": "45 %",
        "open_surface": "0.5 m2",
        "altitude": "150 m",
    },
    doors=("systems",),
    asks={"fish_mass": "900 g", "mean_fish_mass": "15 g"},
)
