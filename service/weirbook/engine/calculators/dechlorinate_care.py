"""What dechlorinating takes for granted, how its ammonia is judged, what to beware of, where its figures come from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from weirbook.engine.calculators.dechlorinate_inputs import SYSTEM, USUAL_EXCESS, Inputs
from weirbook.engine.calculators.sources import atomic_weights
from weirbook.engine.relations.dechlorination import AGENTS, THIOSULFATE_ENDS, oxygen_taken
from weirbook.engine.relations.limits import FA16, LIMITS, NRAC111
from weirbook.engine.saying import more, near
from weirbook.engine.shape import Assumption, Caution, Source, show, six

OK, WATCH, OVER, UNKNOWN = "ok", "watch", "over", "unknown"

USUAL_MOST = 0.004
"""kg/m3, 4 mg/L: the most that supplies are usually let carry. From memory; it only brings a word of care."""
GENEROUS = 1.0
"""Excess from which on a word is due. Common practice, no source."""
EMERSON_PH, EMERSON_TEMPERATURE = (6.0, 10.0), (273.15, 303.15)


def judged(given: Inputs, values: Mapping[str, Any]) -> tuple[str, str]:
    """Verdict on un-ionized ammonia afterwards, and why."""
    stress, harm = LIMITS["ammonia_stress"], LIMITS["ammonia_harm"]
    toxic = values["un_ionized_after"]
    if given.total is None:
        return (
            UNKNOWN,
            "What the tap water holds wasn't told: whether chloramine leaves ammonia can't be said.",
        )
    if given.combined is None:
        return UNKNOWN, (
            "Only free chlorine was told, and its test doesn't see chloramine: ask the supplier, or test total chlorine"
            " (say chloramine 0 if there is none)."
        )
    if toxic is None:
        if given.combined == 0:
            return OK, "No chloramine: taking the chlorine out sets no ammonia free."
        missing = [name for name in ("system_volume", "ph", "temperature") if getattr(given, name) is None]
        freed = more(values["ammonia_set_free"], "ammonia", "mg/L NH3-N")
        return UNKNOWN, (
            f"The chloramine leaves up to {freed} of ammonia in the new water; how much of it is un-ionized in the"
            f" system needs {' and '.join(missing)}."
        )
    words = f"Un-ionized ammonia comes to {more(toxic, 'ammonia', 'mg/L NH3-N')} in the system"
    before_counts = given.ammonia_present is None and given.new_water != given.system_volume
    if before_counts:
        words += ", not counting what was there before"
    advice = "Change less at a time, or let the new water pass a running filter first."
    if values["ammonia_after"] < (given.ammonia_present or 0.0):
        advice = "There was more before, so that the change helps: find where the ammonia comes from, and test daily."
    for limit, verdict in ((harm, OVER), (stress, WATCH)):
        if toxic > limit.value:
            most = near(limit.value, "ammonia", "mg/L NH3-N")
            return verdict, f"{words}: more than {most}, {_harm_words(verdict)}. {advice}"
    if before_counts and given.combined:
        return UNKNOWN, f"{words}, which strains no fish by itself: test total ammonia in the system first."
    return OK, f"{words}, below {near(stress.value, 'ammonia', 'mg/L NH3-N')}, which strains fish."


def _harm_words(verdict: str) -> str:
    return "at which harm begins" if verdict == OVER else "which strains fish"


def assumptions(given: Inputs, values: Mapping[str, Any]) -> list[Assumption]:
    """What the dose rests on besides what was said."""
    told = [Assumption("Chlorine and chloramine are told as Cl2, as tests and suppliers do.", "default")]
    if given.total_chlorine is not None and given.chlorine is None:
        words = "How much of the total is chloramine was not told: all of it is counted so, the worst for ammonia."
        told.append(Assumption(words, "default"))
    if given.combined:
        told.append(
            Assumption("All chloramine is monochloramine, which sets the most ammonia free.", "default")
        )
    if given.ammonia_present is None and values["ammonia_after"] is not None:
        told.append(Assumption("No ammonia was told to be in the system before: none is counted.", "default"))
    if given.is_product:
        told.append(Assumption("The product does what its label says, in proportion.", "given"))
        if given.product_neutralises is None:
            words = "The label's dose is taken to be enough for this chlorine: no strength was told."
            told.append(Assumption(words, "default"))
        elif given.mixed_total is not None and given.mixed_total < given.product_neutralises:
            words = "Less chlorine than the label's dose takes out: the label's dose is not made smaller."
            told.append(Assumption(words, "default"))
        return told
    return [*told, *_of_a_compound(given, values)]


def _of_a_compound(given: Inputs, values: Mapping[str, Any]) -> list[Assumption]:
    agent, told = AGENTS[given.agent], []
    low, high = six(round(values["ratio_low"], 3)), six(round(values["ratio_high"], 3))
    if given.agent_ratio is not None:
        told.append(Assumption("Your own figure stands in place of the reaction's.", "given"))
    elif agent.is_thiosulfate and given.thiosulfate_ends_as == "tetrathionate":
        words = (
            f"Thiosulfate is taken to end as tetrathionate, which needs the most: {high} mg for a mg of chlorine."
            f" Other ends need as little as {low} mg; a field guide prints 1.9 without saying which form is weighed."
        )
        told.append(Assumption(words, "default"))
    elif agent.is_thiosulfate:
        words = f"Thiosulfate ends as {given.thiosulfate_ends_as}: {low} to {high} mg are published for a mg of chlorine."
        told.append(Assumption(words, "given"))
    else:
        words = (
            f"One reaction, to its end. The field guide prints {high} mg for a mg of chlorine, where the reaction alone"
            f" takes {low}."
        )
        told.append(Assumption(words, "default"))
    if given.excess is None:
        words = f"{show(USUAL_EXCESS, 'fraction')} more than that, for what else takes the agent up."
        told.append(Assumption(words, "common practice"))
    if given.purity == 1:
        told.append(Assumption(f"The {agent.name} is pure and dry.", "default"))
    if "." in agent.formula:
        words = f"It is weighed with its crystal water, as {agent.formula}."
        told.append(Assumption(words, "default"))
    return told


def cautions(given: Inputs, values: Mapping[str, Any]) -> list[Caution]:
    """What to beware of with this water, this agent and this way of adding it."""
    told = [LABEL]
    if given.total == 0:
        words = (
            "No chlorine, no chloramine: there is nothing to take out. The tap may carry some on another day."
        )
        told.append(Caution("nothing-to-neutralise", words))
    if given.combined is None:
        told.append(CHLORAMINE_UNKNOWN)
    elif given.combined > 0:
        told.append(AMMONIA if given.is_product else AMMONIA_STAYS)
    told += _of_the_way(given)
    if given.beyond_the_label:
        told.append(BEYOND_THE_LABEL)
    if (given.total or 0.0) > USUAL_MOST:
        words = (
            "That is more than tap water usually carries: check the test's unit. Test again after treating."
        )
        told.append(Caution("much-chlorine", words, show(USUAL_MOST, "concentration")))
    if not given.is_product:
        told += _of_the_agent(given, values)
    return [*told, *_of_the_formula(given), TEST_AGAIN]


def _of_the_way(given: Inputs) -> list[Caution]:
    if given.added_to != SYSTEM:
        words = (
            "Treat and mix the new water before it goes in. If you add a product straight to the tank, its label"
            " usually counts the whole system, sump and all, not the new water alone: say added_to system."
        )
        return [Caution("new-water-only", words)]
    words = (
        "In the tank animals and filter meet the chlorine before the agent does: treat the new water first."
    )
    told = [Caution("chlorine-meets-animals", words)]
    if not given.is_product:
        words = (
            "The dose counts the chlorine of the new water, which is all there is. A label may still ask for the whole"
            " system's volume: then follow the label."
        )
        told.append(Caution("label-counts-the-system", words))
    return told


def _of_the_agent(given: Inputs, values: Mapping[str, Any]) -> list[Caution]:
    agent, told = AGENTS[given.agent], [GRADE]
    if agent.sulfite:
        left = oxygen_taken((given.total or 0.0) * given.reserve)
        words = "What is left over takes up oxygen"
        if given.agent_ratio is None:
            words += f", here up to {more(left, 'concentration', 'mg/L')} in the new water"
        words += (
            ". Aerate before animals meet it. Its dust and fumes harm people with asthma, and acid drives off a"
            " poisonous gas: good air, and never together with acid."
        )
        told.append(Caution("takes-oxygen", words))
    if given.agent == "ascorbic_acid":
        words = (
            "Ascorbic acid lowers pH and alkalinity, in soft water much: test both before animals meet it."
        )
        told.append(Caution("lowers-ph", words))
    if given.agent in ("ascorbic_acid", "sodium_ascorbate"):
        words = "What is left over feeds bacteria, which take up oxygen: aerate, and make the stock fresh."
        told.append(Caution("feeds-bacteria", words))
    if given.reserve > GENEROUS:
        words = "So large an excess brings side effects and no more safety: test the treated water instead."
        told.append(Caution("large-excess", words, show(GENEROUS, "fraction")))
    short = values["ratio"] < values["ratio_high"] * (1 - 1e-9)
    if agent.is_thiosulfate and short and values["ratio"] * (1 + given.reserve) < values["ratio_high"]:
        ends = next(iter(THIOSULFATE_ENDS))
        words = (
            f"If the thiosulfate ends as {ends} instead, this dose falls short and chlorine is left: test before animals"
            " meet the water."
        )
        told.append(Caution("may-fall-short", words, f"{six(round(values['ratio_high'], 3))} mg for a mg"))
    return told


def _of_the_formula(given: Inputs) -> list[Caution]:
    told = []
    if given.ph is not None and not EMERSON_PH[0] <= given.ph <= EMERSON_PH[1]:
        words = (
            "The formula for un-ionized ammonia is published from pH 6 to 10 only: take the share as a guess."
        )
        told.append(Caution("outside-the-formula", words, "pH 6 to 10"))
    cold, warm = EMERSON_TEMPERATURE
    if given.temperature is not None and not cold <= given.temperature <= warm:
        words = (
            "The formula for un-ionized ammonia is published from 0 to 30 °C only: take the share as a guess."
        )
        told.append(Caution("outside-the-formula", words, "0 to 30 degC"))
    return told


LABEL = Caution(
    "label-first",
    "The label comes first, of a product as of a pure compound. Gloves and eye protection with powders and stocks; keep"
    " them from children, and never mix them with acids or bleach.",
)
CHLORAMINE_UNKNOWN = Caution(
    "chloramine-not-told",
    "A test of free chlorine doesn't see chloramine, which harms fish as well: with it in the water a dose for free"
    " chlorine alone is too small. Ask the supplier, or test total chlorine.",
)
AMMONIA_STAYS = Caution(
    "ammonia-stays",
    "The agent breaks chloramine but doesn't bind its ammonia: that stays until the filter takes it up. A tank without a"
    " ripe filter, or with a high pH, can't bear it.",
)
AMMONIA = Caution(
    "ammonia",
    "Breaking chloramine sets ammonia free. Whether the product binds it only its label says; here it is counted as"
    " staying.",
)
BEYOND_THE_LABEL = Caution(
    "beyond-the-label",
    "By its strength this water takes more than the label's dose: follow the label. Where it doesn't let you give more,"
    " treat less water at a time or use another agent.",
)
GRADE = Caution(
    "grade",
    "Use food or reagent grade, and weigh on a scale that shows hundredths of a gram, or make a stock solution. Stocks"
    " of these agents spoil in days to weeks: date them.",
)
TEST_AGAIN = Caution(
    "test-again",
    "Suppliers change dose and kind without a word, and flush pipes with more. Test total chlorine after treating: none"
    " should show; common practice calls more than the limit too much for fish.",
    show(LIMITS["free_chlorine"].value, "concentration"),
)

LIMITS_OF_IT = (
    "Chlorine and chloramine of tap water, as Cl2. Not for swimming pools, shock doses or bleach baths.",
    "Ammonia that the supplier adds beyond what chlorine binds is not counted: test the tap for it.",
    "Un-ionized ammonia: fresh water, pH 6 to 10, 0 to 30 °C.",
    "Products that bind ammonia, carbon filters and standing water are not computed.",
)

SOURCES = (
    atomic_weights("Every ratio is computed from formulas."),
    Source(
        "A supplier of water tests",
        None,
        "Technical document TE213",
        "7.0 mg of sodium thiosulfate pentahydrate for a mg of chlorine",
        "Read. It is the reaction to tetrathionate.",
    ),
    Source(
        "Lauer, W. C., Sanchez, F.",
        None,
        "Disinfection of Pipelines and Storage Facilities Field Guide",
        "AWWA, table 7-2, at pH 7.0",
        "Table read in an extract, authors from memory. Its sulfite figures hold 10 % more than the reaction.",
    ),
    Source(
        "Emerson, K., Russo, R. C., Lund, R. E., Thurston, R. V.",
        1975,
        "Aqueous ammonia equilibrium calculations: effect of pH and temperature",
        "J. Fish. Res. Board Can. 32, 2379",
        "Coefficients read in later documents, not in the paper.",
    ),
    NRAC111,
    FA16,
)
