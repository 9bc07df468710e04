import csv
import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.calculators.flow_fade import FLOW_FADE
from weirbook.engine.relations.pipes import Piece
from weirbook.engine.relations.pump_curves import PumpCurve
from weirbook.engine.relations.pump_lines import Branch, duty_of
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows_of(name: str, **wanted: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open() as file:
        return [row for row in csv.DictReader(file) if wanted.items() <= row.items()]


def faded(**other: Any) -> Answer:
    return answer(FLOW_FADE, {"clean_flow": "2000 L/h", "measured_flow": "1800 L/h", **other})


# S06 of the networks solved by EPANET is S01 with a valve of K 30 in the line: as if that much had clogged.
def test_a_valve_that_epanet_put_into_a_line_is_found_again_as_its_k() -> None:
    clean, clogged = (
        next(row for row in rows_of("epanet_links.csv", case_id=case) if row["type"] == "pump")
        for case in ("S01", "S06")
    )
    nodes = {n["node_id"]: float(n["solved_head_m"]) for n in rows_of("epanet_nodes.csv", case_id="S01")}
    valve = rows_of("epanet_links.csv", case_id="S06", type="tcv")[0]
    points = [
        (float(row["flow_m3_per_s"]), float(row["head_m"]))
        for row in rows_of("epanet_pump_curves.csv", curve_id=clean["pump_curve"])
    ]
    # EPANET draws straight lines between the points.
    dense = [
        (flow + (more - flow) * i / 12, head + (less - head) * i / 12)
        for (flow, head), (more, less) in pairwise(points)
        for i in range(12)
    ]
    given = answer(
        FLOW_FADE,
        {
            "clean_flow": f"{clean['solved_flow_m3_per_s']} m3/s",
            "measured_flow": f"{clogged['solved_flow_m3_per_s']} m3/s",
            "pump_curve": [{"flow": f"{q} m3/s", "head": f"{h} m"} for q, h in [*dense, points[-1]]],
            "static_head": f"{nodes['TANK'] - nodes['SUMP']} m",
            "diameter": f"{valve['inside_diameter_m']} m",
        },
    )
    # 3 %: the friction of the clean line falls with a power of the flow a little below the square that is assumed.
    assert given.values["lost_as_k"] == pytest.approx(float(valve["minor_loss_k"]), rel=0.03)
    assert given.values["lost_head"] == pytest.approx(float(valve["head_from_minus_to_m"]), rel=0.03)


CURVE = PumpCurve(((0.0, 3.6), (0.0004, 3.1), (0.0007, 1.8), (0.0009, 0.5)))
TOLD_CURVE = [{"flow": f"{flow} m3/s", "head": f"{head} m"} for flow, head in CURVE.points]


def flow_through(bore: float, k: float) -> float:
    line = (Piece(bore, 0.0, 0.0, k),)
    return duty_of(CURVE, 0.0, line, (Branch("end", (), 1.0, False),), 9e-7).flow


@given(st.floats(3, 60), st.floats(0.5, 100), st.floats(0.6, 0.97))
def test_what_was_added_to_a_line_of_fittings_comes_back_as_k_and_as_bore(k, more, narrowed) -> None:
    def told(now: float) -> Answer:
        said = {"clean_flow": f"{flow_through(0.0266, k)} m3/s", "measured_flow": f"{now} m3/s"}
        return answer(
            FLOW_FADE,
            {
                **said,
                "pump_curve": TOLD_CURVE,
                "static_head": "1 m",
                "diameter": "0.0266 m",
                "least_share": "1 %",
            },
        )

    assert told(flow_through(0.0266, k + more)).values["lost_as_k"] == pytest.approx(more, rel=1e-6)
    # A loss that rises by 1 / bore^5 at the same flow is that of a bore so narrowed.
    assert told(flow_through(0.0266, k / narrowed**5)).values["bore_left"] == pytest.approx(
        narrowed, rel=1e-6
    )


def test_shares_pace_and_time_until_due_follow_by_hand() -> None:
    given = faded(days_since_clean="40 d", days_since_measured="10 d")
    # 10 % in 40 days; 10 % more until 80 %, 40 days from the measuring, 30 from now.
    assert given.values["share"] == pytest.approx(0.9)
    assert given.quantity("lost_flow", "L/h").value == pytest.approx(200)
    assert given.quantity("pace", "%").value == pytest.approx(10 * 7 / 40)
    assert given.quantity("time_until_due", "d").value == pytest.approx(30)


@pytest.mark.parametrize(
    ("flow", "other", "verdict", "due"),
    [
        ("1950 L/h", {"days_since_clean": "30 d"}, "ok", 210),
        ("1750 L/h", {"days_since_clean": "30 d"}, "watch", 18),
        ("1850 L/h", {"days_since_clean": "30 d", "days_since_measured": "300 d"}, "watch", 0),
        ("1590 L/h", {"days_since_clean": "30 d"}, "over", 0),
        ("1590 L/h", {"least_share": "70 %"}, "watch", None),
        ("1990 L/h", {}, "ok", None),
        ("2100 L/h", {"days_since_clean": "30 d"}, "ok", None),
        ("0 L/h", {}, "over", 0),
    ],
)
def test_the_verdict_is_held_to_the_lowest_share_allowed(flow, other, verdict, due) -> None:
    given = faded(measured_flow=flow, **other)
    assert given.values["verdict"] == verdict
    found = given.quantity("time_until_due", "d")
    assert (found and found.value) == (due if due is None else pytest.approx(due))


def test_a_flow_is_found_from_a_volume_and_the_time_it_took() -> None:
    given = faded(measured_flow=None, drawdown_volume="10 L", drawdown_time="20 s")
    assert given.quantity("flow_now", "L/h").value == pytest.approx(1800)


def test_a_flow_is_found_roughly_from_power_and_says_so() -> None:
    powers = {"power_now": "26 W", "power_clean": "30 W", "power_shut_off": "20 W"}
    given = faded(measured_flow=None, **powers)
    assert given.quantity("flow_now", "L/h").value == pytest.approx(1200)
    assert "power-is-a-hint" in {one.code for one in given.cautions}
    assert any(one.origin == "common practice" and "Power" in one.text for one in given.assumptions)


@pytest.mark.parametrize(
    ("other", "code"),
    [
        ({"measured_flow": "2200 L/h"}, "more-than-clean"),
        ({"measured_flow": "1960 L/h"}, "within-measuring"),
        ({"pump_curve": TOLD_CURVE, "static_head": "3.5 m"}, "curve-does-not-fit"),
    ],
)
def test_figures_that_may_mislead_come_with_a_caution(other: dict[str, Any], code: str) -> None:
    assert code in {one.code for one in faded(**other).cautions}
    assert code not in {one.code for one in faded().cautions}


POWERS = {"measured_flow": None, "power_now": "26 W", "power_clean": "30 W", "power_shut_off": "20 W"}


@pytest.mark.parametrize(
    ("other", "pointers"),
    [
        ({"measured_flow": None}, ["/measured_flow"]),
        ({"drawdown_volume": "10 L", "drawdown_time": "20 s"}, ["/drawdown_volume"]),
        ({"measured_flow": None, "drawdown_volume": "10 L"}, ["/drawdown_time"]),
        ({"measured_flow": None, "power_now": "26 W"}, ["/power_clean", "/power_shut_off"]),
        ({**POWERS, "power_clean": "20 W"}, ["/power_clean"]),
        ({**POWERS, "power_now": "19 W"}, ["/power_now"]),
        ({"pump_curve": [TOLD_CURVE[1], TOLD_CURVE[0]]}, ["/pump_curve/1"]),
        ({"clean_flow": "0 L/h"}, ["/clean_flow"]),
        ({"least_share": "100 %"}, ["/least_share"]),
        ({"days_since_clean": "-1 d"}, ["/days_since_clean"]),
    ],
)
def test_what_contradicts_itself_is_refused_at_its_place(other: dict[str, Any], pointers: list[str]) -> None:
    with pytest.raises(Invalid) as refused:
        faded(**other)
    assert [fault.pointer for fault in refused.value.faults] == pointers


@given(st.floats(1, 1e4), st.floats(0.01, 1.5), st.floats(0.05, 0.95), st.floats(0.1, 900), st.floats(0, 400))
def test_every_step_follows_from_its_own_numbers_and_less_flow_is_never_due_later(
    assert_followed, clean, share, least, days, since
) -> None:
    def told(flow: float) -> Answer:
        said = {
            "clean_flow": f"{clean:.6g} L/h",
            "measured_flow": f"{flow:.6g} L/h",
            "least_share": f"{least} 1",
        }
        times = {"days_since_clean": f"{days:.4g} d", "days_since_measured": f"{since:.4g} d"}
        return answer(
            FLOW_FADE, {**said, **times, "pump_curve": TOLD_CURVE, "static_head": "1 m", "diameter": "2 cm"}
        )

    given, less = told(clean * share), told(clean * share * 0.9)
    for step in given.steps:
        assert_followed(step)
    due, sooner = given.values["time_until_due"], less.values["time_until_due"]
    assert due is None or (sooner is not None and sooner <= due * (1 + 1e-9))


ANYTHING = (
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20) | st.lists(st.none())
)
SIZED = st.builds(
    "{} {}".format, st.floats(-1e15, 1e15), st.sampled_from(["L/h", "L", "s", "W", "1", "d", "m"])
)
NAMES = ("measured_flow", "drawdown_volume", "drawdown_time", "power_now", "power_clean", "power_shut_off")
BODIES = ANYTHING | st.fixed_dictionaries(
    {"clean_flow": SIZED | ANYTHING},
    optional=dict.fromkeys((*NAMES, "days_since_clean", "least_share", "static_head"), SIZED | ANYTHING)
    | {"pump_curve": st.just(TOLD_CURVE) | ANYTHING},
)


@given(BODIES)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        found = answer(FLOW_FADE, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(found), allow_nan=False)
