"""How settled a system is: by its age, its tests, its scatter, its losses and its algae, never surer than the record."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from harness import Caller, made, on_both_engines, pointers
from scipy.stats import median_abs_deviation, theilslopes
from timeline_scenes import another_system, by_hand, group, path, says, stock
from water_scenes import NOW, stop_the_clock

from weirbook.engine.times import instant_ms, instant_text

DAY_MS = 86_400_000


@pytest.fixture(autouse=True)
def _on_a_wednesday(monkeypatch: pytest.MonkeyPatch) -> None:
    stop_the_clock(monkeypatch)


def days_ago(days: float) -> str:
    return instant_text(instant_ms(NOW) - round(days * DAY_MS))


def set_up(keeper: Caller, days: int, **said: Any) -> None:
    answered = keeper.patch("/v1/tanks/nursery", {"set_up_on": days_ago(days)[:10], **said})
    assert answered.status_code == 200, answered.get_data(as_text=True)


def clean_tests(keeper: Caller, *days: int) -> None:
    """Ammonia and nitrite below what the tests show, so many days ago."""
    for parameter in ("total_ammonia", "nitrite"):
        by_hand(keeper, parameter, *[(days_ago(day)[:10], "<0.05") for day in days or (21, 14, 7)])


def asked(keeper: Caller) -> dict[str, Any]:
    found: dict[str, Any] = path(keeper, "systems/rill/maturity")
    return found


def criterion(found: dict[str, Any], name: str) -> dict[str, Any]:
    (one,) = [each for each in found["criteria"] if each["name"] == name]
    return one


@pytest.mark.parametrize(
    ("days", "verdict"), [(5, "young"), (90, "young"), (91, "half-way"), (181, "half-way"), (182, "steady")]
)
def test_the_stages_are_half_way_at_three_months_and_steady_at_six(
    furnished: Caller, days: int, verdict: str
) -> None:
    """13 and 26 weeks: common practice, no source."""
    set_up(furnished, days)
    clean_tests(furnished)
    found = asked(furnished)
    assert found["verdict"] == verdict
    assert found["weeks_since_set_up"] == found["weeks_counted"] == round(days / 7, 1)
    assert [one["from_weeks"] for one in found["stages"]] == [0, 13, 26]


@on_both_engines
def test_what_nobody_recorded_is_unknown(furnished: Caller) -> None:
    found = asked(furnished)
    assert (found["verdict"], found["set_up_on"], found["weeks_counted"]) == ("unknown", None, None)
    assert {one["state"] for one in found["criteria"]} == {"unknown"}
    assert len(found["missing"]) == len(found["criteria"])


@pytest.mark.parametrize("tests", [(), (60, 50, 40), (14, 7)])
def test_an_old_system_whose_water_is_not_tested_is_never_called_steady(
    furnished: Caller, tests: tuple[int, ...]
) -> None:
    """Never, too long ago, or too few times."""
    set_up(furnished, 400)
    if tests:
        clean_tests(furnished, *tests)
    found = asked(furnished)
    assert found["verdict"] == "unknown"
    assert "total ammonia and nitrite can't be judged" in found["reasons"][-1]


@pytest.mark.parametrize(
    ("last", "state"),
    [("<0.3", "met"), (0.32, "met"), (0.33, "not met"), ("<0.5", "unknown"), ("0.1..0.5", "unknown")],
)
def test_ammonia_is_judged_in_its_own_form_and_by_both_ends_of_a_test(
    furnished: Caller, last: Any, state: str
) -> None:
    """0.25 mg/L of nitrogen are 0.3220 mg/L NH4, by the masses 14.007 and 18.039 (IUPAC)."""
    gauge = {
        "name": "Kit",
        "parameter": "total_ammonia",
        "place": "tanks/nursery",
        "by_hand": True,
        "unit": "mg/L NH4",
    }
    made(furnished, "gauges", gauge)
    says(furnished, "kit", (days_ago(20), 0.1), (days_ago(13), 0.1), (days_ago(6), last))
    assert criterion(asked(furnished), "total_ammonia")["state"] == state


def test_ammonia_is_told_with_the_day_since_which_it_is_gone(furnished: Caller) -> None:
    rows = [(60, 1.5), (50, 0.1), (40, 0.5), (30, 0.1), (20, 0), (10, 0.1)]
    by_hand(furnished, "total_ammonia", *[(days_ago(day)[:10], value) for day, value in rows])
    one = criterion(asked(furnished), "total_ammonia")
    assert one["words"] == f"No more than 0.25 mg/L NH3-N since {days_ago(30)[:10]}, 3 tests."


def test_nitrite_in_an_old_system_unsettles_it(furnished: Caller) -> None:
    set_up(furnished, 400)
    clean_tests(furnished)
    assert asked(furnished)["verdict"] == "steady"
    by_hand(furnished, "nitrite", (days_ago(2)[:10], 1.2))
    found = asked(furnished)
    assert found["verdict"] == "unsettled again"
    assert any("1 of the last 3 tests found more than 0.25 mg/L NO2." in one for one in found["reasons"])


def test_a_reset_begins_the_weeks_anew(furnished: Caller) -> None:
    set_up(furnished, 1000, last_reset_on=days_ago(21)[:10])
    clean_tests(furnished)
    found = asked(furnished)
    assert (found["verdict"], found["weeks_since_reset"], found["weeks_counted"]) == ("young", 3, 3)
    assert f"Counted from its reset on {days_ago(21)[:10]}." in found["reasons"]


@pytest.mark.parametrize(
    ("tag", "age", "ago", "counted"),
    # Half of its weeks are kept, 13 at most: 50 weeks leave 13, 8 leave 4; then the weeks since.
    [("dry-spell", 364, 14, 15), ("new-substrate", 364, 14, 15), ("new-substrate", 70, 14, 6)],
)
def test_a_new_substrate_and_a_dry_spell_set_it_back(
    furnished: Caller, tag: str, age: int, ago: int, counted: float
) -> None:
    set_up(furnished, age)
    entry = {"place": "tanks/nursery", "words": "Done", "tags": [tag], "happened_at": days_ago(ago)}
    made(furnished, "journal", entry)
    found = asked(furnished)
    assert found["weeks_counted"] == counted
    assert found["weeks_since_set_up"] == age / 7
    assert any(one.startswith(f"Set back on {days_ago(ago)[:10]} by") for one in found["reasons"])


@pytest.mark.parametrize(
    ("disinfected", "ago", "verdict"),
    [(None, 90, "steady"), ("Boiled", 90, "half-way"), (None, 30, "half-way")],
)
def test_old_media_moved_across_at_the_start_shorten_the_way(
    furnished: Caller, disinfected: str | None, ago: int, verdict: str
) -> None:
    """Fourteen weeks old. By our choice the weeks are halved where media came alive within four weeks of the start."""
    another_system(furnished)
    set_up(furnished, 98)
    clean_tests(furnished)
    media = {"what": "media", "from_place": "tanks/far-tank", "to_place": "sections/rack-return-1"}
    made(furnished, "transfers", {**media, "disinfected": disinfected, "moved_at": days_ago(ago)})
    assert asked(furnished)["verdict"] == verdict


def test_a_tag_of_the_journal_tells_the_set_up_where_no_tank_does(furnished: Caller) -> None:
    entry = {"place": "systems/rill", "words": "First water", "tags": ["set-up"], "happened_at": days_ago(70)}
    made(furnished, "journal", entry)
    made(furnished, "journal", {**entry, "words": "Elsewhere", "place": "room", "happened_at": days_ago(700)})
    found = asked(furnished)
    assert (found["set_up_on"], found["weeks_since_set_up"]) == (days_ago(70)[:10], 10)
    assert [one["what"] for one in found["events"]] == ["set-up"]


def test_losses_are_told_per_thousand_fish_days_beside_the_time_before(furnished: Caller) -> None:
    """Ten fish for 100 days, two of them lost 28 days ago: 44 x 10 fish-days before, 28 x 10 + 28 x 8 in the last 56."""
    fish = group(furnished)
    stock(furnished, "arrival", fish, 10, days_ago(100))
    stock(furnished, "loss", fish, 2, days_ago(28), cause="unknown")
    stock(furnished, "loss", fish, 1, days_ago(0.001), cause="jumped")  # tells nothing of the water
    one = criterion(asked(furnished), "losses")
    assert one["value"] == f"{1000 * 2 / 504:.3g} per 1000 fish-days"
    assert (
        "2 died of what may lie in the water in 504 fish-days of the last 56 days; 0 in 440 before"
        in one["words"]
    )
    assert one["state"] == "met"


def test_losses_that_rose_unsettle_a_system_and_those_of_another_do_not(furnished: Caller) -> None:
    """0 in 100 x 40 fish-days before, 12 in less than 56 x 40: the exact test tells them apart at any usual level."""
    another_system(furnished)
    set_up(furnished, 400)
    clean_tests(furnished)
    far, fish = group(furnished, "far-tank"), group(furnished)
    for one in (far, fish):
        stock(furnished, "arrival", one, 40, days_ago(156))
    stock(furnished, "loss", far, 12, days_ago(10), cause="unknown")
    assert asked(furnished)["verdict"] == "steady"
    stock(furnished, "loss", fish, 12, days_ago(10), cause="unknown")
    found = asked(furnished)
    assert (found["verdict"], criterion(found, "losses")["state"]) == ("unsettled again", "not met")


def test_the_scatter_of_four_weeks_is_set_beside_that_of_the_blocks_before(furnished: Caller) -> None:
    """Held to SciPy's scaled median absolute deviation."""
    calm, restless = [7.0, 7.1, 6.9, 7.2], [6.4, 7.4, 6.0, 7.8]
    rows = [(days_ago(54 - 5 * index)[:10], value) for index, value in enumerate(calm)]
    rows += [(days_ago(24 - 5 * index)[:10], value) for index, value in enumerate(restless)]
    by_hand(furnished, "ph", *rows)
    one = criterion(asked(furnished), "scatter of pH")
    now, before = (float(median_abs_deviation(some, scale="normal")) for some in (restless, calm))
    assert one["value"] == f"± {now:.2g} pH"
    assert f"± {before:.2g} pH in the block of four weeks before." in one["words"]
    assert one["state"] == "not met"


def test_scatter_is_told_no_finer_than_the_gauge_can_read(furnished: Caller) -> None:
    """Read by hundredths: a scatter of 0.0148 is 0.015, one of 0.0007 lies below a tenth of a step."""
    gauge = {
        "name": "Probe",
        "parameter": "ph",
        "place": "tanks/nursery",
        "resolution": 0.01,
        "by_hand": True,
    }
    made(furnished, "gauges", gauge)
    rows = [(54, 7.0), (49, 7.01), (44, 7.02), (39, 7.03), (24, 7.0), (19, 7.001), (14, 7.0), (9, 7.001)]
    body = [{"gauge": "probe", "value": value, "at": days_ago(day)} for day, value in rows]
    assert furnished.post("/v1/readings", {"readings": body}).get_json()["refused"] == 0
    one = criterion(asked(furnished), "scatter of pH")
    assert one["value"] == "± less than 0.001 pH"
    assert "± 0.015 pH in the block of four weeks before." in one["words"]


def test_algae_scored_once_is_said_so(furnished: Caller) -> None:
    assert "algae cover was never scored in the last" in criterion(asked(furnished), "algae")["words"]
    by_hand(furnished, "algae_cover", (days_ago(5)[:10], 20))
    assert "algae cover was scored once in the last" in criterion(asked(furnished), "algae")["words"]


def test_scatter_alone_of_one_parameter_does_not_unsettle_a_system(furnished: Caller) -> None:
    set_up(furnished, 400)
    clean_tests(furnished)
    rows = [(54, 7.0), (49, 7.1), (44, 6.9), (39, 7.2), (24, 6.4), (19, 7.4), (14, 6.0), (9, 7.8)]
    by_hand(furnished, "ph", *[(days_ago(day)[:10], value) for day, value in rows])
    found = asked(furnished)
    assert (found["verdict"], criterion(found, "scatter of pH")["state"]) == ("steady", "not met")
    alkalinity = [(day, 6 + 4 * (value - 7)) for day, value in rows]
    by_hand(furnished, "alkalinity", *[(days_ago(day)[:10], value) for day, value in alkalinity])
    assert asked(furnished)["verdict"] == "unsettled again"


@pytest.mark.parametrize(
    ("scores", "state"),
    [((5, 9, 14, 20, 24, 31, 35, 41), "not met"), ((20, 22, 18, 21, 19, 20, 22, 19), "met")],
)
def test_algae_that_rise_are_told_apart_from_algae_that_stay(
    furnished: Caller, scores: tuple[int, ...], state: str
) -> None:
    """Slope a week held to SciPy's theilslopes."""
    by_hand(
        furnished,
        "algae_cover",
        *[(days_ago(60 - 7 * week)[:10], value) for week, value in enumerate(scores)],
    )
    one = criterion(asked(furnished), "algae")
    assert one["state"] == state
    assert one["value"] == f"{float(f'{theilslopes(scores).slope:.3g}'):g} % a week"


def test_each_paper_is_a_source_of_its_own(furnished: Caller) -> None:
    sources = furnished.get("/v1/systems/rill/maturity").get_json()["sources"]
    papers = {(one["author"], one["year"]) for one in sources if "from memory" in one["note"]}
    assert papers == {("Mann, H. B.", 1945), ("Sen, P. K.", 1968), ("Przyborowski, J.; Wilenski, H.", 1940)}


def test_it_comes_as_a_table(furnished: Caller) -> None:
    set_up(furnished, 400)
    table = furnished.get("/v1/systems/rill/maturity?format=csv").get_data(as_text=True)
    rows = list(csv.DictReader(io.StringIO(table)))
    assert [row["name"] for row in rows][:3] == ["age", "total_ammonia", "nitrite"]
    assert {row["verdict"] for row in rows} == {"unknown"}


def test_an_unknown_system_and_an_unknown_word_are_refused(furnished: Caller) -> None:
    assert furnished.get("/v1/systems/nowhere/maturity").status_code == 404
    assert pointers(furnished.get("/v1/systems/rill/maturity?days=0")) == ["/days"]
