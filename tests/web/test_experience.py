"""How species have done here: by source, by water, as a whole. Oracles: pencil, lifelines."""

from __future__ import annotations

from typing import Any

import pytest
from fish_scenes import entry, group, species
from harness import Caller, made, on_both_engines
from lifelines import KaplanMeierFitter
from water_scenes import stop_the_clock

PRINTED = 5e-6
"""Six digits are shown: half of the last, as a share of the value."""


@pytest.fixture
def years(furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> Caller:
    """Two batches of one species from two sources in two waters, over two years; it is 25 November 2026."""
    stop_the_clock(monkeypatch)
    made(furnished, "systems", {"name": "Pond"})
    made(
        furnished,
        "tanks",
        {
            "name": "Pond",
            "system": "pond",
            "use": "grow-out",
            "footprint": {"shape": "rectangle", "length": "100 cm", "width": "50 cm"},
            "rim_height": "55 cm",
            "water_depth": "50 cm",
        },
    )
    species(furnished)
    mine, pond = group(furnished), group(furnished, "pond")
    at = {"happened_at": "2024-11-20T10:00:00Z"}
    entry(furnished, "arrival", mine, 10, source="North", **at)
    entry(furnished, "arrival", pond, 8, source="South", **at)
    entry(furnished, "loss", pond, 4, happened_at="2024-11-25T10:00:00Z", cause="disease")
    entry(furnished, "loss", mine, 1, happened_at="2025-01-19T10:00:00Z")
    entry(furnished, "move", pond, 2, to_group=mine, happened_at="2025-02-08T10:00:00Z")
    entry(furnished, "loss", pond, 2, happened_at="2025-06-08T10:00:00Z", cause="water")
    return furnished


def experience(call: Caller, path: str) -> dict[str, Any]:
    answered = call.get(f"/v1/species/{path}" if "/" in path else f"/v1/{path}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    found: dict[str, Any] = answered.get_json()
    return found


def at(row: dict[str, Any], day: int) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in row["survival"]["at"] if one["day"] == day)
    return found


@on_both_engines
def test_a_species_is_told_as_a_whole_by_source_and_by_water(years: Caller) -> None:
    found = experience(years, "banded-barb/experience")

    whole = found["whole"]
    assert (whole["brought_in"], whole["born"], whole["batches"], whole["heads"]) == (18, 0, 2, 11)
    # Days 5, 60 and 200 with 4, 1 and 2 losses; 11 live on for two years.
    fitted = KaplanMeierFitter().fit([5, 60, 200, 735], [1, 1, 1, 0], weights=[4, 1, 2, 11])
    for day in (7, 30, 90, 365):
        assert at(whole, day)["survival"] == pytest.approx(float(fitted.predict(day)), rel=PRINTED)
    low, high = fitted.confidence_interval_.loc[200]
    assert (at(whole, 365)["low"], at(whole, 365)["high"]) == pytest.approx((low, high), rel=PRINTED)
    assert whole["longest_lives"] and whole["longest_in"] == "nursery" and whole["longest_days"] > 734
    assert whole["causes"] == [
        {"cause": "disease", "lost": 4},
        {"cause": "water", "lost": 2},
        {"cause": "unknown", "lost": 1},
    ]
    north, south = found["by_source"]
    assert (north["key"], at(north, 365)["survival"]) == ("North", pytest.approx(0.9))
    assert (south["key"], at(south, 365)["survival"]) == ("South", pytest.approx(2 / 8))
    pond, rill = found["by_system"]
    assert (pond["key"], pond["brought_in"], pond["heads"]) == ("systems/pond", 8, 0)
    assert at(pond, 90)["survival"] == pytest.approx(0.5)
    assert at(pond, 365)["survival"] == 0
    assert (rill["key"], rill["brought_in"], rill["heads"]) == ("systems/rill", 10, 11)
    assert pond["longest_days"] == 200 and not pond["longest_lives"]


def test_the_answer_says_in_words_that_results_differ_by_water_and_source(years: Caller) -> None:
    found = experience(years, "banded-barb/experience")
    assert any("differ by water and by source" in one["text"] for one in found["assumptions"])
    assert found["whole"]["says"].startswith(
        "Banded barb: 18 brought in; 11 now. 61 % of 18 lived to day 365 (95 % interval"
    )
    assert found["whole"]["says"].endswith("Longest kept: 735 days, longest in nursery, living.")


def test_where_none_was_lost_all_are_said_to_have_lived_and_what_came_later_is_told(years: Caller) -> None:
    """14 of 14 alive: the exact binomial limit is 0.025 to the power of 1/14, 77 %."""
    made(years, "species", {"name": "Striped goby"})
    goby = group(years, species="striped-goby")
    entry(years, "arrival", goby, 14, source="North", happened_at="2026-07-01T10:00:00Z")
    entry(years, "loss", goby, 2, happened_at="2026-10-20T10:00:00Z")
    entry(years, "missing", goby, 1, happened_at="2026-10-21T10:00:00Z")
    says = experience(years, "striped-goby/experience")["whole"]["says"]
    assert (
        "All 14 lived to day 90 (95 % interval 77 to 100 %); since then 2 lost (unknown), 1 missing." in says
    )


def test_fish_count_in_the_water_that_their_tank_belonged_to_at_the_time(years: Caller) -> None:
    """10 goby in the pond for 20 days and 2 lost, then its tank joins the rill; 1 lost 10 days after it."""
    made(years, "species", {"name": "Striped goby"})
    goby = group(years, "pond", species="striped-goby")
    entry(years, "arrival", goby, 10, source="North", happened_at="2026-09-01T10:00:00Z")
    entry(years, "loss", goby, 2, happened_at="2026-09-11T10:00:00Z")
    joined = {"system": "rill", "effective_at": "2026-09-21T10:00:00Z"}
    assert years.patch("/v1/tanks/pond", joined).status_code == 200
    entry(years, "loss", goby, 1, happened_at="2026-10-01T10:00:00Z")

    pond, rill = experience(years, "striped-goby/experience")["by_system"]

    assert (pond["key"], pond["brought_in"], pond["heads"], pond["lost"]) == ("systems/pond", 10, 0, 2)
    assert (rill["key"], rill["brought_in"], rill["heads"], rill["lost"]) == ("systems/rill", 0, 7, 1)
    assert pond["fish_days"] == 10 * 10 + 8 * 10
    rates = years.get("/v1/losses?species=striped-goby").get_json()["rates"]
    days = {one["key"]: one["fish_days"] for one in rates if one["by"] == "system"}
    assert days == {"systems/pond": pond["fish_days"], "systems/rill": rill["fish_days"]}
    assert at(pond, 7)["survival"] == 1 and at(pond, 30)["survival"] is None
    assert pond["longest_days"] == 20 and not pond["longest_lives"] and rill["longest_lives"]


def test_the_longest_kept_are_told_where_they_were_longest_and_not_where_they_came_last(
    years: Caller,
) -> None:
    made(years, "species", {"name": "Striped goby"})
    goby, new = (group(years, tank, species="striped-goby") for tank in ("pond", "nursery"))
    entry(years, "arrival", goby, 10, source="North", happened_at="2026-01-01T10:00:00Z")
    entry(years, "move", goby, 10, to_group=new, happened_at="2026-11-25T09:00:00Z")
    whole = experience(years, "striped-goby/experience")["whole"]
    assert (whole["longest_in"], whole["longest_lives"]) == ("pond", True)


def test_parts_of_fish_say_why_beside_them(years: Caller) -> None:
    made(years, "species", {"name": "Striped goby"})
    goby = group(years, species="striped-goby")
    for source, number in (("North", 12), ("South", 6)):
        entry(years, "arrival", goby, number, source=source, happened_at="2026-01-01T10:00:00Z")
    entry(years, "loss", goby, 1, happened_at="2026-10-20T10:00:00Z")
    found = experience(years, "striped-goby/experience")
    assert found["by_source"][0]["note"].startswith("shared among batches") and found["whole"]["note"] is None
    assert "since then 0.667 (shared among batches) lost (unknown)" in found["by_source"][0]["says"]


def test_all_species_are_told_by_species_source_or_water(years: Caller) -> None:
    by_species = experience(years, "experience")["items"]
    assert [(one["key"], one["called"]) for one in by_species] == [("banded-barb", "Banded barb")]
    by_source = experience(years, "experience?by=source")["items"]
    assert [(one["key"], one["brought_in"]) for one in by_source] == [("North", 10), ("South", 8)]
    by_system = experience(years, "experience?by=system")["items"]
    assert [one["key"] for one in by_system] == ["systems/pond", "systems/rill"]
    table = years.get("/v1/experience?by=source&format=csv").get_data(as_text=True).splitlines()
    assert table[0].startswith("by,key,called,brought_in") and "survival_365,low_365" in table[0]
    assert table[1].startswith("source,North,North,10,0,")


def test_a_species_never_kept_is_said_to_be_unknown(years: Caller) -> None:
    made(years, "species", {"name": "Striped goby"})
    found = experience(years, "striped-goby/experience")
    assert found["whole"]["says"] == "Unknown, because no Striped goby were ever recorded."
    assert found["by_source"] == [] and at(found["whole"], 30)["survival"] is None


@pytest.mark.parametrize(
    ("path", "status"), [("experience?by=tank", 422), ("species/no-such/experience", 404)]
)
def test_a_question_that_can_t_be_is_refused(years: Caller, path: str, status: int) -> None:
    assert years.get(f"/v1/{path}").status_code == status
