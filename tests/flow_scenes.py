"""Systems in flow for tests, built by hand: small, large, with side loops and unknowns, with long names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.lay_plumbing import Missing
from weirbook.actions.solve_flow import SystemFlow
from weirbook.engine.relations.levels import Cell, Gate
from weirbook.engine.relations.pipes import Piece
from weirbook.engine.relations.plumbing import Compartment, Lift, Outlet, Plumbing, Pool, Trough
from weirbook.engine.relations.pump_curves import PumpCurve
from weirbook.engine.relations.steady_flow import solve
from weirbook.engine.relations.weirs import Edge
from weirbook.engine.units import Quantity
from weirbook.record.equipment import Pump
from weirbook.record.places import Section, Sump, System, Tank

CURVE = PumpCurve(((0.0, 3.0), (0.0006, 2.4), (0.0012, 1.2), (0.0015, 0.0)))
PIPE = (Piece(0.0266, 2.0, 1.5e-6, 4.0),)
OVER, UNDER, BOTH = Gate("over", 0.4, 0.30), Gate("under", 0.4, None, 0.05), Gate("both", 0.4, 0.28, 0.03)
LONG = "The long planted raceway behind the second rack by the door "


def cell(
    name: str, gate: Gate | None, *, direction: str = "along", media: float = 0.0, length: float = 0.4
) -> Cell:
    return Cell(f"sections/{name}", direction, length, 0.4, media, 0.4, None, gate, 0.0)


def trough(name: str, *cells: Cell, last: float | None = 0.22, drains_to: str | None = None) -> Trough:
    parts = [Compartment(one, 1.0, last if one is cells[-1] else None) for one in cells]
    return Trough(f"sumps/{name}", 0.1, 0.45, tuple(parts), last, False, drains_to)


def pool(name: str, drains_to: str | None, **said: object) -> Pool:
    edge = Edge(0.4, 0.45, None, None, 1.0)
    made: dict[str, object] = {"base": 1.0, "depth": 0.46, "rim": 0.5, "crest": 0.45, "edge": edge, **said}
    return Pool(f"tanks/{name}", drains_to=drains_to, **made)  # type: ignore[arg-type]


def lift(name: str, drawn: str, *ends: str, **said: object) -> Lift:
    outlets = tuple(Outlet(f"end {index}", end, PIPE, -0.02) for index, end in enumerate(ends))
    made: dict[str, object] = {"curve": CURVE, "piped": True, "measured": None, "rated": 0.001, **said}
    return Lift(name, drawn, trunk=(), outlets=outlets, holds=False, **made)  # type: ignore[arg-type]


def system_of(
    plumbing: Plumbing,
    *,
    names: Mapping[str, str] = {},
    uses: Mapping[str, str] = {},
    limits: Mapping[str, Mapping[str, Quantity]] = {},
    stirred: Sequence[str] = (),
    missing: Sequence[Missing] = (),
) -> SystemFlow:
    """A system with rows of the record that hold what a drawing asks of them."""

    def named(path: str) -> dict[str, str]:
        handle = path.partition("/")[2] or path
        return {"handle": handle, "name": names.get(path, handle.capitalize())}

    side = Quantity(0.9, "m")
    tanks = {
        one.name: Tank(
            **named(one.name),
            footprint={"shape": "rectangle", "length": side, "width": Quantity(0.45, "m")},
            water_depth=Quantity(one.depth, "m"),
        )
        for one in plumbing.pools
    }
    sumps = {
        one.name: Sump(
            **named(one.name), length=side, width=Quantity(0.4, "m"), height=Quantity(one.height, "m")
        )
        for one in plumbing.troughs
    }
    sections = {
        part.cell.name: Section(
            **named(part.cell.name),
            use=uses.get(part.cell.name, "settling"),
            direction=part.cell.direction,
            length=Quantity(part.cell.length, "m"),
            limits=limits.get(part.cell.name),
        )
        for one in plumbing.troughs
        for part in one.compartments
    }
    pumps = {one.name: Pump(**named(one.name)) for one in plumbing.lifts}
    stirrers = tuple(
        Pump(id=900 + index, handle=f"stir-{index}", name=f"Stirrer {index}", to_tank=tanks[path])
        for index, path in enumerate(stirred)
    )
    return SystemFlow(
        System(handle="rill", name=names.get("system", "Rill")),
        plumbing,
        solve(plumbing),
        tanks,
        sumps,
        sections,
        pumps,
        stirrers,
        {one.id: True for one in stirrers},
        {path: row.use for path, row in sections.items()},
        (),
        tuple(missing),
    )


def small() -> SystemFlow:
    low = trough(
        "low",
        cell("settling", OVER),
        cell("stones", UNDER, direction="up", media=0.02),
        cell("return", None),
    )
    plumbing = Plumbing(
        (pool("nursery", "sections/settling"),),
        (low,),
        (lift("main", "sections/return", "tanks/nursery"),),
        298.15,
    )
    return system_of(
        plumbing, uses={"sections/stones": "media", "sections/return": "return"}, stirred=["tanks/nursery"]
    )


def large() -> SystemFlow:
    """Four tanks, eight sections, three pumps, two of them with branches."""
    low = trough(
        "low",
        cell("settling", OVER, length=0.6),
        cell("mats", UNDER, direction="down", media=0.03),
        cell("stones", BOTH, direction="up", media=0.02),
        cell("ferns", OVER, length=0.8),
        cell("cress", Gate("open", 0.4), length=0.8),
        cell("warm", OVER),
        cell("calm", OVER, direction="down"),
        cell("return", None),
    )
    tanks = ("upper-left", "upper-right", "middle", "nursery")
    plumbing = Plumbing(
        tuple(pool(name, "sections/settling" if name != "nursery" else "sections/mats") for name in tanks),
        (low,),
        (
            lift("main", "sections/return", "tanks/upper-left", "tanks/upper-right", "tanks/middle"),
            lift("second", "sections/return", "tanks/middle", "tanks/nursery", measured=0.0004),
            lift("spare", "sections/calm", "tanks/nursery", off=True),
        ),
        298.15,
    )
    uses = {"ferns": "planted-floating", "cress": "planted-rooted", "stones": "media", "mats": "mechanical"}
    return system_of(
        plumbing,
        uses={f"sections/{name}": use for name, use in uses.items()},
        limits={"sections/ferns": {"mean_velocity": Quantity(0.1, "mm/s")}},
        stirred=["tanks/middle", "tanks/middle"],
    )


def looped() -> SystemFlow:
    """Two sumps, of one nothing is known; a box beside that takes from the tank and one that gives back to a section."""
    low = trough("low", cell("settling", OVER), cell("return", None))
    other = trough("other", cell("intake", Gate("unknown", 0.4)), cell("end", None), last=None)
    box = trough(
        "box", cell("sand", Gate("over", 0.4, 0.2), direction="up", media=0.01), drains_to="sections/settling"
    )
    can = trough("can", cell("wool", None), drains_to="tanks/left")
    plumbing = Plumbing(
        (
            pool("left", "sections/settling"),
            pool("right", "sections/intake", rim=None),
            pool("low", None, edge=None),
        ),
        (low, other, box, Trough(can.name, None, 0.3, can.compartments, None, True, can.drains_to)),
        (
            lift("main", "sections/return", "tanks/left"),
            lift("loop", "sections/return", "sumps/box", measured=0.0001),
            lift("canister", "tanks/left", "sumps/can", measured=0.0002),
            lift("blind", "sections/end", "tanks/right", curve=None, rated=None),
        ),
        298.15,
    )
    lacks = [Missing("pumps/blind", "its flow: none is measured or rated, and no curve of blind is recorded")]
    return system_of(plumbing, missing=lacks)


def long_names() -> SystemFlow:
    flow = large()
    plumbing = flow.plumbing
    places = [
        "system",
        *(one.name for one in (*plumbing.pools, *plumbing.troughs, *plumbing.lifts)),
        *(part.cell.name for one in plumbing.troughs for part in one.compartments),
    ]
    return system_of(plumbing, names={path: f"{LONG}{index:02}" for index, path in enumerate(places)})


def finding(verdict: Verdict, place: str, reason: str, origin: str = "/v1/findings") -> Finding:
    return Finding(verdict, About.SECTION, place, "rill", place, reason, origin)


MARKS = [
    finding(
        Verdict.ACT,
        "sections/settling",
        "Water passes at 3 cm/s, the limit is 1 cm/s: widen it or bypass some.",
    ),
    finding(
        Verdict.WATCH,
        "tanks/nursery",
        "It brings 18 % less than clean.",
        "/v1/pumps/main/answers/flow-fade",
    ),
    finding(Verdict.WATCH, "systems/rill", "The water warms by 0.2 K a day."),
    finding(Verdict.OK, "tanks/nursery", "All well."),
]
SCENES = {"small": small, "large": large, "looped": looped, "long_names": long_names}
