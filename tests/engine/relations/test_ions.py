"""The charges of a water's ions, against a general model of chemical equilibrium, which no charge leaves."""

import random

import phreeqpython
import pytest

from weirbook.engine.relations.chemistry import IONS
from weirbook.engine.relations.ions import CHARGES, MASSES, Dissolved, anions, cations, imbalance

ELEMENTS = {
    "calcium": "Ca",
    "magnesium": "Mg",
    "sodium": "Na",
    "potassium": "K",
    "chloride": "Cl",
    "sulfate": "S(6)",
    "nitrate": "N(5)",
}


@pytest.fixture(scope="module")
def phreeqc() -> phreeqpython.PhreeqPython:
    return phreeqpython.PhreeqPython(database="phreeqc.dat")


@pytest.mark.parametrize("seed", range(8))
def test_a_water_that_the_model_made_neutral_is_neutral_here(
    seed: int, phreeqc: phreeqpython.PhreeqPython
) -> None:
    drawn = random.Random(seed)
    alkalinity = drawn.uniform(0.5, 4)
    told = {
        "Ca": drawn.uniform(0.3, 2),
        "Mg": drawn.uniform(0.1, 1),
        "Na": alkalinity + drawn.uniform(1, 3),
        "K": drawn.uniform(0.01, 0.2),
        "S(6)": drawn.uniform(0.1, 0.5),
        "N(5)": drawn.uniform(0.01, 1),
        "Cl": "1 charge",
    }
    solution = phreeqc.add_solution(
        {"temp": 25, "pH": 7.3, "units": "mmol/kgw", "Alkalinity": alkalinity, **told}
    )
    moles = {name: solution.elements[element] * 1000 for name, element in ELEMENTS.items()}
    ions = [Dissolved(name, one) for name, one in moles.items()] + [Dissolved("alkalinity", alkalinity)]
    assert imbalance(cations(ions), anions(ions)) == pytest.approx(0, abs=1e-3)
    # One charge left out is found to the digit.
    without = [one for one in ions if one.name != "potassium"]
    assert anions(without) - cations(without) == pytest.approx(moles["potassium"], abs=2e-3)


def test_masses_and_charges_are_known_of_the_same_ions() -> None:
    assert CHARGES.keys() - MASSES.keys() == {"hardness"}
    assert Dissolved("hardness", 1.5).charges == 3 and Dissolved("hardness", 1.5).mass is None
    known = {ion.name: ion.charge for ion in IONS.values()}
    assert all(CHARGES[name] == known[name] for name in CHARGES.keys() & known.keys() - {"phosphate"})


def test_phosphate_has_the_models_charge_near_neutral(phreeqc: phreeqpython.PhreeqPython) -> None:
    water = {"temp": 25, "pH": 7.2, "units": "mmol/kgw", "P": 0.01, "Na": 0.1, "Cl": "0.1 charge"}
    found = phreeqc.add_solution(water).species_molalities
    double = found["HPO4-2"] / (found["HPO4-2"] + found["H2PO4-"])
    assert CHARGES["phosphate"] == pytest.approx(-1 - double, abs=0.03)


def test_water_without_ions_is_in_balance() -> None:
    assert imbalance(0.0, 0.0) == 0


def test_an_imbalance_has_the_sign_of_what_is_more() -> None:
    assert imbalance(3.0, 1.0) == 0.5
    assert imbalance(1.0, 3.0) == -0.5
