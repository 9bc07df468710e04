"""A water report turned into the keeper's numbers: GH, KH, every unit, and whether it agrees with itself."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.hardness_care import (
    LIMITS_OF_USE,
    SOURCES,
    assumptions,
    cautions,
    verdict,
    why,
)
from weirbook.engine.calculators.hardness_inputs import NUTRIENTS, Inputs, Report, refuse_an_empty_report
from weirbook.engine.calculators.hardness_steps import forms, steps_of
from weirbook.engine.relations.ions import MASSES
from weirbook.engine.shape import TEXT, Calculator, Result, Working


def solve(given: Inputs) -> Working:
    """GH, KH and nutrients of a report in every unit, its shares, and whether its figures agree.

    Equations: moles = mass / molar mass; GH = Ca + Mg, or as reported; KH = alkalinity, or HCO3, in charges; value in
    a unit = moles / the unit's moles; balance = (cations - anions) / (cations + anions).
    Shapes and units: SI, see `Inputs`.
    Valid for: fresh water below pH 8.3, where alkalinity is bicarbonate.
    Uncertainty: of the weights 2 parts in 10,000; in practice that of the report.
    Raises: Invalid where nothing was told.
    Source: see SOURCES.
    Not covered: iron, strontium and barium as hardness; silica, fluoride and organic acids in the balance.
    """
    refuse_an_empty_report(given)
    report = Report(given)
    return Working(_values(report), steps_of(report), list(assumptions(report)), list(cautions(report)))


def _values(report: Report) -> dict[str, Any]:
    calcium, magnesium = report.calcium, report.magnesium
    share = ratio = None
    if calcium is not None and magnesium is not None and calcium + magnesium > 0:
        share = calcium / (calcium + magnesium)
        ratio = calcium / magnesium if magnesium else None
    return {
        "verdict": verdict(report),
        "why": why(report),
        "gh": report.hardness,
        "kh": report.alkalinity,
        "calcium_mass": None if calcium is None else calcium * MASSES["calcium"],
        "magnesium_mass": None if magnesium is None else magnesium * MASSES["magnesium"],
        "calcium_share": share,
        "magnesium_share": None if share is None else 1 - share,
        "calcium_to_magnesium_moles": ratio,
        "calcium_to_magnesium_mass": None
        if ratio is None
        else ratio * MASSES["calcium"] / MASSES["magnesium"],
        "alkalinity_beyond_hardness": report.beyond_hardness,
        "hardness_gap": report.hardness_gap,
        "alkalinity_gap": report.alkalinity_gap,
        "cations": report.cations,
        "anions": report.anions,
        "balance_error": report.imbalance,
        "hardness_forms": _forms("hardness", report.hardness),
        "alkalinity_forms": _forms("alkalinity", report.alkalinity),
        "nutrient_forms": [
            {"nutrient": name, **row}
            for name in NUTRIENTS
            for row in _forms(name, getattr(report.given, name))
        ],
        "ions": [
            {
                "ion": one.name,
                "mass": one.mass,
                "mmol_a_litre": one.moles,
                "meq_a_litre": one.charges,
            }
            for one in report.ions
        ],
    }


def _forms(kind: str, value: float | None) -> list[dict[str, Any]]:
    if value is None:
        return []
    return [
        {"stated_as": name, "value": figure, "words": words} for name, figure, words in forms(kind, value)
    ]


_FORM = (
    Result("stated_as", TEXT, "The unit, as every input takes it."),
    Result("value", "number", "The figure in it."),
    Result("words", TEXT, "What the unit is."),
)

HARDNESS = Calculator(
    name="hardness",
    title="Hardness and nutrients of a water report",
    doc=(
        "A water report turned into the keeper's numbers: general hardness from calcium and magnesium, carbonate"
        " hardness from bicarbonate or alkalinity, both in every unit; nitrogen, phosphorus and potassium in every"
        " form; how calcium and magnesium share; and whether the report agrees with itself by its charges and by"
        " what it tells twice. Hardness and alkalinity are never made out of each other."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "Of the report: ok (it agrees with itself); watch (it doesn't); unknown (main ions are not told).",
        ),
        Result("why", TEXT, "The water and the verdict in words."),
        Result("gh", "hardness", "General hardness; none if neither told nor both ions."),
        Result("kh", "alkalinity", "Carbonate hardness (alkalinity); none if not told."),
        Result("calcium_mass", "concentration", "By its own mass, told or left of total hardness."),
        Result("magnesium_mass", "concentration", "By its own mass, told or left of total hardness."),
        Result("calcium_share", "fraction", "Of hardness, by moles."),
        Result("magnesium_share", "fraction", "Of hardness, by moles."),
        Result("calcium_to_magnesium_moles", "number", "Calcium for each magnesium, by moles."),
        Result("calcium_to_magnesium_mass", "number", "Calcium for each magnesium, by mass."),
        Result(
            "alkalinity_beyond_hardness",
            "alkalinity",
            "That no calcium or magnesium matches, charge for charge: of sodium and potassium.",
        ),
        Result(
            "hardness_gap",
            "hardness",
            "Reported hardness less calcium and magnesium; none if not told twice.",
        ),
        Result(
            "alkalinity_gap", "alkalinity", "Reported alkalinity less bicarbonate; none if not told twice."
        ),
        Result("cations", "number", "All told, in meq/L."),
        Result("anions", "number", "All told, in meq/L."),
        Result(
            "balance_error",
            "fraction",
            "Cations beyond anions, of both; negative where they lack, none if main ions do.",
        ),
        Result("hardness_forms", "list", "GH in every unit.", fields=_FORM),
        Result("alkalinity_forms", "list", "KH in every unit.", fields=_FORM),
        Result(
            "nutrient_forms",
            "list",
            "What was told of nitrate, nitrite, ammonia, phosphate and potassium, in every form.",
            fields=(Result("nutrient", TEXT, "Which."), *_FORM),
        ),
        Result(
            "ions",
            "list",
            "The report in moles and charges.",
            fields=(
                Result(
                    "ion",
                    TEXT,
                    "Which; alkalinity stands for bicarbonate, ammonium for total ammonia, hardness for calcium and magnesium.",
                ),
                Result(
                    "mass",
                    "concentration",
                    "By its own mass; phosphate as PO4, ammonium as NH4; none of hardness.",
                ),
                Result("mmol_a_litre", "number", "In mmol/L."),
                Result("meq_a_litre", "number", "In meq/L, negative for anions."),
            ),
        ),
    ),
    limits=LIMITS_OF_USE,
    sources=SOURCES,
    solve=solve,
    example={
        "hardness": "11.5 dGH",
        "calcium": "65 mg/L",
        "magnesium": "10 mg/L",
        "sodium": "14 mg/L",
        "potassium": "3 mg/L K",
        "alkalinity": "150 mg/L CaCO3",
        "bicarbonate": "183 mg/L",
        "chloride": "25 mg/L",
        "sulfate": "48 mg/L",
        "nitrate": "12 mg/L NO3",
        "nitrite": "0.02 mg/L NO2",
        "ammonia": "0.03 mg/L NH4",
        "phosphate": "0.2 mg/L PO4",
    },
    doors=("systems",),
)
