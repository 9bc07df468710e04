"""Attached files as tests meet them: sent, found on the disk, made old."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

from harness import Caller
from pictures import drawn, jpeg

from weirbook.record.files import Files

LISTED = "/v1/attachments"


def attach(caller: Caller, seed: int = 7, query: str = "", content: bytes | None = None) -> dict[str, Any]:
    """The record of a photo just sent; of the same seed it is the same photo."""
    sent = content if content is not None else jpeg(drawn(seed=seed))
    answered = caller("POST", f"{LISTED}{query}", sent, Content_Type="image/jpeg")
    assert answered.status_code == 201, answered.get_data(as_text=True)
    shown: dict[str, Any] = answered.get_json()
    return shown


def file_of(files: Files, row: dict[str, Any]) -> Path:
    """Where the file of a record stands; of several rooms the first that has it."""
    found = [file for file in files.root.rglob(f"{row['sha256']}.jpg") if "small" not in file.parts]
    assert found, row
    return found[0]


def standing(root: Path) -> list[str]:
    """Every file in its place under a folder, small pictures left out."""
    return sorted(file.name for file in root.rglob("*") if file.is_file() and "small" not in file.parts)


def make_old(files: Files) -> None:
    """Let all files be two hours old."""
    then = time.time() - 7200
    for file in files.root.rglob("*"):
        if file.is_file():
            os.utime(file, (then, then))
