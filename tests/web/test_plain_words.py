"""Refusals that tell what is possible, what was most likely meant, and what to do."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, made

BY_HAND = {"place": "tanks/nursery"}


def said(answered: Any) -> str:
    assert answered.status_code in (400, 422), answered.get_data(as_text=True)
    told = answered.get_json()
    return " ".join([told["detail"], *(one["message"] for one in told.get("errors", []))])


@pytest.mark.parametrize("body", [b"", b" \n"])
def test_an_empty_body_is_called_so(furnished: Caller, body: bytes) -> None:
    answered = furnished.post("/v1/systems", data=body, content_type="application/json")
    assert said(answered) == "The body is empty: send JSON."


@pytest.mark.parametrize(
    ("parameter", "value", "unit", "words"),
    [
        ("ph", 15, None, "15 pH is impossible for ph, which is 0 to 14 pH."),
        (
            "temperature",
            200,
            "degF",
            "200 degF is impossible for temperature, which is 28.4 to 140 degF.",
        ),
        ("humidity", 2, "1", "2 is impossible for humidity, which is 0 to 1.05."),
        ("energy", -1, None, "-1 kWh is impossible for energy, which is at least 0 kWh."),
    ],
)
def test_an_impossible_reading_is_answered_with_what_is_possible(
    furnished: Caller, parameter: str, value: float, unit: str | None, words: str
) -> None:
    gauge = {**BY_HAND, "name": "It", "parameter": parameter, "by_hand": True}
    made(furnished, "gauges", {**gauge, **({"unit": unit} if unit else {})})
    assert words in said(furnished.post("/v1/readings", {"gauge": "it", "value": value}))


def test_an_unknown_parameter_is_answered_with_one_of_a_like_name(furnished: Caller) -> None:
    made(furnished, "parameters", {"name": "Tannin tint", "kind": "score", "join": "plain"})
    made(furnished, "source-waters", {"name": "Tap", "kind": "tap"})
    asked = {
        "readings": {**BY_HAND, "parameter": "ammonia", "value": 1},
        "gauges": {**BY_HAND, "name": "It", "parameter": "ammonia"},
        "targets": {**BY_HAND, "valid_from": "2026-01-01T00:00:00Z", "parameter": "ammonia", "low": "0 mg/L NH3-N"},
        "water-reports": {"source": "tap", "values": [{"parameter": "ammonia", "value": "1 mg/L NH3-N"}]},
        "products": {
            "name": "It", "volume": "1 mL", "treats": "1 L",
            "effects": [{"parameter": "ammonia", "effect": "1 mg/L NH3-N"}],
        },
    }  # fmt: skip
    for path, body in asked.items():
        assert "Did you mean total_ammonia?" in said(furnished.post(f"/v1/{path}", body)), path
    assert "Did you mean tannin-tint?" in said(
        furnished.post("/v1/gauges", {**BY_HAND, "name": "It", "parameter": "tanin-tint"})
    )


def test_what_a_report_may_name_lists_the_ions_too(furnished: Caller) -> None:
    made(furnished, "source-waters", {"name": "Tap", "kind": "tap"})
    told = said(
        furnished.post("/v1/water-reports", {"source": "tap", "values": [{"parameter": "gold", "value": 1}]})
    )
    for ion in ("calcium", "magnesium", "sodium", "sulfate"):
        assert f" {ion}," in told
    # A gauge measures what is built in or of the keeper's own.
    assert "sulfate" not in said(furnished.post("/v1/gauges", {**BY_HAND, "name": "It", "parameter": "gold"}))


def test_a_blend_says_what_its_shares_come_to_and_how_salts_are_told(furnished: Caller) -> None:
    made(furnished, "source-waters", {"name": "Tap", "kind": "tap"})
    made(furnished, "source-waters", {"name": "Mix", "kind": "prepared"})
    mix = {"water": "mix", "valid_from": "2026-01-01T00:00:00Z"}
    nine = furnished.post("/v1/preparations", {**mix, "blend": [{"source": "tap", "share": "90 %"}]})
    assert "The shares come to 90 %: make them 100 %." in said(nine)
    bare = furnished.post("/v1/preparations", {**mix, "blend": [{"source": "tap", "share": 100}]})
    assert 'like "100 %"' in said(bare)
    salt = [{"compound": "sodium_bicarbonate", "amount": "2 g"}]
    whole = {**mix, "blend": [{"source": "tap", "share": "100 %"}]}
    assert "grams ÷ litres made" in said(furnished.post("/v1/preparations", {**whole, "adds": salt}))


def test_a_plain_number_is_said_without_a_unit(furnished: Caller) -> None:
    made(furnished, "parameters", {"name": "Snails seen", "kind": "number", "join": "plain"})
    made(furnished, "gauges", {**BY_HAND, "name": "Snails", "parameter": "snails-seen", "by_hand": True})
    made(
        furnished,
        "targets",
        {**BY_HAND, "parameter": "snails-seen", "valid_from": "2026-01-01T00:00:00Z", "high": 2},
    )
    assert furnished.post("/v1/readings", {"gauge": "snails", "value": 3}).status_code == 200
    found = furnished.get("/v1/systems/rill/findings").get_data(as_text=True)
    assert "is 3, outside its target (at most 2)" in found
