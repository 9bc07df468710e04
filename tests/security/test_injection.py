"""Injection (CWE-89, -93, -113, -1236): what is sent stays data, in SQL, in headers and in tables.

tests/web/test_lists.py: text that a spreadsheet would take for a formula is made harmless; test_bad_input.py: odd text.
Here: statements through every string of every operation, and line ends through everything that reaches a header.
"""

from __future__ import annotations

from typing import Any

import pytest
import sqlalchemy as sa
from contract_document import operations
from harness import Caller, on_both_engines

from weirbook.app import Service

STATEMENTS = (
    "'; DROP TABLE reading; --",
    "x' OR '1'='1",
    '" OR ""="',
    "1); DELETE FROM tank; --",
    "%s %(x)s ? :name $1 {0}",
    "\\'; SELECT pg_sleep(9); --",
)
ALL_AT_ONCE = "x'); DROP TABLE reading; -- \"); SELECT pg_sleep(9); -- \\' %s %(x)s ? :name $1 {0}"
"""Ends a text in either quotes, then does harm; and every way of writing a parameter."""


def counts(app: Service) -> dict[str, int]:
    """Rows in each table."""
    with app.database.read() as session:
        names = sa.inspect(session.connection()).get_table_names()
        return {
            name: session.scalar(sa.select(sa.func.count()).select_from(sa.table(name))) or 0
            for name in names
        }


def spoilt(body: Any, statement: str) -> list[Any]:
    """A body with each of its strings replaced by a statement in turn."""
    if not isinstance(body, dict):
        return [None]
    found: list[Any] = [{**body, statement: 1}]
    for name, value in body.items():
        if isinstance(value, str):
            found.append({**body, name: statement})
        elif isinstance(value, dict):
            found += [{**body, name: one} for one in spoilt(value, statement)]
    return found


@on_both_engines
@pytest.mark.parametrize(
    "statement", [ALL_AT_ONCE, *(pytest.param(one, marks=pytest.mark.slow) for one in STATEMENTS)]
)
def test_no_statement_runs_through_a_path_a_query_or_a_body(
    app: Service, furnished: Caller, statement: str
) -> None:
    before = counts(app)
    for method, path, said in operations():
        there = {name: statement.replace("/", "") for name in said["x-example"]["path"]}
        spoilt_path, plain_path = path, path
        for name, value in said["x-example"]["path"].items():
            plain_path = plain_path.replace(f"{{{name}}}", value)
            spoilt_path = spoilt_path.replace(
                f"{{{name}}}", there[name].replace("%", "%25").replace("?", "%3F")
            )
        example = said["x-example"].get("body")
        for one in spoilt(example, statement):
            answered = furnished(method, plain_path, one, If_Match=statement, Idempotency_Key=statement)
            assert answered.status_code < 500, (method, path, one)
        if there:
            answered = furnished(method, spoilt_path, example, If_Match="*")
            assert answered.status_code in (404, 422), (method, path)
        names = [one["name"] for one in said.get("parameters", ()) if one.get("in") == "query"]
        for name in names:
            sent = {**said["x-example"]["query"], name: statement}
            answered = furnished.client.open(
                plain_path,
                method=method,
                query_string=sent,
                headers={"Authorization": f"Bearer {furnished.secret}"},
            )
            assert answered.status_code < 500, (method, path, name)
    after = counts(app)
    assert set(after) == set(before)
    assert all(after[name] >= before[name] for name in before), "rows are gone"
    assert furnished.get("/v1/tanks/nursery").get_json().get("retired_at") is None


@on_both_engines
@pytest.mark.parametrize("statement", STATEMENTS)
def test_a_statement_is_kept_as_the_words_it_is(furnished: Caller, statement: str) -> None:
    made = furnished.post("/v1/journal", {"words": statement, "author": statement})
    assert made.status_code == 201
    assert furnished.get(made.headers["Location"]).get_json()["words"] == statement


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r", "\u2028", "\x85", "%0d%0a"])
def test_no_line_end_reaches_a_header(furnished: Caller, end: str) -> None:
    name = f"Tank{end}Set-Cookie: a=b{end}{end}<html>"
    for path, body in (
        ("/v1/systems", {"name": name}),
        ("/v1/systems", {"name": "X", "handle": name}),
        ("/v1/keys", {"name": name, "role": "viewer"}),
        ("/v1/helpers", {"name": name}),
    ):
        answered = furnished.post(path, body)
        assert answered.status_code in (201, 422)
        for header, value in answered.headers:
            assert header.lower() != "set-cookie"
            assert value.isprintable()
    for path in (f"/v1/tanks/x{end}y", f"/v1/tanks?x{end}=y", f"/docs/assets/x{end}y"):
        for header, value in furnished.get(path).headers:
            assert header.lower() != "set-cookie" and value.isprintable()
