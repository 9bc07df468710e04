"""By what suspects are ranked: what each kind of happening weighs, and how soon it usually shows.

All of it is common practice without a source, and stands in the answer. A score is weight × how unusual × how near ×
whether it goes with the causes recorded × whether it came before the losses.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from weirbook.actions.told import Told
from weirbook.record.fish import DISEASE, JUMPED


@dataclass(frozen=True)
class Weight:
    """What an aspect weighs from 0 to 10, within how many days it usually shows, and with which causes of loss it goes."""

    weight: float
    days: float
    causes: tuple[str, ...] = ()


WATER, EQUIPMENT, HANDLING = ("water", DISEASE), ("equipment", "water"), ("handling", "injury")
BROUGHT_IN = (DISEASE, "aggression", "predation")

WEIGHTS: Mapping[str, Weight] = {
    "fish straight into stocked water": Weight(9, 21, BROUGHT_IN),
    "fish that came in": Weight(6, 21, BROUGHT_IN),
    "fish moved in from another system": Weight(7, 21, BROUGHT_IN),
    "more fish": Weight(5, 14, (*WATER, "equipment")),
    "fish moved within the system": Weight(2, 7, (*HANDLING, "aggression", "predation")),
    "tank that came over": Weight(8, 21, BROUGHT_IN),
    "carried in from other water": Weight(6, 21, (DISEASE,)),
    "carried in, disinfected": Weight(2, 21, (DISEASE,)),
    "quarantine released early": Weight(8, 21, (DISEASE,)),
    "quarantine": Weight(3, 21, (DISEASE,)),
    "lid open": Weight(8, 3, (JUMPED, "predation")),
    "mains away": Weight(8, 3, EQUIPMENT),
    "pump stood": Weight(8, 3, EQUIPMENT),
    "leak": Weight(6, 3, EQUIPMENT),
    "other contact": Weight(5, 5, EQUIPMENT),
    "excursion": Weight(6, 7, (*EQUIPMENT, DISEASE)),
    "treatment dosed": Weight(7, 5, WATER),
    "dose": Weight(5, 5, WATER),
    "water change": Weight(5, 5, WATER),
    "water change left out": Weight(5, 14, WATER),
    "drip or top-off": Weight(4, 14, WATER),
    "report on a source water": Weight(2, 14, WATER),
    "ration": Weight(5, 14, ("starvation", "water")),
    "odd feeding": Weight(3, 5, ("starvation", "water")),
    "change in the journal": Weight(6, 10, EQUIPMENT),
    "cleaning": Weight(4, 7, WATER),
    "visit": Weight(1, 10, HANDLING),
    "trial": Weight(5, 10, ("water",)),
    "pump switched": Weight(7, 5, EQUIPMENT),
    "section put to another use": Weight(5, 14, EQUIPMENT),
    "tank that left": Weight(2, 10),
    "equipment edited": Weight(4, 10, EQUIPMENT),
    "entered into the record": Weight(1, 10, EQUIPMENT),
    "target": Weight(2, 10),
    "task not done": Weight(4, 14, EQUIPMENT),
    "planting": Weight(2, 14, (DISEASE,)),
    "plants lost or moved": Weight(3, 14, ("water",)),
}
"""Aspect by aspect, in words that stand in the answer."""

ALWAYS, PLAIN, UNKNOWN, UNCOMMON, NEVER = 0.3, 1.0, 1.5, 2.0, 3.0
"""Factors of how unusual: as it always was, not out of the way, no history to tell, out of the way, never before."""
FITS, AFTER = 1.5, 0.25
"""Factors: goes with a cause that was recorded; came only after the losses of these days."""

CONTACTS = {
    "lid_open": "lid open",
    "leak": "leak",
    "mains_present": "mains away",
    "pump_running": "pump stood",
}
ONE_ASPECT = {
    "excursion": "excursion",
    "water_change": "water change",
    "standing_exchange": "drip or top-off",
    "water_report": "report on a source water",
    "ration": "ration",
    "feeding": "odd feeding",
    "change": "change in the journal",
    "cleaning": "cleaning",
    "visit": "visit",
    "trial": "trial",
    "edit": "equipment edited",
    "entered": "entered into the record",
    "target": "target",
    "task_skipped": "task not done",
    "task_late": "task not done",
    "task_open": "task not done",
    "planting": "planting",
}
PLUMBING = {
    "came": "tank that came over",
    "went": "tank that left",
    "started": "pump switched",
    "stopped": "pump switched",
    "use": "section put to another use",
}
LOST_PLANTS = ("moved", "uprooted", "lost")


def aspect_of(one: Told) -> str | None:
    """As what a line may be suspected; None for what is no suspect: notes, losses themselves, births, counts, alerts."""
    facts = one.facts
    if one.kind == "arrival":
        return "fish straight into stocked water" if facts["straight_in"] else "fish that came in"
    if one.kind == "move":
        ways = {"in": "fish moved in from another system", "within": "fish moved within the system"}
        return "fish straight into stocked water" if facts["straight_in"] else ways.get(facts["way"])
    if one.kind == "transfer":
        if facts["way"] != "in":
            return None
        return "carried in, disinfected" if facts["disinfected"] else "carried in from other water"
    if one.kind == "quarantine":
        return "quarantine released early" if facts["step"] == "released early" else "quarantine"
    if one.kind == "contact":
        return CONTACTS.get(facts["parameter"], "other contact")
    if one.kind == "dose":
        return "treatment dosed" if facts["treatment"] else "dose"
    if one.kind == "plumbing":
        return PLUMBING[facts["step"]]
    if one.kind == "planting_event":
        return "plants lost or moved" if facts["event"] in LOST_PLANTS else None
    return ONE_ASPECT.get(one.kind)
