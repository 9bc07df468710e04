"""Documented shapes of a system in flow."""

from __future__ import annotations

from weirbook.web.shapes import FLAG, INSTANT, QUANTITY, TEXT, Shape, described, many, or_null, ref, thing

FLOW = ref("SystemFlow")
SWEEP = ref("FlowSweep")

PLACE = described(TEXT, "As its path")
AMOUNT = or_null(QUANTITY)
ANSWER_PATH = described(or_null(TEXT), "Path of the answer that shows it step by step; null: none")


def _may_be(words: str) -> Shape:
    return described(AMOUNT, f"{words}; null: unknown")


SHAPES: dict[str, Shape] = {
    "SystemFlow": thing(
        {
            "system": described(TEXT, "Handle of the system"),
            "at": described(INSTANT, "The instant whose plumbing it is"),
            "what_if": described({"type": "object"}, "What was said instead of the record, as it was sent"),
            "temperature": described(QUANTITY, "Of the water"),
            "pumps": described(many(ref("PumpInFlow")), "Pumps that move water between places"),
            "circulation": described(
                many(thing({"pump": TEXT, "tank": PLACE, "running": FLAG})),
                "Pumps that stir the tank they stand in: no net flow",
            ),
            "tanks": described(many(ref("TankInFlow")), "Tanks"),
            "sumps": described(many(ref("SumpInFlow")), "Sumps with their sections in flow order"),
            "stopped": described(
                or_null(many(ref("SumpStopped"))), "With pump=off: where the water goes; null: not asked"
            ),
            "assumptions": described(
                many(thing({"text": TEXT, "origin": TEXT})), "What was taken for granted"
            ),
            "missing": described(
                many(thing({"of": PLACE, "what": TEXT})), "What the record lacks, and of which place or pump"
            ),
            "cautions": described(
                many(thing({"code": TEXT, "text": TEXT, "limit": or_null(TEXT)})), "What to beware of"
            ),
        }
    ),
    "PumpInFlow": thing(
        {
            "pump": described(TEXT, "Its handle"),
            "from": PLACE,
            "flow": _may_be("What is reckoned with"),
            "basis": described(
                or_null({"type": "string", "enum": ["measured", "worked out", "rated", "off"]}),
                "How that is known; null: it is not",
            ),
            "clean_flow": _may_be("What curve and line come to, all clean"),
            "head": _may_be("The pump's head at that clean flow"),
            "static_head": _may_be("Of it, lift alone"),
            "share_of_shut_off_head": _may_be("Of the head at which nothing flows"),
            "outlets": described(
                many(
                    thing(
                        {
                            "name": TEXT,
                            "to": PLACE,
                            "flow": described(QUANTITY, "Below zero it runs back"),
                            "velocity": _may_be("In its narrowest pipe"),
                            "loss": _may_be("Along its own pipes at the clean flow"),
                        }
                    )
                ),
                "The ends of its line",
            ),
            "why": described(or_null(TEXT), "Why its clean flow is unknown; null: it is known"),
            "answer": ANSWER_PATH,
        }
    ),
    "TankInFlow": thing(
        {
            "tank": PLACE,
            "inflow": _may_be("What pumps and other tanks bring"),
            "over_edge": _may_be("What passes its overflow edge"),
            "head": _may_be("Of the water over the crest"),
            "head_low": _may_be("By the formula that gives least"),
            "head_high": _may_be("By the formula that gives most"),
            "water_depth": _may_be("Above its inside base"),
            "freeboard": _may_be("From the water to the rim"),
            "drains_to": described(or_null(PLACE), "Where its overflow leads; null: not known, or nowhere"),
            "drains": described(or_null(ref("TankDrains")), "What its drains carry; null: none are recorded"),
            "answers": described(many(TEXT), "Paths of the answers that show it step by step"),
        }
    ),
    "TankDrains": thing(
        {
            "verdict": described(
                TEXT,
                "ok, over or unknown: the worst of in use, largest blocked, standby alone; with a drain blocked, whether all "
                "others together carry what comes",
            ),
            "in_use_capacity": _may_be("Of those in use"),
            "blocked_capacity": _may_be("Of all with the largest blocked"),
            "standby_capacity": _may_be("Of the standby alone"),
            "all_capacity": _may_be("Of all together; of a blocked one nothing"),
            "blocked": described(or_null({"type": "integer"}), "The drain that was said to be blocked"),
            "overflow": described(
                or_null(
                    thing(
                        {
                            "verdict": described(
                                TEXT, "ok, over (water goes over the tank's rim) or unknown"
                            ),
                            "rise": _may_be("Of the tank's water"),
                            "margin": _may_be("Left to the rim; below zero it spills"),
                            "spilled": _may_be("What goes over the rim"),
                        }
                    )
                ),
                "With a drain blocked and the rest carrying too little: if all stopped; null: not so",
            ),
            "why": described(TEXT, "The verdict in words"),
        }
    ),
    "SumpInFlow": thing(
        {
            "sump": PLACE,
            "inflow": _may_be("What comes down to it"),
            "surplus": _may_be("Comes and isn't drawn: above zero it fills, below it is pumped out"),
            "why": described(or_null(TEXT), "Why its levels are unknown; null: they are known"),
            "sections": described(many(ref("SectionInFlow")), "In flow order"),
            "answers": described(many(TEXT), "Paths of the answers that show it step by step"),
        }
    ),
    "SectionInFlow": thing(
        {
            "section": PLACE,
            "use": described(TEXT, "What it is used for"),
            "direction": described(TEXT, "along, up or down"),
            "arrives": _may_be("What reaches it"),
            "flow": _may_be("Its share of that"),
            "depth": _may_be(
                "Of its water in flow: worked out, else as recorded. Where it comes to rest stands in stopped."
            ),
            "recorded_depth": described(AMOUNT, "As recorded; null: none is"),
            "freeboard": _may_be("From its water to the rim"),
            "gate_loss": _may_be("Fall of the surface at its baffle"),
            "bed_loss": _may_be("In its media"),
            "passing": described(or_null(TEXT), "How water leaves it; null: unknown"),
            "one_with_next": described(or_null(FLAG), "Whether it has become one level with the next"),
            "mean_velocity": _may_be("Flow over its free cross-section"),
            "inlet_velocity": _may_be("What its inlet brings"),
            "residence_time": _may_be("Water over flow"),
            "over_limits": described(many(TEXT), "Which of its keeper's limits are passed"),
        }
    ),
    "SumpStopped": thing(
        {
            "sump": PLACE,
            "verdict": described(TEXT, "Worst of all cases: ok, over (water goes over the rim) or unknown"),
            "worst_case": described(or_null(TEXT), "The case that is worst; null: unknown"),
            "highest_safe_depth": described(
                AMOUNT,
                "Of the running return section, so that the sump holds in every case; null: unknown, or no level is safe",
            ),
            "restart_verdict": described(
                TEXT, "When they start again: ok, over (a pump draws air) or unknown"
            ),
            "cases": described(
                many(
                    thing(
                        {
                            "case": described(
                                TEXT, "As recorded, air hole blocked, check valve stuck, or both"
                            ),
                            "verdict": TEXT,
                            "falls": _may_be("All that is known to come down"),
                            "margin": _may_be("From the highest water to the rim; below zero it spills"),
                            "spilled": _may_be("What goes over the rim"),
                        }
                    )
                ),
                "What is known to happen, part by part failing",
            ),
            "levels": described(
                many(thing({"section": TEXT, "level": QUANTITY})),
                "Of the water at rest, for the case as recorded",
            ),
            "why": described(or_null(TEXT), "Why there is no answer; null: there is one"),
            "answer": ANSWER_PATH,
        }
    ),
    "FlowSweep": thing(
        {
            "system": described(TEXT, "Handle of the system"),
            "vary": described(TEXT, "The what-if that was varied"),
            "items": described(
                many(thing({"value": TEXT, "flow": or_null(FLOW), "refused": or_null(TEXT)})),
                "A system in flow for each value, in the order sent; or why that value can't be",
            ),
        }
    ),
}
"""Shapes that the document names once, under components."""
