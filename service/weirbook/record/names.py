"""Handles, numbers and paths: from what a caller writes to the row it means."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterable
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.errors import Conflict, Unknown
from weirbook.record.access import AccessKey
from weirbook.record.alerts import Alert
from weirbook.record.attachments import Attachment
from weirbook.record.base import RESERVED_HANDLES, Happening, Named
from weirbook.record.doses import Dose, Product
from weirbook.record.equipment import Gauge, OwnParameter, Pump
from weirbook.record.feeds import Feed, Feeding, Ration
from weirbook.record.fish import FeedingResponse, Group, GroupSample, Species, StockEntry
from weirbook.record.journal import JournalEntry
from weirbook.record.places import PLACES, Place, RoomPlace, Section, Sump, System, Tank
from weirbook.record.plants import Planting, PlantingEvent, PlantKind
from weirbook.record.quarantines import Quarantine, Transfer
from weirbook.record.readings import Correction, Exclusion
from weirbook.record.targets import Target
from weirbook.record.tasks import Completion, Helper, Task
from weirbook.record.trials import Trial
from weirbook.record.waters import Preparation, SourceWater, StandingExchange, WaterChange, WaterReport

NAMED: dict[str, type[Named]] = {
    model.NOUN: model
    for model in (
        System,
        Tank,
        Sump,
        Section,
        Pump,
        Gauge,
        OwnParameter,
        Helper,
        AccessKey,
        Feed,
        Product,
        SourceWater,
        Species,
        PlantKind,
    )
}
HAPPENINGS = (
    JournalEntry,
    Attachment,
    Target,
    Exclusion,
    Correction,
    Task,
    Completion,
    Alert,
    Ration,
    Feeding,
    WaterReport,
    Preparation,
    StandingExchange,
    WaterChange,
    Dose,
    Group,
    StockEntry,
    GroupSample,
    FeedingResponse,
    Quarantine,
    Transfer,
    Planting,
    PlantingEvent,
    Trial,
)
HAPPENED: dict[str, type[Happening]] = {model.NOUN: model for model in HAPPENINGS}
LISTED_NAMES = 20
UUID_TEXT = re.compile(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}", re.ASCII)

N = TypeVar("N", bound=Named)


def find(session: Session, model: type[N], handle: str, *, for_edit: bool = False) -> N:
    """The row with that handle. Raises Unknown naming the handles there are."""
    asked = sa.select(model).where(model.handle == handle)
    row = session.scalars(asked.with_for_update(of=model) if for_edit else asked).one_or_none()
    if row is None:
        raise Unknown(f"There is no {model.NOUN} '{handle}'. {_those_there_are(session, model)}")
    return row


def find_happening(session: Session, noun: str, written: str) -> Happening:
    """The happening of a noun with that id. Raises Unknown."""
    model: Any = HAPPENED[noun]
    row = None
    if UUID_TEXT.fullmatch(written):
        row = session.scalars(sa.select(model).where(model.id == uuid.UUID(written))).one_or_none()
    if row is None:
        raise Unknown(f"There is no {noun} with the id {written:.60}. Ids stand in GET /v1/{model.PLURAL}.")
    found: Happening = row
    return found


def find_named(session: Session, noun: str, written: str) -> Any:
    """What a record or a body names: a place by its path, a named thing by its handle, a happening by its id.

    Raises Unknown.
    """
    if noun == "place":
        return find_place(session, written)
    if noun in HAPPENED:
        return find_happening(session, noun, written)
    return find(session, NAMED[noun], written)


def written_of(row: Any, noun: str) -> str:
    """How a record names another: by path, handle or id."""
    if noun == "place":
        return str(row.path)
    return str(row.id) if noun in HAPPENED else str(row.handle)


def find_place(session: Session, path: str) -> Place:
    """The place written as a path: "room", "systems/rill", "tanks/nursery", "sumps/…" or "sections/…"."""
    plural, _, handle = path.partition("/")
    if path == RoomPlace.PLURAL:
        return session.scalars(sa.select(RoomPlace)).one()
    for model in PLACES:
        if model.PLURAL == plural and handle:
            return find(session, model, handle)
    raise Unknown(
        f"'{path}' is not a place. Write room, or " + ", ".join(f"{m.PLURAL}/HANDLE" for m in PLACES) + "."
    )


def _those_there_are(session: Session, model: type[Named]) -> str:
    handles = session.scalars(
        sa.select(model.handle)
        .where(model.retired_at_ms.is_(None))
        .order_by(model.handle)
        .limit(LISTED_NAMES)
    ).all()
    if not handles:
        return f"None is recorded yet: make one with POST /v1/{model.PLURAL}."
    return f"There are: {', '.join(handles)}."


def free_handle(session: Session, model: type[Named], stems: Iterable[str]) -> str:
    """The first handle of `stems` that nothing of this noun has or had."""
    for handle in stems:
        if handle not in RESERVED_HANDLES and not _taken(session, model, handle):
            return handle
    raise AssertionError("stems are endless")


def claim_handle(session: Session, model: type[Named], handle: str) -> str:
    """The handle the keeper chose, if it is free. Raises Conflict."""
    if handle in RESERVED_HANDLES:
        raise Conflict(
            f"'{handle}' is a word that paths use. Choose another handle.", "/handle", slug="handle-taken"
        )
    if _taken(session, model, handle):
        raise Conflict(
            f"There is or was a {model.NOUN} '{handle}' already. Handles are never used again: choose another.",
            "/handle",
            slug="handle-taken",
        )
    return handle


def _taken(session: Session, model: type[Named], handle: str) -> bool:
    return session.scalar(sa.select(model.id).where(model.handle == handle)) is not None


def mentioned(one: Any, key: str) -> str:
    """What a row of such a field names: the value of its key, or the row itself where there is none."""
    return str(one[key] if key else one)
