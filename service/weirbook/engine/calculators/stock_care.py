"""What a stock solution takes for granted, what to beware of, and whether it stays dissolved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from weirbook.engine.calculators.dose_care import (
    ALGAE,
    AMMONIA,
    GRADE,
    MEASURE_AGAIN,
    NEARLY,
    POISON,
    SALT,
    THINNING,
    assumptions_of,
    cautions_by_compound,
    cautions_of_stock,
    named,
    side_ions,
    two_forms,
)
from weirbook.engine.calculators.dose_care import SOURCES as DOSE_SOURCES
from weirbook.engine.calculators.dose_verdict import too_much
from weirbook.engine.calculators.stock_inputs import Bottle
from weirbook.engine.relations.chemistry import COMPOUNDS, IONS, gas_pairs, sludge_pairs
from weirbook.engine.relations.limits import LIMITS as LIMITS_OF_WATER
from weirbook.engine.relations.limits import PRACTICE
from weirbook.engine.saying import less, more, near
from weirbook.engine.shape import Assumption, Caution, show

MUCH = 5.0
"""K below a table's temperature, from which on it is taken as half. Common practice, no source."""


def pair_words(pairs: list[tuple[str, str]]) -> str:
    return ", ".join(f"{IONS[one].name} with {IONS[other].name}" for one, other in pairs)


def verdict_of(found: Bottle) -> tuple[str, str]:
    """Whether the bottle stays clear, and why."""
    compounds = [one.made_of for one in found.contents]
    if why := too_much(found.given.parameter, found.given.rise):
        return "over", f"One dose raises {found.given.parameter.replace('_', ' ')} too far: {why}"
    if gases := gas_pairs(compounds):
        return (
            "over",
            f"It sets gas free in a closed bottle: {pair_words(gases)}. Keep them in bottles of their own.",
        )
    if sludge := sludge_pairs(compounds):
        return "over", f"It makes sludge: {pair_words(sludge)}. Keep them in bottles of their own."
    unknown = [one.made_of.name for one in found.contents if one.share is None]
    over = [one.made_of.name for one in found.contents if one.share is not None and one.share > 1]
    if over:
        return "watch", f"It may leave crystals of {', '.join(over)}: only a trial tells."
    full = found.fullness
    if full is not None and full > 1:
        return "watch", "Each salt alone dissolves, but all of them share one water: together they may not."
    if unknown:
        return "unknown", f"How much dissolves of {', '.join(unknown)} is not known here: try a little first."
    if full is not None and full > (NEARLY / 2 if _much_colder(found) else NEARLY):
        return "watch", "It is nearly full for its temperature: in a cold room crystals fall out."
    return "ok", "It dissolves, by the figures of the sources."


def _much_colder(found: Bottle) -> bool:
    """Whether it stands so cold that some salts dissolve by half of what the table tells."""
    tables = [one.made_of.solubility.temperature for one in found.contents if one.made_of.solubility]
    return any(found.given.stock_temperature < table - MUCH for table in tables)


def assumptions(found: Bottle) -> list[Assumption]:
    told = [
        Assumption(
            "The salts are weighed first and the bottle is then filled up with water to its volume: a litre of finished"
            " stock, not a litre of water.",
            "default",
        ),
        Assumption(
            "The volume counts all water that a dose mixes into: every tank of the system, and its sump.",
            "default",
        ),
        Assumption("Nothing falls out of the bottle, and nothing uses up or binds the dose.", "default"),
    ]
    if len(found.contents) > 1:
        words = "Each salt takes its share of the water, as if it were alone in it; together they count as the sum."
        told.append(Assumption(words, "common practice"))
    for one in found.contents:
        told += assumptions_of(one.made_of, one.purity)
    return told


def cautions(found: Bottle, ions_added: Sequence[Mapping[str, Any]]) -> list[Caution]:
    given, contents = found.given, found.contents
    ions = {ion for one in contents for ion in one.made_of.ions}
    told = [*_of_the_mix(found), MEASURE_AGAIN]
    if "NH4" in ions:
        told.append(POISON)
    if ions & {"HCO3", "CO3"}:
        told.append(AMMONIA)
    if "H2PO4" in ions:
        told.append(ALGAE)
    if COMPOUNDS["sodium_chloride"] in [one.made_of for one in contents]:
        told.append(SALT)
    told += cautions_by_compound([one.word for one in contents])
    for one in contents:
        of_it = cautions_of_stock(one.made_of, one.strength, given.stock_temperature)
        told += [named(caution, one.made_of.name) for caution in of_it]
    told += [*side_ions(ions_added, {given.parameter}), *_of_the_dose(found)]
    return [*told, *two_forms(given.parameter, given.rise), BOTTLE, GRADE]


def _of_the_mix(found: Bottle) -> list[Caution]:
    compounds, told = [one.made_of for one in found.contents], []
    if gases := gas_pairs(compounds):
        words = (
            f"These set gas free, and a closed bottle may burst: {pair_words(gases)}. Never store them mixed."
        )
        told.append(Caution("sets-gas-free", words))
    if sludge := sludge_pairs(compounds):
        words = (
            f"In a strong solution these fall out as sludge: {pair_words(sludge)}. Make a bottle of each, and dose them"
            " hours apart (common practice). How much stays dissolved is not computed."
        )
        told.append(Caution("falls-out", words))
    return told


def _of_the_dose(found: Bottle) -> list[Caution]:
    given, told = found.given, []
    limit = LIMITS_OF_WATER.get(f"{given.parameter}_a_day")
    if limit is not None and given.rise > limit.value:
        words = (
            f"One dose raises {given.parameter} by more than is usual in a day: split it (common practice)."
        )
        told.append(Caution("large-dose", words, show(limit.value, limit.kind, limit.unit)))
    if found.dose > given.volume * THINNING:
        words = (
            f"A dose adds {more(found.dose, 'volume', 'mL')} of water: see that there is room for it, and expect the value"
            " to end somewhat lower than reckoned."
        )
        told.append(Caution("adds-water", words, near(given.volume * THINNING, "volume", "L")))
    if found.dose < SMALLEST:
        words = f"So small a dose is hard to measure: a weaker stock makes it larger. It is {less(found.dose, 'volume', 'mL')}."
        told.append(Caution("small-dose", words, show(SMALLEST, "volume", "mL")))
    return told


SMALLEST = 5e-7
"""m3 that a small syringe still measures. Common practice, no source."""

BOTTLE = Caution(
    "label-the-bottle",
    "Write on the bottle what is in it, how strong, for which water and of which day; keep it dark and cool, out of"
    " children's reach, never in a drink's bottle. Stocks with phosphate or nitrate grow mould: throw cloudy ones away"
    " (common practice).",
)

LIMITS = (
    "Solubility is bounded, not computed, and known at one temperature; of mixed salts only the sum of shares is told.",
    "Whether salts fall out of one bottle is told by their ions, not by how strong they are.",
    "One well-mixed body of water, and nothing that uses the dose up. The change of pH is not computed.",
    "Stock solutions stand between 0 and 30 °C.",
)

SOURCES = (*DOSE_SOURCES, PRACTICE)
