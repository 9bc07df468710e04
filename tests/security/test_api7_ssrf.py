"""API7:2023 Server side request forgery: there is none, because the service calls nobody.

No operation takes an address to fetch, and nothing in the service could fetch one: no module imports a client of any
protocol. It listens (waitress) and speaks to its database. Mail and commands are the work of openapi/clients/notify.py,
a program of its own that is configured on its host and reads no address from the service.
"""

from __future__ import annotations

import ast
import json
import socket
from pathlib import Path
from typing import Any

import pytest
from contract_document import operations
from harness import Caller

import weirbook

SOURCE = Path(weirbook.__file__).parent
CLIENTS = {
    "aiohttp",
    "asyncio",
    "ftplib",
    "http",
    "httpx",
    "imaplib",
    "nntplib",
    "poplib",
    "requests",
    "smtplib",
    "socketserver",
    "ssl",
    "subprocess",
    "telnetlib",
    "urllib3",
    "webbrowser",
    "xmlrpc",
}
MAY = {
    "cli.py": {"socket"},  # is the address to listen on this machine's own?
    "demo.py": {"socket", "urllib.parse"},  # a free port; words for an address that is printed
}


def imported(file: Path) -> set[str]:
    """Every module that a file imports, at its top or within."""
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


def reaches_out(module: str) -> bool:
    top = module.split(".")[0]
    return top in CLIENTS or top == "socket" or (top == "urllib" and not module.startswith("urllib.parse"))


@pytest.mark.parametrize("file", sorted(SOURCE.rglob("*.py")), ids=lambda file: str(file.relative_to(SOURCE)))
def test_no_module_can_call_out(file: Path) -> None:
    may = MAY.get(str(file.relative_to(SOURCE)), set())
    assert {one for one in imported(file) if reaches_out(one)} <= may
    text = file.read_text(encoding="utf-8")
    for word in ("urlopen", "create_connection(", "__import__", "exec(", "eval(", "os.system", "os.popen"):
        assert word not in text, word


def test_the_check_would_find_one(tmp_path: Path) -> None:
    file = tmp_path / "fetch.py"
    file.write_text("def fetch():\n    from urllib import request\n    import http.client\n")
    assert {one for one in imported(file) if reaches_out(one)} >= {"urllib.request", "http.client"}


def with_address(value: Any, address: str) -> Any:
    if isinstance(value, str):
        return address
    if isinstance(value, list):
        return [with_address(one, address) for one in value]
    if isinstance(value, dict):
        return {name: with_address(one, address) for name, one in value.items()}
    return value


@pytest.mark.parametrize("address", ["http://127.0.0.1:9/x", "//127.0.0.1:9/x", "file:///etc/passwd"])
def test_no_operation_connects_to_an_address_that_it_is_given(
    furnished: Caller, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    called: list[object] = []
    for name in ("connect", "connect_ex", "sendto"):
        monkeypatch.setattr(socket.socket, name, lambda *said: called.append(said))
    monkeypatch.setattr(socket, "getaddrinfo", lambda *said, **_: called.append(said))
    for method, path, said in operations():
        for name, value in said["x-example"]["path"].items():
            path = path.replace(f"{{{name}}}", value)
        body = said["x-example"].get("body")
        bodies = [with_address(body, address)]
        if isinstance(body, dict):
            bodies += [
                {**body, name: address} for name in (*body, "callback", "url", "webhook") if name != "role"
            ]
        for one in bodies:
            answered = furnished(method, path, one, If_Match="*", Referer=address, Origin=address)
            assert answered.status_code < 500, (method, path, json.dumps(one))
            assert "root:" not in answered.get_data(as_text=True)
    assert called == []
