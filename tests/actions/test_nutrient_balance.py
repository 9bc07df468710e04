"""Whatever was recorded, a system's nutrients balance: what was there and came in, less what left, is there."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
from harness import Caller
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plant_scenes import set_up_kinds
from sqlalchemy.orm import Session
from water_scenes import facts_in, read, set_up_vat, stock_larder, stop_the_clock, water

from weirbook.actions.compare_nutrients import FLOWS, KG_A_MOLE, Asked, Balance, compare_nutrients
from weirbook.actions.create import create
from weirbook.app import Service
from weirbook.engine.times import instant_ms
from weirbook.engine.units import Quantity
from weirbook.record.database import enter_room
from weirbook.record.doses import Dose
from weirbook.record.feeds import Feeding, Ration
from weirbook.record.plants import PlantingEvent
from weirbook.record.waters import StandingExchange, WaterChange

START, NOW = instant_ms("2026-10-05T12:00:00Z"), "2026-11-25T18:00:00Z"
HOUR = 3_600_000
VOLUME = 0.21
"""m3: the vat and 10 L of a planted section."""

PLANTINGS = {
    "section": "01936c5e-8f00-7000-8000-0000000000a1",
    "tank": "01936c5e-8f00-7000-8000-0000000000a2",
}
moments = st.integers(0, 50 * 24).map(lambda hours: START + hours * HOUR)
sizes = st.floats(0.01, 1)
waters = st.sampled_from(["tap", "rain"])
rows = st.one_of(
    st.builds(
        lambda at, size, turn: (Ration, {
            "tank": "vat", "valid_from_ms": at, "rotation": turn, "fasting_days": ["sunday"],
            "feeds": [{"feed": "granules", "amount": Quantity(30 * size, "g")}] * 2,
        }),
        moments, sizes, st.sampled_from(["together", "in_turn"]),
    ),
    st.builds(
        lambda at, size, instead: (Feeding, {
            "tank": "vat", "fed_at_ms": at, "feed": "granules", "amount": Quantity(50 * size, "g"), "instead": instead,
        }),
        moments, sizes, st.booleans(),
    ),
    st.builds(
        lambda at, size, source: (WaterChange, {
            "place": "tanks/vat", "changed_at_ms": at, "state": "done", "volume": Quantity(200 * size, "L"), "source": source,
        }),
        moments, sizes, waters,
    ),
    st.builds(
        lambda at, size, source, kind: (StandingExchange, {
            "system": "pond", "kind": kind, "valid_from_ms": at, "flow": Quantity(300 * size, "L/d"), "source": source,
        }),
        moments, sizes, waters, st.sampled_from(["drip", "top_off"]),
    ),
    st.builds(
        lambda at, size, compound: (Dose, {
            "place": "systems/pond", "dosed_at_ms": at, "compound": compound, "mass": Quantity(20 * size, "g"),
        }),
        moments, sizes, st.sampled_from(["potassium_nitrate", "monopotassium_phosphate"]),
    ),
    st.builds(
        lambda at, size, place: (PlantingEvent, {
            "planting": PLANTINGS[place], "happened_at_ms": at, "kind": "harvested", "wet_mass": Quantity(900 * size, "g"),
            "cover": Quantity(size, "1"),
        }),
        moments, sizes, st.sampled_from(["section", "tank"]),
    ),
)  # fmt: skip


@pytest.fixture
def pond(furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> Caller:
    stop_the_clock(monkeypatch, NOW)
    set_up_vat(furnished)
    stock_larder(furnished)
    water(furnished, "tap", nitrate="25 mg/L NO3", phosphate="1 mg/L PO4")
    water(furnished, "rain", "rain", nitrate="0 mg/L NO3", phosphate="0 mg/L PO4")
    tray = {"name": "Tray", "system": "pond", "length": "80 cm", "width": "25 cm", "height": "20 cm"}
    assert furnished.post("/v1/sumps", tray).status_code == 201
    section = {"sump": "tray", "position": 1, "use": "planted-floating", "direction": "along"}
    assert (
        furnished.post("/v1/sections", {**section, "length": "40 cm", "running_depth": "10 cm"}).status_code
        == 201
    )
    set_up_kinds(furnished)
    for name, place in (("section", "sections/tray-planted-floating-1"), ("tank", "tanks/vat")):
        moss = {
            "kind": "java-moss",
            "place": place,
            "method": "floating",
            "planted_at": "2026-09-20T10:00:00Z",
        }
        assert furnished("PUT", f"/v1/plantings/{PLANTINGS[name]}", moss).status_code == 201
    for day, of_nitrate, of_phosphate in (("10-05", 20, 0.5), ("10-21", 35, 1), ("11-12", 10, 0.1)):
        read(furnished, f"2026-{day}", of_nitrate, at="11:00")
        read(furnished, f"2026-{day}", of_phosphate, "phosphate", at="11:00")
    return furnished


def keep(session: Session, told: list[tuple[Any, dict[str, Any]]]) -> None:
    """The first ration always, and what was drawn, but two of one kind at one instant."""
    first = {"tank": "vat", "valid_from_ms": START - 40 * 24 * HOUR, "feeds": [], "rotation": "together"}
    seen = set()
    for model, values in [(Ration, first), *told]:
        key = (model, values.get("kind"), values.get("valid_from_ms"))
        if values.get("valid_from_ms") is None or key not in seen:
            seen.add(key)
            create(session, model, values, now=instant_ms(NOW))


def closes(balance: Balance, parameter: str) -> None:
    def change(terms: Any) -> float:
        return sum(terms[name] for name in FLOWS[:5]) - sum(terms[name] for name in FLOWS[5:])

    scale = 1e-9 * max(sum(balance.whole.values()), 1e-3)
    assert all(value >= -scale for value in balance.whole.values())
    assert change(balance.whole) == pytest.approx(balance.change, abs=scale)
    for name in FLOWS:
        assert sum(one.terms[name] for one in balance.weeks) == pytest.approx(balance.whole[name], abs=scale)
    held = balance.start.value * VOLUME * KG_A_MOLE[parameter]
    for week in balance.weeks:
        held += change(week.terms)
        low, likely, high = week.predicted
        assert -1e-12 <= low <= likely * (1 + 1e-9) + 1e-12 and likely <= high * (1 + 1e-9) + 1e-12
        if week.measured is None:
            assert likely * VOLUME * KG_A_MOLE[parameter] == pytest.approx(held, abs=scale)
    days = [(one.first, one.last) for one in balance.weeks]
    assert all(later[0] == earlier[1] + timedelta(days=1) for earlier, later in pairwise(days))


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    told=st.lists(rows, max_size=25),
    solids=st.sampled_from([0.0, 0.4]),
    denitrified=st.sampled_from([0.0, 5e-5, 1e-3]),
)
def test_the_balance_of_any_record_closes(
    app: Service,
    room_id: int,
    pond: Caller,
    told: list[tuple[Any, dict[str, Any]]],
    solids: float,
    denitrified: float,
) -> None:
    with app.database.write() as session:
        enter_room(session, room_id)
        keep(session, told)
        session.flush()
        asked = Asked(weeks=9, solids=solids, denitrified=denitrified)
        found = compare_nutrients(facts_in(session, NOW), VOLUME, asked)
        assert set(found.balances) == {"nitrate", "phosphate"}
        for parameter, balance in found.balances.items():
            closes(balance, parameter)
        session.rollback()
