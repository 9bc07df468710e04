"""What has been tried with plants: how often, how it ended, and how long it held, held to lifelines."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from harness import Caller, made, on_both_engines, pointers
from lifelines import KaplanMeierFitter
from plant_scenes import plant, set_up_kinds, tell
from water_scenes import stop_the_clock

NOW = "2026-11-25T10:00:00Z"


@pytest.fixture
def tank(furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> Caller:
    """It is ten in the morning of 25 November; days are whole since everything happens at ten."""
    stop_the_clock(monkeypatch, NOW)
    set_up_kinds(furnished)
    return furnished


def ago(days: int) -> str:
    return (datetime(2026, 11, 25, tzinfo=UTC) - timedelta(days=days)).strftime("%Y-%m-%d")


def outcomes(keeper: Caller, query: str = "") -> list[dict[str, Any]]:
    answered = keeper.get(f"/v1/plantings/outcomes?{query}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    items: list[dict[str, Any]] = answered.get_json()["items"]
    return items


def moss_on_wood_and_stone(keeper: Caller) -> None:
    """On stone lost after 9, 14 and 20 days; on wood four stand, the oldest for 140."""
    for days in (9, 14, 20):
        tell(keeper, plant(keeper, ago(100), spot="On the slate"), "lost", ago(100 - days))
    for days in (140, 90, 30, 10):
        plant(keeper, ago(days), method="on_wood", spot="On the root")


@on_both_engines
def test_a_moss_that_holds_on_wood_and_not_on_stone(tank: Caller) -> None:
    moss_on_wood_and_stone(tank)
    wood, stone = outcomes(tank)
    assert (wood["method"], wood["tried"], wood["stands"], wood["lost"]) == ("on_wood", 4, 4, 0)
    assert (stone["method"], stone["tried"], stone["stands"], stone["lost"]) == ("on_stone", 3, 0, 3)
    assert wood["words"] == (
        "Java moss, on wood: 4 tried, all stand, the oldest 140 days (last looked at 2026-07-08 to 2026-11-15). "
        "So few tries say little."
    )
    assert stone["words"] == (
        "Java moss, on stone: 3 tried, all lost within 20 days. So few tries say little."
    )
    assert (stone["median_days"], wood["median_days"]) == (14, None)
    assert (wood["oldest_standing_days"], stone["oldest_standing_days"]) == (140, None)
    assert (stone["held_30"]["share"], wood["held_30"]["share"], wood["held_90"]["share"]) == (0, 1, 1)
    assert (stone["held_30"]["watched"], wood["held_30"]["watched"]) == (None, 3)


def test_what_stands_tells_when_it_was_last_looked_at(tank: Caller) -> None:
    moss = plant(tank, ago(140))
    (row,) = outcomes(tank)
    assert "it stands, for 140 days (last looked at 2026-07-08)" in row["words"]
    tell(tank, moss, "seen", ago(7))
    (row,) = outcomes(tank)
    assert "it stands, for 140 days (last looked at 2026-11-18)" in row["words"]


def test_methods_of_a_kind_are_set_side_by_side_with_what_the_calculator_takes(tank: Caller) -> None:
    moss_on_wood_and_stone(tank)
    plant(tank, ago(9), kind="cress", method="pot")
    told = tank.get("/v1/plantings/outcomes?by=spot").get_json()
    (one,) = told["methods_compared"]
    assert one["kind"] == "java-moss"
    assert one["words"].startswith(
        "Java moss: on wood 0 of 4 lost or uprooted, watched for up to 140 days; on stone 3 of 3 lost or uprooted, "
        "watched for up to 20 days. So few tries say little."
    )
    answer = tank.get(one["ask"])
    assert answer.status_code == 200, answer.get_data(as_text=True)
    assert "0 of 4" in answer.get_data(as_text=True)
    assert "3 of 3" in answer.get_data(as_text=True)
    assert tank.get("/v1/plantings/outcomes?method=on_wood").get_json()["methods_compared"] == []


def test_an_interval_where_all_or_none_were_lost_is_the_exact_binomial_one(tank: Caller) -> None:
    """None lost of 4 watched for 10 days or longer, 3 for 30: 0.025 ^ (1/3) = 0.2924; all 3 lost at once: 1 - that."""
    moss_on_wood_and_stone(tank)
    for days in (40, 40, 40):
        tell(tank, plant(tank, ago(days), kind="cress", method="pot"), "lost", ago(days - 5))
    wood, cress, _ = outcomes(tank, "by=kind,method")
    assert (wood["held_30"]["low"], wood["held_30"]["high"]) == (0.29, 1)
    assert (cress["held_30"]["low"], cress["held_30"]["high"]) == (0, 0.71)


LIVES = [
    (3, True),
    (8, True),
    (8, True),
    (20, True),
    (25, False),
    (35, True),
    (50, False),
    (95, True),
    (120, False),
]


@on_both_engines
def test_what_held_is_what_lifelines_makes_of_the_same_tries(tank: Caller) -> None:
    for index, (days, failed) in enumerate(LIVES):
        one = plant(tank, ago(150), spot="Front")
        ends = ("lost", "uprooted")[index % 2] if failed else ("moved", "removed")[index % 2]
        tell(tank, one, ends, ago(150 - days), **({"spot": "Elsewhere"} if ends == "moved" else {}))
    front = next(one for one in outcomes(tank, "by=spot&spot=front"))
    fitter = KaplanMeierFitter(alpha=0.05).fit([d for d, _ in LIVES], [f for _, f in LIVES])
    limits = fitter.confidence_interval_
    for days in (30, 90):
        held = front[f"held_{days}"]
        at = limits[limits.index <= days].iloc[-1]
        assert held["share"] == pytest.approx(float(fitter.predict(days)), abs=0.005)
        assert held["low"] == pytest.approx(float(at.iloc[0]), abs=0.01) and held["low"] <= at.iloc[0]
        assert held["high"] == pytest.approx(float(at.iloc[1]), abs=0.01) and held["high"] >= at.iloc[1]
    assert front["median_days"] == fitter.median_survival_time_
    assert front["tried"] == 9 and front["few"] is False
    assert f"30 days: {round(100 * float(fitter.predict(30)))} % (" in front["words"]
    assert front["lost"] + front["uprooted"] == 6 and front["moved"] + front["removed"] == 3


def test_each_replanting_and_move_is_a_try_of_its_own(tank: Caller) -> None:
    moss = plant(tank, ago(60), spot="Front")
    tell(tank, moss, "uprooted", ago(58), by="The loaches")
    tell(tank, moss, "replanted", ago(57))
    tell(tank, moss, "uprooted", ago(56), by="the  loaches.")
    tell(tank, moss, "replanted", ago(55), spot="Back", method="ring")
    tell(tank, moss, "moved", ago(25), spot="Left")
    rows = {(one["method"], one["spot"]): one for one in outcomes(tank, "by=spot,method")}
    front = rows["on_stone", "Front"]
    assert (front["tried"], front["plantings"], front["uprooted"]) == (2, 1, 2)
    assert front["failures_by"] == [{"by": "the  loaches.", "times": 2}]
    assert "2 tried, both uprooted within 2 days" in front["words"] and "loaches" in front["words"]
    assert (
        rows["ring", "Back"]["moved"] == 1 and "1 tried, moved after 30 days" in rows["ring", "Back"]["words"]
    )
    assert "it stands, for 25 days" in rows["ring", "Left"]["words"]
    assert sum(one["tried"] for one in rows.values()) == outcomes(tank, "by=kind")[0]["tried"] == 4


def test_who_did_it_is_counted_and_what_nobody_knows_is_said(tank: Caller) -> None:
    for by in ("Loaches", "Loaches", "Snails", None):
        tell(tank, plant(tank, ago(50)), "uprooted", ago(45), **({"by": by} if by else {}))
    tell(tank, plant(tank, ago(50)), "removed", ago(40))
    plant(tank, ago(5))
    (row,) = outcomes(tank)
    assert row["failures_by"] == [
        {"by": "Loaches", "times": 2}, {"by": "Snails", "times": 1}, {"by": None, "times": 1},
    ]  # fmt: skip
    assert row["words"].startswith(
        "Java moss, on stone: 6 tried: 4 uprooted within 5 days (Loaches 2 times; Snails), 1 removed after 10 days, "
        "1 stands, for 5 days (last looked at 2026-11-20). Held 30 days: "
    )


def test_what_nobody_watched_so_long_is_unknown(tank: Caller) -> None:
    for _ in range(5):
        plant(tank, ago(12))
    (row,) = outcomes(tank)
    assert (row["held_30"], row["held_90"]) == (None, None)
    assert "30 days: unknown, because none was watched so long" in row["words"]


def test_spots_are_alike_but_for_capitals_spaces_and_a_full_stop(tank: Caller) -> None:
    for on, spot in ((9, "On the  root"), (8, "on the root."), (7, None), (6, "On the root left")):
        plant(tank, ago(on), spot=spot)
    rows = outcomes(tank, "by=spot")
    assert [(one["spot"], one["tried"]) for one in rows] == [
        ("on the root.", 2), (None, 1), ("On the root left", 1),
    ]  # fmt: skip
    assert "No spot told: 1 tried" in rows[1]["words"]


def test_tries_are_told_apart_and_narrowed_as_asked(tank: Caller) -> None:
    moss = plant(tank, ago(40))
    tell(tank, moss, "moved", ago(20), to_place="sections/rack-return-1")
    plant(tank, ago(30), kind="cress", method="basket", place="sections/rack-return-1", spot="At the weir")

    def rows(query: str) -> list[tuple[Any, ...]]:
        names = ("kind", "growth_form", "spot", "method", "place")
        return [(*(one[name] for name in names if one[name]), one["tried"]) for one in outcomes(tank, query)]

    assert rows("by=place") == [("sections/rack-return-1", 2), ("tanks/nursery", 1)]
    assert rows("by=growth_form") == [("attached", 2), ("emergent", 1)]
    assert rows("by=method,kind") == [("java-moss", "on_stone", 2), ("cress", "basket", 1)]
    assert rows("kind=cress") == rows("method=basket") == rows("growth_form=emergent") == rows("spot=WEIR")
    assert rows("by=kind&place=tanks/nursery") == [("java-moss", 1)]
    assert rows("by=kind&place=sumps/rack") == [("cress", 1), ("java-moss", 1)]
    assert rows("by=kind&place=systems/rill") == [("java-moss", 2), ("cress", 1)]
    assert rows("spot=nowhere") == []


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ("by=colour", "/by"),
        ("by=kind,", "/by"),
        ("kind=none", "/kind"),
        ("place=tanks/none", "/place"),
        ("place=nursery", "/place"),
        ("method=glued", "/method"),
        ("growth_form=moss", "/growth_form"),
        ("spot=%20", "/spot"),
    ],
)
def test_a_question_that_can_not_be_answered_is_refused_at_its_fault(
    tank: Caller, query: str, pointer: str
) -> None:
    assert pointers(tank.get(f"/v1/plantings/outcomes?{query}")) == [pointer]


def test_a_sheet_of_outcomes_has_a_line_a_row(tank: Caller) -> None:
    moss_on_wood_and_stone(tank)
    tell(tank, plant(tank, ago(50), kind="cress"), "uprooted", ago(45), by="Snails")
    told = tank.get("/v1/plantings/outcomes?format=csv").get_data(as_text=True)
    rows = list(csv.DictReader(io.StringIO(told.lstrip("\ufeff"))))
    assert [(one["kind"], one["method"], one["tried"]) for one in rows] == [
        ("java-moss", "on_wood", "4"), ("java-moss", "on_stone", "3"), ("cress", "on_stone", "1"),
    ]  # fmt: skip
    assert (rows[0]["held_30.share"], rows[0]["held_30.low"]) == ("1", "0.29")
    assert rows[2]["failures_by"] == "Snails 1"
    assert "one try says little" in rows[2]["words"].lower()


def test_plants_of_an_empty_room_have_no_outcomes(tank: Caller) -> None:
    assert outcomes(tank) == []
    made(tank, "plant-kinds", {"name": "Fern", "growth_form": "attached"})
    assert outcomes(tank, "kind=fern") == []
