"""What to weigh or measure out to take chlorine and chloramine out of tap water, and the ammonia that is left."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.dechlorinate_care import (
    LIMITS_OF_IT,
    SOURCES,
    assumptions,
    cautions,
    judged,
)
from weirbook.engine.calculators.dechlorinate_inputs import Inputs, refuse_contradictions
from weirbook.engine.calculators.dechlorinate_steps import steps
from weirbook.engine.relations.ammonia import pka, un_ionized_share
from weirbook.engine.relations.dechlorination import (
    AGENTS,
    THIOSULFATE_ENDS,
    agent_per_chlorine,
    ammonia_set_free,
    spread,
)
from weirbook.engine.shape import TEXT, Calculator, Result, Working, show
from weirbook.errors import Fault, Invalid


def solve(given: Inputs) -> Working:
    """A dose against chlorine, and what chloramine leaves behind.

    Equations: m = c V r (1 + excess) / purity, r by `agent_per_chlorine` or the keeper's own; of a product by label,
    its amount x V / treated volume x the greater of 1 and chlorine once mixed / what the label neutralises; ammonia by
    `ammonia_set_free`, thinned by new water / system, un-ionized by `ammonia.un_ionized_share`.
    Shapes and units: SI, see `Inputs`; chlorine and chloramine as Cl2.
    Valid for: tap water; agent and water well mixed for some minutes.
    Uncertainty: of the weights 2 parts in 10,000; of the reaction see `ratio_low` and `ratio_high`; in practice that
    of the chlorine, which changes by season and hour.
    Raises: Invalid for no chlorine told, a total below its part, a product half described or beside a compound, more
    new water than the system holds, more stock than there is water.
    Source: see SOURCES.
    Not covered: agents of unknown make, ammonia binders, how long chloramine takes, activated carbon, ageing.
    """
    refuse_contradictions(given)
    ratio, low, high = _ratios(given)
    amount, liquid = _amounts(given, ratio)
    if liquid is not None and liquid > given.treated:
        by = "stock_strength" if given.stock_strength is not None else "product_volume"
        words = f"It would take {show(liquid, 'volume')} of it, more than there is water: check the figure."
        raise Invalid("The inputs contradict each other.", faults=[Fault(f"/{by}", words)])
    values: dict[str, Any] = {
        "chlorine_total": given.total,
        "chlorine_mass": None if given.total is None else given.total * given.new_water,
        "volume_treated": given.treated,
        "ratio": ratio,
        "ratio_low": low,
        "ratio_high": high,
        "amount": amount,
        "liquid_volume": liquid,
        **_ammonia(given),
    }
    values["verdict"], values["why"] = judged(given, values)
    return Working(values, steps(given, values), assumptions(given, values), cautions(given, values))


def _ratios(given: Inputs) -> tuple[float | None, float | None, float | None]:
    """Mass of agent for a mass of chlorine: used, least and most; none of a product."""
    if given.is_product:
        return None, None, None
    agent = AGENTS[given.agent]
    moles = THIOSULFATE_ENDS[given.thiosulfate_ends_as] if agent.is_thiosulfate else agent.moles
    ratio = given.agent_ratio or agent_per_chlorine(agent.formula, moles)
    return ratio, *spread(agent)


def _amounts(given: Inputs, ratio: float | None) -> tuple[float | None, float | None]:
    """Mass, and volume of a liquid; None where there is none."""
    if ratio is not None:
        assert given.total is not None
        mass = given.total * given.new_water * ratio * (1 + given.reserve) / given.purity
        return mass, mass / given.stock_strength if given.stock_strength else None
    assert given.product_treats is not None
    doses = given.treated / given.product_treats * _label_times(given)
    if given.product_mass is not None:
        return given.product_mass * doses, None
    assert given.product_volume is not None
    return None, given.product_volume * doses


def _label_times(given: Inputs) -> float:
    """How often the label's dose is needed: never less than once where there is any chlorine."""
    if given.total == 0:
        return 0.0
    if given.mixed_total is None or given.product_neutralises is None:
        return 1.0
    return max(1.0, given.mixed_total / given.product_neutralises)


def _ammonia(given: Inputs) -> dict[str, float | None]:
    """All the nitrogen that can come of it, and its un-ionized part, mol/m3; None where something is not told."""
    freed = None if given.combined is None else ammonia_set_free(given.combined)
    share = given.system_volume and given.new_water / given.system_volume
    rise = None if freed is None or share is None else freed * share
    after = None
    if rise is not None and share is not None:
        after = (given.ammonia_present or 0.0) * max(0.0, 1 - share) + rise
    known = given.ph is not None and given.temperature is not None
    fraction = un_ionized_share(given.ph, pka(given.temperature)) if known else None  # type: ignore[arg-type]
    toxic = None if after is None or fraction is None else after * fraction
    return {
        "ammonia_set_free": freed,
        "ammonia_rise": rise,
        "ammonia_after": after,
        "un_ionized_share": fraction,
        "un_ionized_after": toxic,
        "un_ionized_after_as_nh3": toxic,
    }


def _ammonia_result(name: str, doc: str, unit: str | None = None) -> Result:
    return Result(name, "ammonia", doc, unit)


DECHLORINATE = Calculator(
    name="dechlorinate",
    title="Dechlorinate",
    doc=(
        "How much of a compound, or of a product by its label, takes chlorine and chloramine out of new tap water: dry,"
        " or as a stock solution. How far the published figures for the compound lie apart, how much ammonia the"
        " chloramine leaves behind, what it comes to in the whole system, and how much of that is un-ionized. The"
        " product's label goes before all of it."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "On the un-ionized ammonia afterwards: ok; watch (strains fish); over (harm begins); unknown.",
        ),
        Result("why", TEXT, "The verdict in words."),
        Result(
            "chlorine_total",
            "concentration",
            "Free chlorine and chloramine in the tap water, as Cl2; none if not told.",
        ),
        Result("chlorine_mass", "mass", "Of both in the new water, as Cl2; none if not told.", "mg"),
        Result(
            "volume_treated", "volume", "That the dose counts: new water, or the system for a product in it."
        ),
        Result(
            "ratio", "number", "Mass of agent for a mass of chlorine, before the excess; none of a product."
        ),
        Result("ratio_low", "number", "The least that reactions or the field guide give; none of a product."),
        Result("ratio_high", "number", "The most that they give; none of a product."),
        Result("amount", "mass", "To weigh out; none of a liquid product."),
        Result("liquid_volume", "volume", "Of stock solution or liquid product; none if added dry.", "mL"),
        _ammonia_result(
            "ammonia_set_free",
            "Total ammonia in the new water from its chloramine, at most; none if unknown.",
        ),
        _ammonia_result("ammonia_rise", "The same thinned by the whole system; none without its volume."),
        _ammonia_result("ammonia_after", "Total ammonia in the system after the change; none if unknown."),
        Result("un_ionized_share", "fraction", "Share of total ammonia that is un-ionized; none if unknown."),
        _ammonia_result("un_ionized_after", "Un-ionized ammonia after the change, as N; none if unknown."),
        _ammonia_result(
            "un_ionized_after_as_nh3",
            "The same weighed as NH3, as some tables and tests show it.",
            "mg/L NH3",
        ),
    ),
    limits=LIMITS_OF_IT,
    sources=SOURCES,
    solve=solve,
    example={
        "new_water": "120 L",
        "agent": "thiosulfate_pentahydrate",
        "chlorine": "0.3 mg/L",
        "chloramine": "1.8 mg/L",
        "system_volume": "450 L",
        "stock_strength": "100 g/L",
        "ph": "7.6 pH",
        "temperature": "25 degC",
        "ammonia_present": "0 mg/L NH3-N",
    },
    doors=("systems",),
    asks={"agent": "thiosulfate_pentahydrate"},
)
