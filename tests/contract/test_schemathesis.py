"""Generated requests against every operation: no fault of the service, nothing undocumented.

In CI every phase runs on one plain resource of each shape (tanks: named; journal: with ids of the client's) and
on what is no plain resource; the rest of the factory's operations get their example and a few random calls. All
phases on all of them: `pytest -m slow tests/contract/test_schemathesis.py`.

Each operation starts from a fresh copy of the demo room, so that a failure shows again by itself; its own calls
follow each other in that copy.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from weirbook.app import create_app
from weirbook.config import Config, sqlite_url
from weirbook.record.database import Database

CHECKS = (not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance)
THOROUGH = (
    "/v1/tanks",
    "/v1/journal",
    "/v1/readings",
    "/v1/latest",
    "/v1/summaries",
    "/v1/calculators",
    "/v1/keys",
    "/v1/room",
)
PATHS = "|".join(f"^{path}" for path in THOROUGH) + "|/answers/"
QUIET = [
    HealthCheck.too_slow,
    HealthCheck.filter_too_much,
    HealthCheck.function_scoped_fixture,
    HealthCheck.data_too_large,
]


@schemathesis.serializer("application/x-ndjson")
def lines(context: Any, value: Any) -> bytes:
    """Text goes as it is; whatever else stands in for it, as one line."""
    said = value if isinstance(value, str) else json.dumps(value, default=str)
    return said.encode("utf-8", "surrogatepass")


APP = create_app(Config("sqlite://"))
"""Made at import, because the operations to test are read from it; it gets the demo's database before any call."""

schema = schemathesis.openapi.from_wsgi("/openapi.json", APP)
without_coverage = schemathesis.openapi.from_wsgi("/openapi.json", APP)
without_coverage.config.phases.coverage.enabled = False


@pytest.fixture
def headers(demo_template: tuple[Path, dict[str, str]], tmp_path: Path) -> Iterator[dict[str, str]]:
    file, secrets = demo_template
    own = tmp_path / "demo.db"
    shutil.copy(file, own)
    APP.database = Database(sqlite_url(own))
    yield {"Authorization": f"Bearer {secrets['keeper']}"}
    APP.database.dispose()


def _call(case: Any, headers: dict[str, str]) -> None:
    case.call_and_validate(headers=headers, checks=list(CHECKS))


@schema.include(path_regex=PATHS).parametrize()
@settings(max_examples=8, deadline=None, derandomize=True, suppress_health_check=QUIET)
def test_no_generated_request_makes_the_service_fail(case: Any, headers: dict[str, str]) -> None:
    _call(case, headers)


@without_coverage.exclude(path_regex=PATHS).parametrize()
@settings(
    max_examples=4,
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=QUIET,
)
def test_no_generated_request_makes_the_other_resources_fail(case: Any, headers: dict[str, str]) -> None:
    _call(case, headers)


@pytest.mark.slow
@schema.parametrize()
@settings(max_examples=150, deadline=None, suppress_health_check=QUIET)
def test_no_generated_request_of_many_makes_the_service_fail(case: Any, headers: dict[str, str]) -> None:
    _call(case, headers)
