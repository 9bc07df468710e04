"""What was looked at before a trouble and found quiet, and what the record can't tell."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

from weirbook.actions.suspect_weights import aspect_of
from weirbook.actions.timeline_of_gauges import FLOAT, gauges_of, trips_at
from weirbook.actions.told import Look, Told, lasting, parameter_name, plain
from weirbook.engine.times import day_of
from weirbook.record import gauging
from weirbook.record.database import fetch
from weirbook.record.equipment import Gauge
from weirbook.record.wanted import bands_over

TESTED = ("total_ammonia", "nitrite", "nitrate", "ph", "dissolved_oxygen", "temperature")
"""What a keeper asks for first in a trouble. Common practice."""
SILENT_SHARE = 0.05
"""Of the look: a gauge silent for longer can't be called quiet. Our own choice."""

QUIET: tuple[tuple[Collection[str], str], ...] = (
    (
        (
            "fish straight into stocked water",
            "fish that came in",
            "fish moved in from another system",
            "tank that came over",
        ),
        "No fish came in, by arrival, by a move or with a tank.",
    ),
    (
        ("carried in from other water", "carried in, disinfected"),
        "No transfer of water, media, plants, nets or hands into it is recorded.",
    ),
    (("quarantine", "quarantine released early"), "No quarantine here was opened, restarted or released."),
    (("dose", "treatment dosed"), "No dose is recorded."),
    (("odd feeding",), "No feeding is recorded that differed from the ration."),
    (
        (
            "pump switched",
            "section put to another use",
            "equipment edited",
            "change in the journal",
            "trial",
        ),
        "No change of equipment is recorded: no edit, no pump switched, no change in the journal, no trial.",
    ),
    (("cleaning",), "No cleaning is recorded."),
    (("planting", "plants lost or moved"), "No plants were put in, moved or lost, by the record."),
)
"""What is said where nothing of these aspects lies in the look."""


def quiet(look: Look, lines: Sequence[Told], fed: bool, tasks: bool) -> Iterator[str]:
    """What was looked at and found quiet. `fed`: rations are recorded; `tasks`: routine work is."""
    seen = {aspect_of(one) for one in lines}
    yield from (words for aspects, words in QUIET if seen.isdisjoint(aspects))
    if fed and "ration" not in seen:
        yield "The rations stayed as they were."
    if tasks and "task not done" not in seen:
        yield "No task was skipped, late or left open."
    silent = _silent(look, lines)
    watched = [one for one in gauges_of(look) if _heard(look, one) and one.handle not in silent]
    yield from _contacts(lines, watched)
    yield from _targets(look, lines, watched)


def _contacts(lines: Sequence[Told], watched: Sequence[Gauge]) -> Iterator[str]:
    tripped = {one.facts["gauge"] for one in lines if one.kind == "contact"}
    still = [one.handle for one in watched if trips_at(one) is not None and one.handle not in tripped]
    if still:
        yield f"Contacts that did not trip: {', '.join(still)}."


def _targets(look: Look, lines: Sequence[Told], watched: Sequence[Gauge]) -> Iterator[str]:
    """Gauges with a target that reported and stayed within it."""
    left = {one.facts["gauge"] for one in lines if one.kind == "excursion"}
    measuring = [one for one in watched if trips_at(one) is None and one.handle not in left]
    wanted = bands_over(look.session, measuring, look.start_ms, look.end_ms)
    held = [
        one
        for one in measuring
        if any(band.low is not None or band.high is not None for band in wanted[one.id])
    ]
    if held:
        told = ", ".join(f"{parameter_name(one.parameter)} ({one.handle})" for one in held)
        yield f"No excursion of {told}."


def _heard(look: Look, gauge: Gauge) -> bool:
    """Whether a gauge gave a reading within the look."""
    return look.start_ms <= _last(look).get(gauge.id, -1)


def _last(look: Look) -> Mapping[int, int]:
    """When each gauge last gave a reading that counts before the end of the look."""
    if "last readings" not in look.kept:
        gauges = [one.id for one in gauges_of(look)]
        look.kept["last readings"] = gauging.last_that_count(look.session, gauges, look.end_ms - 1)
    found: Mapping[int, int] = look.kept["last readings"]
    return found


def _silent(look: Look, lines: Sequence[Told]) -> dict[str, int]:
    """How long each gauge was silent within the look, of those that were so for long."""
    found: dict[str, int] = {}
    for one in lines:
        if one.kind == "silence":
            end = look.end_ms if one.to_ms is None else min(one.to_ms, look.end_ms)
            handle = str(one.facts["gauge"])
            found[handle] = found.get(handle, 0) + end - max(one.at_ms, look.start_ms)
    return {handle: ms for handle, ms in found.items() if ms > SILENT_SHARE * (look.end_ms - look.start_ms)}


def cannot_know(look: Look, lines: Sequence[Told], fed: bool) -> Iterator[str]:
    """What the record can't tell of these days."""
    for handle, ms in _silent(look, lines).items():
        yield f"{handle} was silent for {lasting(ms)} of these days: what it measures is not known then."
    gauges = gauges_of(look)
    last = _last(look)
    for parameter in TESTED:
        of = [one for one in gauges if one.parameter == parameter]
        instant = max((last[one.id] for one in of if one.id in last), default=None)
        if instant is None or instant < look.start_ms:
            when = "never before" if instant is None else f"last on {day_of(instant, look.zone)}"
            name = parameter_name(parameter)
            yield f"{name[:1].upper() + name[1:] if name != 'pH' else name} was not tested in these days ({when})."
    lacking: tuple[tuple[str, Callable[[], bool], str], ...] = (
        ("lid_open", lambda: True, "Whether a lid stood open: there is no contact for it."),
        ("mains_present", lambda: True, "Whether the mains were away: there is no contact for it."),
        (
            "pump_running",
            lambda: bool(_pumps(look)),
            "Whether a pump stood still: there is no contact for it.",
        ),
    )
    contacts = {one.parameter for one in gauges if one.kind == "contact"}
    yield from (words for parameter, needed, words in lacking if parameter not in contacts and needed())
    yield from _mute_contacts(look, gauges, last)
    if not fed:
        yield "What is fed is not recorded, so whether more was fed is not known."


def _mute_contacts(look: Look, gauges: Sequence[Gauge], last: Mapping[int, int]) -> Iterator[str]:
    for one in gauges:
        if one.kind == "contact" and one.parameter != FLOAT and not _heard(look, one):
            when = "never" if one.id not in last else f"last on {day_of(last[one.id], look.zone)}"
            speaks = "speaks up only when it changes" if one.gap_ms is None else "should report at a pace"
            yield f"{one.handle} ({plain(one.parameter)}) {speaks} and was heard {when}: whether it works is not known."


def _pumps(look: Look) -> Sequence[object]:
    asked = "SELECT 1 FROM pump WHERE room_id = ? AND retired_at_ms IS NULL LIMIT 1"
    return fetch(look.session, asked, (look.room_id,))
