"""Two waters mixed for a wanted value, and what else the mix then holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.dose_verdict import too_much
from weirbook.engine.calculators.exchange import (
    CARBONIC_ACID,
    CONDUCTIVITY,
    DECHLORINATE,
    EXCHANGED,
    MASS_BALANCE,
    PH_AND_AIR,
    ROUGH_PH_CAUTION,
    carbon,
    carbon_steps,
    mixed_ph_is_rough,
    of_parameter,
)
from weirbook.engine.relations.changes import Water, mixed, mixed_ph, share_to_reach
from weirbook.engine.relations.limits import MOST_WATER
from weirbook.engine.saying import less, near, said
from weirbook.engine.shape import (
    CHOICE,
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Step,
    Working,
    param,
    parts,
    show,
    six,
    step,
)
from weirbook.engine.units import KINDS, to_si
from weirbook.errors import Fault, Invalid

SMALL_SHARE = 0.02
"""Share of a blend that is hard to measure out well. Common practice, no source."""
LEAST_ALKALINITY = to_si(1, "dKH", "alkalinity")
"""Below it the pH may fall suddenly. Common practice, no source."""


@dataclass(frozen=True)
class Other:
    name: str = param(TEXT, doc="What it is, with its unit: 'copper in ug/L'.")
    first: float = param("number", doc="In the first water.", ge=0)
    second: float = param("number", doc="In the second water, in the same unit.", ge=0)


@dataclass(frozen=True)
class Inputs:
    parameter: str = param(
        CHOICE, doc="What the blend is made for. An ion is told by its own mass.", choices=tuple(EXCHANGED)
    )
    first: float = of_parameter(
        "Its value in the first water, as from the tap.", ge=0, role="source.{parameter}"
    )
    second: float = of_parameter("Its value in the second water, as from reverse osmosis or rain.", ge=0)
    wanted: float = of_parameter("The value wanted; between the two.", ge=0)
    total: float = param("volume", doc="Water to make.", gt=0, le=MOST_WATER, role="change_volume")
    first_hardness: float | None = param(
        "hardness", doc="Of the first water.", ge=0, default=None, role="source.hardness"
    )
    second_hardness: float | None = param("hardness", doc="Of the second water.", ge=0, default=None)
    first_alkalinity: float | None = param(
        "alkalinity", doc="Of the first water.", ge=0, default=None, role="source.alkalinity"
    )
    second_alkalinity: float | None = param("alkalinity", doc="Of the second water.", ge=0, default=None)
    first_ph: float | None = param(
        "ph", doc="Of the first water.", ge=0, le=14, default=None, role="source.ph"
    )
    second_ph: float | None = param("ph", doc="Of the second water.", ge=0, le=14, default=None)
    others: tuple[Other, ...] = parts(Other, doc="What else to reckon for the blend.", key="name")

    @property
    def kind(self) -> str:
        return EXCHANGED[self.parameter]

    def water(self, which: str) -> Water:
        """One of the two; what the blend is made for counts as told for it."""
        main = getattr(self, which)
        return Water(
            main if self.parameter == "hardness" else getattr(self, f"{which}_hardness"),
            main if self.parameter == "alkalinity" else getattr(self, f"{which}_alkalinity"),
            getattr(self, f"{which}_ph"),
        )


@dataclass(frozen=True)
class Blend:
    """What follows from the inputs, each reckoned once."""

    given: Inputs

    @cached_property
    def second_share(self) -> float:
        return share_to_reach(self.given.first, self.given.second, self.given.wanted)

    @property
    def first_water(self) -> float:
        return (1 - self.second_share) * self.given.total

    @property
    def second_water(self) -> float:
        return self.second_share * self.given.total

    def known(self, name: str) -> tuple[float, float] | None:
        """A value of both waters, if both are known."""
        first, second = (getattr(self.given.water(which), name) for which in ("first", "second"))
        return None if first is None or second is None else (first, second)

    def mixed(self, name: str) -> float | None:
        pair = self.known(name)
        return None if pair is None else mixed(*pair, self.second_share)

    @property
    def buffered(self) -> tuple[tuple[float, float], tuple[float, float]] | None:
        """pH and alkalinity of both waters, if the blend has any alkalinity to hold its pH."""
        first, second = self.given.water("first").buffered, self.given.water("second").buffered
        return (first, second) if first and second and self.mixed("alkalinity") else None

    @cached_property
    def ph(self) -> float | None:
        return mixed_ph(*self.buffered, self.second_share) if self.buffered else None


def solve(given: Inputs) -> Working:
    """A blend of two waters for a wanted value.

    Equations: share of the second f = (A - C) / (A - B); anything else that is conserved A + f (B - A); pH by
    `mixed_ph`.
    Shapes and units: SI, see `Inputs`; what follows the parameter in the SI unit of its kind.
    Valid for: what is conserved when waters mix; pH for fresh water with bicarbonate alkalinity, pH 5.5 to 8.25.
    Uncertainty: that of tests and measures; conductivity within 5 %; pH see `mixed_ph`.
    Raises: Invalid for a value that doesn't lie between the two waters' or waters that are alike; for pH among
    the others.
    Source: see SOURCES.
    Not covered: what falls out or gasses off as the waters meet.
    """
    _refuse(given)
    found = Blend(given)
    verdict, why = _verdict(found)
    values = {
        "verdict": verdict,
        "why": why,
        "first_water": found.first_water,
        "second_water": found.second_water,
        "first_share": 1 - found.second_share,
        "second_share": found.second_share,
        "hardness": found.mixed("hardness"),
        "alkalinity": found.mixed("alkalinity"),
        "ph": found.ph,
        "others": [
            {"name": one.name, "value": mixed(one.first, one.second, found.second_share)}
            for one in given.others
        ],
    }
    return Working(values, _steps(found), _assumptions(found), _cautions(found))


def _verdict(found: Blend) -> tuple[str, str]:
    """Over for a value beyond what is usual; watch for a share that is hard to measure out or a blend that holds its
    pH badly; unknown where that can't be told."""
    given = found.given
    if why := too_much(given.parameter, given.wanted):
        return "over", why
    least = min(found.second_share, 1 - found.second_share)
    if 0 < least < SMALL_SHARE:
        part = less(least, "fraction", "%")
        return (
            "watch",
            f"Only {part} of the blend is one of the waters: an error in measuring it changes much.",
        )
    made = f"The blend comes to {near(given.wanted, given.kind, KINDS[given.kind].default)}"
    alkalinity = found.mixed("alkalinity")
    if alkalinity is None:
        return "unknown", (
            f"{made}. How well it holds its pH can't be told without the alkalinity of both waters: first_alkalinity and"
            " second_alkalinity."
        )
    if alkalinity < LEAST_ALKALINITY:
        return "watch", (
            f"{made}, but its {near(alkalinity, 'alkalinity', 'dKH')} hold the pH badly: below"
            f" {near(LEAST_ALKALINITY, 'alkalinity', 'dKH')} it may fall suddenly (common practice)."
        )
    return "ok", f"{made}, and its {near(alkalinity, 'alkalinity', 'dKH')} hold the pH."


def _refuse(given: Inputs) -> None:
    faults = [
        Fault(
            f"/others/{index}/name",
            "pH doesn't mix in proportion: tell first_ph, second_ph and alkalinities.",
        )
        for index, one in enumerate(given.others)
        if one.name.strip().lower().split()[0] == "ph"
    ]
    first, second, wanted = (said(one, given.kind) for one in (given.first, given.second, given.wanted))
    if given.first == given.second:
        words = f"Both waters have {first}: no blend of them has anything else. Take another water."
        faults.append(Fault("/second", words))
    elif not min(given.first, given.second) <= given.wanted <= max(given.first, given.second):
        words = (
            f"Waters of {first} and {second} can't make {wanted}: a blend lies between the two. Want a value between"
            " them, or take another water."
        )
        faults.append(Fault("/wanted", words))
    if faults:
        raise Invalid("The inputs contradict each other.", faults=faults)


def _steps(found: Blend) -> list[Step]:
    given = found.given
    numbers = {
        "first": show(given.first, given.kind),
        "second": show(given.second, given.kind),
        "wanted": show(given.wanted, given.kind),
        "total": show(given.total, "volume"),
        "second_share": show(found.second_share, "fraction", "1"),
        "second_water": show(found.second_water, "volume"),
    }
    steps = [
        step(
            "share of the second water",
            "({first} − {wanted}) ÷ ({first} − {second})",
            numbers,
            found.second_share,
            "fraction",
            "1",
        ),
        step("second water, in L", "{second_share} × {total}", numbers, found.second_water, "volume", "L"),
        step("first water, in L", "{total} − {second_water}", numbers, found.first_water, "volume", "L"),
    ]
    for name in ("hardness", "alkalinity"):
        pair = found.known(name)
        if pair is not None and given.parameter != name:
            shown = show(pair[0], name), show(pair[1], name)
            steps.append(
                _mixed_step(f"{name} of the blend", shown, found, mixed(*pair, found.second_share), name)
            )
    for one in given.others:
        shown = str(six(one.first)), str(six(one.second))
        value = mixed(one.first, one.second, found.second_share)
        steps.append(_mixed_step(f"{one.name} of the blend", shown, found, value, "number"))
    return [*steps, *_ph_steps(found)]


def _mixed_step(words: str, pair: tuple[str, str], found: Blend, value: float, kind: str) -> Step:
    numbers = {
        "of_the_first": pair[0],
        "of_the_second": pair[1],
        "second_share": show(found.second_share, "fraction", "1"),
    }
    formula = "(1 − {second_share}) × {of_the_first} + {second_share} × {of_the_second}"
    return step(words, formula, numbers, value, kind)


def _ph_steps(found: Blend) -> list[Step]:
    """The carbon of both waters, and that of the blend, which the pH found must have."""
    if found.buffered is None or found.ph is None:
        return []
    (ph_1, alkalinity_1), (ph_2, alkalinity_2) = found.buffered
    waters = {"in the first": ph_1, "in the second": ph_2, "at the pH found for the blend": found.ph}
    steps = carbon_steps(waters)
    numbers = {
        "second_share": show(found.second_share, "fraction", "1"),
        "alkalinity": show(alkalinity_1, "alkalinity"),
        "second_alkalinity": show(alkalinity_2, "alkalinity"),
        "in_the_first": carbon(ph_1),
        "in_the_second": carbon(ph_2),
    }
    formula = (
        "((1 − {second_share}) × {alkalinity} × {in_the_first} + {second_share} × {second_alkalinity} × {in_the_second})"
        " ÷ ((1 − {second_share}) × {alkalinity} + {second_share} × {second_alkalinity})"
    )
    words = "mol of carbon to an equivalent of alkalinity in the blend, the same"
    return [*steps, step(words, formula, numbers, steps[-1].value, "number")]


def _assumptions(found: Blend) -> Sequence[Assumption]:
    told = [Assumption("Nothing falls out, gasses off or reacts as the waters meet.", "default")]
    if found.ph is not None:
        told.append(
            Assumption(
                "The alkalinity of both waters is bicarbonate, and no gas is lost in mixing.", "default"
            )
        )
    return told


def _cautions(found: Blend) -> Sequence[Caution]:
    given = found.given
    told = [
        DECHLORINATE,
        Caution(
            "measure-the-blend",
            "Measure the first blend before it goes in, and again when the tap's water changes.",
        ),
        Caution(
            "softened-is-not-pure",
            "Water from a household softener has its hardness exchanged for sodium: it is not what reverse osmosis gives."
            " Rain carries what lies on roof and gutter.",
        ),
    ]
    if given.parameter == "conductivity":
        told.append(CONDUCTIVITY)
    if found.ph is None:
        told.append(NO_PH)
    else:
        told.append(PH_AND_AIR)
        if found.buffered and mixed_ph_is_rough(*found.buffered):
            told.append(ROUGH_PH_CAUTION)
    return told


NO_PH = Caution(
    "ph-does-not-blend",
    "pH doesn't mix in proportion: the water with the more alkalinity sets it. Tell pH and alkalinity of both waters to have"
    " it reckoned, or measure the blend after it stood a day.",
)

WATER_BLEND = Calculator(
    name="water-blend",
    title="Water blend",
    doc=(
        "How much of each of two waters, as tap and reverse osmosis, makes a total with a wanted value; and the hardness,"
        " alkalinity, pH and anything else of that blend. A blend always lies between the two."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "ok; watch (a share that is hard to measure, little alkalinity); over (more than is usual in fresh water);"
            " unknown (the blend's alkalinity isn't known).",
        ),
        Result("why", TEXT, "The verdict in words."),
        Result("first_water", "volume", "Of the first water."),
        Result("second_water", "volume", "Of the second water."),
        Result("first_share", "fraction", "Of the blend that is the first water."),
        Result("second_share", "fraction", "Of the blend that is the second water."),
        Result("hardness", "hardness", "Of the blend; none where one of the two isn't known."),
        Result("alkalinity", "alkalinity", "Of the blend; none where one of the two isn't known."),
        Result(
            "ph", "ph", "Of the blend in a closed vessel, by both alkalinities; none where they aren't known."
        ),
        Result(
            "others",
            "list",
            "What else was told, in the blend.",
            fields=(
                Result("name", TEXT, "What it is."),
                Result("value", "number", "In the blend, in the unit it was told in."),
            ),
        ),
    ),
    limits=(
        "What is conserved when waters mix. pH is reckoned by alkalinities for closed fresh water, pH 5.5 to 8.25, up to 4"
        " meq/L.",
        "Two waters; blend the blend with a third for three.",
    ),
    sources=(MASS_BALANCE, CARBONIC_ACID),
    solve=solve,
    example={
        "parameter": "hardness",
        "first": "16 dGH",
        "second": "0 dGH",
        "wanted": "6 dGH",
        "total": "100 L",
        "first_alkalinity": "11 dKH",
        "second_alkalinity": "0.3 dKH",
        "first_ph": "7.6 pH",
        "second_ph": "6 pH",
        "others": [{"name": "nitrate in mg/L", "first": 24, "second": 1}],
    },
    doors=("systems",),
    asks={"parameter": "hardness", "second": "0 dGH", "wanted": "6 dGH", "total": "100 L"},
)
