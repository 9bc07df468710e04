"""Whatever is recorded in words is found by them: once made, once edited, never once deleted. Held over all resources."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest
import sqlalchemy as sa

from weirbook.record import search
from weirbook.record.base import Base, Edited
from weirbook.record.columns import Parts, QuantityText
from weirbook.web.api import RESOURCES
from weirbook.web.fields import Words
from weirbook.web.resource import Resource

FIRST, SECOND = "Zaunkoenigin", "Sumpfdotterblume"
"""Words that stand in no example and in nothing of the demo."""
NOT_SOUGHT = {
    "access_key": "who holds keys is the keeper's business alone",
    "correction": "its one text is a key's name",
}
"""Tables of records with texts that search passes over, and why."""
ONLY_OF_SOME = {("planting event", "spot"): "of moves alone, and its example is a harvest"}
LONG = 60
"""From how many characters on a text is written by people; shorter ones are units, choices and handles."""


def sought_fields(resource: Resource) -> list[str]:
    """The fields of a resource that callers write and search looks through."""
    found = []
    for name, one in resource.schema().fields.items():
        column = one.attribute or name
        written = column in resource.model.SOUGHT and isinstance(one, Words) and not one.dump_only
        if written and (resource.noun, name) not in ONLY_OF_SOME:
            found.append(name)
    return found


WRITTEN = [
    one
    for one in RESOURCES
    if one.model.SOUGHT and {"create", "patch", "delete"} <= set(one.verbs) and sought_fields(one)
]
each = pytest.mark.parametrize("resource", WRITTEN, ids=lambda one: one.noun)


def hits(call: Any, resource: Resource, word: str) -> list[dict[str, Any]]:
    """What is found of that kind; a planting also gives its words to the tasks that it makes."""
    answered = call.get(f"/v1/search?q={word}&noun={resource.noun}&limit=100")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    items: list[dict[str, Any]] = answered.get_json()["items"]
    return items


@each
def test_a_record_is_found_by_each_of_its_texts_until_it_is_deleted(
    demo_copy: Callable[[], Any], resource: Resource
) -> None:
    call = demo_copy().caller
    names = sought_fields(resource)
    assert hits(call, resource, FIRST) == []
    words = {name: f"{FIRST}{number}" for number, name in enumerate(names)}
    sent = copy.deepcopy(dict(resource.example)) | words
    answered = call.post(f"/v1/{resource.plural}", sent)
    assert answered.status_code == 201, answered.get_data(as_text=True)
    shown = answered.get_json()
    for word in words.values():
        (one,) = hits(call, resource, word)
        assert one["noun"] == resource.noun
        assert f"«{word}»" in one["snippet"]
        assert call.get(one["path"]).get_json()[names[0]] == shown[names[0]]
    path = one["path"]

    edited = [name for name in names if name not in resource.model.FIXED]
    patch = {name: f"{SECOND}{number}" for number, name in enumerate(edited)}
    answered = call.patch(path, patch)
    assert answered.status_code == 200, answered.get_data(as_text=True)
    assert (hits(call, resource, FIRST) == []) == (edited == names)
    for word in patch.values():
        assert [one["path"] for one in hits(call, resource, word)] == [path]

    if "retired_at" in resource.schema().fields:
        assert call.patch(path, {"retired_at": "2026-01-01T00:00:00Z"}).status_code == 200
        assert [one["past"] for one in hits(call, resource, SECOND)] == [True]
    assert call.delete(path).status_code == 204
    assert hits(call, resource, SECOND) == []


def test_every_table_with_texts_of_people_is_searched_or_known_not_to_be() -> None:
    for mapper in Base.registry.mappers:
        model = mapper.class_
        if not issubclass(model, Edited) or mapper.local_table.name in NOT_SOUGHT:  # type: ignore[attr-defined]
            continue
        written = [
            one.key
            for one in mapper.column_attrs
            if isinstance(kind := one.columns[0].type, sa.String)
            and not isinstance(kind, (QuantityText, Parts))
            and (kind.length is None or kind.length > LONG)
        ]
        if written and model.TOLD:
            assert model.SOUGHT, f"{model.__name__} has {', '.join(written)}"


def test_what_is_sought_is_there_and_nouns_are_told_apart() -> None:
    found = search.sought_models()
    assert len(found) > 15
    for noun, model in found.items():
        columns = {one.key for one in sa.inspect(model).column_attrs}
        assert {*model.SOUGHT, *model.CHOSEN, model.DATED_BY} <= columns, noun
        assert model.PLACED_BY is None or model.PLACED_BY in columns, noun
        assert model.NOUN == noun
        assert len(noun) <= 30
        assert search._known_by(model)
        if model.PLACED_BY:
            search._pointed_at(model)
    told = [mapper.class_ for mapper in Base.registry.mappers if issubclass(mapper.class_, Edited)]
    assert len(found) == len([one for one in told if one.SOUGHT and one.__name__ != "Place"])


def test_nothing_that_is_searched_goes_with_another_record_unseen() -> None:
    """What the database deletes by itself, the session never tells search of."""
    for model in search.sought_models().values():
        for key in model.__table__.foreign_key_constraints:
            own_part = key.referred_table.name == "place" and model.__table__.name != "place"
            assert key.ondelete != "CASCADE" or (own_part and key.column_keys[-1] == "id"), model.__name__
