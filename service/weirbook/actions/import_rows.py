"""The rows of a keeper's sheet, stored in order or only tried: what becomes of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy.orm import Session

from weirbook.errors import Trouble
from weirbook.record.changes import may_be_taken_back

R = TypeVar("R")

NEW, REPEATED, REFUSED = "new", "repeated", "refused"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What becomes of a row, or of one value of it.

    `becomes` is what is stored. Of what is refused `type` is a word that a program can test, and `column` where it is at fault.
    """

    line: int
    verdict: str
    becomes: Mapping[str, Any] | None = None
    column: str = ""
    type: str = ""
    message: str = ""


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
    """The verdict on a row that was refused; `column` is the path of the first field at fault."""
    pointer = trouble.faults[0].pointer if trouble.faults else ""
    message = " ".join(dict.fromkeys(one.message for one in trouble.faults)) or trouble.message
    return Verdict(line, REFUSED, None, pointer.strip("/").replace("/", "."), trouble.slug, message)


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
