"""What a planted bed takes out of the water that flows through it, beside what its plants can take up."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.plant_bed_case import BY_CONSTITUENT, FAR_ABOVE, Bed, Inputs
from weirbook.engine.calculators.plants_care import KEIZER_VLEK, PLANTS, REDDY, REDDY_SHARE, of_forms
from weirbook.engine.relations.wetlands import REFERENCE_TEMPERATURE, USUAL_LOADING
from weirbook.engine.shape import (
    FOLLOWING,
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Step,
    Working,
    show,
    six,
    step,
)


def solve(given: Inputs) -> Working:
    """Outlet and removal of a planted bed by the P-k-C* model, and the uptake of its plants.

    Equations: q = flow / area; k = k20 theta ^ (T - 20 degC); share left = (1 + k / (P q)) ^ -P; outlet = C* + (inlet -
    C*) x share left; removed = (inlet - outlet) x flow; taken up = area x cover x rate.
    Shapes and units: SI, see `Inputs`; inside kg/m3 of nitrogen or phosphorus.
    Valid for: steady flow at loadings of treatment wetlands, about 0.05 m a day; a recirculating bed gets hundreds of
    times as much, and there the model comes to k (inlet - C*) for each area, whatever the flow.
    Uncertainty: k differs between wetlands by three times and more; stretched to high loading by more.
    Raises: nothing but what the bounds of the inputs refuse.
    Source: see SOURCES; constants from memory.
    Not covered: how the inlet falls as the tank's water gets poorer, clogging, nitrate from ammonia, the season.
    """
    bed = Bed(given)
    level, why = bed.verdict
    kg, uptake = bed.of.kg, bed.uptake
    values: dict[str, Any] = {
        "verdict": level,
        "why": why,
        "outlet": bed.outlet / kg,
        "removed_a_day": bed.removed,
        "areal_removal": bed.areal_removal,
        "areal_most": bed.areal_most,
        "removed_share": bed.removed / (bed.inlet * given.flow) if bed.inlet else None,
        "loading": bed.loading,
        "loading_to_guide": bed.loading / USUAL_LOADING,
        "rate": bed.rate,
        "uptake_low": uptake.low,
        "uptake_high": uptake.high,
    }
    return Working(values, _steps(bed), _assumptions(bed), _cautions(bed))


def _steps(bed: Bed) -> list[Step]:
    given, of = bed.given, bed.of

    def held(value: float) -> str:
        return show(value / of.kg, of.kind, of.unit)

    numbers = {
        "flow": show(given.flow, "flow", "L/h"),
        "area": show(given.area, "area", "m2"),
        "loading": show(bed.loading, "velocity", "m/d"),
        "guide": show(USUAL_LOADING, "velocity", "m/d"),
        "k_at_20": show(bed.k20, "velocity", "mm/d"),
        "theta": str(six(bed.theta)),
        # As a bare number: the pocket calculator has no scale of degrees.
        "temperature": str(six(given.temperature - REFERENCE_TEMPERATURE + 20)),
        "k": show(bed.rate, "velocity", "mm/d"),
        "tanks": str(six(bed.tanks)),
        "left": str(six(bed.left)),
        "share_taken": str(six(1 - bed.left)),
        "inlet": held(bed.inlet),
        "outlet": held(bed.outlet),
        "background": held(bed.background),
        "removed": show(bed.removed, "mass_flow", "mg/d"),
        "cover": show(given.cover, "fraction", "1"),
    }
    in_unit = f"in {of.unit}{' as nitrogen' if of.kind == 'concentration' else ''}"
    left = "(1 + {k} ÷ 1000 ÷ ({tanks} × {loading})) ^ (0 − {tanks})"
    removed = "({inlet} − {background}) × {share_taken} × {flow} × 24"
    return [
        step("loading, in m a day", "{flow} × 24 ÷ 1000 ÷ {area}", numbers, bed.loading, "velocity", "m/d"),
        step("times that of guides", "{loading} ÷ {guide}", numbers, bed.loading / USUAL_LOADING, "number"),
        step(
            "k at the temperature, in mm a day",
            "{k_at_20} × {theta} ^ ({temperature} − 20)",
            numbers,
            bed.rate,
            "velocity",
            "mm/d",
        ),
        step(
            "share left of what stands above the background",
            left,
            numbers,
            bed.left,
            "number",
        ),
        step("share taken out of it", f"1 − {left}", numbers, 1 - bed.left, "number"),
        step(
            f"outlet, {in_unit}",
            "{background} + ({inlet} − {background}) × {left}",
            numbers,
            bed.outlet / of.kg,
            of.kind,
            of.unit,
        ),
        step(f"{of.element} taken out, in mg a day", removed, numbers, bed.removed, "mass_flow", "mg/d"),
        step(
            "the same for each area, in g/m2 a day",
            "{removed} ÷ 1000 ÷ {area}",
            numbers,
            bed.areal_removal,
            "areal_rate",
            "g/m2/d",
        ),
        step(
            "at most for each area, however fast the flow, in g/m2 a day",
            "{k} ÷ 1000 × ({inlet} − {background})",
            numbers,
            bed.areal_most,
            "areal_rate",
            "g/m2/d",
        ),
        *(
            step(
                f"{end} that the plants take up, in mg a day",
                "{area} × {cover} × {uptake}",
                {**numbers, "uptake": show(rate, "areal_rate", "mg/m2/d")},
                value,
                "mass_flow",
                "mg/d",
            )
            for end, rate, value in (
                ("least", bed.uptake_rates.low, bed.uptake.low),
                ("most", bed.uptake_rates.high, bed.uptake.high),
            )
        ),
    ]


def _assumptions(bed: Bed) -> list[Assumption]:
    given = bed.given
    published = [name for name in ("rate", "theta", "background", "tanks") if getattr(given, name) is None]
    told = []
    if published:
        words = (
            f"From treatment wetlands, medians, from memory: {', '.join(published)}. They lie three times and more apart"
            " from one wetland to the next."
        )
        told.append(Assumption(words, "default"))
    if given.constituent == "phosphate":
        words = "The constants are those of total phosphorus."
        told.append(Assumption(words, "default"))
    told.append(Assumption("The bed is planted, grown in, and all of it is reached by the flow.", "default"))
    told.append(
        Assumption(
            "Where the water goes round, the inlet falls as the bed takes out: ask again with the next test.",
            "default",
        )
    )
    return told


def _cautions(bed: Bed) -> list[Caution]:
    told = []
    if bed.stretched:
        words = (
            "Constants of wetlands are of slow beds. At this loading the model is stretched far beyond what it was fitted"
            " to: what leaves for each area can't exceed what plants and bacteria can do."
        )
        told.append(Caution("loading-beyond-data", words, show(FAR_ABOVE * USUAL_LOADING, "velocity", "m/d")))
    if bed.inlet < bed.background:
        words = "The water is poorer than what such beds leave: by the model it gains."
        told.append(Caution("below-background", words))
    told.append(BY_CONSTITUENT_CARE[bed.given.constituent])
    return [*told, *of_forms([bed.given.growth_form]), *PLANTS]


STAYS = Caution(
    "ammonia-becomes-nitrate",
    "Ammonia that a bed takes out mostly becomes nitrate: the nitrogen stays in the water until plants or a change"
    " take it.",
)
BY_CONSTITUENT_CARE = {
    "nitrate": Caution(
        "nitrate-needs-mud",
        "Wetlands lose nitrate to bacteria in mud without oxygen. In clean gravel with fast, aired water little of that"
        " happens, and where it does, foul black mud may form: stir none of it into the tank.",
    ),
    "total_ammonia": STAYS,
    "total_nitrogen": STAYS,
    "phosphate": Caution(
        "phosphate-fills-up",
        "Gravel binds phosphate for months, then it is full and may give it back: only what is cropped or scooped out"
        " is gone.",
    ),
}


def _of_constituent(name: str, doc: str) -> Result:
    return Result(name, FOLLOWING, doc, follows=BY_CONSTITUENT)


PLANT_BED = Calculator(
    name="plant-bed",
    title="Planted bed",
    doc=(
        "What a planted bed or section takes out of water that flows through it, by the model and medians of treatment"
        " wetlands, for nitrate, ammonia, total nitrogen or phosphate, beside what its plants can take up. Beds in a"
        " filter get far more water than wetlands do: the answer says how far the model is stretched."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict", TEXT, "ok, watch (plants can't surely do it alone, or the model is stretched) or over."
        ),
        Result("why", TEXT, "The verdict in words."),
        _of_constituent("outlet", "In the water that leaves the bed."),
        Result("removed_a_day", "mass_flow", "Taken out, as nitrogen or phosphorus.", "mg/d"),
        Result("areal_removal", "areal_rate", "The same for each area."),
        Result("areal_most", "areal_rate", "What it comes to at most, however fast the flow."),
        Result("removed_share", "fraction", "Of what comes in, at one pass."),
        Result("loading", "velocity", "Flow over the area.", "m/d"),
        Result("loading_to_guide", "number", "Times the loading that design guides give subsurface beds."),
        Result("rate", "velocity", "k at the temperature.", "mm/d"),
        Result("uptake_low", "mass_flow", "By its plants, at least.", "mg/d"),
        Result("uptake_high", "mass_flow", "By its plants, at most.", "mg/d"),
    ),
    limits=(
        "Steady flow through a grown bed. Constants are medians of open-water treatment wetlands in the field.",
        f"Up to about {FAR_ABOVE:g} times 0.054 m a day; beyond, a caution.",
        "One pass. In a tank whose water goes round, the level settles where removal and feeding meet.",
    ),
    sources=(
        Source(
            "Kadlec, R. H., Wallace, S. D.",
            2009,
            "Treatment Wetlands, 2nd ed.",
            "the P-k-C* model and its median constants",
            "From memory. The edition of 1996 (Kadlec and Knight) has k 1.2 to 1.8 times as large.",
        ),
        Source(
            "A text on natural treatment of sewage",
            None,
            "Subsurface Flow Constructed Wetlands",
            "18.5 m2 for each m3 a day",
            "Read as a page on the web that does not name the book: wetland_guidelines_published.csv.",
        ),
        REDDY_SHARE,
        REDDY,
        KEIZER_VLEK,
    ),
    solve=solve,
    example={
        "constituent": "nitrate",
        "inlet": "40 mg/L NO3",
        "flow": "60 L/h",
        "area": "0.8 m2",
        "temperature": "25 degC",
        "cover": "80 %",
    },
    asks={"constituent": "nitrate", "area": "0.8 m2"},
    doors=("systems",),
)
