"""The working of a stop, step by step: what falls, where it settles, what is left to run again. For `stop_flow`."""

from __future__ import annotations

import math
from collections.abc import Sequence

from weirbook.engine.calculators.stop_cases import Stop
from weirbook.engine.calculators.stop_parts import pipe_step, tank_steps
from weirbook.engine.calculators.sump_water import water_steps
from weirbook.engine.relations.basins import held
from weirbook.engine.shape import Step, show, step


def stop_steps(cases: Sequence[Stop]) -> list[Step]:
    """The steps of all cases, of which the first is as recorded. Volumes in L, levels in cm, margins in mm."""
    recorded = cases[0]
    sump = recorded.sump
    steps = [made for tank in recorded.tanks for made in tank_steps(tank)]
    steps += [made for pipe in recorded.pipes for made in pipe_step(pipe)]
    if recorded.running is not None:
        steps += water_steps(sump.sections, sump.cells, recorded.running, "while it runs")
    for case in cases:
        steps += [*_fallen(case), *_settled(case)]
    safe = [case for case in cases if case.safe_level is not None]
    if safe:
        steps += _safe_level(min(safe, key=lambda case: case.safe_level or 0.0))
    again = [case for case in cases if case.lowest_at_restart is not None]
    return [*steps, *_restart(min(again, key=lambda case: case.lowest_at_restart or 0.0))] if again else steps


def _fallen(case: Stop) -> list[Step]:
    parts: dict[str, float | None] = {}
    for number, tank in enumerate(case.tanks, 1):
        names = (f"head_of_tank_{number}", f"box_of_tank_{number}", f"drain_of_tank_{number}")
        parts |= dict(zip(names, tank.over_the_edge(), strict=True))
        parts[f"siphon_of_tank_{number}"] = tank.from_siphon(case.blocked)
    parts |= {f"return_pipe_{number}": pipe.falls(case.stuck) for number, pipe in enumerate(case.pipes, 1)}
    numbers = {name: show(part, "volume") for name, part in parts.items() if part}
    if not numbers:
        return []
    whole = " + ".join(f"{{{name}}}" for name in numbers)
    return [step(f"{case.name}: comes down, in L", whole, numbers, case.fallen, "volume", "L")]


def _settled(case: Stop) -> list[Step]:
    rest, sump = case.rest, case.sump
    if rest is None or case.running_water is None or case.after is None or case.spilled is None:
        return []
    numbers = {
        "water_while_it_runs": show(case.running_water, "volume"),
        "comes_down": show(case.fallen, "volume"),
        "water_after_the_stop": show(case.after, "volume"),
        "water_at_rest": show(held(sump.cells, rest.levels), "volume"),
        "spilled": show(case.spilled, "volume"),
        "height_of_sump": show(case.rim, "length"),
        "plan_area_of_all": show(math.fsum(cell.plan_area for cell in sump.cells), "area"),
        "highest_level": show(case.level_between_walls or 0.0, "length"),
    }
    after = "{water_while_it_runs} + {comes_down}"
    steps = [
        step(f"{case.name}: water after the stop, in L", after, numbers, case.after, "volume", "L"),
        *water_steps(sump.sections, sump.cells, rest.levels, f"at rest, {case.name},"),
        step(
            f"{case.name}: spilled, in L",
            "{water_after_the_stop} − {water_at_rest}",
            numbers,
            case.spilled,
            "volume",
            "L",
        ),
    ]
    if case.spilled and _stands_as_one_at_the_rim(case):
        formula, level = "{height_of_sump} + {spilled} ÷ {plan_area_of_all} ÷ 10", case.level_between_walls
        words = f"{case.name}: level if the walls went on, in cm"
        steps.append(step(words, formula, numbers, level or 0.0, "length", "cm"))
    margin = "({height_of_sump} − {highest_level}) × 10"
    steps.append(step(f"{case.name}: margin in mm", margin, numbers, case.margin or 0.0, "length", "mm"))
    if case.siphon_shorter_by is not None and _all_siphon_longer(case):
        siphoning = [tank.plan_area or 0.0 for tank in case.tanks if tank.drop(case.blocked)]
        numbers["plan_area_that_siphons"] = show(math.fsum(siphoning), "area")
        words = f"{case.name}: siphon shorter by, in mm"
        by = "{spilled} ÷ {plan_area_that_siphons}"
        steps.append(step(words, by, numbers, case.siphon_shorter_by, "length", "mm"))
    return steps


def _stands_as_one_at_the_rim(case: Stop) -> bool:
    assert case.rest is not None
    under_water = all(cell.bed_height <= case.rim for cell in case.sump.cells)
    return under_water and min(case.rest.levels) > case.rim * (1 - 1e-9)


def _all_siphon_longer(case: Stop) -> bool:
    drops = [drop for tank in case.tanks if (drop := tank.drop(case.blocked))]
    return (case.siphon_shorter_by or 0.0) <= min(drops)


def _safe_level(case: Stop) -> list[Step]:
    levels = case.sump.known_levels(case.safe_level)
    if levels is None:
        return []
    running = held(case.sump.cells, levels)
    numbers = {"water_while_it_runs": show(running, "volume"), "comes_down": show(case.fallen, "volume")}
    words = f"{case.name}: water after a stop from the highest safe level, in L"
    whole = "{water_while_it_runs} + {comes_down}"
    when = f"running at the highest safe level ({case.name})"
    return [
        *water_steps(case.sump.sections, case.sump.cells, levels, when),
        step(words, whole, numbers, running + case.fallen, "volume", "L"),
        *water_steps(case.sump.sections, case.sump.cells, [case.rim] * len(levels), "up to the rim"),
    ]


def _restart(case: Stop) -> list[Step]:
    if case.running_water is None or case.spilled is None or case.drawn_at_restart is None:
        return []
    left = case.running_water - case.spilled
    numbers = {
        "water_while_it_runs": show(case.running_water, "volume"),
        "spilled": show(case.spilled, "volume"),
    }
    words = f"{case.name}: left in the sump when all is up in the tanks again, in L"
    steps = [step(words, "{water_while_it_runs} − {spilled}", numbers, left, "volume", "L")]
    if case.drawn_at_restart.missing:
        return steps
    when = f"while the tanks fill again ({case.name})"
    return [*steps, *water_steps(case.sump.sections, case.sump.cells, case.drawn_at_restart.levels, when)]
