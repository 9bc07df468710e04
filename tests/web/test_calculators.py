"""Calculators over HTTP: the stateless door, the door from the record, one number in one cell."""

from __future__ import annotations

import re

import pytest
from harness import Caller

from weirbook.engine.catalogue import CALCULATORS
from weirbook.web.calculators import RESERVED

PATH = "/v1/systems/rill/answers/turnover"


def test_the_catalogue_tells_what_each_takes_and_gives(keeper: Caller) -> None:
    listed = [one["name"] for one in keeper.get("/v1/calculators").get_json()["items"]]
    assert listed == [one.name for one in CALCULATORS]
    page = keeper.get("/v1/calculators/turnover").get_json()
    assert {"name": "volume", "kind": "volume", "required": True}.items() <= page["inputs"][0].items()
    assert "gal" in page["inputs"][0]["units"]
    assert page["sources"]
    assert page["limits"]
    assert page["example"]["answer"]["results"]["turnovers_per_hour"]["unit"] == "1/h"


def test_no_input_has_the_name_of_a_query_word() -> None:
    for one in CALCULATORS:
        assert not set(one.params) & set(RESERVED)


def test_both_stateless_doors_give_the_same_answer(keeper: Caller) -> None:
    """Case CSS01 of fixtures/published/cstr_time_to_fraction.csv: 200 L, 1000 L/h, 5 turnovers an hour."""
    posted = keeper.post(
        "/v1/calculators/turnover/answer", {"volume": "200 L", "flow": {"value": 1000, "unit": "L/h"}}
    )
    asked = keeper.get("/v1/calculators/turnover/answer?volume=200%20L&flow=1000%20L/h")
    assert posted.get_json() == asked.get_json()
    assert posted.get_json()["results"]["turnovers_per_hour"] == {"value": 5, "unit": "1/h"}


def test_one_number_for_one_cell(keeper: Caller) -> None:
    path = "/v1/calculators/turnover/answer?volume=200%20L&flow=1000%20L/h&result=turnovers_per_hour"
    for answered in (keeper.get(f"{path}&format=text"), keeper.get(path, Accept="text/plain")):
        assert answered.mimetype == "text/plain"
        assert answered.get_data(as_text=True) == "5\n"
    minutes = f"{path.replace('turnovers_per_hour', 'minutes_per_turnover')}&unit=h&format=text"
    assert keeper.get(minutes).get_data(as_text=True) == "0.2\n"


def test_a_count_may_stand_in_a_query(keeper: Caller) -> None:
    """Case GV06 of fixtures/published/tank_volumes_prismatic.csv: a hexagon of 30 cm sides, 116.913 L."""
    path = "/v1/calculators/tank-volume/answer?shape=regular_polygon&sides=6&side=30%20cm&water_depth=50%20cm"
    text = keeper.get(f"{path}&result=gross_volume&unit=L&format=text").get_data(as_text=True)
    assert float(text) == pytest.approx(116.913, abs=5e-4)


def test_the_record_fills_the_inputs_and_says_from_where(furnished: Caller) -> None:
    answer = furnished.get(PATH).get_json()
    assert answer["inputs"]["flow"] == {
        "value": 600,
        "unit": "gal/h",
        "origin": "record",
        "note": "rack-pump: rated, not measured; real flow is less",
    }
    assert answer["inputs"]["volume"]["value"] == 333.75
    assert "nursery" in answer["inputs"]["volume"]["note"]
    assert answer["results"]["turnovers_per_hour"]["value"] == pytest.approx(
        600 * 3.785411784 / 333.75, rel=1e-9
    )


def test_a_measured_flow_beats_a_rated_one(furnished: Caller) -> None:
    furnished.patch("/v1/pumps/rack-pump", {"measured_flow": "1500 L/h", "measured_on": "2026-11-01"})
    flow = furnished.get(PATH).get_json()["inputs"]["flow"]
    assert (flow["value"], flow["note"]) == (1500, "rack-pump: measured 2026-11-01")


def test_a_what_if_is_marked_as_given(furnished: Caller) -> None:
    answer = furnished.get(f"{PATH}?flow=900%20gal/h").get_json()
    assert answer["inputs"]["flow"] == {"value": 900, "unit": "gal/h", "origin": "given"}
    assert answer["inputs"]["volume"]["origin"] == "record"
    posted = furnished.post(PATH, {"flow": "900 gal/h"}).get_json()
    assert posted["results"] == answer["results"]


def test_several_tanks_each_have_their_share(furnished: Caller) -> None:
    second = {
        "name": "Second",
        "system": "rill",
        "use": "grow-out",
        "footprint": {"shape": "rectangle", "length": "60 cm", "width": "50 cm"},
        "water_depth": "50 cm",
    }
    furnished.post("/v1/tanks", second)
    furnished.post(
        "/v1/pumps",
        {"name": "Pump two", "from_section": "rack-return-1", "to_tank": "second", "rated_flow": "300 gal/h"},
    )
    answer = furnished.get(PATH).get_json()
    assert answer["inputs"]["flow"]["value"] == 900
    shares = {row["name"]: row["share_of_flow"]["value"] for row in answer["results"]["tanks"]}
    assert shares == pytest.approx({"nursery": 200 / 3, "second": 100 / 3})
    posted = furnished.post(
        PATH, {"tanks": [{"name": "left", "volume": "100 L", "flow": "300 gal/h"}]}
    ).get_json()
    assert [row["name"] for row in posted["results"]["tanks"]] == ["left"]


def test_what_the_record_lacks_is_named_with_the_key_that_supplies_it(furnished: Caller) -> None:
    furnished.patch("/v1/pumps/rack-pump", {"running": False})
    furnished.patch("/v1/sections/rack-return-1", {"running_depth": None})
    lacking = furnished.get(PATH)
    assert lacking.status_code == 422
    problem = lacking.get_json()
    assert problem["type"] == "urn:weirbook:problem:not-recorded"
    assert [error["pointer"] for error in problem["errors"]] == ["/volume", "/flow"]
    assert "rack-return-1" in problem["errors"][0]["message"]
    assert "flow=" in problem["errors"][1]["message"]
    assert furnished.get(f"{PATH}?flow=900%20gal/h&volume=300%20L").status_code == 200


def test_a_tank_and_a_sump_answer_for_themselves(furnished: Caller) -> None:
    assert furnished.get("/v1/tanks/nursery/answers/turnover").get_json()["inputs"]["volume"]["value"] == 300
    assert furnished.get("/v1/sumps/rack/answers/turnover").get_json()["inputs"]["volume"]["value"] == 33.75
    volume = furnished.get("/v1/tanks/nursery/answers/tank-volume").get_json()
    assert volume["results"]["net_volume"] == {"value": 300, "unit": "L"}
    assert furnished.get("/v1/systems/rill/answers/tank-volume").status_code == 404


def test_answers_are_shown_in_the_rooms_units(furnished: Caller) -> None:
    furnished.patch("/v1/room", {"preferred_units": {"volume": "gal"}})
    volume = furnished.get("/v1/tanks/nursery/answers/tank-volume").get_json()["results"]["net_volume"]
    assert volume["unit"] == "gal"
    assert volume["value"] == pytest.approx(79.2516, abs=5e-5)


def test_the_documentation_needs_nothing_from_outside(keeper: Caller) -> None:
    page = keeper.get("/docs")
    text = page.get_data(as_text=True)
    assert "http" not in text.replace("http-equiv", "")
    assert "default-src 'none'" in page.headers["Content-Security-Policy"]
    for address in re.findall(r'(?:src|href)="([^"]+)"', text):
        if not address.startswith("data:"):
            assert keeper.get(f"/{address}").status_code == 200, address
    assert keeper.get("/docs/assets/../../secrets").status_code == 404
    assert "http" not in keeper.get("/docs/start.js").get_data(as_text=True)


def test_answers_are_not_cached_or_guessed_at(keeper: Caller) -> None:
    headers = keeper.get("/v1/room").headers
    assert headers["Cache-Control"] == "no-store"
    assert headers["X-Content-Type-Options"] == "nosniff"
