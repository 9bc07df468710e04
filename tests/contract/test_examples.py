"""Every documented example is run against the demo room and answers as documented."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any
from urllib.parse import quote, urlencode

import pytest
from contract_document import operations, validator

TABLES = [one for one in operations() if "text/csv" in one[2]["responses"].get("200", {}).get("content", {})]


@pytest.mark.parametrize(
    ("method", "path", "said"), operations(), ids=lambda value: value if isinstance(value, str) else ""
)
def test_every_documented_example_answers_as_documented(
    demo_copy: Callable[[], Any], method: str, path: str, said: dict[str, Any]
) -> None:
    example = copy.deepcopy(said["x-example"])
    for name, value in example["path"].items():
        path = path.replace(f"{{{name}}}", quote(value))
    assert "{" not in path, "the example names every part of the path"
    address = path + (f"?{urlencode(example['query'])}" if example["query"] else "")
    call = demo_copy().caller

    answered = call(
        method,
        address,
        example.get("body"),
        **{k.replace("-", "_"): v for k, v in example["headers"].items()},
    )

    assert answered.status_code == example["status"], answered.get_data(as_text=True)
    documented = said["responses"][str(example["status"])]
    assert set(documented.get("headers", ())) <= set(answered.headers.keys())
    if answered.status_code == 204:
        assert answered.get_data() == b""
        return
    assert answered.mimetype in documented["content"]
    told = answered.get_json() if answered.is_json else answered.get_data().decode(errors="replace")
    validator(documented["content"][answered.mimetype]["schema"]).validate(told)


@pytest.mark.parametrize(
    ("method", "path", "said"), TABLES, ids=lambda value: value if isinstance(value, str) else ""
)
def test_every_operation_that_offers_csv_gives_it(
    demo_copy: Callable[[], Any], method: str, path: str, said: dict[str, Any]
) -> None:
    example = said["x-example"]
    for name, value in example["path"].items():
        path = path.replace(f"{{{name}}}", quote(value))

    answered = demo_copy().caller.get(f"{path}?{urlencode({**example['query'], 'format': 'csv'})}")

    assert answered.status_code == 200
    assert answered.content_type == "text/csv; charset=utf-8"
    assert answered.get_data().endswith(b"\r\n")
