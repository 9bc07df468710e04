"""Settings, read once from the environment and frozen."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_data_path

DEFAULT_PORT = 8077


@dataclass(frozen=True)
class Config:
    """Everything that differs between one installation and another."""

    database_url: str
    body_cap: int = 16 * 1024 * 1024
    batch_cap: int = 50_000
    csv_cap: int = 200_000
    answer_kept_ms: int = 24 * 3600 * 1000

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None) -> Config:
        """WEIRBOOK_DATABASE_URL, else an SQLite file in the user's data folder."""
        known = os.environ if environment is None else environment
        return cls(
            known.get("WEIRBOOK_DATABASE_URL") or sqlite_url(user_data_path("weirbook") / "weirbook.db")
        )


def sqlite_url(file: Path) -> str:
    return f"sqlite:///{file}"
