"""What tanks are fed on a day and on an average one: rations in turn, fasting days, single feedings. By hand."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from harness import Caller, made
from hypothesis import given, settings
from hypothesis import strategies as st
from water_scenes import feed, set_up_vat

from weirbook.actions.feed_days import FeedDays, Meal, share_of
from weirbook.actions.filling import Absent
from weirbook.app import Service
from weirbook.engine.times import zone
from weirbook.engine.units import Quantity
from weirbook.errors import Invalid
from weirbook.record.database import Database, enter_room
from weirbook.record.feeds import WEEKDAYS, Feed, Ration
from weirbook.record.names import find
from weirbook.record.places import Tank

MONDAY = date(2026, 6, 1)
"""Clocks in Lisbon show an hour more than UTC."""
Fed = dict[str, float]


@pytest.fixture
def larder(furnished: Caller) -> Caller:
    set_up_vat(furnished)
    for name, label in (("A", {"protein": "40 %"}), ("B", {"protein": "10 %"}), ("C", {})):
        made(furnished, "feeds", {"name": name, **label})
    return furnished


def grams(meals: list[Meal]) -> Fed:
    found: Fed = {}
    for meal in meals:
        found[meal.feed.handle] = found.get(meal.feed.handle, 0) + meal.mass * 1000
    return found


class Days:
    """The vat's feeding, read anew."""

    def __init__(self, app: Service, room_id: int) -> None:
        with app.database.read() as session:
            enter_room(session, room_id)
            self.tank = find(session, Tank, "vat").id
            self.read = FeedDays(session, [self.tank], zone("Europe/Lisbon"))

    def on(self, day: date) -> Fed:
        return {name: pytest.approx(mass) for name, mass in grams(self.read.meals(self.tank, day)).items()}

    def average(self, day: date) -> Fed:
        return grams(self.read.average(self.tank, day))


def test_feeds_together_are_all_fed_every_day_but_fasting_ones(
    larder: Caller, app: Service, room_id: int
) -> None:
    feed(larder, ("a", "2 g"), ("b", "1 oz"), since="2026-05-01", fasting_days=["sunday"])
    days = Days(app, room_id)
    assert days.on(MONDAY) == {"a": 2, "b": pytest.approx(28.349523125)}
    assert days.on(MONDAY + timedelta(days=6)) == {}
    assert days.average(MONDAY)["a"] == pytest.approx(2 * 6 / 7)


def test_feeds_in_turn_are_fed_one_a_feeding_day_from_the_first_on(
    larder: Caller, app: Service, room_id: int
) -> None:
    """Monday A, Tuesday B, Wednesday nothing, Thursday C, Friday A, Saturday B, Sunday nothing, Monday C…
    Three feeds over five feeding days a week: in three weeks each is fed five times."""
    feed(larder, ("a", "2 g"), ("b", "3 g"), ("c", "5 g"), since="2026-06-01", rotation="in_turn",
         fasting_days=["sunday", "wednesday"])  # fmt: skip
    days = Days(app, room_id)
    fed = [days.on(MONDAY + timedelta(days=one)) for one in range(9)]
    a, b, c = {"a": 2}, {"b": 3}, {"c": 5}
    assert fed == [a, b, {}, c, a, b, {}, c, a]
    for start in (0, 4, 100):
        average = days.average(MONDAY + timedelta(days=start))
        assert average == {
            "a": pytest.approx(10 / 21),
            "b": pytest.approx(15 / 21),
            "c": pytest.approx(25 / 21),
        }


def test_turns_count_from_a_first_day_in_the_middle_of_the_week(
    larder: Caller, app: Service, room_id: int
) -> None:
    """From Saturday on, Sundays without: Saturday A, Monday B, Tuesday C; the Saturday after: five on, C."""
    feed(larder, ("a", "1 g"), ("b", "1 g"), ("c", "1 g"), since="2026-06-06", rotation="in_turn",
         fasting_days=["sunday"])  # fmt: skip
    days = Days(app, room_id)
    fed = [next(iter(days.on(date(2026, 6, day))), None) for day in range(6, 14)]
    assert fed == ["a", None, "b", "c", "a", "b", "c", "a"]


def test_a_ration_holds_from_the_rooms_day_in_which_it_begins(
    larder: Caller, app: Service, room_id: int
) -> None:
    """23:30 UTC of the 2nd is half past midnight of the 3rd in the room; 22:00 UTC of the 5th is still the 5th."""
    for instant, amount in (("2026-06-02T23:30:00Z", "1 g"), ("2026-06-05T22:00:00Z", "2 g")):
        rows = [{"feed": "a", "amount": amount}]
        made(larder, "rations", {"tank": "vat", "valid_from": instant, "feeds": rows})
    days = Days(app, room_id)
    assert [days.on(date(2026, 6, day)).get("a") for day in range(2, 7)] == [None, 1, 1, 2, 2]
    assert [days.read.told(days.tank, date(2026, 6, day)) for day in (2, 3)] == [False, True]


def test_a_ration_without_feeds_ends_feeding(larder: Caller, app: Service, room_id: int) -> None:
    feed(larder, ("a", "1 g"), since="2026-05-01")
    feed(larder, since="2026-06-02")
    days = Days(app, room_id)
    assert (days.on(MONDAY), days.on(date(2026, 6, 2)), days.average(date(2026, 6, 2))) == ({"a": 1}, {}, {})
    assert days.read.told(days.tank, date(2026, 6, 2))


def test_single_feedings_come_on_top_or_in_place_of_their_day_alone(
    larder: Caller, app: Service, room_id: int
) -> None:
    """Tuesday's were told at 23:30 UTC of Monday, which is Tuesday in the room."""
    feed(larder, ("a", "1 g"), since="2026-05-01")
    for instant, said in (
        ("2026-06-01T23:30:00Z", {"feed": "b", "amount": "2 g"}),
        ("2026-06-03T09:00:00Z", {"feed": "b", "amount": "2 g", "instead": True}),
        ("2026-06-03T18:00:00Z", {"feed": "a", "amount": "3 g"}),
        ("2026-06-04T09:00:00Z", {"instead": True}),
    ):
        made(larder, "feedings", {"tank": "vat", "fed_at": instant, **said})
    days = Days(app, room_id)
    fed = [days.on(date(2026, 6, day)) for day in range(1, 6)]
    assert fed == [{"a": 1}, {"a": 1, "b": 2}, {"b": 2, "a": 3}, {}, {"a": 1}]
    assert days.average(MONDAY) == {"a": pytest.approx(1)}


def test_a_single_feeding_tells_of_its_day_without_any_ration(
    larder: Caller, app: Service, room_id: int
) -> None:
    said = {"tank": "vat", "feed": "a", "amount": "3 g", "fed_at": "2026-06-03T09:00:00Z"}
    made(larder, "feedings", said)
    days = Days(app, room_id)
    assert days.on(date(2026, 6, 3)) == {"a": 3}
    assert [days.read.told(days.tank, date(2026, 6, day)) for day in (2, 3, 4)] == [False, True, False]


def test_a_retired_feed_is_still_fed_by_the_rations_that_name_it(
    larder: Caller, app: Service, room_id: int
) -> None:
    feed(larder, ("a", "1 g"), since="2026-05-01")
    larder.patch("/v1/feeds/a", {"retired_at": "2026-05-15T00:00:00Z"})
    assert Days(app, room_id).on(MONDAY) == {"a": 1}


def test_a_ration_of_a_feed_that_is_gone_says_so(
    larder: Caller, app: Service, room_id: int, database: Database
) -> None:
    """The API deletes none that is named; a room edited elsewhere may lack it."""
    feed(larder, ("a", "1 g"), since="2026-05-01")
    with database.write() as session:
        enter_room(session, room_id)
        session.delete(find(session, Feed, "a"))
    days = Days(app, room_id)
    with pytest.raises(Invalid, match="names the feed 'a', which is not recorded"):
        days.on(MONDAY)


def test_the_share_of_foods_together_counts_each_by_its_mass(
    larder: Caller, app: Service, room_id: int
) -> None:
    """30 g of 40 % and 10 g of 10 %: (12 + 1) / 40 = 32.5 %."""
    foods = Days(app, room_id).read.feeds
    meals = [Meal(foods["a"], 0.030), Meal(foods["b"], 0.010)]
    assert share_of(meals, "protein") == pytest.approx(0.325)
    assert share_of([*meals, Meal(foods["c"], 0.001)], "protein") == Absent(
        "No protein of the feed c is recorded."
    )
    assert share_of([], "protein") == Absent("Nothing is fed.")


def ration_of(feeds: list[tuple[str, float]], rotation: str, fasting: list[str], begun_ms: int) -> Any:
    rows = [{"feed": name, "amount": Quantity(amount, "g")} for name, amount in feeds]
    return Ration(feeds=rows, rotation=rotation, fasting_days=fasting, valid_from_ms=begun_ms)


@settings(max_examples=60)
@given(
    amounts=st.lists(st.floats(0.1, 50), min_size=1, max_size=4),
    rotation=st.sampled_from(["together", "in_turn"]),
    fasting=st.lists(st.sampled_from(WEEKDAYS), max_size=6, unique=True),
    begun=st.integers(0, 13),
    asked=st.integers(14, 60),
)
def test_an_average_day_times_whole_turns_is_what_their_days_come_to(
    amounts: list[float], rotation: str, fasting: list[str], begun: int, asked: int
) -> None:
    """Whatever the day asked from; over 7 days times the feeds every feed comes round as often."""
    days = FeedDays.__new__(FeedDays)
    days.feeds = {f"f{one}": Feed(handle=f"f{one}") for one in range(len(amounts))}
    days._zone, days._single = zone("UTC"), {}  # type: ignore[assignment]
    feeds = [(f"f{one}", amount) for one, amount in enumerate(amounts)]
    day_ms, start = 86_400_000, 1_780_272_000_000
    days._rations = {1: [ration_of(feeds, rotation, fasting, start + begun * day_ms)]}  # type: ignore[assignment]
    first = date(2026, 6, 1) + timedelta(days=asked)
    span = 7 * len(amounts)
    summed = grams([meal for one in range(span) for meal in days.meals(1, first + timedelta(days=one))])
    feeding = 7 - len(fasting)
    times = feeding if rotation == "in_turn" else feeding * len(amounts)
    assert summed == {name: pytest.approx(amount * times) for name, amount in feeds}
    average = grams(days.average(1, first))
    assert average == {name: pytest.approx(amount * times / span) for name, amount in feeds}
