import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.drain_capacity import DRAIN_CAPACITY, judge
from weirbook.engine.calculators.drain_parts import Span
from weirbook.engine.relations.pipes import SIZES
from weirbook.engine.shape import Answer, Step, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
Row = dict[str, str]


def of(file: str, **only: tuple[str, ...]) -> pytest.MarkDecorator:
    """The rows of a published file, or those whose columns say one of `only`."""
    rows = [
        row
        for row in csv.DictReader((PUBLISHED / file).open())
        if all(row[name] in values for name, values in only.items())
    ]
    return pytest.mark.parametrize("row", rows, ids=lambda row: row["case_id"])


def drain(**said: Any) -> dict[str, Any]:
    """An open drain of 50 mm whose mouth lies 60 mm deep, with what is said otherwise."""
    return {"name": "one", "kind": "gravity", "diameter": "50 mm", "lip_depth": "60 mm", **said}


def asked(*drains: dict[str, Any], flow: str = "3000 L/h", **said: Any) -> dict[str, Any]:
    """An answer's results in SI."""
    return dict(answer(DRAIN_CAPACITY, {"flow": flow, "drains": list(drains), **said}).values)


def refused(*drains: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(Invalid) as trouble:
        answer(DRAIN_CAPACITY, {"flow": "3000 L/h", "drains": list(drains)})
    return {fault.pointer: fault.message for fault in trouble.value.faults}


# A part-open valve is told by its opening here, not by its K.
@of("drain_full_siphon.csv", valve_k=("0", "0.2"))
def test_a_siphon_counts_for_what_it_carries_full(row: Row) -> None:
    [found] = asked(
        drain(
            kind="siphon",
            diameter=f"{row['inside_diameter_m']} m",
            drop=f"{row['level_difference_m']} m",
            length=f"{row['pipe_length_m']} m",
            elbows=int(row["elbow_count"]),
        ),
        temperature=f"{row['temperature_c']} degC",
    )["drains"]
    k_left_out = float(row["valve_k"])
    # Without the 0.2 of its valve a siphon carries a little more: half that share of the whole loss at most.
    more = k_left_out / (2 * float(row["total_k"]))
    published = float(row["flow_m3_per_s"])
    assert published * 0.995 <= found["counted_capacity"] <= published * (1.005 + more)
    assert found["siphon_capacity"] == found["counted_capacity"]


@of("drain_vertical_lip.csv")
def test_an_open_drain_counts_for_no_more_than_its_lip_takes(row: Row) -> None:
    [found] = asked(
        drain(diameter=f"{row['pipe_inside_diameter_m']} m", lip_depth=f"{row['head_over_lip_m']} m")
    )["drains"]
    careful = float(row["en12056_3_flow_m3_per_s"])
    assert found["lip_capacity"] == pytest.approx(careful, rel=5e-3)
    assert found["lip_other"] == pytest.approx(float(row["swmm_flow_m3_per_s"]), rel=5e-3)
    assert found["counted_capacity"] == min(found["lip_capacity"], found["film_capacity"])


@of("drain_stack_wyly_eaton.csv")
def test_an_open_drain_counts_for_no_more_than_the_film_along_its_wall(row: Row) -> None:
    capacity = float(row["en12056_3_capacity_l_per_s"]) / 1e3
    told = drain(kind="standby", diameter=f"{row['inside_diameter_mm']} mm", lip_depth="50 cm")
    found = asked(told, flow=f"{capacity} m3/s", stack_fill=f"{row['filling_degree']} 1")
    assert found["standby_capacity"] == pytest.approx(capacity, rel=5e-3)
    assert found["standby_bore"] * 1e3 == pytest.approx(float(row["inside_diameter_mm"]), rel=1e-3)


@of("manning_part_full_flow.csv", depth_over_diameter=("0.5",), manning_n=("0.011",))
def test_a_flat_run_is_counted_half_full(row: Row) -> None:
    [found] = asked(
        drain(diameter=f"{row['inside_diameter_m']} m", run_slope=f"{row['slope']} 1", lip_depth="50 cm")
    )["drains"]
    assert found["run_capacity"] == pytest.approx(float(row["flow_m3_per_s"]), rel=2e-3)
    assert found["counted_capacity"] == found["run_capacity"]


def test_a_standby_that_is_too_narrow_is_over_whatever_the_depth_of_its_mouth() -> None:
    main = drain(name="main", kind="siphon", drop="80 cm")
    found = asked(main, drain(name="spare", kind="standby", diameter="26.6446 mm", lip_depth=None))
    assert found["standby_verdict"] == "over" == found["verdict"]
    assert found["standby_capacity"] is None
    assert found["standby_at_most"] * 3.6e6 == pytest.approx(1131.71, abs=0.01)
    assert found["in_use_verdict"] == "ok"
    # 1131.71 L/h by the published table, at 0.33 of 26.6446 mm.
    assert "at most 1130 L/h" in found["why"] and "1-1/2 in schedule 40" in found["mend"]


def test_a_standby_wide_enough_stays_unknown_until_the_depth_of_its_mouth_is_told() -> None:
    found = asked(drain(name="spare", kind="standby", lip_depth=None), flow="2000 L/h")
    assert found["standby_verdict"] == "unknown"
    assert "Unknown for the standby alone, because how far the mouth of spare lies" in found["why"]
    told = asked(drain(name="spare", kind="standby"), flow="2000 L/h")
    assert told["standby_verdict"] == "ok"


def test_a_mouth_level_with_the_edge_takes_nothing_and_is_told_to_go_deeper() -> None:
    found = asked(drain(kind="standby", lip_depth="0 mm"))
    assert (found["standby_verdict"], found["standby_capacity"]) == ("over", 0)
    assert "wide enough" in found["mend"] and "mm below the edge" in found["mend"]


def test_a_standby_built_as_the_mend_says_carries_the_flow() -> None:
    for flow in ("500 L/h", "3000 L/h", "12000 L/h"):
        found = asked(drain(kind="standby", diameter="15 mm"), flow=flow)
        depth = f"{found['standby_lip_depth'] * 1.0000001} m"
        mended = asked(
            drain(kind="standby", diameter=f"{SIZES[found['standby_size']]} m", lip_depth=depth), flow=flow
        )
        assert mended["standby_verdict"] == "ok"
        narrower = asked(
            drain(kind="standby", diameter=f"{found['standby_bore'] * 0.999} m", lip_depth="1 m"), flow=flow
        )
        assert narrower["standby_verdict"] == "over"


def test_with_its_only_drain_blocked_a_tank_keeps_nothing() -> None:
    found = asked(drain(), flow="900 L/h")
    assert found["in_use_verdict"] == "ok" and found["standby_verdict"] == "unknown"
    assert (found["blocked_capacity"], found["blocked_verdict"]) == (0, "over")
    assert "900 L/h" in found["mend"]
    assert "no-standby" in {
        c.code for c in answer(DRAIN_CAPACITY, {"flow": "900 L/h", "drains": [drain()]}).cautions
    }


def test_two_drains_that_each_carry_all_outlast_the_loss_of_either() -> None:
    found = asked(drain(), drain(name="two", kind="standby"), flow="2000 L/h")
    assert found["verdict"] == "ok" and found["mend"] is None


def test_what_is_not_told_of_one_drain_is_not_missed_where_the_others_carry_all() -> None:
    untold = drain(name="untold", kind="siphon", lip_depth=None)
    found = asked(drain(), drain(name="two", kind="standby"), untold, flow="2000 L/h")
    assert found["in_use_verdict"] == "ok" == found["blocked_verdict"]
    assert found["in_use_capacity"] is None and found["largest"] is None
    [row] = [one for one in found["drains"] if one["name"] == "untold"]
    assert row["unknown_because"] == "the drop of untold is not told"


def test_a_valve_part_shut_makes_an_open_drain_unknown_and_a_shut_one_stops_it() -> None:
    half = asked(drain(kind="standby", valve_opening="50 %"), flow="1000 L/h")
    assert half["standby_verdict"] == "unknown"
    shut = asked(drain(kind="standby", valve_opening="0 %"), flow="1000 L/h")
    assert (shut["standby_verdict"], shut["standby_capacity"]) == ("over", 0)
    shut_siphon = asked(drain(kind="siphon", drop="50 cm", valve_opening="0 %"))
    assert shut_siphon["in_use_capacity"] == 0


def test_drains_that_can_not_be_are_refused() -> None:
    assert "shorter" in refused(drain(drop="1 m", length="80 cm"))["/drains/0/length"]
    assert "/drains" in refused()
    assert "already" in refused(drain(), drain())["/drains/1/name"]
    assert "/drains/0/diameter" in refused(drain(diameter="0 mm"))


def test_silly_sizes_end_in_words_not_in_a_traceback() -> None:
    tiny = asked(drain(diameter="0.0001 mm", lip_depth="0.0001 mm", run_slope="0.0001 %"))
    assert tiny["verdict"] == "over"
    as_json(answer(DRAIN_CAPACITY, {"flow": "1000000 m3/s", "drains": [drain(kind="standby")]}))


drains = st.builds(
    drain,
    kind=st.sampled_from(("siphon", "gravity", "standby")),
    diameter=st.floats(5, 200).map(lambda mm: f"{mm} mm"),
    lip_depth=st.one_of(st.none(), st.just("0 mm"), st.floats(0.01, 500).map(lambda mm: f"{mm} mm")),
    drop=st.one_of(st.none(), st.floats(5, 300).map(lambda cm: f"{cm} cm")),
    valve_opening=st.one_of(st.none(), st.just("0 %"), st.floats(0.1, 100).map(lambda share: f"{share} %")),
    run_slope=st.one_of(st.none(), st.floats(0.1, 20).map(lambda share: f"{share} %")),
)
sets = st.lists(drains, min_size=1, max_size=5).map(
    lambda some: [{**one, "name": f"drain {at}"} for at, one in enumerate(some)]
)
flows = st.floats(10, 50000)


@settings(max_examples=60, deadline=None)
@given(sets, flows)
def test_every_step_follows_from_its_own_numbers(
    assert_followed: Callable[[Step], None], some: list[dict[str, Any]], flow: float
) -> None:
    for step in answer(DRAIN_CAPACITY, {"flow": f"{flow} L/h", "drains": some}).steps:
        assert_followed(step)


@settings(max_examples=60, deadline=None)
@given(sets, flows)
def test_blocking_a_drain_never_raises_capacity_and_more_flow_never_mends(
    some: list[dict[str, Any]], flow: float
) -> None:
    found = asked(*some, flow=f"{flow} L/h")
    if found["all_capacity"] is not None:
        assert found["blocked_capacity"] <= found["all_capacity"]
        assert found["in_use_capacity"] <= found["all_capacity"] * (1 + 1e-12)
    assert found["why"].endswith(".")
    more = asked(*some, flow=f"{flow * 1.5} L/h")
    order = ("ok", "unknown", "over")
    for name in ("in_use_verdict", "blocked_verdict"):
        assert order.index(more[name]) >= order.index(found[name])


@settings(max_examples=60, deadline=None)
@given(sets, flows)
def test_telling_what_was_untold_never_turns_a_verdict_over(some: list[dict[str, Any]], flow: float) -> None:
    """A verdict that stands without a depth or drop stands whatever it turns out to be."""
    told = [{**one, "lip_depth": one["lip_depth"] or "40 mm", "drop": one["drop"] or "60 cm"} for one in some]
    before, after = asked(*some, flow=f"{flow} L/h"), asked(*told, flow=f"{flow} L/h")
    for name in ("in_use_verdict", "blocked_verdict", "standby_verdict"):
        if before[name] != "unknown":
            assert after[name] == before[name]


@given(st.floats(0, 2), st.floats(0, 2), st.floats(0.01, 2))
def test_a_verdict_holds_for_every_capacity_within_its_span(one: float, other: float, flow: float) -> None:
    span = Span(min(one, other), max(one, other))
    verdict = judge(span, flow)
    for at in (0.0, 0.5, 1.0):
        value = span.least + at * (span.most - span.least)
        if verdict != "unknown":
            assert judge(Span(value, value), flow) == verdict


def test_a_siphon_whose_mouth_is_hardly_covered_is_warned_of() -> None:
    """40 mm wide and 10 mm deep it draws air: by EN 12056-3 its lip then takes 40 x 10^1.5 / 7500 = 0.169 L/s."""
    siphon = {"kind": "siphon", "diameter": "40 mm", "drop": "60 cm"}

    def told(depth: str) -> Answer:
        return answer(DRAIN_CAPACITY, {"flow": "600 L/h", "drains": [drain(**siphon, lip_depth=depth)]})

    low, deep = told("10 mm"), told("40 mm")
    assert low.values["drains"][0]["lip_capacity"] == pytest.approx(40 * 10**1.5 / 7500 / 1000)
    assert "shallow-siphon" in {one.code for one in low.cautions}
    assert "shallow-siphon" not in {one.code for one in deep.cautions}
