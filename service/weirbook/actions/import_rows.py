"""The rows of a keeper's sheet, stored in order or only tried: what becomes of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from weirbook.errors import Fault, Trouble
from weirbook.record.changes import may_be_taken_back

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


def refused(line: int, trouble: Trouble, columns: Mapping[str, str] | None = None) -> Verdict:
    """The verdict on a row that was refused; `columns` are the file's own names for the fields."""
    fault = trouble.faults[0] if trouble.faults else Fault("", trouble.message)
    field = fault.pointer.strip("/").split("/")[0]
    message = " ".join(dict.fromkeys(one.message for one in trouble.faults)) or trouble.message
    return Verdict(line, REFUSED, None, (columns or {}).get(field, field), trouble.slug, message)


def each_row(
    session: Session, rows: Iterable[tuple[int, Any]], do: Callable[[int, Any], Verdict]
) -> Iterator[Verdict]:
    """Do row after row; what refuses one leaves nothing of it behind, and the next goes on."""
    for line, row in rows:
        try:
            with may_be_taken_back(session):
                verdict = do(line, row)
        except Trouble as trouble:
            verdict = refused(line, trouble)
        yield verdict
