"""The working of one section's level: over the crest, through the gap, through the bed. For `baffle_levels`.

A head that was found by trying is shown by what it passes: the flow comes out again.
"""

from __future__ import annotations

import math

from weirbook.engine.calculators.chamber_levels import Standing
from weirbook.engine.relations.beds import ergun_gradient
from weirbook.engine.relations.chambers import ALONG
from weirbook.engine.relations.hydraulics import JET_CONTRACTION
from weirbook.engine.relations.levels import OPEN, Gate, over_flow, under_flow
from weirbook.engine.relations.weir_laws import HIGHEST_RATIO
from weirbook.engine.relations.weirs import submerged_share
from weirbook.engine.shape import Step, show, step

NO_DROP = 1e-9
"""Of the head over a crest: with less between its two sides the crest is no hindrance worth a step."""


def level_steps(one: Standing, density: float, viscosity: float) -> list[Step]:
    """How the level of a section follows from the one after it; none where it does not. Flow in L/h, sizes in cm."""
    level, outlet, down, stand = one.level, one.outlet, one.down, one.stand
    if level is None or outlet is None or down is None or stand is None:
        return []
    name, numbers = one.section.name, {"level_after": show(down, "length")}
    steps, ways = [], []
    if one.after is not None and stand.passing != "end":
        gate = one.cell.gate
        if gate is None or gate.passes == OPEN:
            ways = ["{level_after}"]
        else:
            steps += _gate_steps(one, gate, outlet, down)
            if gate.gap_height is None and gate.crest_height is not None and down <= gate.crest_height:
                numbers["crest"] = show(gate.crest_height, "length")
                numbers["head"] = show(outlet - gate.crest_height, "length")
                ways = ["{crest} + {head}"]
            else:
                numbers["loss"] = show(stand.gate_loss, "length")
                ways = ["{level_after} + {loss}"]
    else:
        numbers = {"told_level": show(down, "length")}
        ways = ["{told_level}"]
    steps += bed_steps(one, density, viscosity)
    if level != outlet:
        numbers["loss_in_bed"] = show(stand.bed_loss, "length")
        ways.append("{loss_in_bed}")
    steps.append(step(f"{name}: level in cm", " + ".join(ways), numbers, level, "length", "cm"))
    if one.section.direction == "up" and stand.bed_loss:
        numbers |= {"level": show(level, "length"), "loss_in_bed": show(stand.bed_loss, "length")}
        inlet = level + stand.bed_loss
        words = f"{name}: level that comes to its bed in cm"
        steps.append(step(words, "{level} + {loss_in_bed}", numbers, inlet, "length", "cm"))
    return steps


def _gate_steps(one: Standing, gate: Gate, up: float, down: float) -> list[Step]:
    name, steps = one.section.name, []
    over, under = over_flow(gate, up, down), under_flow(gate, up, down)
    if over:
        steps += _crest_steps(name, gate, up, down)
    if under and one.stand is not None:
        filled = min(up, down) >= (gate.gap_height or 0.0)
        steps += (
            _gap_loss_steps(name, gate, under, up - down)
            if filled
            else [_free_gap_step(name, gate, up, down, under)]
        )
    if over and under:
        numbers = {"over": show(over, "flow"), "under": show(under, "flow")}
        both = over + under
        steps.append(
            step(f"{name}: flow over and under in L/h", "{over} + {under}", numbers, both, "flow", "L/h")
        )
    return steps


def _crest_steps(name: str, gate: Gate, up: float, down: float) -> list[Step]:
    head = up - (gate.crest_height or 0.0)
    free = gate.crest_flow(head)
    numbers = {
        "head": show(head, "length"),
        "crest_height": show(gate.crest_height or 0.0, "length"),
        "crest_length": show(gate.width, "length"),
    }
    steps = []
    if gate.breadth is None:
        law = gate.sharp
        ratio = "{head} ÷ {crest_height}" if head < HIGHEST_RATIO * law.crest_height else "2"
        coefficient = law.coefficient(head)
        steps.append(
            step(
                f"{name}: coefficient of the crest, m^0.5/s",
                f"(0.602 + 0.075 × {ratio}) × 2 ÷ 3 × sqrt(2 × 9.80665)",
                numbers,
                coefficient,
                "number",
            )
        )
        raised = (free / (coefficient * law.width(head))) ** (2 / 3)
        # The formula adds a millimetre to the head, and takes one off the length.
        numbers["head_as_reckoned"] = show(raised, "length")
        numbers["length_as_reckoned"] = show(law.width(head), "length")
        length, reckoned = "{length_as_reckoned}", "{head_as_reckoned}"
    else:
        coefficient = free / (gate.width * head * math.sqrt(head))
        length, reckoned = "{crest_length}", "{head}"
    numbers["coefficient"] = f"{coefficient:.6g}"
    words = f"{name}: flow that its crest passes freely at that head, in L/h"
    formula = f"{{coefficient}} × {length} × {reckoned} × sqrt({reckoned} ÷ 100) × 360"
    steps.append(step(words, formula, numbers, free, "flow", "L/h"))
    drowned = down - (gate.crest_height or 0.0)
    if drowned <= 0:
        return steps
    still, lower = submerged_share(drowned / head), (up - down) / head
    if lower < NO_DROP:
        return steps
    numbers["drop"] = show(up - down, "length")
    numbers["drop_over_head"] = f"{lower:.6g}"
    numbers["free_flow"], numbers["share"] = show(free, "flow"), f"{still:.6g}"
    kept = (
        "1.5 × {drop_over_head}"
        if lower < 1e-5
        else "1 − (1 − {drop_over_head}) × sqrt(1 − {drop_over_head})"
    )
    return [
        *steps,
        step(f"{name}: drop over head", "{drop} ÷ {head}", numbers, lower, "number"),
        step(
            f"{name}: natural logarithm of the share that a drowned crest still passes",
            f"0.385 × ln({kept})",
            numbers,
            math.log(still),
            "number",
        ),
        step(
            f"{name}: flow over its drowned crest in L/h",
            "{free_flow} × {share}",
            numbers,
            free * still,
            "flow",
            "L/h",
        ),
    ]


def _gap_loss_steps(name: str, gate: Gate, flow: float, loss: float) -> list[Step]:
    height = gate.gap_height or 0.0
    speed = flow / (gate.width * height)
    numbers = {
        "flow": show(flow, "flow"),
        "gap_width": show(gate.width, "length"),
        "gap_height": show(height, "length"),
        "gap_velocity": show(speed, "velocity"),
    }
    jet = "{gap_velocity} ÷ 0.61"
    return [
        step(
            f"{name}: velocity in the gap in cm/s",
            "{flow} ÷ ({gap_width} × {gap_height}) ÷ 3.6",
            numbers,
            speed,
            "velocity",
            "cm/s",
        ),
        step(
            f"{name}: loss through the gap in cm",
            f"({jet}) × ({jet}) ÷ (2 × 980.665)",
            numbers,
            loss,
            "length",
            "cm",
        ),
    ]


def _free_gap_step(name: str, gate: Gate, up: float, down: float, flow: float) -> Step:
    height = min(gate.gap_height or 0.0, up)
    numbers = {
        "gap_width": show(gate.width, "length"),
        "height_of_jet": show(height, "length"),
        "level": show(up, "length"),
    }
    fall = "({level} − 0.61 × {height_of_jet})"
    if down > JET_CONTRACTION * height:
        numbers["drop"], fall = show(up - down, "length"), "{drop}"
    return step(
        f"{name}: flow through its gap at that level, in L/h",
        f"0.61 × {{gap_width}} × {{height_of_jet}} × sqrt(2 × 980.665 × {fall}) × 3.6",
        numbers,
        flow,
        "flow",
        "L/h",
    )


def bed_steps(one: Standing, density: float, viscosity: float) -> list[Step]:
    """The loss in a section's media; none where it can't be worked out."""
    cell, stand, name = one.cell, one.stand, one.section.name
    if stand is None or one.bed_loss is None or cell.grain is None or not cell.media_volume or not cell.flow:
        return []
    speed, along = cell.bed_velocity(), cell.direction == ALONG
    gradient = ergun_gradient(speed, cell.grain, cell.media_porosity, density, viscosity)
    way = cell.length if along else cell.bed_height
    numbers = {
        "flow": show(cell.flow, "flow"),
        "media": show(cell.media_volume, "volume"),
        "length": show(cell.length, "length"),
        "width": show(cell.width, "length"),
        "velocity": show(speed, "velocity"),
        "porosity": f"{cell.media_porosity:.6g}",
        "grain": show(cell.grain, "length"),
        "viscosity_in_mm2_per_s": f"{viscosity / density * 1e6:.6g}",
        "loss_a_cm": f"{gradient:.6g}",
    }
    cube, solid = "({porosity} × {porosity} × {porosity})", "(1 − {porosity})"
    calm = f"1.5 × {{viscosity_in_mm2_per_s}} × {solid} × {solid} × {{velocity}} ÷ {cube} ÷ ({{grain}} × {{grain}})"
    swirling = f"1.75 × {solid} × {{velocity}} × {{velocity}} ÷ {cube} ÷ {{grain}}"
    across = "({media} × 1000 ÷ {length})" if along else "({length} × {width})"
    steps = [
        step(
            f"{name}: velocity over the whole bed in cm/s",
            f"{{flow}} ÷ {across} ÷ 3.6",
            numbers,
            speed,
            "velocity",
            "cm/s",
        ),
        step(
            f"{name}: head lost in each cm of the bed, in cm",
            f"({calm} + {swirling}) ÷ 980.665",
            numbers,
            gradient,
            "number",
        ),
    ]
    if not along:
        numbers["height_of_bed"] = show(way, "length")
        words = "{media} × 1000 ÷ ({length} × {width})"
        steps.insert(0, step(f"{name}: height of the bed in cm", words, numbers, way, "length", "cm"))
    if gradient * way - stand.bed_loss > 1e-9:
        return [*steps, *_over_the_bed(one, name)]
    passed = "{length}" if along else "{height_of_bed}"
    words = f"{name}: head lost in the bed in cm"
    return [*steps, step(words, f"{{loss_a_cm}} × {passed}", numbers, gradient * way, "length", "cm")]


def _over_the_bed(one: Standing, name: str) -> list[Step]:
    """Water that a bed along the way would hold back runs over its top."""
    cell = one.cell
    if one.outlet is None or one.stand is None:
        return []
    top = Gate("over", cell.width, crest_height=cell.bed_height, breadth=cell.length)
    numbers = {
        "media": show(cell.media_volume, "volume"),
        "length": show(cell.length, "length"),
        "width": show(cell.width, "length"),
    }
    height = step(
        f"{name}: top of the bed in cm",
        "{media} × 1000 ÷ ({length} × {width})",
        numbers,
        cell.bed_height,
        "length",
        "cm",
    )
    inlet = one.outlet + one.stand.bed_loss
    return [height, *_crest_steps(f"{name}, over its bed", top, inlet, one.outlet)]
