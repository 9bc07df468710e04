"""Timeline: the ledger of heads, samples of size, quarantines, and what was carried in from other waters."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa

from weirbook.actions.system_heads import heads_around
from weirbook.actions.told import DAY_MS, Look, Told, heads, plain, rows_within, sentence
from weirbook.record.fish import COUNT, GAINS, MOVE, WITHDRAWAL, GroupSample, StockEntry
from weirbook.record.quarantines import Quarantine, Transfer

WORDS = {
    "arrival": ("arrived", "arrived"),
    "birth": ("was born", "were born"),
    "loss": ("died", "died"),
    "missing": ("is missing", "are missing"),
    "departure": ("left", "left"),
}
"""Of one fish, and of several."""


def _groups_here(look: Look) -> list[Any]:
    return [number for number, (_, tank) in look.groups.items() if tank in look.belongs.spans]


def stock_entries(look: Look) -> Iterator[Told]:
    """Lines of the ledger that count: a withdrawn one and its withdrawal are left out."""
    groups = _groups_here(look)
    if not groups:
        return
    column = StockEntry.__table__.c
    names = (
        "id",
        "kind",
        "group_id",
        "to_group_id",
        "number",
        "happened_at_ms",
        "source",
        "cause",
        "evidence",
        "withdraws_id",
        "straight_in",
        "words",
        "author",
    )
    # What took a move back stands under the group it left: withdrawals are asked for of all.
    here = sa.or_(column.group_id.in_(groups), column.to_group_id.in_(groups), column.kind == WITHDRAWAL)
    rows = [row._mapping for row in rows_within(look, StockEntry, "happened_at_ms", names, here)]
    withdrawn = {row["withdraws_id"] for row in rows if row["kind"] == WITHDRAWAL}
    for row in rows:
        if row["kind"] != WITHDRAWAL and row["id"] not in withdrawn:
            yield from _entry(look, row)


def _entry(look: Look, row: Any) -> Iterator[Told]:
    """A line of the ledger as this system sees it."""
    called, tank_id = look.groups[row["group_id"]]
    at_ms, around = row["happened_at_ms"], heads_around(look).get(row["id"])
    left = look.belongs.held(tank_id, at_ms)
    place, way = tank_id, ""
    if row["kind"] == MOVE:
        _, to_tank = look.groups[row["to_group_id"]]
        joined = look.belongs.held(to_tank, at_ms)
        if not left and not joined:
            return
        way = "within" if left and joined else "in" if joined else "out"
        place = to_tank if joined else tank_id
        told = f"{heads(row['number'], called)} moved from {look.paths[tank_id]} to {look.paths[to_tank]}"
    elif not left:
        return
    elif row["kind"] == COUNT:
        told = f"Counted {heads(row['number'], called)}, {_beside_ledger(around.more if around else 0)}"
    else:
        one, several = WORDS[row["kind"]]
        told = f"{heads(row['number'], called)} {one if row['number'] == 1 else several}"
        if row["kind"] in GAINS and around is not None:
            told += f"; heads of the system from {around.before} to {around.after}"
    cause = row["cause"] and f"Cause: {plain(row['cause'])}"
    source = row["source"] and f"From {row['source']}"
    straight = "Straight into water that other fish live in" if row["straight_in"] else None
    yield Told(
        at_ms,
        row["kind"],
        look.paths[place],
        sentence(told, source, straight, cause, row["evidence"], row["words"]),
        f"/v1/stock-entries/{row['id']}",
        "stock entry",
        who=row["author"],
        about=str(row["id"]) if way != "within" else "within",
        facts={
            "number": row["number"],
            "cause": row["cause"],
            "evidence": row["evidence"],
            "called": called,
            "straight_in": row["straight_in"],
            "way": way,
            "heads": None if around is None else (around.before, around.after),
        },
    )


def _beside_ledger(more: int) -> str:
    if more == 0:
        return "as the ledger has it"
    return f"{abs(more)} {'more' if more > 0 else 'fewer'} than the ledger had"


def samples(look: Look) -> Iterator[Told]:
    """Length or mass of some fish."""
    groups = _groups_here(look)
    if not groups:
        return
    names = ("id", "group_id", "sampled_at_ms", "measured", "length", "mass", "words")
    column = GroupSample.__table__.c
    for number, group_id, at_ms, measured, length, mass, words in rows_within(
        look, GroupSample, "sampled_at_ms", names, column.group_id.in_(groups)
    ):
        called, tank_id = look.groups[group_id]
        if look.belongs.held(tank_id, at_ms):
            sizes = ", ".join(one.text() for one in (length, mass) if one is not None)
            yield Told(
                at_ms,
                "sample",
                look.paths[tank_id],
                sentence(f"{heads(measured, called)} measured: {sizes}", words),
                f"/v1/samples/{number}",
                "group sample",
                about=str(group_id),
            )


def quarantines(look: Look) -> Iterator[Told]:
    """A quarantine's opening, its restarts and its release."""
    column = Quarantine.__table__.c
    names = (
        "id",
        "tank_id",
        "started_at_ms",
        "planned_days",
        "clock_from_ms",
        "restarts",
        "released_at_ms",
        "release_reason",
        "notes",
    )
    asked = sa.select(*(column[name] for name in names)).where(
        column.room_id == look.room_id,
        column.tank_id.in_(look.places),
        column.started_at_ms < look.end_ms,
        sa.or_(column.released_at_ms.is_(None), column.released_at_ms >= look.start_ms),
    )
    for row in look.session.execute(asked):
        for at_ms, step, words in _steps(row._mapping):
            if look.inside(at_ms) and look.belongs.held(row.tank_id, at_ms):
                yield Told(
                    at_ms,
                    "quarantine",
                    look.paths[row.tank_id],
                    words,
                    f"/v1/quarantines/{row.id}",
                    "quarantine",
                    about=f"{row.id} {step}",
                    facts={"step": step},
                )


def _steps(row: Any) -> Iterator[tuple[int, str, str]]:
    days = row["planned_days"]
    yield row["started_at_ms"], "opened", sentence(f"Quarantine opened for {days} days", row["notes"])
    for one in row["restarts"]:
        yield one["at_ms"], "restarted", sentence(f"The quarantine's {days} days begin anew", one["reason"])
    released, reason = row["released_at_ms"], row["release_reason"]
    if released is None:
        return
    served = (released - row["clock_from_ms"]) / DAY_MS
    early = served < days
    when = f"after {served:.3g} of its {days} days" if served >= 1 else f"on its first day, of {days} planned"
    told = f"Quarantine released {when}"
    because = reason and f"Reason given: {reason}"
    yield (
        released,
        "released early" if early or reason else "released",
        sentence(told, because),
    )


def transfers(look: Look) -> Iterator[Told]:
    """Water, media, plants, nets or hands that came in or went out."""
    column = Transfer.__table__.c
    names = ("id", "what", "from_place_id", "to_place_id", "moved_at_ms", "disinfected", "words")
    here = sa.or_(column.from_place_id.in_(look.places), column.to_place_id.in_(look.places))
    for number, what, from_id, to_id, at_ms, disinfected, words in rows_within(
        look, Transfer, "moved_at_ms", names, here
    ):
        came, went = look.belongs.held(to_id, at_ms), look.belongs.held(from_id, at_ms)
        if not came and not went:
            continue
        way = "within" if came and went else "in" if came else "out"
        origin = "outside" if from_id is None else look.paths[from_id]
        told = f"{what.replace('_', ' ').capitalize()} went from {origin} to {look.paths[to_id]}"
        clean = disinfected and f"Disinfected: {disinfected}"
        yield Told(
            at_ms,
            "transfer",
            look.paths[to_id if came else from_id],
            sentence(told, clean, words),
            f"/v1/transfers/{number}",
            "transfer",
            about=f"{what} {origin} {to_id}",
            facts={"way": way, "what": what, "disinfected": disinfected is not None},
        )
