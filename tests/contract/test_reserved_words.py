"""No record can be given a handle that a path already means something else by."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from contract_document import DOCUMENT
from harness import Caller

from weirbook.engine.parameters import PARAMETERS
from weirbook.record.base import HANDLE, RESERVED_HANDLES

OF_THE_PROGRAM = {"calculators"}
"""Nouns whose names are the program's own: no keeper makes one."""


def words_where_a_handle_may_stand(paths: Iterable[str]) -> set[str]:
    """Literal segments at a place where another path has a handle."""
    split = [path.strip("/").split("/") for path in paths]
    open_places = {
        tuple(parts[:index]) for parts in split for index, part in enumerate(parts) if part.startswith("{")
    }
    return {
        part
        for parts in split
        for index, part in enumerate(parts)
        if HANDLE.fullmatch(part)
        and tuple(parts[:index]) in open_places
        and OF_THE_PROGRAM.isdisjoint(parts[:index])
    }


def test_every_word_of_a_path_that_could_be_a_handle_is_reserved() -> None:
    assert words_where_a_handle_may_stand(DOCUMENT["paths"]) <= RESERVED_HANDLES


def test_a_word_beside_a_handle_would_be_found() -> None:
    paths = [
        "/v1/tasks",
        "/v1/tasks/{id}",
        "/v1/tasks/due",
        "/v1/tasks/{id}/done",
        "/v1/calculators/{handle}",
    ]
    assert words_where_a_handle_may_stand([*paths, "/v1/calculators/turnover/answer"]) == {"due"}


def test_a_reserved_word_could_be_a_handle_or_it_need_not_be_reserved() -> None:
    assert all(HANDLE.fullmatch(word) for word in RESERVED_HANDLES)


@pytest.mark.parametrize("word", sorted(RESERVED_HANDLES))
def test_a_reserved_word_is_refused_as_a_handle_and_stepped_over_as_a_name(keeper: Caller, word: str) -> None:
    chosen = keeper.post("/v1/systems", {"name": "Rill", "handle": word})
    made = keeper.post("/v1/systems", {"name": word.title()})

    assert chosen.status_code == 409
    assert chosen.get_json()["type"] == "urn:weirbook:problem:handle-taken"
    assert chosen.get_json()["errors"][0]["pointer"] == "/handle"
    assert (made.status_code, made.get_json()["handle"]) == (201, f"{word}-2")


@pytest.mark.parametrize("name", ["temperature", "ph"])
def test_a_parameter_of_the_keepers_own_never_hides_a_built_in_one(keeper: Caller, name: str) -> None:
    assert name in PARAMETERS

    told = {"kind": "score", "join": "plain"}
    chosen = keeper.post("/v1/parameters", {"name": "Mine", "handle": name, **told})
    made = keeper.post("/v1/parameters", {"name": name, **told})

    for refused in (chosen, made):
        assert refused.status_code == 409
        assert refused.get_json()["type"] == "urn:weirbook:problem:handle-taken"
