"""The documentation page works without a key and with the network cable out."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urljoin, urlsplit

import pytest
from harness import Caller, MakeCaller


@pytest.fixture
def nobody(caller: MakeCaller) -> Caller:
    return caller(None)


class Links(HTMLParser):
    """Every address in a page, and whether it holds a script of its own."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.loaded: list[str] = []
        self.inline = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        here = [value for name in ("src", "href") if (value := said.get(name))]
        self.found += here
        if tag in ("script", "link", "img", "iframe"):
            self.loaded += here
        self.inline |= (tag == "script" and "src" not in said) or any(name.startswith("on") for name in said)


def links(page: str) -> Links:
    parser = Links()
    parser.feed(page)
    return parser


def test_the_page_loads_nothing_from_elsewhere(nobody: Caller) -> None:
    answered = nobody.get("/docs")
    assert (answered.status_code, answered.mimetype) == (200, "text/html")
    page = links(answered.get_data(as_text=True))
    assert len(page.loaded) >= 3
    for address in page.found:
        parts = urlsplit(address)
        assert parts.netloc == "" and parts.scheme in ("", "data"), address
        assert not address.startswith("//"), address


def test_every_part_of_the_page_is_served_here_without_a_key(nobody: Caller) -> None:
    for address in links(nobody.get("/docs").get_data(as_text=True)).found:
        if address.startswith("data:"):
            continue
        part = nobody.get(urljoin("/docs", address))
        assert part.status_code == 200, address
        assert len(part.get_data()) > 100
    start = nobody.get("/docs/start.js").get_data(as_text=True)
    assert not re.search(r"https?:|//[a-z]", start)
    assert re.search(r"validatorUrl:\s*null", start)


def test_a_policy_forbids_everything_from_elsewhere(nobody: Caller) -> None:
    answered = nobody.get("/docs")
    rules = dict(
        rule.strip().split(" ", 1)
        for rule in answered.headers["Content-Security-Policy"].split(";")
        if rule.strip()
    )
    assert rules["default-src"] == "'none'"
    assert rules["script-src"] == "'self'"
    assert rules["connect-src"] == "'self'"
    assert not re.search(r"https?:|\*|unsafe-eval", answered.headers["Content-Security-Policy"])
    assert not links(answered.get_data(as_text=True)).inline


def test_styles_fetch_no_fonts_or_images(nobody: Caller) -> None:
    style = nobody.get("/docs/assets/swagger-ui.css").get_data(as_text=True)
    for address in re.findall(r"url\(([^)]*)\)|@import\s+(\S+)", style):
        told = (address[0] or address[1]).strip("'\" ")
        assert told.startswith(("data:", "#")), told[:80]


def test_a_slash_at_the_end_leads_to_the_page(nobody: Caller) -> None:
    """Its parts are named relative to /docs, so that it also works behind a proxy's prefix."""
    answered = nobody.get("/docs/")
    assert answered.status_code == 308
    assert urlsplit(urljoin("http://localhost/docs/", answered.headers["Location"])).path == "/docs"


@pytest.mark.parametrize(
    "name", ["nothing.js", "../__init__.py", "..%2f__init__.py", "%2e%2e/__init__.py", "etc/passwd"]
)
def test_nothing_else_is_served_as_a_part_of_the_page(nobody: Caller, name: str) -> None:
    answered = nobody.get(f"/docs/assets/{name}")
    assert answered.status_code == 404
    assert answered.mimetype == "application/problem+json"


def references(node: Any) -> list[str]:
    if isinstance(node, dict):
        own = [node["$ref"]] if isinstance(node.get("$ref"), str) else []
        return own + [one for value in node.values() for one in references(value)]
    if isinstance(node, list):
        return [one for value in node for one in references(value)]
    return []


def test_the_document_is_whole_in_itself(nobody: Caller) -> None:
    document = nobody.get("/openapi.json").get_json()
    assert document["openapi"].startswith("3.1")
    found = references(document)
    assert found
    assert {one.split("/")[0] for one in found} == {"#"}


def test_the_document_tells_nothing_of_the_room(nobody: Caller, furnished: Caller) -> None:
    furnished.patch("/v1/room", {"notes": "A cellar in the old mill."})
    assert "old mill" not in nobody.get("/openapi.json").get_data(as_text=True)
