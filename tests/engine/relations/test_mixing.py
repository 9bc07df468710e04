import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.mixing import (
    Matrix,
    Stream,
    carried,
    chain_passes,
    chain_share,
    exchange,
    joined,
    mixed_share,
    mixed_time,
    steady_level,
    time_until,
)

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def published(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


WASHOUT = published("cstr_time_to_fraction")
DILUTION = published("turnover_dilution_published")
CHAINS = published("tanks_in_series_washout")
LOOPS = published("two_tank_loop_washout")
STEADY = published("filter_steady_state")


@pytest.mark.parametrize("row", WASHOUT, ids=lambda row: row["case_id"])
def test_the_time_to_a_share_is_that_of_a_stirred_tank(row: dict[str, str]) -> None:
    volume, flow = float(row["volume_l"]) / 1000, float(row["flow_l_per_h"]) / 3.6e6
    time = mixed_time(float(row["fraction_removed"]), volume, flow, float(row["removal_per_pass"]))
    assert time / 3600 == pytest.approx(float(row["time_h"]), rel=1e-4)
    assert time * flow / volume == pytest.approx(float(row["turnovers_needed"]), rel=1e-4)


@pytest.mark.parametrize("row", [r for r in DILUTION if r["published_value_how_obtained"] == "read"])
def test_turnovers_dilute_as_measured_in_a_model_pool(row: dict[str, str]) -> None:
    share = mixed_share(volume=1.0, flow=1.0, time=float(row["turnovers"]))
    assert share == pytest.approx(float(row["published_fraction_filtered"]), abs=0.01)


@pytest.mark.parametrize("row", DILUTION, ids=lambda row: row["turnovers"])
def test_turnovers_dilute_by_the_exact_exponential(row: dict[str, str]) -> None:
    share = mixed_share(volume=1.0, flow=1.0, time=float(row["turnovers"]))
    assert share == pytest.approx(float(row["exact_fraction"]), abs=1e-6)


@given(st.floats(0, 0.999), st.floats(0.01, 100), st.floats(1e-6, 1), st.floats(0.01, 1))
def test_the_share_after_the_time_to_a_share_is_that_share(
    share: float, volume: float, flow: float, removal: float
) -> None:
    assert mixed_share(volume, flow, mixed_time(share, volume, flow, removal), removal) == pytest.approx(
        share
    )


@pytest.mark.parametrize(
    "row", CHAINS, ids=lambda row: f"{row['tank_count']} tanks, {row['dimensionless_time']}"
)
def test_a_chain_of_tanks_lets_go_as_the_published_distribution(row: dict[str, str]) -> None:
    tanks, passes, share = (
        int(row["tank_count"]),
        float(row["dimensionless_time"]),
        float(row["fraction_exited"]),
    )
    assert chain_share(tanks, passes) == pytest.approx(share, rel=1e-3)
    assert chain_passes(share, tanks) == pytest.approx(passes, rel=1e-3)


@pytest.mark.parametrize(
    "row", CHAINS, ids=lambda row: f"{row['tank_count']} tanks, {row['dimensionless_time']}"
)
def test_bodies_in_a_ring_that_filters_all_let_go_as_a_chain_does(row: dict[str, str]) -> None:
    tanks = int(row["tank_count"])
    rates = ring([1 / tanks] * tanks, 1.0, [0.0] * (tanks - 1) + [1.0])
    left = math.fsum(carried(rates, [1.0] + [0.0] * (tanks - 1), float(row["dimensionless_time"])))
    assert 1 - left == pytest.approx(float(row["fraction_exited"]), rel=1e-3)


def ring(volumes: list[float], flow: float, removals: list[float]) -> Matrix:
    count = len(volumes)
    return exchange(volumes, [Stream(k, (k + 1) % count, flow) for k in range(count)], removals)


@pytest.mark.parametrize("row", LOOPS, ids=lambda row: row["case_id"])
def test_a_display_and_its_sump_wash_out_as_the_exact_solution(row: dict[str, str]) -> None:
    volumes = [float(row["display_volume_l"]), float(row["sump_volume_l"])]
    rates = ring(volumes, float(row["flow_l_per_h"]), [0.0, float(row["removal_per_pass_at_sump_outlet"])])
    display, sump = carried(rates, [1.0, 0.0], float(row["time_h"]))
    assert display == pytest.approx(float(row["display_concentration_ratio"]), rel=5e-3)
    assert sump * volumes[0] / volumes[1] == pytest.approx(float(row["sump_concentration_ratio"]), rel=5e-3)
    assert display + sump == pytest.approx(float(row["mass_remaining_ratio"]), rel=5e-3)


@pytest.mark.parametrize("row", LOOPS, ids=lambda row: row["case_id"])
def test_the_time_to_what_is_left_of_a_loop_is_the_published_time(row: dict[str, str]) -> None:
    volumes = [float(row["display_volume_l"]), float(row["sump_volume_l"])]
    rates = ring(volumes, float(row["flow_l_per_h"]), [0.0, float(row["removal_per_pass_at_sump_outlet"])])
    left = float(row["mass_remaining_ratio"])
    time = time_until(rates, [1.0, 0.0], lambda masses: math.fsum(masses) <= left)
    assert time == pytest.approx(float(row["time_h"]), rel=5e-3)


@pytest.mark.parametrize("row", STEADY, ids=lambda row: row["case_id"])
def test_a_steady_load_settles_where_the_balance_says(row: dict[str, str]) -> None:
    load, flow = float(row["waste_input_mg_per_day"]) / 24, float(row["flow_l_per_h"])
    removal, volume = float(row["removal_per_pass"]), float(row["system_volume_l"])
    level = steady_level(load, flow, removal)
    assert level == pytest.approx(float(row["steady_concentration_mg_per_l"]), rel=1e-3)
    left = carried(exchange([volume], [Stream(0, 0, flow)], [removal]), [1.0], 24.0)[0]
    assert left == pytest.approx(float(row["fraction_left_after_one_day_no_input"]), rel=1e-3, abs=0)


@st.composite
def networks(draw: st.DrawFn) -> tuple[list[float], list[Stream]]:
    """A ring of bodies with rings of fewer beside it: every body's streams balance."""
    volumes = draw(st.lists(st.floats(0.01, 10), min_size=2, max_size=7))
    count = len(volumes)
    rings = [list(range(count))]
    rings += draw(
        st.lists(st.lists(st.integers(0, count - 1), min_size=2, max_size=4, unique=True), max_size=3)
    )
    streams = []
    for places in rings:
        flow = draw(st.floats(1e-5, 1e-2))
        streams += [Stream(a, b, flow) for a, b in zip(places, [*places[1:], places[0]], strict=True)]
    return volumes, streams


@given(networks(), st.floats(0, 1e7))
def test_what_bodies_of_water_carry_is_neither_made_nor_lost(
    network: tuple[list[float], list[Stream]], time: float
) -> None:
    volumes, streams = network
    masses = carried(
        exchange(volumes, streams, [0.0] * len(volumes)), [1.0] + [0.0] * (len(volumes) - 1), time
    )
    assert math.fsum(masses) == pytest.approx(1, abs=1e-9)
    assert min(masses) > -1e-12


@given(networks(), st.floats(0.001, 0.5))
def test_a_dose_comes_to_one_level_and_stays_there(
    network: tuple[list[float], list[Stream]], within: float
) -> None:
    volumes, streams = network
    rates, start = exchange(volumes, streams, [0.0] * len(volumes)), [1.0] + [0.0] * (len(volumes) - 1)
    mean = 1 / math.fsum(volumes)

    def apart(masses: list[float]) -> float:
        return max(abs(mass / volume / mean - 1) for mass, volume in zip(masses, volumes, strict=True))

    time = time_until(rates, start, lambda masses: apart(list(masses)) <= within)
    assert time is not None
    shortest = 1 / max(-row[place] for place, row in enumerate(rates))
    assert apart(carried(rates, start, time)) <= within + 1e-9
    assert apart(carried(rates, start, 1.5 * time)) <= within + 1e-9
    assert apart(carried(rates, start, max(0.0, time - 1e-6 * shortest))) > within - 1e-6


def test_water_that_is_not_exchanged_never_evens_out() -> None:
    apart = exchange([1.0, 1.0, 1.0], [Stream(0, 1, 1.0), Stream(1, 0, 1.0)], [0.0, 0.0, 0.0])
    assert time_until(apart, [1.0, 0.0, 0.0], lambda masses: masses[2] > 0.1) is None
    assert joined(3, [Stream(0, 1, 1.0), Stream(1, 0, 1.0)], 0) == {0, 1}


@given(st.integers(1, 50), st.floats(0, 0.999))
def test_the_share_after_the_passes_to_a_share_of_a_chain_is_that_share(tanks: int, share: float) -> None:
    assert chain_share(tanks, chain_passes(share, tanks)) == pytest.approx(share, abs=1e-12)
