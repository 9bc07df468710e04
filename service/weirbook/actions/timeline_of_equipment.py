"""Timeline: tanks that came and went, pumps that were stopped, uses that changed, targets, and edits of equipment."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from weirbook.actions.told import Look, Told, parameter_name, plain, sentence
from weirbook.engine.inputs import bare
from weirbook.engine.times import instant_ms
from weirbook.record.base import ALWAYS_MS
from weirbook.record.changes import CHANGED, DELETED, MADE, Change
from weirbook.record.database import fetch
from weirbook.record.equipment import PumpRunning
from weirbook.record.places import SectionUse
from weirbook.record.targets import Target

EDITED = ("system", "tank", "sump", "section", "pump", "gauge", "heater", "light", "target", "task")
"""Records whose edits are news of their own; happenings stand in the timeline at their own time."""
TOLD_ELSEWHERE: Mapping[str, frozenset[str]] = {
    "tank": frozenset({"system"}),
    "pump": frozenset({"running"}),
    "section": frozenset({"use"}),
}
"""Fields with a past of their own: `states` tells them at the instant from which they held."""
SHOWN_FIELDS = 4
SHORT = 60
INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")
"""As the log of changes keeps an instant."""


def tanks_moved(look: Look) -> Iterator[Told]:
    """Tanks that came into the system or left it."""
    rows = fetch(
        look.session,
        "SELECT subject_id, system_id, from_ms, to_ms FROM tank_system WHERE room_id = ? ORDER BY subject_id, from_ms",
        (look.room_id,),
    )
    before: dict[int, int] = {}
    for tank, system, from_ms, _ in rows:
        earlier = before.get(tank)
        before[tank] = system
        if earlier is None or earlier == system or from_ms == ALWAYS_MS or not look.inside(from_ms):
            continue
        if look.system.id in (earlier, system):
            came = system == look.system.id
            words = (
                f"{look.paths[tank]} came over from {look.paths[earlier]}, water and all that lives in it"
                if came
                else f"{look.paths[tank]} went over to {look.paths[system]}"
            )
            yield Told(
                from_ms,
                "plumbing",
                look.paths[tank],
                sentence(words),
                f"/v1/{look.paths[tank]}",
                "tank",
                about=f"{tank} {'came' if came else 'went'}",
                facts={"step": "came" if came else "went", "from": look.paths[earlier]},
            )


def pumps_switched(look: Look) -> Iterator[Told]:
    """Pumps that were stopped or started."""
    pumps = pumps_of(look)
    for pump_id, value, at_ms in _spans(look, PumpRunning):
        if pump_id in pumps and any(look.belongs.held(place, at_ms) for place in pumps[pump_id][1]):
            handle, places = pumps[pump_id]
            words = f"{handle} {'was started' if value else 'was stopped'}"
            yield Told(
                at_ms,
                "plumbing",
                look.paths[places[0]],
                sentence(words),
                f"/v1/pumps/{handle}",
                "pump",
                about=handle,
                facts={"step": "started" if value else "stopped"},
            )


def uses_changed(look: Look) -> Iterator[Told]:
    """Sections put to another use."""
    for section_id, value, at_ms in _spans(look, SectionUse):
        if look.belongs.held(section_id, at_ms):
            yield Told(
                at_ms,
                "plumbing",
                look.paths[section_id],
                sentence(f"{look.paths[section_id]} is used for {value} from here on"),
                f"/v1/{look.paths[section_id]}",
                "section",
                about=look.paths[section_id],
                facts={"step": "use"},
            )


def _spans(look: Look, span: Any) -> Sequence[Any]:
    """What began to hold within the look; what held from the beginning is no news."""
    column = span.__table__.c
    asked = sa.select(span.subject_id, span.value, span.from_ms).where(
        column.room_id == look.room_id,
        column.from_ms >= look.start_ms,
        column.from_ms < look.end_ms,
        column.from_ms != ALWAYS_MS,
    )
    return look.session.execute(asked).all()


def pumps_of(look: Look) -> Mapping[int, tuple[str, Sequence[int]]]:
    """The pumps that draw from or deliver to places that ever were the system's: handle, and those places."""
    rows = fetch(
        look.session,
        "SELECT id, handle, to_tank_id, to_sump_id, from_section_id, from_tank_id FROM pump WHERE room_id = ?",
        (look.room_id,),
    )
    found = {}
    for number, handle, *ends in rows:
        places = [place for place in ends if place is not None and place in look.belongs.spans]
        if places:
            found[number] = (handle, places)
    return found


def targets(look: Look) -> Iterator[Told]:
    """Targets at the instant from which they hold."""
    column = Target.__table__.c
    asked = sa.select(
        column.id,
        column.place_id,
        column.parameter,
        column.low,
        column.high,
        column.valid_from_ms,
        column.notes,
    ).where(
        column.room_id == look.room_id,
        column.place_id.in_(look.places),
        column.valid_from_ms >= look.start_ms,
        column.valid_from_ms < look.end_ms,
    )
    for number, place_id, parameter, low, high, at_ms, notes in look.session.execute(asked):
        if look.belongs.held(place_id, at_ms):
            ends = [f"{word} {bare(one)}" for word, one in (("from", low), ("to", high)) if one is not None]
            said = f"target for {parameter_name(parameter)}"
            yield Told(
                at_ms,
                "target",
                look.paths[place_id],
                sentence(
                    f"From here on a {said}: {' '.join(ends)}" if ends else f"The {said} was ended", notes
                ),
                f"/v1/targets/{number}",
                "target",
                about=f"{place_id} {parameter}",
            )


def edits(look: Look) -> Iterator[Told]:
    """Edits of tanks, sections, pumps, gauges, targets and tasks, from the log of changes, at the time of the edit."""
    column = Change.__table__.c
    names = ("at_ms", "number", "what", "noun", "subject", "place", "who", "origin", "words", "fields")
    asked = (
        sa.select(*(column[name] for name in names))
        .where(
            column.room_id == look.room_id,
            column.at_ms >= look.start_ms,
            column.at_ms < look.end_ms,
            column.noun.in_(EDITED),
            column.what.in_((MADE, CHANGED, DELETED)),
        )
        .order_by(column.number)
    )
    places = {path: number for number, path in look.paths.items()}
    pumps = {handle: ends for handle, ends in pumps_of(look).values()}
    for row in look.session.execute(asked):
        ends = pumps.get(row.subject, ()) if row.noun == "pump" else (places.get(row.place),)
        here = next((place for place in ends if look.belongs.held(place, row.at_ms)), None)
        if here is None or (row.what == MADE and row.noun == "target"):
            continue
        words = _said(row, look)
        if words is not None:
            yield Told(
                row.at_ms,
                "entered" if row.what == MADE else "edit",
                look.paths[here],
                sentence(words),
                row.origin or f"/v1/{look.paths[here]}",
                row.noun,
                who=row.who,
                about=f"{row.noun} {row.subject}",
                facts={"noun": row.noun, "subject": row.subject, "what": row.what},
            )


def _said(row: Any, look: Look) -> str | None:
    """An entry of the log in words; None where nothing is left that isn't told elsewhere."""
    name = row.words if row.noun in ("task", "target") and row.words else row.subject
    if row.what == MADE:
        return f"The {row.noun} {name} was entered into the record"
    if row.what == DELETED:
        return f"The {row.noun} {name} was taken out of the record"
    left = [one for one in row.fields if one["field"] not in TOLD_ELSEWHERE.get(row.noun, frozenset())]
    if not left:
        return None
    parts = [_field(one, look) for one in left[:SHOWN_FIELDS]]
    more = f" and {len(left) - SHOWN_FIELDS} more" if len(left) > SHOWN_FIELDS else ""
    return f"The {row.noun} {name} was edited: {'; '.join(parts)}{more}"


def _field(one: Mapping[str, Any], look: Look) -> str:
    """A field with what it was and is, where that is short."""
    was, now = (_short(one[side], look) for side in ("before", "after"))
    name = plain(one["field"])
    if was is None or now is None:
        return f"{name} changed"
    return f"{name} from {was} to {now}"


def _short(value: Any, look: Look) -> str | None:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str) and INSTANT.fullmatch(value):
        return look.clock(instant_ms(value))
    if isinstance(value, (str, int, float)) and len(str(value)) <= SHORT:
        return str(value)
    if isinstance(value, dict) and value.keys() == {"value", "unit"}:
        return f"{value['value']} {value['unit']}".removesuffix(" 1")
    return None
