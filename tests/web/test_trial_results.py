"""What a trial shows over HTTP. Readings are simulated with a known effect; means are worked out beside ours."""

from __future__ import annotations

import csv
import io
import statistics
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from harness import Caller, made, on_both_engines
from series_scenes import rooms
from water_scenes import change, feed, set_up_vat, stock_larder, stop_the_clock

FIRST = date(2026, 9, 7)
LENGTH = 21
NOW = "2026-11-25T18:00:00Z"


@pytest.fixture
def vat(keeper: Caller, monkeypatch: pytest.MonkeyPatch) -> Caller:
    """A vat whose algae are scored daily by hand, no reading yet."""
    stop_the_clock(monkeypatch, NOW)
    set_up_vat(keeper)
    stock_larder(keeper)
    cover = {"name": "Vat algae", "parameter": "algae_cover", "place": "tanks/vat", "resolution": "1 %"}
    made(keeper, "gauges", {**cover, "by_hand": True})
    return keeper


def day(number: int) -> date:
    return FIRST + timedelta(days=number)


def at(number: int, clock: str = "12:00") -> str:
    """An instant of a day of the trial; Lisbon's clocks are an hour ahead of UTC until 25 October."""
    return f"{day(number).isoformat()}T{clock}:00Z"


def score(vat: Caller, values: dict[int, float], gauge: str = "vat-algae") -> None:
    body = [{"gauge": gauge, "value": round(value, 3), "at": at(number)} for number, value in values.items()]
    answered = vat.post("/v1/readings", {"readings": body})
    assert answered.status_code == 200, answered.get_data(as_text=True)


def noise(count: int, spread: float = 2.0, rho: float = 0.3, seed: int = 6) -> list[float]:
    (room,) = rooms(seed, 1, count, rho)
    return [40 + spread * value for value in room]


def begin(vat: Caller, *settings: str, **said: Any) -> str:
    """A trial of three weeks a setting, three days of settling, from midnight of the room on."""
    phases = []
    for place, setting in enumerate(settings):
        start, end = day(LENGTH * place), day(LENGTH * (place + 1))
        phases.append(
            {
                "setting": setting,
                "from": f"{start.isoformat()}T00:00:00+01:00",
                "to": f"{end.isoformat()}T00:00:00+01:00",
                "settle": "3 d",
            }
        )
    body = {
        "question": "Does less light keep the glass cleaner?",
        "varied": "Hours of light",
        "place": "tanks/vat",
        "phases": phases,
        "outcomes": [{"gauge": "vat-algae"}],
        **said,
    }
    return str(made(vat, "trials", body)["id"])


def result(caller: Caller, trial: str, query: str = "") -> dict[str, Any]:
    answered = caller.get(f"/v1/trials/{trial}/result{query}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    shown: dict[str, Any] = answered.get_json()
    return shown


@on_both_engines
def test_a_clear_effect_is_told_with_its_interval_and_its_days(vat: Caller) -> None:
    values = [value - 8 * (number >= LENGTH) for number, value in enumerate(noise(2 * LENGTH))]
    score(vat, dict(enumerate(values)))
    shown = result(vat, begin(vat, "Ten hours", "Six hours"))
    assert [(one["first_day"], one["last_day"]) for one in shown["phases"]] == [
        ("2026-09-10", "2026-09-27"),
        ("2026-10-01", "2026-10-18"),
    ]
    (outcome,) = shown["outcomes"]
    first, second = outcome["phases"]
    assert first["days"] == second["days"] == 18
    assert first["mean"] == pytest.approx(statistics.fmean(values[3:21]), rel=1e-4)
    assert first["spread"] == pytest.approx(statistics.stdev(values[3:21]), rel=1e-3)
    assert second["median"] == pytest.approx(statistics.median(values[24:42]), rel=1e-4)
    (change_,) = outcome["comparisons"]
    assert change_["difference"] == pytest.approx(
        statistics.fmean(values[24:42]) - statistics.fmean(values[3:21]), abs=1e-3
    )
    assert change_["difference_low"] < -8 < change_["difference_high"] < 0
    assert (change_["verdict"], change_["shape"]) == ("lower", "step")
    assert shown["reading"].startswith(
        "Algae cover (vat-algae) under 'Six hours' beside 'Ten hours': lower by "
    )
    assert "points (90 % interval)" in shown["reading"]
    assert shown["meanwhile"] == []
    assert outcome["lowest"] == {"setting": "Six hours", "why": "told"}
    assert any("no control" in limit for limit in outcome["limits"])


def test_what_happened_in_the_week_of_a_change_is_named(vat: Caller) -> None:
    score(vat, {number: value - 8 * (number >= LENGTH) for number, value in enumerate(noise(2 * LENGTH))})
    trial = begin(vat, "Ten hours", "Six hours")
    feed(vat, ("granules", "3 g"), since=day(LENGTH + 4).isoformat())
    made(vat, "journal", {
        "kind": "change", "place": "tanks/vat", "happened_at": at(8), "words": "Swapped.",
        "changed": {"what": "Lid", "from": "glass", "to": "net"},
    })  # fmt: skip
    shown = result(vat, trial)
    told = {one["kind"]: one for one in shown["meanwhile"]}
    assert told["ration"]["in_the_week_of"] == [2] and told["change"]["in_the_week_of"] == []
    assert told["ration"]["day"] == day(LENGTH + 4).isoformat()
    assert told["ration"]["path"].startswith("/v1/rations/")
    assert "in the same week: another ration, so the two can't be told apart; also" in shown["reading"]
    assert told["change"]["during"] == 1 and told["ration"]["during"] == 2
    assert (
        shown["reading"]
        .split("Algae")[1]
        .endswith(f"; also during 'Ten hours' only: Lid: net ({day(8).isoformat()}).")
    )
    assert shown["outcomes"][0]["lowest"] == {"setting": "Six hours", "why": "not alone"}


def test_a_move_while_the_setting_settles_is_laid_to_nothing_alone(vat: Caller) -> None:
    """A sham: the level falls eleven days after the change, when the pane was cleaned for good, and no setting mattered."""
    score(vat, {number: value - 8 * (number >= 46) for number, value in enumerate(noise(70))})
    phases = [
        {
            "setting": setting,
            "from": at(35 * place, "00:00"),
            "to": at(35 * place + 35, "00:00"),
            "settle": "15 d",
        }
        for place, setting in enumerate(("Ten hours", "Six hours"))
    ]
    trial = begin(vat, phases=phases)
    made(vat, "journal", {
        "kind": "change", "place": "tanks/vat", "happened_at": at(46), "words": "Swapped.",
        "changed": {"what": "Lid", "from": "glass", "to": "net"},
    })  # fmt: skip
    made(vat, "journal", {
        "kind": "change", "place": "tanks/vat", "happened_at": at(20), "words": "Swapped.",
        "changed": {"what": "Lamp", "from": "old", "to": "new"},
    })  # fmt: skip
    shown = result(vat, trial)
    last, first = shown["phases"][0]["last_day"], shown["phases"][1]["first_day"]
    assert (last, first) == (day(34).isoformat(), day(50).isoformat())
    assert (
        f"; a step somewhere between {last} and {first} (the settle time and gaps are not counted) fits"
        in (shown["reading"])
    )
    assert (
        "; between the days compared or within a week of them: Lid changed, so the two can't be told apart"
        in shown["reading"]
    )
    assert {tuple(one["in_the_week_of"]) for one in shown["meanwhile"] if "Lid" in one["words"]} == {(2,)}
    assert {tuple(one["in_the_week_of"]) for one in shown["meanwhile"] if "Lamp" in one["words"]} == {()}
    assert shown["outcomes"][0]["lowest"] == {"setting": "Six hours", "why": "not alone"}


def test_where_the_days_compared_begin_with_the_trial_the_week_before_it_is_looked_through(
    vat: Caller,
) -> None:
    score(
        vat, {number: 40 + number % 3 - 8 * (number >= LENGTH) for number in (*range(3, 9), *range(24, 42))}
    )
    trial = begin(vat, "Ten hours", "Six hours")
    for number in (-3, 1):
        change(vat, day(number).isoformat(), "40 L")
    told = {one["day"]: one["in_the_week_of"] for one in result(vat, trial)["meanwhile"]}
    assert told == {day(1).isoformat(): [2]}
    short = begin(vat, "Ten hours", "Six hours", phases=[
        {"setting": "A", "from": at(3, "00:00"), "to": at(21, "00:00")}, {"setting": "B", "from": at(21, "00:00")},
    ])  # fmt: skip
    told = {
        one["day"]: one["in_the_week_of"]
        for one in result(vat, short)["meanwhile"]
        if one["kind"] == "water_change"
    }
    assert told == {day(1).isoformat(): [2]}


def test_fish_that_came_or_a_plant_lost_mid_phase_are_named_and_a_cleaning_is_not(vat: Caller) -> None:
    score(vat, {number: value - 8 * (number >= LENGTH) for number, value in enumerate(noise(2 * LENGTH))})
    trial = begin(vat, "Ten hours", "Six hours")
    made(vat, "species", {"name": "Loach"})
    fish = str(made(vat, "groups", {"species": "loach", "tank": "vat"})["id"])
    made(vat, "stock-entries", {
        "kind": "arrival", "group": fish, "number": 7, "happened_at": at(LENGTH + 11), "source": "A friend",
    })  # fmt: skip
    made(vat, "plant-kinds", {"name": "Moss", "growth_form": "attached"})
    moss = made(vat, "plantings", {
        "kind": "moss", "place": "tanks/vat", "method": "on_wood", "planted_at": at(-30),
    })["id"]  # fmt: skip
    made(vat, "planting-events", {"planting": moss, "kind": "lost", "happened_at": at(LENGTH + 12)})
    made(vat, "journal", {"kind": "cleaning", "place": "tanks/vat", "happened_at": at(8), "words": "Glass."})
    made(vat, "plantings", {
        "kind": "moss", "place": "tanks/vat", "method": "on_wood", "planted_at": at(LENGTH + 11),
    })  # fmt: skip
    planted = day(LENGTH + 11).isoformat()
    came, lost = (day(LENGTH + late).isoformat() for late in (11, 12))
    shown = result(vat, trial)
    assert shown["reading"].endswith(
        f"; also during 'Six hours' only: 7 × Loach came ({came}), Moss planted ({planted}) and a plant lost ({lost})."
    )
    assert "told apart" not in shown["reading"].split("also")[0].rsplit(";", 1)[-1]
    assert {one["kind"]: one["during"] for one in shown["meanwhile"]} == {
        "arrival": 2, "planting": 2, "planting_event": 2, "cleaning": None,
    }  # fmt: skip


def test_what_the_trial_itself_varies_is_not_held_against_it(vat: Caller) -> None:
    score(vat, {number: value - 8 * (number >= LENGTH) for number, value in enumerate(noise(2 * LENGTH))})
    trial = begin(vat, "Twice", "Once", varied="Feedings a day")
    feed(vat, ("granules", "1 g"), since=day(LENGTH).isoformat())
    shown = result(vat, trial)
    (ration,) = shown["meanwhile"]
    assert ration["own"] is True
    assert "in the same week" not in shown["reading"]
    assert any("Taken for what the trial itself varies" in one["text"] for one in shown["assumptions"])


def test_what_goes_on_every_week_sets_no_phase_apart(vat: Caller) -> None:
    score(vat, dict(enumerate(noise(2 * LENGTH))))
    for week in range(6):
        change(vat, day(7 * week + 2).isoformat(), "40 L")
    shown = result(vat, begin(vat, "Ten hours", "Six hours"))
    assert len(shown["meanwhile"]) == 6
    assert all(one["routine"] for one in shown["meanwhile"])
    assert "same week" not in shown["reading"]
    assert any("Went on throughout" in one["text"] for one in shown["assumptions"])


def test_other_systems_and_planned_things_are_no_part_of_it(vat: Caller) -> None:
    score(vat, dict(enumerate(noise(2 * LENGTH))))
    trial = begin(vat, "Ten hours", "Six hours")
    made(vat, "systems", {"name": "Other"})
    made(vat, "tanks", {
        "name": "Far", "system": "other", "use": "display", "water_depth": "40 cm",
        "footprint": {"shape": "rectangle", "length": "100 cm", "width": "50 cm"},
    })  # fmt: skip
    change(vat, day(LENGTH).isoformat(), "40 L", place="tanks/far")
    change(vat, day(LENGTH).isoformat(), "40 L", state="planned")
    assert result(vat, trial)["meanwhile"] == []


def test_flat_is_said_by_what_matters_to_the_keeper(vat: Caller) -> None:
    score(vat, dict(enumerate(noise(2 * LENGTH, spread=1.0))))
    trial = begin(vat, "Ten hours", "Six hours", outcomes=[{"gauge": "vat-algae", "matters": "4 %"}])
    shown = result(vat, trial)
    (outcome,) = shown["outcomes"]
    assert outcome["matters"] == {"difference": 4, "origin": "given"}
    assert outcome["comparisons"][0]["verdict"] == "flat"
    assert "flat, changed by at most" in shown["reading"] and "within the 4.0 points" in shown["reading"]


def test_a_running_phase_counts_up_to_yesterday_and_an_empty_one_is_unknown(vat: Caller) -> None:
    values = noise(72)
    score(vat, dict(enumerate(values)))
    trial = str(made(vat, "trials", {
        "question": "Q", "varied": "Light", "place": "tanks/vat", "outcomes": [{"gauge": "vat-algae"}],
        "phases": [
            {"setting": "A", "from": at(0, "09:00"), "to": at(30, "09:00")},
            {"setting": "B", "from": at(30, "09:00")},
        ],
    })["id"])  # fmt: skip
    shown = result(vat, trial)
    assert [(one["first_day"], one["last_day"]) for one in shown["phases"]] == [
        (day(1).isoformat(), day(29).isoformat()),
        (day(31).isoformat(), "2026-11-24"),
    ]
    assert [one["days"] for one in shown["outcomes"][0]["phases"]] == [29, 41]
    later = str(made(vat, "trials", {
        "question": "Q", "varied": "Light", "place": "tanks/vat", "outcomes": [{"gauge": "vat-algae"}],
        "phases": [{"setting": "A", "from": NOW}, ],
    })["id"])  # fmt: skip
    empty = result(vat, later)
    assert empty["phases"][0]["first_day"] is None
    assert empty["outcomes"][0]["phases"][0]["mean"] is None
    assert "one phase so far" in empty["reading"]


def test_too_few_days_are_said(vat: Caller) -> None:
    score(vat, {3: 40, 5: 41, 9: 39, 25: 30, 30: 31})
    shown = result(vat, begin(vat, "Ten hours", "Six hours"))
    (outcome,) = shown["outcomes"]
    assert outcome["comparisons"][0] | {"words": ""} == {
        "phase": 2, "beside": 1, "difference": None, "difference_low": None, "difference_high": None,
        "verdict": "unknown", "shape": None, "step_odds": None, "step_low": None, "step_high": None,
        "slope_low": None, "slope_high": None, "words": "",
    }  # fmt: skip
    plain = {"name": "Vat clarity", "parameter": "algae_cover", "place": "tanks/vat", "by_hand": True}
    made(vat, "gauges", plain)
    score(vat, {3: 40}, "vat-clarity")
    (bare,) = result(vat, begin(vat, "A", "B", outcomes=[{"gauge": "vat-clarity"}]))["outcomes"]
    assert bare["matters"] == {"difference": None, "origin": "unknown"}
    assert bare["limits"][-1].startswith("Unknown what would count as flat")
    assert "unknown, because 3 and 2 days have a value" in shown["reading"]


@on_both_engines
def test_a_sensors_days_are_weighted_by_time_and_half_days_left_out(vat: Caller) -> None:
    """Six hours at 20 and eighteen at 24 make 23 though readings come as often in both; a day of five hours is no day."""
    made(vat, "gauges", {
        "name": "Vat temperature", "parameter": "temperature", "place": "tanks/vat", "expected_interval": "3 h",
    })  # fmt: skip
    body = []
    for number in range(2 * LENGTH):
        midnight = datetime.combine(day(number), datetime.min.time(), UTC) - timedelta(hours=1)
        hours = range(5) if number == 10 else range(0, 24, 1)
        for hour in hours:
            if number in (9, 11) or hour % 2 == 0:
                body.append({
                    "gauge": "vat-temperature", "value": 20 if hour < 6 else 24,
                    "at": (midnight + timedelta(hours=hour)).isoformat(),
                })  # fmt: skip
    answered = vat.post("/v1/readings", {"readings": body})
    assert answered.status_code == 200, answered.get_data(as_text=True)
    shown = result(vat, begin(vat, "A", "B", outcomes=[{"gauge": "vat-temperature"}]))
    (outcome,) = shown["outcomes"]
    assert [one["days"] for one in outcome["phases"]] == [17, 18]
    # Lines between readings: up from 20 to 24 within two hours, down again at midnight.
    assert outcome["phases"][1]["mean"] == pytest.approx((20 * 4 + 22 * 2 + 24 * 16 + 22 * 2) / 24, abs=0.02)
    assert "Days left out, because readings cover less than 50 % of them: 1." in outcome["limits"]


def test_a_median_is_compared_where_asked(vat: Caller) -> None:
    values = noise(2 * LENGTH)
    values[30] = 95.0
    score(vat, dict(enumerate(values)))
    trial = begin(vat, "A", "B")
    by_mean, by_median = result(vat, trial), result(vat, trial, "?of=median")
    assert (by_mean["of"], by_median["of"]) == ("mean", "median")
    expected = statistics.median(values[24:42]) - statistics.median(values[3:21])
    found = by_median["outcomes"][0]["comparisons"][0]
    assert found["difference"] == pytest.approx(expected, abs=3e-3)
    assert found["difference"] < by_mean["outcomes"][0]["comparisons"][0]["difference"]


def test_the_table_has_a_row_for_each_phase_of_each_outcome(vat: Caller) -> None:
    score(vat, {number: value - 8 * (number >= LENGTH) for number, value in enumerate(noise(2 * LENGTH))})
    trial = begin(vat, "=Ten hours", "Six hours")
    answered = vat.get(f"/v1/trials/{trial}/result?format=csv")
    assert answered.status_code == 200 and answered.content_type.startswith("text/csv")
    first, second = csv.DictReader(io.StringIO(answered.get_data(as_text=True)))
    assert first["gauge"] == "vat-algae" and first["setting"] == "'=Ten hours"
    assert (first["verdict"], second["verdict"], second["beside"]) == ("", "lower", "1")
    shown = result(vat, trial)["outcomes"][0]
    assert float(second["difference_low"]) == shown["comparisons"][0]["difference_low"]
    assert float(second["trend_a_week"]) == shown["phases"][1]["trend_a_week"]
    assert (first["unit"], first["days"], first["first_day"]) == ("%", "18", "2026-09-10")


def test_tests_that_tell_only_a_bound_are_counted_among_the_limits(vat: Caller) -> None:
    score(vat, dict(enumerate(noise(2 * LENGTH - 1))))
    vat.post("/v1/readings", {"gauge": "vat-algae", "value": "<5", "at": at(2 * LENGTH - 1)})
    limits = result(vat, begin(vat, "A", "B"))["outcomes"][0]["limits"]
    assert any(limit.startswith("Readings that say only below, above or between: 1.") for limit in limits)


def test_the_same_question_always_gets_the_same_answer(vat: Caller) -> None:
    score(vat, dict(enumerate(noise(2 * LENGTH))))
    trial = begin(vat, "A", "B")
    assert result(vat, trial) == result(vat, trial)


def test_bad_questions_are_refused(vat: Caller, caller: Any) -> None:
    trial = begin(vat, "A", "B")
    missing = vat.get("/v1/trials/01936c5e-8f00-7000-8000-00000000ffff/result")
    assert missing.status_code == 404 and "GET /v1/trials" in missing.get_json()["detail"]
    assert vat.get("/v1/trials/nonsense/result").status_code == 404
    assert vat.get(f"/v1/trials/{trial}/result?of=mode").status_code == 422
    long = str(made(vat, "trials", {
        "question": "Q", "varied": "V", "place": "tanks/vat", "outcomes": [{"gauge": "vat-algae"}],
        "phases": [{"setting": "A", "from": "2020-01-01T00:00:00Z"}],
    })["id"])  # fmt: skip
    refused = vat.get(f"/v1/trials/{long}/result")
    assert refused.status_code == 422 and "731 at most" in refused.get_json()["detail"]
    viewer, sensor = caller("viewer"), caller("sensor", gauges=["vat-algae"])
    assert viewer.get(f"/v1/trials/{trial}/result").status_code == 200
    assert sensor.get(f"/v1/trials/{trial}/result").status_code == 403


def test_a_trial_of_the_room_says_that_what_else_changed_is_unknown(vat: Caller) -> None:
    made(
        vat, "gauges", {"name": "Room air", "parameter": "air_temperature", "place": "room", "by_hand": True}
    )
    trial = begin(vat, "A", "B", place="room", outcomes=[{"gauge": "room-air"}])
    shown = result(vat, trial)
    assert any(one["text"].startswith("What else changed is unknown") for one in shown["assumptions"])
