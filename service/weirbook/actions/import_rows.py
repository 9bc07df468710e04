"""The rows of a keeper's sheet, stored in order or only tried: what becomes of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy.orm import Session

from weirbook.errors import Trouble
from weirbook.record.changes import may_be_taken_back

R = TypeVar("R")

NEW, STORED, REPEATED, REFUSED = "new", "stored", "repeated", "refused"
"""New is what would be stored; what was is stored."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What becomes of a row, or of one value of it.

    `becomes` is what is stored. Of what is refused `type` is a word that a program can test, and `faults` tell each column
    at fault and why.
    """

    line: int
    verdict: str
    becomes: Mapping[str, Any] | None = None
    column: str = ""
    type: str = ""
    message: str = ""
    faults: tuple[tuple[str, str], ...] = ()


class _TakenBack(Exception):
    """Raised to leave a part of a transaction without a trace."""


@contextmanager
def tried(session: Session, keep: Callable[[], bool]) -> Iterator[None]:
    """Do what is inside, and take it back unless `keep` says at its end that it shall stay."""
    try:
        with may_be_taken_back(session):
            yield
            if not keep():
                raise _TakenBack
    except _TakenBack:
        return


def refused(line: int, trouble: Trouble) -> Verdict:
    """The verdict on a row that was refused; each fault's column is the path of its field."""
    faults = [(one.pointer.strip("/").replace("/", "."), one.message) for one in trouble.faults]
    return refused_at(line, faults or [("", trouble.message)], trouble.slug)


def refused_at(line: int, faults: Sequence[tuple[str, str]], slug: str) -> Verdict:
    """The verdict on a row with faults in some columns; where these are several, each message is led by its own."""
    columns = list(dict.fromkeys(column for column, _ in faults if column))
    told = [f"{column}: {words}" if column and len(columns) > 1 else words for column, words in faults]
    message = " ".join(dict.fromkeys(told))
    return Verdict(line, REFUSED, None, ", ".join(columns), slug, message, tuple(faults))


def each_row(
    session: Session,
    rows: Iterable[tuple[int, R]],
    do: Callable[[int, R], Verdict],
    alone: Callable[[R], bool] | None = None,
) -> Iterator[Verdict]:
    """Do row after row; what refuses one leaves nothing of it behind, and the next goes on.

    `alone` tells which rows write before they may be refused, and so need a savepoint of their own; all, if not said.
    """
    for line, row in rows:
        try:
            with nullcontext() if alone is not None and not alone(row) else may_be_taken_back(session):
                verdict = do(line, row)
        except Trouble as trouble:
            verdict = refused(line, trouble)
        yield verdict
