import csv
import itertools
from collections.abc import Iterator
from pathlib import Path

import gsw
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from phreeqpython import PhreeqPython

from weirbook.engine.relations.changes import (
    FIRST_PK,
    SECOND_PK,
    Day,
    Pace,
    Water,
    after_changes,
    carbon_of_ph,
    changes_needed,
    days_within,
    drip_to_reach,
    dripped_value,
    mixed,
    mixed_ph,
    mixed_water,
    ph_of_carbon,
    ph_share_within,
    share_to_reach,
    share_within,
    shares_within,
)

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
HALF_A_DIGIT = 5.1e-6
"""A value that ends in a five may be printed either way."""

shares = st.floats(0.01, 0.99)
values = st.floats(0.01, 500)
waters = st.tuples(st.floats(5, 9), st.floats(0.1, 8))


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


def numbers(row: dict[str, str]) -> dict[str, float]:
    return {name: float(value) for name, value in row.items() if name != "provenance"}


@pytest.mark.parametrize("row", rows("water_change_serial"))
def test_equal_changes_lead_to_the_published_value(row: dict[str, str]) -> None:
    told = numbers(row)
    count = int(told["number_of_changes"])
    value = after_changes(
        told["c0_mg_per_l"], told["source_water_mg_per_l"], told["fraction_per_change"], count
    )
    assert value == pytest.approx(told["c_final_mg_per_l"], abs=HALF_A_DIGIT)


@pytest.mark.parametrize("row", rows("water_change_count_needed"))
def test_a_value_takes_the_published_changes_and_drip(row: dict[str, str]) -> None:
    told = numbers(row)
    share = share_to_reach(told["c0_mg_per_l"], told["source_water_mg_per_l"], told["target_mg_per_l"])
    assert share == pytest.approx(told["single_change_fraction"], abs=HALF_A_DIGIT)
    assert changes_needed(share, told["fraction_per_change"]) == told["changes_needed_integer"]
    assert drip_to_reach(share, 1.0) == pytest.approx(told["drip_volumes_needed"], abs=HALF_A_DIGIT)


@pytest.mark.parametrize("row", rows("water_change_continuous"))
def test_a_drip_leads_to_the_published_value(row: dict[str, str]) -> None:
    told = numbers(row)
    dripped = told["flow_l_per_day"] * told["days"]
    value = dripped_value(told["c0_mg_per_l"], told["inflow_mg_per_l"], told["volume_l"], dripped)
    assert value == pytest.approx(told["c_mg_per_l"], abs=HALF_A_DIGIT)


@given(values, values, shares)
def test_a_mix_holds_what_both_waters_brought(first: float, second: float, share: float) -> None:
    brought = (1 - share) * first + share * second
    assert mixed(first, second, share) == pytest.approx(brought, rel=1e-9)


@given(values, values, shares)
def test_the_share_to_reach_a_mix_is_its_share(first: float, second: float, share: float) -> None:
    assume(abs(first - second) > 1e-3)
    assert share_to_reach(first, second, mixed(first, second, share)) == pytest.approx(share, rel=1e-6)


@pytest.mark.parametrize(("first", "second", "wanted"), [(5, 5, 5), (5, 9, 4.99), (5, 9, 9.01), (9, 5, 10)])
def test_nothing_beyond_two_waters_is_reached(first: float, second: float, wanted: float) -> None:
    with pytest.raises(ValueError, match="between"):
        share_to_reach(first, second, wanted)


@given(shares, shares)
def test_one_change_fewer_would_not_do(whole: float, share: float) -> None:
    count = changes_needed(whole, share)
    assert 1 - (1 - share) ** count >= whole - 1e-7
    assert 1 - (1 - share) ** (count - 1) < whole


def test_changes_that_do_it_exactly_are_not_counted_up() -> None:
    assert [changes_needed(1 - 0.7**count, 0.3) for count in range(8)] == list(range(8))


def test_a_whole_change_is_one() -> None:
    assert (changes_needed(0.5, 1.0), changes_needed(0.0, 1.0)) == (1, 0)


@given(shares, st.floats(0.001, 10))
def test_a_drip_always_takes_more_water_than_one_change(share: float, volume: float) -> None:
    assert drip_to_reach(share, volume) > share * volume


@given(values, values, shares, st.floats(0.001, 10))
def test_the_drip_to_reach_a_share_reaches_it(
    first: float, second: float, share: float, volume: float
) -> None:
    value = dripped_value(first, second, volume, drip_to_reach(share, volume))
    assert value == pytest.approx(mixed(first, second, share), rel=1e-9)


@pytest.mark.parametrize(("cold", "hot"), [(5, 40), (10, 38), (24, 26), (2, 20)])
def test_temperatures_mix_as_the_thermodynamic_equation_of_sea_water_has_it(cold: float, hot: float) -> None:
    """TEOS-10 by gsw, without salt: its conservative temperature mixes by mass, ours by volume."""
    for share in (0.1, 0.5, 0.8):
        warm = [gsw.CT_from_t(0, t, 0) for t in (cold, hot)]
        mass = [(1 - share) * gsw.rho(0, warm[0], 0), share * gsw.rho(0, warm[1], 0)]
        mean = (mass[0] * warm[0] + mass[1] * warm[1]) / sum(mass)
        assert mixed(cold, hot, share) == pytest.approx(gsw.t_from_CT(0, mean, 0), abs=0.1)


@pytest.fixture(scope="module")
def chemistry() -> PhreeqPython:
    return PhreeqPython(database="phreeqc.dat")


PAIRS = list(itertools.product((5.5, 6.5, 7.2, 8.0, 8.25), (0.5, 4.0), (5.8, 7.0, 7.6, 8.25), (0.7, 2.5)))


def both(chemistry: PhreeqPython, pair: tuple[float, ...]) -> list[object]:
    ph_1, alkalinity_1, ph_2, alkalinity_2 = pair
    return [
        chemistry.add_solution({"temp": 25, "pH": ph, "Alkalinity": held, "Ca": held / 3, "Na": "1 charge"})
        for ph, held in ((ph_1, alkalinity_1), (ph_2, alkalinity_2))
    ]


@pytest.mark.parametrize("pair", PAIRS)
def test_ph_and_conductivity_of_a_mix_are_those_of_a_chemical_equilibrium_model(
    chemistry: PhreeqPython, pair: tuple[float, ...]
) -> None:
    """PHREEQC, closed to air, both waters with calcium. Conductivity is its own model's."""
    ph_1, alkalinity_1, ph_2, alkalinity_2 = pair
    first, second = both(chemistry, pair)
    slack = 0.1 if max(ph_1, ph_2) > 8 else 0.05
    for share in (0.2, 0.7):
        whole = chemistry.mix_solutions({first: 1 - share, second: share})
        ph = mixed_ph((ph_1, alkalinity_1), (ph_2, alkalinity_2), share)
        assert ph == pytest.approx(whole.pH, abs=slack)
        assert mixed(first.sc, second.sc, share) == pytest.approx(whole.sc, rel=0.05)
        whole.forget()
    first.forget()
    second.forget()


def test_carbon_of_ph_is_that_of_the_dissociations() -> None:
    """By hand: at pK1 half is carbon dioxide, so two to an equivalent; at pK2 half is carbonate, so 2/3."""
    assert carbon_of_ph(FIRST_PK) == pytest.approx(2, abs=5e-4)
    assert carbon_of_ph(SECOND_PK) == pytest.approx(2 / 3, abs=1e-4)


def test_the_dissociations_are_those_of_the_source() -> None:
    """Plummer and Busenberg (1982), polynomials read: 6.3519 and 10.3289 at 25 degC."""
    assert (FIRST_PK, SECOND_PK) == (pytest.approx(6.3519, abs=5e-4), pytest.approx(10.3289, abs=5e-4))


@given(st.floats(3, 11))
def test_ph_and_carbon_are_each_others_inverse(ph: float) -> None:
    assert ph_of_carbon(carbon_of_ph(ph)) == pytest.approx(ph, abs=1e-6)


@given(waters, waters, shares)
def test_ph_of_a_mix_lies_between(
    first: tuple[float, float], second: tuple[float, float], share: float
) -> None:
    low, high = sorted((first[0], second[0]))
    assert low - 1e-6 <= mixed_ph(first, second, share) <= high + 1e-6


def test_water_without_alkalinity_moves_no_ph() -> None:
    assert mixed_ph((7.3, 2.0), (5.5, 0.0), 0.9) == pytest.approx(7.3, abs=1e-9)
    with pytest.raises(ZeroDivisionError):
        mixed_ph((7.3, 0.0), (5.5, 0.0), 0.9)


@given(waters, waters, st.floats(0.05, 1))
def test_the_share_of_a_step_of_ph_moves_it_by_that_step(
    first: tuple[float, float], second: tuple[float, float], most: float
) -> None:
    share = ph_share_within(first, second, most)
    assert 0 < share <= 1
    moved = abs(mixed_ph(first, second, share) - first[0])
    if abs(first[0] - second[0]) <= most:
        assert share == 1
    else:
        assert moved == pytest.approx(most, abs=1e-6)


@given(values, values, st.floats(0.01, 100))
def test_the_share_of_a_step_moves_no_more_than_that(first: float, second: float, most: float) -> None:
    share = share_within(first, second, most)
    assert abs(mixed(first, second, share) - first) <= most * (1 + 1e-9)
    assert share == 1 or abs(mixed(first, second, share) - first) == pytest.approx(most)


some_water = st.builds(
    Water,
    hardness=st.none() | st.floats(0, 8),
    alkalinity=st.none() | st.floats(0, 8),
    ph=st.none() | st.floats(5, 9),
    temperature=st.none() | st.floats(285, 305),
)
some_pace = st.builds(
    Pace,
    size=st.floats(0.1, 0.9),
    hardness=st.floats(0.1, 2),
    alkalinity=st.floats(0.1, 2),
    ph=st.floats(0.1, 1),
    temperature=st.floats(0.3, 3),
)


def followed(tank: Water, days: list[Day]) -> Iterator[tuple[Water, Day]]:
    for day in days:
        yield tank, day
        tank = day.after


@given(some_water, some_water, some_pace, shares)
def test_no_day_passes_its_pace_and_all_together_do_what_was_asked(
    tank: Water, source: Water, pace: Pace, share: float
) -> None:
    days = list(itertools.islice(days_within(tank, source, pace, share), 2000))
    assume(len(days) < 2000)
    left = 1.0
    for before, day in followed(tank, days):
        left *= 1 - day.share
        assert day.left == pytest.approx(left, rel=1e-9)
        assert day.share <= pace.size * (1 + 1e-6)
        for name in ("hardness", "alkalinity"):
            here, there = getattr(before, name), getattr(day.after, name)
            if here is not None and there is not None:
                assert abs(there - here) <= getattr(pace, name) * (1 + 1e-6)
        if before.ph is not None and day.after.ph is not None and before.alkalinity:
            assert abs(day.after.ph - before.ph) <= pace.ph + 1e-5
        if before.temperature is not None and source.temperature is not None:
            moved = day.share * abs(source.temperature - before.temperature)
            assert moved <= pace.temperature * (1 + 1e-6)
    assert left == pytest.approx(1 - share, abs=1e-8)


@given(some_water, some_water, some_pace, shares)
def test_the_days_end_where_one_change_would(tank: Water, source: Water, pace: Pace, share: float) -> None:
    days = list(itertools.islice(days_within(tank, source, pace, share), 2000))
    assume(0 < len(days) < 2000)
    at_once = mixed_water(tank, source, share)
    for name in ("hardness", "alkalinity", "ph"):
        end, there = getattr(days[-1].after, name), getattr(at_once, name)
        assert end == (None if there is None else pytest.approx(there, abs=1e-5))


def test_each_day_but_the_last_is_as_large_as_may_be() -> None:
    tank, source = Water(hardness=1.0), Water(hardness=3.0)
    days = list(days_within(tank, source, Pace(0.5, 0.4, 1, 1, 1), 0.9))
    # By hand: 0.4 of 2, then of 1.6, 1.2, 0.8 (half, so that both bind), then half at most, then what is left.
    assert [day.share for day in days] == pytest.approx([0.2, 0.25, 1 / 3, 0.5, 0.5])
    assert [day.held_by for day in days[:3]] == ["hardness"] * 3
    assert days[-1].left == pytest.approx(0.1)


def test_a_tank_without_alkalinity_is_not_judged_by_ph() -> None:
    pace = Pace(0.5, 1, 1, 0.3, 1)
    empty, full = Water(alkalinity=0.0, ph=6.0), Water(alkalinity=2.0, ph=7.5)
    assert "ph" not in shares_within(empty, full, pace)
    assert "ph" in shares_within(full, empty, pace)
