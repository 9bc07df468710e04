"""Readings of a keeper's sheet: one a row, or one a column for each parameter or gauge."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from weirbook.actions.find_by_name import Names, names_of, names_of_places, names_of_tanks
from weirbook.actions.find_gauges import Taker
from weirbook.actions.import_readings import Found, Imported, import_readings
from weirbook.actions.judge_reading import Refusal, Sent
from weirbook.engine.parameters import PARAMETERS, Parameter
from weirbook.engine.times import instant_text
from weirbook.engine.units import number, unit
from weirbook.errors import Fault, Invalid, TooLarge
from weirbook.record.equipment import Gauge, OwnParameter
from weirbook.record.parameters import as_parameter
from weirbook.spreadsheets.columns import CLOCK, DAY, NUMBER, Column, Manner, Table
from weirbook.spreadsheets.sheet import Heading, Record, Sheet, compared
from weirbook.web.operations import Call

VALUES_CAP = 200_000
COLUMNS = (
    Column("gauge", "The gauge, by handle or name; or say a place and a parameter", "nursery-temperature"),
    Column(
        "place",
        "Where it was taken by hand: path, handle or name",
        also=("where", "location"),
    ),
    Column("tank", "Instead of a place: the tank, by handle or name", also=("aquarium",)),
    Column("parameter", "What was measured, with a place or tank", also=("measured", "what")),
    Column(
        "value",
        "A number, <0.05, >160, 10..20, on or off; its unit may stand behind it, or in brackets in the column's name",
        "24.6",
        NUMBER,
        ("reading", "result", "measurement"),
    ),
    Column(
        "as_taken", "Of our own CSV out: goes before value, which has the gauge's offset in it", "", NUMBER
    ),
    Column("unit", "Its unit; the gauge's own if nothing says one", "degC", also=("units",)),
    Column(
        "at",
        "When: a date, with a time if known",
        "2026-11-24T18:00:00Z",
        DAY,
        ("date", "day", "when", "datetime", "date time", "happened at", "timestamp"),
        required=True,
    ),
    Column("time", "Time of day, where the date has none", "", CLOCK, ("clock", "hour")),
    Column("qualifier", "below, above or between, as our own CSV out writes it"),
    Column("low", "Lower end, of a value between two", "", NUMBER),
    Column("high", "Upper end, of a value between two", "", NUMBER),
)
IGNORED = {
    "implausible": "judged anew by the gauge's own range",
    "excluded": "exclusions are records of their own",
}
ALSO_CALLED = {
    "temperature": ("temp", "water temperature"),
    "alkalinity": ("kh", "carbonate hardness"),
    "hardness": ("gh", "general hardness", "total hardness"),
    "total_ammonia": ("ammonia", "nh4", "nh3"),
    "nitrite": ("no2",),
    "nitrate": ("no3",),
    "phosphate": ("po4",),
    "dissolved_oxygen": ("oxygen", "o2"),
    "conductivity": ("ec",),
    "redox": ("orp",),
    "iron": ("fe",),
    "water_level": ("level",),
}
"""What sheets call parameters besides their names; common practice, no source."""
_SAID = re.compile(
    r"([<>]?\s*[+-]?(?:[0-9]+(?:\.(?!\.)[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
    r"(?:\s*\.\.\s*[+-]?[0-9]+(?:\.[0-9]*)?)?)\s*(.*)"
)
_PLAIN = re.compile(r"[+-]?[0-9]{1,15}(?:\.[0-9]{1,20})?")
_QUALIFIERS = {"below": "<", "above": ">"}


class ReadingSheet:
    """The readings that a sheet holds, in the words of the record."""

    def __init__(self, call: Call, sheet: Sheet, manner: Manner) -> None:
        self.call = call
        session = call.session
        self.places, self.tanks = names_of_places(session), names_of_tanks(session)
        self.gauges = names_of(session, Gauge)
        self.units: dict[str, str] = {
            handle: its for handle, its in session.execute(sa.select(Gauge.handle, Gauge.unit))
        }
        own = {row.handle: as_parameter(row) for row in session.scalars(sa.select(OwnParameter))}
        self.known: dict[str, Parameter] = {**own, **PARAMETERS}
        self.parameters = Names(
            "parameter",
            [(name, (*ALSO_CALLED.get(name, ()), name.replace("_", " "))) for name in self.known],
        )
        self.wide: dict[str, tuple[str, str]] = {}
        self.table = Table(sheet, [*COLUMNS, *self._wide_columns(sheet)], manner, call.zone, IGNORED)
        if "value" not in self.table and "as_taken" not in self.table and not self.wide:
            names = ", ".join(one.written for one in sheet.headings[:20])
            message = (
                "No column holds readings: it takes 'value', or columns named by a parameter or a gauge. "
                f"The file has: {names}."
            )
            raise Invalid(message, faults=[Fault("/1/value", message)])
        self.notes: list[str] = []
        self.column_units = self._column_units()

    def _wide_columns(self, sheet: Sheet) -> list[Column]:
        """Columns named by a parameter or a gauge, where the sheet has no column of values."""
        base = {compared(name) for one in COLUMNS for name in (one.name, *one.also)}
        names = {heading.name for heading in sheet.headings}
        value = COLUMNS[4]
        if names & {compared(name) for name in (value.name, *value.also, "as_taken")}:
            return []
        found = []
        for heading in sheet.headings:
            if heading.name in base or heading.name in IGNORED:
                continue
            spoken = heading.name.replace("_", " ")
            gauge = self.gauges.find(heading.written) or self.gauges.find(spoken)
            parameter = self.parameters.find(spoken)
            if gauge is not None or parameter is not None:
                column = f"{'gauge' if gauge is not None else 'parameter'} {gauge or parameter}"
                self.wide[column] = ("gauge", gauge) if gauge is not None else ("parameter", str(parameter))
                found.append(Column(column, "", "", NUMBER, (heading.name,)))
        return found

    def _column_units(self) -> Mapping[str, str | None]:
        """The unit that the name of each column of values says. Raises Invalid for one that its parameter has not."""
        found: dict[str, str | None] = {}
        for name, (noun, what) in self.wide.items():
            heading = self.table.columns[name]
            kind = self.known[what].kind if noun == "parameter" else None
            found[name] = _unit_of(heading, kind)
            if found[name] is None and noun == "parameter" and len(self.known[what].units) > 1:
                self.notes.append(
                    f"Column '{heading.written}' says no unit: where a cell says none, the gauge's own is taken, of a gauge "
                    f"made now {self.known[what].units[0]}."
                )
        for name in ("value", "as_taken"):
            if name in self.table:
                found[name] = self.table.columns[name].unit
        return found

    def found(self) -> list[Found]:
        """Every reading of the sheet, or why a row has none; rows and cells without a value are passed over."""
        found: list[Found] = []
        for record in self.table.sheet.records:
            found += self._of(record)
            if len(found) > VALUES_CAP:
                raise TooLarge(f"More than {VALUES_CAP} readings: send the file in parts.")
        return found

    def _of(self, record: Record) -> Iterator[Found]:
        if record.fault:
            yield Found(record.line, "", Refusal(0, "ragged-row", record.fault))
            return
        try:
            at_ms = self._at("at", lambda: self.table.instant(record, "at", "time"))
            where = self._where(record)
        except Invalid as trouble:
            if any(self.table.text(record, name) for name in (*self.wide, "value", "as_taken")):
                yield self._refused(record, trouble)
            return
        if self.wide:
            for name, (noun, what) in self.wide.items():
                if self.table.text(record, name):
                    place = {} if noun == "gauge" else {"place": where.get("place")}
                    yield self._reading(record, name, at_ms, {**place, noun: what})
        else:
            name = "as_taken" if self.table.text(record, "as_taken") else "value"
            if self.table.text(record, name):
                yield self._reading(record, name, at_ms, where)

    def _reading(self, record: Record, name: str, at_ms: int | None, what: Mapping[str, str | None]) -> Found:
        heading = self.table.columns[name]
        column = heading.written if self.wide else ""
        try:
            text = self._at(name, lambda: self.table.number(record, name))
            said = _SAID.fullmatch(text)
            value, behind = (said[1], said[2]) if said else (text, "")
            if not self.wide:
                value = self._qualified(record, name, value)
        except Invalid as trouble:
            return self._refused(record, trouble, heading)
        unit_name = behind or self.table.text(record, "unit") or self.column_units.get(name)
        gauge = what.get("gauge")
        sent = Sent(
            0,
            float(value) if _PLAIN.fullmatch(value) else value,
            gauge,
            what.get("place"),
            what.get("parameter"),
            unit_name or (self.units.get(gauge) if gauge else None),
            None if at_ms is None else instant_text(at_ms),
        )
        return Found(record.line, column, sent)

    def _qualified(self, record: Record, name: str, value: str) -> str:
        """A value with its qualifier in columns beside it, as our own CSV out writes it."""
        word = self.table.text(record, "qualifier").lower()
        if not word:
            return value
        if word in _QUALIFIERS:
            return f"{_QUALIFIERS[word]}{value}"
        low, high = (self.table.number(record, one) for one in ("low", "high"))
        if word != "between" or not low or not high:
            raise Invalid(
                "A qualifier is below, above, or between with low and high.",
                faults=[Fault("/qualifier", "A qualifier is below, above, or between with low and high.")],
            )
        shown = self.table.number(record, "value")
        try:
            offset = float(shown) - float(value) if name == "as_taken" and shown else 0.0
            return f"{number(float(low) - offset)}..{number(float(high) - offset)}"
        except ValueError:
            raise Invalid("Low, high and value are numbers.", "/low") from None

    def _where(self, record: Record) -> dict[str, str | None]:
        """What names the gauge of a row: itself, or a place and a parameter."""
        gauge, parameter = self.table.text(record, "gauge"), self.table.text(record, "parameter")
        if gauge and not self.wide:
            return {"gauge": self._at("gauge", lambda: self.gauges.named(gauge))}
        place, tank = self.table.text(record, "place"), self.table.text(record, "tank")
        if place and tank:
            raise Invalid("Say a place or a tank, not both.", "/tank")
        found: dict[str, str | None] = {"place": self.call.query.get("place")}
        if place:
            found["place"] = self._at("place", lambda: self.places.named(place))
        elif tank:
            found["place"] = self._at("tank", lambda: self.tanks.named(tank))
        if parameter and not self.wide:
            found["parameter"] = self._at("parameter", lambda: self.parameters.named(parameter))
        return found

    def _at(self, field: str, do: Any) -> Any:
        try:
            return do()
        except Invalid as trouble:
            raise Invalid(trouble.message, f"/{field}", slug=trouble.slug) from None

    def _refused(self, record: Record, trouble: Invalid, heading: Heading | None = None) -> Found:
        field = trouble.faults[0].pointer.strip("/") if trouble.faults else ""
        heading = heading or self.table.columns.get(field)
        column = field if heading is None else heading.written
        return Found(record.line, column, Refusal(0, "bad-row", trouble.message))


def _unit_of(heading: Heading, kind: str | None) -> str | None:
    """The unit in a column's name; "NO3 (mg/L)" says of what as well."""
    if heading.unit is None or kind is None:
        return heading.unit
    try:
        return unit(kind, heading.unit).name
    except Invalid as trouble:
        first = trouble.message
    try:
        return unit(kind, f"{heading.unit} {heading.name.upper()}").name
    except Invalid:
        message = f"Column '{heading.written}': {first}"
        raise Invalid(message, faults=[Fault(f"/1/{heading.written}", message)]) from None


def imported(call: Call, sheet: ReadingSheet) -> Imported:
    """What becomes of the readings of a sheet, in the order of the file."""
    found: Sequence[Found] = sheet.found()
    taker = Taker(call.caller.role, call.caller.name, call.caller.gauges)
    return import_readings(call.session, taker, found, now=call.now)
