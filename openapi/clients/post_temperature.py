#!/usr/bin/env python3
"""Post what a sensor loop prints to Weirbook, and lose nothing on the way.

Needs Python 3.11 or newer on Linux, macOS or another Unix, and no package.

One line of standard input is one reading: `VALUE` (its gauge given by --gauge) or `GAUGE VALUE`, with a
decimal point. Each line is stamped with UTC time as it arrives, written to a spool on disk and only then
sent, so this program may be killed, and the network or the server may be away, at any time: the next start
sends the rest. A reading that was sent twice is counted by the service as repeated and stored once.

    echo 24.5 | post_temperature.py --once --server https://weirbook.example \\
        --gauge pond-a --spool /var/lib/probe --key-file /etc/probe.key

The key (one with the sensor role that lists these gauges will do) comes from a file or from the environment
variable WEIRBOOK_KEY, never from the command line, where every user of the machine could read it. Make the
file readable by this program's user alone.

From cron, one reading a run:

    */5 * * * *  /opt/probe/read-once | /opt/probe/post_temperature.py --once ...

Under a service manager such as systemd, a loop that runs on; it may be stopped by any signal:

    [Unit]
    After=time-sync.target
    [Service]
    ExecStart=/bin/sh -c '/opt/probe/read-loop | /opt/probe/post_temperature.py ...'
    Restart=always
    RestartSec=5

Two things only you can see to. The loop must flush each line as it prints it: what sits in its buffer is
stamped late. And the clock must be right: a machine without a clock battery should wait for the time service
before the loop starts.

What is kept in the --spool directory:

    readings.jsonl   readings not yet handled by the service; emptied when all are
    position         how many bytes of it have been handled
    refused.jsonl    lines and readings that can't be stored, each with the reason; never sent again, yours
                     to read, move away or delete
    lock             held while the program runs; a second one on the same spool stops at once

The spool has no bound of its own: about 80 bytes a reading, 42 MB for a year of minutes without a server.
When the disk is full the newest readings wait in memory (up to 10,000, then the oldest of them are dropped
and counted on standard error), while those on disk go on being sent, which makes room.

Exit status: 0 all was handled (look at refused.jsonl now and then); 75 readings stay in the spool for the
next start; 1 readings were lost or the spool can't be used; 2 wrong options.
"""

from __future__ import annotations

import argparse
import email.utils
import fcntl
import http.client
import json
import math
import os
import random
import re
import sys
import threading
import time
from collections import deque
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO
from urllib.parse import SplitResult, urlsplit

ALL_HANDLED, LOST, KEPT_FOR_LATER = 0, 1, 75

BATCH = 500
LONGEST_LINE = 1000
HELD_IN_MEMORY = 10_000
LONGEST_REPLY = 8_000_000
LONGEST_RETRY_AFTER = 3600.0
DISK_RETRY_SECONDS = 5.0
# A clock that shows an earlier year was never set.
CLOCK_NOT_SET_BEFORE = 2026

NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]+)?|\.[0-9]+)([eE][+-]?[0-9]+)?")


def say(text: str) -> None:
    print(f"post_temperature: {text}", file=sys.stderr, flush=True)


class Unreadable(Exception):
    """A line that is no reading; the text says why."""


def parse_line(line: str, gauge: str | None) -> tuple[str, float]:
    """Gauge and value of one line. Raises Unreadable, with what to do about it."""
    match line.split():
        case [value]:
            if gauge is None:
                raise Unreadable("no gauge: write GAUGE VALUE, or start with --gauge")
        case [gauge, value]:
            pass
        case _:
            raise Unreadable("expected VALUE or GAUGE VALUE")
    if not NUMBER.fullmatch(value):
        raise Unreadable("not a number; write it with a decimal point, such as 24.5")
    number = float(value)
    if not math.isfinite(number):
        raise Unreadable("too large to be a number")
    return gauge, number


class Clock:
    """UTC in whole milliseconds, never twice the same: two lines in one millisecond stay two readings."""

    def __init__(self) -> None:
        self._last = 0

    def stamp(self) -> str:
        now = time.time_ns() // 1_000_000
        # A clock that was set back further than this is believed.
        if 0 <= self._last - now < 1000:
            now = self._last + 1
        self._last = now
        seconds, milliseconds = divmod(now, 1000)
        moment = datetime.fromtimestamp(seconds, UTC)
        return f"{moment:%Y-%m-%dT%H:%M:%S}.{milliseconds:03d}Z"


@dataclass(frozen=True)
class Entry:
    """One line of the spool and where it ends; `reading` is None where a crash spoiled the line."""

    reading: dict[str, Any] | None
    line: str
    end: int


class Spool:
    """Readings on disk between the sensor and the service. For one process; any of its threads may call."""

    def __init__(self, directory: Path) -> None:
        directory.mkdir(parents=True, exist_ok=True)
        self._directory = directory
        self._readings = directory / "readings.jsonl"
        self._refused = directory / "refused.jsonl"
        self._position_file = directory / "position"
        self._lock = os.open(directory / "lock", os.O_RDWR | os.O_CREAT, 0o640)
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise OSError(
                f"another process is using {directory}; nothing was taken from the input"
            ) from error
        self._readings.touch(0o640)
        self._refused.touch(0o640)
        self._sync_directory()
        self._guard = threading.RLock()
        self._held: deque[tuple[Path, dict[str, Any]]] = deque()
        self._position = self._stored_position()
        self.arrived = threading.Event()
        self.lost = 0

    def take(self, reading: dict[str, Any]) -> None:
        """Keep a reading until the service has handled it."""
        self._hold(self._readings, reading)

    def set_aside_line(self, line: str, at: str, reason: str) -> None:
        """Keep a line that is no reading, with the reason, among the refused."""
        say(f"set aside {line!r}: {reason}")
        self._hold(self._refused, {"type": "unreadable-line", "message": reason, "at": at, "line": line})

    def set_aside(self, entry: Entry, kind: str, message: str) -> None:
        """Put an entry among the refused, on disk before this returns, else OSError."""
        say(f"set aside {entry.line}: {message}")
        what = {"line": entry.line} if entry.reading is None else {"reading": entry.reading}
        with self._guard:
            _append(self._refused, {"type": kind, "message": message} | what)

    def write_held(self) -> bool:
        """Write to disk what waits in memory, oldest first; False if the disk won't take it."""
        with self._guard:
            while self._held:
                try:
                    _append(*self._held[0])
                except OSError as error:
                    if len(self._held) == 1:
                        say(f"can't write to {self._directory} ({error}); new readings wait in memory")
                    return False
                self._held.popleft()
            return True

    def pending(self, limit: int) -> list[Entry]:
        """The oldest readings not yet handled, at most `limit`; a spoiled line comes alone."""
        entries: list[Entry] = []
        with self._guard, open(self._readings, "rb") as file:
            file.seek(self._position)
            while len(entries) < limit and (raw := file.readline()):
                entry = Entry(_reading_of(raw), raw.decode(errors="replace").strip(), file.tell())
                if entry.reading is None:
                    return entries or [entry]
                entries.append(entry)
        return entries

    def handled(self, end: int) -> None:
        """Everything up to `end` is done with. Where that can't be written down, a restart sends it again."""
        with self._guard:
            self._position = end
            try:
                if end < self._readings.stat().st_size:
                    self._write_position()
                    return
                # The position goes first: a crash in between then sends again, while a stale position over a
                # file begun anew would skip what nobody has sent.
                if self._position_file.exists():
                    self._position_file.unlink()
                    self._sync_directory()
                with open(self._readings, "r+b") as file:
                    file.truncate(0)
                    self._position = 0
                    os.fsync(file.fileno())
            except OSError as error:
                say(f"can't write down what was sent ({error}); after a restart it is sent again")

    def drop_held(self) -> None:
        """Give up what the disk would not take, at the end of the program."""
        with self._guard:
            self.lost += len(self._held)
            self._held.clear()

    def _hold(self, file: Path, record: dict[str, Any]) -> None:
        with self._guard:
            self._held.append((file, record))
            self.write_held()
            if len(self._held) > HELD_IN_MEMORY:
                self._held.popleft()
                self.lost += 1
                say(f"neither disk nor memory can hold more: {self.lost} lines lost so far")
        self.arrived.set()

    def _stored_position(self) -> int:
        try:
            position = int(self._position_file.read_text("ascii"))
        except (FileNotFoundError, ValueError):
            return 0
        with open(self._readings, "rb") as file:
            file.seek(max(position - 1, 0))
            return position if file.read(1) == b"\n" else 0

    def _write_position(self) -> None:
        new = self._position_file.with_suffix(".new")
        with open(new, "w", encoding="ascii") as file:
            file.write(str(self._position))
            file.flush()
            os.fsync(file.fileno())
        new.replace(self._position_file)
        self._sync_directory()

    def _sync_directory(self) -> None:
        directory = os.open(self._directory, os.O_RDONLY)
        try:
            os.fsync(directory)
        finally:
            os.close(directory)


def _append(path: Path, record: dict[str, Any]) -> None:
    """Add one line to a file, on disk before this returns; a failed one leaves the file as it was."""
    with open(path, "a+b", buffering=0) as file:
        size = file.seek(0, os.SEEK_END)
        line = json.dumps(record, allow_nan=False).encode() + b"\n"
        if size and os.pread(file.fileno(), 1, size - 1) != b"\n":
            # A crash cut the last line off: end it, so that this one stays whole.
            line = b"\n" + line
        try:
            while line:
                line = line[file.write(line) :]
            os.fsync(file.fileno())
        except OSError:
            file.truncate(size)
            raise


def _reading_of(raw: bytes) -> dict[str, Any] | None:
    try:
        reading = json.loads(raw)
        return reading if math.isfinite(reading["value"]) and {"gauge", "at"} <= reading.keys() else None
    except (ValueError, TypeError, LookupError, OverflowError):
        return None


class Kept(Exception):
    """Nothing was handled, and not for the readings' fault: keep them and try again.

    `slow` when only a person can mend it; `after` the seconds that the server asked for.
    """

    def __init__(self, message: str, *, slow: bool = False, after: float = 0.0) -> None:
        super().__init__(message)
        self.slow = slow
        self.after = after


@dataclass(frozen=True)
class Reply:
    status: int
    retry_after: str
    body: Any
    """The decoded JSON, None where it was none."""

    @property
    def message(self) -> str:
        if isinstance(self.body, dict):
            return str(self.body.get("detail") or self.body.get("title") or self.status)
        return f"status {self.status}"


class Service:
    """The one request of this program."""

    def __init__(self, server: SplitResult, key_file: Path | None, timeout: float) -> None:
        self._server = server
        self._key_file = key_file
        self._timeout = timeout

    def post(self, readings: list[dict[str, Any]]) -> Reply:
        """Send one batch. Raises Kept where no answer came."""
        secure = self._server.scheme == "https"
        connect = http.client.HTTPSConnection if secure else http.client.HTTPConnection
        headers = {
            "Authorization": f"Bearer {self._key()}",
            "Content-Type": "application/json",
            "Accept": "application/json, application/problem+json",
        }
        body = json.dumps({"readings": readings}, allow_nan=False).encode()
        connection = connect(self._server.hostname or "", self._server.port, timeout=self._timeout)
        try:
            path = self._server.path.rstrip("/") + "/v1/readings?partial=true"
            connection.request("POST", path, body, headers)
            response = connection.getresponse()
            text = response.read(LONGEST_REPLY)
        except (OSError, http.client.HTTPException) as error:
            raise Kept(f"no answer from the server ({error or type(error).__name__})") from error
        finally:
            connection.close()
        is_json = response.headers.get_content_type() in ("application/json", "application/problem+json")
        try:
            decoded = json.loads(text) if is_json else None
        except ValueError:
            decoded = None
        return Reply(response.status, response.headers.get("Retry-After", ""), decoded)

    def _key(self) -> str:
        """The key, read anew each time, so that a mended key file is found without a restart."""
        try:
            key = self._key_file.read_text("ascii") if self._key_file else os.environ.get("WEIRBOOK_KEY", "")
        except (OSError, ValueError) as error:
            raise Kept(f"can't read the key file ({error})", slow=True) from error
        key = key.strip()
        if not re.fullmatch(r"[!-~]+", key):
            raise Kept("the key is empty or holds spaces or letters that no key has", slow=True)
        return key


class Sender:
    """Takes readings from the spool to the service until there are none left."""

    def __init__(self, spool: Spool, service: Service, longest_wait: float, linger: float) -> None:
        self._spool = spool
        self._service = service
        self._limit = BATCH
        self._longest_wait = longest_wait
        self._linger = linger
        self._input_ended = threading.Event()
        self._deadline = math.inf

    def input_ended(self) -> None:
        """No more lines will come: what is left gets `linger` seconds."""
        self._deadline = time.monotonic() + self._linger
        self._input_ended.set()
        self._spool.arrived.set()

    def run(self) -> int:
        """Send until the input has ended and all is handled; the program's exit status."""
        failures = 0
        while True:
            self._spool.arrived.clear()
            ended = self._input_ended.is_set()
            on_disk = self._spool.write_held()
            entries = self._spool.pending(self._limit)
            try:
                if entries:
                    self._deliver(entries)
                    failures = 0
                elif not on_disk:
                    raise Kept("the disk takes no new readings", after=DISK_RETRY_SECONDS)
                elif ended:
                    return LOST if self._spool.lost else ALL_HANDLED
                else:
                    self._spool.arrived.wait()
            except Kept as kept:
                say(f"{kept}; readings are kept")
                if not self._pause(self._wait_after(failures, kept)):
                    break
                failures += 1
            except OSError as error:
                say(f"can't write to the spool ({error}); trying again")
                if not self._pause(DISK_RETRY_SECONDS):
                    break
        self._spool.write_held()
        self._spool.drop_held()
        if self._spool.lost:
            say(f"{self._spool.lost} lines were lost: the disk would not take them")
            return LOST
        say("stopping; the rest stays in the spool for the next start")
        return KEPT_FOR_LATER

    def _deliver(self, entries: list[Entry]) -> None:
        """Send a batch and settle each of its readings; raises Kept with the unsettled still in the spool."""
        if entries[0].reading is None:
            self._settle_alone(
                entries[0], "spoiled-line", "this line of the spool was cut off or overwritten"
            )
            return
        reply = self._service.post([entry.reading for entry in entries if entry.reading is not None])
        if reply.status == 200:
            for refusal in _refusals(reply, len(entries)):
                entry = entries[refusal["index"]]
                self._spool.set_aside(entry, str(refusal.get("type")), str(refusal.get("message")))
            self._spool.handled(entries[-1].end)
        elif reply.status == 413 or (reply.status in (400, 409, 415, 422) and isinstance(reply.body, dict)):
            # Refused as a whole: halve it until the reading to blame stands alone. Only a problem in JSON is
            # the service's own word; a gateway's error page must not send every reading to the refused ones.
            if len(entries) == 1:
                self._settle_alone(entries[0], f"status-{reply.status}", reply.message)
                return
            middle = len(entries) // 2
            if reply.status == 413:
                self._limit = middle
            self._deliver(entries[:middle])
            self._deliver(entries[middle:])
        elif reply.status in (401, 403):
            raise Kept(f"the key is not accepted ({reply.message}); mend the key", slow=True)
        elif reply.status in (408, 429) or reply.status >= 500:
            raise Kept(
                f"the server can't take it now ({reply.message})", after=_seconds_of(reply.retry_after)
            )
        else:
            raise Kept(f"this is no answer of Weirbook's: {reply.message}; check --server", slow=True)

    def _settle_alone(self, entry: Entry, kind: str, message: str) -> None:
        self._spool.set_aside(entry, kind, message)
        self._spool.handled(entry.end)

    def _wait_after(self, failures: int, kept: Kept) -> float:
        """Doubling from one second, spread at random so that many sensors don't all come back at once."""
        longest = self._longest_wait
        wait = longest if kept.slow else min(longest, 2.0 ** min(failures, 30))
        return max(wait * random.uniform(0.5, 1.0), kept.after)

    def _pause(self, seconds: float) -> bool:
        """Wait; False when the program should rather end."""
        until = time.monotonic() + seconds
        self._input_ended.wait(seconds)
        if self._input_ended.is_set() and until > self._deadline:
            return False
        time.sleep(max(0.0, until - time.monotonic()))
        return True


def _refusals(reply: Reply, sent: int) -> list[dict[str, Any]]:
    """The refused readings of a batch; Kept unless the reply accounts for every reading that was sent."""
    try:
        body = reply.body
        refusals = [dict(refusal) for refusal in body["refusals"]]
        places = {refusal["index"] for refusal in refusals}
        accounted = (
            body["sent"] == sent == body["stored"] + body["repeated"] + body["refused"]
            and body["refused"] == len(places)
            and places <= set(range(sent))
        )
    except (TypeError, ValueError, LookupError):
        accounted = False
    if not accounted:
        raise Kept("the reply does not account for what was sent; check --server", slow=True)
    return refusals


def _seconds_of(retry_after: str) -> float:
    """Retry-After (RFC 9110, 10.2.3): seconds or a date; 0 where there is none."""
    try:
        seconds = float(retry_after)
    except ValueError:
        try:
            seconds = email.utils.parsedate_to_datetime(retry_after).timestamp() - time.time()
        except ValueError:
            return 0.0
    return min(max(seconds, 0.0), LONGEST_RETRY_AFTER) if math.isfinite(seconds) else 0.0


def take_lines(stream: BinaryIO, spool: Spool, gauge: str | None) -> None:
    """Stamp each line as it comes and put it in the spool."""
    clock = Clock()
    while raw := stream.readline(LONGEST_LINE + 1):
        at = clock.stamp()
        whole = raw.endswith(b"\n")
        line = raw.decode(errors="replace").strip()
        while len(raw) > LONGEST_LINE and not raw.endswith(b"\n"):
            raw = stream.readline(LONGEST_LINE + 1)
            line, whole = line[:80], False
        if whole and not line:
            continue
        try:
            if not whole:
                # The front half of "24.5" is the number 2: without its end a line can't be trusted.
                raise Unreadable("too long, or cut off: the line has no end")
            if int(at[:4]) < CLOCK_NOT_SET_BEFORE:
                raise Unreadable("this machine's clock is not set, so nobody knows when this was read")
            handle, value = parse_line(line, gauge)
        except Unreadable as reason:
            spool.set_aside_line(line, at, str(reason))
        else:
            spool.take({"gauge": handle, "value": value, "at": at})


def server_address(text: str) -> SplitResult:
    """Where the service is: http or https, host, perhaps port and path prefix, nothing else."""
    try:
        parts = urlsplit(text)
        plain = parts.port != 0 and not (parts.query or parts.fragment or "@" in parts.netloc)
        plain = plain and text.isascii() and " " not in text
    except ValueError:
        plain = False
    if not plain or parts.scheme not in ("http", "https") or not parts.hostname:
        raise argparse.ArgumentTypeError(f"{text!r} is not an address such as https://weirbook.example")
    return parts


def number_above_zero(text: str) -> float:
    value = float(text)
    if not 0 < value < math.inf:
        raise ValueError
    return value


def options(arguments: list[str] | None = None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False
    )
    add = parser.add_argument
    add("--server", type=server_address, required=True, metavar="URL", help="where Weirbook answers")
    add("--spool", type=Path, required=True, metavar="DIR", help="directory for what waits to be sent")
    add("--gauge", metavar="HANDLE", help="gauge of the lines that hold a value only")
    add("--key-file", type=Path, metavar="FILE", help="file that holds the key (else WEIRBOOK_KEY)")
    add(
        "--once",
        action="store_true",
        help="take the lines there are (from a terminal none), send all that waits without trying again what "
        "fails, and end",
    )
    for name, default, meaning in (
        ("--timeout", 30.0, "longest wait for an answer"),
        ("--longest-wait", 300.0, "longest pause between tries"),
        ("--linger", 30.0, "how long to go on trying when the input has ended"),
    ):
        about = f"{meaning} ({default:g})"
        add(name, type=number_above_zero, default=default, metavar="SECONDS", help=about)
    chosen = parser.parse_args(arguments)
    if chosen.key_file is None and not os.environ.get("WEIRBOOK_KEY"):
        parser.error("no key: set WEIRBOOK_KEY or give --key-file")
    return chosen


def main() -> int:
    chosen = options()
    if chosen.server.scheme == "http" and chosen.server.hostname not in ("127.0.0.1", "::1", "localhost"):
        say("without https the key can be read on the way")
    try:
        spool = Spool(chosen.spool)
    except OSError as error:
        say(f"can't use the spool: {error}")
        return LOST
    service = Service(chosen.server, chosen.key_file, chosen.timeout)
    sender = Sender(spool, service, chosen.longest_wait, 0.0 if chosen.once else chosen.linger)
    status: list[int] = []
    threading.excepthook = end_program
    sending = threading.Thread(target=lambda: status.append(sender.run()), daemon=True)
    sending.start()
    try:
        if not (chosen.once and sys.stdin.isatty()):
            take_lines(sys.stdin.buffer, spool, chosen.gauge)
        sender.input_ended()
        sending.join()
    except KeyboardInterrupt:
        say("interrupted; the rest stays in the spool for the next start")
        return KEPT_FOR_LATER
    return status[0]


def end_program(trouble: threading.ExceptHookArgs) -> None:
    """Spooling on without a sender would look like work: end, and be started afresh."""
    threading.__excepthook__(trouble)
    os._exit(LOST)


if __name__ == "__main__":
    sys.exit(main())
