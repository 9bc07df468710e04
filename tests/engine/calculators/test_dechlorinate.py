"""Published doses against chlorine, and what can't fail to hold. Sources: fixtures/published/SOURCES.md."""

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.calculators.dechlorinate import DECHLORINATE
from weirbook.engine.calculators.dose import DOSE
from weirbook.engine.relations.dechlorination import AGENTS
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
OURS = {
    "sodium_thiosulfate_pentahydrate": "thiosulfate_pentahydrate",
    "sodium_thiosulfate_anhydrous": "thiosulfate_anhydrous",
    "sodium_sulfite_anhydrous": "sodium_sulfite",
}
PLAIN = {
    "new_water": "100 L",
    "agent": "thiosulfate_pentahydrate",
    "chlorine": "2 mg/L",
    "chloramine": "0 mg/L",
}
LIQUID = {
    "new_water": "100 L",
    "agent": "product",
    "chlorine": "2 mg/L",
    "chloramine": "0 mg/L",
    "product_volume": "5 mL",
    "product_treats": "40 L",
}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open(encoding="utf-8")))


def asked(**changed: Any) -> Answer:
    return answer(DECHLORINATE, {**PLAIN, **changed})


def refusal(told: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        answer(DECHLORINATE, told)
    return {fault.pointer: fault.message for fault in refused.value.faults}


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


def value(given: Answer, name: str, unit: str | None = None) -> float:
    return given.quantity(name, unit).value  # type: ignore[union-attr,return-value]


def ours(row: dict[str, str]) -> str:
    return OURS.get(row["agent"], row["agent"])


@pytest.mark.parametrize("row", rows("dechlorination_cases"), ids=lambda row: row["agent"])
def test_the_published_cases_are_weighed_out_and_set_their_ammonia_free(row: dict[str, str]) -> None:
    told = {
        "new_water": f"{row['volume_l']} L",
        "agent": ours(row),
        "chlorine": None,
        "chloramine": f"{row['cl2_mg_per_l']} mg/L",
        "agent_ratio": f"{row['mg_per_mg_cl2_used']} 1",
        "excess": "0 %",
    }
    given = asked(**told)
    assert value(given, "amount", "g") == pytest.approx(float(row["dose_g"]), abs=5.1e-5)
    freed = float(row["ammonia_n_released_if_all_monochloramine_mg_per_l"])
    assert value(given, "ammonia_set_free") == pytest.approx(freed, abs=5.1e-5)


THIOSULFATE_CASES = [row for row in rows("dechlorination_cases") if "thiosulfate" in row["agent"]]


@pytest.mark.parametrize("row", THIOSULFATE_CASES, ids=lambda row: row["volume_l"])
def test_thiosulfate_needs_no_figure_of_ones_own_for_the_published_cases(row: dict[str, str]) -> None:
    ends = {"7.0": "tetrathionate", "3.5": "sulfur"}[row["mg_per_mg_cl2_used"]]
    told = {
        "new_water": f"{row['volume_l']} L",
        "chlorine": f"{row['cl2_mg_per_l']} mg/L",
        "thiosulfate_ends_as": ends,
        "excess": "0 %",
    }
    # The cases round the ratio to two figures: 7.0 for 7.0006.
    assert value(asked(**told), "amount", "g") == pytest.approx(float(row["dose_g"]), rel=0.001)


PRINTED = [row for row in rows("dechlorination_published_doses") if ours(row) in AGENTS]


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: row["agent"])
def test_a_milligram_of_chlorine_takes_the_printed_milligrams(row: dict[str, str]) -> None:
    # The field guide's sulfite figures hold a tenth more than the reaction, as our usual excess does.
    excess = None if float(row["excess_over_stoichiometric_percent"]) > 5 else "0 %"
    given = asked(agent=ours(row), chlorine="1 mg/L", new_water="1 L", excess=excess)
    assert value(given, "amount", "mg") == pytest.approx(float(row["published_mg_per_mg_cl2"]), rel=0.01)
    assert value(given, "ratio") == pytest.approx(float(row["matching_stoichiometric_value"]), abs=5.1e-5)
    assert value(given, "ratio_high") == pytest.approx(float(row["published_mg_per_mg_cl2"]), rel=1e-3)


def test_half_a_litre_of_two_milligrams_takes_seven_milligrams_of_thiosulfate() -> None:
    # The laboratory document TE213's own example: 500 mL of 2.0 mg/L hold 1 mg of chlorine.
    given = asked(new_water="500 mL", excess="0 %")
    assert value(given, "chlorine_mass", "mg") == pytest.approx(1)
    assert value(given, "amount", "mg") == pytest.approx(7.0, rel=0.001)


def test_the_spread_of_thiosulfate_is_said() -> None:
    given = asked()
    found = {row["reaction"]: row for row in rows("dechlorination_stoichiometry") if "5H2O" in row["formula"]}
    least = next(row for reaction, row in found.items() if reaction.startswith("to sulfate (4"))
    assert value(given, "ratio_low") == pytest.approx(float(least["mg_agent_per_mg_cl2"]), abs=5.1e-5)
    assert any("as little as 0.875 mg" in one.text for one in given.assumptions)
    assert "may-fall-short" in codes(asked(thiosulfate_ends_as="sulfur"))
    assert "may-fall-short" in codes(asked(agent_ratio="3.5 1"))
    assert "may-fall-short" not in codes(given)


def test_a_stock_is_measured_by_its_strength() -> None:
    # By hand: 2 mg/L x 100 L x 7.0006 x 1.1 / 0.98 = 1571.6 mg; of 50 mg/mL 31.43 mL.
    given = asked(purity="98 %", stock_strength="50 mg/mL")
    assert value(given, "liquid_volume") == pytest.approx(31.431, abs=5e-3)


@pytest.mark.parametrize(
    ("told", "total", "freed"),
    [
        ({"chlorine": "0.5 mg/L", "chloramine": "1.5 mg/L"}, 2.0, 1.5),
        ({"chlorine": "0.5 mg/L", "chloramine": None, "total_chlorine": "2 mg/L"}, 2.0, 1.5),
        ({"chlorine": None, "chloramine": None, "total_chlorine": "2 mg/L"}, 2.0, 2.0),
        ({"chlorine": None, "chloramine": "2 mg/L"}, 2.0, 2.0),
        ({"chlorine": "2 mg/L", "chloramine": None}, 2.0, None),
    ],
)
def test_free_combined_and_total_chlorine_tell_one_another(
    told: dict[str, Any], total: float, freed: float | None
) -> None:
    given = asked(**told)
    assert value(given, "chlorine_total") == pytest.approx(total)
    if freed is None:
        assert given.values["ammonia_set_free"] is None
        assert given.values["verdict"] == "unknown"
        assert "chloramine-not-told" in codes(given)
    else:
        assert value(given, "ammonia_set_free") == pytest.approx(freed * 14.007 / 70.90, rel=1e-9)


SYSTEM = {"chlorine": "0 mg/L", "chloramine": "2 mg/L", "system_volume": "400 L", "temperature": "25 degC"}


def test_ammonia_is_conserved_from_the_tap_to_the_system() -> None:
    given = asked(**SYSTEM, ph="7 pH", ammonia_present="0.3 mg/L NH3-N")
    # 100 L with 0.39511 mg/L and 300 L that keep 0.3 mg/L, in 400 L.
    nitrogen = 100 * 2 * 14.007 / 70.90 + 300 * 0.3
    assert value(given, "ammonia_after") * 400 == pytest.approx(nitrogen, rel=1e-9)
    assert value(given, "ammonia_rise") == pytest.approx(2 * 14.007 / 70.90 / 4, rel=1e-9)


def test_un_ionized_ammonia_is_said_as_nitrogen_and_as_nh3() -> None:
    # 24 degC, pH 8: printed share 0.0502 (FA16).
    given = asked(**{**SYSTEM, "temperature": "24 degC"}, ph="8 pH")
    assert value(given, "un_ionized_share", "1") == pytest.approx(0.0502, abs=6e-5)
    assert value(given, "un_ionized_after") == pytest.approx(0.09878 * 0.0502, rel=2e-3)
    as_nh3 = value(given, "un_ionized_after_as_nh3") / value(given, "un_ionized_after")
    assert as_nh3 == pytest.approx(17.031 / 14.007, rel=1e-6)


@pytest.mark.parametrize(("ph", "verdict"), [("7 pH", "ok"), ("8.8 pH", "watch"), ("9.5 pH", "over")])
def test_the_verdict_goes_by_the_published_limits(ph: str, verdict: str) -> None:
    given = asked(**SYSTEM, ph=ph, ammonia_present="0 mg/L NH3-N")
    toxic = given.values["un_ionized_after"]
    assert given.values["verdict"] == verdict
    assert (toxic > LIMITS["ammonia_stress"].value) == (verdict != "ok")
    assert (toxic > LIMITS["ammonia_harm"].value) == (verdict == "over")


def test_chloramine_is_not_called_harmless_while_the_ammonia_before_is_unknown() -> None:
    given = asked(**SYSTEM, ph="7 pH")
    assert given.values["verdict"] == "unknown" and "test total ammonia" in given.values["why"]
    assert asked(**SYSTEM, ph="9.5 pH").values["verdict"] == "over"
    # Where all of the water is new there is no ammonia before.
    whole = asked(**{**SYSTEM, "system_volume": "100 L"}, ph="7 pH")
    assert whole.values["verdict"] == "ok" and "not counting" not in whole.values["why"]


def test_a_change_that_thins_ammonia_is_not_blamed_for_it() -> None:
    had = asked(**SYSTEM, ph="8.8 pH", ammonia_present="3 mg/L NH3-N").values
    assert had["verdict"] == "over" and "the change helps" in had["why"]
    fresh = asked(**SYSTEM, ph="9.5 pH", ammonia_present="0 mg/L NH3-N").values
    assert fresh["verdict"] == "over" and "Change less at a time" in fresh["why"]


def test_what_the_verdict_lacks_is_named() -> None:
    given = asked(chlorine="0 mg/L", chloramine="2 mg/L")
    assert given.values["verdict"] == "unknown"
    assert "system_volume and ph and temperature" in given.values["why"]
    assert asked().values["verdict"] == "ok"


def test_a_product_goes_by_its_label_and_never_below_it() -> None:
    # 5 mL for 40 L: 12.5 mL for 100 L.
    assert value(answer(DECHLORINATE, LIQUID), "liquid_volume") == pytest.approx(12.5)
    strong = answer(DECHLORINATE, {**LIQUID, "product_neutralises": "1 mg/L"})
    assert value(strong, "liquid_volume") == pytest.approx(25)
    weak = answer(DECHLORINATE, {**LIQUID, "product_neutralises": "4 mg/L"})
    assert value(weak, "liquid_volume") == pytest.approx(12.5)
    assert any("not made smaller" in one.text for one in weak.assumptions)
    dry = answer(DECHLORINATE, {**LIQUID, "product_volume": None, "product_mass": "2 g"})
    assert value(dry, "amount", "g") == pytest.approx(5)
    assert dry.values["ratio"] is None


def test_a_label_needs_no_test_of_the_tap_unless_it_names_a_strength() -> None:
    untested = {**LIQUID, "chlorine": None, "chloramine": None}
    given = answer(DECHLORINATE, untested)
    assert value(given, "liquid_volume") == pytest.approx(12.5)
    assert (given.values["chlorine_total"], given.values["verdict"]) == (None, "unknown")
    assert "chloramine-not-told" in codes(given)
    assert refusal({**untested, "product_neutralises": "2 mg/L"}).keys() == {"/chlorine"}


def test_a_product_added_to_the_tank_counts_all_of_its_water() -> None:
    given = answer(DECHLORINATE, {**LIQUID, "added_to": "system", "system_volume": "400 L"})
    assert value(given, "liquid_volume") == pytest.approx(50)
    assert value(given, "volume_treated") == pytest.approx(400)
    assert "chlorine-meets-animals" in codes(given)
    dry = asked(added_to="system", system_volume="400 L")
    assert value(dry, "amount", "g") == pytest.approx(value(asked(), "amount", "g"))
    assert "label-counts-the-system" in codes(dry)


INTO_500_L = {
    **LIQUID,
    "chlorine": "3.5 mg/L",
    "product_neutralises": "1 mg/L",
    "added_to": "system",
    "system_volume": "500 L",
}


def test_a_product_added_to_the_tank_meets_the_chlorine_once_mixed(assert_followed: Any) -> None:
    """By hand: 100 L of 3.5 mg/L make 500 L of 0.7 mg/L, less than the label's 1 mg/L: 5 mL x 500 / 40 = 62.5 mL.
    Of 10 mg/L it is 2 mg/L: twice as much, more than the label's dose."""
    given = answer(DECHLORINATE, INTO_500_L)
    assert value(given, "liquid_volume") == pytest.approx(62.5)
    assert "beyond-the-label" not in codes(given)
    strong = answer(DECHLORINATE, {**INTO_500_L, "chlorine": "10 mg/L"})
    assert value(strong, "liquid_volume") == pytest.approx(125)
    assert "beyond-the-label" in codes(strong)
    for one in (*given.steps, *strong.steps):
        assert_followed(one)


def test_more_than_the_labels_dose_is_said() -> None:
    assert "beyond-the-label" in codes(answer(DECHLORINATE, {**LIQUID, "product_neutralises": "1 mg/L"}))
    assert "beyond-the-label" not in codes(answer(DECHLORINATE, {**LIQUID, "product_neutralises": "2 mg/L"}))
    assert "beyond-the-label" not in codes(answer(DECHLORINATE, LIQUID))


def test_the_usual_word_of_care_comes_with_every_dose() -> None:
    assert {"label-first", "test-again", "new-water-only", "grade"} <= codes(asked())
    assert "ammonia-stays" in codes(asked(chloramine="1 mg/L"))
    assert "ammonia-stays" not in codes(asked())
    # A tenth of 2 mg/L is left over, and takes 0.2 x 31.998 / 141.8 = 0.0451 mg/L of oxygen; said rounded up.
    sulfite = asked(agent="sodium_bisulfite")
    assert any("0.0452 mg/L" in one.text for one in sulfite.cautions if one.code == "takes-oxygen")
    assert {"lowers-ph", "feeds-bacteria"} <= codes(asked(agent="ascorbic_acid"))
    assert "large-excess" in codes(asked(excess="300 %"))
    assert "much-chlorine" in codes(asked(chlorine="4.1 mg/L"))
    assert "much-chlorine" not in codes(asked(chlorine="4 mg/L"))
    for outside in ({"ph": "5.9 pH"}, {"ph": "10.1 pH"}, {"temperature": "31 degC"}):
        assert "outside-the-formula" in codes(asked(**outside))
    assert "outside-the-formula" not in codes(asked(ph="6 pH", temperature="30 degC"))
    assert "nothing-to-neutralise" in codes(asked(chlorine="0 mg/L"))


@pytest.mark.parametrize(
    ("changed", "pointers"),
    [
        ({"new_water": "0 L"}, {"/new_water"}),
        ({"new_water": "100 g"}, {"/new_water"}),
        ({"chlorine": "-1 mg/L"}, {"/chlorine"}),
        ({"chlorine": None, "chloramine": None}, {"/chlorine"}),
        ({"total_chlorine": "3 mg/L"}, {"/total_chlorine"}),
        ({"chloramine": None, "total_chlorine": "1 mg/L"}, {"/chlorine"}),
        ({"system_volume": "50 L"}, {"/new_water"}),
        ({"added_to": "system"}, {"/system_volume"}),
        ({"ph": "15 pH"}, {"/ph"}),
        ({"temperature": "0 K"}, {"/temperature"}),
        ({"purity": "0 %"}, {"/purity"}),
        ({"excess": "-5 %"}, {"/excess"}),
        ({"agent_ratio": "0 1"}, {"/agent_ratio"}),
        ({"agent_ratio": "3 1", "thiosulfate_ends_as": "sulfate"}, {"/agent_ratio"}),
        ({"agent": "ascorbic_acid", "thiosulfate_ends_as": "sulfate"}, {"/thiosulfate_ends_as"}),
        ({"product_volume": "5 mL"}, {"/product_volume"}),
        ({"agent": "vinegar"}, {"/agent"}),
        ({"stock_strength": "0.001 mg/L"}, {"/stock_strength"}),
        ({"ammonia_present": "1 mg/L"}, {"/ammonia_present"}),
    ],
)
def test_what_can_not_be_is_refused_at_its_place(changed: dict[str, Any], pointers: set[str]) -> None:
    assert refusal({**PLAIN, **changed}).keys() == pointers


@pytest.mark.parametrize(
    ("changed", "pointers"),
    [
        ({"product_treats": None}, {"/product_treats"}),
        ({"product_volume": None}, {"/product_mass"}),
        ({"product_mass": "1 g"}, {"/product_mass"}),
        ({"purity": "90 %"}, {"/purity"}),
        ({"excess": "0 %"}, {"/excess"}),
        ({"agent_ratio": "7 1"}, {"/agent_ratio"}),
        ({"stock_strength": "10 mg/mL"}, {"/stock_strength"}),
        ({"product_treats": "1 mL"}, {"/product_volume"}),
    ],
)
def test_a_product_half_described_names_what_is_missing(changed: dict[str, Any], pointers: set[str]) -> None:
    assert refusal({**LIQUID, **changed}).keys() == pointers


LEVELS = st.floats(0, 5)


@given(st.sampled_from(list(AGENTS)), LEVELS, LEVELS, st.floats(1, 1e4), st.floats(0, 2), st.floats(0.05, 1))
def test_every_step_follows_and_the_agent_balances_the_chlorine(
    assert_followed, agent: str, free: float, combined: float, volume: float, excess: float, purity: float
) -> None:
    given = answer(
        DECHLORINATE,
        {
            "new_water": f"{volume} L",
            "agent": agent,
            "chlorine": f"{free} mg/L",
            "chloramine": f"{combined} mg/L",
            "excess": f"{excess} 1",
            "purity": f"{purity} 1",
            "stock_strength": "100 mg/mL",
            "system_volume": f"{3 * volume} L",
            "ph": "7.9 pH",
            "temperature": "80 degF",
            "ammonia_present": "0.2 mg/L NH3",
        },
    )
    for one in given.steps:
        assert_followed(one)
    neutralised = given.values["amount"] * purity / (1 + excess) / given.values["ratio"]
    assert neutralised == pytest.approx((free + combined) * volume / 1e6, rel=1e-9)


@given(st.floats(0.1, 6), st.floats(1, 500), st.sampled_from(["product_mass", "product_volume"]))
def test_every_step_of_a_product_follows_too(
    assert_followed, chlorine: float, volume: float, by: str
) -> None:
    told = {
        **LIQUID,
        "chlorine": f"{chlorine} mg/L",
        "new_water": f"{volume} gal",
        "product_neutralises": "2 mg/L",
    }
    told |= {"product_volume": None, by: "2 oz" if by == "product_mass" else "0.1 fl_oz"}
    for one in answer(DECHLORINATE, told).steps:
        assert_followed(one)


ANYTHING = st.none() | st.booleans() | st.floats() | st.text(max_size=8) | st.just([])
AMOUNTS = st.builds(
    "{} {}".format,
    st.floats(-1e15, 1e15),
    st.sampled_from(["mg/L", "L", "g", "mL", "1", "pH", "K", "mg/L NH3"]),
)


@given(
    st.fixed_dictionaries(
        {"new_water": AMOUNTS, "agent": st.sampled_from([*AGENTS, "product"])},
        optional={
            name: AMOUNTS | ANYTHING for name in DECHLORINATE.params if name not in ("new_water", "agent")
        },
    )
)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        given = answer(DECHLORINATE, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(given), allow_nan=False)


def test_a_stock_is_told_as_for_any_other_dose() -> None:
    ours, theirs = DECHLORINATE.params["stock_strength"], DOSE.params["stock_strength"]
    assert (ours.doc, ours.unit) == (theirs.doc, theirs.unit)
    with pytest.raises(Invalid) as refused:
        asked(stock_strength="3000 g/L")
    assert [fault.pointer for fault in refused.value.faults] == ["/stock_strength"]
