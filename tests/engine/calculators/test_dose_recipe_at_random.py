"""Recipes of any salts toward any values: what holds whatever is asked."""

import json
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.dose_recipe import DOSE_RECIPE
from weirbook.engine.calculators.recipe_inputs import SALTS, TARGETS
from weirbook.engine.relations.chemistry import DOSED, IONS, carried
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.engine.units import KINDS, to_si
from weirbook.errors import Invalid

FEW = settings(max_examples=50)
"""Whole answers take a while; the relations below them are tried more often."""

WORDS_OF_SALTS = st.lists(st.sampled_from(sorted(SALTS)), min_size=1, max_size=9, unique=True)
SIZES = st.floats(0.05, 2).map(lambda x: float(f"{x:.4g}"))


@st.composite
def questions(draw) -> dict[str, Any]:
    """Any salts, present values and wanted ones above them (SI), and purities."""
    told: dict[str, Any] = {"volume": f"{draw(st.floats(1, 5000))} L"}
    for name in draw(st.lists(st.sampled_from(TARGETS), min_size=1, unique=True)):
        size = draw(SIZES) * (0.04 if DOSED[name] == "concentration" else 1)
        now = draw(st.sampled_from([0.0, 0.5, 1.0]))
        told[f"wanted_{name}"] = {"value": size, "unit": KINDS[DOSED[name]].si}
        told[name] = {"value": size * now, "unit": KINDS[DOSED[name]].si}
    if {"wanted_hardness", "wanted_calcium"} <= told.keys() or {
        "wanted_hardness",
        "wanted_magnesium",
    } <= told.keys():
        del told["wanted_hardness"], told["hardness"]
    told["salts"] = [
        {"compound": word, "purity": f"{draw(st.floats(0.1, 1))} 1"} for word in draw(WORDS_OF_SALTS)
    ]
    told |= {"alkalinity_a_day": "100 dKH", "hardness_a_day": "100 dGH"}
    return told


def answered(told: dict[str, Any]) -> Answer | None:
    try:
        return answer(DOSE_RECIPE, told)
    except Invalid as refused:
        assert refused.faults
        return None


@FEW
@given(questions())
def test_mass_and_charge_are_kept(told: dict[str, Any]) -> None:
    if (found := answered(told)) is None:
        return
    volume = float(told["volume"].split()[0]) / 1000
    by_name = {SALTS[row["compound"]].called: row for row in told["salts"]}
    moles = {
        row["compound"]: row["amount"] * float(by_name[row["compound"]]["purity"].split()[0]) / volume
        for row in found.values["salts"]
    }
    moles = {name: mass / SALTS[by_name[name]["compound"]].molar_mass for name, mass in moles.items()}
    assert all(amount > 0 for amount in moles.values())
    for name in TARGETS:
        if (then := found.values[f"{name}_after"]) is None:
            continue
        now = told[name]["value"] if name in told else 0.0
        if name == "hardness" and "hardness" not in told:
            continue
        brought = math.fsum(
            amount * carried(SALTS[by_name[salt]["compound"]], name) for salt, amount in moles.items()
        )
        assert then == pytest.approx(now + brought, rel=1e-9, abs=1e-12)
    charge = [
        row["rise"] / one.molar_mass * one.charge
        for row in found.values["ions"]
        for one in IONS.values()
        if one.name == row["ion"]
    ]
    assert math.fsum(charge) == pytest.approx(0, abs=1e-9 * max(map(abs, charge), default=1))


@FEW
@given(questions())
def test_no_recipe_of_a_thousandth_more_or_less_of_a_salt_comes_nearer(told: dict[str, Any]) -> None:
    if (found := answered(told)) is None:
        return
    targets = {row["target"] for row in found.values["targets"]}
    wanted = {
        name: to_si(told[f"wanted_{name}"]["value"], told[f"wanted_{name}"]["unit"], DOSED[name])
        for name in targets
    }
    then = {name: found.values[f"{name}_after"] for name in targets}
    volume = float(told["volume"].split()[0]) / 1000

    def miss(changed: dict[str, float]) -> float:
        return math.fsum(((changed[name] - wanted[name]) / wanted[name]) ** 2 for name in targets)

    weighed = {row["compound"]: row["amount"] for row in found.values["salts"]}
    for row in told["salts"]:
        salt = SALTS[row["compound"]]
        mass = weighed.get(salt.called, 0.0)
        step = 1e-3 * (mass / volume / salt.molar_mass or 0.01)
        for signed in (step, -step) if mass else (step,):
            changed = {name: then[name] + signed * carried(salt, name) for name in targets}
            assert miss(changed) >= miss(then) * (1 - 1e-9) - 1e-12


@FEW
@given(questions())
def test_every_step_follows_from_its_own_numbers(assert_followed, told: dict[str, Any]) -> None:
    found = answered(told)
    for one in found.steps if found else ():
        assert_followed(one)


@FEW
@given(st.floats(0.5, 20), st.floats(0.2, 12), st.floats(0.5, 12), st.floats(0.5, 30))
def test_the_usual_salts_reach_any_soft_or_hard_water(
    hardness: float, ratio: float, alkalinity: float, potassium: float
) -> None:
    wanted = {
        "wanted_hardness": f"{hardness} dGH",
        "wanted_ratio": ratio,
        "wanted_alkalinity": f"{alkalinity} dKH",
        "wanted_potassium": f"{potassium} mg/L K",
    }
    found = answer(DOSE_RECIPE, {"volume": "200 L", **wanted})
    assert found.values["verdict"] == "ok"
    assert found.quantity("calcium_to_magnesium").value == pytest.approx(ratio, rel=1e-9)
    assert found.quantity("hardness_after").value == pytest.approx(hardness, rel=1e-9)
    assert found.quantity("alkalinity_after").value == pytest.approx(alkalinity, rel=1e-9)
    assert found.quantity("potassium_after").value == pytest.approx(potassium, rel=1e-9)


ANYTHING = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.just([])
AMOUNTS = st.builds(
    "{} {}".format, st.floats(-1e15, 1e15), st.sampled_from(["dKH", "mg/L", "mg/L NO3", "dGH", "mg/L K", "L"])
)
BODIES = st.fixed_dictionaries(
    {"volume": st.builds("{} L".format, st.floats(1e-9, 1e15)) | AMOUNTS},
    optional={
        **{name: AMOUNTS | ANYTHING for name in DOSE_RECIPE.params if name not in ("volume", "salts")},
        "salts": WORDS_OF_SALTS.map(lambda words: [{"compound": word} for word in words]) | ANYTHING,
    },
)


@FEW
@given(BODIES)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        found = answer(DOSE_RECIPE, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(found), allow_nan=False)
