"""What feeding responses come to, by group and food."""

from __future__ import annotations

import statistics
import uuid
from collections import defaultdict
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.engine.inputs import six
from weirbook.engine.times import instant_text
from weirbook.record.fish import FeedingResponse, Species

RESPONSE_COLUMNS = (
    "group",
    "called",
    "species",
    "feed",
    "protein",
    "protein_unit",
    "count",
    "mean",
    "lowest",
    "highest",
    "last",
    "last_at",
)


def sum_responses(session: Session, species: Species | None = None) -> list[dict[str, Any]]:
    """One row a group and food, by group, the best taken first."""
    asked = sa.select(FeedingResponse).order_by(FeedingResponse.seen_at_ms, FeedingResponse.id)
    found: dict[tuple[uuid.UUID, str], list[FeedingResponse]] = defaultdict(list)
    for one in session.scalars(asked).unique():
        if species is None or one.group.species_id == species.id:
            found[one.group_id, one.feed.handle].append(one)
    rows = [_row(seen) for seen in found.values()]
    return sorted(rows, key=lambda row: (row["called"], row["group"], -row["mean"], row["feed"]))


def _row(seen: list[FeedingResponse]) -> dict[str, Any]:
    scores = [one.response.si("score") for one in seen]
    last = seen[-1]
    return {
        "group": str(last.group_id),
        "called": last.group.called,
        "species": last.group.species.handle,
        "feed": last.feed.handle,
        "protein": None if last.feed.protein is None else last.feed.protein.as_json(),
        "count": len(scores),
        "mean": six(statistics.fmean(scores)),
        "lowest": min(scores),
        "highest": max(scores),
        "last": scores[-1],
        "last_at": instant_text(last.seen_at_ms),
    }
