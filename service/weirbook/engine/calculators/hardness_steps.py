"""The working of a water report, step by step, as a person would do it with a pocket calculator."""

from __future__ import annotations

from collections.abc import Iterator

from weirbook.engine.calculators.hardness_inputs import NUTRIENTS, Report
from weirbook.engine.relations.ions import CHARGES, MASSES
from weirbook.engine.shape import Step, show, six, step
from weirbook.engine.units import KINDS, from_si, unit

_WEIGHED = ("calcium", "magnesium", "sodium", "bicarbonate", "chloride", "sulfate")


def _n(value: float) -> str:
    return str(six(value))


def forms(kind: str, si: float) -> Iterator[tuple[str, float, str]]:
    """A value in every unit of its kind that has milligrams, moles or degrees: name, figure, words."""
    for one in KINDS[kind].units:
        if one.name != KINDS[kind].si and not one.name.startswith("u"):
            yield one.name, from_si(si, one.name, kind), one.words


def steps_of(report: Report) -> list[Step]:
    return [
        *_mole_steps(report),
        *_hardness_steps(report),
        *_form_steps(report),
        *_share_steps(report),
        *_alkalinity_steps(report),
        *_balance_steps(report),
    ]


def _mole_steps(report: Report) -> Iterator[Step]:
    for name in _WEIGHED:
        told = getattr(report.given, name)
        if told is not None:
            numbers = {name: show(told, "concentration")}
            formula = f"{{{name}}} ÷ {_n(MASSES[name] * 1000)}"
            yield step(f"{name} in mmol/L", formula, numbers, told / MASSES[name], "number")


def _hardness_steps(report: Report) -> Iterator[Step]:
    calcium, magnesium, told = report.calcium, report.magnesium, report.given.hardness
    if report.sum_of_both is not None and calcium is not None and magnesium is not None:
        numbers = {"calcium": _n(calcium), "magnesium": _n(magnesium)}
        gives = "hardness by calcium and magnesium, in mmol/L"
        yield step(gives, "{calcium} + {magnesium}", numbers, report.sum_of_both, "hardness", "mmol/L")
        if told is not None and report.hardness_gap is not None:
            numbers = {
                "reported": show(told, "hardness", "mmol/L"),
                "by_ions": show(report.sum_of_both, "hardness", "mmol/L"),
            }
            gives = "reported hardness beyond it, in mmol/L"
            yield step(gives, "{reported} − {by_ions}", numbers, report.hardness_gap, "hardness", "mmol/L")
        return
    for name, other in (("calcium", "magnesium"), ("magnesium", "calcium")):
        left, beside = getattr(report, name), getattr(report, other)
        if report.is_left_over(name) and told is not None:
            numbers = {"hardness": show(told, "hardness", "mmol/L"), other: _n(beside)}
            yield step(f"{name} in mmol/L", f"{{hardness}} − {{{other}}}", numbers, left, "number")
            numbers = {name: _n(left)}
            mass = left * MASSES[name]
            formula = f"{{{name}}} × {_n(MASSES[name] * 1000)}"
            yield step(f"{name} in mg/L", formula, numbers, mass, "concentration")


def _form_steps(report: Report) -> Iterator[Step]:
    values = [("hardness", report.hardness, "mmol/L"), ("alkalinity", report.alkalinity, "meq/L")]
    values += [(name, getattr(report.given, name), "mmol/L") for name in NUTRIENTS]
    for name, value, base in values:
        if value is None:
            continue
        numbers = {name: show(value, name, base)}
        for stated_as, _, _ in forms(name, value):
            if stated_as != base:
                factor = unit(name, base).factor / unit(name, stated_as).factor
                formula = f"{{{name}}} × {_n(factor)}"
                yield step(f"{name} in {stated_as}", formula, numbers, value, name, stated_as)


def _share_steps(report: Report) -> Iterator[Step]:
    calcium, magnesium = report.calcium, report.magnesium
    if not calcium or magnesium is None:
        return
    numbers = {"calcium": _n(calcium), "magnesium": _n(magnesium)}
    share = calcium / (calcium + magnesium)
    formula = "{calcium} ÷ ({calcium} + {magnesium}) × 100"
    yield step("share of calcium, in %", formula, numbers, share, "fraction")
    if magnesium:
        yield step(
            "calcium for each magnesium, by moles",
            "{calcium} ÷ {magnesium}",
            numbers,
            calcium / magnesium,
            "number",
        )
        light = MASSES["calcium"] / MASSES["magnesium"]
        formula = f"{{calcium}} × {_n(MASSES['calcium'] * 1000)} ÷ ({{magnesium}} × {_n(MASSES['magnesium'] * 1000)})"
        yield step(
            "calcium for each magnesium, by mass", formula, numbers, calcium / magnesium * light, "number"
        )


def _alkalinity_steps(report: Report) -> Iterator[Step]:
    if report.alkalinity_gap is not None and report.given.alkalinity is not None:
        numbers = {
            "reported": show(report.given.alkalinity, "alkalinity", "meq/L"),
            "bicarbonate": _n(report.bicarbonate or 0.0),
        }
        gives = "reported alkalinity beyond the bicarbonate, in meq/L"
        yield step(gives, "{reported} − {bicarbonate}", numbers, report.alkalinity_gap, "alkalinity", "meq/L")
    if report.beyond_hardness and report.alkalinity is not None and report.hardness is not None:
        numbers = {
            "alkalinity": show(report.alkalinity, "alkalinity", "meq/L"),
            "hardness": show(report.hardness, "hardness", "mmol/L"),
        }
        gives = "alkalinity that calcium and magnesium don't match, charge for charge, in meq/L"
        yield step(
            gives, "{alkalinity} − 2 × {hardness}", numbers, report.beyond_hardness, "alkalinity", "meq/L"
        )


def _balance_steps(report: Report) -> Iterator[Step]:
    for gives, sign, total in (("cations", 1, report.cations), ("anions", -1, report.anions)):
        ions = [one for one in report.ions if one.charges * sign > 0]
        if ions:
            formula = " + ".join(f"{{{one.name}}} × {_n(abs(CHARGES[one.name]))}" for one in ions)
            numbers = {one.name: _n(one.moles) for one in ions}
            yield step(f"{gives} in meq/L", formula, numbers, total, "number")
    if report.imbalance is not None and report.cations + report.anions > 0:
        numbers = {"cations": _n(report.cations), "anions": _n(report.anions)}
        formula = "({cations} − {anions}) ÷ ({cations} + {anions}) × 100"
        yield step("cations beyond anions, in %", formula, numbers, report.imbalance, "fraction")
