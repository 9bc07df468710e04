"""The working of a system's nutrient balance, and what it rests on, as answers of calculators show them."""

from __future__ import annotations

from collections.abc import Iterator

from weirbook.actions.compare_nutrients import ELEMENTS, FLOWS, KG_A_MOLE, NAMES, Balance, Comparison
from weirbook.engine.calculators.plants_care import IN_PLANTS
from weirbook.engine.relations.nitrogen import AMMONIA_OF_PROTEIN, EXCRETION_SPREAD, PHOSPHORUS_KEPT
from weirbook.engine.shape import Assumption, Caution, Source, Step, show, step
from weirbook.engine.units import KINDS, to_si

COMES, LEAVES = FLOWS[:5], FLOWS[5:]


def steps_of(found: Comparison) -> Iterator[Step]:
    """Each species from its first test to the last day: in grams of its element, then as it is tested."""
    for balance in found.balances.values():
        yield from _of(found, balance)


def _of(found: Comparison, balance: Balance) -> Iterator[Step]:
    element, parameter = ELEMENTS[balance.parameter], balance.parameter
    unit = KINDS[parameter].default
    mole = KG_A_MOLE[parameter]
    volume = show(found.volume, "volume")
    start = balance.start.value * found.volume * mole
    held_as = f"g of {element} in the water at first"
    numbers = {
        "first_test": show(balance.start.value, parameter, unit),
        "litres": volume,
        f"mg_of_{element}_in_a_mg_as_tested": f"{_of_a_mg(parameter, unit):.6g}",
    }
    share = f"mg_of_{element}_in_a_mg_as_tested"
    formula = f"{{first_test}} × {{litres}} × {{{share}}} ÷ 1000"
    yield step(held_as, formula, numbers, start, "mass", "g")
    terms = {name: balance.whole[name] for name in FLOWS if balance.whole[name]}
    numbers = {"at_first": show(start, "mass", "g")}
    formula = "{at_first}"
    for name, value in terms.items():
        word = NAMES[name].replace(" ", "_").replace("-", "_")
        numbers[word] = show(value, "mass", "g")
        formula += f" {'+' if name in COMES else '−'} {{{word}}}"
    end = start + balance.change
    yield step(f"g of {element} at the end, likely case", formula, numbers, end, "mass", "g")
    numbers = {
        f"g_of_{element}": show(end, "mass", "g"),
        f"mg_of_{element}_in_a_mg_as_tested": f"{_of_a_mg(parameter, unit):.6g}",
        "litres": volume,
    }
    formula = f"{{g_of_{element}}} × 1000 ÷ {{{share}}} ÷ {{litres}}"
    yield step(
        f"{parameter} at the end, likely case", formula, numbers, end / found.volume / mole, parameter, unit
    )


def _of_a_mg(parameter: str, unit: str) -> float:
    """mg of the element in a mg as the default unit tells it: 0.2259 for mg/L NO3."""
    return to_si(1.0, unit, parameter) * KG_A_MOLE[parameter] * 1000


def assumptions_of(found: Comparison) -> list[Assumption]:
    low, likely, high = (100 * (1 - one) for one in reversed(PHOSPHORUS_KEPT))
    return [
        Assumption(
            f"Of the protein fed {100 * AMMONIA_OF_PROTEIN:.3g} % becomes nitrogen in the water, and the filter turns it into"
            f" nitrate at once; the band counts {100 * EXCRETION_SPREAD:.0f} % more or less.",
            "default",
        ),
        Assumption(
            f"Of the phosphorus fed {likely:.0f} % stays in the water ({low:.0f} to {high:.0f} %).",
            "common practice",
        ),
        Assumption(
            "Plants take up what is published of their form of growth, the middle of the range in the likely case; where"
            " harvests were weighed, what those carried off instead.",
            "default",
        ),
        Assumption(
            "A test may lie off by a fifth of what it reads, or 2 mg/L NO3, or 0.1 mg/L PO4.",
            "common practice",
        ),
        Assumption("All food told is eaten; what a ration says is what was fed.", "record"),
        *(Assumption(words, "record") for words in found.assumed),
    ]


CAUTIONS = (
    Caution(
        "not-proof",
        "A difference points somewhere, it proves nothing: change one thing, and test again for some weeks.",
    ),
    Caution(
        "plants-range",
        "What plants take up is known to a factor of ten and more; light, cropping and cold decide.",
    ),
)

SOURCES = (
    Source(
        "Conservation of mass",
        None,
        "What comes in, less what leaves, is what stays",
        "any textbook",
        "Each day is solved exactly; tests hold every day's balance to 1e-9.",
    ),
    Source(
        "Timmons, M. B., Ebeling, J. M.",
        None,
        "Recirculating Aquaculture",
        "ammonia of the protein fed, 0.092",
        "From memory; FAO Technical Paper 589 makes it 0.0976.",
    ),
    Source(
        "Reddy, K. R., DeBusk, W. F.",
        1987,
        "Uptake of nitrogen and phosphorus by aquatic plants",
        "compiled ranges",
        "From memory.",
    ),
    *IN_PLANTS,
)
