"""The three kinds of record that a keeper's sheet may hold, and what its columns go by besides."""

from __future__ import annotations

import uuid
from typing import Any

import sqlalchemy as sa
from marshmallow import Schema

from weirbook.actions.create import create
from weirbook.actions.enter_journal import ManyEntries
from weirbook.actions.find_by_name import names_of, names_of_places, names_of_tanks
from weirbook.errors import Invalid
from weirbook.record.fish import ARRIVAL, BIRTH, COUNT, WITHDRAWAL, Group, Species
from weirbook.record.places import Tank
from weirbook.spreadsheets.columns import CLOCK, Column, Table
from weirbook.spreadsheets.sheet import Record
from weirbook.web.fish import SPECIES
from weirbook.web.import_columns import columns_of
from weirbook.web.import_records import Complete, Making, RecordSheet, SheetRow, at_field
from weirbook.web.journal import JOURNAL
from weirbook.web.operations import Call
from weirbook.web.stock import STOCK_ENTRIES

ID = Column(
    "id", "A UUID of your own, so that the row can be known again; else one follows from what it says"
)
TIME = Column("time", "Time of day, where the date has none", "09:30", CLOCK, ("clock", "hour"))
WHEN = ("date", "day", "when", "at", "datetime", "date time", "happened")
MAKES_GROUPS = (ARRIVAL, BIRTH, COUNT)


def _complete_journal(call: Call) -> Complete:
    places, tanks = names_of_places(call.session), names_of_tanks(call.session)
    usual = call.query.get("place")

    def complete(table: Table, record: Record, body: dict[str, Any]) -> None:
        _when(body)
        tank = table.text(record, "tank")
        if tank and "place" in body:
            raise Invalid("Say a place or a tank, not both.", "/tank")
        if "place" in body:
            body["place"] = at_field("place", places.named, body["place"])
        elif tank:
            body["place"] = at_field("tank", tanks.named, tank)
        elif usual is not None:
            body["place"] = usual
        _lower(body, "kind")
        if "tags" in body and isinstance(body["tags"], list):
            body["tags"] = [one.lower() if isinstance(one, str) else one for one in body["tags"]]

    return complete


class JournalMaking(Making):
    """Makes entries by the thousand; one with scores, which are readings, by itself."""

    def __init__(self, call: Call, kind: RecordSheet, table: Table, schema: Schema) -> None:
        super().__init__(call, kind, table, schema)
        self.many = ManyEntries(call.session)

    def alone(self, row: SheetRow) -> bool:
        return "scores" in row.body

    def create(self, whole: dict[str, Any], known: uuid.UUID) -> None:
        if whole.get("scores"):
            super().create(whole, known)
        else:
            self.many.add(whole, now=self.call.now, chosen_id=known)


def _complete_species(call: Call) -> Complete:
    def complete(table: Table, record: Record, body: dict[str, Any]) -> None:
        pass

    return complete


class _Groups:
    """The room's groups, by id, by what they are called, or by species and tank; made where fish come to none."""

    def __init__(self, call: Call) -> None:
        self.call = call
        self.species, self.tanks = names_of(call.session, Species), names_of(call.session, Tank)
        self.made: list[Group] = []
        self.known: list[Group] = list(call.session.scalars(sa.select(Group).order_by(Group.id)).unique())

    def all(self) -> list[Group]:
        """Also those made by rows before, unless their row was taken back."""
        self.made = [one for one in self.made if sa.inspect(one).persistent]
        return [*self.known, *self.made]

    def complete(self, table: Table, record: Record, body: dict[str, Any]) -> None:
        _lower(body, "kind")
        _lower(body, "cause")
        if body.get("kind") == WITHDRAWAL:
            return
        _when(body)
        said = {name: table.text(record, name) for name in ("species", "tank", "origin")}
        if "group" in body:
            body["group"] = self._called(body["group"], "group")
        elif said["species"] and said["tank"]:
            body["group"] = self._of(said, body)
        else:
            raise Invalid("Say the group: its id or name, or its species and tank.", "/group")
        if "to_group" in body:
            body["to_group"] = self._called(body["to_group"], "to_group")
        if "to_tank" in body:
            body["to_tank"] = at_field("to_tank", self.tanks.named, body["to_tank"])

    def _called(self, said: str, field: str) -> str:
        wanted = said.casefold()
        found = [
            one
            for one in self.all()
            if wanted == str(one.id)
            or (one.name or "").casefold() == wanted
            or one.called.casefold() == wanted
        ]
        return self._only(found, f"called '{said[:80]}'", field)

    def _of(self, said: dict[str, str], body: dict[str, Any]) -> str:
        species = at_field("species", self.species.named, said["species"])
        tank = at_field("tank", self.tanks.named, said["tank"])
        found = [
            one
            for one in self.all()
            if one.species.handle == species and one.tank.handle == tank and one.retired_at_ms is None
        ]
        if said["origin"]:
            found = [one for one in found if (one.origin or "").casefold() == said["origin"].casefold()]
        if not found and body.get("kind") in MAKES_GROUPS:
            values = {"species": species, "tank": tank, "origin": said["origin"] or None}
            group = create(self.call.session, Group, values, now=self.call.now)
            self.made.append(group)
            return str(group.id)
        return self._only(found, f"of {species} in {tank}", "group")

    def _only(self, found: list[Group], words: str, field: str) -> str:
        if len(found) == 1:
            return str(found[0].id)
        if found:
            ids = " or ".join(f"{one.id} ({one.origin or 'origin not said'})" for one in found[:5])
            raise Invalid(f"Several groups are {words}: write the id of one, {ids}.", f"/{field}")
        raise Invalid(
            f"There is no group {words}. An arrival, a birth or a count that names species and tank makes one.",
            f"/{field}",
        )


def _when(body: dict[str, Any]) -> None:
    """A row of a sheet says when: what has no date would be of now, and new whenever it is sent."""
    if "happened_at" not in body:
        raise Invalid("Say when: the date is empty.", "/happened_at")


def _lower(body: dict[str, Any], name: str) -> None:
    if isinstance(body.get(name), str):
        body[name] = "_".join(body[name].lower().split())


JOURNAL_SHEET = RecordSheet(
    JOURNAL,
    [
        ID,
        *columns_of(
            JOURNAL,
            {
                "happened_at": WHEN,
                "words": ("note", "notes", "entry", "text", "what happened", "remarks", "comment"),
                "place": ("where", "location"),
                "kind": ("type",),
                "author": ("who", "by"),
            },
            required=("words", "happened_at"),
        ),
        TIME,
        Column("tank", "Instead of a place: the tank, by handle or name", "", also=("aquarium",)),
    ],
    _complete_journal,
    maker=JournalMaking,
)
SPECIES_SHEET = RecordSheet(
    SPECIES,
    columns_of(
        SPECIES,
        {
            "name": ("species", "common name"),
            "scientific_name": ("latin name", "scientific"),
            "adult_length": ("adult size", "size", "length"),
            "adult_mass": ("adult weight", "weight", "mass"),
            "temperature.low": ("temperature low", "temperature min", "min temperature"),
            "temperature.high": ("temperature high", "temperature max", "max temperature"),
            "ph.low": ("ph low", "ph min", "min ph"),
            "ph.high": ("ph high", "ph max", "max ph"),
            "school_size": ("school", "group size"),
            "notes": ("note", "remarks", "comment"),
        },
        required=("name",),
    ),
    _complete_species,
)
STOCK_SHEET = RecordSheet(
    STOCK_ENTRIES,
    [
        ID,
        *columns_of(
            STOCK_ENTRIES,
            {
                "kind": ("type", "event", "what"),
                "number": ("count", "heads", "how many", "quantity", "qty"),
                "happened_at": WHEN,
                "source": ("supplier", "from"),
                "words": ("note", "notes", "remarks", "comment"),
                "author": ("who", "by"),
            },
            required=("kind",),
        ),
        TIME,
        Column(
            "species",
            "Instead of the group: its species, by handle or name; with the tank",
            "dwarf-rainbowfish",
        ),
        Column("tank", "With the species: the tank that the group lives in, by handle or name", "nursery"),
        Column(
            "origin",
            "Tells groups of one species in one tank apart; kept with a group that is made",
            "Bred here",
        ),
    ],
    lambda call: _Groups(call).complete,
    oldest_first="happened_at",
)
