"""Hears every statement the service sends during the tests, and holds it to one room.

On a PostgreSQL spread by Citus a statement runs on one machine only where it says, for each of the rooms' tables
that it touches, which room: `room_id = ?`, or an equation with the room_id of a table that says so. All others would
go to every machine, and many would be refused (Citus documentation, "SQL Support and Workarounds").
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
import sqlalchemy as sa
import sqlglot
from sqlglot import exp

from weirbook.record.tables import METADATA, REFERENCE_TABLES

ROOM_TABLES = frozenset(METADATA.tables) - REFERENCE_TABLES

MAY_CROSS_ROOMS: Mapping[tuple[str, str | None], str] = {
    (
        "record/migrations.py",
        None,
    ): "a migration moves the rows of all rooms, on the coordinator, service stopped",
    ("record/backups.py", None): "a backup copies whole SQLite files, which are never spread",
    ("record/spread.py", None): "the spreading itself",
    ("cli.py", "_refuse_open_door"): "asks, at start, whether there is any key at all, in whatever room",
}
"""Module and function (None: all of them) whose own statements rightly cross rooms, and why."""

SERVICE = Path(sys.modules["weirbook"].__file__ or "").parent
TESTS = Path(__file__).parent

_JUDGED = re.compile(r"\s*(SELECT|INSERT|UPDATE|DELETE|WITH)\b", re.IGNORECASE)
_TOUCHING = re.compile(r"\b(" + "|".join(sorted(ROOM_TABLES)) + r")\b", re.IGNORECASE)
_PLACE = re.compile(r"%\(\w+\)s|%s|\?")


_Term = tuple[exp.Expression, set[str] | None]
"""A condition that must hold, and the names that it tells about (None: all)."""


@dataclass(eq=False)
class _Source:
    """What a name in FROM stands for; `bound` once its room is known."""

    name: str
    spread: bool
    bound: bool = False


@dataclass
class _Scope:
    """Names that a part of a statement sees: its own, then those of the parts around it."""

    own: dict[str, _Source] = field(default_factory=dict)
    outer: _Scope | None = None
    derived: dict[str, bool] = field(default_factory=dict)

    def source(self, column: exp.Column) -> _Source | None:
        if column.name.lower() != "room_id":
            return None
        scope: _Scope | None = self
        while scope is not None:
            if column.table:
                if column.table in scope.own:
                    return scope.own[column.table]
            elif scope.own:
                alone = list(scope.own.values())
                return alone[0] if len(alone) == 1 else None
            scope = scope.outer
        return None

    def is_derived(self, name: str) -> bool | None:
        """Whether a WITH query of this name keeps to the room; None where there is no such query."""
        if name in self.derived:
            return self.derived[name]
        return self.outer.is_derived(name) if self.outer else None


@cache
def faults_of(statement: str, dialect: str) -> tuple[str, ...]:
    """What is wrong with a statement; nothing for one that touches no room's table, or keeps to one room."""
    if not _JUDGED.match(statement) or not _TOUCHING.search(statement):
        return ()
    plain = _PLACE.sub(":place", statement).replace("%%", "%")
    parsed = sqlglot.parse_one(plain, read="sqlite" if dialect == "sqlite" else "postgres")
    return tuple(_judge(parsed, _Scope()))


def _judge(node: exp.Expression, outer: _Scope) -> Iterator[str]:
    scope = _Scope(outer=outer)
    for query in node.args["with_"].expressions if node.args.get("with_") else ():
        found = list(_judge(query.this, scope))
        scope.derived[query.alias] = not found
        yield from found
    if isinstance(node, exp.Subquery):
        yield from _judge(node.this, scope)
    elif isinstance(node, exp.SetOperation):
        yield from _judge(node.this, scope)
        yield from _judge(node.expression, scope)
    elif isinstance(node, exp.Insert):
        yield from _judge_insert(node, scope)
    elif isinstance(node, (exp.Select, exp.Update, exp.Delete)):
        yield from _judge_scope(node, scope)
    else:
        yield f"a kind of statement that is not understood: {type(node).__name__}"


def _judge_scope(node: exp.Expression, scope: _Scope) -> Iterator[str]:
    terms: list[_Term] = [(term, None) for term in _terms(node.args.get("where"))]
    judged: set[int] = set()
    for source in _from(node):
        yield from _enter(source, scope, terms, judged)
    for join in node.args.get("joins") or ():
        yield from _enter_join(join, scope, terms, judged)
    _bind(terms, scope)
    yield from (
        f"{one.name} ({alias}) without its room"
        for alias, one in scope.own.items()
        if one.spread and not one.bound
    )
    if isinstance(node, exp.Update):
        yield from (
            "a row is moved to another room"
            for change in node.expressions
            if isinstance(change, exp.EQ) and change.this.name == "room_id"
        )
    for query in _within(node, judged):
        yield from _judge(query, scope)


def _enter(source: exp.Expression, scope: _Scope, terms: list[_Term], judged: set[int]) -> Iterator[str]:
    """Make a part of FROM known to the scope, with what hangs on it: tables, queries, joins in parentheses."""
    judged.add(id(source))
    if isinstance(source, exp.Table):
        kept = scope.is_derived(source.name)
        spread = kept is None and source.name.lower() in ROOM_TABLES
        scope.own[source.alias_or_name] = _Source(source.name, spread, bound=bool(kept))
    elif isinstance(source, exp.Subquery) and isinstance(source.this, (exp.Table, exp.Subquery)):
        yield from _enter(source.this, scope, terms, judged)
    elif isinstance(source, (exp.Subquery, exp.Lateral)):
        found = list(_judge(source.this, scope))
        scope.own[source.alias_or_name] = _Source(source.alias_or_name, False, bound=not found)
        yield from found
    for join in source.args.get("joins") or ():
        yield from _enter_join(join, scope, terms, judged)


def _enter_join(join: exp.Join, scope: _Scope, terms: list[_Term], judged: set[int]) -> Iterator[str]:
    before = set(scope.own)
    yield from _enter(join.this, scope, terms, judged)
    if join.side in ("RIGHT", "FULL"):
        return
    # What an outer join asks tells about the joined tables alone: rows of the others come without it, too.
    told = set(scope.own) - before if join.side == "LEFT" else None
    terms += [(term, told) for term in _terms(join.args.get("on"))]


def _judge_insert(node: exp.Insert, scope: _Scope) -> Iterator[str]:
    into = node.this
    columns = [one.name.lower() for one in into.expressions] if isinstance(into, exp.Schema) else []
    name = (into.this if isinstance(into, exp.Schema) else into).name.lower()
    spread = name in ROOM_TABLES
    values = node.expression
    if spread and "room_id" not in columns:
        yield f"INSERT INTO {name} without room_id among its columns"
    elif spread and isinstance(values, exp.Values):
        place = columns.index("room_id")
        for row in values.expressions:
            if not _is_known(row.expressions[place]):
                yield f"INSERT INTO {name} with a room_id that is worked out"
            if row.find(exp.Query):
                yield f"INSERT INTO {name} with a query among its values, which Citus refuses"
    elif isinstance(values, exp.Query):
        yield from _judge(values, scope)
    elif spread and values is None:
        yield f"INSERT INTO {name} without values"
    clash = node.args.get("conflict")
    if spread and clash is not None:
        keys = [one.name.lower() for one in clash.args.get("conflict_keys") or ()]
        if keys and "room_id" not in keys:
            yield f"ON CONFLICT of {name} over a key without room_id"
        if any(isinstance(one, exp.EQ) and one.this.name == "room_id" for one in clash.expressions):
            yield "a row is moved to another room"
        if clash.find(exp.Query):
            yield f"ON CONFLICT of {name} with a query, which Citus refuses"


def _from(node: exp.Expression) -> Iterator[exp.Expression]:
    if isinstance(node, (exp.Update, exp.Delete)) and node.this is not None:
        yield node.this
    if (clause := node.args.get("from_")) is not None:
        yield clause.this
    yield from node.args.get("using") or ()


def _bind(terms: list[_Term], scope: _Scope) -> None:
    """Mark the sources whose room is known, over and over until no more become so."""
    changed = True
    while changed:
        changed = False
        for term, told_of in terms:
            if not isinstance(term, exp.EQ):
                continue
            for side, other in ((term.this, term.expression), (term.expression, term.this)):
                source = scope.source(side) if isinstance(side, exp.Column) else None
                if (
                    source is None
                    or source.bound
                    or (told_of is not None and source not in [scope.own[name] for name in told_of])
                ):
                    continue
                told = scope.source(other) if isinstance(other, exp.Column) else None
                if _is_known(other) or (told is not None and told.bound):
                    source.bound = changed = True


def _terms(condition: exp.Expression | None) -> Iterator[exp.Expression]:
    """The parts of a condition that must all hold."""
    if isinstance(condition, (exp.Where, exp.Paren)):
        yield from _terms(condition.this)
    elif isinstance(condition, exp.And):
        yield from _terms(condition.left)
        yield from _terms(condition.right)
    elif condition is not None:
        yield condition


def _is_known(value: exp.Expression) -> bool:
    """A bound value or a literal, with or without a cast."""
    while isinstance(value, (exp.Cast, exp.Paren)):
        value = value.this
    return isinstance(value, (exp.Placeholder, exp.Parameter, exp.Literal))


def _within(node: exp.Expression, judged: set[int]) -> Iterator[exp.Expression]:
    """The outermost queries inside a statement that are no sources of it."""
    for child in node.iter_expressions():
        if isinstance(child, exp.With):
            continue
        if id(child) not in judged and isinstance(child, exp.Query):
            yield child
        elif not (id(child) in judged and isinstance(child.this, (exp.Select, exp.SetOperation))):
            yield from _within(child, judged)


def crossing(statement: str, dialect: str, frame: FrameType | None) -> str | None:
    """What to say of a statement that leaves its room; None where it keeps to it, may, or is a test's own."""
    faults = faults_of(statement, dialect)
    if not faults:
        return None
    while frame is not None:
        file = Path(frame.f_code.co_filename)
        if TESTS in file.parents and file != Path(__file__):
            return None
        if SERVICE in file.parents and file != SERVICE / "record" / "database.py":
            module, function = file.relative_to(SERVICE).as_posix(), frame.f_code.co_name
            if (module, None) in MAY_CROSS_ROOMS or (module, function) in MAY_CROSS_ROOMS:
                return None
            return f"{module}, {function}: {'; '.join(faults)}\n    {statement}"
        frame = frame.f_back
    return None


_heard: list[str] = []


@sa.event.listens_for(sa.Engine, "before_cursor_execute")
def _hear(connection: sa.Connection, _cursor: Any, statement: str, *_: Any) -> None:
    if faults_of(statement, connection.dialect.name):
        said = crossing(statement, connection.dialect.name, sys._getframe(1))
        if said is not None and said not in _heard:
            _heard.append(said)


@pytest.fixture(autouse=True)
def every_statement_keeps_to_one_room() -> Iterator[None]:
    """Fails the test during which the service sent a statement that leaves its room."""
    _heard.clear()
    yield
    if _heard:
        pytest.fail("Statements that leave their room:\n  " + "\n  ".join(_heard), pytrace=False)
