"""The committed OpenAPI document, operation by operation."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

DOCUMENT: dict[str, Any] = json.loads(
    (Path(__file__).parents[1] / "openapi" / "weirbook.json").read_text(encoding="utf-8")
)


def operations() -> list[tuple[str, str, dict[str, Any]]]:
    """Method, path and declaration of each operation."""
    return [
        (method.upper(), path, said)
        for path, item in DOCUMENT["paths"].items()
        for method, said in item.items()
        if method != "parameters"
    ]
