"""Generated requests against every operation: no fault of the service, nothing undocumented.

In CI every phase runs on one plain resource of each shape (tanks: named; journal: with ids of the client's), on
what is no plain resource, and on three calculators, which one factory makes all alike: by themselves and from the
record. The rest of the factories' operations get their example and a few random calls. All phases on all of
them: `pytest -m slow tests/contract/test_schemathesis.py`.

Each operation starts from a fresh copy of the demo room, so that a failure shows again by itself; its own calls
follow each other in that copy. They are made up when its test runs: making them takes as long as sending them, and
each process of a run collects all tests, also those that it never runs.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from contract_document import operations
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from weirbook.app import Service, create_app
from weirbook.config import Config, sqlite_url
from weirbook.record.database import Database, files_beside
from weirbook.record.media.kinds import KINDS

CHECKS = (not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance)
THOROUGH = (
    "/v1/tanks",
    "/v1/journal",
    "/v1/readings",
    "/v1/latest",
    "/v1/summaries",
    "/v1/keys",
    "/v1/room",
    "/v1/systems/{handle}/nutrients",
    "/v1/water-changes",
    "/v1/attachments/{id}",
)
CALCULATORS = ("dose", "drain-capacity", "tank-volume")
"""One of each shape: choices and names; rows, which only a body can hold; a body that is one of several shapes."""
PATHS = re.compile(
    "|".join(
        (
            *(f"^{path}(?!.*/answers/)" for path in THOROUGH),
            "^/v1/calculators$",
            "^/v1/calculators/{handle}$",
            *(f"^/v1/calculators/{name}/answer$|/answers/{name}$" for name in CALCULATORS),
        )
    )
)
ALL = [f"{method} {path}" for method, path, _ in operations()]
CHOSEN = [one for one in ALL if PATHS.search(one.partition(" ")[2])]
OTHERS = [one for one in ALL if one not in CHOSEN]
QUIET = [
    HealthCheck.too_slow,
    HealthCheck.filter_too_much,
    HealthCheck.function_scoped_fixture,
    HealthCheck.data_too_large,
]


@schemathesis.serializer("application/x-ndjson", *KINDS)
def lines(context: Any, value: Any) -> bytes:
    """Text and bytes go as they are; whatever else stands in for them, as one line."""
    if isinstance(value, bytes):
        return value
    said = value if isinstance(value, str) else json.dumps(value, default=str)
    return said.encode("utf-8", "surrogatepass")


@pytest.fixture(scope="module")
def app() -> Service:
    """An application of its own: it gets a copy of the demo's database before any call."""
    return create_app(Config("sqlite://"))


@pytest.fixture(scope="module")
def schema(app: Service) -> Any:
    return schemathesis.openapi.from_wsgi("/openapi.json", app)


@pytest.fixture(scope="module")
def schema_without_coverage(app: Service) -> Any:
    found = schemathesis.openapi.from_wsgi("/openapi.json", app)
    found.config.phases.coverage.enabled = False
    return found


class Turn:
    """The operation whose test runs; a schema that comes from a fixture can't be told it otherwise."""

    label = ""


def is_on_turn(context: Any) -> bool:
    return bool(context.operation.label == Turn.label)


@pytest.fixture
def all_phases(request: pytest.FixtureRequest, schema: Any) -> Any:
    return _chosen(request, schema)


@pytest.fixture
def few_cases(request: pytest.FixtureRequest, schema_without_coverage: Any) -> Any:
    return _chosen(request, schema_without_coverage)


def _chosen(request: pytest.FixtureRequest, schema: Any) -> Any:
    Turn.label = request.param
    # Schemathesis looks for a test's id where newer releases of pytest don't keep it.
    request.node._nodeid = request.node.nodeid
    return schema


in_all_phases = schemathesis.pytest.from_fixture("all_phases").include(is_on_turn)
in_few_cases = schemathesis.pytest.from_fixture("few_cases").include(is_on_turn)


@pytest.fixture
def headers(
    app: Service, demo_template: tuple[Path, dict[str, str]], tmp_path: Path
) -> Iterator[dict[str, str]]:
    file, secrets = demo_template
    own = tmp_path / "demo.db"
    shutil.copy(file, own)
    shutil.copytree(files_beside(file), files_beside(own))
    app.database = Database(sqlite_url(own))
    yield {"Authorization": f"Bearer {secrets['keeper']}"}
    app.database.dispose()


def _call(case: Any, headers: dict[str, str]) -> None:
    assert case.operation.label == Turn.label
    case.call_and_validate(headers=headers, checks=list(CHECKS))


@pytest.mark.parametrize("all_phases", CHOSEN, indirect=True)
@in_all_phases.parametrize()
@settings(max_examples=8, deadline=None, derandomize=True, suppress_health_check=QUIET)
def test_no_generated_request_makes_the_service_fail(case: Any, headers: dict[str, str]) -> None:
    _call(case, headers)


@pytest.mark.parametrize("few_cases", OTHERS, indirect=True)
@in_few_cases.parametrize()
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
@pytest.mark.parametrize("all_phases", ALL, indirect=True)
@in_all_phases.parametrize()
@settings(max_examples=150, deadline=None, suppress_health_check=QUIET)
def test_no_generated_request_of_many_makes_the_service_fail(case: Any, headers: dict[str, str]) -> None:
    _call(case, headers)
