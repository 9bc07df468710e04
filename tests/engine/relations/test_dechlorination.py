"""Chlorine's chemistry beside formulas and printed figures. Sources: fixtures/published/SOURCES.md."""

import csv
from pathlib import Path

import pytest

from weirbook.engine.relations.dechlorination import (
    AGENTS,
    THIOSULFATE_ENDS,
    agent_per_chlorine,
    ammonia_set_free,
    oxygen_taken,
    spread,
)
from weirbook.engine.units import from_si, to_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open(encoding="utf-8")))


STOICHIOMETRY = rows("dechlorination_stoichiometry")
ENDS = {"to tetrathionate (2:1)": "tetrathionate", "to sulfate + sulfur (1:1)": "sulfur"}


@pytest.mark.parametrize("row", STOICHIOMETRY, ids=lambda row: f"{row['agent']}-{row['reaction']}")
def test_a_mass_of_chlorine_takes_what_the_weights_say(row: dict[str, str]) -> None:
    found = agent_per_chlorine(row["formula"], float(row["mol_agent_per_mol_cl2"]))
    assert found == pytest.approx(float(row["mg_agent_per_mg_cl2"]), abs=5.1e-5)


@pytest.mark.parametrize(
    "row", [row for row in STOICHIOMETRY if "thiosulfate" in row["agent"]], ids=lambda row: row["reaction"]
)
def test_thiosulfate_ends_as_the_reactions_say(row: dict[str, str]) -> None:
    end = ENDS.get(row["reaction"], "sulfate")
    assert THIOSULFATE_ENDS[end] == float(row["mol_agent_per_mol_cl2"])


@pytest.mark.parametrize("word", AGENTS)
def test_an_agent_takes_as_many_moles_as_its_published_row(word: str) -> None:
    agent = AGENTS[word]
    found = {float(row["mol_agent_per_mol_cl2"]) for row in STOICHIOMETRY if row["formula"] == agent.formula}
    assert agent.moles == max(found)
    ratios = [float(row["mg_agent_per_mg_cl2"]) for row in STOICHIOMETRY if row["formula"] == agent.formula]
    assert spread(agent)[0] == pytest.approx(min(ratios), abs=5.1e-5)


# mg of N for a mg of Cl2 by hand: 14.007 / 70.90.
def test_a_milligram_of_monochloramine_holds_a_fifth_of_a_milligram_of_nitrogen() -> None:
    freed = from_si(ammonia_set_free(to_si(1, "mg/L", "concentration")), "mg/L NH3-N", "ammonia")
    assert freed == pytest.approx(0.19756, abs=5e-6)


# By hand: 2 Na2SO3 + O2, 31.998 / (2 x 70.90) mg of oxygen for a mg of chlorine left to neutralise.
def test_left_over_sulfite_takes_half_an_oxygen_each() -> None:
    assert oxygen_taken(0.001) * 1000 == pytest.approx(31.998 / 141.80, rel=1e-6)
