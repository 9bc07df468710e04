"""Groups: what they show of the ledger and their samples, and how a school under its number can be made whole."""

from __future__ import annotations

from typing import Any

import pytest
from fish_scenes import DAY, entry, group, species
from harness import Caller, made, on_both_engines, pointers
from water_scenes import NOW, stop_the_clock

from weirbook.engine.times import instant_ms, instant_text
from weirbook.record.database import now_ms

DAYS_MS = 86_400_000
PEN = {
    "name": "Pen",
    "system": "pen-water",
    "use": "quarantine",
    # 60 L: at 1 cm a litre it holds six fish of 10 cm.
    "footprint": {"shape": "rectangle", "length": "60 cm", "width": "25 cm"},
    "water_depth": "40 cm",
}


def with_a_pen(call: Caller, **said: Any) -> None:
    made(call, "systems", {"name": "Pen water"})
    made(call, "tanks", {**PEN, **said})


def shown(call: Caller, of: str) -> dict[str, Any]:
    found: dict[str, Any] = call.get(f"/v1/groups/{of}").get_json()
    return found


@on_both_engines
def test_a_group_shows_its_heads_since_when_and_what_is_missing(furnished: Caller) -> None:
    species(furnished)
    shoal = group(furnished, wanted=8)
    fresh = shown(furnished, shoal)
    assert (fresh["called"], fresh["heads"], fresh["since"], fresh["short"]) == (
        "Banded barb in nursery",
        0,
        None,
        8,
    )
    entry(furnished, "arrival", shoal, 6, 3)
    now = shown(furnished, shoal)
    assert (now["heads"], now["since"], now["short"]) == (6, DAY.format(3), 2)
    assert now["restock"]["short"] == 2


def test_a_group_that_wants_no_number_misses_none(furnished: Caller) -> None:
    species(furnished)
    found = shown(furnished, group(furnished))
    assert (found["short"], found["restock"]) == (None, None)


def test_what_a_group_weighs_follows_from_its_newest_sample(furnished: Caller) -> None:
    species(furnished)
    shoal = group(furnished)
    entry(furnished, "arrival", shoal, 10)
    assert "never measured" in shown(furnished, shoal)["mass_words"]
    made(furnished, f"groups/{shoal}/samples", {"measured": 4, "mass": "2 g", "sampled_at": DAY.format(2)})
    made(furnished, "samples", {"group": shoal, "mass": "1.5 g", "sampled_at": DAY.format(1)})
    now = shown(furnished, shoal)
    assert (now["fish_mass"], now["group_mass"]) == ({"value": 2, "unit": "g"}, {"value": 20, "unit": "g"})
    assert now["mass_words"] == "weighed 2026-11-02, 4 fish"


def test_a_length_makes_a_mass_by_the_relation_of_the_species(furnished: Caller) -> None:
    # Froese (2006), Cube law, condition factor and weight-length relationships: W = a L^b, grams and centimetres.
    species(furnished, length_mass={"a": 0.01, "b": 3})
    shoal = group(furnished)
    entry(furnished, "arrival", shoal, 10)
    made(furnished, f"groups/{shoal}/samples", {"length": "50 mm", "sampled_at": DAY.format(2)})
    now = shown(furnished, shoal)
    assert now["fish_mass"] == {"value": 1.25, "unit": "g"}
    # Of 4 and 6 cm the mean is 5 cm, yet they weigh (0.64 + 2.16) / 2 = 1.4 g each: the mean length tells too little.
    words = "measured 2026-11-02, 1 fish; from its length by W = a × L^b: low where sizes differ much"
    assert now["mass_words"] == words


def test_a_length_without_the_relation_leaves_the_mass_unknown(furnished: Caller) -> None:
    species(furnished)
    shoal = group(furnished)
    made(furnished, f"groups/{shoal}/samples", {"length": "50 mm", "sampled_at": DAY.format(2)})
    now = shown(furnished, shoal)
    assert (now["fish_mass"], now["group_mass"]) == (None, None)
    assert "length_mass" in now["mass_words"]


@on_both_engines
def test_only_schools_under_their_number_are_listed_as_short(furnished: Caller) -> None:
    species(furnished)
    few, enough, any_number = group(furnished, wanted=8), group(furnished, wanted=3), group(furnished)
    for one in (few, enough, any_number):
        entry(furnished, "arrival", one, 4)

    def listed(query: str) -> set[str]:
        return {one["id"] for one in furnished.get(f"/v1/groups?{query}").get_json()["items"]}

    assert listed("short=true") == {few}
    assert listed("short=false") == {enough, any_number}
    assert listed("system=rill&tank=nursery&species=banded-barb") == {few, enough, any_number}
    assert furnished.get("/v1/groups?short=perhaps").status_code == 422
    table = furnished.get("/v1/groups?short=true&format=csv").get_data(as_text=True)
    assert few in table
    assert enough not in table


def test_a_school_is_made_whole_in_the_batches_that_the_quarantine_holds(furnished: Caller) -> None:
    species(furnished, adult_length="10 cm")
    with_a_pen(furnished)
    shoal = group(furnished, wanted=20)
    entry(furnished, "arrival", shoal, 6)
    before = now_ms()
    plan = shown(furnished, shoal)["restock"]
    assert [(one["tank"], one["number"]) for one in plan["batches"]] == [("pen", 6), ("pen", 6), ("pen", 2)]
    first, second, third = plan["batches"]
    assert abs(instant_ms(first["enters"]) - before) < 60_000
    assert instant_ms(first["leaves"]) - instant_ms(first["enters"]) == 42 * DAYS_MS
    assert (second["enters"], third["enters"]) == (first["leaves"], second["leaves"])
    assert plan["complete_on"] == third["leaves"]
    assert any("common practice" in one for one in plan["assumptions"])


def test_an_open_quarantine_is_waited_for(furnished: Caller) -> None:
    species(furnished, adult_length="10 cm")
    with_a_pen(furnished)
    start = instant_text(now_ms() - 10 * DAYS_MS)
    stay = made(furnished, "quarantines", {"tank": "pen", "started_at": start, "planned_days": 30})
    plan = shown(furnished, group(furnished, wanted=2))["restock"]
    assert [one["enters"] for one in plan["batches"]] == [stay["ready_at"]]


def test_two_quarantines_take_turns(furnished: Caller) -> None:
    species(furnished, adult_length="10 cm")
    with_a_pen(furnished)
    made(furnished, "tanks", {**PEN, "name": "Second pen"})
    plan = shown(furnished, group(furnished, wanted=13))["restock"]
    assert sorted((one["tank"], one["number"]) for one in plan["batches"]) == [
        ("pen", 1),
        ("pen", 6),
        ("second-pen", 6),
    ]


def test_what_is_unknown_of_a_restock_is_said(furnished: Caller) -> None:
    species(furnished)
    shoal = group(furnished, wanted=2)
    plan = shown(furnished, shoal)["restock"]
    assert (plan["batches"], plan["complete_on"]) == ([], None)
    assert "adult_length" in plan["why"]
    furnished.patch("/v1/species/banded-barb", {"adult_length": "10 cm"})
    assert "no tank with the use quarantine" in shown(furnished, shoal)["restock"]["why"]


def test_a_quarantine_tank_where_fish_live_unquarantined_is_not_counted_on(furnished: Caller) -> None:
    species(furnished, adult_length="10 cm")
    with_a_pen(furnished)
    entry(furnished, "arrival", group(furnished, "pen"), 2)
    assert shown(furnished, group(furnished, wanted=2))["restock"]["batches"] == []


@pytest.mark.parametrize(
    ("said", "at"),
    [
        ({"species": "none"}, "/species"),
        ({"tank": "none"}, "/tank"),
        ({"wanted": -1}, "/wanted"),
        ({"wanted": "six"}, "/wanted"),
        ({"heads": 3}, "/heads"),
    ],
)
def test_a_group_that_can_not_be_is_refused_at_the_fault(
    furnished: Caller, said: dict[str, object], at: str
) -> None:
    species(furnished)
    body = {"species": "banded-barb", "tank": "nursery", **said}
    assert pointers(furnished.post("/v1/groups", body)) == [at]


def test_species_and_tank_of_a_group_stay(furnished: Caller) -> None:
    species(furnished)
    made(furnished, "species", {"name": "Spotted goby"})
    shoal = group(furnished)
    assert pointers(furnished.patch(f"/v1/groups/{shoal}", {"species": "spotted-goby"})) == ["/species"]
    assert furnished.delete("/v1/species/banded-barb").status_code == 409


def test_an_oxygen_budget_counts_the_fish_of_the_record(
    furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    stop_the_clock(monkeypatch)
    species(furnished)
    shoal = group(furnished)
    entry(furnished, "arrival", shoal, 10)
    asked = "/v1/systems/rill/answers/oxygen-budget?temperature=24%20degC&feed=0%20g/d"
    assert pointers(furnished.get(asked)) == ["/fish_mass"]
    made(furnished, "samples", {"group": shoal, "mass": "15 g", "sampled_at": DAY.format(2)})
    by_record = furnished.get(asked).get_json()
    told = furnished.get(f"{asked}&fish_mass=150%20g&mean_fish_mass=15%20g").get_json()
    assert by_record["results"]["uptake"]["value"] > 0
    assert by_record["results"]["uptake"] == told["results"]["uptake"]
    note = by_record["inputs"]["groups"]["note"]
    assert "(Banded barb in nursery: weighed 2026-11-02, 1 fish)" in note
    assert "days old" not in note


@pytest.mark.parametrize(("days", "said"), [(60, False), (61, True)])
def test_an_oxygen_budget_says_how_old_the_oldest_sample_is(
    furnished: Caller, monkeypatch: pytest.MonkeyPatch, days: int, said: bool
) -> None:
    stop_the_clock(monkeypatch)
    now = instant_ms(NOW)
    species(furnished)
    for age in (1, days):
        shoal = group(furnished)
        came = instant_text(now - 100 * DAYS_MS)
        made(
            furnished, "stock-entries", {"kind": "arrival", "group": shoal, "number": 5, "happened_at": came}
        )
        sampled = instant_text(now - age * DAYS_MS - 1000)
        made(furnished, "samples", {"group": shoal, "mass": "15 g", "sampled_at": sampled})
    asked = "/v1/systems/rill/answers/oxygen-budget?temperature=24%20degC&feed=0%20g/d"
    note = furnished.get(asked).get_json()["inputs"]["groups"]["note"]
    assert (f"the oldest of these samples is {days} days old" in note) == said


def test_species_ranges_must_not_be_upside_down(furnished: Caller) -> None:
    body = {"name": "Odd fish", "temperature": {"low": "27 degC", "high": "22 degC"}}
    assert pointers(furnished.post("/v1/species", body)) == ["/temperature/high"]
    for said, at in (
        ({"ph": {"low": 15}}, "/ph/low"),
        ({"adult_length": "60 m"}, "/adult_length"),
        ({"school_size": 0}, "/school_size"),
        ({"length_mass": {"a": 12, "b": 3}}, "/length_mass/a"),
        ({"length_mass": {"a": 0.01}}, "/length_mass/b"),
    ):
        assert pointers(furnished.post("/v1/species", {"name": "Odd fish", **said})) == [at], said


def test_no_more_fish_are_measured_than_there_were(furnished: Caller) -> None:
    species(furnished)
    shoal = group(furnished)
    entry(furnished, "arrival", shoal, 6)
    many = {"measured": 7, "mass": "2 g", "sampled_at": DAY.format(2)}
    assert pointers(furnished.post(f"/v1/groups/{shoal}/samples", many)) == ["/measured"]


def test_samples_and_feeding_responses_that_can_not_be_are_refused(furnished: Caller) -> None:
    species(furnished)
    shoal = group(furnished)
    made(furnished, "feeds", {"name": "Flakes"})
    sample = {"group": shoal, "sampled_at": DAY.format(2)}
    for said, at in (
        ({}, "/length"),
        ({"mass": "0 g"}, "/mass"),
        ({"mass": "2 cm"}, "/mass"),
        ({"mass": "2 g", "measured": 0}, "/measured"),
        ({"mass": "2 g", "sampled_at": "2199-01-01T00:00:00Z"}, "/sampled_at"),
        ({"mass": "2 g", "group": "x"}, "/group"),
    ):
        assert pointers(furnished.post("/v1/samples", {**sample, **said})) == [at], said
    response = {"group": shoal, "feed": "flakes", "response": 7}
    for said, at in (
        ({"response": 11}, "/response"),
        ({"response": -1}, "/response"),
        ({"feed": "none"}, "/feed"),
        ({"seen_at": "2199-01-01T00:00:00Z"}, "/seen_at"),
    ):
        assert pointers(furnished.post("/v1/feeding-responses", {**response, **said})) == [at], said


def test_a_school_that_no_quarantine_can_fill_in_years_is_told_so(furnished: Caller) -> None:
    species(furnished, adult_length="40 cm")
    with_a_pen(furnished)
    plan = shown(furnished, group(furnished, wanted=1_000_000))["restock"]
    assert (plan["batches"], plan["complete_on"]) == ([], None)
    assert "over 40 batches" in plan["why"]
    assert furnished.get("/v1/findings").status_code == 200


def test_a_group_with_fish_is_not_retired(furnished: Caller) -> None:
    species(furnished)
    shoal = group(furnished)
    entry(furnished, "arrival", shoal, 6)
    retired = {"retired_at": DAY.format(3)}
    assert pointers(furnished.patch(f"/v1/groups/{shoal}", retired)) == ["/retired_at"]
    entry(furnished, "departure", shoal, 6, 2)
    assert furnished.patch(f"/v1/groups/{shoal}", retired).status_code == 200


def test_nutrients_tell_what_the_fish_weigh_beside_what_they_are_fed(furnished: Caller) -> None:
    species(furnished)
    shoal = group(furnished)
    entry(furnished, "arrival", shoal, 10)
    made(furnished, "feeds", {"name": "Flakes", "protein": "42 %"})
    fed = [{"feed": "flakes", "amount": "1.5 g"}]
    made(furnished, "rations", {"tank": "nursery", "valid_from": DAY.format(1), "feeds": fed})

    def fish() -> dict[str, Any]:
        answered = furnished.get("/v1/systems/rill/nutrients")
        assert answered.status_code == 200, answered.get_data(as_text=True)
        found: dict[str, Any] = answered.get_json()["fish"]
        return found

    assert (fish()["mass"], fish()["share"]) == (None, None)
    assert "never measured" in fish()["words"]
    made(furnished, "samples", {"group": shoal, "mass": "15 g", "sampled_at": DAY.format(2)})
    known = fish()
    assert (known["mass"], known["feed"]) == ({"value": 150, "unit": "g"}, {"value": 1.5, "unit": "g/d"})
    assert known["share"] == {"value": 1, "unit": "%"}
