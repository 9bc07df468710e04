"""House rules for the OpenAPI document, beyond what makes it valid.

    python openapi/lint.py openapi/weirbook.json

Prints one line a finding and ends with 1 if there is any. A rule is a function from the document to its
findings, listed in RULES.
"""

from __future__ import annotations

import json
import re
import sys
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from jsonschema import Draft202012Validator

METHODS = ("get", "put", "post", "delete", "patch", "head", "options", "trace")
PROBLEM = "application/problem+json"
SNAKE = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
SEGMENT = re.compile(r"[a-z0-9]+([-.][a-z0-9]+)*|\{[a-z_]+\}")
HEADER = re.compile(r"[A-Z][a-z0-9]*(-[A-Z][a-z0-9]*)*")
SUMMARY_CAP = 72

PLAIN = frozenset(
    {
        "created_at",
        "detail",
        "expires_at",
        "handle",
        "height",
        "id",
        "length",
        "name",
        "notes",
        "parameter",
        "power",
        "reason",
        "revoked_at",
        "role",
        "status",
        "sump",
        "system",
        "title",
        "updated_at",
        "version",
        "width",
        "words",
    }
)
"""Names of properties that need no words."""

Node = Mapping[str, Any]


class Finding(NamedTuple):
    where: str
    message: str


class Operation(NamedTuple):
    where: str
    method: str
    said: Node
    parameters: tuple[Node, ...]


def operations(document: Node) -> Iterator[Operation]:
    """Every operation, with its path's parameters, references followed."""
    for path, item in document["paths"].items():
        for method in METHODS:
            if method in item:
                said = item[method]
                both = [*item.get("parameters", ()), *said.get("parameters", ())]
                yield Operation(
                    f"{method.upper()} {path}", method, said, tuple(resolved(document, one) for one in both)
                )


def resolved(document: Node, node: Node) -> Node:
    """What a local reference points at; a node that is none, as it is."""
    while "$ref" in node:
        target: Any = document
        for part in node["$ref"].removeprefix("#/").split("/"):
            target = target[part]
        node = target
    return node


def nodes(node: Any, where: str) -> Iterator[tuple[str, Node]]:
    """Every object under a node, itself first, each with its place. Examples are data, so they are left out."""
    if isinstance(node, Mapping):
        yield where, node
        for name, child in node.items():
            if name not in ("example", "examples", "x-example", "default", "enum", "const"):
                yield from nodes(child, f"{where}/{name}")
    elif isinstance(node, list):
        for index, child in enumerate(node):
            yield from nodes(child, f"{where}/{index}")


def responses(document: Node, operation: Operation) -> Iterator[tuple[str, Node]]:
    for status, response in operation.said.get("responses", {}).items():
        yield str(status), resolved(document, response)


def is_json(media: str) -> bool:
    return media == "application/json" or media.endswith("+json")


def sent_schemas(document: Node) -> Iterator[tuple[str, Node]]:
    """Every object schema that a request's JSON body may hold, once, references followed."""
    seen: set[str] = set()

    def under(node: Any, where: str) -> Iterator[tuple[str, Node]]:
        for place, child in nodes(node, where):
            reference = child.get("$ref")
            if isinstance(reference, str) and reference not in seen:
                seen.add(reference)
                yield from under(resolved(document, child), reference)
            elif isinstance(child.get("properties"), Mapping):
                yield place, child

    for operation in operations(document):
        for media, content in operation.said.get("requestBody", {}).get("content", {}).items():
            if is_json(media):
                yield from under(content["schema"], operation.where)


def operations_have_a_name(document: Node) -> Iterator[Finding]:
    names = Counter(operation.said.get("operationId") for operation in operations(document))
    for operation in operations(document):
        name = operation.said.get("operationId")
        if name is None or not SNAKE.fullmatch(name):
            yield Finding(operation.where, f"operationId {name!r} must be snake_case")
        elif names[name] > 1:
            yield Finding(operation.where, f"operationId {name!r} is used {names[name]} times")


def operations_are_described(document: Node) -> Iterator[Finding]:
    known = {tag["name"] for tag in document.get("tags", ()) if tag.get("description")}
    for where, _, said, _ in operations(document):
        summary = said.get("summary", "")
        if not summary or len(summary) > SUMMARY_CAP or summary.endswith("."):
            yield Finding(where, f"wants a summary of up to {SUMMARY_CAP} characters without a full stop")
        if not said.get("description"):
            yield Finding(where, "wants a description")
        if not said.get("tags") or not known.issuperset(said["tags"]):
            yield Finding(where, "wants tags, each described in the document's list of tags")


def access_is_declared(document: Node) -> Iterator[Finding]:
    for where, _, said, _ in operations(document):
        if "security" not in said:
            yield Finding(where, "must say its security; [] if anyone may call it")
            continue
        for status in ("401", "403"):
            if bool(said["security"]) != (status in said.get("responses", {})):
                yield Finding(where, f"documents {status} if, and only if, a key is wanted")


def errors_are_problem_documents(document: Node) -> Iterator[Finding]:
    for operation in operations(document):
        for status, response in responses(document, operation):
            content = response.get("content", {})
            if status[0] in "45d" and (set(content) != {PROBLEM} or "schema" not in content[PROBLEM]):
                yield Finding(operation.where, f"answers {status} in another form than {PROBLEM}")


def successes_are_described(document: Node) -> Iterator[Finding]:
    for operation in operations(document):
        good = {status: response for status, response in responses(document, operation) if status[0] == "2"}
        if not good:
            yield Finding(operation.where, "documents no success")
        for status, response in good.items():
            content = response.get("content", {})
            if (status == "204") == bool(content):
                yield Finding(operation.where, f"{status} must {'not ' * (status == '204')}carry content")
            if not all("schema" in media for media in content.values()):
                yield Finding(operation.where, f"{status} wants a schema for each media type")


def operations_have_an_example(document: Node) -> Iterator[Finding]:
    for operation in operations(document):
        example = operation.said.get("x-example")
        if example is None or str(example.get("status")) not in operation.said.get("responses", {}):
            yield Finding(operation.where, "wants an x-example whose status is one of its responses")
        elif ("body" in example) != ("requestBody" in operation.said):
            yield Finding(operation.where, "its x-example has a body if, and only if, the request has one")


def examples_fit_their_schema(document: Node) -> Iterator[Finding]:
    def misfit(schema: Node, example: Any) -> str | None:
        whole = {"allOf": [schema], "components": document.get("components", {})}
        found = next(Draft202012Validator(whole).iter_errors(example), None)
        return None if found is None else found.message[:200]

    for where, node in nodes(document, "#"):
        if "example" in node:
            schema = node.get("schema", {name: value for name, value in node.items() if name != "example"})
            if trouble := misfit(schema, node["example"]):
                yield Finding(where, f"the example does not fit: {trouble}")
    for operation in operations(document):
        example = operation.said.get("x-example", {})
        content = operation.said.get("requestBody", {}).get("content", {})
        for media, shape in content.items():
            if not (is_json(media) and "body" in example):
                continue
            if trouble := misfit(shape["schema"], example["body"]):
                yield Finding(operation.where, f"the x-example's body does not fit {media}: {trouble}")


def parameters_are_described(document: Node) -> Iterator[Finding]:
    for where, _, _, parameters in operations(document):
        for parameter in parameters:
            name, place = parameter["name"], parameter["in"]
            if place != "path" and not parameter.get("description"):
                yield Finding(where, f"{place} parameter {name} wants a description")
            if not (HEADER if place == "header" else SNAKE).fullmatch(name):
                yield Finding(where, f"{place} parameter {name} is not spelt as such names are")


def properties_are_described(document: Node) -> Iterator[Finding]:
    """Of named components: a part without a name of its own is told by the words of the property it stands in."""
    for component, shape in document.get("components", {}).get("schemas", {}).items():
        for name, schema in shape.get("properties", {}).items():
            where = f"#/components/schemas/{component}"
            if not SNAKE.fullmatch(name):
                yield Finding(where, f"property {name} must be snake_case")
            if not (name in PLAIN or schema.get("description") or "$ref" in schema):
                yield Finding(where, f"property {name} wants a description")


def requests_are_closed(document: Node) -> Iterator[Finding]:
    for where, schema in sent_schemas(document):
        if "additionalProperties" not in schema and "unevaluatedProperties" not in schema:
            yield Finding(where, "must say whether other properties are taken (additionalProperties)")


def paths_are_plain(document: Node) -> Iterator[Finding]:
    for path in document["paths"]:
        segments = path.removeprefix("/").split("/")
        if segments[0] != "v1" or not all(SEGMENT.fullmatch(segment) for segment in segments):
            yield Finding(
                path, "a path is /v1 and lower-case words joined by hyphens, without a slash at its end"
            )


def edits_are_guarded(document: Node) -> Iterator[Finding]:
    for where, method, said, parameters in operations(document):
        taken = {parameter["name"] for parameter in parameters if parameter["in"] == "header"}
        guarded = {"412", "428"} <= set(said.get("responses", {}))
        if ("If-Match" in taken) != guarded or (method in ("patch", "delete") and not guarded):
            yield Finding(where, "If-Match, 412 and 428 go together; PATCH and DELETE have them")


def no_body_where_none_is_read(document: Node) -> Iterator[Finding]:
    for where, method, said, _ in operations(document):
        if (method in ("post", "put", "patch")) != ("requestBody" in said):
            yield Finding(where, "POST, PUT and PATCH have a body; others have none")


def components_are_used_and_named(document: Node) -> Iterator[Finding]:
    reached: set[str] = set()
    to_follow: list[Any] = [document["paths"]]
    while to_follow:
        for _, node in nodes(to_follow.pop(), "#"):
            reference = node.get("$ref")
            if isinstance(reference, str) and reference not in reached:
                reached.add(reference)
                to_follow.append(resolved(document, node))
    demanded = [need for operation in operations(document) for need in operation.said.get("security", ())]
    reached |= {f"#/components/securitySchemes/{name}" for need in demanded for name in need}
    for family, members in document.get("components", {}).items():
        for name in members:
            where = f"#/components/{family}/{name}"
            if where not in reached:
                yield Finding(where, "is not used")
            if name[-1].isdigit():
                yield Finding(where, "carries a number where a name of its own is wanted")


RULES = (
    operations_have_a_name,
    operations_are_described,
    operations_have_an_example,
    examples_fit_their_schema,
    access_is_declared,
    errors_are_problem_documents,
    successes_are_described,
    parameters_are_described,
    properties_are_described,
    requests_are_closed,
    paths_are_plain,
    edits_are_guarded,
    no_body_where_none_is_read,
    components_are_used_and_named,
)


def findings(document: Node) -> Iterator[Finding]:
    """What every rule finds in a valid OpenAPI 3.1 document."""
    for rule in RULES:
        yield from rule(document)


def main() -> int:
    document = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    found = list(findings(document))
    for where, message in found:
        print(f"{where}: {message}")
    print(f"{len(found)} findings by {len(RULES)} rules in {sum(1 for _ in operations(document))} operations")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
