"""What a keeper calls a thing, by handle, path or name in any case, to what it is called in the record."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.errors import Invalid
from weirbook.record.base import Named
from weirbook.record.places import Place, RoomPlace, Tank, path_of

NAMED_AT_MOST, MEANT_NAMED = 8, 2
MEANT_AT_MOST = 200
"""Unknown names for which likely ones are sought, which takes time: after so many the file is of another room."""


class Names:
    """The things of one noun, or the room's places, by all that they are called."""

    def __init__(
        self,
        noun: str,
        known: Iterable[tuple[str, tuple[str, ...]]],
        retired: Iterable[tuple[str, tuple[str, ...]]] = (),
    ) -> None:
        """`known`: what each is called in the record, and its other names, its handle first, which goes before names.

        Those that are `retired` stand behind those in use.
        """
        self._noun = noun
        self._own: set[str] = set()
        self._handles: dict[str, list[str]] = {}
        self._called: dict[str, list[str]] = {}
        self._spoken: list[str] = []
        self._sought = 0
        for own, others in known:
            self._own.add(own)
            self._spoken.append(own)
            self._handles.setdefault(others[0] if others else own, []).append(own)
            for name in dict.fromkeys(_folded(one) for one in (own, *others)):
                self._called.setdefault(name, []).append(own)
        in_use = set(self._called)
        for own, others in retired:
            self._own.add(own)
            for name in {_folded(one) for one in (own, *others)} - in_use:
                self._called.setdefault(name, []).append(own)

    def find(self, text: str) -> str | None:
        """What the one thing that is called so is called in the record; None where there is none, or several."""
        found = self._found(text)
        return found[0] if len(found) == 1 else None

    def named(self, text: str) -> str:
        """What the thing is called in the record. Raises Invalid where nothing or more than one is called so."""
        found = self._found(text)
        if len(found) == 1:
            return found[0]
        if found:
            raise Invalid(
                f"'{text[:80]}' may be {' or '.join(found[:NAMED_AT_MOST])}: write which of them is meant."
            )
        raise Invalid(f"There is no {self._noun} '{text[:80]}'.{self._meant(text)}")

    def _found(self, text: str) -> list[str]:
        if text in self._own:
            return [text]
        return self._handles.get(text) or self._called.get(_folded(text), [])

    def _meant(self, text: str) -> str:
        self._sought += 1
        if self._sought > MEANT_AT_MOST:
            return ""
        alike = difflib.get_close_matches(_folded(text)[:60], list(self._called), n=2 * MEANT_NAMED)
        if alike:
            meant = list(dict.fromkeys(self._called[one][0] for one in alike))
            return f" Did you mean {' or '.join(meant[:MEANT_NAMED])}?"
        if not self._spoken:
            return " None is recorded yet."
        more = ", …" if len(self._spoken) > NAMED_AT_MOST else ""
        return f" There are: {', '.join(self._spoken[:NAMED_AT_MOST])}{more}."


def names_of(session: Session, model: type[Named], before: str = "") -> Names:
    """The things of a noun, by handle and name; `before` stands before the handle in the record."""
    asked = sa.select(model.handle, model.name, model.retired_at_ms).order_by(model.handle)
    rows = session.execute(asked).all()
    called = {True: [], False: []}  # type: dict[bool, list[tuple[str, tuple[str, ...]]]]
    for handle, name, retired_at_ms in rows:
        called[retired_at_ms is None].append((f"{before}{handle}", (handle, name)))
    return Names(model.NOUN, called[True], called[False])


def names_of_tanks(session: Session) -> Names:
    """The room's tanks by path, handle and name, each given as its path."""
    return names_of(session, Tank, f"{Tank.PLURAL}/")


def names_of_places(session: Session) -> Names:
    """The room's places: by path, by handle, by name."""
    asked = sa.select(Place.noun, Place.handle, Place.name, Place.retired_at_ms).order_by(Place.handle)
    known: list[tuple[str, tuple[str, ...]]] = []
    retired: list[tuple[str, tuple[str, ...]]] = []
    for noun, handle, name, retired_at_ms in session.execute(asked):
        path = path_of(noun, handle)
        others = () if path == RoomPlace.PLURAL else (handle, name)
        (known if retired_at_ms is None else retired).append((path, others))
    return Names("place", known, retired)


def _folded(text: str) -> str:
    return " ".join(text.replace("_", " ").split()).casefold()
