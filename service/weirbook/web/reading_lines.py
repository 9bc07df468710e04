"""Readings as lines of JSON (application/x-ndjson): any number of them, stored part by part as they are read."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, BinaryIO, cast

import msgspec
from flask import Request, Response

from weirbook.actions.judge_reading import Refusal, Sent
from weirbook.actions.take_readings import Taken, problem_of, refusal_of
from weirbook.config import Config
from weirbook.errors import Invalid, Trouble
from weirbook.web.operations import Call, reply

LINE_CAP = 16 * 1024
"""Bytes of a line, its end among them. A reading takes about a hundred."""
PART_BYTES = 1024 * 1024
"""A part ends here even where it has few lines, so that long lines take no more memory than short ones."""
READ_AHEAD = 64 * 1024
REFUSALS_TOLD = 1000
BYTE_ORDER_MARK = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Lines:
    """A part of the body: the readings in the lines from `first` to `last`, which count from 1."""

    first: int
    last: int
    rows: Sequence[Sent | Refusal]


@dataclass(frozen=True)
class Stored:
    """What became of a part."""

    last: int
    taken: Taken


class ReadingLines:
    """A body of readings, one a line, under way (operations.PartByPart)."""

    def __init__(
        self,
        request: Request,
        config: Config,
        row: Callable[[int, Any], Sent | Refusal],
        store: Callable[[Call, Sequence[Sent | Refusal]], Taken],
    ) -> None:
        """`row` makes a reading of a line's JSON, `store` stores them in a call's transaction."""
        self._stream = cast(BinaryIO, io.BufferedReader(cast(io.RawIOBase, request.stream), READ_AHEAD))
        self._part_lines = config.part_lines
        self._row, self._store = row, store
        self._read = self._stored_to = self._refused = 0
        self._sum = Taken(0)

    def parts(self) -> Iterator[Lines]:
        """The body's lines by the part. Raises Malformed where it breaks off."""
        first, held, rows = 1, 0, list[Sent | Refusal]()
        for number, line in enumerate(_lines(self._stream), start=1):
            self._read = number
            if line is None or not line.isspace():
                rows.append(self._reading(number - 1, line))
                held += len(line or b"")
            if len(rows) == self._part_lines or held >= PART_BYTES:
                yield Lines(first, number, rows)
                first, held, rows = number + 1, 0, []
        if rows:
            yield Lines(first, self._read, rows)

    def _reading(self, index: int, line: bytes | None) -> Sent | Refusal:
        if line is None:
            return Refusal(
                index, "bad-row", f"The line is longer than {LINE_CAP} bytes. Write one reading a line."
            )
        try:
            said = msgspec.json.decode(line.removeprefix(BYTE_ORDER_MARK) if index == 0 else line)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as trouble:
            return Refusal(index, "bad-row", f"The line is not JSON: {trouble}. Write one reading a line.")
        return self._row(index, said)

    def do(self, call: Call) -> Stored:
        """Store a part. Raises, unless the call is content with a part of it, what its refused readings come to."""
        lines: Lines = call.body
        taken = self._store(call, lines.rows)
        if taken.refusals and not call.query.get("partial_", False):
            raise self._refusal(lines, taken)
        return Stored(lines.last, taken)

    def _refusal(self, lines: Lines, taken: Taken) -> Trouble:
        """What refused readings of a part come to: as of a batch, in words of lines."""
        told, first = refusal_of(taken, single=False), taken.refusals[0]
        message = (
            f"Line {first.index + 1}: {first.message} "
            f"{len(taken.refusals)} of the readings in lines {lines.first} to {lines.last} can't be taken, so none of "
            f"these lines was stored; those before are. Mend them and send from line {lines.first} on."
        )
        return type(told)(message, faults=told.faults, slug=told.slug, more=told.more)

    def gather(self, done: Stored) -> None:
        self._stored_to = done.last
        total, taken = self._sum, done.taken
        total.sent += taken.sent
        total.stored += taken.stored
        total.repeated += taken.repeated
        total.flagged += taken.flagged
        total.corrected += taken.corrected
        total.made_gauges += taken.made_gauges
        self._refused += len(taken.refusals)
        total.refusals += taken.refusals[: REFUSALS_TOLD - len(total.refusals)]

    def so_far(self) -> Mapping[str, object]:
        """Up to which line all is done, and what was refused until there."""
        refused = problem_of(self._sum.refusals) if self._sum.refusals else {}
        return {"stored_to_line": self._stored_to, **refused}

    def answer(self) -> Response:
        """The counts of all parts. Raises Invalid where there was no reading."""
        total = self._sum
        if total.sent == 0:
            raise Invalid("There is no reading in it.", "/readings")
        return reply(
            {
                "sent": total.sent,
                "stored": total.stored,
                "repeated": total.repeated,
                "refused": self._refused,
                "flagged": total.flagged,
                "corrected": total.corrected,
                "made_gauges": total.made_gauges,
                "lines": self._read,
                "stored_to_line": self._read,
                **problem_of(total.refusals),
            }
        )


def _lines(stream: BinaryIO) -> Iterator[bytes | None]:
    """Each line; None for one beyond the cap, of which no more than that is ever held."""
    while line := stream.readline(LINE_CAP):
        whole = _ends(line)
        yield line if whole else None
        while not whole:
            whole = _ends(stream.readline(LINE_CAP))


def _ends(piece: bytes) -> bool:
    """Whether a piece that was read ends its line, by a line feed or by the body's end."""
    return piece.endswith(b"\n") or len(piece) < LINE_CAP
