"""API9:2023 Improper inventory management: every route is documented, or on a short list that says why not.

tests/contract/test_openapi_document.py holds the published document to what the service writes.
"""

from __future__ import annotations

import re

from contract_document import DOCUMENT, operations
from harness import Caller, MakeCaller

from weirbook.app import Service

UNDOCUMENTED = {
    "/openapi.json": "the document itself",
    "/docs": "its page",
    "/docs/start.js": "a part of the page",
    "/docs/assets/<path:name>": "parts of the page",
    "/healthz": "for whatever watches the process",
    "/readyz": "for whatever watches the process",
}
BY_THE_FRAMEWORK = {"HEAD", "OPTIONS"}


def routes(app: Service) -> set[tuple[str, str]]:
    return {
        (method, re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule))
        for rule in app.url_map.iter_rules()
        if rule.rule not in UNDOCUMENTED
        for method in (rule.methods or set()) - BY_THE_FRAMEWORK
    }


def test_what_is_served_is_what_is_documented(app: Service) -> None:
    assert routes(app) == {(method, path) for method, path, _ in operations()}


def test_what_is_not_documented_is_listed_with_its_reason(app: Service) -> None:
    served = {rule.rule for rule in app.url_map.iter_rules()}
    assert set(UNDOCUMENTED) <= served
    for rule in app.url_map.iter_rules():
        if rule.rule in UNDOCUMENTED:
            assert (rule.methods or set()) <= {"GET", *BY_THE_FRAMEWORK}


def test_there_is_one_version_and_nothing_deprecated_is_left() -> None:
    assert {path.split("/")[1] for path in DOCUMENT["paths"]} == {"v1"}
    assert not [said["operationId"] for _, _, said in operations() if said.get("deprecated")]


def test_what_is_not_documented_tells_nothing_of_the_room(caller: MakeCaller, furnished: Caller) -> None:
    nobody = caller(None)
    for path in UNDOCUMENTED:
        said = nobody.get(path.replace("<path:name>", "swagger-ui.css")).get_data(as_text=True)
        for word in ("Test greenhouse", "Europe/Lisbon", furnished.secret or "wb_"):
            assert word not in said, path


def test_no_usual_back_door_is_there(caller: MakeCaller, furnished: Caller) -> None:
    nobody = caller(None)
    for path in (
        "/console",
        "/debug",
        "/metrics",
        "/admin",
        "/static/x",
        "/.git/config",
        "/server-status",
        "/v0",
    ):
        assert nobody.get(path).status_code == 404
        assert furnished.get(path).status_code == 404
