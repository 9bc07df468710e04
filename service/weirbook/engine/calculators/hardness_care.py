"""How a water report is judged, what its figures rest on, what to beware of and where they come from."""

from __future__ import annotations

from collections.abc import Iterator

from weirbook.engine.calculators.hardness_inputs import TOLERANCE, Report
from weirbook.engine.calculators.sources import atomic_weights
from weirbook.engine.relations.ions import BALANCE, FEW_CHARGES
from weirbook.engine.relations.limits import LIMITS, PRACTICE
from weirbook.engine.saying import near
from weirbook.engine.shape import Assumption, Caution, Source, show
from weirbook.engine.units import number, to_si

MUCH_SODIUM_BICARBONATE = to_si(1.5, "dKH", "alkalinity")
"""eq/m3 of alkalinity beyond hardness, from which on it is worth a word. Common practice, no source."""
SOME_NITROGEN = to_si(0.1, "mg/L NH3-N", "ammonia")
"""mol/m3 of N as ammonia or nitrite that is worth a word. Common practice, no source."""


def _gh(value: float) -> str:
    return near(value, "hardness", "dGH")


def _kh(value: float) -> str:
    return near(value, "alkalinity", "dKH")


def verdict(report: Report) -> str:
    if report.hardness_disagrees or report.alkalinity_disagrees or report.balances is False:
        return "watch"
    return "ok" if report.balances else "unknown"


def why(report: Report) -> str:
    """What the water is, and whether the report agrees with itself."""
    return " ".join([*_what_it_is(report), *_softened(report), *_disagreements(report), *_in_balance(report)])


def _what_it_is(report: Report) -> Iterator[str]:
    known = [
        *([f"hardness (GH) {_gh(report.hardness)}"] if report.hardness is not None else []),
        *([f"alkalinity (KH) {_kh(report.alkalinity)}"] if report.alkalinity is not None else []),
    ]
    if known:
        yield f"The water has {', '.join(known)}."
    else:
        yield "The report tells neither hardness nor alkalinity."


def _softened(report: Report) -> Iterator[str]:
    if report.beyond_hardness:
        yield (
            f"{_kh(report.beyond_hardness)} of the alkalinity has no calcium or magnesium beside it: it goes with sodium"
            " or potassium, as in softened water or water from a sodium bicarbonate well."
        )


def _disagreements(report: Report) -> Iterator[str]:
    if report.hardness_disagrees and report.hardness_gap is not None:
        less_or_more = "more" if report.hardness_gap > 0 else "less"
        yield (
            f"The reported hardness is {_gh(abs(report.hardness_gap))} {less_or_more} than calcium and magnesium make."
        )
    if report.alkalinity_disagrees and report.alkalinity_gap is not None:
        less_or_more = "more" if report.alkalinity_gap > 0 else "less"
        yield f"The reported alkalinity is {_kh(abs(report.alkalinity_gap))} {less_or_more} than the bicarbonate."


def _in_balance(report: Report) -> Iterator[str]:
    if report.imbalance is None:
        yield f"Its charges can't be checked: not told are {', '.join(report.lacking)}."
        return
    more, fewer = ("cations", "anions") if report.imbalance > 0 else ("anions", "cations")
    off = number(float(f"{abs(report.imbalance) * 100:.2g}"))
    if report.balances:
        yield f"Cations and anions balance within {off} %."
    else:
        yield (
            f"The {more} pass the {fewer} by {number(float(f'{abs(report.cations - report.anions):.3g}'))} meq/L"
            f" ({off} % of all): a figure is wrong, in another unit, or something is not in the report."
        )


def assumptions(report: Report) -> Iterator[Assumption]:
    given = report.given
    if report.hardness is not None or report.alkalinity is not None:
        yield Assumption(
            "A German degree is 10 mg/L of CaO, 17.848 mg/L of CaCO3; 17.8, 17.85 and 17.9 are in print. 1 meq/L is"
            " 50.04 mg/L of CaCO3; a text that multiplies by 100 means mmol/L.",
            "default",
        )
    if report.sum_of_both is not None:
        yield Assumption("GH is calcium and magnesium together, as both were told.", "given")
    elif report.hardness is not None:
        yield Assumption("GH is the total hardness as reported.", "given")
    for name, other in (("calcium", "magnesium"), ("magnesium", "calcium")):
        if report.is_left_over(name):
            yield Assumption(f"What total hardness has beyond {other} is {name}.", "default")
    if given.alkalinity is None and report.alkalinity is not None:
        yield Assumption("KH is the bicarbonate: below pH 8.3 carbonate adds next to nothing.", "default")
    elif given.alkalinity is not None:
        yield Assumption("KH is the alkalinity as reported.", "given")
    if any(one.name == "phosphate" for one in report.ions):
        yield Assumption("Phosphate counts 1.5 charges, as at pH 7.2; ammonia one, as NH4.", "default")
    if not report.lacking:
        words = f"A report balances within {number(given.tolerance * 100)} % of all charges, or within {FEW_CHARGES} meq/L."
        yield Assumption(words, "common practice" if given.tolerance == TOLERANCE else "given")


def cautions(report: Report) -> Iterator[Caution]:
    yield Caution(
        "gh-is-not-kh",
        "Hardness (calcium and magnesium) and alkalinity (bicarbonate) share their units and are two things: neither"
        " tells the other.",
    )
    yield Caution(
        "report-is-a-mean",
        "A report is a mean of past samples, taken at the works: your tap may differ with season and well, and copper,"
        " lead and a softener's sodium come from the house. Test your own; treat chlorine and chloramine whatever it"
        " says.",
    )
    yield from _of_contradictions(report)
    yield from _of_what_lacks(report)
    yield from _of_the_water(report)


def _of_contradictions(report: Report) -> Iterator[Caution]:
    limit = show(report.given.tolerance, "fraction")
    if report.hardness_disagrees and report.hardness_gap is not None:
        words = (
            f"Reported hardness and its ions are {_gh(abs(report.hardness_gap))} apart. Look at the units (calcium as Ca,"
            " CaO or CaCO3?) and whether both are of one sample."
        )
        yield Caution("hardness-disagrees", words, limit)
    if report.alkalinity_disagrees and report.alkalinity_gap is not None:
        words = (
            f"Reported alkalinity and bicarbonate are {_kh(abs(report.alkalinity_gap))} apart. Look at the units: as"
            " CaCO3 is 0.82 of as HCO3."
        )
        yield Caution("alkalinity-disagrees", words, limit)
    if report.balances is False:
        words = (
            "Water has no charge: where cations and anions differ so, don't trust any one figure until the wrong one"
            " is found."
        )
        yield Caution("charges-off", words, limit)


def _of_what_lacks(report: Report) -> Iterator[Caution]:
    if report.hardness is None and (report.calcium is not None or report.magnesium is not None):
        told = report.calcium if report.calcium is not None else report.magnesium
        name, other = ("calcium", "magnesium") if report.calcium is not None else ("magnesium", "calcium")
        words = f"{name.capitalize()} alone makes {_gh(told or 0.0)}; hardness is that and {other}, which was not told."
        yield Caution("hardness-at-least", words)


def _of_the_water(report: Report) -> Iterator[Caution]:
    given = report.given
    if report.beyond_hardness is not None and report.beyond_hardness > MUCH_SODIUM_BICARBONATE:
        yield Caution(
            "sodium-bicarbonate-water",
            "Much alkalinity with little hardness: its pH is high and firm, and snails, shrimp and plants may lack"
            " calcium and magnesium. From a softener, take the water before it.",
            show(MUCH_SODIUM_BICARBONATE, "alkalinity"),
        )
    nitrate = LIMITS["nitrate_high"]
    if given.nitrate is not None and given.nitrate > nitrate.value:
        words = (
            "So much nitrate can't be lowered by changing with this water. Whether people, infants first, may drink it"
            " is for the supplier and the health authority to say."
        )
        yield Caution("nitrate-high", words, show(nitrate.value, "nitrate"))
    if (given.ammonia or 0.0) > SOME_NITROGEN or (given.nitrite or 0.0) > SOME_NITROGEN:
        words = (
            "The water brings ammonia or nitrite: change little at a time, and test after it. Chloramine shows as"
            " ammonia once it is treated."
        )
        yield Caution("brings-ammonia-or-nitrite", words, show(SOME_NITROGEN, "ammonia"))


LIMITS_OF_USE = (
    "Conversions are exact but for the atomic weights, 2 parts in 10,000.",
    "Hardness is calcium and magnesium; iron, strontium and barium are left out.",
    "GH is never made out of KH, nor KH out of GH.",
    "The balance leaves out silica, fluoride, organic acids and metals.",
)

SOURCES = (
    atomic_weights("Every factor is computed from a formula."),
    Source(
        "National Institute of Standards and Technology",
        2008,
        "Guide for the Use of the International System of Units",
        "SP 811, appendix B: grain, gallons; the degrees by their definitions: German 10 mg CaO/L, French 10 mg CaCO3/L,"
        " Clark one grain CaCO3 to an imperial gallon",
        "From memory, exact.",
    ),
    BALANCE,
    PRACTICE,
)
