"""Spans kept out of statistics, and what was corrected."""

from __future__ import annotations

from typing import Any

from weirbook.actions.exclude import change_exclusion, exclude, readmit
from weirbook.record.equipment import Gauge
from weirbook.record.names import find
from weirbook.record.readings import Correction, Exclusion
from weirbook.web.fields import Figure, Handle, Instant, Reference, Words
from weirbook.web.records import HappeningSchema
from weirbook.web.resource import Filter, Resource

ExclusionSchema = HappeningSchema.from_dict(
    {
        "gauge": Reference(required=True, metadata={"description": "Handle of the gauge"}),
        "from": Instant(
            required=True, attribute="from_ms", metadata={"description": "First instant that is excluded"}
        ),
        "to": Instant(required=True, attribute="to_ms", metadata={"description": "Not itself excluded"}),
        "reason": Words(cap=500, required=True),
    },
    name="ExclusionSchema",
)
"""Made from a dict because `from` is no name in Python."""


class CorrectionSchema(HappeningSchema):
    """The value a reading had before it was corrected."""

    gauge = Reference(dump_only=True, metadata={"description": "Handle of the gauge"})
    at = Instant(dump_only=True, attribute="at_ms", metadata={"description": "When the reading was taken"})
    old_value = Figure(dump_only=True, metadata={"description": "The value before"})
    old_low = Figure(dump_only=True, metadata={"description": "Lower bound before, of a range"})
    old_high = Figure(dump_only=True, metadata={"description": "Upper bound before, of a range"})
    new_value = Figure(dump_only=True, metadata={"description": "The value since"})
    corrected_by = Words(
        cap=120, dump_only=True, metadata={"description": "Name of the key that corrected it"}
    )


def of_gauge(model: Any) -> Filter:
    return Filter(
        Handle(metadata={"description": "Only those of this gauge."}),
        lambda session, handle: model.gauge_id == find(session, Gauge, handle).id,
    )


EXCLUSIONS = Resource(
    model=Exclusion,
    schema=ExclusionSchema,
    words="A stretch of a gauge's readings kept out of statistics, and why. The readings stay.",
    example={
        "gauge": "nursery-temperature",
        "from": "2026-11-17T09:00:00Z",
        "to": "2026-11-17T09:40:00Z",
        "reason": "Sensor lifted out while the glass was cleaned.",
    },
    example_key="01936c5e-8f00-7000-8000-000000000003",
    example_patch={"reason": "Sensor lifted out for the water change."},
    filters={"gauge": of_gauge(Exclusion)},
    verbs=("list", "create", "put", "get", "patch", "delete"),
    create=exclude,
    edit=change_exclusion,
    remove=readmit,
)


CORRECTIONS = Resource(
    model=Correction,
    schema=CorrectionSchema,
    words="The values that readings had before they were corrected.",
    example={},
    example_key="",
    example_patch={},
    filters={"gauge": of_gauge(Correction)},
    verbs=("list",),
)
