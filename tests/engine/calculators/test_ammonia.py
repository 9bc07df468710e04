"""Un-ionized ammonia as a keeper asks for it. Sources: fixtures/published/SOURCES.md."""

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from weirbook.engine.calculators.ammonia import AMMONIA
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.saying import speaking
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
WATER = {"total_ammonia": "0.5 mg/L NH3-N", "ph": 8, "temperature": "25 degC"}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


def asked(**said: Any) -> Answer:
    return answer(AMMONIA, {**WATER, **said})


def value(found: Answer, name: str, unit: str | None = None) -> float:
    return found.quantity(name, unit).value


def codes(found: Answer) -> set[str]:
    return {caution.code for caution in found.cautions}


def refusal(**said: Any) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        asked(**said)
    return {fault.pointer: fault.message for fault in refused.value.faults}


@pytest.mark.parametrize("row", rows("un_ionized_ammonia_examples"), ids=lambda row: row["source_id"])
def test_published_examples_come_out(row: dict[str, str]) -> None:
    """SRAC 463 (a pond at pH 8.6 and 30 degC) and IFAS FA16."""
    found = asked(
        total_ammonia=f"{row['tan_mg_n_per_l']} mg/L NH3-N",
        ph=float(row["ph"]),
        temperature=f"{row['temp_c']} degC",
    )
    assert value(found, "share", "1") == pytest.approx(float(row["published_factor"]), abs=6e-5)
    assert value(found, "un_ionized") == pytest.approx(float(row["published_nh3_n_mg_per_l"]), abs=5e-3)
    exact = float(row["exact_formula_nh3_n_mg_per_l"])
    assert value(found, "un_ionized", "mg/L NH3-N") == pytest.approx(exact, abs=6e-5)


@pytest.mark.parametrize(
    "row", rows("ammonia_criteria_epa2013"), ids=lambda row: f"{row['criterion']} {row['ph']} {row['temp_c']}"
)
def test_the_criteria_stand_beside_it(row: dict[str, str]) -> None:
    found = asked(ph=float(row["ph"]), temperature=f"{row['temp_c']} degC")
    name = {
        "ccc": "chronic",
        "cmc_oncorhynchus_present": "acute_with_salmonids",
        "cmc_oncorhynchus_absent": "acute_without_salmonids",
    }[row["criterion"]]
    assert value(found, name, "mg/L NH3-N") == pytest.approx(float(row["tan_mg_n_per_l_exact"]), rel=1e-3)


def test_the_forms_are_told_apart_by_molar_mass() -> None:
    # 14.007, 17.031 and 18.039 g/mol of N, NH3 and NH4: IUPAC weights.
    found = asked(total_ammonia="14.007 mg/L NH3-N")
    assert value(found, "total_as_n") == pytest.approx(14.007)
    assert value(found, "total_as_nh3") == pytest.approx(17.031)
    assert value(found, "total_as_nh4") == pytest.approx(18.039)
    assert value(found, "un_ionized_as_nh3") / value(found, "un_ionized") == pytest.approx(17.031 / 14.007)
    assert value(found, "ionized_as_nh4") / value(found, "ionized") == pytest.approx(18.039 / 14.007)


@pytest.mark.parametrize("unit", ["mg/L NH3-N", "mg/L NH3", "mg/L NH4", "umol/L"])
def test_a_total_in_any_form_is_the_same_water(unit: str) -> None:
    said = asked().inputs["total_ammonia"].value.to(unit, "ammonia")
    found = asked(total_ammonia=said.text())
    assert value(found, "un_ionized") == pytest.approx(value(asked(), "un_ionized"))
    assert found.values["verdict"] == "watch"


@given(st.just(0) | st.floats(1e-6, 100), st.floats(0, 14), st.floats(0, 50), st.floats(0, 50))
def test_both_forms_together_are_the_total(total: float, ph: float, degrees: float, salt: float) -> None:
    found = asked(
        total_ammonia=f"{total} mg/L NH3-N", ph=ph, temperature=f"{degrees} degC", salinity=f"{salt} g/kg"
    )
    told = found.values
    whole = 14.007e-3 * (told["un_ionized"] + told["ionized"])
    assert whole == pytest.approx(told["total_as_n"], rel=1e-9)
    assert told["un_ionized_as_nh3"] * 14.007 / 17.031 + told[
        "ionized_as_nh4"
    ] * 14.007 / 18.039 == pytest.approx(told["total_as_n"], rel=1e-9)


@given(st.floats(0.03, 50), st.floats(6, 10), st.floats(0, 40), st.floats(0, 10))
def test_the_ph_and_the_total_at_the_limit_come_to_it_when_asked_again(total, ph, degrees, salt) -> None:
    water = {"temperature": f"{degrees} degC", "salinity": f"{salt} g/kg"}
    found = asked(total_ammonia=f"{total} mg/L NH3-N", ph=ph, **water)
    at_ph = asked(total_ammonia=f"{total} mg/L NH3-N", ph=found.values["ph_at_limit"], **water)
    at_total = asked(total_ammonia=found.quantity("largest_total").text(), ph=ph, **water)
    for again in (at_ph, at_total):
        assert value(again, "un_ionized", "mg/L NH3-N") == pytest.approx(0.02, rel=1e-6)


def test_no_ph_brings_less_than_the_limit_to_it() -> None:
    found = asked(total_ammonia="0.02 mg/L NH3-N")
    assert found.values["ph_at_limit"] is None
    assert (found.values["verdict"], asked(total_ammonia="0 mg/L NH3-N").values["verdict"]) == ("ok", "ok")


def at_un_ionized(milligrams: float, **told: Any) -> Answer:
    """Water of pH 8 and 25 degC with just so much un-ionized ammonia."""
    return asked(total_ammonia=f"{milligrams / asked().values['share']} mg/L NH3-N", **told)


@pytest.mark.parametrize(
    ("name", "under", "above"),
    [
        ("ammonia_stress", "ok", "watch"),
        ("ammonia_harm", "watch", "over"),
        ("ammonia_lethal", "over", "over"),
    ],
)
def test_the_verdict_turns_at_the_published_limits(name: str, under: str, above: str) -> None:
    milligrams = {"ammonia_stress": 0.02, "ammonia_harm": 0.05, "ammonia_lethal": 2.0}[name]
    assert LIMITS[name].value * 14.007 == pytest.approx(milligrams)
    assert at_un_ionized(milligrams * 0.999).values["verdict"] == under
    assert at_un_ionized(milligrams * 1.001).values["verdict"] == above
    assert ("fish die" in at_un_ionized(milligrams * 1.001).values["why"]) == (name == "ammonia_lethal")


def test_a_keepers_own_limit_goes_before_the_published_ones() -> None:
    assert asked(accepted="0.03 mg/L NH3-N").values["verdict"] == "ok"
    strict = asked(accepted="5 ug/L NH3-N")
    assert strict.values["verdict"] == "watch"
    assert value(strict, "largest_total") == pytest.approx(value(asked(), "largest_total") / 4)


def test_what_a_keeper_accepts_makes_no_harm_acceptable() -> None:
    """Harm begins at 0.05 mg/L NH3-N (Florida FA16), whatever is accepted."""
    lax = at_un_ionized(0.0505, accepted="0.1 mg/L NH3-N")
    assert lax.values["verdict"] == "over" and "harm begins at 0.05 mg/L NH3-N" in lax.values["why"]
    assert {"accepts-harm", "ammonia-harms"} <= codes(lax)
    assert next(one for one in lax.cautions if one.code == "ammonia-harms").limit == "0.05 mg/L NH3-N"
    assert any("More than you accept is watched" in one.text for one in lax.assumptions)
    assert at_un_ionized(0.0495, accepted="0.1 mg/L NH3-N").values["verdict"] != "over"
    assert any("The lower is watched" in one.text for one in asked().assumptions)


def test_acid_water_hides_ammonia_and_the_answer_says_so() -> None:
    """At pH 6.5 and 25 degC the criteria of 2013 are 15 (acute) and 1.5 mg/L (chronic)."""
    much = asked(total_ammonia="1.4 mg/L NH3-N", ph=6.5)
    assert much.values["verdict"] == "ok"
    assert "hidden-by-ph" in codes(much)
    more = asked(total_ammonia="1.6 mg/L NH3-N", ph=6.5)
    assert more.values["verdict"] == "watch"
    assert "criterion allows for a month" in more.values["why"]
    most = asked(total_ammonia="16 mg/L NH3-N", ph=6.5)
    assert most.values["verdict"] == "over"
    assert "hidden-by-ph" not in codes(asked(total_ammonia="0.03 mg/L NH3-N", ph=6.5))


def test_a_harmful_amount_says_what_to_do_first() -> None:
    found = asked(total_ammonia="2 mg/L NH3-N")
    assert found.values["verdict"] == "over"
    first = found.cautions[0]
    assert (first.code, first.limit) == ("ammonia-harms", "0.05 mg/L NH3-N")
    assert "veterinarian" in first.text
    assert "ammonia-harms" not in codes(asked())


def test_what_a_higher_ph_and_warmth_would_do_is_told_in_figures() -> None:
    """Emerson by hand: 25 degC pKa 9.2464, 30 degC 9.0954; 0.5 / (1 + 10^0.7464) and 0.5 / (1 + 10^1.0954)."""
    text = next(one.text for one in asked().cautions if one.code == "rising-ph-poisons")
    assert "0.076 mg/L NH3-N at a pH 0.5 higher" in text
    assert "0.0372 mg/L NH3-N when 5 K warmer" in text


@pytest.mark.parametrize(
    ("said", "code"),
    [
        ({"ph": 5.9}, "outside-the-formula"),
        ({"ph": 10.1}, "outside-the-formula"),
        ({"temperature": "31 degC"}, "outside-the-formula"),
        ({"ph": 6.4}, "outside-the-criteria"),
        ({"ph": 9.1}, "outside-the-criteria"),
        ({"temperature": "31 degC"}, "outside-the-criteria"),
        ({"salinity": "12 g/kg"}, "salty"),
    ],
)
def test_outside_a_published_range_the_answer_carries_a_caution(said: dict[str, Any], code: str) -> None:
    assert code in codes(asked(**said))
    assert code not in codes(asked())


def test_none_found_is_no_proof_that_there_is_none() -> None:
    found = asked(total_ammonia="0 mg/L NH3-N")
    assert "none-found" in codes(found)
    assert value(found, "un_ionized") == 0


def test_salt_lowers_the_share_and_the_assumption_says_by_how_much() -> None:
    fresh = value(asked(), "share")
    assert value(asked(salinity="0.3 g/kg"), "share") / fresh == pytest.approx(0.92, abs=0.006)
    assert value(asked(salinity="1 g/kg"), "share") / fresh == pytest.approx(0.87, abs=0.006)
    assert any("8 % off, 1 g/kg 13 %" in one.text for one in asked().assumptions)


def test_sentences_speak_in_the_rooms_form_and_weighed_forms_stay_what_they_are() -> None:
    with speaking({"ammonia": "mg/L NH4"}):
        found = asked()
    assert found.values["why"].startswith("0.0346 mg/L NH4 is un-ionized")
    shown = as_json(found, {"ammonia": "mg/L NH4"})["results"]
    assert shown["un_ionized"]["unit"] == "mg/L NH4"
    assert shown["total_as_n"] == {"value": 0.5, "unit": "mg/L"}


@pytest.mark.parametrize(
    ("said", "pointer"),
    [
        ({"ph": -0.1}, "/ph"),
        ({"ph": 14.1}, "/ph"),
        ({"temperature": "0 K"}, "/temperature"),
        ({"temperature": "80 degC"}, "/temperature"),
        ({"total_ammonia": "-1 mg/L NH3-N"}, "/total_ammonia"),
        ({"total_ammonia": 1}, "/total_ammonia"),
        ({"total_ammonia": "1 mg/L NO3"}, "/total_ammonia"),
        ({"salinity": "-1 g/kg"}, "/salinity"),
        ({"salinity": "300 g/kg"}, "/salinity"),
        ({"accepted": "0 mg/L NH3-N"}, "/accepted"),
        ({"ph": None}, "/ph"),
    ],
)
def test_an_impossible_input_is_refused_at_its_place(said: dict[str, Any], pointer: str) -> None:
    assert list(refusal(**said)) == [pointer]


FIGURES = st.floats(0.001, 200).map(lambda x: float(f"{x:.3g}"))


@given(
    FIGURES,
    st.sampled_from(["mg/L NH3-N", "mg/L NH4", "ug/L NH3-N"]),
    st.floats(5, 11).map(lambda x: round(x, 2)),
    st.floats(32, 110).map(lambda x: round(x, 1)),
    st.sampled_from([0, 0.2, 3, 20]),
)
def test_every_step_follows_from_its_own_numbers(assert_followed, total, unit, ph, degrees, salt) -> None:
    found = asked(
        total_ammonia=f"{total} {unit}", ph=ph, temperature=f"{degrees} degF", salinity=f"{salt} g/kg"
    )
    # Near the limit the logarithm of a difference of six-digit figures loses them.
    assume(not 0.95 < found.values["total_as_n"] / 0.02e-3 < 1.05)
    for step in found.steps:
        assert_followed(step)


ANYTHING = st.none() | st.booleans() | st.floats() | st.text(max_size=8) | st.lists(st.integers(), max_size=2)
SIZES = st.builds(
    "{} {}".format, st.floats(-1e15, 1e15), st.sampled_from(["mg/L NH4", "pH", "K", "degC", "g/kg", "mol/m3"])
)


@given(st.dictionaries(st.sampled_from([*AMMONIA.params, "x"]), ANYTHING | SIZES | st.floats(0, 14)))
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body: dict[str, Any]) -> None:
    try:
        found = answer(AMMONIA, {**WATER, **body})
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(found), allow_nan=False)
