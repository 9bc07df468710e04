"""What every calculator in the catalogue must carry."""

import json
import re
from collections.abc import Iterator

import pytest

from weirbook.engine.catalogue import CALCULATORS, calculator
from weirbook.engine.shape import (
    CHOICE,
    COUNT,
    TEXT,
    YES_NO,
    Calculator,
    Param,
    Result,
    answer,
    as_json,
    params_of,
)
from weirbook.engine.units import KINDS, unit
from weirbook.errors import Invalid, Unknown

UNITLESS = {CHOICE, COUNT, TEXT, YES_NO}
DOORS = {
    "systems",
    "tanks",
    "sumps",
    "sections",
    "pumps",
    "heaters",
    "lights",
    "groups",
    "species",
    "gauges",
    "room",
}
SNAKE = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
KEBAB = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")

every_calculator = pytest.mark.parametrize("one", CALCULATORS, ids=lambda one: one.name)


def inputs_of(inputs: type) -> Iterator[tuple[str, Param]]:
    for name, declared in params_of(inputs).items():
        yield name, declared
        if declared.part is not None:
            yield from inputs_of(declared.part)


def results_of(results: tuple[Result, ...]) -> Iterator[Result]:
    for result in results:
        yield result
        yield from results_of(result.fields)


def test_names_are_unique_and_sorted() -> None:
    names = [one.name for one in CALCULATORS]
    assert names == sorted(set(names))


def kinds_of(declared: Param | Result) -> list[str]:
    """Its kind, or all that it may have while the choice it follows is open."""
    return [declared.kind] if declared.follows is None else list(declared.follows.kinds.values())


@every_calculator
def test_a_calculator_is_found_by_its_name(one: Calculator) -> None:
    assert calculator(one.name) is one


def test_an_unknown_name_is_answered_with_those_there_are() -> None:
    with pytest.raises(Unknown, match="turnover"):
        calculator("no-such-thing")


@every_calculator
def test_a_calculator_says_what_it_does_its_limits_and_its_sources(one: Calculator) -> None:
    assert KEBAB.fullmatch(one.name)
    assert one.title and one.doc.endswith(".")
    assert one.limits and all(one.limits)
    assert one.sources
    for source in one.sources:
        assert source.author and source.title and source.where
    assert set(one.doors) <= DOORS


@every_calculator
def test_every_input_has_a_name_a_kind_and_words(one: Calculator) -> None:
    for name, declared in inputs_of(one.inputs):
        assert SNAKE.fullmatch(name)
        assert declared.doc.endswith("."), name
        if declared.part is not None:
            continue
        assert set(kinds_of(declared)) <= UNITLESS | KINDS.keys(), name
        if declared.is_quantity:
            assert unit(declared.kind, declared.shown_in).name == declared.shown_in
        else:
            assert declared.unit is None
        assert bool(declared.choices) == (declared.kind == CHOICE), name


@every_calculator
def test_every_result_has_a_name_a_kind_and_words(one: Calculator) -> None:
    for result in results_of(one.results):
        assert SNAKE.fullmatch(result.name)
        assert result.doc.endswith("."), result.name
        if result.fields:
            assert result.kind == "list"
        else:
            assert set(kinds_of(result)) <= UNITLESS | KINDS.keys(), result.name
        if result.shown_in is not None:
            assert unit(result.kind, result.shown_in).name == result.shown_in


@every_calculator
def test_what_follows_a_choice_has_a_kind_for_each_of_its_words(one: Calculator) -> None:
    followers = [*dict(inputs_of(one.inputs)).values(), *results_of(one.results)]
    for follows in (follower.follows for follower in followers if follower.follows is not None):
        choice = one.params[follows.choice]
        assert choice.kind == CHOICE and choice.required
        assert set(choice.choices) == follows.kinds.keys()


@every_calculator
def test_a_question_to_the_record_says_in_its_example_what_no_record_holds(one: Calculator) -> None:
    assert one.asks.items() <= one.example.items()
    if one.doors:
        unheld = {name for name, declared in one.params.items() if declared.required and not declared.role}
        assert unheld <= one.asks.keys()


@every_calculator
def test_the_docstring_of_its_function_has_all_parts(one: Calculator) -> None:
    doc = one.solve.__doc__ or ""
    parts = (
        "Equation",
        "Shapes and units:",
        "Valid for:",
        "Uncertainty:",
        "Raises:",
        "Source:",
        "Not covered:",
    )
    assert [part for part in parts if part not in doc] == []


@every_calculator
def test_the_example_answers_with_every_declared_result(one: Calculator) -> None:
    given = answer(one, one.example)
    assert set(given.values) == {result.name for result in one.results}
    shown = as_json(given)
    assert json.loads(json.dumps(shown, allow_nan=False)) == shown
    assert shown["steps"]
    assert all(result.fields or shown["results"][result.name] is not None for result in one.results)


@every_calculator
def test_every_step_of_the_example_follows_from_its_own_numbers(one: Calculator, assert_followed) -> None:
    for step in answer(one, one.example).steps:
        assert_followed(step)


@every_calculator
def test_cautions_have_codes_for_programs_and_words_for_people(one: Calculator) -> None:
    for caution in answer(one, one.example).cautions:
        assert KEBAB.fullmatch(caution.code)
        assert caution.text.endswith(".")


def test_a_row_that_may_be_added_tells_more_than_its_key() -> None:
    """Else a slip in the key of a recorded row would make a new one."""
    lists = [one for each in CALCULATORS for one in each.params.values() if one.may_add]
    assert lists
    for one in lists:
        assert one.part is not None and one.key is not None and one.role is not None
        told = params_of(one.part)
        assert told[one.key].required and sum(inner.required for inner in told.values()) > 1


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("dose-recipe", {"volume": "100 L"}),
        ("water-change-temperature", {"volume": "100 L", "change_volume": "20 L", "temperature": "24 degC"}),
        ("dose-stock", {
            "parameter": "alkalinity", "rise": "1 dKH", "volume": "100 L", "compound": "sodium_bicarbonate",
            "bottle": "1 L", "dose_interval": "1 d",
        }),
        ("salt-change", {}),
        ("water-change", {"parameter": "nitrate", "present": "40 mg/L NO3", "source": "5 mg/L NO3", "volume": "100 L"}),
        ("tank-volume", {"shape": "rectangle", "length": "1 m", "width": "50 cm"}),
    ],
)  # fmt: skip
def test_calculators_say_that_something_is_missing(name: str, said: dict[str, str]) -> None:
    with pytest.raises(Invalid) as caught:
        answer(calculator(name), said)
    assert caught.value.message == "Something is missing.", caught.value.faults
