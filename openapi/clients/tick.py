#!/usr/bin/env python3
"""Tick off the daily round in Weirbook, with or without a network.

Needs Python 3.11 or newer on Linux, macOS or another Unix, and no package.

    export WEIRBOOK_SERVER=https://weirbook.example WEIRBOOK_KEY=…
    tick.py due                  what is due today, each with a number
    tick.py done 2               number 2 is done, now
    tick.py done 2 4 --by bea --note "Floss black, changed it."
    tick.py done 3 --reading tanks/nursery nitrate 12mg/L
    tick.py skip 5               number 5 is left out this time
    tick.py send                 tell what was ticked while the network was away
    tick.py queue                what still waits, and what was refused

The numbers are those of the last list that `due` showed. A tick is stamped and written to disk before it is
sent, so this program may be killed, and the network or the service may be away, at any time: the next `done`,
`skip` or `send` tells the rest, in order. A tick that was sent twice counts once, and one that was undone
meanwhile stays undone. Without a network `due` shows the last list, without what was ticked since.

--at says when it was done, if not now, with the offset from UTC: 2026-11-25T08:30+00:00. A reading is
PLACE PARAMETER VALUE, the unit behind the value: 12mg/L, 24.5degC, "<0.05 mg/L", 10..20, on, off. One that
begins with a minus is quoted with a space before its unit: "-120 mV".

The key (one with the helper role) comes from --key-file or the environment variable WEIRBOOK_KEY, never from
the command line, where every user of the machine could read it. Use one folder for each room and each person.

What is kept in the folder:

    list.json        the last list, and what of it is settled
    queue.jsonl      ticks that the service has not answered yet
    refused.jsonl    ticks that can't be taken, each with the reason; never sent again, yours to delete
    lock             held while the program runs; a second one stops at once

Exit status: 0 all is told, or the list is new; 3 a tick was refused, or somebody else was first; 75 the
service could not be asked now: ticks stay queued, or the list is the last one; 1 the folder can't be used and
nothing was ticked; 2 wrong options, or a number that is not on the list: nothing was ticked.
"""

from __future__ import annotations

import argparse
import fcntl
import http.client
import io
import json
import math
import os
import re
import sys
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import SplitResult, quote, urlencode, urlsplit

ALL_TOLD, NO_FOLDER, WRONG, REFUSED, LATER = 0, 1, 2, 3, 75

LONGEST_REPLY = 8_000_000
# A clock that shows an earlier year was never set.
CLOCK_NOT_SET_BEFORE = 2026
JSON, PROBLEM_JSON = "application/json", "application/problem+json"
PROBLEM = "urn:weirbook:problem:"
TOLD, ALREADY = "told", "already-completed"

_FIGURE = r"[+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
READING = re.compile(
    rf"(on|off|{_FIGURE}\s*\.\.\s*{_FIGURE}|[<>]?\s*{_FIGURE})(?:\s+(\S.*)|([^\s\d.,<>+-].*))?"
)

Json = dict[str, Any]


def say(text: str) -> None:
    print(f"tick: {plain(text)}", file=sys.stderr, flush=True)


def plain(text: object) -> str:
    """Text of others on one line, without what could steer a terminal."""
    return " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())


class Wrong(Exception):
    """What was asked for can't be done; nothing was changed."""


class Folder:
    """The last list and the ticks on disk. For one process at a time."""

    def __init__(self, path: Path) -> None:
        path.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._path = path
        self._list, self._queue, self._refused = (
            path / name for name in ("list.json", "queue.jsonl", "refused.jsonl")
        )
        self._lock = os.open(path / "lock", os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise OSError(f"another tick.py is at work in {path}; try again when it has ended") from error
        for file in (self._queue, self._refused):
            file.touch(0o600)
        self._sync()
        self._set_spoiled_lines_aside()

    def keep(self, ticks: Sequence[Json]) -> None:
        """Put ticks in the queue, all or none, on disk before this returns."""
        _append(self._queue, ticks)

    def waiting(self) -> list[Json]:
        """Ticks without an answer, in the order they were made."""
        # After a crash a refused one may still stand in the queue.
        over = {line["tick"]["send"]["id"] for line in self.refused() if "tick" in line}
        return [tick for tick in _lines(self._queue) if tick["send"]["id"] not in over]

    def refused(self) -> list[Json]:
        return [line for line in _lines(self._refused) if isinstance(line, dict)]

    def settle(self, tick: Json) -> None:
        """The occurrence is completed: it is due no more, and the tick leaves the queue."""
        # The list goes first: after a crash in between the tick is only sent again.
        if listed := self.listed():
            self.keep_list(listed | {"settled": [*listed["settled"], name_of(tick)]})
        self._leave_queue(tick)

    def set_aside(self, tick: Json, kind: str, message: str) -> None:
        """Keep a tick among the refused, with the reason; it is never sent again."""
        _append(self._refused, [{"type": kind, "message": message, "tick": tick}])
        self._leave_queue(tick)

    def listed(self) -> Json | None:
        """The last list, if there is one."""
        lines = _lines(self._list) if self._list.exists() else []
        return lines[0] if lines and isinstance(lines[0], dict) else None

    def keep_list(self, listed: Json) -> None:
        self._replace(self._list, [listed])

    def over(self) -> list[list[str]]:
        """Occurrences that are ticked, or settled since the last list."""
        return [*(self.listed() or {"settled": []})["settled"], *map(name_of, self.waiting())]

    def _leave_queue(self, tick: Json) -> None:
        self._replace(self._queue, [one for one in self.waiting() if one["send"]["id"] != tick["send"]["id"]])

    def _set_spoiled_lines_aside(self) -> None:
        lines = _lines(self._queue)
        whole = [
            line for line in lines if isinstance(line, dict) and line.keys() >= {"task", "words", "send"}
        ]
        message = "This line of the queue was cut off or overwritten: look whether it is still due."
        spoiled = [
            {"type": "spoiled-line", "message": message, "line": line} for line in lines if line not in whole
        ]
        if spoiled:
            say(message)
            _append(self._refused, spoiled)
            self._replace(self._queue, whole)

    def _replace(self, path: Path, records: Sequence[Json]) -> None:
        new = path.with_suffix(".new")
        new.unlink(missing_ok=True)
        _append(new, records)
        new.replace(path)
        self._sync()

    def _sync(self) -> None:
        directory = os.open(self._path, os.O_RDONLY)
        try:
            os.fsync(directory)
        finally:
            os.close(directory)


def _append(path: Path, records: Sequence[Json]) -> None:
    """Add lines to a file, on disk before this returns; where that fails the file stays as it was."""
    with open(os.open(path, os.O_RDWR | os.O_CREAT, 0o600), "r+b", buffering=0) as file:
        size = file.seek(0, os.SEEK_END)
        lines = b"".join(json.dumps(record, allow_nan=False).encode() + b"\n" for record in records)
        if size and os.pread(file.fileno(), 1, size - 1) != b"\n":
            # A crash cut the last line off: end it, so that these stay whole.
            lines = b"\n" + lines
        try:
            while lines:
                lines = lines[file.write(lines) :]
            os.fsync(file.fileno())
        except OSError:
            file.truncate(size)
            raise


def _lines(path: Path) -> list[Any]:
    """The records of a file; a line that is none as its text."""
    return [
        _decoded(raw, raw.decode(errors="replace")) for raw in path.read_bytes().splitlines() if raw.strip()
    ]


def _decoded(text: bytes, otherwise: Any) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return otherwise


def name_of(tick: Json) -> list[str]:
    """Which occurrence of which task a tick is about."""
    return [tick["task"], tick["send"]["occurrence"]]


class Kept(Exception):
    """The service did not answer for a tick: it stays queued. `alone` where others may fare better."""

    def __init__(self, message: str, *, alone: bool = False) -> None:
        super().__init__(message)
        self.alone = alone


@dataclass(frozen=True)
class Reply:
    status: int
    body: Json
    """Empty where it was no JSON object."""
    word: str
    """Which problem, where the service itself tells of one: a gateway's error page does not count."""

    @property
    def message(self) -> str:
        faults = self.body.get("errors")
        texts = [self.body.get("detail"), self.body.get("title")][: 1 if self.body.get("detail") else 2]
        texts += [one.get("message") for one in faults] if isinstance(faults, list) else []
        return plain(" ".join(dict.fromkeys(str(text) for text in texts if text)) or f"status {self.status}")


class Service:
    """The two requests of this program. Both raise Kept unless the service says yes or no to what was asked."""

    def __init__(self, server: SplitResult, key_file: Path | None, timeout: float) -> None:
        self._server = server
        self._key_file = key_file
        self._timeout = timeout

    def due(self, query: dict[str, str]) -> Reply:
        return self._ask("GET", f"/v1/tasks/due?{urlencode(query)}" if query else "/v1/tasks/due")

    def complete(self, tick: Json) -> Reply:
        return self._ask("POST", f"/v1/tasks/{quote(tick['task'], safe='')}/completions", tick["send"])

    def _ask(self, method: str, path: str, body: Json | None = None) -> Reply:
        reply = self._reply(method, path, body)
        if reply.status in (401, 403):
            raise Kept(f"The key is not accepted ({reply.message}). Mend the key.")
        if reply.status in (408, 429) or reply.status >= 500:
            fault = reply.status == 500 and reply.word != ""
            raise Kept(f"The server can't take it now ({reply.message}).", alone=fault)
        # http-404, http-405: Weirbook, but not at this address.
        if reply.status not in (200, 201) and reply.word in ("", "http-404", "http-405"):
            raise Kept(f"This is no answer of Weirbook's ({reply.message}). Check --server.")
        return reply

    def _reply(self, method: str, path: str, body: Json | None) -> Reply:
        secure = self._server.scheme == "https"
        connect = http.client.HTTPSConnection if secure else http.client.HTTPConnection
        headers = {"Authorization": f"Bearer {self._key()}", "Accept": f"{JSON}, {PROBLEM_JSON}"}
        headers |= {"Content-Type": JSON} if body is not None else {}
        text = json.dumps(body).encode() if body is not None else None
        connection = connect(self._server.hostname or "", self._server.port, timeout=self._timeout)
        try:
            connection.request(method, self._server.path.rstrip("/") + path, text, headers)
            response = connection.getresponse()
            kind, answer = response.headers.get_content_type(), response.read(LONGEST_REPLY)
        except (OSError, http.client.HTTPException, UnicodeError) as error:
            raise Kept(f"No answer from the server ({error or type(error).__name__}).") from error
        finally:
            connection.close()
        found = _decoded(answer, None) if kind in (JSON, PROBLEM_JSON) else None
        found = found if isinstance(found, dict) else {}
        named = str(found.get("type")) if kind == PROBLEM_JSON and response.status >= 400 else ""
        word = named.removeprefix(PROBLEM) if named.startswith(PROBLEM) else ""
        return Reply(response.status, found, word)

    def _key(self) -> str:
        try:
            key = self._key_file.read_text("ascii") if self._key_file else os.environ.get("WEIRBOOK_KEY", "")
        except (OSError, ValueError) as error:
            raise Kept(f"Can't read the key file ({error}). Mend the key.") from error
        key = key.strip()
        if not re.fullmatch(r"[!-~]+", key):
            raise Kept("No key, or none that can be one. Set WEIRBOOK_KEY or give --key-file.")
        return key


def verdict(reply: Reply, tick: Json) -> str:
    """What became of a tick: TOLD, or which problem. Raises Kept for what is no answer to it."""
    id = tick["send"]["id"]
    if reply.word:
        first = reply.body.get("completion")
        # One of ours that an earlier key told, its answer lost, is told too.
        ours = reply.word == ALREADY and isinstance(first, dict) and first.get("id") == id
        return TOLD if ours else reply.word
    if reply.body.get("id") != id:
        raise Kept("This is no answer of Weirbook's. Check --server.")
    return TOLD


def send_all(folder: Folder, service: Service) -> int:
    """Tell what is queued, oldest first; the program's exit status. Raises OSError; nothing is lost then."""
    status = ALL_TOLD
    for tick in folder.waiting():
        try:
            reply = service.complete(tick)
            kind = verdict(reply, tick)
        except Kept as kept:
            say(str(kept))
            if kept.alone:
                continue
            break
        if kind == TOLD:
            folder.settle(tick)
            show(f"Told: {tick['words']}")
            continue
        status = REFUSED
        folder.set_aside(tick, kind, reply.message)
        if kind == ALREADY:
            folder.settle(tick)
        say(f"{'Somebody was first' if kind == ALREADY else 'Refused'}: {tick['words']}: {reply.message}")
    if left := len(folder.waiting()):
        say(f"{many(left)} on disk, nothing is lost. Later: tick.py send")
        return LATER
    return status


def many(ticks: int) -> str:
    return "1 tick waits" if ticks == 1 else f"{ticks} ticks wait"


def show(text: str) -> None:
    print(plain(text), flush=True)


def clock(local: str) -> str:
    return local.replace("T", " ")


def length(time: timedelta) -> str:
    """A length of time in its two largest units."""
    minutes = max(0, int(time.total_seconds() // 60))
    hours, days = minutes // 60, minutes // 1440
    if days:
        return f"{days} d {hours % 24} h"
    return f"{hours} h {minutes % 60} min" if hours else f"{minutes} min"


def show_due(folder: Folder, service: Service, chosen: argparse.Namespace) -> int:
    """Fetch the list and show it; without an answer the last one, with its age. Raises Wrong, OSError."""
    asked = {"on": chosen.on, "helper": chosen.helper}
    now = datetime.now(UTC)
    status = ALL_TOLD
    try:
        reply = service.due({name: value for name, value in asked.items() if value is not None})
        if reply.word:
            raise Wrong(reply.message)
        queued = list(map(name_of, folder.waiting()))
        folder.keep_list(list_of(reply, chosen.helper, now, queued))
    except Kept as kept:
        say(str(kept))
        status = LATER
    listed = folder.listed()
    if listed is None:
        say("No list was fetched before.")
        return LATER
    if status == LATER:
        show(f"The last list, {length(now - datetime.fromisoformat(listed['fetched_at']))} old:")
    show_list(listed, folder, now, long=chosen.long)
    return status


def list_of(reply: Reply, helper: str | None, now: datetime, queued: list[list[str]]) -> Json:
    """What to remember of a fetched list, without what is ticked already. Raises Kept if it is none."""
    try:
        items = [item for item in reply.body["items"] if [item["task"], item["occurrence"]] not in queued]
        for item in items:
            line_of(item, now)
        day = str(reply.body["on"])
    except (AttributeError, TypeError, ValueError, LookupError) as error:
        raise Kept("This is no list of Weirbook's. Check --server.") from error
    return {"on": day, "helper": helper, "fetched_at": now.isoformat(), "items": items, "settled": []}


def show_list(listed: Json, folder: Folder, now: datetime, *, long: bool) -> None:
    """What is open of a list, with the numbers it had when it was fetched."""
    queued = folder.waiting()
    over = folder.over()
    items = [
        (n, one) for n, one in enumerate(listed["items"], 1) if [one["task"], one["occurrence"]] not in over
    ]
    whose = f" for {listed['helper']}" if listed["helper"] else ""
    show(f"{'Due' if items else 'Nothing is due'} on {listed['on']}{whose}{':' if items else '.'}")
    for number, item in items:
        show(f"{number}. {line_of(item, now)}")
        if long:
            if item.get("expected_minutes") is not None:
                print(f"     takes about {item['expected_minutes']} min")
            for line in str(item.get("instructions") or "").splitlines():
                print(f"     {plain(line)}")
    if queued:
        show(f"{many(len(queued))} to be told: tick.py send")


def line_of(item: Json, now: datetime) -> str:
    """Title, place, local due time, lateness, whose it is."""
    parts = [str(item["title"])]
    if item["about"] is not None:
        parts.append(str(item["about"]))
    parts.append(f"due {clock(item['due_local'])}")
    late = now - datetime.fromisoformat(item["due"])
    if late >= timedelta(minutes=1):
        overdue = now >= datetime.fromisoformat(item["overdue_from"])
        parts.append(f"{length(late)} late{', overdue' if overdue else ''}")
    if now < datetime.fromisoformat(item["opens_at"]):
        parts.append(f"not before {opens(item)}")
    if item.get("earlier_open"):
        parts.append(f"{item['earlier_open']} earlier open")
    if item["helper"] is not None:
        parts.append(f"for {item['helper']}")
    return ", ".join(parts)


def opens(item: Json) -> str:
    """By the room's clock, as it stands when it is due, from when it may be done."""
    offset = datetime.fromisoformat(item["due_local"] + "Z") - datetime.fromisoformat(item["due"])
    return f"{datetime.fromisoformat(item['opens_at']) + offset:%Y-%m-%d %H:%M}"


def tick_off(folder: Folder, chosen: argparse.Namespace) -> None:
    """Put the chosen numbers in the queue, stamped. Raises Wrong, OSError; then nothing was ticked."""
    now = datetime.now(UTC)
    listed = folder.listed()
    if listed is None:
        raise Wrong("There is no list yet. First: tick.py due")
    if chosen.at is None and now.year < CLOCK_NOT_SET_BEFORE:
        raise Wrong("This machine's clock is not set. Set it, or say when with --at.")
    done_at = chosen.at or now
    if done_at > now:
        raise Wrong("--at lies ahead of now: what is still to come can't be done yet.")
    items, numbers = listed["items"], list(dict.fromkeys(chosen.numbers))
    if chosen.reading and len(numbers) != 1:
        raise Wrong("Readings go with one number: tick the others apart.")
    over = folder.over()
    ticks: list[Json] = []
    for number in numbers:
        if not 1 <= number <= len(items):
            raise Wrong(
                f"There is no {number} on the last list. Its numbers: {f'1 to {len(items)}' if items else 'none'}."
            )
        item = items[number - 1]
        tick = tick_of(item, chosen, done_at)
        if name_of(tick) in over:
            say(f"Ticked before, nothing added: {tick['words']}")
        elif chosen.command == "done" and done_at < datetime.fromisoformat(item["opens_at"]):
            raise Wrong(f"{item['title']} may be done from {opens(item)} on, by the room's clock.")
        else:
            ticks.append(tick)
    folder.keep(ticks)


def tick_of(item: Json, chosen: argparse.Namespace, done_at: datetime) -> Json:
    """A tick under an id of its own, so that it counts once however often it is sent."""
    outcome = "done" if chosen.command == "done" else "skipped"
    send = {
        "id": str(uuid.uuid4()),
        "occurrence": item["occurrence"],
        "outcome": outcome,
        "done_at": done_at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        "by": chosen.by,
        "note": chosen.note,
        "readings": [reading_of(*words) for words in chosen.reading or ()] or None,
    }
    words = f"{item['title']} (due {clock(item['due_local'])}) {outcome}"
    said = {name: value for name, value in send.items() if value is not None}
    return {"task": item["task"], "words": words, "send": said}


def reading_of(place: str, parameter: str, text: str) -> Json:
    """A reading as the service takes it. Raises Wrong."""
    found = READING.fullmatch(text.strip())
    if found is None:
        raise Wrong(
            f"{text!r} is no reading. Write it with a decimal point: 7.2, 12mg/L, '<0.05 mg/L', 10..20, on"
        )
    value, unit = found[1], found[2] or found[3]
    number = float(value) if re.fullmatch(_FIGURE, value) else value
    if number in (math.inf, -math.inf):
        raise Wrong(f"{text!r} is too large to be a reading.")
    return {"place": place, "parameter": parameter, "value": number} | ({"unit": unit} if unit else {})


def show_queue(folder: Folder) -> int:
    queued, refused = folder.waiting(), folder.refused()
    show(f"{many(len(queued))} to be told:" if queued else "Nothing waits.")
    for tick in queued:
        show(f"{tick['words']} at {tick['send']['done_at']}")
    if refused:
        show("Refused, never sent again:")
    for line in refused:
        show(f"{line['tick']['words'] if 'tick' in line else line.get('line')}: {line.get('message')}")
    return ALL_TOLD


def server_address(text: str) -> SplitResult:
    """Where the service is: http or https, host, perhaps port and path prefix, nothing else."""
    try:
        parts = urlsplit(text)
        fits = parts.port != 0 and not (parts.query or parts.fragment or "@" in parts.netloc)
        fits = fits and text.isascii() and " " not in text
    except ValueError:
        fits = False
    if not fits or parts.scheme not in ("http", "https") or not parts.hostname:
        raise argparse.ArgumentTypeError(f"{text!r} is not an address such as https://weirbook.example")
    return parts


def moment(text: str) -> datetime:
    instant = datetime.fromisoformat(text)
    if instant.tzinfo is None or not 2000 <= instant.year < 2200:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no instant with its offset, like 2026-11-25T08:30+00:00"
        )
    return instant.astimezone(UTC)


def day(text: str) -> str:
    return date.fromisoformat(text).isoformat()


def seconds(text: str) -> float:
    value = float(text)
    if not 0 < value <= 3600:
        raise ValueError
    return value


def options() -> argparse.Namespace:
    states = os.environ.get("XDG_STATE_HOME", "")
    state = Path(states) if states.startswith("/") else Path.home() / ".local" / "state"
    common = argparse.ArgumentParser(add_help=False)
    add = common.add_argument
    add("--server", metavar="URL", help="where Weirbook answers (else WEIRBOOK_SERVER)")
    add("--key-file", type=Path, metavar="FILE", help="file that holds the key (else WEIRBOOK_KEY)")
    add("--folder", type=Path, metavar="DIR", default=state / "weirbook-tick", help="(%(default)s)")
    add("--timeout", type=seconds, metavar="SECONDS", default=15.0, help="longest wait for an answer (15)")
    raw = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=raw, allow_abbrev=False)
    commands = parser.add_subparsers(dest="command", required=True)
    command = {
        name: commands.add_parser(name, parents=[common], help=about, description=about, allow_abbrev=False)
        for name, about in (
            ("due", "show what is due"),
            ("done", "tick off as done"),
            ("skip", "leave out this time"),
            ("send", "tell what waits"),
            ("queue", "show what waits and what was refused"),
        )
    }
    due = command["due"].add_argument
    due("--on", type=day, metavar="DATE", help="due by the end of this day, like 2026-11-29")
    due("--helper", metavar="HANDLE", help="only the work of this helper")
    due("--long", action="store_true", help="with instructions")
    for name in ("done", "skip"):
        add = command[name].add_argument
        add("numbers", type=int, nargs="+", metavar="NUMBER", help="as the last list shows them")
        add("--by", metavar="HANDLE", help="the helper who did it")
        add("--note", metavar="TEXT", help="what there is to say")
        add("--at", type=moment, metavar="INSTANT", help="when, if not now")
    form = ("PLACE", "PARAMETER", "VALUE")
    command["done"].add_argument("--reading", nargs=3, action="append", metavar=form, help="taken along")
    command["skip"].set_defaults(reading=None)
    chosen = parser.parse_args()
    if chosen.command != "queue":
        try:
            chosen.server = server_address(chosen.server or os.environ.get("WEIRBOOK_SERVER", ""))
        except argparse.ArgumentTypeError as error:
            parser.error(f"{error}: set WEIRBOOK_SERVER or give --server")
    return chosen


def run(chosen: argparse.Namespace) -> int:
    """The exit status. Raises Wrong; OSError where the folder fails after the ticks are on disk."""
    try:
        folder = Folder(chosen.folder)
        if chosen.command in ("done", "skip"):
            tick_off(folder, chosen)
    except OSError as error:
        say(f"Can't use the folder, nothing was ticked: {error}")
        return NO_FOLDER
    if chosen.command == "queue":
        return show_queue(folder)
    if chosen.server.scheme == "http" and chosen.server.hostname not in ("127.0.0.1", "::1", "localhost"):
        say("Without https the key can be read on the way.")
    service = Service(chosen.server, chosen.key_file, chosen.timeout)
    return show_due(folder, service, chosen) if chosen.command == "due" else send_all(folder, service)


def main() -> int:
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    chosen = options()
    try:
        return run(chosen)
    except Wrong as wrong:
        say(f"{wrong}")
        return WRONG
    except BrokenPipeError:
        # Nobody reads on, as after `tick.py due | head -3`: let the interpreter end in peace.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return LATER
    except OSError as error:
        say(f"Can't write to the folder ({error}). What was ticked stays queued, and counts once.")
        return LATER
    except KeyboardInterrupt:
        say("Interrupted. What was ticked is on disk. Later: tick.py send")
        return LATER


if __name__ == "__main__":
    sys.exit(main())
