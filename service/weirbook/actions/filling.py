"""What a record filler hands over: facts by role, each a value with its origin or what is not recorded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from weirbook.engine.shape import Filled


@dataclass(frozen=True)
class Absent:
    """A fact that the record does not hold, and why; `at` what was said in the question that can't do without it."""

    why: str
    at: str | None = None


Facts = Mapping[str, Callable[[], Filled | Absent]]
