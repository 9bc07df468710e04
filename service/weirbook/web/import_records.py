"""Journal entries, species and stock entries of a keeper's sheet, made as if each were sent by itself."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import msgspec
import sqlalchemy as sa
from marshmallow import Schema, ValidationError

from weirbook.actions.import_rows import NEW, REFUSED, REPEATED, Verdict, each_row, refused, refused_at
from weirbook.engine.times import instant_ms
from weirbook.errors import Conflict, Fault, Invalid, Trouble
from weirbook.record.names import HAPPENED, find_happening
from weirbook.spreadsheets.columns import Column, Table
from weirbook.spreadsheets.sheet import Record
from weirbook.web.fields import Identity
from weirbook.web.import_columns import body_of
from weirbook.web.operations import Call, load
from weirbook.web.resource import Resource, prepared
from weirbook.web.verbs import making_schema, says_what_is_there

CONTENT = uuid.UUID("6f1f2b0e-1c51-5c8e-9a43-d1a1c3a7b9e5")
"""Our own namespace of ids that follow from what a row says (RFC 9562, 5.5): the same file twice makes nothing twice."""

Complete = Callable[[Table, Record, dict[str, Any]], None]
"""Puts into the words of the record what a row calls things, and what else its body needs. Raises Invalid."""


@dataclass(frozen=True)
class RecordSheet:
    """What a sheet of one kind of record is made of, where it differs from the others."""

    resource: Resource
    columns: Sequence[Column]
    completer: Callable[[Call], Complete]
    oldest_first: str = ""
    """The field by which rows are done in the order in which they happened."""
    maker: Callable[[Call, RecordSheet, Table, Schema], Making] | None = None
    """What makes its rows, where they are not made one by one."""


@dataclass
class SheetRow:
    """A row under way: its cells, and the body they make."""

    record: Record
    body: dict[str, Any]


def import_records(call: Call, kind: RecordSheet, table: Table) -> list[Verdict]:
    """Make what the rows say, each as if it were sent by itself; verdicts in the order of the file."""
    schema = making_schema(kind.resource)
    rows: list[SheetRow] = []
    verdicts: list[Verdict] = []
    for record in table.sheet.records:
        try:
            if record.fault:
                raise Invalid(record.fault, slug="ragged-row")
            rows.append(SheetRow(record, body_of(table, record, schema)))
        except Trouble as trouble:
            verdicts.append(refused(record.line, trouble))
    if kind.oldest_first:
        rows = _oldest_first(rows, kind.oldest_first)
    maker = kind.maker or (NamedMaking if kind.resource.named else Making)
    making = maker(call, kind, table, schema)
    verdicts += each_row(call.session, ((row.record.line, row) for row in rows), making.make, making.alone)
    call.session.flush()
    return sorted((_with_column(table, one) for one in verdicts), key=lambda one: one.line)


def _oldest_first(rows: list[SheetRow], by: str) -> list[SheetRow]:
    """Rows of one instant stay as the file has them, from below where it lists the newest first."""
    if not rows:
        return rows
    instants = [instant_ms(row.body[by]) if by in row.body else 0 for row in rows]
    places = range(len(rows), 0, -1) if instants[0] > instants[-1] else range(len(rows))
    return [rows[index] for _, _, index in sorted(zip(instants, places, range(len(rows)), strict=True))]


class Making:
    """Makes rows into happenings, known by the id they say or by one that follows from what they say."""

    def __init__(self, call: Call, kind: RecordSheet, table: Table, schema: Schema) -> None:
        self.call, self.resource, self.table, self.schema = call, kind.resource, table, schema
        self.complete = kind.completer(call)
        self.seen: Counter[bytes] = Counter()
        model: Any = self.resource.model
        self.there: set[uuid.UUID] = set(call.session.scalars(sa.select(model.id)))

    def make(self, line: int, row: SheetRow) -> Verdict:
        """The verdict on a row, made unless it is there. Raises Trouble."""
        self.complete(self.table, row.record, row.body)
        own_id = self._own_id(row.record)
        known = own_id or self._content_id(row.body)
        if own_id is None and known in self.there:
            return Verdict(line, REPEATED, self._shown(known, row.body))
        values = load(self.schema, row.body)
        whole = prepared(self.call, self.resource, dict(values))
        if known in self.there:
            self._refuse_other(self._present(known), values, whole, str(known))
            return Verdict(line, REPEATED, self._shown(known, row.body))
        self.create(whole, known)
        self.there.add(known)
        return Verdict(line, NEW, self._shown(known, row.body))

    def _shown(self, known: uuid.UUID, body: Mapping[str, Any]) -> dict[str, Any]:
        """A row's body, with what people call the records that it names by their ids."""
        shown: dict[str, Any] = {"id": str(known)}
        for name, value in body.items():
            shown[name] = value
            noun = self.resource.model.REFERENCES.get(name)
            if noun in HAPPENED:
                named = find_happening(self.call.session, noun, value)
                shown[f"{name}_called"] = getattr(named, "called", None)
        return shown

    def alone(self, row: SheetRow) -> bool:
        """Whether the making of a row writes before it may be refused."""
        return True

    def create(self, whole: dict[str, Any], known: uuid.UUID) -> None:
        """Store a row whose values are complete. Raises Trouble."""
        self.resource.create(
            self.call.session,
            self.resource.model,
            whole,
            now=self.call.now,
            effective_ms=None,
            chosen_id=known,
        )

    def _own_id(self, record: Record) -> uuid.UUID | None:
        said = self.table.text(record, "id")
        if not said:
            return None
        try:
            found: uuid.UUID = Identity().deserialize(said)
        except ValidationError as trouble:
            raise Invalid(str(trouble.messages[0]), "/id") from None
        return found

    def _content_id(self, body: Mapping[str, Any]) -> uuid.UUID:
        said = msgspec.json.encode([self.resource.plural, body], order="sorted")
        self.seen[said] += 1
        return uuid.uuid5(CONTENT, f"{said.decode()}#{self.seen[said]}")

    def _present(self, known: uuid.UUID) -> Any:
        model: Any = self.resource.model
        return self.call.session.scalars(sa.select(model).where(model.id == known)).unique().one()

    def _refuse_other(
        self, present: Any, values: Mapping[str, Any], whole: Mapping[str, Any], name: str
    ) -> None:
        if not says_what_is_there(self.resource, present, values, whole):
            patch = "" if "patch" not in self.resource.verbs else " Edit it instead."
            message = f"There is {self.resource.a_noun} {name} already, and it says something else.{patch}"
            raise Conflict(message, slug="already-there")


class NamedMaking(Making):
    """Makes rows into named things, known by their handle, or by their name in any case."""

    def __init__(self, call: Call, kind: RecordSheet, table: Table, schema: Schema) -> None:
        self.call, self.resource, self.table, self.schema = call, kind.resource, table, schema
        self.complete = kind.completer(call)
        model: Any = self.resource.model
        found = call.session.scalars(sa.select(model)).unique().all()
        self.named = {one.name.casefold(): one for one in found} | {one.handle: one for one in found}

    def make(self, line: int, row: SheetRow) -> Verdict:
        self.complete(self.table, row.record, row.body)
        values = load(self.schema, row.body)
        whole = prepared(self.call, self.resource, dict(values))
        present = self.named.get(values.get("handle") or values["name"].casefold())
        if present is not None:
            self._refuse_other(present, values, whole, f"'{present.handle}'")
            return Verdict(line, REPEATED, {"handle": present.handle, **row.body})
        made: Any = self.resource.create(
            self.call.session, self.resource.model, whole, now=self.call.now, effective_ms=None
        )
        self.named[made.handle] = self.named[made.name.casefold()] = made
        return Verdict(line, NEW, {"handle": made.handle, **row.body})


def _with_column(table: Table, verdict: Verdict) -> Verdict:
    """With the file's own names for the columns at fault."""
    if verdict.verdict != REFUSED or not verdict.column:
        return verdict
    faults = [(_written(table, path) if path else "", words) for path, words in verdict.faults]
    return refused_at(verdict.line, faults, verdict.type)


def _written(table: Table, path: str) -> str:
    """What the file calls the column of a field."""
    steps = path.split(".")
    names = [".".join(steps[:count]) for count in range(len(steps), 0, -1)]
    known = next((one for one in names if one in table.columns), None)
    return steps[0] if known is None else table.columns[known].written


def at_field(name: str, find: Callable[[str], str], said: str) -> str:
    """What `find` makes of a text, or Invalid at the field where it can't be found."""
    try:
        return find(said)
    except Invalid as trouble:
        raise Invalid(
            trouble.message, faults=[Fault(f"/{name}", trouble.message)], slug="unknown-name"
        ) from None
