"""How many fish must be looked at to find a disease that so many would have, and what clean ones rule out."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.detection_sample_case import (
    Detection,
    Inputs,
    detected,
    refuse_contradictions,
)
from weirbook.engine.calculators.detection_sample_steps import steps_of
from weirbook.engine.relations.detection import diseased_fish, sample_to_detect
from weirbook.engine.saying import near
from weirbook.engine.shape import (
    COUNT,
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Working,
)

USUAL_SHARES = (0.02, 0.05, 0.1, 0.2, 0.3)
"""Of the table. Common practice: 2, 5 and 10 % are the shares that surveys are planned for."""


def solve(given: Inputs) -> Working:
    """The smallest sample that holds an ill fish shown as such, and what so many clean ones speak against.

    Equation: least n with a chance of missing, hypergeometric in a population, (1 - s p)^n in very many, of at most
    1 - confidence: `sample_to_detect`; the same turned round: `diseased_ruled_out`, `share_ruled_out`.
    Shapes and units: counts, shares of one.
    Valid for: fish caught by chance alone, no false alarms.
    Uncertainty: that of the sensitivity, which for a look is seldom known and often below a half.
    Raises: Invalid where the ill are told twice or not at all, or outnumber the fish, or the clean do.
    Source: see the relations. Not covered: pooled tests, false positives, fish chosen because they look ill.
    """
    refuse_contradictions(given)
    found = detected(given)
    return Working(_values(found), steps_of(found), _assumptions(found), _cautions(found))


def _values(found: Detection) -> dict[str, Any]:
    given = found.given
    return {
        "verdict": _verdict(found),
        "reading": _reading(found),
        "sample": found.sample,
        "chance_of_missing": found.missed,
        "diseased_fish": None if given.population is None else round(found.diseased),
        "sample_of_very_many": found.without_end,
        "chance_of_missing_by_clean": found.missed_by_clean,
        "ruled_out_share": found.ruled_out_share,
        "ruled_out_fish": found.ruled_out_fish,
        "sizes": [_size(given, share) for share in USUAL_SHARES],
    }


def _size(given: Inputs, share: float) -> dict[str, Any]:
    population = given.population
    diseased = share if population is None else diseased_fish(population, share)
    return {
        "prevalence": share,
        "diseased_fish": None if population is None else round(diseased),
        "sample": sample_to_detect(population, diseased, given.confidence, given.sensitivity),
    }


def _verdict(found: Detection) -> str:
    if found.sample is None:
        return "not_possible"
    if found.given.clean is None:
        return "not_told"
    return "enough" if found.given.clean >= found.sample else "too_few"


def _reading(found: Detection) -> str:
    given = found.given
    trust = near(given.confidence, "fraction", "%")
    if given.population is None:
        ill = f"If {near(found.diseased, 'fraction', '%')} of very many fish are ill"
    else:
        fish = round(found.diseased)
        ill = f"If {fish} of {given.population} fish {'is' if fish == 1 else 'are'} ill"
    if found.sample is None:
        words = (
            f"{ill}, no sample finds one of them with {trust} confidence: a test that shows"
            f" {near(given.sensitivity, 'fraction', '%')} of ill fish leaves more doubt even when all are looked at. Use a"
            " better test, or look again on other days."
        )
    else:
        all_of_them = ", that is all of them" if found.sample == given.population else ", caught by chance"
        words = (
            f"{ill}, look at {found.sample}{all_of_them}, to find at least one ill with {trust} confidence."
        )
    return f"{words} {_of_clean(found)}".strip()


def _of_clean(found: Detection) -> str:
    given = found.given
    if given.clean is None:
        return ""
    looked = f"{given.clean} clean fish speak" if given.clean > 1 else "One clean fish speaks"
    if found.ruled_out_share is None:
        return f"{looked} against nothing with that confidence, not even against all being ill."
    at_least = near(found.ruled_out_share, "fraction", "%")
    if found.ruled_out_fish is not None:
        least = f"{found.ruled_out_fish} or more ill fish ({at_least})"
        fewer = "; fewer may still be there" if found.ruled_out_fish > 1 else ""
    else:
        least, fewer = f"a share of {at_least} or more", "; a smaller one may still be there"
    return f"{looked} against {least} with that confidence{fewer}."


def _assumptions(found: Detection) -> list[Assumption]:
    told = [Assumption("Fish are caught by chance alone, and no healthy fish is taken for ill.", "default")]
    if found.given.sensitivity == 1:
        told.append(Assumption("The look or test shows every ill fish as ill, which few do.", "default"))
    if found.given.population is not None:
        words = "A share of fish counts as the nearest whole number of them, halves up and at least one."
        told.append(Assumption(words, "common practice"))
        words = "The sample is counted out by the hypergeometric distribution; the formula in the steps comes near it."
        told.append(Assumption(words, "default"))
    return told


def _cautions(found: Detection) -> list[Caution]:
    told = [
        Caution(
            "clean-is-not-free",
            "Clean fish say that the illness is rarer than so much, never that it is absent. Quarantine is not"
            " shortened by it.",
        ),
        Caution(
            "nets-choose",
            "A net catches the slow, the bold and the sick first or misses what hides: it is no lottery. Look at fish"
            " that behave oddly besides.",
        ),
        Caution(
            "ask-a-veterinarian",
            "Which test shows which illness, how often it misses, and whether fish must die for it, a veterinarian or a"
            " fish laboratory can say. Some fish diseases must be reported by law.",
        ),
        Caution(
            "wash",
            "Wet cuts catch fish-borne infections: wear gloves, wash hands, and a net for each system.",
        ),
    ]
    if found.given.sensitivity == 1:
        words = "Few looks or tests show every ill fish. Say a sensitivity, and the sample grows by as much."
        told.append(Caution("test-taken-as-perfect", words, "100 %"))
    return told


DETECTION_SAMPLE = Calculator(
    name="detection-sample",
    title="Fish to look at for a disease",
    doc=(
        "How many fish must be looked at or tested so that at least one ill one is found with a given confidence, if so"
        " many are ill: out of a tankful or out of very many, by a perfect test or one that misses some. And what so many"
        " clean ones rule out."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "Of the clean fish told: enough, too_few; not_told; not_possible (no sample serves).",
        ),
        Result("reading", TEXT, "The answer in words."),
        Result("sample", COUNT, "Fish to look at; none where even all leave more doubt."),
        Result("chance_of_missing", "fraction", "That such a sample still shows no ill fish."),
        Result("diseased_fish", COUNT, "Ill fish that the sample is made to find; none of very many."),
        Result("sample_of_very_many", COUNT, "The same out of very many fish with that share of ill ones."),
        Result(
            "chance_of_missing_by_clean",
            "fraction",
            "That so many clean ones miss it; none where none are told.",
        ),
        Result(
            "ruled_out_share",
            "fraction",
            "Least share of ill fish that the clean ones speak against; none where nothing.",
        ),
        Result("ruled_out_fish", COUNT, "The same in fish; none of very many."),
        Result(
            "sizes",
            "list",
            "Samples for the usual shares.",
            fields=(
                Result("prevalence", "fraction", "Share of fish that would be ill."),
                Result("diseased_fish", COUNT, "As a number of fish; none of very many."),
                Result("sample", COUNT, "Fish to look at; none where no sample serves."),
            ),
        ),
    ),
    limits=(
        "Fish caught by chance out of one body of water.",
        "No false alarms; each ill fish is shown with the same chance.",
        "Says nothing of illness below the share asked for.",
    ),
    sources=(
        Source(
            "Cannon, R. M., Roe, R. T.",
            1982,
            "Livestock disease surveys: a field manual for veterinarians",
            "sample size to detect disease, and its approximate formula",
            "From memory; samples held to SciPy.",
        ),
        Source(
            "de Blas, I., and others",
            2020,
            "Assessment of sample size calculations used in aquaculture by simulation techniques",
            "Frontiers in Veterinary Science 7, 253, abstract",
            "Rules of thumb of 30, 60 and 150 fish for 10, 5 and 2 %, read there; its title from memory.",
        ),
    ),
    solve=solve,
    example={"population": 60, "prevalence": "10 %", "sensitivity": "90 %", "clean": 20},
)
