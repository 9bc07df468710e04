"""How much of the ammonia in the water is un-ionized, which poisons fish, and what limits say of it."""

from __future__ import annotations

from weirbook.engine.calculators.ammonia_care import LIMITS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.ammonia_case import Ammonia, Inputs
from weirbook.engine.calculators.ammonia_steps import criteria_steps, form_steps, limit_steps, share_steps
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.shape import TEXT, Calculator, Result, Working


def solve(given: Inputs) -> Working:
    """Un-ionized and ionized ammonia, each in its usual forms, beside limits and criteria.

    Equations: pKa = 0.09018 + 2729.92 / T, raised by salts; share = 1 / (1 + 10^(pKa - pH)); un-ionized = total x
    share; largest total = accepted / share; pH at the limit = pKa - log10(total / accepted - 1); criteria by
    `acute_criterion` and `chronic_criterion`.
    Shapes and units: SI, see `Inputs`; ammonia in mol/m3 of nitrogen, weighed forms in kg/m3.
    Valid for: fresh water, pH 6 to 10, 0 to 30 degC; criteria pH 6.5 to 9.
    Uncertainty: formulas 2.6 %; the pH 0.1 off changes a small share by a quarter.
    Raises: Invalid for negative ammonia, a pH off the scale, ice or water hotter than anything lives in.
    Source: see SOURCES.
    Not covered: sea water, bound ammonia, how fast it comes and goes.
    """
    found = Ammonia(given)
    nh3, nh4, nitrogen = molar_mass("NH3"), molar_mass("NH4"), molar_mass("N")
    values = {
        "verdict": found.verdict,
        "why": found.why,
        "share": found.share,
        "pka": found.half,
        "un_ionized": found.un_ionized,
        "un_ionized_as_nh3": found.un_ionized * nh3,
        "ionized": found.ionized,
        "ionized_as_nh4": found.ionized * nh4,
        "total_as_n": given.total_ammonia * nitrogen,
        "total_as_nh3": given.total_ammonia * nh3,
        "total_as_nh4": given.total_ammonia * nh4,
        "largest_total": found.largest_total,
        "ph_at_limit": found.ph_at_limit,
        "acute_with_salmonids": found.acute_with_salmonids,
        "acute_without_salmonids": found.acute,
        "chronic": found.chronic,
    }
    steps = [*share_steps(found), *form_steps(found), *limit_steps(found), *criteria_steps(found)]
    return Working(values, steps, assumptions(found), cautions(found))


AMMONIA = Calculator(
    name="ammonia",
    title="Un-ionized ammonia",
    doc=(
        "Total ammonia is two forms: ionized NH4, which fish bear, and un-ionized NH3, which poisons them. How much"
        " is un-ionized at this pH and temperature, whether that is too much, which pH would make it so, and how"
        " much total ammonia this pH allows. Amounts are told by their nitrogen (NH3-N) and, beside it, weighed as"
        " NH3 or NH4, so that forms are not mixed up."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "ok; watch: more un-ionized than is accepted, or a total above the chronic criterion; over: harm begins,"
            " or a total above the acute criterion.",
        ),
        Result("why", TEXT, "What the verdict rests on."),
        Result("share", "fraction", "Of the total that is un-ionized."),
        Result("pka", "ph", "The pH at which half would be un-ionized, in this water."),
        Result("un_ionized", "ammonia", "Un-ionized ammonia, which poisons fish; its unit tells the form."),
        Result("un_ionized_as_nh3", "concentration", "The same, weighed as NH3."),
        Result("ionized", "ammonia", "Ionized ammonia, the rest of the total; its unit tells the form."),
        Result("ionized_as_nh4", "concentration", "The same, weighed as NH4."),
        Result("total_as_n", "concentration", "Total ammonia, weighed as nitrogen (NH3-N, TAN)."),
        Result("total_as_nh3", "concentration", "Total ammonia, all of it weighed as NH3."),
        Result("total_as_nh4", "concentration", "Total ammonia, all of it weighed as NH4."),
        Result(
            "largest_total",
            "ammonia",
            "Total ammonia of which no more than is accepted is un-ionized, at this pH and temperature.",
        ),
        Result(
            "ph_at_limit",
            "ph",
            "At which this total comes to what is accepted; none where no pH brings it there.",
        ),
        Result(
            "acute_with_salmonids",
            "ammonia",
            "US criterion of 2013 for one hour where trout and salmon live: total ammonia at this pH and temperature.",
        ),
        Result("acute_without_salmonids", "ammonia", "The same where none live."),
        Result("chronic", "ammonia", "The same for a mean of thirty days."),
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={"total_ammonia": "0.5 mg/L NH3-N", "ph": 8, "temperature": "25 degC"},
    doors=("systems",),
    asks={"total_ammonia": "0.5 mg/L NH3-N"},
)
