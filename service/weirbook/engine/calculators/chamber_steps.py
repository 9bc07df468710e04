"""The working of one section, step by step, as a person would follow it. For `chamber_flow`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from weirbook.engine.calculators.baffle_steps import level_steps
from weirbook.engine.calculators.chamber_levels import Standing
from weirbook.engine.calculators.chamber_sections import ChamberSection
from weirbook.engine.calculators.chamber_verdicts import Judged
from weirbook.engine.relations.chambers import ALONG, PLANTS_TAKE, Fall, Pipe, Sheet, Slot, Spreader
from weirbook.engine.relations.hydraulics import reynolds_number
from weirbook.engine.shape import Step, show, step


def level_steps_of(found: Sequence[Standing], density: float, viscosity: float) -> list[Step]:
    """How levels are worked out, from the last section up."""
    return [made for one in reversed(found) for made in level_steps(one, density, viscosity)]


_LEFT_BY_PLANTS = f" × (1 − {PLANTS_TAKE} × {{plant_coverage}})"


def section_steps(one: Judged, told: ChamberSection, whole_flow: float, viscosity: float) -> list[Step]:
    """Every figure of a section that is known. Flow in L/h, sizes in cm, speeds in cm/s, times in min."""
    chamber = one.chamber
    numbers = {
        "through_flow": show(whole_flow, "flow"),
        "flow_share": show(one.share, "fraction", "1"),
        "flow": show(chamber.flow, "flow"),
        "length": show(chamber.length, "length"),
        "width": show(chamber.width, "length"),
        "viscosity_in_mm2_per_s": f"{viscosity * 1e6:.6g}",
    }
    if chamber.depth is not None:
        numbers["depth"] = show(chamber.depth, "length")
    if told.media_volume is not None:
        numbers["media_volume"] = show(told.media_volume, "volume")
        numbers["media_porosity"] = show(told.porosity, "fraction", "1")
        numbers["media_solids"] = show(chamber.solids, "volume")
    if chamber.plants:
        numbers["plant_coverage"] = show(told.plant_coverage or 0.0, "fraction", "1")
    flow = step(
        f"{one.name}: flow in L/h", "{through_flow} × {flow_share}", numbers, chamber.flow, "flow", "L/h"
    )
    return [
        flow,
        *_way_through(one, numbers, viscosity),
        *_inlet(one, numbers, viscosity),
        *_mends(one, numbers),
    ]


def _way_through(one: Judged, numbers: dict[str, str], viscosity: float) -> list[Step]:
    chamber, name = one.chamber, one.name
    along, steps = chamber.direction == ALONG, []
    if chamber.solids:
        formula = "{media_volume} × (1 − {media_porosity})"
        steps.append(
            step(f"{name}: media solids in L", formula, numbers, chamber.solids, "volume", "L"),
        )
    if chamber.water is not None:
        formula = "{length} × {width} × {depth} ÷ 1000" + (" − {media_solids}" if chamber.solids else "")
        steps.append(step(f"{name}: water in L", formula, numbers, chamber.water, "volume", "L"))
        numbers["water"] = show(chamber.water, "volume")
    if chamber.free_area is not None and chamber.mean_velocity is not None:
        sides = "{width} × {depth}" if along else "{length} × {width}"
        if chamber.solids:
            sides = "{water} × 1000 ÷ " + ("{length}" if along else "{depth}")
        if chamber.plants:
            sides += _LEFT_BY_PLANTS
        steps.append(step(f"{name}: free area in cm2", sides, numbers, chamber.free_area, "area", "cm2"))
        numbers["free_area"] = show(chamber.free_area, "area", "cm2")
        mean = "{flow} ÷ {free_area} ÷ 3.6"
        steps.append(
            step(f"{name}: mean velocity in cm/s", mean, numbers, chamber.mean_velocity, "velocity", "cm/s")
        )
        numbers["mean_velocity"] = show(chamber.mean_velocity, "velocity")
    if chamber.residence_time is not None:
        stay = "{water} ÷ {flow} × 60"
        steps.append(
            step(f"{name}: residence time in min", stay, numbers, chamber.residence_time, "time", "min")
        )
        numbers["residence_time"] = show(chamber.residence_time, "time", "min")
    loading = "{flow} ÷ ({length} × {width}) ÷ 0.36"
    steps.append(
        step(
            f"{name}: surface loading in mm/s", loading, numbers, chamber.surface_loading, "velocity", "mm/s"
        )
    )
    if chamber.flow and chamber.mean_velocity is not None and chamber.wetted_size is not None:
        wetted = "({width} + 2 × {depth})" if along else "(2 × ({length} + {width}))"
        steps.append(
            step(
                f"{name}: Reynolds number of the way through",
                f"{{mean_velocity}} × 4 × {{free_area}} ÷ {wetted} × 100 ÷ {{viscosity_in_mm2_per_s}}",
                numbers,
                reynolds_number(chamber.mean_velocity, chamber.wetted_size, viscosity),
                "number",
            )
        )
    return steps


def _inlet(one: Judged, numbers: dict[str, str], viscosity: float) -> list[Step]:
    inlet, name = one.inlet, one.name
    if isinstance(inlet, str) or one.jet is None or not one.chamber.flow:
        return []
    if isinstance(inlet, Fall):
        numbers["drop"] = show(inlet.drop, "length")
        speed = "sqrt(2 × 980.665 × {drop})"
        return [step(f"{name}: inlet velocity in cm/s", speed, numbers, one.jet, "velocity", "cm/s")]
    numbers["opening"] = show(inlet.area, "area", "cm2")
    steps, wetted = [], ""
    if isinstance(inlet, Slot):
        numbers |= {"slot_width": show(inlet.width, "length"), "slot_height": show(inlet.height, "length")}
        opening = "{slot_width} × {slot_height}"
        steps.append(step(f"{name}: opening in cm2", opening, numbers, inlet.area, "area", "cm2"))
        wetted = "2 × {opening} ÷ ({slot_width} + {slot_height})"
    elif isinstance(inlet, Sheet):
        numbers["crest_length"] = show(inlet.width, "length")
        numbers["water_over_crest"] = show(inlet.thickness, "length")
        opening = "{crest_length} × {water_over_crest}"
        steps.append(step(f"{name}: way over the crest in cm2", opening, numbers, inlet.area, "area", "cm2"))
    elif isinstance(inlet, Pipe):
        numbers["pipe_diameter"] = show(inlet.diameter, "length")
        opening = "π × {pipe_diameter} × {pipe_diameter} ÷ 4"
        steps.append(step(f"{name}: opening in cm2", opening, numbers, inlet.area, "area", "cm2"))
        wetted = "{pipe_diameter}"
    numbers["inlet_velocity"] = show(one.jet, "velocity")
    speed = "{flow} ÷ {opening} ÷ 3.6"
    steps.append(step(f"{name}: inlet velocity in cm/s", speed, numbers, one.jet, "velocity", "cm/s"))
    if inlet.wetted_size is not None:
        steps.append(
            step(
                f"{name}: Reynolds number of the jet",
                f"{{inlet_velocity}} × {wetted} × 100 ÷ {{viscosity_in_mm2_per_s}}",
                numbers,
                reynolds_number(one.jet, inlet.wetted_size, viscosity),
                "number",
            )
        )
    return steps


def _mends(one: Judged, numbers: dict[str, str]) -> list[Step]:
    return [*_share_mend(one, numbers), *_inlet_mend(one, numbers), *_size_mends(one, numbers)]


def _share_mend(one: Judged, numbers: Mapping[str, str]) -> Sequence[Step]:
    if "flow_share" not in one.wanted:
        return ()
    by_flow = {
        name: times
        for name, times in one.excesses.items()
        if not (name == "jet" and isinstance(one.inlet, Fall))
    }
    formula, limits = {
        "mean": ("{mean_limit} ÷ {mean_velocity}", {"mean_limit": (one.broken_mean, "velocity", "cm/s")}),
        "jet": ("{jet_limit} ÷ {inlet_velocity}", {"jet_limit": (one.broken_jet, "velocity", "cm/s")}),
        "stay": ("{residence_time} ÷ {wanted_stay}", {"wanted_stay": (one.broken_stay, "time", "min")}),
    }[max(by_flow, key=by_flow.__getitem__)]
    told = {name: show(limit or 0.0, kind, unit) for name, (limit, kind, unit) in limits.items()}
    words = f"{one.name}: share of flow that would do, in %"
    whole = f"{{flow_share}} × {formula} × 100"
    return (step(words, whole, {**numbers, **told}, one.wanted["flow_share"], "fraction", "%"),)


def _inlet_mend(one: Judged, numbers: dict[str, str]) -> list[Step]:
    inlet, limit = one.inlet, one.broken_jet
    if isinstance(inlet, str) or limit is None:
        return []
    numbers["jet_limit"] = show(limit, "velocity")
    if isinstance(inlet, Fall):
        words, drop = "{jet_limit} × {jet_limit} ÷ (2 × 980.665)", one.wanted["inlet_height"]
        return [step(f"{one.name}: drop that would do, in cm", words, numbers, drop, "length", "cm")]
    area = one.chamber.flow / limit
    opening = "{flow} ÷ {jet_limit} ÷ 3.6"
    steps = [
        step(f"{one.name}: opening that would do, in cm2", opening, numbers, area, "area", "cm2"),
    ]
    if isinstance(inlet, Spreader) or not {"inlet_height", "inlet_diameter"} & one.wanted.keys():
        return steps
    numbers["opening_that_would_do"] = show(area, "area", "cm2")
    what, formula = "diameter", "sqrt(4 × {opening_that_would_do} ÷ π)"
    if isinstance(inlet, Slot):
        what, formula = "height", "{opening_that_would_do} ÷ {slot_width}"
    elif isinstance(inlet, Sheet):
        what, formula = "water over the crest", "{opening_that_would_do} ÷ {crest_length}"
    words = f"{one.name}: {what} of the opening that would do, in cm"
    return [*steps, step(words, formula, numbers, inlet.size_for(area), "length", "cm")]


def _size_mends(one: Judged, numbers: dict[str, str]) -> list[Step]:
    chamber, water, steps = one.chamber, one.wanted_water, []
    sizes = {name: one.wanted[name] for name in ("width", "depth", "length") if name in one.wanted}
    if not sizes:
        return []
    among = f" ÷ {_LEFT_BY_PLANTS.removeprefix(' × ')}" if chamber.plants else ""
    if water is None:
        numbers["mean_limit"] = show(one.broken_mean or 0.0, "velocity")
        formulas = {"width": f"{{flow}} ÷ {{mean_limit}} ÷ 3.6{among} ÷ {{length}}"}
        formulas["length"] = f"{{flow}} ÷ {{mean_limit}} ÷ 3.6{among} ÷ {{width}}"
    else:
        numbers["way"] = show(chamber.way or 0.0, "length")
        if one.broken_stay is not None and water == chamber.water_for_stay(one.broken_stay):
            numbers["wanted_stay"], words = (
                show(one.broken_stay, "time", "min"),
                "{flow} × {wanted_stay} ÷ 60",
            )
        else:
            numbers["mean_limit"] = show(one.broken_mean or 0.0, "velocity")
            words = f"{{flow}} × {{way}} ÷ {{mean_limit}} ÷ 3600{among}"
        steps.append(step(f"{one.name}: water that would do, in L", words, numbers, water, "volume", "L"))
        numbers["water_that_would_do"] = show(water, "volume")
        held = "({water_that_would_do} + {media_solids})" if chamber.solids else "{water_that_would_do}"
        formulas = {
            "width": f"{held} × 1000 ÷ {{length}} ÷ {{depth}}",
            "depth": f"{held} × 1000 ÷ {{length}} ÷ {{width}}",
            "length": f"{held} × 1000 ÷ {{width}} ÷ {{depth}}",
        }
    for name, size in sizes.items():
        words = f"{one.name}: {name} that would do, in cm"
        steps.append(step(words, formulas[name], numbers, size, "length", "cm"))
    return steps
