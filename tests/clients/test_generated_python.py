"""A Python client generated from the document by openapi-python-client: nothing is left out, and it works."""

import enum
import importlib
import importlib.util
import inspect
import pkgutil
import re
import shutil
import sys
import uuid
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from json import dumps, loads
from typing import get_args

import attrs
import httpx
import pytest
from openapi_python_client import generate
from openapi_python_client.config import Config, ConfigFile, MetaType

from weirbook.config import sqlite_url
from weirbook.record.database import Database, files_beside
from weirbook.web.docs import document

PACKAGE = "generated_client"
DRAWINGS = {"image/svg+xml": "text/plain"}
"""Which the generator does not know: to it a drawing is text."""
FILES = dict.fromkeys(
    ("image/jpeg", "image/png", "image/webp", "application/pdf"), "application/octet-stream"
)
"""Likewise: to it any file is bytes."""
NO_TEXT_BODIES = [
    ("WARNING parsing POST /v1/readings within readings.", f"Unsupported content type {media}")
    for media in ("application/x-ndjson", "text/csv")
] + [
    (
        f"WARNING parsing POST /v1/imports/{kind} within imports. Endpoint will not be generated.",
        "Unsupported content type text/csv",
    )
    for kind in ("readings", "journal", "species", "stock-entries")
]
"""The generator knows no bodies of text, so its clients post readings as JSON only, and bring in no sheets."""


@dataclass(frozen=True)
class Operation:
    """An operation of the document, and the module that was generated for it."""

    method: str
    path: str
    said: dict

    @property
    def name(self):
        return self.said["operationId"]

    @property
    def module(self):
        return importlib.import_module(f"{PACKAGE}.api.{self.said['tags'][0].replace('-', '_')}.{self.name}")

    def __call__(self, client, body=None, **given):
        """The answer to a call; `given` are parameters by their names in the document, as JSON or text."""
        taken = inspect.signature(self.module.sync_detailed).parameters
        if body is not None:
            given = {**given, "body": body}
        typed = {}
        for name, value in given.items():
            spelt = name.lower().replace("-", "_")
            spelt = spelt if spelt in taken else f"{spelt}_"
            typed[spelt] = typed_as(taken[spelt].annotation, value)
        return self.module.sync_detailed(client=client, **typed)


def typed_as(annotation, value):
    """A JSON value, or a query's text, as the generated code wants it."""
    for one in get_args(annotation) or (annotation,):
        try:
            if hasattr(one, "from_dict"):
                made = one.from_dict(value)
            elif one in (datetime, date):
                made = one.fromisoformat(value)
            elif one is bool and isinstance(value, str):
                made = {"true": True, "false": False}[value]
            elif one in (str, int, float, bool, uuid.UUID) or issubclass(one, enum.Enum):
                made = one(value)
            else:
                continue
        except (KeyError, TypeError, ValueError, AttributeError):
            continue
        return made
    raise AssertionError(f"{value!r} fits nothing of {annotation}")


def plain(value):
    """JSON with its instants as such: the service writes them with Z, the client with +00:00."""
    if isinstance(value, dict):
        return {name: plain(one) for name, one in value.items()}
    if isinstance(value, list):
        return [plain(one) for one in value]
    if isinstance(value, str) and re.fullmatch(r"\d{4}-\d\d-\d\dT[\d:.]+(Z|[+-]\d\d:\d\d)", value):
        return datetime.fromisoformat(value)
    return value


def raw_objects(value):
    """Objects that were left as they came, because they fit no class, where the document describes them."""
    if isinstance(value, dict):
        return [value]
    if isinstance(value, list):
        return [found for one in value for found in raw_objects(one)]
    if not hasattr(value, "to_dict"):
        return []
    told = {one.name: getattr(value, one.name) for one in attrs.fields(type(value)) if one.type != "Any"}
    free = told.pop("additional_properties", {})
    return raw_objects([*told.values(), *(one for one in free.values() if hasattr(one, "to_dict"))])


def both_ways(answered):
    """What an answer came to in the generated classes, and what it was."""
    media = answered.headers["Content-Type"].partition(";")[0]
    if media == "application/json":
        return answered.parsed.to_dict(), loads(answered.content)
    if media in FILES:
        return answered.parsed.payload.read(), answered.content
    return answered.parsed, answered.content.decode()


@pytest.fixture(scope="module")
def described(application):
    with application.app_context():
        return document()


@pytest.fixture(scope="module")
def operations(described):
    return [
        Operation(method.upper(), path, said)
        for path, item in described["paths"].items()
        for method, said in item.items()
        if method != "parameters" and set(said.get("requestBody", {}).get("content", ())) != {"text/csv"}
    ]


@pytest.fixture(scope="module")
def warnings(described, tmp_path_factory):
    """Generates the client as a package that can be imported; what the generator had to say."""
    folder = tmp_path_factory.mktemp("generated")
    source = folder / "document.json"
    source.write_text(dumps(described), encoding="utf-8")
    # Without hooks: they would run other programs over what was generated.
    settings = Config.from_sources(
        ConfigFile(post_hooks=[], content_type_overrides=DRAWINGS | FILES),
        MetaType.NONE,
        source,
        "utf-8",
        False,
        folder / PACKAGE,
    )
    said = generate(config=settings)
    spec = importlib.util.spec_from_file_location(
        PACKAGE, folder / PACKAGE / "__init__.py", submodule_search_locations=[str(folder / PACKAGE)]
    )
    sys.modules[PACKAGE] = package = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(package)
    yield [(one.header, one.detail) for one in said]
    for name in [name for name in sys.modules if name.partition(".")[0] == PACKAGE]:
        del sys.modules[name]


@pytest.fixture(scope="module")
def package(warnings):
    return sys.modules[PACKAGE]


@pytest.fixture(scope="module")
def models(package):
    return importlib.import_module(f"{PACKAGE}.models")


@pytest.fixture(scope="module")
def service(serve):
    return serve().start()


@pytest.fixture(scope="module")
def client(package, service):
    return package.AuthenticatedClient(
        base_url=f"http://127.0.0.1:{service.port}",
        token=service.keeper_key,
        raise_on_unexpected_status=True,
    )


@pytest.fixture
def call(operations, client):
    """Calls an operation by its method and path over HTTP; the parsed answer, whose status must be as wanted."""
    known = {(one.method, one.path): one for one in operations}

    def make(method, path, body=None, *, status=200, **given):
        answered = known[method, path](client, body, **given)
        assert answered.status_code == status, answered.content
        return answered.parsed

    return make


def test_the_generator_understands_all_but_bodies_of_text(warnings):
    assert sorted(warnings) == sorted(NO_TEXT_BODIES)


def test_every_module_imports(package):
    found = [found.name for found in pkgutil.walk_packages(package.__path__, f"{PACKAGE}.")]
    for name in found:
        importlib.import_module(name)
    assert len(found) > 200


def test_every_operation_has_a_function_with_all_its_parameters(package, described, operations):
    api = importlib.import_module(f"{PACKAGE}.api")
    made = {one.name for one in pkgutil.walk_packages(api.__path__, f"{PACKAGE}.api.") if not one.ispkg}
    assert made == {one.module.__name__ for one in operations}
    assert len(made) == len(operations)
    for one in operations:
        taken = inspect.signature(one.module.sync_detailed).parameters
        both = [*one.said["parameters"], *described["paths"][one.path].get("parameters", [])]
        wanted = {(said["in"], said["name"]) for said in both}
        assert len(taken) == len(wanted) + ("requestBody" in one.said) + len(["client"]), one.name
        # Where one of several bodies may be sent, the generator wants none of them.
        if "requestBody" in one.said and FILES.keys().isdisjoint(one.said["requestBody"]["content"]):
            assert taken["body"].default is inspect.Parameter.empty, one.name


def test_every_object_of_the_components_has_a_class_with_all_its_properties(models, described):
    objects = {
        name: set(shape["properties"])
        for name, shape in described["components"]["schemas"].items()
        if "properties" in shape
    }
    assert len(objects) > 60
    for name, properties in objects.items():
        assert name in models.__all__, name
        slots = {one.rstrip("_") for one in inspect.signature(getattr(models, name)).parameters}
        assert slots == properties, name


def test_every_documented_example_goes_there_and_back(
    package, operations, demo_template, application, tmp_path, subtests
):
    """By value: bodies and answers are the same after the generated classes held them."""
    file, secrets = demo_template
    assert len(operations) > 80
    for one in operations:
        if set(one.said.get("requestBody", {}).get("content", ())) & set(FILES):
            continue  # the generator calls every file by the last of its types, whatever it is
        with subtests.test(one.name):
            own = tmp_path / f"{one.name}.db"
            shutil.copy(file, own)
            shutil.copytree(files_beside(file), files_beside(own))
            application.database = Database(sqlite_url(own))
            client = package.AuthenticatedClient(
                base_url="http://weirbook.test",
                token=secrets["keeper"],
                raise_on_unexpected_status=True,
                httpx_args={"transport": httpx.WSGITransport(application)},
            )
            example = one.said["x-example"]
            given = {**example["path"], **example["query"], **example["headers"]}

            answered = one(client, example.get("body"), **given)
            application.database.dispose()

            assert answered.status_code == example["status"], answered.content
            if "body" in example:
                taken = inspect.signature(one.module.sync_detailed).parameters["body"].annotation
                assert plain(typed_as(taken, example["body"]).to_dict()) == plain(example["body"])
            if answered.status_code != 204:
                held, shown = both_ways(answered)
                assert plain(held) == plain(shown)
                assert raw_objects(answered.parsed) == []


def test_a_system_and_a_tank_are_made_and_read_back(call, models):
    system = call("POST", "/v1/systems", {"name": "Brook"}, status=201)
    wanted = models.TankCreate(
        name="Brook show tank",
        system=system.handle,
        use=models.TankCreateUse("display"),
        footprint=models.TankCreateRectangle(
            shape=models.TankCreateRectangleShape.RECTANGLE,
            length="72 in",
            width=models.LengthQuantitySentType0(value=60, unit="cm"),
        ),
        water_depth="55 cm",
        rim_height="60 cm",
    )

    made = call("POST", "/v1/tanks", wanted.to_dict(), status=201)
    read = call("GET", "/v1/tanks/{handle}", handle=made.handle)

    assert read == made
    assert isinstance(read, models.Tank)
    assert (read.name, read.system, read.notes) == (wanted.name, system.handle, None)
    assert isinstance(read.footprint, models.TankRectangle)
    assert (read.footprint.length.value, read.footprint.length.unit) == (72, models.LengthQuantityUnit.IN)
    assert read.water_depth.to_dict() == {"value": 55, "unit": "cm"}
    assert isinstance(read.created_at, datetime)
    assert system == call("GET", "/v1/systems/{handle}", handle=system.handle)


def test_a_tank_is_edited_under_its_version_and_a_stale_edit_is_a_problem(call, models):
    edited = call("PATCH", "/v1/tanks/{handle}", {"notes": "Lid on."}, handle="nursery", **{"If-Match": "*"})
    assert edited.notes == "Lid on."

    refused = call(
        "PATCH", "/v1/tanks/{handle}", {"notes": "x"}, handle="nursery", status=412, **{"If-Match": '"999"'}
    )

    assert isinstance(refused, models.Problem)
    assert refused.type_ == "urn:weirbook:problem:stale"


def test_a_reading_is_posted_and_read_back(call, models):
    at = datetime.now(UTC).replace(microsecond=0) - timedelta(minutes=5)
    sent = models.ReadingSent(gauge="nursery-temperature", value=24.6, at=at)

    for expected in ((1, 0), (0, 1)):
        taken = call("POST", "/v1/readings", sent.to_dict())
        assert (taken.stored, taken.repeated) == expected
    span = {"from": (at - timedelta(minutes=1)).isoformat(), "to": at.isoformat()}
    empty = call("GET", "/v1/readings", gauge=sent.gauge, **span)
    span["to"] = (at + timedelta(minutes=1)).isoformat()
    found = call("GET", "/v1/readings", gauge=sent.gauge, **span)

    assert empty.items == []
    (read,) = found.items
    assert isinstance(read, models.Reading)
    assert (read.gauge, read.at, read.value, read.unit) == (sent.gauge, at, 24.6, "degC")
    assert (read.qualifier, read.implausible) == (None, False)


def test_an_occurrence_of_a_task_is_completed_and_read_back(call, models):
    now = datetime.now(UTC).replace(microsecond=0)
    call("POST", "/v1/helpers", {"name": "Ana"}, status=201)
    task = call(
        "POST",
        "/v1/tasks",
        {
            "title": "Net the leaves",
            "about": "tanks/nursery",
            "helper": "ana",
            "schedule": {
                "kind": "interval",
                "every": "P7D",
                "start": f"{now - timedelta(days=3):%Y-%m-%d}T10:00",
            },
            "effective_at": (now - timedelta(days=5)).isoformat(),
        },
        status=201,
    )
    listed = call("GET", "/v1/tasks/due")
    (open_one,) = [one for one in listed.items if str(one.task) == str(task.id)]
    done_at = now - timedelta(minutes=2)
    body = {
        "occurrence": open_one.occurrence,
        "done_at": done_at.isoformat(),
        "by": "ana",
        "note": "A handful.",
        "readings": [{"gauge": "nursery-temperature", "value": 24.4}],
    }

    made = call("POST", "/v1/tasks/{id}/completions", body, status=201, id=str(task.id))
    again = call("POST", "/v1/tasks/{id}/completions", body, id=str(task.id))
    read = call(
        "GET", "/v1/tasks/{id}/completions/{completion_id}", id=str(task.id), completion_id=str(made.id)
    )

    assert made == again == read
    assert (str(read.task), read.occurrence) == (str(task.id), open_one.occurrence)
    assert read.outcome == "done"
    assert (read.done_at, read.by, read.note) == (done_at, "ana", "A handful.")
    assert [(one.gauge, one.at) for one in read.readings] == [("nursery-temperature", done_at)]
    assert read.undone_at is None
    other = call("POST", "/v1/tasks/{id}/completions", {**body, "note": "Two."}, status=409, id=str(task.id))
    assert other.type_ == "urn:weirbook:problem:already-completed"
    assert other.completion.to_dict()["by"] == "ana"
