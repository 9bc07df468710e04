"""One section held to its keeper's limits: verdicts, why, and what would mend it. For `chamber_flow`."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.relations.chambers import (
    ALONG,
    Chamber,
    Fall,
    Inlet,
    Pipe,
    Sheet,
    Slot,
    Spreader,
    inlet_size_for,
    inlet_velocity,
)
from weirbook.engine.units import number

OK, OVER, UNKNOWN = "ok", "over", "unknown"
WORST_FIRST = (OVER, UNKNOWN, OK)

FLOATING, ROOTED = "planted-floating", "planted-rooted"
PLANTED = (FLOATING, ROOTED)

SLACK = 1e-9
"""A value over its limit by less is at it: a mend read from an answer is rounded to twelve digits."""


@dataclass(frozen=True)
class Limits:
    """What the keeper allows a section; None where nothing is recorded."""

    mean_velocity: float | None
    inlet_velocity: float | None
    shortest_residence: float | None


@dataclass(frozen=True)
class Bounds:
    """The sump's own inside sizes, which no section outgrows; None where not told."""

    length: float | None
    width: float | None
    depth: float | None


@dataclass(frozen=True)
class Judged:
    """A section, its inlet (or why that is unknown), and how it stands against its limits. SI."""

    name: str
    use: str
    share: float
    chamber: Chamber
    inlet: Inlet | str
    behind_baffle: bool
    limits: Limits
    bounds: Bounds

    @cached_property
    def jet(self) -> float | None:
        """What the inlet brings, m/s."""
        if not self.chamber.flow:
            return 0.0
        return None if isinstance(self.inlet, str) else inlet_velocity(self.inlet, self.chamber.flow)

    @cached_property
    def mean_verdict(self) -> str:
        return _judge(self.chamber.mean_velocity, self.limits.mean_velocity)

    @cached_property
    def inlet_verdict(self) -> str:
        return _judge(self.jet, self.limits.inlet_velocity)

    @cached_property
    def residence_verdict(self) -> str:
        stay, limit = self.chamber.residence_time, self.limits.shortest_residence
        if limit is None or (stay is None and self.chamber.flow):
            return UNKNOWN
        return OVER if stay is not None and stay < limit * (1 - SLACK) else OK

    @cached_property
    def verdict(self) -> str:
        """The worst of those that matter: of each limit that was set, and of a planted section also the jet."""
        told = (
            (self.limits.mean_velocity is not None, self.mean_verdict),
            (self.limits.inlet_velocity is not None or self.use in PLANTED, self.inlet_verdict),
            (self.limits.shortest_residence is not None, self.residence_verdict),
        )
        return worst(verdict for matters, verdict in told if matters)

    @property
    def broken_mean(self) -> float | None:
        """The limit of the mean velocity, if it is broken; alike of the jet and the stay."""
        return self.limits.mean_velocity if self.mean_verdict == OVER else None

    @property
    def broken_jet(self) -> float | None:
        return self.limits.inlet_velocity if self.inlet_verdict == OVER else None

    @property
    def broken_stay(self) -> float | None:
        return self.limits.shortest_residence if self.residence_verdict == OVER else None

    @cached_property
    def excesses(self) -> Mapping[str, float]:
        """How many times its limit each value is that breaks it; a stay of half its limit counts as 2."""
        found = {}
        if self.broken_mean is not None and self.chamber.mean_velocity is not None:
            found["mean"] = self.chamber.mean_velocity / self.broken_mean
        if self.broken_jet is not None and self.jet is not None:
            found["jet"] = self.jet / self.broken_jet
        if self.broken_stay is not None and self.chamber.residence_time is not None:
            found["stay"] = self.broken_stay / self.chamber.residence_time
        return found

    @cached_property
    def wanted_water(self) -> float | None:
        """The water at which mean velocity and stay would keep their limits; None if they do, or unknown."""
        wanted = []
        if self.broken_mean is not None and self.chamber.way is not None:
            wanted.append(self.chamber.water_for_mean(self.broken_mean, self.chamber.way))
        if self.broken_stay is not None:
            wanted.append(self.chamber.water_for_stay(self.broken_stay))
        return max(wanted, default=None)

    @cached_property
    def wanted(self) -> Mapping[str, float]:
        """Input by input, the value that alone would do, in SI.

        The share of flow mends all that flow can mend; width, depth and length mend mean velocity and stay
        together; the inlet's size mends the jet. What the sump has no room for is left out.
        """
        found: dict[str, float] = {}
        by_flow = [
            times
            for name, times in self.excesses.items()
            if not (name == "jet" and isinstance(self.inlet, Fall))
        ]
        if by_flow:
            found["flow_share"] = self.share / max(by_flow)
        for name, size in self._sizes().items():
            most = getattr(self.bounds, name)
            if most is None or size <= most:
                found[name] = size
        return found | self._inlet_sizes()

    def _sizes(self) -> dict[str, float]:
        chamber, along = self.chamber, self.chamber.direction == ALONG
        if self.wanted_water is None:
            if self.broken_mean is None:
                return {}
            area = chamber.plan_area_for_mean(self.broken_mean)
            return {"width": area / chamber.length, "length": area / chamber.width}
        sizes = {"width": chamber.width_for(self.wanted_water)}
        # A deeper section slows water that goes along it, a longer one water that goes up or down.
        if along or self.broken_mean is None:
            sizes["depth"] = chamber.depth_for(self.wanted_water)
        if not along or self.broken_mean is None:
            sizes["length"] = chamber.length_for(self.wanted_water)
        return sizes

    def _inlet_sizes(self) -> dict[str, float]:
        if self.broken_jet is None or isinstance(self.inlet, str):
            return {}
        size = inlet_size_for(self.inlet, self.chamber.flow, self.broken_jet)
        name, most = self._largest_inlet(self.inlet)
        return {name: size} if most is None or size <= most else {}

    def _largest_inlet(self, inlet: Inlet) -> tuple[str, float | None]:
        """Which size of an inlet mends its jet, and the most that the section has room for, if that is known."""
        chamber = self.chamber
        sides = (chamber.length, chamber.width, chamber.depth)
        *_, second, first = sorted(side for side in sides if side is not None)
        if isinstance(inlet, Pipe):
            return "inlet_diameter", second
        if isinstance(inlet, Spreader):
            return "inlet_open_area", first * second
        if isinstance(inlet, Fall):
            return "inlet_height", None
        return "inlet_height", self.bounds.depth if chamber.depth is None else chamber.depth

    @cached_property
    def why(self) -> str:
        """The verdict in words."""
        if self.verdict == OK:
            return "Within every limit recorded for it."
        if self.verdict == OVER:
            return " ".join(self._excesses_in_words())
        reasons = list(self._reasons_of_doubt())
        return f"Unknown, because {'; and '.join(reasons or ['no limit is recorded for it'])}."

    def _excesses_in_words(self) -> list[str]:
        times = {name: f"{_near(excess)} times its limit of" for name, excess in self.excesses.items()}
        told = []
        if self.broken_mean is not None:
            mean = _cm_s(self.chamber.mean_velocity or 0.0)
            told.append(f"The water passes at {mean}, {times['mean']} {_cm_s(self.broken_mean)}.")
        if self.broken_jet is not None:
            jet = _cm_s(self.jet or 0.0)
            told.append(f"The jet at its inlet runs at {jet}, {times['jet']} {_cm_s(self.broken_jet)}.")
        if self.broken_stay is not None:
            stay = _near((self.chamber.residence_time or 0.0) / 60)
            told.append(f"The water stays {stay} min, its limit wants {_near(self.broken_stay / 60)} min.")
        return told

    def _reasons_of_doubt(self) -> list[str]:
        found = []
        depth_wanted = self.limits.mean_velocity is not None and self.mean_verdict == UNKNOWN
        if depth_wanted or (self.limits.shortest_residence is not None and self.residence_verdict == UNKNOWN):
            found.append("no running depth is recorded")
        if self.limits.inlet_velocity is None and self.use in PLANTED:
            found.append("no limit of the jet at its inlet is recorded")
        elif self.limits.inlet_velocity is not None and self.inlet_verdict == UNKNOWN:
            found.append(str(self.inlet))
        return found

    @cached_property
    def mend(self) -> str | None:
        """What would bring it within its limits, in words; None where nothing is over."""
        if self.verdict != OVER:
            return None
        told = []
        if "flow_share" in self.wanted:
            share, now = _less(self.wanted["flow_share"] * 100), _near(self.share * 100)
            told.append(f"let {share} % of the through-flow in (now {now} %)")
        jet, sizes = self._jet_in_words(), self._sizes_in_words()
        by_flow_alone = self.broken_jet is not None and not jet
        if jet and sizes:
            told.append(f"for the jet {jet}, and for the way through {sizes}")
        elif (jet or sizes) and not by_flow_alone:
            told.append(jet or sizes)
        words = ", or ".join(told)
        end = " No opening that the section has room for calms its jet." if by_flow_alone else ""
        return f"{words[:1].upper()}{words[1:]}.{end}"

    def _jet_in_words(self) -> str:
        inlet = self.inlet
        if self.broken_jet is None or isinstance(inlet, str):
            return ""
        size = next(iter(self._inlet_sizes().values()), None)
        if size is None:
            return self._wider_slot_in_words(inlet, self.broken_jet)
        if isinstance(inlet, Fall):
            return (
                f"let it fall no more than {_less(size * 100)} cm (now {_near(inlet.drop * 100)} cm) or lead it"
                " down behind a board, for neither less flow nor a wider fall strikes slower"
            )
        if isinstance(inlet, Pipe):
            return f"end its pipe in a mouth of {_more(size * 100)} cm (now {_near(inlet.diameter * 100)} cm)"
        if isinstance(inlet, Sheet):
            return (
                f"lower the crest before it until {_more(size * 100)} cm of water pass over it (now"
                f" {_near(inlet.thickness * 100)} cm)"
            )
        if isinstance(inlet, Spreader):
            return f"open its spreader to {_more(size * 1e4)} cm2 (now {_near(inlet.area * 1e4)} cm2)"
        what = (
            "raise the baffle before it to a gap of" if self.behind_baffle else "open its slot to a height of"
        )
        return f"{what} {_more(size * 100)} cm (now {_near(inlet.height * 100)} cm)"

    def _wider_slot_in_words(self, inlet: Inlet, limit: float) -> str:
        """A slot that height can't mend may be widened, if the section is wide enough; a baffle's gap is as wide."""
        deepest = self._largest_inlet(inlet)[1]
        if not isinstance(inlet, Slot) or self.behind_baffle or deepest is None:
            return ""
        if self.chamber.flow / limit > deepest * self.chamber.width:
            return ""
        return "widen the opening it comes in by, which can't be higher than the water is deep"

    def _sizes_in_words(self) -> str:
        chamber = self.chamber
        sides = (
            ("width", "widen", chamber.width),
            ("depth", "deepen", chamber.depth),
            ("length", "lengthen", chamber.length),
        )
        return " or ".join(
            f"{verb} it to {_more(self.wanted[name] * 100)} cm (now {_near((now or 0.0) * 100)} cm)"
            for name, verb, now in sides
            if name in self.wanted
        )


def worst(verdicts: Iterable[str]) -> str:
    """The worst of some verdicts; of none, unknown."""
    return min(verdicts, key=WORST_FIRST.index, default=UNKNOWN)


def _judge(value: float | None, limit: float | None) -> str:
    if value is None or limit is None:
        return UNKNOWN
    return OVER if value > limit * (1 + SLACK) else OK


def _cm_s(velocity: float) -> str:
    return f"{_near(velocity * 100)} cm/s"


def _near(value: float) -> str:
    return _three_figures(value, round)


def _less(value: float) -> str:
    return _three_figures(value, math.floor)


def _more(value: float) -> str:
    return _three_figures(value, math.ceil)


def _three_figures(value: float, towards: Callable[[float], int]) -> str:
    """Three digits, rounded so that what is built by them still does."""
    if not number(value):
        return "0"
    unit = 10.0 ** (math.floor(math.log10(value)) - 2)
    return str(number(towards(round(value / unit, 6)) * unit))
