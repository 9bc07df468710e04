"""Units held to published definitions, to an outside library, and to their own invariants."""

import csv
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

import weirbook
from weirbook.engine import units
from weirbook.engine.units import (
    ATOMIC_WEIGHTS,
    KINDS,
    Quantity,
    convert,
    from_si,
    number,
    quantity,
    to_si,
    unit,
)
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"

# A conversion rounds four times, each by up to 1.1e-16, and some rows were printed after as many.
DOUBLE = 1e-15


def published(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def half_last_digit(rows: list[dict[str, str]], column: str) -> float:
    """Half the last digit of the finest value in a column: these tables trim trailing zeros."""
    decimals = max(len(row[column].partition(".")[2]) for row in rows if row[column])
    return 0.5 * 10.0**-decimals * (1 + 1e-9)


DEFINITIONS = {
    ("us_liquid_gallon", "litre"): ("volume", "gal", "L"),
    ("imperial_gallon", "litre"): ("volume", "gal_imp", "L"),
    ("inch", "metre"): ("length", "in", "m"),
    ("foot", "metre"): ("length", "ft", "m"),
    ("pound_avoirdupois", "kilogram"): ("mass", "lb", "kg"),
    ("pound_force", "newton"): ("force", "lbf", "N"),
    ("psi", "pascal"): ("pressure", "psi", "Pa"),
    ("psf", "pascal"): ("pressure", "psf", "Pa"),
    ("us_gallon_per_minute", "litre_per_hour"): ("flow", "gal/min", "L/h"),
    ("us_gallon_per_hour", "litre_per_hour"): ("flow", "gal/h", "L/h"),
    ("cubic_foot", "litre"): ("volume", "ft3", "L"),
    ("cubic_foot_per_second", "cubic_metre_per_second"): ("flow", "ft3/s", "m3/s"),
    ("us_fluid_ounce", "millilitre"): ("volume", "fl_oz", "mL"),
    ("cubic_inch", "millilitre"): ("volume", "in3", "mL"),
    ("us_gallon", "cubic_inch"): ("volume", "gal", "in3"),
    ("imperial_gallon", "us_gallon"): ("volume", "gal_imp", "gal"),
    ("metre_of_water_4c", "kilopascal"): ("pressure", "mH2O", "kPa"),
    ("standard_gravity", "metre_per_second2"): ("force", "kgf", "N"),  # the force on one kilogram
}

# Water at 4 degC against the conventional 1000 kg/m3 (999.972): 2.8e-5 apart.
CONVENTIONAL_WATER = 3e-5


@pytest.mark.parametrize("row", published("unit_definitions.csv"), ids=lambda row: row["from_unit"])
def test_units_follow_their_published_definitions(row: dict[str, str]) -> None:
    kind, from_name, to_name = DEFINITIONS[row["from_unit"], row["to_unit"]]
    tolerance = CONVENTIONAL_WATER if from_name == "mH2O" else DOUBLE
    assert convert(1.0, from_name, to_name, kind) == pytest.approx(float(row["factor"]), rel=tolerance, abs=0)


# SI values read out of an outside library, scipy.constants 1.17.1. It multiplies its own floats, so it misses
# some exact definitions by a last digit or two.
OUTSIDE = [
    ("length", "in", 0.0254),
    ("length", "ft", 0.30479999999999996),
    ("volume", "gal", 0.0037854117839999997),
    ("volume", "gal_imp", 0.00454609),
    ("volume", "fl_oz", 2.9573529562499998e-05),
    ("volume", "fl_oz_imp", 2.84130625e-05),
    ("mass", "lb", 0.45359236999999997),
    ("mass", "oz", 0.028349523124999998),
    ("mass", "gr", 6.479891e-05),
    ("mass", "t", 1000.0),
    ("time", "week", 604800.0),
    ("time", "year", 31557600.0),
    ("pressure", "psi", 6894.757293168361),
    ("pressure", "atm", 101325.0),
    ("pressure", "bar", 100000.0),
    ("force", "lbf", 4.4482216152605),
    ("force", "kgf", 9.80665),
    ("power", "hp", 745.6998715822701),
    ("energy", "Btu", 1055.05585262),
    ("angle", "deg", 0.017453292519943295),
    ("temperature_difference", "degF", 0.5555555555555556),
]


@pytest.mark.parametrize(("kind", "name", "si"), OUTSIDE)
def test_units_agree_with_an_outside_library(kind: str, name: str, si: float) -> None:
    assert to_si(1.0, name, kind) == pytest.approx(si, rel=2e-15, abs=0)


def test_millimetres_of_mercury_are_the_conventional_ones() -> None:
    # The library divides the atmosphere by 760: 133.32236842105263 Pa. The conventional one (mercury of
    # 13595.1 kg/m3 at standard gravity) is 1.4e-7 larger.
    assert to_si(1.0, "mmHg", "pressure") == pytest.approx(133.32236842105263, rel=2e-7, abs=0)
    assert to_si(1.0, "inHg", "pressure") == pytest.approx(25.4 * to_si(1.0, "mmHg", "pressure"), rel=1e-15)


# scipy.constants.convert_temperature 1.17.1, rounded to the exact decimals: degC, K, degF.
TEMPERATURES = [(-40.0, 233.15, -40.0), (0.0, 273.15, 32.0), (23.7, 296.85, 74.66), (100.0, 373.15, 212.0)]


@pytest.mark.parametrize(("celsius", "kelvin", "fahrenheit"), TEMPERATURES)
def test_temperatures_agree_with_an_outside_library(celsius: float, kelvin: float, fahrenheit: float) -> None:
    assert to_si(celsius, "degC", "temperature") == pytest.approx(kelvin, abs=1e-12)
    assert to_si(fahrenheit, "degF", "temperature") == pytest.approx(kelvin, abs=1e-12)
    assert convert(celsius, "degC", "degF", "temperature") == pytest.approx(fahrenheit, abs=1e-12)
    assert number(convert(fahrenheit, "degF", "degC", "temperature")) == celsius


def test_a_temperature_difference_has_no_zero_of_its_own() -> None:
    assert convert(9.0, "degF", "K", "temperature_difference") == pytest.approx(5.0, abs=1e-15)
    assert to_si(2.0, "degC", "temperature_difference") == 2.0


# Our unit for each row of the hardness table, and which of the two kinds it may stand in.
HARDNESS, ALKALINITY = "hardness", "alkalinity"
DEGREES = {
    "mmol_per_l_caco3": {HARDNESS: "mmol/L", ALKALINITY: "mmol/L CaCO3"},
    "meq_per_l": {HARDNESS: "meq/L", ALKALINITY: "meq/L"},
    "mg_per_l_caco3": {HARDNESS: "mg/L CaCO3", ALKALINITY: "mg/L CaCO3"},
    "german_degree_dgh_dkh": {HARDNESS: "dGH", ALKALINITY: "dKH"},
    "french_degree": {HARDNESS: "fH", ALKALINITY: "fH"},
    "english_clark_degree": {HARDNESS: "Clark", ALKALINITY: "Clark"},
    "grain_per_us_gallon": {HARDNESS: "gr/gal CaCO3", ALKALINITY: "gr/gal CaCO3"},
    "mg_per_l_ca": {HARDNESS: "mg/L Ca"},
    "mg_per_l_cao": {HARDNESS: "mg/L CaO"},
    "mg_per_l_mg": {HARDNESS: "mg/L Mg"},
    "mg_per_l_hco3_alkalinity_only": {ALKALINITY: "mg/L HCO3"},
    "american_degree_ppm_caco3": {HARDNESS: "mg/L CaCO3", ALKALINITY: "mg/L CaCO3"},
}
COLUMNS = {
    "mmol_per_l": "mmol_per_l_caco3",
    "meq_per_l": "meq_per_l",
    "mg_caco3_per_l": "mg_per_l_caco3",
    "dgh_or_dkh": "german_degree_dgh_dkh",
    "french_degree": "french_degree",
    "english_clark_degree": "english_clark_degree",
    "grain_per_us_gallon": "grain_per_us_gallon",
}


@pytest.mark.parametrize("table", ["hardness_alkalinity_units.csv", "hardness_alkalinity_conversions.csv"])
def test_hardness_and_alkalinity_follow_the_published_table(table: str) -> None:
    rows = published(table)
    for row in rows:
        for kind, from_name in DEGREES[row["unit"]].items():
            for column in COLUMNS.keys() & row.keys():
                given_value = float(row.get("value", "1"))
                found = convert(given_value, from_name, DEGREES[COLUMNS[column]][kind], kind)
                expected = pytest.approx(float(row[column]), abs=half_last_digit(rows, column), rel=0)
                assert found == expected, (row["unit"], kind, column)


# Forms of one element: (kind, unit). A reaction's row goes through moles of nitrogen, the SI of each kind.
FORMS = {
    "NO3_N": ("nitrate", "mg/L NO3-N"),
    "NO3": ("nitrate", "mg/L NO3"),
    "NO2_N": ("nitrite", "mg/L NO2-N"),
    "NO2": ("nitrite", "mg/L NO2"),
    "NH3_N": ("ammonia", "mg/L NH3-N"),
    "NH3": ("ammonia", "mg/L NH3"),
    "NH4_N": ("ammonia", "mg/L NH4-N"),
    "NH4": ("ammonia", "mg/L NH4"),
    "PO4_P": ("phosphate", "mg/L PO4-P"),
    "PO4": ("phosphate", "mg/L PO4"),
    "P2O5": ("phosphate", "mg/L P2O5"),
    "P": ("phosphate", "mg/L P"),
    "K2O": ("potassium", "mg/L K2O"),
    "K": ("potassium", "mg/L K"),
    "CaO": ("hardness", "mg/L CaO"),
    "MgO": ("hardness", "mg/L MgO"),
    "Ca": ("hardness", "mg/L Ca"),
    "Mg": ("hardness", "mg/L Mg"),
    "HCO3": ("alkalinity", "mg/L HCO3"),
}
# Rows of substances that are no kind of ours: sulfate, and one N for each Cl2 in monochloramine.
BY_WEIGHT = {
    ("SO4", "S"): ({"S": 1}, {"S": 1, "O": 4}),
    ("Cl2", "NH3_N_from_monochloramine"): ({"N": 1}, {"Cl": 2}),
}


def mass(atoms: dict[str, int]) -> float:
    return sum(count * ATOMIC_WEIGHTS[element] for element, count in atoms.items())


@pytest.mark.parametrize(
    "row", published("nutrient_conversions.csv"), ids=lambda row: f"{row['from_species']}-{row['to_species']}"
)
def test_forms_of_a_nutrient_follow_the_published_factors(row: dict[str, str]) -> None:
    pair = row["from_species"], row["to_species"]
    if pair in BY_WEIGHT:
        part, whole = BY_WEIGHT[pair]
        found = mass(part) / mass(whole)
    else:
        kind, name = FORMS[pair[0]]
        to_kind, to_name = (kind, "mg/L CaCO3") if pair[1] == "CaCO3" else FORMS[pair[1]]
        found = from_si(to_si(1.0, name, kind), to_name, to_kind)
    assert found == pytest.approx(float(row["factor_mass"]), abs=half_last_digit([row], "factor_mass"), rel=0)


def test_every_published_row_is_used() -> None:
    assert {(r["from_unit"], r["to_unit"]) for r in published("unit_definitions.csv")} == DEFINITIONS.keys()
    assert {r["unit"] for r in published("hardness_alkalinity_units.csv")} == DEGREES.keys()


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_the_units_of_a_kind_are_unique_and_its_si_unit_is_one(kind: units.Kind) -> None:
    names = [name for one in kind.units for name in (one.name, *one.aliases)]
    assert len(names) == len(set(names))
    assert (unit(kind.name, kind.si).factor, unit(kind.name, kind.si).offset) == (1.0, 0.0)
    assert kind.default in [one.name for one in kind.units]
    assert all(one.factor > 0 and one.kind == kind.name and one.words for one in kind.units)


ALL_UNITS = [one for kind in KINDS.values() for one in kind.units]
# Zero, or a size that a change of unit does not push below what a double can hold.
FIGURES = st.one_of(st.floats(-1e12, -1e-30), st.just(0.0), st.floats(1e-30, 1e12)).map(number).map(float)
OFFSET_ROUNDING = 1e-10


@given(FIGURES, st.sampled_from(ALL_UNITS))
def test_to_si_and_back_gives_the_value_back(value: float, one: units.Unit) -> None:
    there = to_si(value, one.name, one.kind)
    tolerance = OFFSET_ROUNDING if one.offset else 0
    assert from_si(there, one.name, one.kind) == pytest.approx(value, rel=4e-15, abs=tolerance)


@given(FIGURES, st.sampled_from(ALL_UNITS), st.data())
def test_conversion_there_and_back_gives_the_value_back(
    value: float, one: units.Unit, data: st.DataObject
) -> None:
    other = data.draw(st.sampled_from(KINDS[one.kind].units))
    there = convert(value, one.name, other.name, one.kind)
    back = convert(there, other.name, one.name, one.kind)
    tolerance = 2 * OFFSET_ROUNDING if one.offset or other.offset else 0
    assert back == pytest.approx(value, rel=1e-14, abs=tolerance)


@given(FIGURES, st.sampled_from(ALL_UNITS))
def test_a_quantity_reads_back_from_its_own_text_and_json(value: float, one: units.Unit) -> None:
    entered = Quantity(value, one.name)
    assert quantity(entered.text(), one.kind) == entered
    assert quantity(json.loads(json.dumps(entered.as_json())), one.kind) == entered
    assert quantity(entered, one.kind) == entered


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_the_same_unit_under_an_alias_leaves_the_value_untouched(value: float) -> None:
    assert convert(value, "°F", "[degF]", "temperature") == value
    assert convert(value, "in", "in", "length") == value


@pytest.mark.parametrize(
    ("sent", "kind", "canonical"),
    [
        ("°C", "temperature", "degC"),
        ("Cel", "temperature", "degC"),
        ("°F", "temperature", "degF"),
        ("[degF]", "temperature", "degF"),
        ("[in_i]", "length", "in"),
        ("[ft_i]", "length", "ft"),
        ("[gal_us]", "volume", "gal"),
        ("[gal_br]", "volume", "gal_imp"),
        ("[lb_av]", "mass", "lb"),
        ("[psi]", "pressure", "psi"),
        ("[pH]", "ph", "pH"),
        ("\N{MICRO SIGN}S/cm", "conductivity", "uS/cm"),
        ("\N{GREEK SMALL LETTER MU}S/cm", "conductivity", "uS/cm"),
        ("m³", "volume", "m3"),
    ],
)
def test_an_alias_comes_back_as_the_canonical_name(sent: str, kind: str, canonical: str) -> None:
    assert quantity(f"3 {sent}", kind) == Quantity(3.0, canonical)
    assert quantity({"value": 3, "unit": sent}, kind) == Quantity(3.0, canonical)
    assert Quantity(3.0, sent).to(sent, kind) == Quantity(3.0, canonical)


@pytest.mark.parametrize(
    ("raw", "kind", "expected"),
    [
        ("72 in", "length", Quantity(72.0, "in")),
        ("72in", "length", Quantity(72.0, "in")),
        (" -2.5  cm ", "length", Quantity(-2.5, "cm")),
        (".5 L", "volume", Quantity(0.5, "L")),
        ("1e-7 m3", "volume", Quantity(1e-7, "m3")),
        ("50%", "fraction", Quantity(50.0, "%")),
        ("0.5 1", "fraction", Quantity(0.5, "1")),
        ("5 1/h", "rate", Quantity(5.0, "1/h")),
        ("40 mg/L CaCO3", "alkalinity", Quantity(40.0, "mg/L CaCO3")),
        (7.2, "ph", Quantity(7.2, "pH")),
        ("7.2", "ph", Quantity(7.2, "pH")),
        (4, "score", Quantity(4.0, "points")),
        (1, "contact", Quantity(1.0, "on/off")),
        (3, "number", Quantity(3.0, "1")),
    ],
)
def test_a_quantity_is_read_as_it_is_usually_written(raw: object, kind: str, expected: Quantity) -> None:
    assert quantity(raw, kind) == expected


@pytest.mark.parametrize(
    ("raw", "kind", "pointer", "words"),
    [
        (5, "length", "", "Say the unit with the number 5"),
        ("5", "length", "", "Say the unit with the number 5"),
        (0.5, "fraction", "", "Say the unit with the number 0.5"),
        ("24,5 L", "volume", "", "decimal point"),
        ("1,000 L", "volume", "", "decimal point"),
        ("1 000 L", "volume", "", "space in its number"),
        ({"value": "24,5", "unit": "L"}, "volume", "/value", "decimal point: 24.5"),
        ({"value": "24", "unit": "L"}, "volume", "/value", "send the value as a number"),
        ({"value": True, "unit": "L"}, "volume", "/value", "true is not a number"),
        ({"value": None, "unit": "L"}, "volume", "/value", "null is not a number"),
        ({"value": float("nan"), "unit": "L"}, "volume", "/value", "nan is not a number between"),
        ({"value": float("inf"), "unit": "L"}, "volume", "/value", "inf is not a number between"),
        ({"value": 10**5000, "unit": "L"}, "volume", "/value", "between -1e15 and 1e15"),
        ({"value": -1.1e15, "unit": "L"}, "volume", "/value", "between -1e15 and 1e15"),
        ("1e999 L", "volume", "", "between -1e15 and 1e15"),
        (Quantity(float("nan"), "L"), "volume", "", "nan is not a number between"),
        ({"value": 1, "unit": "L", "note/1": "x"}, "volume", "/note~11", "keys value and unit, not 'note/1'"),
        ({"value": 1}, "volume", "/unit", "lacks its unit"),
        ({"unit": "L"}, "volume", "/value", "lacks its value"),
        ({"value": 1, "unit": ["L"]}, "volume", "/unit", "A unit is a text"),
        ({"value": 1, "unit": "L\x00"}, "volume", "/unit", "is not a unit of volume"),
        ("5\x00L", "volume", "", "is not a quantity"),
        ("5 " + "L" * 200, "volume", "", "is not a quantity"),
        ("\N{ARABIC-INDIC DIGIT FIVE} L", "volume", "", "does not begin with a number"),
        ("plenty", "volume", "", "does not begin with a number"),
        ("", "volume", "", "does not begin with a number"),
        (True, "contact", "", "true is not a quantity"),
        (None, "volume", "", "null is not a quantity"),
        ([5, "L"], "volume", "", "A list is not a quantity"),
        ("2 m**2", "area", "", "is not a unit of area"),
        ("2 L*L", "volume", "", "is not a unit of volume"),
        ("2 3 L", "volume", "", "'3 L' is not a unit of volume"),
    ],
)
def test_what_is_no_quantity_is_refused_with_its_place_and_a_reason(
    raw: object, kind: str, pointer: str, words: str
) -> None:
    with pytest.raises(Invalid, match=re.escape(words)) as refused:
        quantity(raw, kind)
    assert [fault.pointer for fault in refused.value.faults] == [pointer]
    assert len(refused.value.message) < 400
    assert "\x00" not in refused.value.message


@pytest.mark.parametrize(
    ("sent", "kind", "words"),
    [
        ("degC", "volume", "'degC' is a unit of temperature, temperature difference, not of volume."),
        ("dKH", "hardness", "'dKH' is a unit of alkalinity, not of hardness."),
        ("dGH", "alkalinity", "'dGH' is a unit of hardness, not of alkalinity."),
        ("mg/L", "nitrate", "Say as what: mg/L NO3 or mg/L NO3-N."),
        ("ppm", "concentration", "for water write mg/L"),
        ("ppm", "hardness", "Did you mean 'mg/L CaCO3'?"),
        ("ppm NO3", "nitrate", "for water write mg/L"),
        ("ppm", "conductivity", "Did you mean 'uS/cm'? (a meter's ppm is uS/cm times a factor of its own"),
        ("g", "concentration", "grams ÷ litres made, as 2 g in 100 L are 20 mg/L"),
        ("mg", "concentration", "Did you mean 'mg/L'?"),
        ("ppt", "salinity", "write g/L, g/kg or ng/L"),
        ("mmol/L", "alkalinity", "1 mmol/L HCO3 is 1 meq/L; 1 mmol/L CaCO3 is 2 meq/L"),
        ("degf", "hardness", "Did you mean 'fH'?"),
        ("F", "temperature", "Did you mean 'degF'?"),
        ("gph", "flow", "Did you mean 'gal/h'? (US gallons an hour; imperial ones are gal_imp/h)"),
        ("Gallons", "volume", "the imperial one is gal_imp"),
        ("oz", "volume", "Did you mean 'fl_oz'?"),
        ("kwh", "energy", "Did you mean 'kWh'? Names are exact, capitals too."),
        ("furlong", "length", "'furlong' is not a unit of length. Units of length: m, cm, mm, km, in, ft."),
    ],
)
def test_an_unknown_unit_is_answered_with_what_was_meant_and_what_is_allowed(
    sent: str, kind: str, words: str
) -> None:
    with pytest.raises(Invalid, match=re.escape(words)) as refused:
        unit(kind, sent)
    assert refused.value.message.endswith(f"{', '.join(one.name for one in KINDS[kind].units)}.")


def test_every_slip_offers_a_unit_that_exists_and_is_itself_never_taken() -> None:
    for slip in units._SLIPS:
        offering = [kind for kind in KINDS if slip.meant in units._UNITS[kind]]
        assert slip.meant is None or offering, slip
        for kind in offering:
            assert slip.sent not in units._UNITS[kind], slip
            with pytest.raises(Invalid, match="Did you mean"):
                unit(kind, slip.sent)


def test_general_hardness_never_converts_to_carbonate_hardness() -> None:
    for kind in (HARDNESS, ALKALINITY):
        with pytest.raises(Invalid, match="is a unit of"):
            convert(1.0, "dGH", "dKH", kind)
        with pytest.raises(Invalid, match="is a unit of"):
            convert(1.0, "dKH", "dGH", kind)


def test_a_unit_listed_under_a_kind_that_it_does_not_measure_stops_the_import() -> None:
    text = (
        "own\n  hardness\n  alkalinity\nkind hardness | a | a | -\n  a | - | of_hardness * mol / m**3 | -\n"
    )
    assert units._load(text)[0]["hardness"].units[0].factor == 1
    with pytest.raises(pint.DimensionalityError):
        units._load(text + "  b | - | of_alkalinity * mol / m**3 | -\n")


@pytest.mark.parametrize(
    ("x", "shown"),
    [
        (78.39999999999999, "78.4"),
        (0.1 + 0.2, "0.3"),
        (72.0, "72"),
        (-0.0, "0"),
        (1e15, "1000000000000000"),
        (1e16, "1e+16"),
        (1e-7, "1e-07"),
        (123456789.0123456, "123456789.012"),
    ],
)
def test_a_number_is_shown_as_short_as_twelve_digits_allow(x: float, shown: str) -> None:
    assert json.dumps(number(x)) == shown


@pytest.mark.parametrize("x", [float("nan"), float("inf"), float("-inf")])
def test_a_number_that_is_none_is_never_shown(x: float) -> None:
    with pytest.raises(Invalid, match="beyond any real size"):
        number(x)


FIRST_USE = """
import threading
start, seen = threading.Barrier(16), []
def use(kind, name):
    start.wait()
    try:
        from weirbook.engine.units import to_si
        seen.append(to_si(1.0, name, kind))
    except BaseException as trouble:
        seen.append(repr(trouble))
threads = [threading.Thread(target=use, args=("volume", "gal")) for _ in range(16)]
for one in threads: one.start()
for one in threads: one.join()
print(len(seen), set(seen))
"""


def test_first_use_from_many_threads_at_once_gives_every_thread_the_same_answer() -> None:
    source_root = str(Path(weirbook.__file__).parents[1])
    done = subprocess.run(
        [sys.executable, "-c", FIRST_USE],
        env={**os.environ, "PYTHONPATH": source_root},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert done.stdout.strip() == "16 {0.003785411784}"


@pytest.mark.parametrize("row", published("atomic_weights.csv"), ids=lambda r: r["element"])
def test_an_atomic_weight_is_the_standard_one(row: dict[str, str]) -> None:
    assert ATOMIC_WEIGHTS[row["element"]] == float(row["atomic_weight_used"])


def test_per_cent_of_salt_is_told_in_grams_a_litre() -> None:
    with pytest.raises(Invalid) as refused:
        quantity("3 %", "concentration")
    assert "3 % is 30 g/L" in refused.value.message


@pytest.mark.parametrize(("sent", "kind", "like"), [
    (50, "fraction", '"50 %"'), ("2.5", "volume", '"2.5 L"'), (1e3, "flow", '{"value": 1000, "unit": "L/h"}'),
])  # fmt: skip
def test_a_number_without_its_unit_is_repeated_with_one(sent: object, kind: str, like: str) -> None:
    with pytest.raises(Invalid) as refused:
        quantity(sent, kind)
    assert like in refused.value.message
