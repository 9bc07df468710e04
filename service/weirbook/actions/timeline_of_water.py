"""Timeline: doses, water changes, what runs in by itself, and tests of the waters it is filled from."""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa

from weirbook.actions.told import Look, Told, plain, rows_within, sentence
from weirbook.record.doses import Dose
from weirbook.record.places import ROOM_PLACE_ID
from weirbook.record.waters import DONE, StandingExchange, WaterChange, WaterReport


def doses(look: Look) -> Iterator[Told]:
    """What was added to the water."""
    products = look.handles("product")
    kinds = _product_kinds(look)
    names = ("id", "place_id", "dosed_at_ms", "product_id", "compound", "mass", "volume", "strength", "words")
    for row in rows_within(look, Dose, "dosed_at_ms", names, Dose.__table__.c.place_id.in_(look.places)):
        number, place_id, at_ms, product_id, compound, mass, volume, strength, words = row
        if not look.belongs.held(place_id, at_ms):
            continue
        amount = mass or volume
        what = products[product_id] if product_id is not None else plain(compound)
        stock = "" if strength is None else f" of a stock of {strength.text()}"
        yield Told(
            at_ms,
            "dose",
            look.paths[place_id],
            sentence(f"Dosed {amount.text()}{stock} of {what}", words),
            f"/v1/doses/{number}",
            "dose",
            about=what,
            facts={
                "amount": amount.si("mass" if mass is not None else "volume"),
                "shown": amount.text(),
                "what": what,
                "treatment": kinds.get(product_id) == "treatment",
            },
        )


def _product_kinds(look: Look) -> dict[int, str]:
    from_table = sa.table("product", sa.column("room_id"), sa.column("id"), sa.column("kind"))
    asked = sa.select(from_table.c.id, from_table.c.kind).where(from_table.c.room_id == look.room_id)
    return {number: kind for number, kind in look.session.execute(asked)}


def water_changes(look: Look) -> Iterator[Told]:
    """Water that was exchanged; planned changes have not happened."""
    sources = look.handles("source_water")
    column = WaterChange.__table__.c
    names = (
        "id",
        "place_id",
        "changed_at_ms",
        "volume",
        "level_drop",
        "source_id",
        "temperature",
        "words",
    )
    wanted = (column.place_id.in_(look.places), column.state == DONE)
    for row in rows_within(look, WaterChange, "changed_at_ms", names, *wanted):
        number, place_id, at_ms, volume, drop, source_id, temperature, words = row
        if not look.belongs.held(place_id, at_ms):
            continue
        amount = volume.text() if volume is not None else f"{drop.text()} of depth"
        source = None if source_id is None else sources[source_id]
        of = "" if source is None else f" with {source}"
        warm = "" if temperature is None else f" at {temperature.text()}"
        # Depths compare with depths of the same vessel, volumes with volumes.
        measure = "volume" if volume is not None else f"depth of {look.paths[place_id]}"
        yield Told(
            at_ms,
            "water_change",
            look.paths[place_id],
            sentence(f"Changed {amount}{of}{warm}", words),
            f"/v1/water-changes/{number}",
            "water change",
            about=measure,
            facts={
                "amount": volume.si("volume") if volume is not None else drop.si("length"),
                "shown": amount,
                "source": source,
            },
        )


def standing_exchanges(look: Look) -> Iterator[Told]:
    """A drip or top-off that began or was set anew."""
    sources = look.handles("source_water")
    names = ("id", "kind", "valid_from_ms", "flow", "source_id", "notes")
    column = StandingExchange.__table__.c
    for number, kind, at_ms, flow, source_id, notes in rows_within(
        look, StandingExchange, "valid_from_ms", names, column.system_id == look.system.id
    ):
        of = "" if source_id is None else f" of {sources[source_id]}"
        ended = f"The {plain(kind).replace(' ', '-')} was ended"
        begun = f"From here on a {plain(kind).replace(' ', '-')} of {flow.text()}{of}"
        yield Told(
            at_ms,
            "standing_exchange",
            look.system.path,
            sentence(begun if flow.value else ended, notes),
            f"/v1/standing-exchanges/{number}",
            "standing exchange",
            about=kind,
        )


def water_reports(look: Look) -> Iterator[Told]:
    """What was found in the waters that the system was ever filled from."""
    used = _sources_used(look)
    if not used:
        return
    sources = look.handles("source_water")
    names = ("id", "source_id", "sampled_at_ms", "found", "notes")
    column = WaterReport.__table__.c
    for number, source_id, at_ms, found, notes in rows_within(
        look, WaterReport, "sampled_at_ms", names, column.source_id.in_(used)
    ):
        values = ", ".join(f"{plain(one['parameter'])} {one['value'].text()}" for one in found[:6])
        yield Told(
            at_ms,
            "water_report",
            look.paths[ROOM_PLACE_ID],
            sentence(f"Found in {sources[source_id]}: {values}", notes),
            f"/v1/water-reports/{number}",
            "water report",
            about=sources[source_id],
        )


def _sources_used(look: Look) -> list[int]:
    changed, exchanged = WaterChange.__table__.c, StandingExchange.__table__.c
    by_change = sa.select(changed.source_id).where(
        changed.room_id == look.room_id,
        changed.place_id.in_(look.places),
        changed.source_id.is_not(None),
    )
    by_itself = sa.select(exchanged.source_id).where(
        exchanged.room_id == look.room_id,
        exchanged.system_id == look.system.id,
        exchanged.source_id.is_not(None),
    )
    return [number for (number,) in look.session.execute(sa.union(by_change, by_itself))]
