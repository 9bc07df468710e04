"""Parameters by name: the built-in catalogue and what the keeper added to it."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.engine.parameters import PARAMETERS, Parameter
from weirbook.errors import Unknown
from weirbook.record.equipment import OwnParameter


def parameters(session: Session, names: Iterable[str]) -> Mapping[str, Parameter]:
    """Those of `names` that exist, built-in or the room's own, in one query at most."""
    wanted = set(names)
    found = {name: PARAMETERS[name] for name in wanted if name in PARAMETERS}
    if own := wanted - found.keys():
        asked = sa.select(OwnParameter).where(OwnParameter.handle.in_(own))
        found |= {row.handle: as_parameter(row) for row in session.scalars(asked)}
    return found


def parameter(session: Session, name: str) -> Parameter:
    """The parameter of that name. Raises Unknown naming those there are."""
    found = parameters(session, [name]).get(name)
    if found is None:
        raise Unknown(no_such_parameter(session, name))
    return found


def no_such_parameter(session: Session, name: str, besides: Iterable[str] = ()) -> str:
    """What to say of an unknown name: those there are, and what else is taken `besides` them."""
    own = session.scalars(sa.select(OwnParameter.handle).order_by(OwnParameter.handle)).all()
    names = list(dict.fromkeys([*PARAMETERS, *besides, *own]))
    return f"There is no parameter '{name:.60}'.{meant(name, names)} There are: {', '.join(names)}."


def meant(name: str, names: Iterable[str]) -> str:
    """Names much like one that nothing carries, as a question; nothing where there is none."""
    alike = difflib.get_close_matches(name[:60].lower(), list(names), n=2)
    return f" Did you mean {' or '.join(alike)}?" if alike else ""


def as_parameter(row: OwnParameter) -> Parameter:
    """A keeper's own parameter in the shape of the built-in ones."""
    low, high = row.possible_low, row.possible_high
    return Parameter(
        name=row.handle,
        words=row.name,
        kind=row.kind,
        units=tuple(row.units),
        possible_low=None if low is None else low.si(row.kind),
        possible_high=None if high is None else high.si(row.kind),
        join=row.join,  # type: ignore[arg-type]
        contact=row.kind == "contact",
    )
