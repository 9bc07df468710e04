"""Plumbing that no keeper would build, over HTTP: told as wrong, refused or solved, and never a fault or a lie."""

from __future__ import annotations

import itertools
import json
import xml.etree.ElementTree as ElementTree
from collections import Counter
from typing import Any

import pytest
import sqlalchemy as sa
from flow_scenes import cell, lift, pool, trough
from harness import Caller
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weirbook.app import Service
from weirbook.engine.relations.plumbing import Plumbing
from weirbook.engine.relations.steady_flow import solve
from weirbook.engine.units import quantity

CURVE = [
    {"head": "3 m", "flow": "0 L/h"},
    {"head": "2 m", "flow": "2000 L/h"},
    {"head": "0 m", "flow": "3500 L/h"},
]
PIECE = {"size": "3/4 in schedule 40", "length": "2 m"}
numbers = itertools.count(1)


class Works:
    """One system of its own; makes vessels and pumps in it and asks of it."""

    def __init__(self, keeper: Caller) -> None:
        self.keeper = keeper
        self.system = self.make("systems", {})

    def make(self, plural: str, body: dict[str, Any]) -> str:
        made = self.tried(plural, body)
        assert made is not None
        return made

    def tried(self, plural: str, body: dict[str, Any]) -> str | None:
        """The new record's handle, or None where it is refused at its fields."""
        said = {"name": f"Part {next(numbers)}", **body}
        if plural in ("tanks", "sumps"):
            said["system"] = self.system
        answered = self.keeper.post(f"/v1/{plural}", said)
        if answered.status_code == 201:
            return str(answered.get_json()["handle"])
        is_refusal(answered)
        return None

    def tank(self, **said: Any) -> str:
        return self.make("tanks", tank_body(**said))

    def sump(self, sections: int = 2, **said: Any) -> tuple[str, list[str]]:
        sump = self.make(
            "sumps",
            {"length": "100 cm", "width": "40 cm", "height": "40 cm", "base_height": "10 cm", **said},
        )
        rows = []
        for position in range(1, sections + 1):
            body: dict[str, Any] = {
                "sump": sump,
                "position": position,
                "use": "settling",
                "direction": "along",
                "length": "30 cm",
            }
            if position < sections:
                body["baffle"] = {"passes": "over", "crest_height": "30 cm"}
            else:
                body["running_depth"] = "20 cm"
            rows.append(self.make("sections", body))
        return sump, rows

    def pump(self, **said: Any) -> str:
        return self.make("pumps", {"rated_flow": "1000 L/h", **said})

    def edit(self, path: str, body: dict[str, Any]) -> bool:
        answered = self.keeper.patch(f"/v1/{path}", body)
        if answered.status_code != 200:
            is_refusal(answered)
        return answered.status_code == 200

    def flow(self, query: str = "") -> dict[str, Any]:
        answered = self.keeper.get(f"/v1/systems/{self.system}/flow{query}")
        assert answered.status_code == 200, answered.get_data(as_text=True)
        shown: dict[str, Any] = json.loads(answered.get_data(as_text=True), parse_constant=_no_number)
        return shown

    def findings(self) -> list[dict[str, Any]]:
        answered = self.keeper.get(f"/v1/systems/{self.system}/findings")
        assert answered.status_code == 200, answered.get_data(as_text=True)
        found: list[dict[str, Any]] = json.loads(answered.get_data(as_text=True), parse_constant=_no_number)[
            "items"
        ]
        return found

    def told(self, place: str, verdict: str) -> list[str]:
        """Reasons of the findings with that verdict at a place."""
        return [
            one["reason"] for one in self.findings() if (one["place"], one["verdict"]) == (place, verdict)
        ]


def _no_number(word: str) -> None:
    raise AssertionError(f"{word} is no number of JSON")


def is_refusal(answered: Any) -> None:
    assert answered.status_code in (409, 422), answered.get_data(as_text=True)
    assert answered.mimetype == "application/problem+json"
    if answered.status_code == 422:
        for one in answered.get_json()["errors"]:
            assert one["pointer"].startswith("/") and one["message"]


def tank_body(**said: Any) -> dict[str, Any]:
    return {
        "use": "display",
        "footprint": {"shape": "rectangle", "length": "100 cm", "width": "50 cm"},
        "base_height": "1 m",
        "rim_height": "50 cm",
        "water_depth": "45 cm",
        "overflow": {"edge_length": "40 cm", "crest_height": "44 cm"},
        **said,
    }


def si(shown: dict[str, Any] | None, kind: str = "flow") -> float | None:
    return None if shown is None else float(quantity(shown, kind).si(kind))


@pytest.fixture
def works(keeper: Caller) -> Works:
    return Works(keeper)


def test_tanks_that_drain_in_a_circle_are_refused_however_long_it_is(works: Works) -> None:
    tanks = [works.tank() for _ in range(4)]
    for one, other in itertools.pairwise(tanks):
        assert works.edit(f"tanks/{one}", {"drains_to": f"tanks/{other}"})
    assert not works.edit(f"tanks/{tanks[-1]}", {"drains_to": f"tanks/{tanks[0]}"})


def test_sumps_that_drain_into_each_other_are_refused(works: Works) -> None:
    (one, ones), (other, others) = works.sump(), works.sump()
    assert works.edit(f"sumps/{one}", {"drains_to": f"sections/{others[0]}"})
    assert not works.edit(f"sumps/{other}", {"drains_to": f"sections/{ones[0]}"})


def test_a_circle_that_came_about_by_moving_a_section_is_told_and_reckoned_with_nowhere(works: Works) -> None:
    tank, (_, _), (_, sections), (box, _) = works.tank(), works.sump(), works.sump(3), works.sump()
    works.edit(f"sumps/{box}", {"drains_to": f"tanks/{tank}"})
    works.edit(f"tanks/{tank}", {"drains_to": f"sections/{sections[1]}"})
    works.pump(from_section=sections[-1], to_tank=tank)
    assert works.edit(f"sections/{sections[1]}", {"sump": box, "position": 9})
    shown = works.flow()
    circle = [one["of"] for one in shown["missing"] if "circle" in one["what"]]
    assert circle == [f"sumps/{box}", f"tanks/{tank}"]
    assert [(one["inflow"], one["over_edge"]) for one in shown["tanks"]] == [(None, None)]
    assert any("circle" in reason for reason in works.told(f"tanks/{tank}", "unknown"))


def test_a_sump_that_stands_alone_can_not_give_more_than_it_gets(works: Works) -> None:
    tank, (sump, sections) = works.tank(), works.sump()
    box, inner = works.sump()
    works.edit(f"sumps/{box}", {"drains_to": f"sections/{sections[0]}"})
    works.pump(from_section=inner[-1], to_tank=tank)
    shown = {one["sump"]: one for one in works.flow()["sumps"]}
    assert shown[f"sumps/{sump}"]["inflow"]["value"] == pytest.approx(1000)
    assert shown[f"sumps/{box}"]["surplus"]["value"] == pytest.approx(-1000)
    assert any("runs dry" in reason for reason in works.told(f"sumps/{box}", "act"))


def test_a_tank_that_is_pumped_empty_is_to_be_acted_on(works: Works) -> None:
    works.sump()
    drawn, fed = works.tank(), works.tank()
    works.pump(from_tank=drawn, to_tank=fed)
    assert any(one["of"] == f"tanks/{drawn}" for one in works.flow()["missing"])
    assert any("it empties" in reason for reason in works.told(f"tanks/{drawn}", "act"))
    assert not works.told(f"tanks/{fed}", "act")


def test_a_tank_whose_water_stands_above_its_rim_is_to_be_acted_on(works: Works) -> None:
    tank, (_, sections) = works.tank(), works.sump()
    works.pump(from_section=sections[-1], to_tank=tank, measured_flow="1e6 L/h", measured_on="2026-11-20")
    assert any("above the rim" in reason for reason in works.told(f"tanks/{tank}", "act"))


@pytest.mark.parametrize("lost", ["retired", "moved"])
def test_a_pump_whose_tank_is_gone_is_told_where_it_draws(works: Works, lost: str) -> None:
    tank, (_, sections) = works.tank(), works.sump()
    pump = works.pump(from_section=sections[-1], to_tank=tank)
    gone = (
        {"retired_at": "2026-11-20T10:00:00Z"}
        if lost == "retired"
        else {"system": Works(works.keeper).system}
    )
    assert works.edit(f"tanks/{tank}", gone)
    assert [one["of"] for one in works.flow()["missing"]] == [f"pumps/{pump}"]
    assert works.told(f"systems/{works.system}", "unknown") == [
        f"Unknown where the water goes: its line leads to tanks/{tank}, not in use here."
    ]


@pytest.mark.parametrize("branched", [False, True])
def test_an_outlet_below_the_base_of_its_tank_is_refused_at_its_field(works: Works, branched: bool) -> None:
    """A siphon can't draw a tank of 45 cm down by 2 m."""
    tank, (_, sections) = works.tank(), works.sump()
    line: dict[str, Any] = {"pieces": [PIECE], "outlet_level": "-2 m"}
    if branched:
        line = {
            "pieces": [{**PIECE, "branch": "a"}],
            "branches": [{"name": "a", "tank": tank, "outlet_level": "-2 m"}],
        }
    body = {"name": "Deep", "from_section": sections[-1], "to_tank": tank, "line": line}
    answered = works.keeper.post("/v1/pumps", body)
    assert answered.status_code == 422
    at = "/line/branches/0/outlet_level" if branched else "/line/outlet_level"
    assert answered.get_json()["errors"][0]["pointer"] == at


def test_findings_of_one_system_cost_no_more_for_its_neighbours(works: Works, app: Service) -> None:
    asked = list[str]()
    sa.event.listen(app.database.engine, "before_cursor_execute", lambda *said: asked.append(said[2]))

    def statements() -> int:
        asked.clear()
        works.findings()
        return len(asked)

    tank, (_, sections) = works.tank(), works.sump()
    works.pump(from_section=sections[-1], to_tank=tank)
    alone = statements()
    neighbour = Works(works.keeper)
    neighbour.pump(from_section=neighbour.sump()[1][-1], to_tank=neighbour.tank())
    assert statements() == alone


def test_fifteen_hundred_tanks_below_each_other_are_solved() -> None:
    """The lowest stands first: all others are looked at before it."""
    ends = ["sections/in", *(f"tanks/{number}" for number in range(1499))]
    tanks = tuple(pool(str(number), end) for number, end in enumerate(ends))
    main = lift("main", "sections/in", tanks[-1].name, measured=0.001)
    solved = solve(Plumbing(tanks, (trough("low", cell("in", None)),), (main,), 298.15))
    assert solved.brimmed[0].over_edge == pytest.approx(0.001)


def test_more_in_a_tank_than_it_holds_is_refused_at_its_field(keeper: Caller) -> None:
    said = {"shape": "rectangle", "length": "1 m", "width": "5 cm", "water_depth": "2 cm"}
    for filled in ({"substrate_depth": "8 cm", "substrate_porosity": "0 %"}, {"hardscape_mass": "40 kg"}):
        answered = keeper.post("/v1/calculators/tank-volume/answer", {**said, **filled})
        assert answered.status_code == 422
        assert answered.get_json()["errors"][0]["pointer"] == "/substrate_depth"


def some(likely: list[Any], wild: list[Any]) -> st.SearchStrategy[Any]:
    """Mostly what a keeper would write, one time in eight what no keeper would."""
    return st.sampled_from([*likely * 7, *(wild * (7 * len(likely)))[: len(likely)]])


LENGTH = some(
    ["10 cm", "20 cm", "30 cm", "38 cm"], ["1e-9 m", "30 m", "0 m", "-1 cm", "1e300 m", "3 kg", None]
)
FLOW = some(["300 L/h", "1500 L/h", "4000 L/h"], ["1e6 L/h", "1e-9 L/h", "10 m3/s", "NaN L/h", "2 L"])
SHARE = some(["30 %", "50 %", "100 %"], ["0 %", "1e-9 %", "101 %"])
NAME = st.sampled_from(["\"<svg onload=x>&'", "é中文🐟‮x", "W" * 60, "\x01 ctl\n\ufffe", "]]>"])
LEVEL = some(["-5 cm", "0 cm", "3 cm"], ["-30 m", "30 m", "1e-9 m", "5 L"])
BAFFLE = st.one_of(
    st.fixed_dictionaries(
        {"passes": st.just("over"), "crest_height": LENGTH}, optional={"crest_breadth": LENGTH}
    ),
    st.fixed_dictionaries({"passes": st.just("under"), "gap_height": LENGTH}),
    st.just({"passes": "both", "crest_height": "30 cm", "gap_height": "2 cm"}),
    st.just({"passes": "open"}),
)
DRAIN = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(["siphon", "gravity", "standby"]),
        "diameter": some(["26 mm", "41 mm"], ["1e-9 m"]),
    },
    optional={
        "length": some(["1 m"], ["1e-9 m"]),
        "drop": some(["70 cm"], ["0 m"]),
        "lip_depth": LENGTH,
        "valve_opening": SHARE,
        "run_slope": SHARE,
    },
)
TANK = st.fixed_dictionaries(
    {},
    optional={
        "name": NAME,
        "base_height": some(["1 m"], ["-10 m", None]),
        "rim_height": some(["50 cm"], ["10 cm", None]),
        "overflow": st.fixed_dictionaries(
            {"edge_length": some(["40 cm"], ["1e-9 m"]), "crest_height": some(["44 cm"], ["60 cm", None])},
            optional={
                "drains": st.lists(DRAIN, max_size=3),
                "toothed": st.booleans(),
                "slot_width": LENGTH,
                "open_fraction": SHARE,
            },
        ),
    },
)
SUMP = st.fixed_dictionaries(
    {"length": some(["100 cm"], ["20 cm"]), "width": st.just("40 cm"), "height": some(["45 cm"], ["1e-3 m"])},
    optional={"name": NAME, "base_height": some(["10 cm"], ["30 m"]), "closed": st.booleans()},
)
SECTION = st.fixed_dictionaries(
    {
        "position": st.integers(1, 4),
        "use": st.sampled_from(["settling", "media", "return", "planted-rooted"]),
        "direction": st.sampled_from(["along", "up", "down"]),
        "length": LENGTH,
    },
    optional={
        "running_depth": LENGTH,
        "width": LENGTH,
        "flow_share": SHARE,
        "baffle": BAFFLE,
        "media": st.fixed_dictionaries(
            {"volume": some(["5 L"], ["1000 m3"])},
            optional={"porosity": SHARE, "grain_size": some(["8 mm"], ["1e-9 m"])},
        ),
    },
)
PIPE = st.fixed_dictionaries(
    {},
    optional={
        "length": some(["2 m"], ["1000 m", "0 m"]),
        "elbows": st.integers(0, 3),
        "k": some(["2.5"], ["1e6"]),
        "roughness": some(["0.1 mm"], ["1 cm"]),
    },
)
BORE = some([{"size": "3/4 in schedule 40"}, {"diameter": "20 mm"}], [{"diameter": "1e-9 m"}, {}])
LINE = st.fixed_dictionaries(
    {"pieces": st.lists(st.tuples(PIPE, BORE).map(lambda two: {**two[0], **two[1]}), max_size=3)},
    optional={
        "outlet_level": LEVEL,
        "air_hole_level": LEVEL,
        "valve_opening": SHARE,
        "check_valve": st.booleans(),
    },
)
PUMP = st.fixed_dictionaries(
    {},
    optional={
        "curve": some([CURVE], [CURVE[:1], CURVE[::-1], []]),
        "line": LINE,
        "rated_flow": FLOW,
        "clean_flow": FLOW,
        "power": some(["35 W"], ["0 W"]),
        "intake_height": LENGTH,
        "running": st.booleans(),
    },
)
BREAKS = st.sampled_from(
    [
        ("tanks", {"retired_at": "2026-11-20T10:00:00Z"}),
        ("tanks", {"overflow": None}),
        ("sumps", {"height": "1 cm"}),
        ("sumps", {"drains_to": None}),
        ("sections", {"retired_at": "2026-11-20T10:00:00Z"}),
        ("sections", {"baffle": None}),
        ("sections", {"running_depth": None}),
        ("pumps", {"line": {"pieces": None}}),
        ("pumps", {"curve": None, "rated_flow": None}),
        ("pumps", {"measured_flow": "1e6 L/h", "measured_on": "2026-11-20"}),
    ]
)


def build(works: Works, data: st.DataObject) -> None:
    """Vessels, sections and pumps of random sizes, joined at random, some of them spoiled after."""

    def several(plural: str, bodies: st.SearchStrategy[Any], most: int, **held: Any) -> list[str]:
        sent = data.draw(st.lists(bodies, min_size=1, max_size=most), plural)
        return [made for one in sent if (made := works.tried(plural, {**one, **held})) is not None]

    def one_of(choices: list[str]) -> str:
        return data.draw(st.sampled_from(choices))

    tanks = several("tanks", TANK.map(lambda said: tank_body(**said)), 3)
    sumps = several("sumps", SUMP, 2)
    sections = [made for sump in sumps for made in several("sections", SECTION, 3, sump=sump)]
    ends = [*(f"tanks/{one}" for one in tanks), *(f"sections/{one}" for one in sections)]
    for vessel in (*(f"tanks/{one}" for one in tanks), *(f"sumps/{one}" for one in sumps)):
        if data.draw(st.integers(0, 2)) == 0:
            works.edit(vessel, {"drains_to": one_of(ends) if ends else None})
    pumps = []
    for body in data.draw(st.lists(PUMP, min_size=1, max_size=3), "pumps"):
        start, end = data.draw(st.sampled_from(["from_section"] * 4 + ["from_tank"])), "to_tank"
        if sumps and data.draw(st.integers(0, 4)) == 0:
            end = "to_sump"
        drawn, fed = sections if start == "from_section" else tanks, tanks if end == "to_tank" else sumps
        if drawn and fed:
            pumps.append(works.tried("pumps", {**body, start: one_of(drawn), end: one_of(fed)}))
    made = {"tanks": tanks, "sumps": sumps, "sections": sections, "pumps": [one for one in pumps if one]}
    for plural, broken in data.draw(st.lists(BREAKS, max_size=2), "breaks"):
        if made[plural]:
            works.edit(f"{plural}/{one_of(made[plural])}", broken)


def holds_together(shown: dict[str, Any]) -> None:
    """What pumps and overflows bring is what arrives, what arrives goes on, and levels fall along the flow."""
    brought, drawn, known = Counter[str](), Counter[str](), True
    for pump in shown["pumps"]:
        ends = [(end["to"], si(end["flow"])) for end in pump["outlets"]]
        flow = si(pump["flow"])
        known = known and flow is not None and bool(ends)
        for end, part in ends:
            assert part is not None and part >= 0
            brought[end] += part  # type: ignore[assignment]
            drawn[pump["from"]] += part  # type: ignore[assignment]
        assert not ends or sum(part or 0.0 for _, part in ends) == pytest.approx(flow, rel=1e-6, abs=1e-9)
    for tank in shown["tanks"]:
        inflow, over = si(tank["inflow"]), si(tank["over_edge"])
        if inflow is None or over is None:
            continue
        assert over == pytest.approx(max(inflow - drawn[tank["tank"]], 0), rel=1e-6, abs=1e-9)
        if tank["drains_to"]:
            brought[tank["drains_to"]] += over  # type: ignore[assignment]
    for vessel in shown["tanks"] if known else ():
        if vessel["inflow"] is not None:
            assert si(vessel["inflow"]) >= brought[vessel["tank"]] * (1 - 1e-6) - 1e-9  # type: ignore[operator]
    for sump in shown["sumps"]:
        own = [one["section"] for one in sump["sections"]]
        inflow, surplus = si(sump["inflow"]), si(sump["surplus"])
        if inflow is None or surplus is None or not own or not known:
            continue
        assert inflow >= sum(brought[one] for one in (sump["sump"], *own)) * (1 - 1e-6) - 1e-9
        taken = sum(drawn[one] for one in own)
        assert inflow - taken == pytest.approx(surplus, rel=1e-6, abs=1e-9) or (
            surplus == 0 and inflow > taken  # it drains on by itself
        )
        for here, after in itertools.pairwise(sump["sections"]):
            if here["passing"] is not None and after["depth"] is not None:
                assert si(here["depth"], "length") >= si(after["depth"], "length") - 1e-7  # type: ignore[operator]


def asked_of(keeper: Caller, data: st.DataObject) -> None:
    works = Works(keeper)
    build(works, data)
    holds_together(works.flow())
    holds_together(works.flow("?clean=true"))
    still = works.flow("?pump=off")
    assert all(one["flow"]["value"] == 0 for one in still["pumps"])
    assert still["stopped"] is not None
    works.findings()
    for query in ("", "?pump=off"):
        drawn = keeper.get(f"/v1/systems/{works.system}/flow.svg{query}")
        assert drawn.status_code == 200, drawn.get_data(as_text=True)
        tags = {one.tag.rpartition("}")[2] for one in ElementTree.fromstring(drawn.get_data()).iter()}
        assert "script" not in tags and "onload" not in {
            name for one in ElementTree.fromstring(drawn.get_data()).iter() for name in one.attrib
        }


BOUNDED = settings(
    max_examples=15,
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
)


@BOUNDED
@given(data=st.data())
def test_any_plumbing_is_refused_or_solved(keeper: Caller, data: st.DataObject) -> None:
    asked_of(keeper, data)


@pytest.mark.slow
@settings(BOUNDED, max_examples=120)
@given(data=st.data())
def test_very_much_plumbing_is_refused_or_solved(keeper: Caller, data: st.DataObject) -> None:
    asked_of(keeper, data)
