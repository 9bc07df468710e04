"""What a dose takes for granted, what to beware of, what it leaves out and where its figures come from."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from weirbook.engine.calculators.dose_inputs import Inputs
from weirbook.engine.calculators.sources import atomic_weights
from weirbook.engine.relations.chemistry import COMPOUNDS, DOSED, Compound, stock_bounds
from weirbook.engine.relations.limits import FA16
from weirbook.engine.relations.limits import LIMITS as LIMITS_OF_WATER
from weirbook.engine.saying import exactly, less, more, near
from weirbook.engine.shape import Assumption, Caution, Source, show

NEARLY = 0.8
"""Share of what surely dissolves, from which on a stock is called nearly full. Common practice, no source."""

LIGHTEST = 0.0005
"""kg that a kitchen scale still weighs. Common practice, no source."""

BUILDS_UP: Mapping[str, str] = {
    **dict.fromkeys(
        ("sodium", "chloride", "sulfate"),
        "which builds up with every dose: only a water change takes it out",
    ),
    "nitrate": "which plants use and fish add to: test it too",
}
"""Ions that come along with a dose and that a keeper seldom tests for, and what becomes of them."""

THINNING = 0.01
"""Share of the water that a stock may add before it is worth a word. Common practice, no source."""


def assumptions(given: Inputs, compound: Compound | None) -> list[Assumption]:
    """What the dose rests on besides what was said."""
    told = [
        Assumption(
            "The volume counts all water that the dose mixes into: every tank of the system, and its sump.",
            "default",
        ),
        Assumption(
            "Nothing uses the dose up, binds it or lets it settle out before it is measured.", "default"
        ),
        Assumption("The value rises in proportion, by equal doses, one a day.", "default"),
    ]
    if compound is None:
        told.append(Assumption("The product does what its label says, in proportion.", "given"))
        return told
    return [*told, *assumptions_of(compound, given.purity)]


def assumptions_of(compound: Compound, purity: float) -> list[Assumption]:
    """What weighing out a compound rests on."""
    told = []
    if purity == 1:
        told.append(Assumption(f"The {compound.name} is pure and dry.", "default"))
    if "." in compound.formula:
        words = (
            f"It is weighed with its crystal water, as {compound.formula}. The same salt with more or less"
            " crystal water takes another amount."
        )
        told.append(Assumption(words, "default"))
    if "HCO3" in compound.ions:
        told.append(Assumption("Each bicarbonate counts as one equivalent of alkalinity.", "default"))
    if "CO3" in compound.ions:
        told.append(Assumption("Each carbonate counts as two equivalents of alkalinity.", "default"))
    return told


def cautions(given: Inputs, compound: Compound | None, values: Mapping[str, Any]) -> list[Caution]:
    """What to beware of with this parameter, this compound and this stock."""
    told = [*_of_the_dose(given, values)]
    told += [
        *cautions_of(given.parameter, given.compound, compound),
        *two_forms(given.parameter, given.wanted),
    ]
    if compound is None:
        return [*told, LABEL]
    told += side_ions(values["ions_added"], {given.parameter})
    if compound.ions.keys() & FALLS_OUT:
        told.append(APART)
    if given.stock_strength is not None:
        told += cautions_of_stock(compound, given.stock_strength, given.stock_temperature)
    return [*told, GRADE]


def cautions_of(parameter: str, word: str, compound: Compound | None) -> list[Caution]:
    """What the parameter and what is dosed can do to animals, plants and people."""
    told, ions = [], compound.ions.keys() if compound else set()
    if parameter == "total_ammonia" or "NH4" in ions:
        told.append(POISON)
    if parameter == "alkalinity" or ions & {"HCO3", "CO3"}:
        told.append(AMMONIA)
    if parameter == "phosphate" or "H2PO4" in ions:
        told.append(ALGAE)
    if word in BY_COMPOUND:
        told.append(BY_COMPOUND[word])
    if parameter in ("salt", "sodium", "chloride") or word == "sodium_chloride":
        told.append(SALT)
    return told


def cautions_by_compound(words: Sequence[str]) -> list[Caution]:
    """What is to be minded with each of several compounds, named before it."""
    found: dict[Caution, list[str]] = {}
    for word in words:
        if word in BY_COMPOUND:
            found.setdefault(BY_COMPOUND[word], []).append(COMPOUNDS[word].called)
    return [named(one, ", ".join(names)) for one, names in found.items()]


def named(one: Caution, name: str) -> Caution:
    """The caution with the name of what it speaks of before it."""
    return Caution(one.code, f"{name[:1].upper()}{name[1:]}. {one.text}", one.limit)


def too_little_to_weigh(names: str) -> Caution:
    """What to do with less than LIGHTEST of something."""
    words = f"So little of {names} is hard to weigh: make a stock solution of it and measure that by volume (dose-stock)."
    return Caution("too-little-to-weigh", words, show(LIGHTEST, "mass", "g"))


def two_forms(parameter: str, value: float) -> list[Caution]:
    """The same value in the other form that tests and labels use, so that nobody takes one for the other."""
    if parameter not in FORMS:
        return []
    kind, (one, other) = DOSED[parameter], FORMS[parameter]
    words = (
        f"{exactly(value, kind, one)} is the same as {exactly(value, kind, other)}. Tests and labels use both forms: look"
        " which one yours means."
    )
    return [Caution("two-forms", words)]


def _of_the_dose(given: Inputs, values: Mapping[str, Any]) -> list[Caution]:
    told = [MEASURE_AGAIN]
    if values["days"] == 0:
        told.append(
            Caution("nothing-to-dose", "The wanted value is the present one: there is nothing to dose.")
        )
    elif given.largest_daily_change is None:
        words = "All of it at once is a jolt: say a largest daily change to have it split over days."
        told.append(Caution("all-at-once", words))
    liquid = values["liquid_volume"]
    if liquid is not None and liquid > given.volume * THINNING:
        words = (
            f"The liquid adds {more(liquid, 'volume', 'L')} of water in all: take out as much first, see that the sump"
            " has room for it, and expect the value to end somewhat lower than reckoned."
        )
        told.append(Caution("adds-water", words, near(given.volume * THINNING, "volume", "L")))
    return told


def side_ions(
    added: Sequence[Mapping[str, Any]], asked: Collection[str], becomes: Mapping[str, str] = BUILDS_UP
) -> list[Caution]:
    """What comes along unseen beside the parameters that were asked for, and what becomes of it."""
    return [
        Caution(
            f"brings-{row['ion']}",
            f"It brings {near(row['rise'], 'concentration', 'mg/L')} of {row['ion']} as well, {becomes[row['ion']]}.",
        )
        for row in added
        if row["ion"] in becomes and row["ion"] not in asked and "salt" not in asked and row["rise"]
    ]


def cautions_of_stock(compound: Compound, strength: float, temperature: float) -> list[Caution]:
    """Whether a stock solution so strong (kg/m3) stays dissolved, as far as is known."""
    known, bounds = compound.solubility, stock_bounds(compound)
    if known is None or bounds is None:
        words = (
            f"How much {compound.name} dissolves is not known here: try a little first, and dose no crystals."
        )
        return [Caution("solubility-unknown", words)]
    told: list[Caution] = []
    surely, at_most = bounds
    limit, table = less(surely, "concentration", "g/L"), near(known.temperature, "temperature", "degC")
    if strength > at_most:
        words = (
            f"By the table so strong a stock can't dissolve at {table}: only a trial can tell otherwise. Dose none"
            " of it while anything lies at the bottom."
        )
        told.append(Caution("stock-may-not-dissolve", words, limit))
    elif strength > surely:
        words = (
            "So strong a stock may leave crystals: between what surely dissolves and what can at most, only a"
            " trial tells. Dose none of it while anything lies at the bottom."
        )
        told.append(Caution("stock-may-not-dissolve", words, limit))
    elif strength > NEARLY * surely:
        words = "The stock is nearly full: in a cold room crystals fall out, and the rest is weaker than you think."
        told.append(Caution("stock-nearly-full", words, limit))
    if not known.read:
        words = (
            f"How much dissolves is known here from memory only, at {table}, and is not checked against a printed"
            " table. Try a little first."
        )
        told.append(Caution("solubility-from-memory", words, limit))
    if temperature < known.temperature:
        words = (
            f"What dissolves is known at {table} alone; colder water takes up less, of some salts by half near"
            " freezing."
        )
        told.append(Caution("colder-than-the-table", words, table))
    return told


FALLS_OUT = {"Ca", "Mg", "HCO3", "CO3", "SO4", "H2PO4"}
"""Ions that make sludge with one another."""

FORMS: Mapping[str, tuple[str, str]] = {
    "nitrate": ("mg/L NO3", "mg/L NO3-N"),
    "phosphate": ("mg/L PO4", "mg/L PO4-P"),
    "total_ammonia": ("mg/L NH3-N", "mg/L NH4"),
}
"""Parameters that are weighed in two ways."""

MEASURE_AGAIN = Caution(
    "measure-again",
    "Test before the first dose and before each further one, and stop where the value is reached. Dissolve the"
    " dose in a jug first and pour it slowly into moving water, away from animals.",
)
AMMONIA = Caution(
    "ammonia",
    "As alkalinity rises the pH rises with it, and ammonia turns to its poisonous form: test total ammonia"
    " first, and leave the dose while any shows.",
)
POISON = Caution(
    "poisons-animals",
    "Ammonia poisons fish, shrimps and snails, the more the higher the pH and the warmer the water. Dose it only"
    " where no animal lives, to feed the bacteria of a new filter, and let none in before total ammonia and nitrite"
    " both read zero. Never mix it with bleach: the vapour is poisonous to people.",
    f"{show(LIMITS_OF_WATER['ammonia_harm'].value, 'ammonia')} of un-ionized ammonia",
)
ALGAE = Caution(
    "feeds-algae", "Phosphate feeds algae as it does plants: small doses, and a test between them."
)
SALT = Caution(
    "salt-and-life",
    "Salt can harm plants, snails, fish without scales and the bacteria of the filter, and lowers oxygen. As a"
    " treatment follow the label and a veterinarian. Wash hands after.",
)
LABEL = Caution(
    "label-first",
    "The product's label comes first: what else it brings, whom it harms, how much at most and how to handle it.",
)
APART = Caution(
    "keep-stocks-apart",
    "Calcium falls out as sludge with bicarbonate, sulfate or phosphate, and magnesium with bicarbonate or"
    " phosphate: never mix their stocks. By common practice they are dosed hours apart.",
)
GRADE = Caution(
    "grade",
    "Use food or reagent grade: road, garden and technical grades may carry metals or agents against caking."
    " Its label comes first. Weigh on a scale, not by the spoon; keep it labelled and away from children.",
)
_HOT = Caution(
    "warms-water",
    "It grows hot as it dissolves: stir it bit by bit into cold water outside the tank, with gloves and eye"
    " protection, and let it cool.",
)
_OXIDISER = Caution(
    "oxidiser",
    "It feeds fire: keep it dry and away from whatever burns. Its sale and storage are restricted in"
    " places: see local law.",
)
BY_COMPOUND: Mapping[str, Caution] = {
    "calcium_chloride_dihydrate": _HOT,
    "calcium_chloride": _HOT,
    "magnesium_sulfate": _HOT,
    "calcium_nitrate_tetrahydrate": _OXIDISER,
    "magnesium_nitrate_hexahydrate": _OXIDISER,
    "potassium_nitrate": _OXIDISER,
    "sodium_carbonate": Caution(
        "raises-ph-far",
        "It drives the pH up at once, far more than bicarbonate does, and burns eyes and skin: small doses, well"
        " thinned, away from animals, a pH test after each, with gloves and eye protection.",
    ),
    "calcium_sulfate_dihydrate": Caution(
        "dissolves-slowly",
        "It dissolves slowly, over hours to days: the water stays cloudy meanwhile and the value lags. Stir"
        " it up in plenty of water.",
    ),
}

LIMITS = (
    "One well-mixed body of water, and a salt that dissolves wholly and stays dissolved.",
    "The change of pH is not computed. Nor is what plants, filter, rock or evaporation do meanwhile.",
    f"Parameters: {', '.join(DOSED)}. A dose only raises them.",
    "Stock solutions stand between 0 and 30 °C. Solubility is bounded, not computed: a stock's density is not"
    " known here, so a litre is said to dissolve at least so much and at most so much.",
)

SOURCES = (
    atomic_weights("Every amount is computed from the compound's formula."),
    Source(
        "A printed handbook of chemistry, in Polish",
        None,
        "Solubility of solids in water, g without crystal water to 100 g of water",
        "table 04-26, 20 °C: NaHCO3 9.6, KNO3 31.6, NaCl 36.0, CaCl2 74.5",
        "Read in a stored copy. NaCl also as 6.136 mol/kg in a data set of the CRC Handbook, 98th ed.",
    ),
    Source(
        "CRC Handbook of Chemistry and Physics",
        None,
        "Aqueous solubility of inorganic compounds at various temperatures",
        "25 °C: KHCO3, KH2PO4, K2SO4, MgSO4, CaSO4",
        "From memory, not checked against the table: a stock is refused only at half again as much.",
    ),
    FA16,
    Source(
        "Laliberté, M., Cooper, W. E.",
        2004,
        "Model for calculating the density of aqueous electrolyte solutions",
        "J. Chem. Eng. Data 49(5), 1141 (from memory), as a general library computes it",
        "Tests hold the bounds of a stock to its densities up to 10 %.",
    ),
)
