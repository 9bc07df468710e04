import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import pytest

from weirbook.engine.shape import (
    CHOICE,
    COUNT,
    FOLLOWING,
    TEXT,
    YES_NO,
    Calculator,
    Filled,
    Follows,
    Result,
    Step,
    Working,
    answer,
    as_json,
    param,
    parts,
    refuse,
    show,
    step,
)
from weirbook.errors import Fault, Invalid, Lack


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


BY_SORT = Follows("sort", {"warm": "temperature", "wide": "length"})


@dataclass(frozen=True)
class Piece:
    sort: str = param(CHOICE, doc="What is measured.", choices=("warm", "wide"))
    size: float = param(FOLLOWING, doc="How much.", follows=BY_SORT)


@dataclass(frozen=True)
class Measured:
    sort: str = param(CHOICE, doc="What is measured.", choices=("warm", "wide"))
    size: float = param(FOLLOWING, doc="How much.", follows=BY_SORT, ge=0, role="latest.{sort}")
    spare: float | None = param(FOLLOWING, doc="More.", follows=BY_SORT, default=None)
    pieces: tuple[Piece, ...] = parts(Piece, doc="Pieces.")


def measure(given: Measured) -> Working:
    kind = BY_SORT.kinds[given.sort]
    rows = [{"half": given.size / 2}]
    return Working({"size": given.size, "rows": rows}, [Step("size", "1", given.size, kind)])


MEASURING = Calculator(
    name="measuring",
    title="Measuring",
    doc="Measures.",
    inputs=Measured,
    results=(
        Result("size", FOLLOWING, "Size.", follows=BY_SORT),
        Result("rows", "list", "Rows.", fields=(Result("half", FOLLOWING, "Half.", follows=BY_SORT),)),
    ),
    limits=(),
    sources=(),
    solve=measure,
    example={},
)


@pytest.mark.parametrize(
    ("sort", "size", "shown", "half"),
    [
        ("wide", "2 m", {"value": 200, "unit": "cm"}, {"value": 100, "unit": "cm"}),
        ("warm", "500 K", {"value": 226.85, "unit": "degC"}, {"value": -23.15, "unit": "degC"}),
    ],
)
def test_a_choice_settles_the_kind_of_inputs_and_results_that_follow_it(
    assert_followed, sort: str, size: str, shown: dict[str, Any], half: dict[str, Any]
) -> None:
    given = answer(MEASURING, {"sort": sort, "size": size})
    results = as_json(given)["results"]
    assert (results["size"], results["rows"]) == (shown, [{"half": half}])
    assert given.steps[0].words == f"size in {shown['unit']}"
    assert_followed(given.steps[0])
    assert given.result("size").kind == BY_SORT.kinds[sort]


def test_a_choice_in_a_row_settles_the_kinds_of_that_row(assert_followed) -> None:
    pieces = [{"sort": "warm", "size": "50 degF"}, {"sort": "wide", "size": "3 in"}]
    given = answer(MEASURING, {"sort": "wide", "size": "2 cm", "pieces": pieces})
    sizes = [row["size"] for row in as_json(given)["inputs"]["pieces"]["value"]]
    assert sizes == [{"value": 50, "unit": "degF"}, {"value": 3, "unit": "in"}]
    assert [one.words for one in given.steps[:2]] == ["pieces/0, size in degC", "pieces/1, size in cm"]
    for one in given.steps[:2]:
        assert_followed(one)


def test_a_result_that_follows_a_choice_is_shown_in_the_units_asked_of_its_kind() -> None:
    given = answer(MEASURING, {"sort": "wide", "size": "2 m"})
    assert given.quantity("size", "mm").value == pytest.approx(2000)
    assert as_json(given, {"length": "m", "temperature": "K"})["results"]["size"] == {"value": 2, "unit": "m"}
    with pytest.raises(Invalid):
        given.quantity("size", "K")


@pytest.mark.parametrize(
    ("told", "pointers"),
    [
        ({"sort": "wide", "size": "2 K"}, ["/size"]),
        ({"sort": "wide", "size": "-2 m", "spare": "1 kg"}, ["/size", "/spare"]),
        ({"sort": "wide"}, ["/size"]),
        ({"sort": "heavy", "size": "2 kg"}, ["/sort"]),
        ({"sort": ["wide"], "size": "2 m"}, ["/sort"]),
        ({"size": "2 m"}, ["/sort"]),
        ({}, ["/sort", "/size"]),
    ],
)
def test_what_follows_an_open_choice_is_not_judged(told: dict[str, Any], pointers: list[str]) -> None:
    with pytest.raises(Invalid) as refused:
        answer(MEASURING, told)
    assert [fault.pointer for fault in refused.value.faults] == pointers


def test_the_role_of_what_follows_a_choice_names_its_word() -> None:
    size = MEASURING.params["size"]
    assert size.settled({"sort": "warm"}).role == "latest.warm"
    assert size.settled({"sort": "heavy"}) is size
    assert MEASURING.params["sort"].settled({"sort": "warm"}) is MEASURING.params["sort"]


def test_what_only_lacks_is_not_called_a_contradiction() -> None:
    lack, fault = Lack("/here", "Say it."), Fault("/there", "Say less.")
    details = {}
    for name, faults in (("lack", [lack]), ("fault", [fault]), ("both", [lack, fault])):
        with pytest.raises(Invalid) as caught:
            refuse(faults)
        assert caught.value.faults == tuple(faults)
        details[name] = caught.value.message
    assert details == {
        "lack": "Something is missing.",
        "fault": "The inputs contradict each other.",
        "both": "The inputs contradict each other, and something is missing.",
    }
    refuse([])
