"""Whether nitrate, and phosphate where a limit is told, stays below its limit, in words for a keeper."""

from __future__ import annotations

from dataclasses import dataclass

from weirbook.engine.calculators.nutrients_case import Balance
from weirbook.engine.relations.nutrients import KG_N_A_MOLE, KG_P_A_MOLE
from weirbook.engine.saying import less, more, near

OVER, WATCH, OK = "over", "watch", "ok"
WORST_FIRST = (OVER, WATCH, OK)


@dataclass(frozen=True)
class Outlook:
    """Of nitrate or phosphate, mol/m3: now, its limit, where it likely settles and where at worst; when it passes."""

    name: str
    unit: str
    present: float | None
    limit: float
    likely: tuple[float, float] | None
    likely_climbs: bool
    worst: tuple[float, float] | None
    worst_climbs: bool
    reached: float | None

    def said(self, value: float) -> str:
        return near(value, self.name, self.unit)

    @property
    def verdict(self) -> tuple[str, str]:
        name, bound = self.name.capitalize(), self.said(self.limit)
        if self.present is not None and self.present > self.limit:
            return OVER, f"{name} stands at {self.said(self.present)} now, above {bound}.{self._whither}"
        if self.likely is None and self.likely_climbs:
            return OVER, f"Nothing carries off what is made: {self.name} climbs without end{self._when}."
        if self.likely is not None and max(self.likely) > self.limit:
            top = self.said(max(self.likely))
            return OVER, f"With this routine {self.name} likely climbs to {top}, above {bound}{self._when}."
        if self.worst is None and self.worst_climbs:
            words = "likely holds, but if the plants take up little it climbs without end: test it monthly."
            return WATCH, f"{name} {words}"
        if self.worst is not None and max(self.worst) > self.limit:
            words = "if the fish give off much and the plants take up little: test it monthly."
            return (
                WATCH,
                f"{name} likely stays below {bound}, but may reach {self.said(max(self.worst))} {words}",
            )
        words = "Even if the fish give off much and the plants take up little,"
        return OK, f"{words} {self.name} stays below {bound}."

    @property
    def _whither(self) -> str:
        if self.likely is None:
            return " Nothing carries it off." if self.likely_climbs else ""
        return f" With this routine it likely goes to {self.said(self.likely[0])} before each change."

    @property
    def _when(self) -> str:
        return f", past {self.said(self.limit)} in {near(self.reached, 'time', 'd')}" if self.reached else ""


def verdict(found: Balance) -> tuple[str, str]:
    """The worse of the two, and why of both."""
    looked = [_nitrate(found).verdict]
    if found.given.phosphate_limit is not None:
        looked.append(_phosphate(found, found.given.phosphate_limit).verdict)
    looked.sort(key=lambda one: WORST_FIRST.index(one[0]))
    level, why = looked[0][0], " ".join(why for _, why in looked)
    if level == OK and (untold := _untold_sources(found)):
        level, why = WATCH, f"{why} But what the {untold} holds is not told, and was taken as none: test it."
    return level, f"{why}{_to_hold(found)}"


def _untold_sources(found: Balance) -> str:
    """Waters that come in and of which a species that is judged is not told."""
    given = found.given
    wanted = ["nitrate"] + (["phosphate"] if given.phosphate_limit is not None else [])
    names = []
    if found.likely.share and any(getattr(given, f"source_{one}") is None for one in wanted):
        names.append("water of changes")
    for name, flow in (("drip", given.drip_flow), ("top_off", given.top_off_flow)):
        untold = any(
            getattr(given, f"{name}_{one}") is None and getattr(given, f"source_{one}") is None
            for one in wanted
        )
        if flow and untold:
            names.append(f"{name.replace('_', '-')}'s water")
    return " and the ".join(names)


def _to_hold(found: Balance) -> str:
    """What each lever alone would have to do, in a sentence; nothing where the value holds as it is."""
    if found.likely.gain.nitrogen <= found.gain_allowed:
        return ""
    ways = []
    if (share := found.share_to_hold) is not None:
        ways.append(f"change {more(share * found.given.volume, 'volume', 'L')} each time")
    if feed := found.feed_to_hold:
        ways.append(f"feed {less(feed, 'mass_flow', 'g/d').removesuffix('/d')} a day")
    area = found.area_to_hold
    ways.append(
        f"add {more(found.likely_area_to_hold, 'area', 'm2')} of {found.given.added_form} plants"
        f" ({near(area.low, 'area', 'm2')} if they take up much, {near(area.high, 'area', 'm2')} if little)"
    )
    return f" To hold {near(found.given.hold_nitrate, 'nitrate', 'mg/L NO3')}: {', or '.join(ways)}."


def _nitrate(found: Balance) -> Outlook:
    likely, most = found.likely, found.most
    return Outlook(
        "nitrate",
        "mg/L NO3",
        found.given.nitrate,
        found.limit,
        _moles(likely.nitrogen_swing, KG_N_A_MOLE),
        likely.gain.nitrogen > 0,
        _moles(most.nitrogen_swing, KG_N_A_MOLE),
        most.gain.nitrogen > 0,
        found.days_to_limits[0],
    )


def _phosphate(found: Balance, limit: float) -> Outlook:
    likely, most = found.likely, found.most
    return Outlook(
        "phosphate",
        "mg/L PO4",
        found.given.phosphate,
        limit,
        _moles(likely.phosphorus_swing, KG_P_A_MOLE),
        likely.gain.phosphorus > 0,
        _moles(most.phosphorus_swing, KG_P_A_MOLE),
        most.gain.phosphorus > 0,
        found.days_to_limits[1],
    )


def _moles(swing: tuple[float, float] | None, a_mole: float) -> tuple[float, float] | None:
    return swing and (swing[0] / a_mole, swing[1] / a_mole)
