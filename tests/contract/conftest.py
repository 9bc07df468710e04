"""Copies of the small demo room."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from harness import Caller

from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.record.database import Database, files_beside


@dataclass
class DemoCopy:
    """One test's own copy of the demo room."""

    app: Service
    caller: Caller


@pytest.fixture
def demo_copy(
    demo_template: tuple[Path, dict[str, str]], application: Service, tmp_path: Path
) -> Callable[[], DemoCopy]:
    """Makes a fresh copy each time it is called."""
    file, secrets = demo_template
    made = iter(range(1000))

    def copy() -> DemoCopy:
        own = tmp_path / f"demo-{next(made)}.db"
        shutil.copy(file, own)
        shutil.copytree(files_beside(file), files_beside(own))
        application.database = Database(sqlite_url(own))
        return DemoCopy(application, Caller(application.test_client(), secrets["keeper"]))

    return copy
