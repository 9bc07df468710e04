"""The table that a benchmark prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """One row: Weirbook, the script, the tuned script, SQLite alone, as far as measured; `held` None without a bar."""

    what: str
    cells: Sequence[str]
    ratio: str = ""
    bar: str = ""
    held: bool | None = None


def print_table(lines: Sequence[Line]) -> None:
    """Print the rows in columns as wide as they need be."""
    verdicts = {True: "held", False: "MISSED", None: ""}
    rows = [("", "Weirbook", "script", "tuned script", "SQLite alone", "to the script", "bar", "")]
    for line in lines:
        cells = [*line.cells, "", "", "", ""][:4]
        rows.append(
            (line.what, cells[0], cells[1], cells[2], cells[3], line.ratio, line.bar, verdicts[line.held])
        )
    print_columns(rows)


def print_columns(rows: Sequence[Sequence[str]]) -> None:
    """Print rows of equal length in columns as wide as they need be."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
