import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.bypasses import ENDS, bore_for, next_size, opening_for
from weirbook.engine.relations.pipes import FITTINGS, PLASTIC_ROUGHNESS, SIZES, Piece, loss
from weirbook.engine.relations.water import kinematic_viscosity

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
GAPS = list(csv.DictReader((PUBLISHED / "baffle_slot_head_loss.csv").open()))
SIPHONS = [
    row for row in csv.DictReader((PUBLISHED / "drain_full_siphon.csv").open()) if float(row["valve_k"]) == 0
]


@pytest.mark.parametrize("row", GAPS, ids=lambda row: row["case_id"])
def test_a_slot_round_a_section_is_as_large_as_one_that_loses_that_drop(row: dict[str, str]) -> None:
    area = float(row["slot_width_m"]) * float(row["slot_height_m"])
    found = opening_for(float(row["flow_m3_per_s"]), float(row["head_loss_cd_0_61_m"]))
    assert found == pytest.approx(area, rel=1e-3)


@pytest.mark.parametrize("row", SIPHONS, ids=lambda row: row["case_id"])
def test_a_pipe_round_a_section_is_as_wide_as_one_that_carries_that_flow(row: dict[str, str]) -> None:
    """A full siphon is the same balance: entry 0.5, exit 1, 0.9 for each elbow, Colebrook."""
    bore = bore_for(
        float(row["flow_m3_per_s"]),
        float(row["level_difference_m"]),
        float(row["pipe_length_m"]),
        float(row["elbow_count"]),
        float(row["roughness_mm"]) / 1000,
        kinematic_viscosity(float(row["temperature_c"]) + 273.15),
    )
    # Flow goes with the bore's power of 2.5 or so: 0.5 % of flow is 0.2 % of bore.
    assert bore == pytest.approx(float(row["inside_diameter_m"]), rel=2e-3)


def test_the_next_size_is_the_narrowest_that_is_at_least_as_wide() -> None:
    for name, inside in SIZES.items():
        found, bore = next_size(inside) or ("", 0.0)
        assert bore == inside and SIZES[found] == SIZES[name]
    widest = max(SIZES.values())
    assert next_size(widest * 1.01) is None
    assert (next_size(0.03) or ("", 0))[1] == min(size for size in SIZES.values() if size >= 0.03)


@given(
    st.floats(1e-6, 1e-2),
    st.floats(1e-4, 1.0),
    st.floats(0.0, 5.0),
    st.integers(0, 8),
    st.floats(6e-7, 1.8e-6),
)
def test_a_pipe_of_the_bore_that_is_found_loses_the_drop(
    flow: float, drop: float, length: float, elbows: int, viscosity: float
) -> None:
    bore = bore_for(flow, drop, length, elbows, PLASTIC_ROUGHNESS, viscosity)
    k = ENDS + elbows * FITTINGS["elbow"]
    lost = loss(flow, (Piece(bore, length, PLASTIC_ROUGHNESS, k),), viscosity)
    assert lost == pytest.approx(drop, rel=1e-9)
    assert bore_for(flow, drop * 2, length, elbows, PLASTIC_ROUGHNESS, viscosity) < bore
    assert bore_for(flow * 2, drop, length, elbows, PLASTIC_ROUGHNESS, viscosity) > bore
    assert opening_for(flow, drop * 2) < opening_for(flow, drop)
