"""What pH, alkalinity and CO2 are judged by, what they rest on, what to beware of and where figures come from."""

from __future__ import annotations

from collections.abc import Iterator
from math import log10

from weirbook.engine.calculators.air_pressure import STANDARD_ATMOSPHERE
from weirbook.engine.calculators.carbonate_inputs import (
    ALKALINITY_ERROR,
    OPEN_AIR,
    PH_ERROR,
    Water,
)
from weirbook.engine.relations.carbonate import ACTIVITY, CO2_MASS, MILLERO, PLUMMER
from weirbook.engine.relations.limits import LIMITS, PIPER, PRACTICE
from weirbook.engine.saying import less, more, near
from weirbook.engine.shape import Assumption, Caution, Source, show
from weirbook.engine.units import number, to_si

LITTLE_ALKALINITY = to_si(2, "dKH", "alkalinity")
"""eq/m3. Below it pH swings, and CO2 by pH and alkalinity is a guess. Common practice, no source."""
STALE_AIR = 1500e-6
"""Share of CO2 in a room that wants fresh air for people. Common practice, no source."""
BRACKISH = 100.0
"""mol/m3 of ionic strength, beyond which the correction is rough."""
HOTTEST_HELD = 313.15
"""K, up to which the constants are held to others."""
BALANCED = 0.3
"""Of the saturation index, either way: no more is known by usual tests. Common practice, no source."""


def _ph(value: float) -> str:
    return f"pH {number(round(value, 2))}"


def _mg(concentration: float) -> str:
    return near(concentration, "concentration", "mg/L")


def verdict(water: Water) -> str:
    if water.alkalinity_is_in_doubt:
        return "unknown"
    if water.co2 > water.limit:
        return "over"
    if water.most_co2 > water.limit or water.given.alkalinity < LITTLE_ALKALINITY:
        return "watch"
    return "ok"


def calcite_words(index: float) -> str:
    if abs(index) <= BALANCED:
        return "near balance"
    return "may fall out" if index > 0 else "dissolves"


def why(water: Water) -> str:
    """The water as it is, where the air would bring it, and the rule by which pH moves."""
    given, in_air = water.given, water.co2_in_air * CO2_MASS
    if water.alkalinity_is_in_doubt:
        return (
            "The alkalinity is no more than its test may be off: CO2 can't be told by it, and in soft brown water the acid"
            " is that of leaves and peat. Test alkalinity with a finer kit, or measure CO2 itself."
        )
    kh = near(given.alkalinity, "alkalinity", "dKH")
    held = (
        f"At {_ph(given.ph)} and {kh} the water holds about {_mg(water.co2)} of CO2; by what the tests may be off,"
        f" {less(water.least_co2, 'concentration', 'mg/L')} to {more(water.most_co2, 'concentration', 'mg/L')}."
    )
    balance = f"In balance with the air it would hold {_mg(in_air)} and stand at {_ph(water.ph_in_air)}"
    if water.ph_in_air > given.ph:
        lower = number(round(water.ph_in_air - given.ph, 2))
        balance += f": the CO2 beyond that keeps its pH {lower} lower, and aerating drives it out."
    else:
        balance += ": it holds less than the air gives, as where plants take it up by day, or a test is off."
    rule = (
        f"pH follows the ratio of bicarbonate to CO2: each halving of CO2, or doubling of alkalinity, lifts it by"
        f" about {number(round(log10(2), 1))}; each doubling of CO2, or halving of alkalinity, lowers it by as much."
    )
    return f"{held} {balance} {rule}"


def assumptions(water: Water) -> Iterator[Assumption]:
    given = water.given
    yield Assumption(
        "All alkalinity is bicarbonate, carbonate and hydroxide, less acid. Phosphate, humic acids and buffers sold to"
        " hold a pH count along in a test of alkalinity, so that there is less CO2 than reckoned.",
        "default",
    )
    yield Assumption(
        "Corrected for the ions' activity (Davies); co2_ideal and ph_in_air_ideal are without. Sources differ in"
        " this: tables by plain formulas show more CO2, 2 % at 1 dKH, 4 % at 4, 8 % at 15.",
        "default",
    )
    if given.ionic_strength is None:
        if given.conductivity is None:
            words = "The ionic strength is taken as the alkalinity, as of sodium bicarbonate: the least it can be."
        else:
            words = (
                "The ionic strength is guessed by the conductivity at 25 °C, as of usual tap water; half of it either"
                " way changes CO2 by 1 to 3 %."
            )
        yield Assumption(words, "default")
    if given.temperature is None:
        yield Assumption("The water has 25 °C. At 30 °C there would be some 5 % less CO2.", "default")
    if given.ph_error == PH_ERROR:
        yield Assumption(
            "The pH may be off by 0.2: usual of colour tests and meters not freshly calibrated.",
            "common practice",
        )
    if given.alkalinity_error == ALKALINITY_ERROR:
        yield Assumption(
            "The alkalinity may be off by half a German degree, half a drop of usual tests.",
            "common practice",
        )
    if given.air_co2 == OPEN_AIR:
        words = (
            "The air has 420 uL/L (ppm) of CO2, as the open air about 2023 (from memory). Rooms hold more: at 1000"
            " the balance lies 0.4 lower in pH."
        )
        yield Assumption(words, "default")
    yield Assumption("pH with more or less CO2: the alkalinity stays, as CO2 leaves it as it is.", "default")
    if given.wanted_alkalinity is not None:
        words = (
            "pH at the wanted alkalinity: CO2 stays, as where fish and air settle it again; the ions come and go as"
            " sodium bicarbonate. In a closed jar it comes out up to 0.03 different."
        )
        yield Assumption(words, "default")
    if water.given.calcium is not None:
        words = f"Called balanced within {BALANCED} of 0: usual tests tell no closer."
        yield Assumption(words, "common practice")


def cautions(water: Water) -> Iterator[Caution]:
    yield from _of_co2(water)
    yield from _of_the_tests(water)
    yield from _of_changes(water)
    yield from _of_the_range(water)


def _of_co2(water: Water) -> Iterator[Caution]:
    limit, given = show(water.limit, "concentration"), water.given
    if water.alkalinity_is_in_doubt:
        words = "The CO2 figures are no more than arithmetic here: don't act on them."
        yield Caution("co2-unknown", words, show(given.alkalinity_error, "alkalinity"))
    elif water.co2 > water.limit:
        words = (
            "So much CO2 makes fish breathe hard, though oxygen may test well: aerate at once, shut CO2 off, and"
            " look for what makes it. pH rises as it leaves: see to ammonia first, and aerate slowly if there is any."
        )
        yield Caution("co2-high", words, limit)
    elif water.most_co2 > water.limit:
        words = (
            "By what the tests may be off, CO2 may pass the limit: watch how the fish breathe, test again."
        )
        yield Caution("co2-may-be-high", words, limit)
    if given.wanted_co2 is not None:
        words = (
            "CO2 from a cylinder or a reactor gathers low in closed rooms and chokes people too: ventilate, fasten"
            " the cylinder, follow its label. Shut it off at night, and raise it in small steps with an eye on the fish."
        )
        yield Caution("co2-gas", words)
        if given.wanted_co2 > water.limit:
            words = "The CO2 wanted passes the limit: fish may choke."
            yield Caution("wanted-co2-high", words, limit)
    if given.air_co2 >= STALE_AIR:
        words = "Air with so much CO2 is stale for people too: let fresh air in."
        yield Caution("stale-air", words, show(STALE_AIR, "dilution", "uL/L"))


def _of_the_tests(water: Water) -> Iterator[Caution]:
    yield Caution(
        "co2-is-reckoned",
        "CO2 is reckoned from two tests and no better than they: 0.1 of pH is a quarter of it. Take both from the same"
        " water at the same hour, pH at once, before CO2 leaves the sample.",
    )
    yield Caution(
        "not-only-carbonates",
        "With phosphate buffers, peat, wood or acids against algae in the water, CO2 is less than reckoned and the"
        " pH does not follow: a pH in a shaken, standing sample beside it tells more.",
    )
    if water.given.alkalinity < LITTLE_ALKALINITY:
        words = (
            "With so little alkalinity pH is easily moved: CO2 by these tests is a guess, and the filter's acid can"
            " use the rest up and let pH fall. Test alkalinity often."
        )
        yield Caution("little-alkalinity", words, show(LITTLE_ALKALINITY, "alkalinity"))


def _of_changes(water: Water) -> Iterator[Caution]:
    given = water.given
    wanted, wanted_ph = given.wanted_alkalinity, water.ph_at_wanted_alkalinity
    others = (wanted_ph, water.ph_at_wanted_co2, water.ph_in_air)
    rises = max(ph - given.ph for ph in others if ph is not None)
    most = LIMITS["ph_a_day"]
    if rises > 0:
        yield Caution(
            "ammonia",
            "Where pH rises, by aerating or by bicarbonate, ammonia turns to its poisonous form: test total ammonia"
            " first. Water that stood closed, as in a bag, is no water to aerate with fish in it.",
        )
    by_choice = [ph for ph in (wanted_ph, water.ph_at_wanted_co2) if ph is not None]
    if any(abs(ph - given.ph) > most.value for ph in by_choice):
        words = "The pH would move by more than animals are usually given in a day: take several days."
        yield Caution("ph-moves-far", words, show(most.value, "ph"))
    rise = LIMITS["alkalinity_a_day"]
    if wanted is not None and wanted - given.alkalinity > rise.value:
        words = "So much alkalinity is usually added over several days: ask dose for it, with a largest daily change."
        yield Caution("alkalinity-moves-far", words, show(rise.value, "alkalinity"))
    if wanted is not None and wanted < given.alkalinity:
        words = (
            "Alkalinity is lowered by changing to water that has less. Acid does it too, but all its bicarbonate turns"
            " to CO2 at once and can kill fish: never in their water."
        )
        yield Caution("lower-by-water", words)
    yield Caution(
        "steady-before-right",
        "Animals bear a steady pH a little off better than one that is corrected up and down. Change alkalinity or"
        " CO2, and let pH follow.",
    )


def _of_the_range(water: Water) -> Iterator[Caution]:
    given, low, high = water.given, LIMITS["ph_low"], LIMITS["ph_high"]
    if not low.value <= given.ph <= high.value:
        words = "This pH lies outside what is advised for raising fish; blackwater and soda-lake species live there."
        yield Caution("ph-outside", words, f"{number(low.value)} to {show(high.value, 'ph')}")
    if water.strength > BRACKISH:
        words = "So salty a water is brackish: the correction is rough, and the constants are those of fresh water."
        yield Caution("brackish", words, f"{number(BRACKISH)} mmol/L")
    if water.temperature > HOTTEST_HELD:
        words = "Hotter than the constants were checked at."
        yield Caution("hotter-than-checked", words, show(HOTTEST_HELD, "temperature"))
    if water.saturation_index is not None:
        words = (
            "The saturation index tells which way chalk goes, not how much or how fast; magnesium, phosphate and"
            " humic matter hold it back for weeks. Fish need no index of 0."
        )
        yield Caution("index-is-a-direction", words)


LIMITS_OF_USE = (
    "Fresh water, 0 to 50 °C (constants checked to 40 °C), ionic strength to 0.5 mol/L and best below 0.1.",
    "Pairs of ions are left out: in hard water they hold a few percent of the carbonate, less of the rest.",
    "How fast CO2 leaves or comes is not computed, only where it ends.",
    "Alkalinity of other kinds than carbonate and hydroxide is not told apart.",
)

SOURCES = (
    PLUMMER,
    MILLERO,
    ACTIVITY,
    Source(
        "Tucker, C. S.",
        1984,
        "Carbon dioxide",
        "For Fish Farmers 84-2, Mississippi Cooperative Extension Service, table of factors by pH and temperature",
        "Read in two reprints; the uncorrected result is held to it.",
    ),
    STANDARD_ATMOSPHERE,
    PIPER,
    PRACTICE,
)
