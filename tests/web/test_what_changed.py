"""What came before a trouble: ranked by kind, rarity and nearness, with reasons, and never called a cause."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pytest
from harness import Caller, made, on_both_engines, pointers
from scipy.stats import median_abs_deviation
from timeline_scenes import another_system, by_hand, contact, empty_the_log, group, path, says, stock
from water_scenes import stop_the_clock

from weirbook.actions.suspect_weights import WEIGHTS
from weirbook.app import Service
from weirbook.engine.times import instant_ms, instant_text

TROUBLE = "2026-11-24T08:00:00Z"
DAY_MS = 86_400_000


@pytest.fixture(autouse=True)
def _on_a_wednesday(app: Service, furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    """25 November 2026, 18:00; what tests enter was entered in January, and furniture before there was a log."""
    stop_the_clock(monkeypatch)
    empty_the_log(app)
    monkeypatch.setattr("weirbook.record.changes.now_ms", lambda: instant_ms("2026-01-05T10:00:00Z"))


def asked(keeper: Caller, system: str = "rill", **query: str) -> dict[str, Any]:
    said = {"before": TROUBLE, **query}
    found: dict[str, Any] = path(
        keeper,
        f"systems/{system}/what-changed?" + "&".join(f"{name}={value}" for name, value in said.items()),
    )
    return found


def suspect(found: dict[str, Any], aspect: str) -> dict[str, Any]:
    (one,) = [each for each in found["suspects"] if each["aspect"] == aspect]
    return one


def aspects(found: dict[str, Any]) -> list[str]:
    return [one["aspect"] for one in found["suspects"]]


def days_before(days: float) -> str:
    return instant_text(instant_ms(TROUBLE) - round(days * DAY_MS))


def weekly_water_changes(keeper: Caller, litres: float = 30, last: int = 7) -> None:
    """Weekly, for a quarter of a year, the last so many days before the trouble."""
    for week in range(13):
        change = {
            "place": "systems/rill",
            "volume": f"{litres} L",
            "changed_at": days_before(last + 7 * week),
        }
        made(keeper, "water-changes", change)


def killifish_on_the_floor(keeper: Caller) -> None:
    """Ten months of a lid opened twice a day to feed; then two nights open, three fish on the floor. Meanwhile fish arrived
    in another system, and a bottle of plant feed was given as every week."""
    another_system(keeper)
    contact(keeper, "Lid", "lid_open")
    rows: list[tuple[str, Any]] = []
    for day in range(300, 8, -3):
        opened = instant_ms(days_before(day))
        rows += [(instant_text(opened), "on"), (instant_text(opened + 240_000), "off")]
    for day in (5, 3):
        opened = instant_ms(days_before(day)) - 10 * 3_600_000
        rows += [(instant_text(opened), "on"), (instant_text(opened + 9 * 3_600_000), "off")]
    says(keeper, "lid", *rows)
    made(keeper, "products", {"name": "Bottle"})
    for week in range(12):
        made(
            keeper,
            "doses",
            {
                "place": "systems/rill",
                "product": "bottle",
                "volume": "5 mL",
                "dosed_at": days_before(2 + 7 * week),
            },
        )
    weekly_water_changes(keeper)
    fish, far = group(keeper), group(keeper, "far-tank", "Danio")
    stock(keeper, "arrival", fish, 12, days_before(250))
    for day, number in ((4.9, 1), (2.9, 2)):
        stock(keeper, "loss", fish, number, days_before(day), cause="jumped", evidence="On the floor, dry")
    stock(keeper, "arrival", far, 20, days_before(6), source="A dealer")


@on_both_engines
def test_killifish_on_the_floor_lead_to_the_lid_and_not_to_an_arrival_next_door(furnished: Caller) -> None:
    killifish_on_the_floor(furnished)
    found = asked(furnished)
    first = found["suspects"][0]
    assert first["aspect"] == "lid open"
    assert first["words"].startswith("2 times, 18 h in all; the last: The lid was open for 9 h.")
    usually = "longer than ever before: the longest was 9 h; usually 4 min, the longest before 4 min (of 93)"
    assert usually in first["reasons"]
    assert "5 more in these days are not out of the way" in first["reasons"]
    assert "goes with the cause recorded for the losses (jumped)" in first["reasons"]
    assert "began before all the losses entered in these days" in first["reasons"]
    assert [one["words"] for one in found["losses"]] == [
        "1 × Killifish died. Cause: jumped. On the floor, dry.",
        "2 × Killifish died. Cause: jumped. On the floor, dry.",
    ]
    assert found["says"] == [
        "First to look at: lid open at tanks/nursery, twice, 18 h in all; it came before both losses entered."
    ]
    assert "Heads of the system did not rise, by its ledger." in found["quiet"]
    assert "fish that came in" not in aspects(found)
    assert "Danio" not in json.dumps(found)
    assert "No fish came in, by arrival, by a move or with a tank." in found["quiet"]
    # What is done every week stands under quiet, with how it usually is.
    assert any(one.startswith("Water change: 2 times") for one in found["quiet"]), found["quiet"]
    assert any(one.startswith("Dose: 3 times") for one in found["quiet"]), found["quiet"]


def test_it_never_speaks_of_causes_of_its_own(furnished: Caller) -> None:
    killifish_on_the_floor(furnished)
    words = json.dumps(asked(furnished)).lower()
    assert "caused" not in words
    assert "because of" not in words
    assert "came before" in words


def test_every_score_is_the_product_of_its_factors_and_they_fall(furnished: Caller) -> None:
    killifish_on_the_floor(furnished)
    found = asked(furnished)
    scores = [one["score"] for one in found["suspects"]]
    assert scores == sorted(scores, reverse=True)
    assert [one["rank"] for one in found["suspects"]] == list(range(1, len(scores) + 1))
    weights = {one["aspect"]: one["weight"] for one in found["weights"]}
    for one in found["suspects"]:
        product = 1.0
        for factor in one["factors"].values():
            product *= factor
        assert one["score"] == pytest.approx(product, rel=0.02)
        assert one["factors"]["weight"] == weights[one["aspect"]]
        assert one["reasons"]
    # The lid's contact was entered on 5 January at 10:00; the look begins on 3 November at 8:00.
    assert found["history_days"] == pytest.approx(302 - 2 / 24, abs=0.1)


def test_every_weight_is_told_and_lies_within_its_scale(furnished: Caller) -> None:
    told = asked(furnished)["weights"]
    assert {one["aspect"] for one in told} == set(WEIGHTS)
    assert all(0 < one["weight"] <= 10 and one["days"] > 0 for one in told)


def test_the_nearer_of_two_alike_comes_first_and_by_halves(furnished: Caller) -> None:
    """A change in the journal shows within ten days: one of twenty days before weighs half of one of two days before."""
    weekly_water_changes(furnished)
    for day, what in ((20, "Far lamp"), (2, "Near lamp")):
        entry = {"place": "systems/rill", "kind": "change", "words": what, "changed": {"what": what}}
        made(furnished, "journal", {**entry, "happened_at": days_before(day)})
    near, far = [one for one in asked(furnished)["suspects"] if one["kind"] == "change"]
    assert "Near lamp" in near["words"]
    assert (near["factors"]["near"], far["factors"]["near"]) == (1, 0.5)
    assert near["score"] == pytest.approx(2 * far["score"])


def test_what_came_only_after_the_losses_weighs_little(furnished: Caller) -> None:
    weekly_water_changes(furnished)
    fish = group(furnished)
    stock(furnished, "arrival", fish, 5, days_before(100))
    stock(furnished, "loss", fish, 1, days_before(5), cause="unknown")
    for day in (9, 1):
        entry = {"place": "systems/rill", "kind": "change", "words": f"{day}", "changed": {"what": "Lamp"}}
        made(furnished, "journal", {**entry, "happened_at": days_before(day)})
    first, second = [one for one in asked(furnished)["suspects"] if one["kind"] == "change"]
    assert (first["factors"]["order"], second["factors"]["order"]) == (1, 0.25)
    assert "began only after the losses of these days" in second["reasons"]


def test_a_large_water_change_stands_out_and_a_usual_one_does_not(furnished: Caller) -> None:
    weekly_water_changes(furnished)
    assert "water change" not in aspects(asked(furnished))
    made(
        furnished, "water-changes", {"place": "systems/rill", "volume": "150 L", "changed_at": days_before(3)}
    )
    one = suspect(asked(furnished), "water change")
    assert one["factors"]["unusual"] >= 2
    assert any("5 times the usual" in reason and "150 L" in reason for reason in one["reasons"])


def test_another_water_than_ever_before_stands_out(furnished: Caller) -> None:
    for name in ("Rain", "Tap"):
        made(furnished, "source-waters", {"name": name, "kind": name.lower()})
    for week in range(12):
        change = {"place": "systems/rill", "volume": "30 L", "source": "rain" if week else "tap"}
        made(furnished, "water-changes", {**change, "changed_at": days_before(2 + 7 * week)})
    one = suspect(asked(furnished), "water change")
    assert any(reason == "with tap, which was never used before; else rain" for reason in one["reasons"])


@pytest.mark.parametrize(("last", "missed"), [(13, False), (15, True)])
def test_a_water_change_that_did_not_come_is_missed(furnished: Caller, last: int, missed: bool) -> None:
    """Seven days between changes: after twice as long it was left out."""
    weekly_water_changes(furnished, last=last)
    found = asked(furnished)
    assert ("water change left out" in aspects(found)) is missed
    if missed:
        words = "No water was changed for 15 days; usually every 7 days."
        assert suspect(found, "water change left out")["words"] == words


def test_more_food_and_a_new_food_stand_out(furnished: Caller) -> None:
    for name in ("Flakes", "Pellets"):
        made(furnished, "feeds", {"name": name})

    def fed(day: float, *foods: tuple[str, str]) -> None:
        rows = [{"feed": name, "amount": amount} for name, amount in foods]
        made(furnished, "rations", {"tank": "nursery", "valid_from": days_before(day), "feeds": rows})

    fed(200, ("flakes", "1 g"))
    assert "The rations stayed as they were." in asked(furnished)["quiet"]
    fed(6, ("flakes", "1 g"), ("pellets", "1.5 g"))
    one = suspect(asked(furnished), "ration")
    assert one["factors"]["unusual"] == 2
    assert "2.5 times the food of before; never fed there before: pellets" in one["reasons"]


def test_a_dose_never_given_before_and_a_treatment_stand_out(furnished: Caller) -> None:
    weekly_water_changes(furnished)
    made(furnished, "products", {"name": "Cure", "kind": "treatment"})
    made(
        furnished,
        "doses",
        {"place": "tanks/nursery", "product": "cure", "volume": "8 mL", "dosed_at": days_before(2)},
    )
    one = suspect(asked(furnished), "treatment dosed")
    assert one["factors"]["unusual"] == 3
    assert any(reason.startswith("never in the") for reason in one["reasons"])


def test_an_arrival_straight_in_weighs_more_than_one_into_an_empty_tank(furnished: Caller) -> None:
    weekly_water_changes(furnished)
    fish = group(furnished)
    stock(furnished, "arrival", fish, 6, days_before(15))
    assert aspects(asked(furnished))[0] == "fish that came in"
    newcomers = group(furnished, species="Danio")
    stock(furnished, "arrival", newcomers, 4, days_before(9), source="A dealer")
    found = asked(furnished)
    assert aspects(found)[0] == "fish straight into stocked water"
    assert "Straight into water that other fish live in." in found["suspects"][0]["words"]


def test_many_births_before_a_loss_are_more_fish(furnished: Caller) -> None:
    """132 heads, 47 births and 2 that came: 179 and 181; two died five days after the births."""
    weekly_water_changes(furnished)
    fish = group(furnished)
    stock(furnished, "arrival", fish, 132, days_before(200))
    assert "Heads of the system did not rise, by its ledger." in asked(furnished)["quiet"]
    stock(furnished, "birth", fish, 47, days_before(9))
    stock(furnished, "loss", fish, 2, days_before(4), cause="water")
    found = asked(furnished)
    one = suspect(found, "more fish")
    assert one["words"] == "47 × Killifish were born; heads of the system from 132 to 179."
    assert "5 d before a loss was entered" in one["reasons"]
    assert "goes with the cause recorded for the losses (water)" in one["reasons"]
    assert "1.4 times the heads of before" in one["reasons"]
    assert (one["factors"]["unusual"], one["factors"]["fits"], one["times"]) == (2, 1.5, 1)
    assert not any("did not rise" in sentence for sentence in found["quiet"])
    assert found["says"][0] == (
        f"First to look at: more fish at tanks/nursery, {days_before(9)[:10]} 08:00, heads from 132 to"
        " 179; it came before the loss entered."
    )
    stock(furnished, "arrival", group(furnished, species="Danio"), 4, days_before(7))
    again = suspect(asked(furnished), "more fish")
    assert (again["times"], again["words"].split(":")[0]) == (
        2, "Heads of the system from 132 to 183, by 2 lines of the ledger; the last",
    )  # fmt: skip


def test_births_that_losses_outweigh_are_no_more_fish_and_a_few_are_nothing_odd(furnished: Caller) -> None:
    weekly_water_changes(furnished)
    fish = group(furnished)
    stock(furnished, "arrival", fish, 100, days_before(200))
    stock(furnished, "birth", fish, 3, days_before(12))
    assert suspect(asked(furnished), "more fish")["factors"]["unusual"] == 1
    stock(furnished, "departure", fish, 20, days_before(11))
    stock(furnished, "birth", fish, 1, days_before(10))
    found = asked(furnished)
    assert "more fish" not in aspects(found)
    assert "Heads of the system did not rise, by its ledger." in found["quiet"]


@pytest.mark.parametrize(
    ("losses", "query", "words"),
    [
        ((18, 11, 4), "days=40", "The first of the losses (2026-11-06) lies near the start of these days"),
        ((30, 18, 4), "days=55", "The losses began earlier (2026-10-25)"),
        ((60, 13, 4), None, ""),  # seven weeks apart: another trouble
        ((13, 4), None, ""),
        ((110, 90, 70, 50, 30, 15), "before=2026-08-06T08:00:00Z", "The losses began earlier (2026-08-06)"),
    ],
)
def test_losses_that_began_earlier_are_asked_for_again(
    furnished: Caller, losses: tuple[int, ...], query: str | None, words: str
) -> None:
    fish = group(furnished)
    stock(furnished, "arrival", fish, 30, days_before(200))
    for day in losses:
        stock(furnished, "loss", fish, 1, days_before(day), cause="unknown")
    told = asked(furnished)["says"]
    assert told[1:] == ([] if query is None else [f"{words}: ask with {query}."])


def test_what_began_only_after_the_losses_is_said_to_have_done_so(furnished: Caller) -> None:
    fish = group(furnished)
    stock(furnished, "arrival", fish, 12, days_before(250))
    for day in (12, 6, 5):
        stock(furnished, "loss", fish, 1, days_before(day), cause="unknown")
    assert asked(furnished)["says"] == [
        "Nothing in the record of these days is a suspect: see what is unknown."
    ]
    entry = {"place": "systems/rill", "kind": "cleaning", "words": "Glass"}
    made(furnished, "journal", {**entry, "happened_at": days_before(2)})
    (late,) = asked(furnished)["says"]
    assert late.endswith("; but it began only after the losses entered.")
    made(furnished, "journal", {**entry, "happened_at": days_before(8)})
    (some,) = asked(furnished)["says"]
    assert (
        some == "First to look at: cleaning at systems/rill, twice; it came before 2 of the 3 losses entered."
    )


def test_a_quarantine_released_early_weighs_more_than_one_that_was_served(furnished: Caller) -> None:
    weekly_water_changes(furnished)
    stay = {"tank": "nursery", "planned_days": 30, "started_at": days_before(30)}
    early = made(furnished, "quarantines", stay)["id"]
    release = {"at": days_before(8), "reason": "The tank is needed"}
    assert furnished.post(f"/v1/quarantines/{early}/release", release).status_code in (200, 201)
    assert aspects(asked(furnished))[0] == "quarantine released early"


def test_a_task_skipped_that_is_usually_done_stands_out(furnished: Caller) -> None:
    task = {
        "title": "Close the lid",
        "about": "tanks/nursery",
        "schedule": {"kind": "calendar", "rule": "FREQ=DAILY", "start": "2026-10-26T10:00"},
        "effective_at": "2026-10-25T00:00:00Z",
    }
    close = made(furnished, "tasks", task)["id"]
    first = instant_ms("2026-10-26T10:00:00Z")
    for day in range(29):
        at = first + day * DAY_MS
        outcome = "skipped" if day == 26 else "done"
        name = instant_text(at)[:11] + "10:00"
        tick = {"occurrence": name, "outcome": outcome, "done_at": instant_text(at + 2 * 3_600_000)}
        made(furnished, f"tasks/{close}/completions", tick)
    one = suspect(asked(furnished), "task not done")
    assert one["words"] == "Skipped: Close the lid."
    assert any(reason == "before, it was done 8 of 8 times" for reason in one["reasons"])
    assert one["factors"]["unusual"] == 2


def test_power_and_pumps_that_failed_come_before_small_things(furnished: Caller) -> None:
    weekly_water_changes(furnished)
    contact(furnished, "Mains", "mains_present", "room")
    says(
        furnished,
        "mains",
        (days_before(200), "on"),
        (days_before(2), "off"),
        (instant_text(instant_ms(days_before(2)) + 4 * 3_600_000), "on"),
    )
    made(
        furnished,
        "journal",
        {"place": "systems/rill", "kind": "cleaning", "words": "Glass", "happened_at": days_before(1)},
    )
    assert aspects(asked(furnished))[0] == "mains away"


def test_equipment_that_was_touched_is_a_suspect_at_the_time_of_the_edit(
    furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    weekly_water_changes(furnished)
    monkeypatch.setattr("weirbook.record.changes.now_ms", lambda: instant_ms(days_before(4)))
    assert furnished.patch("/v1/pumps/rack-pump", {"rated_flow": "300 gal/h"}).status_code == 200
    found = asked(furnished)
    one = suspect(found, "equipment edited")
    assert (one["at"], one["who"]) == (days_before(4), "keeper")
    assert not any(sentence.startswith("No change of equipment") for sentence in found["quiet"])


def test_a_short_record_says_that_it_is_too_short(furnished: Caller) -> None:
    entry = {"place": "systems/rill", "kind": "change", "words": "Lamp", "changed": {"what": "Lamp"}}
    made(furnished, "journal", {**entry, "happened_at": days_before(3)})
    found = asked(furnished)
    one = suspect(found, "change in the journal")
    assert found["history_days"] == 0
    assert one["factors"]["unusual"] == 1.5
    assert any(reason.startswith("too little history") for reason in one["reasons"])
    assert any(sentence.startswith("What is usual here: 0 days") for sentence in found["unknown"])


def test_readings_that_moved_are_told_beside_what_was_usual(furnished: Caller) -> None:
    """Held to SciPy: the middle and scaled median absolute deviation of the tests before."""
    before = [10, 11, 9, 10, 12, 10, 11, 9]
    rows = [(days_before(28 + 7 * week)[:10], value) for week, value in enumerate(before)]
    by_hand(furnished, "nitrate", *rows)
    by_hand(furnished, "ph", *[(days_before(28 + 7 * week)[:10], 7.2) for week in range(8)])
    by_hand(furnished, "nitrate", (days_before(5)[:10], 25))
    by_hand(furnished, "ph", (days_before(5)[:10], 7.2))
    by_hand(furnished, "phosphate", (days_before(5)[:10], 1))
    found = asked(furnished)
    (one,) = found["moved"]
    spread = float(median_abs_deviation(before, scale="normal"))
    assert (one["parameter"], one["what"], one["recent"]["value"]) == ("nitrate", "test", 25)
    assert one["usual"]["value"] == 10
    assert one["spread"]["value"] == pytest.approx(spread, rel=1e-3)
    assert one["far"] == pytest.approx(15 / spread, rel=0.01)
    assert "Readings stayed as they were: nursery-ph-by-hand." in found["quiet"]
    assert any("nursery-phosphate-by-hand: too little history" in sentence for sentence in found["unknown"])


def test_a_sensor_is_judged_by_its_days_and_nights(furnished: Caller) -> None:
    """Nights grow colder by 2 degrees for the last four days; the mean of such a day moves by half a degree alone."""
    start = instant_ms(TROUBLE) - 40 * DAY_MS
    rows: list[tuple[str, Any]] = []
    for slot in range(40 * 4):
        at = start + slot * 6 * 3_600_000
        night = slot % 4 == 0
        wobble = 0.1 * ((slot // 4) % 3)
        cold = 2.0 if night and slot >= 36 * 4 else 0.0
        rows.append((instant_text(at), 24.0 - (0.5 if night else 0.0) + wobble - cold))
    says(furnished, "nursery-temperature", *rows)
    (one,) = asked(furnished)["moved"]
    assert (one["gauge"], one["what"], one["times"]) == ("nursery-temperature", "low", 4)
    assert one["since"][:10] == days_before(4)[:10]
    assert "lower than usual, lowest of the day 21.5 degC; usually 23.6 degC" in one["words"]


def test_what_nobody_can_know_is_said(furnished: Caller) -> None:
    says(furnished, "nursery-temperature", (days_before(60), 24), (days_before(19), 24))
    by_hand(furnished, "nitrite", (days_before(50)[:10], 0))
    unknown = asked(furnished)["unknown"]
    for sentence in (
        "nursery-temperature was silent for 21 d of these days: what it measures is not known then.",
        "Total ammonia was not tested in these days (never before).",
        f"Nitrite was not tested in these days (last on {days_before(50)[:10]}).",
        "Whether a lid stood open: there is no contact for it.",
        "What is fed is not recorded, so whether more was fed is not known.",
    ):
        assert sentence in unknown, unknown


def test_an_excursion_is_a_suspect_and_its_absence_is_told_only_where_a_gauge_could_tell(
    furnished: Caller,
) -> None:
    target = {"place": "tanks/nursery", "parameter": "temperature", "low": "23 degC", "high": "26 degC"}
    made(furnished, "targets", {**target, "valid_from": "2026-01-01T00:00:00Z"})
    quiet = "No excursion of temperature (nursery-temperature)."
    assert quiet not in asked(furnished)["quiet"]
    start = instant_ms(TROUBLE) - 21 * DAY_MS
    rows = [(instant_text(start + slot * 1_800_000), 24) for slot in range(21 * 48)]
    says(furnished, "nursery-temperature", *rows)
    assert quiet in asked(furnished)["quiet"]
    says(furnished, "nursery-temperature", (instant_text(start + 5 * DAY_MS + 600_000), 29))
    found = asked(furnished)
    assert suspect(found, "excursion")["words"].endswith("the highest was 29 degC.")
    assert found["says"][0].startswith("First to look at: excursion of temperature at tanks/nursery, ")
    assert found["says"][0].endswith(" before the time asked for.")
    assert quiet not in found["quiet"]


def test_it_comes_as_a_table_in_the_same_order(furnished: Caller) -> None:
    killifish_on_the_floor(furnished)
    table = furnished.get(f"/v1/systems/rill/what-changed?before={TROUBLE}&format=csv").get_data(as_text=True)
    rows = list(csv.DictReader(io.StringIO(table)))
    order = ["says", "loss", "seen", "suspect", "moved", "quiet", "unknown"]
    sections = [row["section"] for row in rows]
    assert sections == sorted(sections, key=order.index)
    assert next(row["rank"] for row in rows if row["section"] == "suspect") == "1"


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ("days=0", "/days"),
        ("days=36500", "/days"),
        ("days=ten", "/days"),
        ("before=2027-01-01T00:00:00Z", "/before"),
        ("before=monday", "/before"),
        ("after=2026-01-01T00:00:00Z", "/after"),
    ],
)
def test_a_look_that_can_not_be_is_refused_where_it_is_wrong(
    furnished: Caller, query: str, pointer: str
) -> None:
    assert pointers(furnished.get(f"/v1/systems/rill/what-changed?{query}")) == [pointer]


def test_an_unknown_system_is_unknown_and_an_empty_one_is_answered(furnished: Caller) -> None:
    assert furnished.get("/v1/systems/nowhere/what-changed").status_code == 404
    made(furnished, "systems", {"name": "Empty"})
    found = asked(furnished, "empty")
    assert (found["losses"], found["suspects"], found["moved"]) == ([], [], [])
    assert found["unknown"]
