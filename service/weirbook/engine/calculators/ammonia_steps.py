"""The working of un-ionized ammonia, step by step, as a person would do it with a pocket calculator."""

from __future__ import annotations

from weirbook.engine.calculators.ammonia_case import Ammonia
from weirbook.engine.relations.ammonia import (
    DEBYE_HUECKEL,
    PKA_BASE,
    PKA_SLOPE,
    ionic_strength,
    salt_shift,
)
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.shape import Step, show, six, step

AS_N, AS_NH3, AS_NH4 = "mg/L NH3-N", "mg/L NH3", "mg/L NH4"


def _ammonia(value: float, unit: str = AS_N) -> str:
    return show(value, "ammonia", unit)


def share_steps(found: Ammonia) -> list[Step]:
    given = found.given
    numbers = {
        "temperature": show(given.temperature, "temperature"),
        "pH": str(six(given.ph)),
        "pKa": str(six(found.half)),
        "total": _ammonia(given.total_ammonia),
        "share": str(six(found.share)),
        "un_ionized": _ammonia(found.un_ionized),
    }
    half = f"{PKA_BASE} + {PKA_SLOPE} ÷ ({{temperature}} + 273.15)"
    steps = []
    if given.salinity:
        steps = _salt_steps(given.salinity)
        numbers["shift_by_salt"] = str(six(salt_shift(given.salinity)))
        half += " + {shift_by_salt}"
    return [
        *steps,
        step("pKa, the pH at which half is un-ionized", half, numbers, found.half, "number"),
        step("share that is un-ionized", "1 ÷ (1 + 10 ^ ({pKa} − {pH}))", numbers, found.share, "number"),
        step("un-ionized, by its nitrogen", "{total} × {share}", numbers, found.un_ionized, "ammonia", AS_N),
        step("ionized, by its nitrogen", "{total} − {un_ionized}", numbers, found.ionized, "ammonia", AS_N),
    ]


def _salt_steps(salinity: float) -> list[Step]:
    strength = ionic_strength(salinity)
    numbers = {"salinity": show(salinity, "salinity"), "ionic_strength": str(six(strength))}
    return [
        step(
            "ionic strength, in mol to a kg of water",
            "19.924 × {salinity} ÷ (1000 − 1.005 × {salinity})",
            numbers,
            strength,
            "number",
        ),
        step(
            "shift of pKa by salt",
            f"{DEBYE_HUECKEL} × sqrt({{ionic_strength}}) ÷ (1 + sqrt({{ionic_strength}}))",
            numbers,
            salt_shift(salinity),
            "number",
        ),
    ]


def form_steps(found: Ammonia) -> list[Step]:
    """The same ammonia as nitrogen, as NH3 and as NH4, by molar masses."""
    nh3, nh4 = (molar_mass(one) / molar_mass("N") for one in ("NH3", "NH4"))
    rows = (
        ("un-ionized, weighed as NH3", found.un_ionized, AS_NH3, nh3),
        ("ionized, weighed as NH4", found.ionized, AS_NH4, nh4),
        ("total, weighed as NH3", found.given.total_ammonia, AS_NH3, nh3),
        ("total, weighed as NH4", found.given.total_ammonia, AS_NH4, nh4),
    )
    return [
        step(
            gives,
            "{by_its_nitrogen} × {ratio_of_molar_masses}",
            {"by_its_nitrogen": _ammonia(value), "ratio_of_molar_masses": str(six(ratio))},
            value,
            "ammonia",
            unit,
        )
        for gives, value, unit, ratio in rows
    ]


def limit_steps(found: Ammonia) -> list[Step]:
    numbers = {
        "accepted": _ammonia(found.given.accepted),
        "share": str(six(found.share)),
        "total": _ammonia(found.given.total_ammonia),
        "pKa": str(six(found.half)),
    }
    steps = [
        step(
            "largest total at this pH and temperature",
            "{accepted} ÷ {share}",
            numbers,
            found.largest_total,
            "ammonia",
            AS_N,
        )
    ]
    if found.ph_at_limit is not None:
        formula = "{pKa} − ln({total} ÷ {accepted} − 1) ÷ ln(10)"
        steps.append(
            step("pH at which this total comes to the limit", formula, numbers, found.ph_at_limit, "ph")
        )
    return steps


def criteria_steps(found: Ammonia) -> list[Step]:
    ph, degrees = found.given.ph, found.given.temperature - 273.15
    numbers = {"pH": str(six(ph)), "temperature": show(found.given.temperature, "temperature")}
    g_words = "0.7249 × (0.0114 ÷ (1 + 10 ^ (7.204 − {pH})) + 1.6181 ÷ (1 + 10 ^ ({pH} − 7.204)))"
    g = 0.7249 * (0.0114 / (1 + 10 ** (7.204 - ph)) + 1.6181 / (1 + 10 ** (ph - 7.204)))
    warm = 23.12 * 10 ** (0.036 * (20 - degrees))
    numbers |= {"pH_factor": str(six(g)), "warmth_factor": str(six(warm))}
    by_salmonids = 0.275 / (1 + 10 ** (7.204 - ph)) + 39.0 / (1 + 10 ** (ph - 7.204))
    by_warmth = "{pH_factor} × {warmth_factor}"
    steps = [
        step("pH factor of the acute criteria", g_words, numbers, g, "number"),
        step(
            "warmth factor of the acute criteria",
            "23.12 × 10 ^ (0.036 × (20 − {temperature}))",
            numbers,
            warm,
            "number",
        ),
        step(
            "acute criterion without salmonids" + (", where warmth counts no more" if warm > 51.93 else ""),
            "{pH_factor} × 51.93" if warm > 51.93 else by_warmth,
            numbers,
            found.acute,
            "ammonia",
            AS_N,
        ),
        step(
            "acute criterion with salmonids, the lower of two",
            "0.275 ÷ (1 + 10 ^ (7.204 − {pH})) + 39 ÷ (1 + 10 ^ ({pH} − 7.204))"
            if by_salmonids < g * warm
            else by_warmth,
            numbers,
            found.acute_with_salmonids,
            "ammonia",
            AS_N,
        ),
    ]
    return [*steps, _chronic_step(found, numbers, cold=degrees < 7)]


def _chronic_step(found: Ammonia, numbers: dict[str, str], cold: bool) -> Step:
    by_ph = "(0.0278 ÷ (1 + 10 ^ (7.688 − {pH})) + 1.1994 ÷ (1 + 10 ^ ({pH} − 7.688)))"
    warmth = "2.126 × 10 ^ (0.028 × (20 − 7))" if cold else "2.126 × 10 ^ (0.028 × (20 − {temperature}))"
    words = "chronic criterion" + (", reckoned at 7 degC in colder water" if cold else "")
    return step(words, f"0.8876 × {by_ph} × {warmth}", numbers, found.chronic, "ammonia", AS_N)
