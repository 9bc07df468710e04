"""/healthz and /readyz, for whatever watches over the process: no key, nothing of the room."""

from __future__ import annotations

from collections.abc import Callable

from flask import Blueprint, Response
from sqlalchemy.exc import DBAPIError

from weirbook.errors import StoreTrouble
from weirbook.record.database import Database, plainly
from weirbook.record.migrations import revision_of, revisions
from weirbook.web.operations import reply

PATHS = frozenset({"/healthz", "/readyz"})


def health_blueprint(database: Callable[[], Database]) -> Blueprint:
    """Whether the process lives, and whether it can do its work."""
    blp = Blueprint("health", "health")

    @blp.get("/healthz")
    def lives() -> Response:
        return reply({"status": "alive"})

    @blp.get("/readyz")
    def ready() -> Response:
        refuse_unready(database())
        return reply({"status": "ready"})

    return blp


def refuse_unready(database: Database) -> None:
    """Raise Busy or StoreTrouble where the database can't be reached, or isn't in this version's form."""
    wanted = revisions()[-1]
    try:
        with plainly():
            found = revision_of(database)
    except DBAPIError:
        raise StoreTrouble("The database answers, but not as one of ours. See the service's log.") from None
    if found != wanted:
        shown = "empty" if found is None else f"in form {found}"
        raise StoreTrouble(
            f"The database is {shown}; this version works with form {wanted}. Restart the service: it migrates first."
        )
