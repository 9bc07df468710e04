"""What the API shows of a record is what its table holds: no column is forgotten, none leaks, no text is cut."""

from __future__ import annotations

from typing import Any

import pytest
import sqlalchemy as sa
from marshmallow import Schema
from marshmallow import fields as plain

from weirbook.record.access import AccessKey
from weirbook.record.alerts import Alert
from weirbook.record.base import Base, Edited
from weirbook.record.columns import QuantityText
from weirbook.record.quarantines import Quarantine
from weirbook.web import fields
from weirbook.web.api import RESOURCES
from weirbook.web.completions import COMPLETIONS
from weirbook.web.keys import KEYS
from weirbook.web.resource import Resource
from weirbook.web.room import ROOM

ALL = (*RESOURCES, COMPLETIONS, ROOM, KEYS)

PRIVATE = {
    "system": {"room_id", "id", "noun"},
    "tank": {"room_id", "id", "noun"},
    "sump": {"room_id", "id", "noun"},
    "section": {"room_id", "id", "noun"},
    "pump": {"room_id", "id"},
    "gauge": {"room_id", "id", "kind", "join"},
    "target": {"room_id"},
    "parameter": {"room_id", "id"},
    "journal entry": {"room_id"},
    "attachment": {"room_id"},
    "exclusion": {"room_id"},
    "correction": {"room_id", "old_mark", "new_mark"},
    "helper": {"room_id", "id"},
    "task": {"room_id", "open_name", "open_due_ms", "next_due_ms"},
    "completion": {"room_id", "key_id"},
    "room": {"room_id"},
    "feed": {"room_id", "id"},
    "ration": {"room_id"},
    "feeding": {"room_id"},
    "source water": {"room_id", "id"},
    "water report": {"room_id"},
    "preparation": {"room_id"},
    "standing exchange": {"room_id"},
    "water change": {"room_id"},
    "product": {"room_id", "id"},
    "dose": {"room_id"},
    "species": {"room_id", "id"},
    "group": {"room_id"},
    "stock entry": {"room_id"},
    "group sample": {"room_id"},
    "feeding response": {"room_id"},
    "quarantine": {"room_id"},
    "transfer": {"room_id"},
    "plant kind": {"room_id", "id"},
    "planting": {"room_id"},
    "planting event": {"room_id"},
    "trial": {"room_id"},
    "alert": {"room_id", "alarm", "tell_step", "told_at_ms", "worst"},
    "key": {"room_id", "id", "key_hash", "updated_at_ms", "retired_at_ms"},
}
"""Columns that the API keeps to itself. A gauge's kind and join are its parameter's."""

WORKED_OUT = {
    "tank": {"gross_volume", "net_volume"},
    "sump": {"brim_volume"},
    "section": {"water_volume"},
    "water change": {"volume_changed"},
    "quarantine": {"ready_at"},
    "key": {"gauges"},
    "alert": {"place", "acknowledged", "worst", "story"},
}
"""Fields that stand in no column: computed from the row, or kept in a table of their own."""

DESCRIBED = {
    "group": {"called", "heads", "since", "fish_mass", "group_mass", "mass_words", "short", "restock"},
    "stock entry": {
        "heads_before",
        "heads_after",
        "heads_now",
        "withdrawn_by",
        "quarantine",
        "left_quarantine",
    },
    "quarantine": {"groups", "heads", "unmet"},
    "planting": {
        "state",
        "ended_at",
        "stands_in",
        "spot_now",
        "method_now",
        "cover_now",
        "harvested",
    },
}
"""Fields that other tables' rows make, or that are taken in and kept otherwise."""

FILLED_IN = {
    "section": {"name"},
    "gauge": {"unit"},
    "parameter": {"units"},
    "journal entry": {"happened_at", "author"},
    "attachment": {"taken_at", "author"},
    "feeding": {"fed_at"},
    "water report": {"sampled_at"},
    "water change": {"changed_at"},
    "dose": {"dosed_at"},
    "stock entry": {"group", "number", "happened_at", "author"},
    "group sample": {"sampled_at"},
    "feeding response": {"seen_at"},
    "quarantine": {"started_at"},
    "transfer": {"moved_at"},
    "planting": {"planted_at"},
    "planting event": {"happened_at"},
    "key": {"for_links"},
}
"""Fields that need not be sent though their column wants a value: the service knows what to put there."""

NOT_TABLES_OF_RECORDS = {
    "access_key_gauge",
    "change",
    "counter",
    "follower",
    "gauge_interval",
    "gauge_offset",
    "gauge_watch",
    "kept_answer",
    "key_room",
    "place",
    "pump_running",
    "reading",
    "reading_bounds",
    "reading_hour",
    "search_entry",
    "section_use",
    "tank_system",
    "task_schedule",
}
"""Tables behind the records: readings and what is made of them, what search keeps, dated states, keys' parts, counters."""

each = pytest.mark.parametrize("resource", ALL, ids=lambda one: one.noun)


def shown_in(resource: Resource) -> dict[str, str]:
    """Each field that the schema has, and the column it is kept in."""
    found = {}
    for name, one in resource.schema().fields.items():
        if name in WORKED_OUT.get(resource.noun, set()) | DESCRIBED.get(resource.noun, set()):
            continue
        attribute = one.attribute or name
        found[name] = (
            f"{name}_id"
            if isinstance(one, (fields.Reference, fields.PlaceReference, fields.RecordId))
            else attribute
        )
    return found


def columns_of(model: type[Edited]) -> dict[str, Any]:
    """The mapped columns by their name in the model; of a place both tables' columns."""
    mapper = sa.inspect(model)
    return {one.key: one.columns[0] for one in mapper.column_attrs}


def test_every_table_is_a_resource_or_known_to_be_none() -> None:
    resources = {sa.inspect(one.model).local_table.name for one in ALL}
    assert resources.isdisjoint(NOT_TABLES_OF_RECORDS)
    assert set(Base.metadata.tables) == resources | NOT_TABLES_OF_RECORDS


@each
def test_every_column_is_shown_or_named_as_private(resource: Resource) -> None:
    shown = set(shown_in(resource).values())
    private = PRIVATE[resource.noun]
    assert shown.isdisjoint(private)
    assert set(columns_of(resource.model)) == shown | private


@each
def test_every_field_that_no_column_holds_can_be_worked_out(resource: Resource) -> None:
    schema: Schema = resource.schema()
    for name in WORKED_OUT.get(resource.noun, ()):
        one = schema.fields[name]
        if isinstance(one, (plain.List, plain.Function)):
            assert one.dump_only or resource.model is AccessKey
        elif resource.model is Quarantine:
            assert isinstance(getattr(Quarantine, str(one.attribute or name)), property)
        elif resource.model is Alert:
            assert isinstance(getattr(Alert, str(one.attribute or name)), property)
        else:
            assert isinstance(one, fields.Computed)
            assert isinstance(getattr(resource.model, str(one.attribute)), property)


@each
def test_a_reference_is_one_in_the_table_too(resource: Resource) -> None:
    named = {
        name
        for name, one in resource.schema().fields.items()
        if isinstance(one, (fields.Reference, fields.PlaceReference, fields.RecordId))
    }
    written = {name for name in named if not resource.schema().fields[name].dump_only}
    assert written == set(resource.model.REFERENCES)
    for name in named:
        keys = columns_of(resource.model)[f"{name}_id"].foreign_keys
        assert keys, f"{name}_id points at nothing"


@each
def test_a_quantity_is_of_the_same_kind_in_the_schema_and_the_table(resource: Resource) -> None:
    columns = columns_of(resource.model)
    for name, column in shown_in(resource).items():
        one, kept = resource.schema().fields[name], columns[column].type
        if isinstance(one, fields.QuantityField):
            assert isinstance(kept, QuantityText)
            assert kept.kind == one.kind
        elif isinstance(one, fields.LooseQuantity):
            assert isinstance(kept, QuantityText)
            assert kept.kind == "any"
        else:
            assert not isinstance(kept, QuantityText)


@each
def test_no_text_that_is_taken_is_longer_than_its_column(resource: Resource) -> None:
    columns = columns_of(resource.model)
    for name, column in shown_in(resource).items():
        one, kept = resource.schema().fields[name], columns[column].type
        if not isinstance(kept, sa.String) or kept.length is None:
            continue
        if isinstance(one, fields.Words):
            assert one.cap <= kept.length, name
        elif isinstance(one, fields.Choice):
            assert max(map(len, one.choices)) <= kept.length, name
        elif isinstance(one, fields.Handle):
            assert one.metadata["maxLength"] <= kept.length, name


@each
def test_what_may_be_null_is_what_the_column_takes_as_null(resource: Resource) -> None:
    columns = columns_of(resource.model)
    schema: Schema = resource.schema()
    filled = FILLED_IN.get(resource.noun, set()) | set(resource.defaults)
    for name, column in shown_in(resource).items():
        one, kept = schema.fields[name], columns[column]
        if one.dump_only or name == "handle":
            continue
        assert one.allow_none == kept.nullable, f"{name}: may the API send null, may the column hold it?"
        assert one.required == (not kept.nullable and name not in filled), f"{name}: must it be sent?"
