"""The working of pH, alkalinity and CO2, step by step, as a person would do it with a pocket calculator."""

from __future__ import annotations

from collections.abc import Mapping

from weirbook.engine.calculators.air_pressure import pressure_step
from weirbook.engine.calculators.carbonate_inputs import Water
from weirbook.engine.relations.air import ATMOSPHERE, standard_pressure
from weirbook.engine.relations.carbonate import (
    CO2_MASS,
    Equilibria,
    davies,
    debye_hueckel,
    dielectric,
    pk1,
    pk2,
    pk_calcite,
    pkh,
    pkw,
)
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.relations.conductivity import STRENGTH_USUAL
from weirbook.engine.shape import Step, show, six, step

_GRAMS = six(CO2_MASS * 1000)
_H, _OH = "10 ^ (3 − {ph}) ÷ {one_charge}", "10 ^ (3 + {ph} − {pkw}) ÷ {one_charge}"
_DOUBLED = "(1 + 2 × 10 ^ ({ph} − {pk2}) × {one_charge} ÷ {two_charges})"
_BICARBONATE = f"({{alkalinity}} + {_H} − {_OH}) ÷ {_DOUBLED}"
_CO2 = f"{_BICARBONATE} × {{one_charge}} × 10 ^ ({{pk1}} − {{ph}}) × {_GRAMS}"
_IDEAL = (
    "({alkalinity} + 10 ^ (3 − {ph}) − 10 ^ (3 + {ph} − {pkw})) ÷ (1 + 2 × 10 ^ ({ph} − {pk2}))"
    f" × 10 ^ ({{pk1}} − {{ph}}) × {_GRAMS}"
)
_TRIAL = f"{{co2}} ÷ {_GRAMS} × 10 ^ ({{ph}} − {{pk1}}) ÷ {{one_charge}} × {_DOUBLED} + {_OH} − {_H}"


def _n(value: float) -> str:
    return str(six(value))


def steps_of(water: Water) -> list[Step]:
    return [
        *constant_steps(water.temperature),
        *_strength_steps(water),
        *_activity_steps(water.temperature, water.strength, ""),
        *_carbon_steps(water),
        *_error_steps(water),
        *_air_steps(water),
        *_other_steps(water),
        *_calcite_steps(water),
    ]


def constant_steps(temperature: float) -> list[Step]:
    celsius = {"temperature": show(temperature, "temperature")}
    numbers = {"T": _n(temperature)}
    formulas = (
        (
            "pK1",
            "356.3094 + 0.06091964 × {T} − 21834.37 ÷ {T} − 126.8339 × ln({T}) ÷ ln(10) + 1684915 ÷ {T} ^ 2",
            pk1,
        ),
        (
            "pK2",
            "107.8871 + 0.03252849 × {T} − 5151.79 ÷ {T} − 38.92561 × ln({T}) ÷ ln(10) + 563713.9 ÷ {T} ^ 2",
            pk2,
        ),
        ("pKw", "(13847.26 ÷ {T} + 23.6521 × ln({T}) − 148.9802) ÷ ln(10)", pkw),
    )
    return [
        step("T in K", "{temperature} + 273.15", celsius, temperature, "temperature", "K"),
        *(step(name, formula, numbers, pk(temperature), "number") for name, formula, pk in formulas),
    ]


def _strength_steps(water: Water) -> list[Step]:
    if water.given.ionic_strength is not None or water.given.conductivity is None:
        return []
    numbers = {"conductivity": show(water.given.conductivity, "conductivity")}
    per = _n(STRENGTH_USUAL / 1e4)
    return [step("ionic strength in mmol/L", f"{{conductivity}} × {per}", numbers, water.strength, "number")]


def _activity_steps(temperature: float, strength: float, at: str) -> list[Step]:
    at = f" {at}" if at else ""
    held = davies(temperature, strength)
    numbers = {
        "T": _n(temperature),
        "dielectric_constant": _n(dielectric(temperature)),
        "A": _n(debye_hueckel(temperature)),
        "ionic_strength": _n(strength),
        "D": _n(held),
    }
    root = "sqrt({ionic_strength} ÷ 1000)"
    return [
        step(
            "dielectric constant", "60954 ÷ ({T} + 116) − 68.937", numbers, dielectric(temperature), "number"
        ),
        step(
            "A",
            "1820000 ÷ ({dielectric_constant} × {T}) ^ 1.5",
            numbers,
            debye_hueckel(temperature),
            "number",
        ),
        step(
            f"D{at}",
            f"{{A}} × ({root} ÷ (1 + {root}) − 0.3 × {{ionic_strength}} ÷ 1000)",
            numbers,
            held,
            "number",
        ),
        step(f"one charge{at}, its activity", "10 ^ (0 − {D})", numbers, 10**-held, "number"),
        step(f"two charges{at}, their activity", "10 ^ (0 − 4 × {D})", numbers, 10 ** (-4 * held), "number"),
    ]


def _numbers(at: Equilibria, ph: float, alkalinity: float) -> Mapping[str, str]:
    return {
        "ph": _n(ph),
        "alkalinity": show(alkalinity, "alkalinity", "meq/L"),
        "pk1": _n(at.pk1),
        "pk2": _n(at.pk2),
        "pkw": _n(at.pkw),
        "one_charge": _n(at.single),
        "two_charges": _n(at.double),
    }


def _carbon_steps(water: Water) -> list[Step]:
    given, now = water.given, water.now
    numbers = {
        **_numbers(water.at, given.ph, given.alkalinity),
        "bicarbonate": _n(now.bicarbonate),
        "carbonate": _n(now.carbonate),
        "co2": _n(now.co2),
    }
    co2 = "{bicarbonate} × {one_charge} × 10 ^ ({pk1} − {ph})"
    carbonate = "{bicarbonate} × 10 ^ ({ph} − {pk2}) × {one_charge} ÷ {two_charges}"
    carbon = f"({{co2}} + {{bicarbonate}} + {{carbonate}}) × {_n(molar_mass('C') * 1000)}"
    masses = (
        ("CO2", "co2", now.co2 * CO2_MASS, CO2_MASS),
        ("bicarbonate", "bicarbonate", now.bicarbonate * molar_mass("HCO3"), molar_mass("HCO3")),
        ("carbonate", "carbonate", now.carbonate * molar_mass("CO3"), molar_mass("CO3")),
    )
    return [
        step("bicarbonate in mmol/L", _BICARBONATE, numbers, now.bicarbonate, "number"),
        step("CO2 in mmol/L", co2, numbers, now.co2, "number"),
        step("carbonate in mmol/L", carbonate, numbers, now.carbonate, "number"),
        *(
            step(f"{name} in mg/L", f"{{{key}}} × {_n(each * 1000)}", numbers, mass, "concentration")
            for name, key, mass, each in masses
        ),
        step(
            "inorganic carbon, in mg/L of C",
            carbon,
            numbers,
            now.inorganic_carbon * molar_mass("C"),
            "concentration",
        ),
        step("CO2 in mg/L, uncorrected", _IDEAL, numbers, water.ideal.co2 * CO2_MASS, "concentration"),
    ]


def _error_steps(water: Water) -> list[Step]:
    given = water.given
    steps = []
    for gives, sign, value in (
        ("CO2 at least, in mg/L", 1, water.least_co2),
        ("CO2 at most, in mg/L", -1, water.most_co2),
    ):
        ph = given.ph + sign * given.ph_error
        alkalinity = given.alkalinity - sign * given.alkalinity_error
        if value > 0 and alkalinity >= 0:
            numbers = _numbers(water.at, ph, alkalinity)
            steps.append(step(gives, _CO2, numbers, value, "concentration"))
    return steps


def _air_steps(water: Water) -> list[Step]:
    given = water.given
    in_air = water.co2_in_air * CO2_MASS
    return [
        *gas_steps(water.temperature, given.air_co2, given.altitude, in_air),
        trial("in balance with the air", water.at, water.ph_in_air, given.alkalinity, in_air),
        trial(
            "in balance with the air, uncorrected",
            water.ideal_at,
            water.ph_in_air_ideal,
            given.alkalinity,
            in_air,
        ),
    ]


def gas_steps(temperature: float, air_co2: float, altitude: float, in_air: float) -> list[Step]:
    """What the air's CO2 leaves dissolved, kg/m3."""
    numbers = {
        "T": _n(temperature),
        "pressure": show(standard_pressure(altitude), "pressure", "kPa"),
        "co2_of_the_air": show(air_co2, "dilution", "uL/L"),
        "pKH": _n(pkh(temperature)),
    }
    standard = _n(ATMOSPHERE / 1000)
    return [
        step(
            "pKH",
            "6919.53 ÷ {T} + 40.45154 × ln({T}) ÷ ln(10) − 108.3865 − 0.01985076 × {T} − 669365 ÷ {T} ^ 2",
            numbers,
            pkh(temperature),
            "number",
        ),
        pressure_step(altitude),
        step(
            "CO2 in balance with the air, in mg/L",
            f"{{co2_of_the_air}} ÷ 1000000 × {{pressure}} ÷ {standard} × 10 ^ (3 − {{pKH}}) × {_GRAMS}",
            numbers,
            in_air,
            "concentration",
        ),
    ]


def trial(where: str, at: Equilibria, ph: float, alkalinity: float, co2: float) -> Step:
    """Shows that a pH found by search is right: by it and the CO2 the alkalinity comes out."""
    numbers = {**_numbers(at, ph, alkalinity), "co2": show(co2, "concentration")}
    gives = f"pH {numbers['ph']} {where}: alkalinity by it, in meq/L"
    return step(gives, _TRIAL, numbers, alkalinity, "alkalinity", "meq/L")


def _other_steps(water: Water) -> list[Step]:
    given, at, now = water.given, water.at, water.now
    halved, doubled = now.co2 / 2, now.co2 * 2
    steps = [
        trial("with half the CO2", at, water.ph_with(halved), given.alkalinity, halved * CO2_MASS),
        trial("with twice the CO2", at, water.ph_with(doubled), given.alkalinity, doubled * CO2_MASS),
    ]
    if water.ph_at_wanted_co2 is not None and given.wanted_co2 is not None:
        steps.append(
            trial("at the wanted CO2", at, water.ph_at_wanted_co2, given.alkalinity, given.wanted_co2)
        )
    wanted, strength, at_wanted = given.wanted_alkalinity, water.wanted_strength, water.wanted_at
    if (
        wanted is not None
        and strength is not None
        and at_wanted
        and water.ph_at_wanted_alkalinity is not None
    ):
        where = "at the wanted alkalinity"
        steps += _activity_steps(water.temperature, strength, where)[2:]
        steps.append(trial(where, at_wanted, water.ph_at_wanted_alkalinity, wanted, water.co2))
    return steps


def _calcite_steps(water: Water) -> list[Step]:
    if water.calcium is None or water.saturation_index is None:
        return []
    temperature = water.temperature
    numbers = {
        "T": _n(temperature),
        "calcium": show(water.given.calcium or 0.0, "concentration"),
        # With more figures, since the index is the small difference of two large numbers.
        "calcium_in_mmol": f"{water.calcium:.9g}",
        "carbonate": f"{water.now.carbonate:.9g}",
        "two_charges": f"{water.at.double:.9g}",
        "pK_of_calcite": f"{pk_calcite(temperature):.9g}",
    }
    return [
        step(
            "calcium in mmol/L",
            f"{{calcium}} ÷ {_n(molar_mass('Ca') * 1000)}",
            numbers,
            water.calcium,
            "number",
        ),
        step(
            "pK of calcite",
            "171.9065 + 0.077993 × {T} − 2839.319 ÷ {T} − 71.595 × ln({T}) ÷ ln(10)",
            numbers,
            pk_calcite(temperature),
            "number",
        ),
        step(
            "saturation index",
            "{pK_of_calcite} − ln(1000000 ÷ ({calcium_in_mmol} × {carbonate} × {two_charges} ^ 2)) ÷ ln(10)",
            numbers,
            water.saturation_index,
            "number",
        ),
    ]
