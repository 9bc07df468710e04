"""Places and equipment: handles, quantities, rules of one row, dated states."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, on_both_engines

TANK: dict[str, Any] = {
    "name": "Shelf",
    "system": "rill",
    "use": "display",
    "footprint": {"shape": "rectangle", "length": "60 cm", "width": "30 cm"},
    "water_depth": "30 cm",
}


def pointers(answered: Any) -> list[str]:
    assert answered.status_code == 422, answered.get_data(as_text=True)
    return [error["pointer"] for error in answered.get_json()["errors"]]


@pytest.mark.parametrize(
    ("name", "handle"),
    [("Zoë's Röhre", "zoe-s-rohre"), ("  Left -- rack ", "left-rack"), ("魚", "tank"), ("=1+1", "1-1")],
)
def test_a_handle_is_made_from_the_name(furnished: Caller, name: str, handle: str) -> None:
    made = furnished.post("/v1/tanks", {**TANK, "name": name})
    assert made.get_json()["handle"] == handle
    assert made.headers["Location"] == f"/v1/tanks/{handle}"


def test_a_second_of_the_same_name_is_numbered(furnished: Caller) -> None:
    assert [furnished.post("/v1/tanks", TANK).get_json()["handle"] for _ in range(3)] == [
        "shelf",
        "shelf-2",
        "shelf-3",
    ]


def test_a_chosen_handle_that_is_taken_is_refused(furnished: Caller) -> None:
    refused = furnished.post("/v1/tanks", {**TANK, "handle": "nursery"})
    assert refused.status_code == 409
    assert refused.get_json()["type"] == "urn:weirbook:problem:handle-taken"
    assert (
        furnished.post(
            "/v1/sumps",
            {
                "handle": "nursery",
                "name": "N",
                "system": "rill",
                "length": "1 m",
                "width": "1 m",
                "height": "1 m",
            },
        ).status_code
        == 201
    )


def test_a_handle_is_never_used_again(furnished: Caller) -> None:
    furnished.patch("/v1/tanks/nursery", {"retired_at": "2026-11-01T00:00:00Z"})
    assert furnished.post("/v1/tanks", {**TANK, "handle": "nursery"}).status_code == 409
    assert furnished.post("/v1/tanks", {**TANK, "name": "Nursery"}).get_json()["handle"] == "nursery-2"


@pytest.mark.parametrize("handle", ["Nursery", "a--b", "-a", "a-", "a b", "ä", "", "a" * 61, "due"])
def test_a_handle_that_is_no_slug_is_refused(furnished: Caller, handle: str) -> None:
    assert furnished.post("/v1/tanks", {**TANK, "handle": handle}).status_code in (409, 422)


def test_sections_are_named_by_sump_use_and_number(furnished: Caller) -> None:
    section = {"sump": "rack", "position": 2, "use": "return", "direction": "along", "length": "20 cm"}
    made = furnished.post("/v1/sections", section).get_json()
    assert (made["handle"], made["name"], made["width"]) == ("rack-return-2", "rack return", None)


def test_sections_are_listed_along_the_flow(furnished: Caller) -> None:
    for position, use in ((3, "media"), (1, "settling")):
        furnished.post(
            "/v1/sections",
            {"sump": "rack", "position": position, "use": use, "direction": "up", "length": "20 cm"},
        )
    listed = furnished.get("/v1/sections?sump=rack").get_json()["items"]
    assert [one["position"] for one in listed] == [1, 1, 3]


@pytest.mark.parametrize(
    ("sent", "shown"),
    [
        ("72 in", {"value": 72, "unit": "in"}),
        ({"value": 72.50, "unit": "[in_i]"}, {"value": 72.5, "unit": "in"}),
        ({"value": 6, "unit": "ft"}, {"value": 6, "unit": "ft"}),
    ],
)
def test_a_quantity_is_shown_as_it_was_entered(furnished: Caller, sent: Any, shown: dict[str, Any]) -> None:
    made = furnished.post(
        "/v1/tanks", {**TANK, "footprint": {"shape": "rectangle", "length": sent, "width": "30 cm"}}
    )
    assert made.get_json()["footprint"]["length"] == shown


@pytest.mark.parametrize(
    "depth",
    [
        "30",
        30,
        "30 gal",
        "-30 cm",
        "0 cm",
        "30 furlongs",
        "30,5 cm",
        {"value": 30},
        {"value": "30", "unit": "cm"},
        {"value": 30, "unit": "cm", "x": 1},
        None,
        True,
        [],
        "1e9 m",
        "NaN cm",
    ],
)
def test_a_quantity_that_is_not_one_is_refused_at_its_place(furnished: Caller, depth: Any) -> None:
    assert pointers(furnished.post("/v1/tanks", {**TANK, "water_depth": depth})) == ["/water_depth"]


def test_a_unit_of_the_wrong_kind_is_named_as_such(furnished: Caller) -> None:
    refused = furnished.post("/v1/tanks", {**TANK, "water_depth": "30 gal"}).get_json()
    assert "volume" in refused["errors"][0]["message"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"rim_height": "20 cm"}, "/water_depth"),
        ({"substrate_depth": "40 cm", "substrate_porosity": "0 %"}, "/substrate_depth"),
        ({"hardscape_mass": "10 kg", "hardscape_volume": "2 L"}, "/hardscape_mass"),
        ({"set_up_on": "2026-02-01", "last_reset_on": "2026-01-01"}, "/last_reset_on"),
        (
            {"rim_height": "40 cm", "overflow": {"edge_length": "20 cm", "crest_height": "45 cm"}},
            "/overflow/crest_height",
        ),
        ({"overflow": {"edge_length": "20 cm", "open_fraction": "50 %"}}, "/overflow/open_fraction"),
        ({"footprint": {"shape": "star", "length": "1 m"}}, "/footprint/shape"),
        ({"footprint": {"shape": "circle", "length": "1 m"}}, "/footprint/length"),
        ({"footprint": {"shape": "regular_polygon", "sides": 2, "side": "20 cm"}}, "/footprint/sides"),
        (
            {
                "footprint": {
                    "shape": "arced_front",
                    "length": "60 cm",
                    "width": "30 cm",
                    "front_rise": "50 cm",
                }
            },
            "/footprint/front_rise",
        ),
        ({"system": "nothing"}, "/system"),
        ({"use": "soup"}, "/use"),
        ({"set_up_on": "2026-02-30"}, "/set_up_on"),
        ({"colour": "red"}, "/colour"),
    ],
)
def test_a_tank_that_can_not_be_is_refused_at_the_fault(
    furnished: Caller, change: dict[str, Any], pointer: str
) -> None:
    assert pointer in pointers(furnished.post("/v1/tanks", {**TANK, **change}))
    assert len(furnished.get("/v1/tanks").get_json()["items"]) == 1


def test_net_volume_leaves_out_bed_and_stone(furnished: Caller) -> None:
    """Case DP01 of fixtures/published/displacement_worked.csv: 300 L less 18 L of grains."""
    made = furnished.post(
        "/v1/tanks",
        {
            **TANK,
            "footprint": {"shape": "rectangle", "length": "1.2 m", "width": "0.5 m"},
            "water_depth": "0.5 m",
            "substrate_depth": "5 cm",
            "substrate_porosity": "40 %",
        },
    ).get_json()
    assert made["gross_volume"] == {"value": 300, "unit": "L"}
    assert made["net_volume"] == {"value": 282, "unit": "L"}


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"length": "2 m"}, "/length"),
        ({"width": "60 cm"}, "/width"),
        ({"running_depth": "50 cm"}, "/running_depth"),
        ({"baffle": {"passes": "over"}}, "/baffle/crest_height"),
        ({"inlet": {"kind": "slot"}}, "/inlet/width"),
        ({"flow_share": "110 %"}, "/flow_share"),
    ],
)
def test_a_section_that_does_not_fit_is_refused(
    furnished: Caller, change: dict[str, Any], pointer: str
) -> None:
    section = {"sump": "rack", "position": 2, "use": "media", "direction": "up", "length": "20 cm"}
    assert pointer in pointers(furnished.post("/v1/sections", {**section, **change}))


def test_a_pumps_curve_falls(furnished: Caller) -> None:
    crossed = [{"head": "1 m", "flow": "500 L/h"}, {"head": "2 m", "flow": "700 L/h"}]
    assert pointers(furnished.post("/v1/pumps", {"name": "P", "to_tank": "nursery", "curve": crossed})) == [
        "/curve/1"
    ]


def test_a_measured_flow_has_its_day(furnished: Caller) -> None:
    assert pointers(furnished.patch("/v1/pumps/rack-pump", {"measured_flow": "900 L/h"})) == ["/measured_on"]


@on_both_engines
def test_where_a_tank_was_is_remembered(furnished: Caller) -> None:
    furnished.post("/v1/systems", {"name": "Other"})
    moved = furnished.patch("/v1/tanks/nursery", {"system": "other", "effective_at": "2026-10-01T12:00:00Z"})
    assert moved.get_json()["system"] == "other"
    assert furnished.get("/v1/tanks/nursery/states").get_json()["items"] == [
        {"state": "system", "value": "rill", "from": None, "to": "2026-10-01T12:00:00Z"},
        {"state": "system", "value": "other", "from": "2026-10-01T12:00:00Z", "to": None},
    ]


def test_a_state_never_begins_ahead_of_now_or_before_the_present_one(furnished: Caller) -> None:
    furnished.post("/v1/systems", {"name": "Other"})
    ahead = furnished.patch("/v1/tanks/nursery", {"system": "other", "effective_at": "2126-01-01T00:00:00Z"})
    assert pointers(ahead) == ["/effective_at"]
    furnished.patch("/v1/tanks/nursery", {"system": "other", "effective_at": "2026-10-01T12:00:00Z"})
    before = furnished.patch("/v1/tanks/nursery", {"system": "rill", "effective_at": "2026-09-01T12:00:00Z"})
    assert before.status_code == 409
    assert furnished.get("/v1/tanks/nursery").get_json()["system"] == "other"


@on_both_engines
def test_last_springs_turnover_is_asked_with_last_springs_plumbing(furnished: Caller) -> None:
    path = "/v1/systems/rill/answers/turnover?result=turnovers_per_hour&format=text"
    now = furnished.get(path).get_data(as_text=True)
    furnished.patch("/v1/pumps/rack-pump", {"running": False, "effective_at": "2026-10-01T12:00:00Z"})
    assert furnished.get(f"{path}&at=2026-05-01T00:00:00Z").get_data(as_text=True) == now
    stopped = furnished.get(path)
    assert stopped.status_code == 422
    assert stopped.get_json()["type"] == "urn:weirbook:problem:not-recorded"


def test_the_room_is_one_with_settings(keeper: Caller) -> None:
    changed = keeper.patch("/v1/room", {"preferred_units": {"volume": "gal"}, "altitude": "1200 ft"})
    assert changed.get_json()["preferred_units"] == {"volume": "gal"}
    assert pointers(keeper.patch("/v1/room", {"time_zone": "Mars/Olympus"})) == ["/time_zone"]
    assert pointers(keeper.patch("/v1/room", {"currency": "euro"})) == ["/currency"]
    assert pointers(keeper.patch("/v1/room", {"preferred_units": {"volume": "degC"}})) == [
        "/preferred_units/volume"
    ]
