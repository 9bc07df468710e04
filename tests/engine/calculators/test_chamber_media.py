import csv
from pathlib import Path
from typing import Any

import pytest

from weirbook.engine.calculators.chamber_flow import CHAMBER_FLOW
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows_of(file: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / file).open()))


BEDS = rows_of("planted_bed_darcy.csv")
PACKED = rows_of("packed_bed_pressure_drop.csv")
MEDIA = rows_of("media_specific_surface.csv")
GUIDELINES = {row["quantity"]: float(row["value"]) for row in rows_of("wetland_guidelines_published.csv")}


def told(flow: str = "1000 L/h", **said: Any) -> Answer:
    """One section of 40 cm x 50 cm x 30 cm with what is said otherwise."""
    section = {
        "name": "bed",
        "use": "media",
        "direction": "up",
        "length": "40 cm",
        "width": "50 cm",
        "depth": "30 cm",
        **said,
    }
    return answer(CHAMBER_FLOW, {"flow": flow, "sections": [section]})


def row(flow: str = "1000 L/h", **said: Any) -> dict[str, Any]:
    [found] = told(flow, **said).values["sections"]
    return dict(found)


@pytest.mark.parametrize("case", BEDS, ids=lambda case: case["case_id"])
def test_a_planted_bed_has_the_velocities_and_the_loading_of_darcy(case: dict[str, str]) -> None:
    size = {name: float(case[f"{name}_m"]) for name in ("length", "width", "depth")}
    litres = size["length"] * size["width"] * size["depth"] * 1000
    found = row(
        f"{case['flow_l_per_h']} L/h",
        use="planted-rooted",
        direction="along",
        media_volume=f"{litres} L",
        media_porosity=f"{case['porosity']} 1",
        **{name: f"{value} m" for name, value in size.items()},
    )
    assert found["darcy_velocity"] == pytest.approx(float(case["darcy_velocity_m_per_s"]), rel=2e-3)
    assert found["pore_velocity"] == pytest.approx(float(case["pore_velocity_m_per_s"]), rel=2e-3)
    assert found["media_contact_time"] / 60 == pytest.approx(float(case["residence_time_min"]), rel=2e-3)
    assert found["hydraulic_loading"] * 86400 == pytest.approx(
        float(case["areal_loading_m_per_day"]), rel=2e-3
    )
    assert (found["bed_loss"], found["media_surface"]) == (None, None), "no grain was told"


@pytest.mark.parametrize("direction", ["up", "down"])
@pytest.mark.parametrize("case", PACKED, ids=lambda case: case["case_id"])
def test_media_lose_head_as_ergun_says(case: dict[str, str], direction: str) -> None:
    velocity = float(case["superficial_velocity_m_per_s"])
    section = {
        "direction": direction,
        "media_volume": "20 L",
        "media_porosity": f"{case['void_fraction']} 1",
        "media_grain_size": f"{case['particle_diameter_mm']} mm",
    }
    found = answer(
        CHAMBER_FLOW,
        {
            "flow": f"{velocity * 0.2} m3/s",
            "temperature": f"{case['temperature_c']} degC",
            "sections": [{"name": "bed", "use": "media", "length": "40 cm", "width": "50 cm", **section}],
        }
        | {"return_depth": "30 cm"},
    ).values["sections"][0]
    assert found["darcy_velocity"] == pytest.approx(velocity)
    # 20 L over 0.2 m2 are 10 cm.
    assert found["bed_loss"] == pytest.approx(0.1 * float(case["head_gradient_m_per_m"]), rel=5e-3)


@pytest.mark.parametrize(
    "case", MEDIA, ids=lambda case: f"{case['generic_medium']} {case['particle_diameter_mm']}"
)
def test_media_offer_at_least_the_surface_of_spheres(case: dict[str, str]) -> None:
    found = row(
        media_volume="10 L",
        media_porosity=f"{case['void_fraction']} 1",
        media_grain_size=f"{case['particle_diameter_mm']} mm",
    )
    assert found["media_surface"] / 0.01 == pytest.approx(
        float(case["specific_surface_m2_per_m3_bulk"]), rel=1e-3
    )


def test_loading_is_that_of_the_wetland_that_takes_a_cubic_metre_a_day() -> None:
    area = GUIDELINES["subsurface_flow_area_per_daily_flow"]
    found = row("1 m3/d", use="planted-rooted", length=f"{area} m", width="1 m")
    assert found["hydraulic_loading"] * 86400 == pytest.approx(
        GUIDELINES["subsurface_flow_equivalent_areal_loading"], rel=1e-5
    )


def test_a_section_without_media_or_plants_has_no_loading_and_no_bed() -> None:
    found = row(use="heating")
    names = ("hydraulic_loading", "darcy_velocity", "pore_velocity", "bed_loss", "media_contact_time")
    assert [found[name] for name in names] == [None] * 5
    assert row(use="planted-floating")["hydraulic_loading"] == pytest.approx(1 / 3600 / 0.2)


def test_plants_narrow_the_way_through_by_their_coverage() -> None:
    """A full cover takes three tenths (dense stands in wetlands, from memory): 1 / 0.7 and 1 / 0.85 as fast."""
    for use, direction in (("planted-floating", "along"), ("planted-rooted", "up")):
        bare = row(use=use, direction=direction)
        full, half = (row(use=use, direction=direction, plant_coverage=c) for c in ("100 %", "50 %"))
        assert full["mean_velocity"] == pytest.approx(bare["mean_velocity"] / 0.7)
        assert half["free_area"] == pytest.approx(bare["free_area"] * 0.85)
        assert full["residence_time"] == bare["residence_time"]
    texts = [one.text for one in told(use="planted-floating", plant_coverage="50 %").assumptions]
    assert any("takes 0.3 of the free cross-section" in text for text in texts)


@pytest.mark.parametrize("direction", ["along", "up"])
def test_a_mend_counts_with_what_the_plants_take(direction: str) -> None:
    said = {"use": "planted-floating", "direction": direction, "plant_coverage": "80 %"}
    limit = {"limit_mean_velocity": "0.1 cm/s"}
    found = row(**said, **limit)
    assert found["mean_verdict"] == "over"
    for name in ("width", "depth" if direction == "along" else "length"):
        mended = row(**{**said, **limit, name: f"{found[f'wanted_{name}']} m"})
        assert mended["mean_velocity"] == pytest.approx(0.001)


def test_plants_and_grains_stand_only_where_they_can() -> None:
    for said, place in (
        ({"plant_coverage": "50 %"}, "plant_coverage"),
        ({"media_grain_size": "5 mm"}, "media_grain_size"),
    ):
        with pytest.raises(Invalid) as trouble:
            told(**said)
        assert [fault.pointer for fault in trouble.value.faults] == [f"/sections/0/{place}"]


@pytest.mark.parametrize("direction", ["along", "up", "down"])
@pytest.mark.parametrize("limit", ["0.05 cm/s", "5 cm/s"])
def test_every_step_follows_from_its_own_numbers(assert_followed, direction: str, limit: str) -> None:
    media = {"media_volume": "25 L", "media_porosity": "38 %", "media_grain_size": "6 mm"}
    for said in (media, {}):
        given = told(
            use="planted-rooted",
            direction=direction,
            plant_coverage="60 %",
            limit_mean_velocity=limit,
            **said,
        )
        for step in given.steps:
            assert_followed(step)
