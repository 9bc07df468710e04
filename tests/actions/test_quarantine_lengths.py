"""The default length of a quarantine beside published ones (fixtures/published/quarantine_published.csv)."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from weirbook.actions.judge_fish import WINDOW_DAYS
from weirbook.actions.quarantine_clock import DEFAULT_DAYS

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published" / "quarantine_published.csv"
with PUBLISHED.open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['jurisdiction_or_body']}: {row['group']}")
def test_the_default_is_no_shorter_than_any_published_length(row: dict[str, str]) -> None:
    longest = float(row["days_max"] or row["days_min"])
    assert longest < DEFAULT_DAYS if row["stage"] == "exceeds" else longest <= DEFAULT_DAYS


def test_newcomers_are_watched_for_as_long_as_they_would_have_been_kept_apart() -> None:
    assert len(ROWS) == 12
    assert WINDOW_DAYS == DEFAULT_DAYS
