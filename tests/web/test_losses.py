"""Losses: rates over fish-days, survival, introductions and what followed them. Oracles: SciPy, lifelines, pencil."""

from __future__ import annotations

from typing import Any

import pytest
from fish_scenes import DAY, entry, group, species
from harness import Caller, made, on_both_engines
from lifelines import KaplanMeierFitter
from scipy.stats import binomtest, chi2
from water_scenes import stop_the_clock

PRINTED = 5e-6
"""Six digits are shown: half of the last, as a share of the value."""


@pytest.fixture
def shoal(furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> Caller:
    """A nursery and a cell on the rill, a pond apart; a species. It is 25 November."""
    stop_the_clock(monkeypatch)
    made(furnished, "systems", {"name": "Pond"})
    for name, system in (("Cell", "rill"), ("Pond", "pond")):
        made(
            furnished,
            "tanks",
            {
                "name": name,
                "system": system,
                "use": "grow-out",
                "footprint": {"shape": "rectangle", "length": "100 cm", "width": "50 cm"},
                "rim_height": "55 cm",
                "water_depth": "50 cm",
            },
        )
    species(furnished)
    return furnished


def losses(call: Caller, query: str = "") -> dict[str, Any]:
    answered = call.get(f"/v1/losses{query}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    found: dict[str, Any] = answered.get_json()
    return found


def rate(found: dict[str, Any], by: str, key: str | None = None) -> dict[str, Any]:
    rows: list[dict[str, Any]] = [
        one for one in found["rates"] if one["by"] == by and key in (None, one["key"])
    ]
    assert len(rows) == 1, rows
    return rows[0]


def garwood(lost: float, days: float) -> tuple[float, float]:
    low = chi2.ppf(0.025, 2 * lost) / 2 if lost else 0.0
    return low / days * 1000, chi2.ppf(0.975, 2 * lost + 2) / 2 / days * 1000


@on_both_engines
def test_rates_are_losses_over_fish_days_with_exact_intervals(shoal: Caller) -> None:
    """20 fish from the 1st, 2 lost on the 11th; up to the 21st: 20 x 10 + 18 x 10 = 380 fish-days. The pond: 10 x 20."""
    mine, apart = group(shoal), group(shoal, "pond", origin="Wild")
    entry(shoal, "birth", mine, 20, 1)
    entry(shoal, "loss", mine, 2, 11, cause="jumped")
    entry(shoal, "arrival", apart, 10, 1, source="A friend")
    entry(shoal, "missing", apart, 3, 21)

    found = losses(shoal, f"?to={DAY.format(21)}")

    whole, own = rate(found, "all"), rate(found, "group", mine)
    assert (own["fish_days"], own["lost"], own["per_1000_fish_days"]) == (
        380,
        2,
        pytest.approx(2 / 0.38, rel=PRINTED),
    )
    assert (own["low"], own["high"]) == pytest.approx(garwood(2, 380), rel=PRINTED)
    assert (whole["fish_days"], whole["missing"]) == (580, 0)
    assert (whole["low"], whole["high"]) == pytest.approx(garwood(2, 580), rel=PRINTED)
    none = rate(found, "tank", "pond")
    assert (none["fish_days"], none["lost"], none["low"]) == (200, 0, 0)
    assert none["high"] == pytest.approx(garwood(0, 200)[1], rel=PRINTED)
    assert rate(found, "source", "A friend")["fish_days"] == 200
    assert rate(found, "source", "born here")["lost"] == 2
    assert rate(found, "origin", "Wild")["fish_days"] == 200
    assert rate(found, "system", "systems/rill")["lost"] == 2
    assert rate(found, "species", "banded-barb")["fish_days"] == 580
    assert rate(found, "cause", "jumped")["per_1000_fish_days"] == pytest.approx(2 / 0.58, rel=PRINTED)
    young, older = rate(found, "since arrival", "0 to 7 days"), rate(found, "since arrival", "7 to 30 days")
    assert (young["fish_days"], young["lost"]) == (30 * 7, 0)
    assert (older["fish_days"], older["lost"]) == (580 - 210, 2)
    assert found["says"][0].startswith("2 lost in 580 fish-days: 3.45 in 1000 fish-days (95 % interval")


def test_a_shared_loss_is_parted_among_sources_by_heads_and_its_interval_is_the_wider(shoal: Caller) -> None:
    mine = group(shoal)
    entry(shoal, "arrival", mine, 12, 1, source="North")
    entry(shoal, "arrival", mine, 6, 1, source="South")
    entry(shoal, "loss", mine, 2, 11)
    found = losses(shoal, f"?to={DAY.format(12)}")
    north = rate(found, "source", "North")
    assert north["lost"] == pytest.approx(4 / 3, rel=PRINTED)
    days = north["fish_days"]
    assert days == pytest.approx(12 * 11 - 4 / 3, rel=PRINTED)
    assert north["note"].startswith("shared among batches") and rate(found, "all")["note"] is None
    assert north["low"] == pytest.approx(garwood(1, days)[0], rel=PRINTED)
    assert north["high"] == pytest.approx(garwood(2, days)[1], rel=PRINTED)


def test_fry_do_not_die_of_old_age(shoal: Caller) -> None:
    mine = group(shoal)
    entry(shoal, "arrival", mine, 3, 1, source="North")
    entry(shoal, "birth", mine, 30, 2)
    entry(shoal, "loss", mine, 2, 22, cause="old_age")
    found = losses(shoal)
    assert rate(found, "source", "North")["lost"] == 2
    assert rate(found, "source", "born here")["lost"] == 0
    told = " ".join(one["text"] for one in found["assumptions"])
    assert "of old age that name no batch are of those that came or were born first" in told


def test_sources_that_nobody_looked_up_say_so(shoal: Caller) -> None:
    assert {one["note"] for one in losses(shoal)["sources"]} == {"From memory."}


def test_missing_fish_count_as_lost_only_when_asked_for(shoal: Caller) -> None:
    mine = group(shoal)
    entry(shoal, "birth", mine, 20, 1)
    entry(shoal, "count", mine, 17, 11, words="Three fewer.")
    assert (rate(losses(shoal), "all")["lost"], rate(losses(shoal), "all")["missing"]) == (0, 3)
    assert rate(losses(shoal, "?missing=true"), "all")["lost"] == 3
    assert losses(shoal)["survival"][0]["at"][0]["survival"] == 1
    assert losses(shoal, "?missing=true&from=" + DAY.format(1))["survival"][0]["lost"] == 3


def test_survival_is_kaplan_meiers_with_its_interval_and_unknown_beyond_the_watch(shoal: Caller) -> None:
    mine = group(shoal)
    entry(shoal, "birth", mine, 20, 1)
    for day, number in ((3, 2), (6, 1)):
        entry(shoal, "loss", mine, number, day)
    entry(shoal, "departure", mine, 4, 7)
    entry(shoal, "loss", mine, 1, 8)

    row = next(one for one in losses(shoal)["survival"] if one["by"] == "group")

    fitted = KaplanMeierFitter().fit([2, 5, 6, 7, 30], [1, 1, 0, 1, 0], weights=[2, 1, 4, 1, 12])
    low, high = fitted.confidence_interval_.loc[7]
    week, month = row["at"][0], row["at"][1]
    assert week["survival"] == pytest.approx(float(fitted.predict(7)), rel=PRINTED)
    assert (week["low"], week["high"]) == pytest.approx((low, high), rel=PRINTED)
    assert (week["watched"], week["method"]) == (13, "Greenwood, log-log")
    assert month["survival"] is None and month["method"].startswith("Unknown")
    assert row["median_days"] is None and (row["heads"], row["lost"]) == (20, 4)


def introduce(call: Caller) -> tuple[str, str, str]:
    """30 residents from the 1st, of which 1 is lost; 5 strangers come on the 11th, and 6 are lost after."""
    mine, other, apart = group(call), group(call, "cell"), group(call, "pond")
    entry(call, "birth", mine, 20, 1)
    entry(call, "birth", other, 10, 1)
    entry(call, "birth", apart, 10, 1)
    entry(call, "loss", mine, 1, 6)
    entry(call, "arrival", other, 5, 11, source="A friend")
    entry(call, "loss", mine, 4, 16, cause="disease")
    entry(call, "loss", mine, 2, 21)
    return mine, other, apart


def test_losses_after_an_introduction_are_held_to_the_earlier_rate_of_the_same_water(shoal: Caller) -> None:
    introduce(shoal)

    found = losses(shoal, "?within=10")

    (one,) = found["introductions"]
    # 20 x 5 + 19 x 5 + 10 x 10 before; 19 x 5 + 15 x 5 + 15 x 10 in the ten days after.
    assert (one["earlier_fish_days"], one["fish_days"]) == (295, 320)
    assert (one["earlier_lost"], one["lost"], one["water"]) == (1, 4, "systems/rill")
    assert one["alert"] is False and "no more than chance alone may bring" in one["says"]
    wider = losses(shoal, "?within=14")["introductions"][0]
    days = 320 + 13 * 4 + 15 * 4
    chance = binomtest(6, 7, days / (days + 295), alternative="greater").pvalue
    assert wider["fish_days"] == days and wider["lost"] == 6
    assert chance > 0.05 and wider["alert"] is False


@on_both_engines
def test_an_alert_names_its_method_its_causes_and_who_lost_and_who_did_not(shoal: Caller) -> None:
    mine, other, _ = introduce(shoal)
    entry(shoal, "loss", mine, 5, 23, cause="disease")

    found = losses(shoal)

    (one,) = found["introductions"]
    chance = binomtest(11, 12, one["fish_days"] / (one["fish_days"] + 295), alternative="greater").pvalue
    assert chance < 0.05
    assert one["alert"] is True and found["alerts"] == 1
    assert one["ratio"] == pytest.approx(11 / one["fish_days"] * 295, rel=2 * PRINTED)
    share = binomtest(11, 12).proportion_ci(0.9, "exact")  # its lower end is the one-sided test's at 5 %
    odds = 295 / one["fish_days"]
    assert one["ratio_low"] == pytest.approx(share.low / (1 - share.low) * odds, rel=PRINTED)
    assert one["ratio_high"] == pytest.approx(share.high / (1 - share.high) * odds, rel=PRINTED)
    assert one["causes"] == [{"cause": "disease", "lost": 9}, {"cause": "unknown", "lost": 2}]
    assert [(each["group"], each["lost"], each["heads"]) for each in one["lost_in"]] == [(mine, 11, 19)]
    assert [(each["group"], each["heads"]) for each in one["not_lost_in"]] == [(other, 15)]
    assert "conditional exact Poisson test, one-sided, p 0." in one["says"]
    assert "that they came of it is not shown" in one["says"] and one["says"] in found["says"]
    assert one["parts"][0]["words"] == "5 Banded barb arrived from A friend, straight into a stocked tank"


def test_newcomers_dead_on_arrival_count_and_the_test_looks_at_more_losses_alone(shoal: Caller) -> None:
    """5 of 5 after against 0 before: one-sided below 5 %, two-sided above it."""
    mine, other = group(shoal), group(shoal, "cell")
    entry(shoal, "birth", mine, 20, 1)
    entry(shoal, "arrival", other, 10, 11)
    entry(shoal, "loss", other, 2, 11)
    entry(shoal, "loss", mine, 3, 16)
    (one,) = losses(shoal, "?within=8")["introductions"]
    share = one["fish_days"] / (one["fish_days"] + one["earlier_fish_days"])
    assert (one["lost"], one["earlier_lost"], one["ratio"]) == (5, 0, None)
    above, both = (binomtest(5, 5, share, alternative=which).pvalue for which in ("greater", "two-sided"))
    assert above < 0.05 < 2 * above and both <= 2 * above
    assert one["alert"] is True and "none before" in one["says"]


def test_without_fish_before_nothing_is_compared(shoal: Caller) -> None:
    mine = group(shoal)
    entry(shoal, "arrival", mine, 5, 11)
    entry(shoal, "loss", mine, 3, 13)
    (one,) = losses(shoal)["introductions"]
    assert one["alert"] is False and one["ratio"] is None
    assert (
        "Unknown whether that is more than before, because no fish were watched in that water" in one["says"]
    )


def test_things_that_were_carried_in_are_introductions_unless_disinfected(shoal: Caller) -> None:
    mine = group(shoal)
    entry(shoal, "birth", mine, 20, 1)
    made(shoal, "transfers", {"what": "plants", "to_place": "tanks/cell", "moved_at": DAY.format(5)})
    net = {"what": "nets", "from_place": "tanks/pond", "to_place": "tanks/nursery"}
    made(shoal, "transfers", {**net, "moved_at": DAY.format(6), "disinfected": "Dried"})
    within = {"what": "media", "from_place": "tanks/cell", "to_place": "tanks/nursery"}
    made(shoal, "transfers", {**within, "moved_at": DAY.format(7)})
    found = losses(shoal)["introductions"]
    assert [part["words"] for one in found for part in one["parts"]] == ["plants came from outside"]


def test_a_tank_that_joins_with_fish_in_it_is_an_introduction(shoal: Caller) -> None:
    mine, apart = group(shoal), group(shoal, "pond")
    entry(shoal, "birth", mine, 20, 1)
    entry(shoal, "birth", apart, 6, 1)
    joined = {"system": "rill", "effective_at": DAY.format(14)}
    assert shoal.patch("/v1/tanks/pond", joined).status_code == 200
    entry(shoal, "loss", mine, 1, 15)
    (one,) = losses(shoal)["introductions"]
    assert (one["at"], one["water"], one["lost"]) == (DAY.format(14), "systems/rill", 1)
    assert one["parts"] == [
        {
            "kind": "tank",
            "record": "tanks/pond",
            "words": "the tank pond joined with 6 Banded barb from systems/pond",
        }
    ]
    assert "1 was lost" in one["says"]


def test_the_days_after_an_introduction_are_said_as_people_say_them(shoal: Caller) -> None:
    mine = group(shoal)
    entry(shoal, "birth", mine, 20, 1)
    entry(shoal, "arrival", mine, 2, 24)
    assert "In the day after it so far 0 were lost" in losses(shoal)["introductions"][0]["says"]


@pytest.mark.parametrize(
    ("query", "days"),
    [("?species=banded-barb", 60), ("?system=pond", 20), ("?system=rill", 40), ("?group={mine}", 40)],
)
def test_losses_are_narrowed_to_species_system_and_group(shoal: Caller, query: str, days: int) -> None:
    mine, apart = group(shoal), group(shoal, "pond")
    entry(shoal, "birth", mine, 20, 1)
    entry(shoal, "birth", apart, 10, 1)
    found = losses(shoal, query.format(mine=mine) + f"&to={DAY.format(3)}")
    assert rate(found, "all")["fish_days"] == days


def test_rates_come_as_csv_and_nothing_recorded_is_said_to_be_unknown(shoal: Caller) -> None:
    assert losses(shoal)["says"] == ["Unknown, because no fish were watched in that time."]
    entry(shoal, "birth", group(shoal), 20, 1)
    table = shoal.get("/v1/losses?format=csv").get_data(as_text=True).splitlines()
    assert table[0] == "by,key,called,fish_days,lost,missing,per_1000_fish_days,low,high,note"
    assert table[1].startswith("all,all,all fish,")


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("?within=0", 422),
        (f"?from={DAY.format(9)}&to={DAY.format(8)}", 422),
        ("?missing=maybe", 422),
        ("?species=no-such", 404),
        ("?system=no-such", 404),
        ("?group=01936c5e-8f00-7000-8000-00000000ffff", 404),
        ("?by=tank", 422),
    ],
)
def test_a_question_that_can_t_be_is_refused(shoal: Caller, query: str, status: int) -> None:
    assert shoal.get(f"/v1/losses{query}").status_code == status
