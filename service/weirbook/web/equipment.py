"""Pumps, gauges, targets and the keeper's own parameters."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from marshmallow import fields
from marshmallow.validate import Length

from weirbook.actions.set_up_gauge import (
    edit_gauge,
    gauge_values,
    parameter_values,
    remove_parameter,
    target_values,
)
from weirbook.actions.set_up_pump import pump_values
from weirbook.record.equipment import Gauge, OwnParameter, Pump
from weirbook.record.names import find, find_place
from weirbook.record.places import Sump, System, Tank
from weirbook.record.targets import Target
from weirbook.web.alerts import AlarmSchema
from weirbook.web.fields import (
    Choice,
    Day,
    Flag,
    Handle,
    Instant,
    LooseQuantity,
    Part,
    PlaceReference,
    QuantityField,
    Reference,
    Words,
)
from weirbook.web.lines import LineSchema
from weirbook.web.operations import Call
from weirbook.web.places import LONGEST, StrictSchema
from weirbook.web.records import HappeningSchema, NamedSchema
from weirbook.web.resource import Filter, Resource


class CurvePointSchema(StrictSchema):
    """One point of a pump's curve."""

    head = QuantityField(
        "length", ge=0, le=100, required=True, metadata={"description": "Head at this point"}
    )
    flow = QuantityField("flow", ge=0, le=10, required=True, metadata={"description": "Flow at this head"})


class PumpSchema(NamedSchema):
    from_section = Reference(
        allow_none=True,
        metadata={
            "description": "Section it draws from; with from_tank null too it circulates in to_tank and moves no net flow"
        },
    )
    from_tank = Reference(
        allow_none=True, metadata={"description": "Tank it draws from, to feed another or a side loop"}
    )
    to_tank = Reference(allow_none=True, metadata={"description": "Tank it delivers to; or to_sump"})
    to_sump = Reference(
        allow_none=True,
        metadata={
            "description": "Of a side loop: the sump that stands alone and drains back by its drains_to"
        },
    )
    intake_height = QuantityField(
        "length",
        ge=0,
        le=LONGEST,
        allow_none=True,
        metadata={"description": "Of its intake's upper edge above the base of what it draws from"},
    )
    line = Part(
        LineSchema, allow_none=True, metadata={"description": "The return line: pipes, fittings, outlets"}
    )
    curve = fields.List(
        fields.Nested(CurvePointSchema),
        allow_none=True,
        validate=Length(max=50, error="At most 50 points."),
        metadata={"description": "Head and flow, by falling head", "maxItems": 50},
    )
    rated_flow = QuantityField(
        "flow", gt=0, le=10, allow_none=True, metadata={"description": "As its label says"}
    )
    measured_flow = QuantityField(
        "flow", ge=0, le=10, allow_none=True, metadata={"description": "As measured in place"}
    )
    measured_on = Day(allow_none=True, metadata={"description": "The day the flow was measured"})
    clean_flow = QuantityField(
        "flow",
        gt=0,
        le=10,
        allow_none=True,
        metadata={"description": "As measured in place just after cleaning pump, line and spray bar"},
    )
    cleaned_on = Day(allow_none=True, metadata={"description": "The day they were last cleaned"})
    power = QuantityField(
        "power",
        ge=0,
        le=1e5,
        allow_none=True,
        metadata={"description": "That it draws while it runs, as its label says or a meter shows"},
    )
    running = Flag(metadata={"description": "Whether it runs; true if not said. Its past is kept."})


class GaugeSchema(NamedSchema):
    parameter = Words(cap=60, required=True, metadata={"description": "One of /v1/parameters"})
    place = PlaceReference(required=True, metadata={"description": "What it measures"})
    unit = Words(
        cap=30,
        metadata={
            "description": "Unit of its readings, fixed once there are any; the parameter's first if not said"
        },
    )
    by_hand = Flag(
        metadata={"description": "A test kit or the keeper's eye, not a sensor; false if not said"}
    )
    resolution = LooseQuantity(allow_none=True, metadata={"description": "Smallest step it can show"})
    plausible_low = LooseQuantity(
        allow_none=True,
        metadata={"description": "Readings below are stored, flagged and kept out of statistics"},
    )
    plausible_high = LooseQuantity(
        allow_none=True,
        metadata={"description": "Readings above are stored, flagged and kept out of statistics"},
    )
    expected_interval = QuantityField(
        "time",
        ge=0.1,
        le=4e7,
        allow_none=True,
        metadata={
            "description": "How often it should report: three missed and it is silent; longer gaps are not bridged. "
            "Null for contacts that report on change and for tests at no fixed pace."
        },
    )
    offset = LooseQuantity(
        allow_none=True,
        metadata={
            "description": "Added to its readings to make them true (-0.3 degC: it reads too high); null: nothing. The "
            "readings as taken are kept, and so is the past of the offset; `effective_at` says since when."
        },
    )
    alarm = fields.Nested(
        AlarmSchema,
        allow_none=True,
        metadata={
            "description": "How its contact or its silence calls, and targets that don't say; replaced whole"
        },
    )
    checked_on = Day(
        allow_none=True,
        metadata={"description": "The day it was last checked against another instrument or a standard"},
    )


class TargetSchema(HappeningSchema):
    place = PlaceReference(
        required=True,
        metadata={"description": "The nearest place with a target wins: section, sump or tank, system, room"},
    )
    parameter = Words(cap=60, required=True)
    low = LooseQuantity(allow_none=True, metadata={"description": "Lower end; null leaves it open"})
    high = LooseQuantity(allow_none=True, metadata={"description": "Upper end; null leaves it open"})
    valid_from = Instant(
        required=True,
        attribute="valid_from_ms",
        metadata={
            "description": "A later target replaces an earlier one from its instant on; both ends open end it."
        },
    )
    hysteresis = LooseQuantity(
        allow_none=True,
        metadata={
            "description": "How far back inside a value must come before an excursion ends; 0 if not said"
        },
    )
    least_duration = QuantityField(
        "time",
        ge=0,
        le=2_592_000,
        allow_none=True,
        metadata={"description": "Shorter stretches outside are no excursion; 0 if not said"},
    )
    alarm = fields.Nested(
        AlarmSchema, allow_none=True, metadata={"description": "How its excursions call; replaced whole"}
    )
    notes = Words(allow_none=True)


class ParameterSchema(NamedSchema):
    kind = Words(cap=30, required=True, metadata={"description": "Kind of quantity, of /v1/units"})
    units = fields.List(
        Words(cap=30),
        validate=Length(max=20, error="At most 20 units."),
        metadata={
            "description": "Units accepted, the usual one first; the kind's default if not said",
            "maxItems": 20,
        },
    )
    possible_low = LooseQuantity(allow_none=True, metadata={"description": "Readings below are refused"})
    possible_high = LooseQuantity(allow_none=True, metadata={"description": "Readings above are refused"})
    join = Choice(
        ("line", "hold", "plain"),
        required=True,
        metadata={"description": "Between readings: a straight line, the earlier value, or no time weight"},
    )


def at_place(model: Any) -> Filter:
    """The list filter of what stands at one place."""
    return Filter(
        PlaceReference(metadata={"description": "Only those at this place."}),
        lambda session, path: model.place_id == find_place(session, path).id,
    )


def of_parameter(model: Any) -> Filter:
    return Filter(
        Words(cap=60, metadata={"description": "Only those of this parameter."}),
        lambda session, name: model.parameter == name,
    )


def _pumps_of_system(session: Any, handle: str) -> Any:
    system = find(session, System, handle)
    return sa.or_(
        sa.select(Tank.id).where(Tank.id == Pump.to_tank_id, Tank.system_id == system.id).exists(),
        sa.select(Sump.id).where(Sump.id == Pump.to_sump_id, Sump.system_id == system.id).exists(),
    )


def _gauge(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    return gauge_values(call.session, values)


def _pump(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    return pump_values(call.session, values)


def _target(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    return target_values(call.session, values)


def _parameter(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    return parameter_values(values)


PUMPS = Resource(
    model=Pump,
    schema=PumpSchema,
    words="A pump, from the section it draws from to the tank it feeds.",
    example={
        "name": "Spare pump",
        "from_section": "rack-return-1",
        "to_tank": "nursery",
        "rated_flow": "600 gal/h",
        "power": "35 W",
        "running": False,
    },
    example_key="rack-pump",
    example_delete="fern-spare-pump",
    example_patch={"measured_flow": "1500 L/h", "measured_on": "2026-11-20"},
    filters={
        "tank": Filter(
            Handle(metadata={"description": "Only those that feed this tank."}),
            lambda session, handle: Pump.to_tank_id == find(session, Tank, handle).id,
        ),
        "system": Filter(Handle(metadata={"description": "Only those in this system."}), _pumps_of_system),
    },
    defaults={"running": True},
    prepare=_pump,
)
GAUGES = Resource(
    model=Gauge,
    schema=GaugeSchema,
    words="One stream of readings: a parameter, a unit, a place; a sensor, a test kit or the keeper's eye.",
    example={
        "name": "Nursery second thermometer",
        "parameter": "temperature",
        "place": "tanks/nursery",
        "unit": "degC",
        "resolution": "0.1 degC",
        "plausible_low": "5 degC",
        "plausible_high": "40 degC",
        "expected_interval": "10 min",
    },
    example_key="nursery-temperature",
    example_delete="spare-probe",
    example_patch={"plausible_high": "38 degC"},
    filters={"place": at_place(Gauge), "parameter": of_parameter(Gauge)},
    defaults={"by_hand": False},
    prepare=_gauge,
    edit=edit_gauge,
)
TARGETS = Resource(
    model=Target,
    schema=TargetSchema,
    words="The band wanted for a parameter in a place, from an instant on.",
    example={
        "place": "tanks/nursery",
        "parameter": "nitrate",
        "high": "20 mg/L NO3",
        "valid_from": "2026-11-01T00:00:00Z",
    },
    example_key="01936c5e-8f00-7000-8000-000000000001",
    example_patch={"high": "24.5 degC"},
    filters={"place": at_place(Target), "parameter": of_parameter(Target)},
    verbs=("list", "create", "put", "get", "patch", "delete"),
    prepare=_target,
)
PARAMETERS = Resource(
    model=OwnParameter,
    schema=ParameterSchema,
    words="A parameter of the keeper's own, beside the built-in catalogue.",
    example={
        "name": "Tannin tint",
        "kind": "score",
        "possible_low": "0 points",
        "possible_high": "5 points",
        "join": "plain",
    },
    example_key="leaf-litter",
    example_delete="unused-score",
    example_patch={"notes": "Share of the base under leaves."},
    verbs=("create", "patch", "delete"),
    prepare=_parameter,
    remove=remove_parameter,
)
