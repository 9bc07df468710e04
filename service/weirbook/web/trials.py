"""Trials."""

from __future__ import annotations

from typing import Any

from marshmallow import fields
from marshmallow.validate import Length

from weirbook.actions.set_up_trial import trial_values
from weirbook.record.trials import Trial
from weirbook.web.equipment import at_place
from weirbook.web.fields import Handle, Instant, LooseQuantity, PlaceReference, QuantityField, Words
from weirbook.web.operations import Call
from weirbook.web.places import StrictSchema
from weirbook.web.records import HappeningSchema
from weirbook.web.resource import Resource

MOST_PHASES, MOST_OUTCOMES = 20, 10
TRIAL_KEY = "01936c5e-8f00-7000-8000-0000000000c7"


PhaseSchema = StrictSchema.from_dict(
    {
        "setting": Words(cap=200, required=True, metadata={"description": "What it was set to"}),
        "from": Instant(required=True, attribute="from_ms", metadata={"description": "From when"}),
        "to": Instant(
            allow_none=True,
            attribute="to_ms",
            metadata={"description": "Until when; null or absent: still running"},
        ),
        "settle": QuantityField(
            "time",
            ge=0,
            le=365 * 86400,
            metadata={"description": "How long after its start readings are left out; none if not said"},
        ),
    },
    name="PhaseSchema",
)
"""One setting of what is varied, and when it held. Made from a dict because `from` is no name in Python."""


class OutcomeSchema(StrictSchema):
    """A gauge that tells how it went."""

    gauge = Handle(required=True, metadata={"description": "Handle of the gauge"})
    matters = LooseQuantity(
        allow_none=True,
        metadata={
            "description": "The smallest difference that would matter, in a unit of steps; if not said, the gauge's resolution "
            "or half the first phase's spread"
        },
    )


class TrialSchema(HappeningSchema):
    question = Words(cap=500, required=True, metadata={"description": "What is to be found out"})
    varied = Words(
        cap=200, required=True, metadata={"description": "The one thing that differs between phases"}
    )
    place = PlaceReference(required=True, metadata={"description": "Where it is tried"})
    phases = fields.List(
        fields.Nested(PhaseSchema),
        required=True,
        validate=Length(min=1, max=MOST_PHASES, error=f"1 to {MOST_PHASES} phases."),
        metadata={
            "description": "Oldest first; none overlaps another",
            "minItems": 1,
            "maxItems": MOST_PHASES,
        },
    )
    outcomes = fields.List(
        fields.Nested(OutcomeSchema),
        required=True,
        validate=Length(min=1, max=MOST_OUTCOMES, error=f"1 to {MOST_OUTCOMES} gauges."),
        metadata={"description": "Gauges that tell the outcome", "minItems": 1, "maxItems": MOST_OUTCOMES},
    )
    conclusion = Words(allow_none=True, metadata={"description": "What you make of it"})
    notes = Words(allow_none=True)


def _trial(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    return trial_values(call.session, values, now=call.now)


TRIALS = Resource(
    model=Trial,
    schema=TrialSchema,
    words="A question put to a place: phases with one thing changed between them, and the gauges that tell the outcome.",
    example={
        "question": "Does feeding once a day keep the glass cleaner?",
        "varied": "Feedings a day",
        "place": "tanks/nursery",
        "phases": [
            {"setting": "Twice", "from": "2026-10-01T00:00:00Z", "to": "2026-10-22T00:00:00Z"},
            {"setting": "Once", "from": "2026-10-22T00:00:00Z", "settle": "3 d"},
        ],
        "outcomes": [{"gauge": "nursery-temperature", "matters": "0.5 K"}],
    },
    example_key=TRIAL_KEY,
    example_patch={"conclusion": "Not worth the trouble."},
    filters={"place": at_place(Trial)},
    verbs=("list", "create", "put", "get", "patch", "delete"),
    prepare=_trial,
)
