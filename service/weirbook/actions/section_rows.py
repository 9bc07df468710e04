"""A recorded section as a row of calculators' `sections`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from weirbook.engine.calculators.chamber_verdicts import PLANTED
from weirbook.record.places import Section


def section_row(section: Section, use: str) -> Mapping[str, Any]:
    """A section with its inlet, baffle, media and limits laid flat, what isn't recorded left out."""
    nested = {
        "inlet_{}": section.inlet,
        "baffle_{}": section.baffle,
        "limit_{}": section.limits,
        "media_{}": {
            "volume": section.media_under_water,
            "porosity": (section.media or {}).get("porosity"),
            "grain_size": (section.media or {}).get("grain_size"),
        },
    }
    row = {
        "name": section.handle,
        "use": use,
        "direction": section.direction,
        "length": section.length,
        "width": section.width,
        "depth": section.running_depth,
        "flow_share": section.flow_share,
        # A section that is planted now may have been something else at the time that is asked of.
        "plant_coverage": section.plant_coverage if use in PLANTED else None,
        **{
            words.format(name): value
            for words, part in nested.items()
            for name, value in (part or {}).items()
        },
    }
    return {name: value for name, value in row.items() if value is not None}
