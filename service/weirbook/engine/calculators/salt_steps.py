"""The working of a change of salt, step by step, as a person would do it with a pocket calculator."""

from __future__ import annotations

from weirbook.engine.calculators.salt_case import SALT, SaltChange
from weirbook.engine.relations.chemistry import IONS
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.relations.salting import CONDUCTIVITY_BY_SALT, NITRITE, NITROGEN
from weirbook.engine.shape import Step, show, six, step

MOST_SHOWN = 5
"""Water changes whose working is written out, besides the last: the others go the same way."""

SALT_MASS = six(SALT.molar_mass * 1000)
CHLORIDE_MASS = six(IONS["Cl"].molar_mass * 1000)


def steps(found: SaltChange) -> list[Step]:
    """From the salt now to that wanted, and what it brings."""
    return [
        *_nitrite(found),
        *_rise(found),
        *_fall(found),
        *_strength(found),
        *_ions(found),
        *_insurance(found),
    ]


def _salt(concentration: float) -> str:
    return show(concentration, "concentration", "g/L")


def _mg(concentration: float) -> str:
    return show(concentration, "concentration")


def _rise(found: SaltChange) -> list[Step]:
    given, made = found.given, []
    numbers = {"wanted": _salt(found.level), "present": _salt(found.before)}
    formula = "{wanted} − {present}"
    made.append(step("change of salt, in g/L", formula, numbers, found.difference, "concentration", "g/L"))
    if found.difference <= 0:
        return made
    numbers = {
        "rise": _salt(found.difference),
        "water": show(given.water, "volume"),
        "purity": show(given.purity, "fraction", "1"),
        "largest_daily_change": _salt(given.largest_daily_change),
        "salt": show(found.salt, "mass", "g"),
        "days": str(found.days),
    }
    made.append(step("salt in g", "{rise} × {water} ÷ {purity}", numbers, found.salt, "mass", "g"))
    if not given.is_bath:
        exact = found.difference / given.largest_daily_change
        words = f"days, rounded up to {found.days}"
        made.append(step(words, "{rise} ÷ {largest_daily_change}", numbers, exact, "number"))
        made.append(step("salt each day, in g", "{salt} ÷ {days}", numbers, found.salt_a_day, "mass", "g"))
    return made


def _fall(found: SaltChange) -> list[Step]:
    given, made = found.given, []
    level = found.before
    for day, change in enumerate(found.changes, 1):
        if day <= MOST_SHOWN or day == len(found.changes):
            fall = level - change.level
            numbers = {"fall": _salt(fall), "level": _salt(level), "source": _salt(given.source_salt)}
            words = f"share to change on day {day}"
            made.append(step(words, "{fall} ÷ ({level} − {source})", numbers, change.share, "fraction", "1"))
            numbers["share"] = str(six(change.share))
            words = f"salt after day {day}, in g/L"
            formula = "{level} − {share} × ({level} − {source})"
            made.append(step(words, formula, numbers, change.level, "concentration", "g/L"))
        level = change.level
    return made


def _strength(found: SaltChange) -> list[Step]:
    numbers = {"level": _salt(found.level)}
    return [
        step("the wanted salt in mg/L", "{level} × 1000", numbers, found.level, "concentration"),
        step("the same in g to 100 mL, called %", "{level} ÷ 10", numbers, found.level / 1000, "fraction"),
    ]


def _ions(found: SaltChange) -> list[Step]:
    made = []
    difference = _salt(found.difference)
    for ion in ("Cl", "Na"):
        name, mass = IONS[ion].name, IONS[ion].molar_mass
        formula = f"{{change}} × 1000 × {six(mass * 1000)} ÷ {SALT_MASS}"
        value = found.of_ion(name, found.difference)
        made.append(
            step(f"change of {name}, in mg/L", formula, {"change": difference}, value, "concentration")
        )
    if found.conductivity is not None:
        slopes = CONDUCTIVITY_BY_SALT if found.difference >= 0 else CONDUCTIVITY_BY_SALT[::-1]
        for words, slope, value in zip(("least", "most"), slopes, found.conductivity, strict=True):
            # S/m for kg/m3 is 10 uS/cm for mg/L.
            formula = f"{{change}} × 1000 × {six(slope * 10)}"
            gives = f"change of conductivity at {words}, in uS/cm"
            made.append(step(gives, formula, {"change": difference}, value, "conductivity"))
    return made


def _nitrite(found: SaltChange) -> list[Step]:
    given, (as_no2, as_n) = found.given, found.chloride_wanted
    if given.nitrite is None or as_no2 is None or as_n is None:
        return []
    numbers = {"nitrite": show(given.nitrite, "nitrite"), "ratio": str(six(given.chloride_ratio))}
    thinned = f"{{nitrite}} × {six(NITROGEN * 1000)} ÷ {six(NITRITE * 1000)} × {{ratio}}"
    words = "chloride wanted, in mg/L, nitrite counted as"
    made = [
        step(f"{words} NO2", "{nitrite} × {ratio}", numbers, as_no2, "concentration"),
        step(f"{words} nitrogen", thinned, numbers, as_n, "concentration"),
    ]
    for what, wanted in (("as NO2", as_no2), ("as nitrogen", as_n)):
        made += _salt_for(found, wanted, f"salt against nitrite {what}, in g")
    return made


def _salt_for(found: SaltChange, wanted: float, words: str) -> list[Step]:
    mass, given = found.salt_for(wanted), found.given
    if not mass:
        return []
    numbers = {
        "chloride_wanted": _mg(wanted),
        "chloride_now": _mg(found.chloride_now),
        "water": show(given.water, "volume"),
        "purity": show(given.purity, "fraction", "1"),
    }
    formula = f"({{chloride_wanted}} − {{chloride_now}}) × {SALT_MASS} ÷ {CHLORIDE_MASS} × {{water}} ÷ {{purity}} ÷ 1000"
    return [step(words, formula, numbers, mass, "mass", "g")]


def _insurance(found: SaltChange) -> list[Step]:
    if found.given.is_bath:
        return []
    wanted = LIMITS["insurance_chloride"].value
    return _salt_for(found, wanted, f"salt for {_mg(wanted)} of chloride, in g")
