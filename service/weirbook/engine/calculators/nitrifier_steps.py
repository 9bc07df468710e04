"""The working of the surface for nitrifying bacteria."""

from __future__ import annotations

from weirbook.engine.calculators.nitrifier_case import Surface
from weirbook.engine.relations.nitrifiers import DESIGN, HIGH, LOW, THETA, THETA_DESIGN, WARM
from weirbook.engine.relations.nitrogen import AMMONIA_OF_PROTEIN, ammonia_made
from weirbook.engine.shape import Step, show, six, step


def _rate(value: float) -> str:
    return show(value, "areal_rate", "g/m2/d")


def steps(found: Surface) -> list[Step]:
    return [*_made(found), *_rates(found), *_needed(found), *_present(found), *_flow(found)]


def _made(found: Surface) -> list[Step]:
    given = found.given
    if given.ammonia is not None:
        return []
    assert given.feed is not None and given.protein is not None
    numbers = {
        "food": show(given.feed, "mass_flow", "g/d"),
        "protein": show(given.protein, "fraction", "1"),
    }
    formula = f"{{food}} × {{protein}} × {AMMONIA_OF_PROTEIN} × 1000"
    return [step("ammonia made, as nitrogen, in mg a day", formula, numbers, found.made, "mass_flow", "mg/d")]


def _rates(found: Surface) -> list[Step]:
    """Colder than 20 degC the published rates are brought down."""
    temperature = found.given.temperature
    if found.given.areal_rate is not None or temperature >= WARM[0]:
        return []
    # A temperature as a bare number: the pocket calculator has no scale of degrees.
    degrees = str(six(temperature - 273.15))
    return [
        step(
            f"{name} rate in the cold, in g/m2 a day",
            "{rate} × {theta} ^ ({temperature} − 20)",
            {"rate": _rate(rate), "theta": str(six(theta)), "temperature": degrees},
            value,
            "areal_rate",
            "g/m2/d",
        )
        for name, rate, theta, value in (
            ("least", LOW, THETA[1], found.rates.low),
            ("usual", DESIGN, THETA_DESIGN, found.rates.design),
            ("best", HIGH, THETA[0], found.rates.high),
        )
    ]


def _needed(found: Surface) -> list[Step]:
    made = show(found.made, "mass_flow", "mg/d")

    def by(name: str, rate: float, value: float) -> Step:
        numbers = {"ammonia": made, "rate": _rate(rate)}
        return step(
            f"surface needed {name}, in m2", "{ammonia} ÷ {rate} ÷ 1000", numbers, value, "area", "m2"
        )

    rates = found.rates
    if rates.low == rates.high:
        told = [by("at your rate", rates.design, found.needed)]
    else:
        told = [
            by("at the usual rate", rates.design, found.needed),
            by("at the best rate", rates.high, found.needed_low),
            by("at the least rate", rates.low, found.needed_high),
        ]
    numbers = {
        "surface_needed": show(found.needed, "area", "m2"),
        "specific_surface": show(found.added_surface, "specific_surface"),
    }
    formula = "{surface_needed} ÷ {specific_surface} × 1000"
    volume = found.needed / found.added_surface
    return [*told, step("media that have it, in L", formula, numbers, volume, "volume", "L")]


def _present(found: Surface) -> list[Step]:
    if found.present is None:
        return []
    told, numbers = [], {}
    for index, section in enumerate(found.given.sections, 1):
        surface = section.media_volume * section.specific_surface
        sizes = {
            "media": show(section.media_volume, "volume", "L"),
            "specific_surface": show(section.specific_surface, "specific_surface"),
        }
        words = f"{section.name}: surface in m2"
        told.append(step(words, "{media} × {specific_surface} ÷ 1000", sizes, surface, "area", "m2"))
        numbers[f"section_{index}"] = show(surface, "area", "m2")
    if len(numbers) > 1:
        formula = " + ".join(f"{{{name}}}" for name in numbers)
        told.append(step("surface in all, in m2", formula, numbers, found.present, "area", "m2"))
    sizes = {"there": show(found.present, "area", "m2"), "needed": show(found.needed, "area", "m2")}
    more = found.present - found.needed
    told.append(step("surface to spare, in m2", "{there} − {needed}", sizes, more, "area", "m2"))
    if found.feed_carried is not None and found.given.protein is not None:
        sizes |= {
            "rate": _rate(found.rates.design),
            "ammonia_of_a_gram": str(six(ammonia_made(1.0, found.given.protein))),
        }
        formula = "{there} × {rate} ÷ {ammonia_of_a_gram}"
        told.append(
            step("food that it carries, in g a day", formula, sizes, found.feed_carried, "mass_flow", "g/d")
        )
    if found.short:
        sizes |= {
            "lacking": show(found.short, "area", "m2"),
            "specific_surface": show(found.added_surface, "specific_surface"),
        }
        formula = "{lacking} ÷ {specific_surface} × 1000"
        volume = found.short / found.added_surface
        told.append(step("media to add, in L", formula, sizes, volume, "volume", "L"))
    return told


def _flow(found: Surface) -> list[Step]:
    least = found.least_ammonia
    if found.given.flow is None or least is None:
        return []
    numbers = {
        "ammonia": show(found.made, "mass_flow", "mg/d"),
        "flow": show(found.given.flow, "flow", "L/h"),
    }
    words = "ammonia that the water must carry at least, in mg/L as nitrogen"
    return [step(words, "{ammonia} ÷ {flow} ÷ 24", numbers, least, "ammonia", "mg/L NH3-N")]
