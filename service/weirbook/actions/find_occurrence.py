"""The occurrence of a task that a caller names."""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from weirbook.actions.find_due import open_one
from weirbook.engine.schedules import (
    LastDone,
    Occurrence,
    Version,
    clock_name,
    interval_due,
    occurrences,
)
from weirbook.engine.times import local_ms
from weirbook.errors import Invalid
from weirbook.record.tasks import DAY_MS, Task, versions_of

NEAR_DAYS = 40
LISTED = 2


def find_occurrence(
    session: Session, task: Task, name: str, last: LastDone | None, where: ZoneInfo
) -> Occurrence:
    """The occurrence of that name, under the schedule of its time. Raises Invalid naming those near it."""
    present = open_one(task, where)
    if present is not None and present.name == name:
        return present
    versions = versions_of(session, [task.id])[task.id]
    found = _named(versions, last, name)
    if found is None:
        raise Invalid(
            f"'{name:.60}' is no occurrence of this task.{_those_near(versions, last, name, present)} "
            f"GET /v1/tasks/{task.id}/occurrences lists them.",
            "/occurrence",
        )
    return found


def _named(versions: Sequence[Version], last: LastDone | None, name: str) -> Occurrence | None:
    if clock_name(name) is None:
        due = interval_due(versions, last)
        return due if due is not None and due.name == name else None
    around = _around(versions, last, name, days=2)  # a zone may have been changed over it
    return next((one for one in around if one.name == name), None)


def _around(
    versions: Sequence[Version], last: LastDone | None, name: str, *, days: int
) -> Sequence[Occurrence]:
    local = clock_name(name)
    assert local is not None
    about = local_ms(local, versions[-1].zone)
    return list(occurrences(versions, about - days * DAY_MS, about + days * DAY_MS, last))


def _those_near(
    versions: Sequence[Version], last: LastDone | None, name: str, present: Occurrence | None
) -> str:
    if clock_name(name) is None:
        return "" if present is None else f" The one open is '{present.name}'."
    around = _around(versions, last, name, days=NEAR_DAYS)
    before = deque((one.name for one in around if one.name < name), LISTED)
    after = itertools.islice((one.name for one in around if one.name > name), LISTED)
    near = [*before, *after]
    return f" Near it are: {', '.join(near)}." if near else ""
