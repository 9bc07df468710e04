"""A pump's line as it is told: pieces of pipe with their fittings, and the branches it parts into. For `pump_point`."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weirbook.engine.relations.pipes import (
    FITTINGS,
    PLASTIC_ROUGHNESS,
    ROUGHEST,
    SIZES,
    Piece,
    valve_k,
)
from weirbook.engine.shape import CHOICE, COUNT, TEXT, param, show
from weirbook.errors import Fault

FULL_BALL_VALVE = valve_k(1.0)
FITTING_OF: Mapping[str, str] = {
    "elbows": "elbow",
    "long_elbows": "long_elbow",
    "half_elbows": "half_elbow",
    "return_bends": "return_bend",
    "tees_run": "tee_run",
    "tees_branch": "tee_branch",
    "gate_valves": "gate_valve",
    "ball_valves": "ball_valve",
    "check_valves": "check_valve",
}
"""The fittings that a piece counts, as the relations name one."""
COUNTED: Mapping[str, float] = {
    name: FITTINGS.get(fitting, FULL_BALL_VALVE) for name, fitting in FITTING_OF.items()
}
"""K of one of each."""


def _count(doc: str) -> Any:
    return param(COUNT, doc=doc, ge=0, le=1000, default=0)


def _height(doc: str) -> Any:
    return param("length", doc=doc, default=None)


@dataclass(frozen=True)
class PipePiece:
    branch: str | None = param(
        TEXT, doc="The branch it belongs to. Left out: the part that all share.", default=None
    )
    size: str | None = param(
        CHOICE, doc="Nominal size of plastic pipe; or say its diameter.", choices=tuple(SIZES), default=None
    )
    diameter: float | None = param(
        "length", doc="Inside; or say its size.", unit="mm", gt=0, le=10, default=None
    )
    length: float = param(
        "length", doc="Of the pipe. Left out: fittings alone.", unit="m", ge=0, le=1e5, default=0.0
    )
    roughness: float = param(
        "length",
        doc="Height of the unevenness of its wall. Left out: that of plastic pipe.",
        unit="mm",
        ge=0,
        default=PLASTIC_ROUGHNESS,
    )
    elbows: int = _count("Of 90 degrees, short.")
    long_elbows: int = _count("Of 90 degrees, with a long radius.")
    half_elbows: int = _count("Of 45 degrees.")
    return_bends: int = _count("Of 180 degrees.")
    tees_run: int = _count("Tees that water goes straight through.")
    tees_branch: int = _count("Tees that water turns in.")
    gate_valves: int = _count("Wide open.")
    ball_valves: int = _count("Wide open, full bore.")
    check_valves: int = _count("Swinging, open.")
    k: float = param(
        "number",
        doc="Loss coefficient of all else in it, in velocity heads at its bore: unions, barbs, a spray bar.",
        ge=0,
        le=1e6,
        default=0.0,
    )

    @property
    def bore(self) -> float:
        """Inside diameter, m. Raises KeyError where neither size nor diameter is told."""
        return SIZES[self.size or ""] if self.diameter is None else self.diameter

    @property
    def fittings(self) -> dict[str, int]:
        """How many of each fitting it has, those it has none of left out."""
        return {name: count for name in COUNTED if (count := getattr(self, name))}

    @property
    def piece(self) -> Piece:
        """The same for the relations, its fittings summed."""
        k = self.k + math.fsum(count * COUNTED[name] for name, count in self.fittings.items())
        return Piece(self.bore, self.length, self.roughness, k)


@dataclass(frozen=True)
class LineBranch:
    name: str = param(TEXT, doc="What the branch is called.")
    tank: str | None = param(TEXT, doc="What it delivers to.", default=None)
    outlet_height: float | None = _height("Of its outlet, above the same floor as the source's level.")
    water_height: float | None = _height(
        "Of the water it delivers into, above that floor; where it is above the outlet, the outlet is under water."
    )
    air_hole_height: float | None = _height(
        "Of its highest air hole, above that floor: above the water it keeps water from running back."
    )
    valve_opening: float | None = param(
        "fraction",
        doc="Of its throttle valve: 0 shut, 1 open. Left out: there is none.",
        unit="%",
        ge=0,
        le=1,
        default=None,
    )
    valve_kind: str = param(CHOICE, doc="Of its throttle valve.", choices=("ball", "gate"), default="ball")

    @property
    def valve(self) -> tuple[float, str] | None:
        """Opening and kind of its throttle valve, if it has one."""
        return None if self.valve_opening is None else (self.valve_opening, self.valve_kind)


@dataclass(frozen=True)
class Run:
    """One row of a line in words and as the relations take it: a piece of pipe, a throttle valve, an outlet."""

    name: str
    branch: str | None
    piece: Piece
    told: PipePiece | None = None
    valve: tuple[float, str] | None = None

    @property
    def throttled(self) -> bool:
        """Whether it is a throttle valve, whose `valve` is its opening and its kind."""
        return self.valve is not None


def runs_of(
    pieces: Sequence[PipePiece],
    branches: Sequence[LineBranch],
    outlet_k: float = FITTINGS["exit"],
    shared_valve: tuple[float, str] | None = None,
) -> list[Run]:
    """All rows of a line in flow order, its shared part first.

    A throttle valve has the bore of the first piece of its branch, an outlet that of the last; of a branch with no
    pieces both have the bore in which the shared part ends. Where there is no pipe at all neither counts.
    """
    told = [Run(f"piece {at}", one.branch, one.piece, one) for at, one in enumerate(pieces, 1)]
    runs = [run for run in told if run.branch is None]
    shared_bores = [run.piece.diameter for run in runs]
    if shared_valve and runs:
        runs.insert(0, _throttle("valve", None, shared_bores[0], shared_valve))
    for branch in branches:
        own = [run for run in told if run.branch == branch.name]
        bores = [run.piece.diameter for run in own] or shared_bores[-1:]
        if bores and branch.valve:
            runs.append(_throttle(f"valve of {branch.name}", branch.name, bores[0], branch.valve))
        runs += own
        if bores:
            end = "outlet" if len(branches) == 1 else f"outlet of {branch.name}"
            runs.append(Run(end, branch.name, Piece(bores[-1], 0.0, PLASTIC_ROUGHNESS, outlet_k)))
    return runs


def _throttle(name: str, branch: str | None, bore: float, valve: tuple[float, str]) -> Run:
    return Run(name, branch, Piece(bore, 0.0, PLASTIC_ROUGHNESS, valve_k(*valve)), valve=valve)


def pieces_of(
    pieces: Sequence[PipePiece], branches: Sequence[LineBranch], outlet_k: float = FITTINGS["exit"]
) -> tuple[tuple[Piece, ...], dict[str, tuple[Piece, ...]]]:
    """The shared part of a line, and each branch's own pieces by name, with valves and outlets as `runs_of`."""
    return parted(runs_of(pieces, branches, outlet_k), branches)


def parted(
    runs: Sequence[Run], branches: Sequence[LineBranch]
) -> tuple[tuple[Piece, ...], dict[str, tuple[Piece, ...]]]:
    """Rows of a line as the shared part, and each branch's own pieces by name."""
    return (
        tuple(run.piece for run in runs if run.branch is None),
        {one.name: tuple(run.piece for run in runs if run.branch == one.name) for one in branches},
    )


def faults_of(
    pieces: Sequence[PipePiece], branches: Sequence[LineBranch], outlet_k: float = FITTINGS["exit"]
) -> list[Fault]:
    """What contradicts itself in a line of `pipe_pieces` and `line_branches`."""
    names = [branch.name for branch in branches]
    faults = []
    for index, one in enumerate(pieces):
        at = f"/pipe_pieces/{index}"
        if (one.size is None) == (one.diameter is None):
            words = "Say the bore once: a nominal size, or the inside diameter."
            faults.append(Fault(f"{at}/diameter", words))
            continue
        if one.branch is not None and one.branch not in names:
            offered = f"There are: {', '.join(names)}." if names else "No branches are told."
            faults.append(Fault(f"{at}/branch", f"There is no branch '{one.branch}'. {offered}"))
        if not one.length and not one.piece.k:
            faults.append(Fault(f"{at}/length", "This piece is nothing: say its length, or its fittings."))
        if one.roughness > ROUGHEST * one.bore:
            most = show(ROUGHEST * one.bore, "length", "mm")
            words = (
                f"That is no roughness of this pipe, at most {most}: growth so thick narrows it. Say the bore that"
                " is left."
            )
            faults.append(Fault(f"{at}/roughness", words))
    return faults or _pipeless(pieces, branches, outlet_k)


def _pipeless(pieces: Sequence[PipePiece], branches: Sequence[LineBranch], outlet_k: float) -> list[Fault]:
    """Branches beside others that cost water nothing: how the flow parts could not be told."""
    if len(branches) < 2:
        return []
    own = pieces_of(pieces, branches, outlet_k)[1]
    words = "No pipe is told for this branch: say its pieces, or how the flow parts can't be known."
    return [
        Fault(f"/line_branches/{at}", words)
        for at, branch in enumerate(branches)
        if not any(piece.length or piece.k for piece in own[branch.name])
    ]
