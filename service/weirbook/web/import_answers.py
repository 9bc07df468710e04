"""What a keeper is told of a sheet: how it was read, and what becomes of each row."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import time
from typing import Any

from weirbook.actions.import_rows import NEW, REFUSED, REPEATED, STORED, Verdict
from weirbook.errors import Fault, Invalid
from weirbook.spreadsheets.columns import Table
from weirbook.tables import to_csv
from weirbook.web.operations import Call

REFUSED_LISTED, OTHERS_LISTED = 1000, 20
FAULTS_NAMED = 100
ROW_COLUMNS = ("line", "column", "verdict", "type", "message", "becomes")
NOON = time(12)


@dataclass
class Outcome:
    """What was made of a sheet."""

    table: Table
    verdicts: Sequence[Verdict]
    flagged: int = 0
    made_gauges: Sequence[str] = ()
    notes: Sequence[str] = ()
    of_values: bool = False
    """Whether verdicts are on single values of rows, as of readings."""


def refused_of(outcome: Outcome) -> list[Verdict]:
    return [one for one in outcome.verdicts if one.verdict == REFUSED]


def refusal_of(refused: Sequence[Verdict], told: dict[str, Any]) -> Invalid:
    what = "row" if told["counts"]["values"] is None else "value"
    some = f"One {what}" if len(refused) == 1 else f"{len(refused)} {what}s"
    faults = [
        Fault(f"/{one.line}" + (f"/{column}" if column else ""), words)
        for one in refused
        for column, words in one.faults or ((one.column, one.message),)
    ]
    return Invalid(
        f"{some} can't be taken; nothing was stored. Mend them, or send partial=true to store the others.",
        faults=faults[:FAULTS_NAMED],
        slug="rows-refused",
        more={"import": {**told, "stored": 0}},
    )


def as_stored(outcome: Outcome) -> Outcome:
    """The same once it is stored: what was new is there."""
    verdicts = [replace(one, verdict=STORED) if one.verdict == NEW else one for one in outcome.verdicts]
    return replace(outcome, verdicts=verdicts)


def told_of(call: Call, outcome: Outcome, *, dry_run: bool) -> dict[str, Any]:
    sheet, table = outcome.table.sheet, outcome.table
    counts = Counter(one.verdict for one in outcome.verdicts)
    listed = _listed(outcome.verdicts)
    order = table.order
    return {
        "dry_run": dry_run,
        "stored": counts[STORED],
        "counts": {
            "rows": len(sheet.records),
            "blank": sheet.blank,
            "values": len(outcome.verdicts) if outcome.of_values else None,
            "new": counts[NEW] + counts[STORED],
            "repeated": counts[REPEATED],
            "refused": counts[REFUSED],
            "flagged": outcome.flagged,
        },
        "recognised": {
            "encoding": {"value": sheet.decoded.encoding, "why": sheet.decoded.why},
            "words": list(sheet.decoded.words),
            "separator": {"value": sheet.separator, "why": sheet.separator_why},
            "decimals": [
                {"column": table.columns[name].written, "value": one.sign, "why": one.why}
                for name, one in table.decimals.items()
            ],
            "date_order": {
                "value": None if order is None else order.order,
                "why": "no column holds dates" if order is None else order.why,
            },
            "days_without_time": f"{call.query.get('time_of_day', NOON):%H:%M}",
            "time_zone": call.room.time_zone,
            "columns": [
                {"column": one.written, "field": name, "unit": one.unit}
                for name, one in table.columns.items()
            ],
            "unused": [{"column": one.heading.written, "why": one.why} for one in table.unused],
        },
        "rows": [_row(one) for one in listed],
        "not_listed": len(outcome.verdicts) - len(listed),
        "made_gauges": list(outcome.made_gauges),
        "notes": list(outcome.notes),
    }


def _listed(verdicts: Sequence[Verdict]) -> list[Verdict]:
    """The refused ones, and a few of the others, as far as an answer should be long."""
    left = Counter(
        {REFUSED: REFUSED_LISTED, NEW: OTHERS_LISTED, STORED: OTHERS_LISTED, REPEATED: OTHERS_LISTED}
    )
    listed = []
    for one in verdicts:
        if left[one.verdict]:
            left[one.verdict] -= 1
            listed.append(one)
    return listed


def _row(one: Verdict) -> dict[str, Any]:
    return {
        "line": one.line,
        "column": one.column or None,
        "verdict": one.verdict,
        "type": one.type or None,
        "message": one.message or None,
        "becomes": None if one.becomes is None else dict(one.becomes),
    }


def verdict_table(verdicts: Sequence[Verdict]) -> str:
    return to_csv(
        ROW_COLUMNS,
        (
            (one.line, one.column, one.verdict, one.type, one.message, _in_words(one.becomes))
            for one in verdicts
        ),
    )


def _in_words(becomes: Mapping[str, Any] | None) -> str:
    return "; ".join(f"{name}: {_plain(value)}" for name, value in (becomes or {}).items())


def _plain(value: Any) -> str:
    if isinstance(value, Mapping):
        if value.keys() == {"value", "unit"}:
            return f"{value['value']} {value['unit']}"
        return ", ".join(f"{name} {_plain(one)}" for name, one in value.items())
    return ", ".join(map(_plain, value)) if isinstance(value, list) else str(value)
