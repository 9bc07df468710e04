import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import pytest

from weirbook.engine.shape import (
    CHOICE,
    COUNT,
    TEXT,
    YES_NO,
    Calculator,
    Filled,
    Result,
    Step,
    Working,
    answer,
    as_json,
    param,
    parts,
    show,
    step,
)
from weirbook.errors import Invalid


@dataclass(frozen=True)
class Bucket:
    name: str = param(TEXT, doc="Its name.")
    volume: float = param("volume", doc="What it holds.", gt=0)


@dataclass(frozen=True)
class Inputs:
    volume: float = param("volume", doc="All of it.", gt=0, le=1000.0)
    warmth: float = param("temperature", doc="How warm.", default=298.15)
    share: float | None = param("fraction", doc="A share.", unit="1", ge=0, lt=1, default=None)
    sort: str = param(CHOICE, doc="Which sort.", choices=("tap", "rain"), default="tap")
    times: int = param(COUNT, doc="How often.", ge=1, le=10, default=1)
    stirred: bool = param(YES_NO, doc="Whether it is stirred.", default=False)
    buckets: tuple[Bucket, ...] = parts(Bucket, doc="Buckets.")


def pour(given: Inputs) -> Working:
    values = {
        "poured": given.volume * given.times,
        "left": None,
        "sort": given.sort,
        "buckets": [{"name": one.name, "volume": one.volume} for one in given.buckets],
    }
    return Working(values, [Step("poured", show(given.volume, "volume"), values["poured"], "volume")])


def calculator(solve: Callable[[Any], Working] = pour) -> Calculator:
    fields = (Result("name", TEXT, "Name."), Result("volume", "volume", "Volume."))
    return Calculator(
        name="pouring",
        title="Pouring",
        doc="Pours.",
        inputs=Inputs,
        results=(
            Result("poured", "volume", "Poured."),
            Result("left", "volume", "Left."),
            Result("sort", CHOICE, "Sort."),
            Result("buckets", "list", "Buckets.", fields=fields),
        ),
        limits=(),
        sources=(),
        solve=solve,
        example={},
    )


def faults(given: Mapping[str, Any], fills: Mapping[str, Filled] | None = None) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        answer(calculator(), given, fills)
    return {fault.pointer: fault.message for fault in refused.value.faults}


def test_an_answer_repeats_its_inputs_as_entered_with_their_origin() -> None:
    given = answer(
        calculator(), {"volume": "2 gal", "times": 3}, {"sort": Filled("rain", "record", "butt, 2026")}
    )
    shown = as_json(given)
    assert shown["inputs"]["volume"] == {"value": 2, "unit": "gal", "origin": "given"}
    assert shown["inputs"]["sort"] == {"value": "rain", "origin": "record", "note": "butt, 2026"}
    assert shown["inputs"]["warmth"] == {"value": 25, "unit": "degC", "origin": "default"}
    assert "share" not in shown["inputs"]
    assert json.loads(json.dumps(shown, allow_nan=False)) == shown


def test_what_the_caller_sends_wins_over_the_record() -> None:
    fills = {"volume": Filled("5 L", "record"), "times": Filled(4, "record")}
    given = answer(calculator(), {"times": 2}, fills)
    assert given.quantity("poured").value == pytest.approx(10)
    assert (given.inputs["volume"].origin, given.inputs["times"].origin) == ("record", "given")


def test_a_null_takes_away_what_the_record_would_fill_in() -> None:
    given = answer(
        calculator(), {"times": None}, {"volume": Filled("5 L", "record"), "times": Filled(4, "record")}
    )
    assert given.quantity("poured").value == pytest.approx(5)
    assert given.inputs["times"].origin == "default"
    assert list(faults({"volume": None}, {"volume": Filled("5 L", "record")})) == ["/volume"]


def test_every_bad_input_is_named_at_once() -> None:
    bad = {
        "warmth": "warm",
        "share": "100 %",
        "sort": "well",
        "times": 7.9,
        "stirred": 1,
        "buckets": [{"name": "", "volume": "1 L"}, 4, {"volume": "0 L"}],
        "a/b~c": 1,
    }
    assert set(faults(bad)) == {
        "/volume",
        "/warmth",
        "/share",
        "/sort",
        "/times",
        "/stirred",
        "/buckets/0/name",
        "/buckets/1",
        "/buckets/2/name",
        "/buckets/2/volume",
        "/a~1b~0c",
    }


@pytest.mark.parametrize("bad", [True, "3", 3.0, 0, 11, 10**400, None, [3]])
def test_a_count_is_a_whole_number_within_its_bounds(bad: object) -> None:
    if bad is None:
        assert answer(calculator(), {"volume": "1 L", "times": bad}).values["poured"] == pytest.approx(0.001)
    else:
        assert list(faults({"volume": "1 L", "times": bad})) == ["/times"]


@pytest.mark.parametrize("bad", ["", "  ", "a\x00b", "two\nlines", "\ud800", "x" * 201, 5])
def test_words_are_one_line_that_can_be_written(bad: object) -> None:
    assert list(faults({"volume": "1 L", "buckets": [{"name": bad, "volume": "1 L"}]})) == ["/buckets/0/name"]


def test_a_fault_inside_a_quantity_points_inside_it() -> None:
    assert list(faults({"volume": {"value": "two", "unit": "L"}})) == ["/volume/value"]


def test_bounds_are_told_in_the_unit_of_the_input() -> None:
    assert "more than 0 L" in faults({"volume": "-3 gal"})["/volume"]
    assert "less than 1." in faults({"volume": "1 L", "share": "120 %"})["/share"]


@pytest.mark.parametrize("body", [None, [], "volume", 4])
def test_a_body_that_is_no_object_is_refused(body: Any) -> None:
    with pytest.raises(Invalid):
        answer(calculator(), body)


def test_inputs_in_other_units_are_converted_in_steps_of_their_own(assert_followed) -> None:
    told = {
        "volume": "2 gal",
        "warmth": "77 degF",
        "share": "25 %",
        "buckets": [{"name": "a", "volume": "3 ft3"}],
    }
    steps = answer(calculator(), told).steps
    assert [one.words for one in steps][:4] == [
        "volume in L",
        "warmth in degC",
        "share in shares of one",
        "buckets/0, volume in L",
    ]
    for one in steps[:4]:
        assert_followed(one)


def test_results_are_shown_in_the_unit_asked_for() -> None:
    given = answer(calculator(), {"volume": "3.785411784 L"})
    assert given.quantity("poured", "gal").value == pytest.approx(1)
    assert as_json(given, {"volume": "gal"})["results"]["poured"] == {"value": 1, "unit": "gal"}
    assert given.quantity("left") is None
    assert given.quantity("sort") == "tap"
    with pytest.raises(Invalid):
        given.quantity("poured", "kg")
    with pytest.raises(Invalid, match="poured, left, sort"):
        given.quantity("buckets")


def overflowing(given: Inputs) -> Working:
    return Working({"poured": (given.volume * 1e200) ** 2}, [])


def divided_by_none(given: Inputs) -> Working:
    return Working({"poured": given.volume / 0}, [])


def with_poured(value: float, step: float = 1.0) -> Callable[[Inputs], Working]:
    values = {"poured": value, "left": None, "sort": "tap", "buckets": []}
    return lambda given: Working(values, [Step("poured", "1", step, "volume")])


def in_a_row(given: Inputs) -> Working:
    values = {"poured": 1.0, "left": None, "sort": "tap", "buckets": [{"name": "a", "volume": math.inf}]}
    return Working(values, [])


@pytest.mark.parametrize(
    "solve",
    [
        overflowing,
        divided_by_none,
        in_a_row,
        with_poured(math.inf),
        with_poured(math.nan),
        with_poured(-1e308),
        with_poured(1.0, step=math.nan),
    ],
)
def test_a_result_beyond_any_size_is_refused_and_never_shown(solve: Callable[[Any], Working]) -> None:
    with pytest.raises(Invalid, match="beyond any real size"):
        answer(calculator(solve), {"volume": "1 L"})


@pytest.mark.parametrize(
    ("si", "kind", "unit", "text"),
    [
        (0.0034068706, "volume", None, "3.40687 L"),
        (0.4, "fraction", "1", "0.4"),
        (0.4, "fraction", None, "40 %"),
    ],
)
def test_a_quantity_is_shown_with_six_digits_and_a_plain_number_without_a_unit(
    si: float, kind: str, unit: str | None, text: str
) -> None:
    assert show(si, kind, unit) == text


def test_a_step_says_its_formula_in_words_and_in_numbers() -> None:
    made = step("rate", "{flow} ÷ {net_volume}", {"flow": "9 L/h", "net_volume": "3 L"}, 3 / 3600, "rate")
    assert (made.words, made.working) == ("rate = flow ÷ net volume", "9 L/h ÷ 3 L")
