"""What contradicts itself in the sections of a sump as they are told. For all that take `ChamberSection`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from weirbook.engine.calculators.chamber_sections import BAFFLES, INLET_SIZES, INLETS, ChamberSection
from weirbook.engine.calculators.chamber_verdicts import PLANTED, SLACK
from weirbook.engine.shape import show
from weirbook.errors import Fault, Invalid

BAFFLE_SIZES = BAFFLES["both"]


def refuse_contradictions(
    sections: Sequence[ChamberSection],
    sump_length: float | None,
    sump_width: float | None,
    sump_height: float | None,
    return_depth: float | None = None,
) -> None:
    """Raises Invalid, a fault for each size that can't be, where there is no section or one does not fit."""
    if not sections:
        raise Invalid("Name at least one section.", "/sections")
    faults = []
    for index, section in enumerate(sections):
        at = f"/sections/{index}"
        for name, most, words in (
            ("length", sump_length, "longer"),
            ("width", sump_width, "wider"),
            ("depth", sump_height, "deeper"),
            ("baffle_crest_height", sump_height, "higher"),
            ("baffle_gap_height", sump_height, "higher"),
            ("baffle_width", sump_width, "wider"),
        ):
            size = getattr(section, name)
            if size is not None and most is not None and size > most * (1 + SLACK):
                shown, what = show(most, "length"), "baffle" if name.startswith("baffle") else "section"
                faults.append(Fault(f"{at}/{name}", f"The {what} is {words} than its sump ({shown})."))
        faults += faults_of(section, sump_width, at)
    if return_depth is not None and sump_height is not None and return_depth > sump_height * (1 + SLACK):
        words = f"The water would stand above the sump's rim ({show(sump_height, 'length')})."
        faults.append(Fault("/return_depth", words))
    if faults:
        raise Invalid("The sections can't be used as they are.", faults=faults)


def faults_of(section: ChamberSection, sump_width: float | None, at: str) -> list[Fault]:
    """What contradicts itself within one section, at `at`."""
    faults = [
        *_misfits(section, at, "inlet_kind", INLETS, INLET_SIZES),
        *_misfits(section, at, "baffle_passes", BAFFLES, BAFFLE_SIZES),
    ]
    crest, gap = section.baffle_crest_height, section.baffle_gap_height
    if section.baffle_passes == "both" and crest is not None and gap is not None and gap >= crest:
        words = f"The gap reaches up to the crest ({show(crest, 'length')}): between them stands the baffle."
        faults.append(Fault(f"{at}/baffle_gap_height", words))
    if section.width is None and sump_width is None:
        words = "'width' is missing: say it, or sump_width for those without."
        return [*faults, Fault(f"{at}/width", words)]
    for name, words in (("media_porosity", "A porosity"), ("media_grain_size", "A grain size")):
        if section.media_volume is None and getattr(section, name) is not None:
            faults.append(Fault(f"{at}/{name}", f"{words} needs media: add media_volume."))
    if section.plant_coverage is not None and section.use not in PLANTED:
        words = f"Plants cover planted sections, not one for {section.use}."
        faults.append(Fault(f"{at}/plant_coverage", words))
    if section.media_volume is not None and section.depth is not None:
        bulk = section.length * section.width_in(sump_width) * section.depth
        if section.media_volume > bulk * (1 + SLACK) or section.solids >= bulk:
            words = (
                f"At its depth the section holds {show(bulk, 'volume')}, and its media more than fill it: count"
                " only those under water."
            )
            faults.append(Fault(f"{at}/media_volume", words))
    longest = max(section.length, section.width_in(sump_width))
    for name in ("inlet_width", "inlet_diameter"):
        size = getattr(section, name)
        if size is not None and size > longest * (1 + SLACK):
            words = f"The inlet is wider than its section, whose longer side is {show(longest, 'length')}."
            faults.append(Fault(f"{at}/{name}", words))
    return faults


def _misfits(
    section: ChamberSection, at: str, kind: str, takes: Mapping[str, tuple[str, ...]], sizes: Sequence[str]
) -> list[Fault]:
    """Sizes that belong to another kind of inlet or baffle than the one that is told."""
    told = getattr(section, kind)
    faults = []
    for name in sizes:
        if getattr(section, name) is None or name in takes.get(told, ()):
            continue
        kinds = " or ".join(other for other, names in takes.items() if name in names)
        what = f"It belongs to {kind} {kinds}"
        end = "say that too." if told is None else f"not to {told}: leave it out, or send null for it."
        faults.append(Fault(f"{at}/{name}", f"{what}, {end}" if told else f"{what}: {end}"))
    return faults
