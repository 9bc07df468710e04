"""Values at the ends of what the store can hold, on both engines: taken or refused, never a fault."""

from __future__ import annotations

import base64
import json
from typing import Any

import pytest
from harness import FURNITURE, Caller, on_both_engines

FISH = "\N{TROPICAL FISH}"


@on_both_engines
def test_a_nul_in_a_path_names_nothing(furnished: Caller) -> None:
    for noun in ("tanks", "gauges", "parameters", "keys", "calculators"):
        assert furnished.get(f"/v1/{noun}/a%00b").status_code == 404, noun


def cursor(values: list[Any]) -> str:
    return base64.urlsafe_b64encode(json.dumps(values).encode()).decode().rstrip("=")


@on_both_engines
def test_a_cursor_of_any_number_is_no_fault(furnished: Caller) -> None:
    for value in (2**31, 2**52, -(2**52), 2**63, 10**30, 0.5, None, True, "1"):
        for path, length in (
            ("tanks?", 1),
            ("gauges?", 1),
            ("sections?", 3),
            ("readings?gauge=nursery-temperature&", 2),
        ):
            answered = furnished.get(f"/v1/{path}cursor={cursor([value] * length)}")
            assert answered.status_code in (200, 422), (path, value)


@on_both_engines
def test_a_section_of_a_sump_with_the_longest_handle_can_be_named(furnished: Caller) -> None:
    longest = "s" * 60
    sump = {**FURNITURE[2][1], "handle": longest}
    assert furnished.post("/v1/sumps", sump).status_code == 201
    section = {
        "sump": longest,
        "position": 1,
        "use": "planted-floating",
        "direction": "along",
        "length": "10 cm",
    }
    handles = [furnished.post("/v1/sections", section).get_json()["handle"] for _ in range(2)]
    assert [handle.rpartition("-")[2] for handle in handles] == ["1", "2"]
    pump = {"name": "P", "from_section": handles[0], "to_tank": "nursery"}
    assert furnished.post("/v1/pumps", pump).status_code == 201


@on_both_engines
def test_texts_of_the_longest_size_are_kept_whole(furnished: Caller) -> None:
    tank = {**FURNITURE[1][1], "name": FISH * 120, "notes": FISH * 20_000}
    made = furnished.post("/v1/tanks", tank).get_json()
    assert (made["name"], made["notes"]) == (FISH * 120, FISH * 20_000)
    assert made["handle"] == "tank"
    entry = {"place": "tanks/tank", "words": FISH * 20_000, "author": FISH * 120, "credit": FISH * 120}
    assert furnished.post("/v1/journal", entry).status_code == 201
    test = furnished.post("/v1/readings", {"place": "tanks/tank", "parameter": "nitrate", "value": 5})
    gauge = test.get_json()["made_gauges"][0]
    assert furnished.get(f"/v1/gauges/{gauge}").get_json()["place"] == "tanks/tank"


@pytest.mark.parametrize(
    ("path", "body", "pointer"),
    [
        ("/v1/systems", {"name": "x" * 121}, "/name"),
        ("/v1/systems", {"name": "x", "notes": "x" * 20_001}, "/notes"),
        ("/v1/systems", {"name": "x", "handle": "x" * 61}, "/handle"),
        ("/v1/journal", {"words": "x" * 20_001}, "/words"),
        ("/v1/journal", {"words": "x", "author": "x" * 121}, "/author"),
        ("/v1/journal", {"words": "x", "credit": "x" * 121}, "/credit"),
        ("/v1/journal", {"words": "x", "place": "tanks/" + "x" * 500}, "/place"),
        ("/v1/keys", {"name": "x" * 121, "role": "viewer"}, "/name"),
        ("/v1/keys", {"name": "x", "role": "viewer", "notes": "x" * 2001}, "/notes"),
    ],
)
def test_a_longer_text_is_refused_at_its_place(
    furnished: Caller, path: str, body: dict[str, Any], pointer: str
) -> None:
    refused = furnished.post(path, body)
    assert refused.status_code == 422
    assert [error["pointer"] for error in refused.get_json()["errors"]] == [pointer]


@pytest.mark.parametrize(
    ("path", "body", "pointer"),
    [
        (
            "/v1/pumps",
            {
                "name": "P",
                "to_tank": "nursery",
                "curve": [{"head": f"{60 - n} m", "flow": f"{n} L/h"} for n in range(51)],
            },
            "/curve",
        ),
        (
            "/v1/tanks",
            {
                **FURNITURE[1][1],
                "overflow": {"edge_length": "10 cm", "drains": [{"kind": "siphon", "diameter": "3 cm"}] * 21},
            },
            "/overflow/drains",
        ),
    ],
)
def test_a_list_longer_than_documented_is_refused(
    furnished: Caller, path: str, body: dict[str, Any], pointer: str
) -> None:
    refused = furnished.post(path, body)
    assert refused.status_code == 422
    assert [error["pointer"] for error in refused.get_json()["errors"]] == [pointer]


@on_both_engines
def test_a_reading_of_any_possible_size_is_summed(furnished: Caller) -> None:
    """Nitrate may be 0 to 10 000 mg/L; what rounds to nothing is not below it."""
    gauge = "nursery-nitrate-by-hand"
    sent = [1e-300, -1e-300, 5e-324, -0.0, 0, 9_999.999_999_999]
    for minute, value in enumerate(sent):
        test = {
            "place": "tanks/nursery",
            "parameter": "nitrate",
            "value": value,
            "at": f"2026-11-20T10:{minute:02d}:00Z",
        }
        assert furnished.post("/v1/readings", test).status_code == 200, value
    span = "from=2026-11-20T10:00:00Z&to=2026-11-20T11:00:00Z"
    shown = furnished.get(f"/v1/readings?gauge={gauge}&{span}").get_json()["items"]
    assert [one["value"] for one in shown] == [float(f"{value:.12g}") for value in sent]
    assert furnished.get(f"/v1/readings?gauge={gauge}&{span}&every=1h").get_json()["items"][0]["count"] == 6


@on_both_engines
def test_the_ends_of_time_can_be_asked(furnished: Caller) -> None:
    for at in ("1900-01-01T00:00:00Z", "2199-12-31T23:59:59.999Z"):
        for every in ("", "&every=1h", "&every=1d", "&every=1w"):
            for name in ("from", "to"):
                answered = furnished.get(f"/v1/readings?gauge=nursery-temperature&{name}={at}{every}")
                assert answered.status_code in (200, 422), (at, every, name)
        assert furnished.get(f"/v1/systems/rill/answers/turnover?at={at}").status_code in (200, 422)


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "America/Adak", "Asia/Kathmandu", "Antarctica/Troll"])
@pytest.mark.parametrize("week", ["1901-W01", "2198-W52"])
def test_the_first_and_the_last_week_can_be_asked_in_any_zone(
    furnished: Caller, zone: str, week: str
) -> None:
    furnished.patch("/v1/room", {"time_zone": zone})
    found = furnished.get(f"/v1/summaries/weekly?week={week}")
    assert found.status_code == 200
    assert found.get_json()["week"] == week
