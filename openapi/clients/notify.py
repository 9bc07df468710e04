#!/usr/bin/env python3
"""Follow the room's alerts in Weirbook and tell people: by mail, or by running a command.

Needs Python 3.11 or newer on Linux, macOS or another Unix, and no package.

    notify.py --config notify.toml           follow the log until stopped (SIGTERM, Ctrl-C)
    notify.py --config notify.toml --once    one round, for cron
    notify.py --config notify.toml --try     tell everybody a trial message: do this first, and after changes
    notify.py --config notify.toml --watch BEAT_FILE --older-than 10m
                                             tell the keeper if the beats of a notifier have stopped

The configuration is one TOML file:

    server = "https://weirbook.example"
    key_file = "/etc/weirbook/notify.key"    # a key with the helper role; else WEIRBOOK_KEY
    folder = "/var/lib/weirbook-notify"      # what is kept between rounds
    name = "notify"                          # the service knows this follower by it
    time_zone = "Europe/Lisbon"              # of the messages; else this machine's
    every = "10s"                            # between rounds
    timeout = "20s"                          # longest wait for an answer, a mail server, a command
    unreachable_after = "10m"                # then say that the room can't be watched
    default = ["keeper"]                     # told where an alert names nobody, and of trouble with the watch
    also = []                                # told of everything
    escalate_to = ["bea"]                    # told of what nobody acknowledged ...
    escalate_after = "30m"                   # ... for this long

    [people]                                 # by the handles of the room's helpers, or any other names
    keeper = { mail = "keeper@weirbook.example" }
    ana = { mail = "ana@weirbook.example" }
    bea = { command = ["/usr/local/bin/ring", "bea"] }

    [mail]
    host = "mail.weirbook.example"
    security = "starttls"                    # or "tls"; "none" only to a mail server on this machine
    port = 587                               # else the usual one: 587, 465 or 25
    user = "weirbook"                        # leave out where no login is wanted
    password_file = "/etc/weirbook/mail.password"    # else WEIRBOOK_MAIL_PASSWORD
    from = "weirbook@weirbook.example"
    ca_file = "/etc/weirbook/mail.pem"       # only for a mail server with a certificate of its own making

    [beat]                                   # for a watchdog outside the room
    file = "/var/lib/weirbook-notify/beat"
    address = "https://watchdog.example/room-17"

Everything but server, default, people and what these need may be left out. Secrets stand in files readable by
this program's user alone, or in the environment, never on the command line. A command gets the message on its
standard input and WEIRBOOK_SUBJECT, WEIRBOOK_PERSON, WEIRBOOK_PLACES and WEIRBOOK_ALERTS in its environment;
it runs without a shell and must end with status 0, else it is run again.

Every alert is told at least once. How far the log was read and what is still to be told stand in one file,
replaced as a whole, and a message leaves it only when the mail server or the command has taken it. So nothing
is lost when this program is killed or the mail server is away; after a crash in between, a message may come
twice. Who can't be told holds up nobody else; after `unreachable_after` the default is told as well.

A beat is sent only after a round in which the service answered, everything was told and it was all written to
disk: the service warns where it hears no beat, and so can you, see --watch. Silence is not safety.

Exit status: 0 stopped, or all is told; 75 with --once or --try: something could not be asked or told now, and
is kept; 1 the folder can't be used, or with --watch: the beats have stopped; 2 wrong options or configuration;
3 the key is not accepted.
"""

from __future__ import annotations

import argparse
import email.utils
import fcntl
import http.client
import json
import math
import os
import re
import shlex
import signal
import smtplib
import ssl
import subprocess
import sys
import threading
import time
import tomllib
import zoneinfo
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from email.message import EmailMessage
from pathlib import Path
from typing import Any
from urllib.parse import SplitResult, quote, urlencode, urlsplit

ALL_TOLD, NOT_WELL, WRONG, NO_KEY, LATER = 0, 1, 2, 3, 75

PAGE = 200
LONGEST_REPLY = 8_000_000
LONGEST_WAIT = 60.0
LONGEST_RETRY_AFTER = 3600.0
BEAT_SECONDS = 30.0
MOST_IN_ONE_MESSAGE = 30
LONGEST_SUBJECT = 120
JSON, PROBLEM_JSON = "application/json", "application/problem+json"
KEY, PASSWORD = "WEIRBOOK_KEY", "WEIRBOOK_MAIL_PASSWORD"
LOOPBACK = ("127.0.0.1", "::1", "localhost")
PORTS = {"starttls": 587, "tls": 465, "none": 25}

CALLS = ("opened", "repeated", "escalated")
"""What an alert does that somebody must hear; `unanswered` is this program's own."""
UNANSWERED = "unanswered"
WHATS = (*CALLS, "acknowledged", "reopened", "muted", "unmuted", "owned", "changed", "closed")
HEADS = {
    "opened": "Alert",
    "repeated": "Still",
    "escalated": "Nobody has answered",
    UNANSWERED: "Nobody has answered",
    "acknowledged": "Seen to",
    "reopened": "Wants somebody again",
    "muted": "Muted",
    "unmuted": "No longer muted",
    "owned": "Handed over",
    "changed": "Changed",
    "closed": "Over",
}
TOLD_AS = {
    "opened": "Opened",
    "repeated": "Still open",
    "escalated": "Passed on, as nobody had acknowledged it",
    UNANSWERED: "Still not acknowledged",
    "acknowledged": "Acknowledged",
    "reopened": "Acknowledgement taken back",
    "muted": "Muted",
    "unmuted": "Mute ended",
    "owned": "Handed over",
    "changed": "Changed",
    "closed": "Closed",
}

Json = dict[str, Any]


def say(text: str) -> None:
    print(f"notify: {plain(text)}", file=sys.stderr, flush=True)


def plain(text: object) -> str:
    """Text of others on one line, without what could steer a terminal or a mail header."""
    return " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())


class Wrong(Exception):
    """The configuration or the options can't work; the text says what to write instead."""


@dataclass(frozen=True)
class Person:
    """Who is told, by mail or by a command."""

    name: str
    mail: str
    command: tuple[str, ...]


@dataclass(frozen=True)
class Mail:
    host: str
    port: int
    security: str
    user: str
    password_file: Path | None
    sender: str
    ca_file: Path | None


@dataclass(frozen=True)
class Config:
    server: SplitResult | None
    key_file: Path | None
    folder: Path
    name: str
    zone: tzinfo | None
    every: float
    timeout: float
    unreachable_after: timedelta
    escalate_after: timedelta
    escalate_to: tuple[str, ...]
    default: tuple[str, ...]
    also: tuple[str, ...]
    people: dict[str, Person]
    mail: Mail | None
    beat_file: Path | None
    beat_address: SplitResult | None


class Table:
    """One table of the configuration. What it holds beyond the known settings is refused, so that no typing
    error leaves somebody untold. Values are never repeated: one could be a misplaced secret."""

    def __init__(self, values: object, where: str, known: Sequence[str] | None) -> None:
        self._where = where
        if not isinstance(values, dict):
            raise Wrong(f"{where} must be a table of settings")
        self._values = values
        for name in values:
            if known is not None and name not in known:
                raise Wrong(f"{self.path(name)} is not known here; there are: {', '.join(known)}")

    def path(self, name: str) -> str:
        return f"{self._where}.{name}" if self._where else name

    def refuse(self, name: str, wanted: str) -> Wrong:
        return Wrong(f"{self.path(name)} must be {wanted}")

    def text(self, name: str, default: str | None = None, pattern: str = r"[^\x00-\x1f\x7f]+") -> str:
        value = self._values.get(name, default)
        if value is None:
            raise Wrong(f"{self.path(name)} is missing")
        if not isinstance(value, str) or (value != default and not re.fullmatch(pattern, value)):
            raise self.refuse(name, "a text in quotes, on one line, such as the example in --help")
        return value

    def texts(self, name: str) -> tuple[str, ...]:
        value = self._values.get(name, [])
        value = [value] if isinstance(value, str) else value
        if not isinstance(value, list) or not all(isinstance(one, str) and one for one in value):
            raise self.refuse(name, 'a list of texts, such as ["ana", "bea"]')
        return tuple(value)

    def path_of(self, name: str) -> Path | None:
        text = self.text(name, "")
        return Path(text).expanduser() if text else None

    def span(self, name: str, default: str) -> float:
        try:
            return seconds(self.text(name, default))
        except ValueError:
            raise self.refuse(name, 'a length of time such as "10s", "5m" or "2h"') from None

    def address(self, name: str) -> SplitResult:
        try:
            return web_address(self.text(name), prefix_only=name == "server")
        except ValueError:
            raise self.refuse(name, "an address such as https://weirbook.example") from None

    def holds(self, name: str) -> bool:
        return name in self._values

    def part(self, name: str, known: Sequence[str] | None) -> Table:
        return Table(self._values.get(name, {}), self.path(name), known)

    def names(self) -> Iterator[str]:
        yield from self._values

    def port(self, name: str, default: int) -> int:
        value = self._values.get(name, default)
        if type(value) is not int or not 0 < value < 65536:
            raise self.refuse(name, "a port from 1 to 65535")
        return value

    def mail_address(self, name: str) -> str:
        address = self.text(name)
        if not re.fullmatch(r"[!-?A-~]+@[A-Za-z0-9.\-\[\]:]+", address):
            raise self.refuse(name, "one mail address, such as ana@weirbook.example")
        return address


def seconds(text: str) -> float:
    """A length of time: "90s", "10m", "2h", "1d"; a bare number is seconds. Raises ValueError."""
    found = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?) ?([smhd]?)", text)
    value = float(found[1]) * {"": 1, "s": 1, "m": 60, "h": 3600, "d": 86400}[found[2]] if found else 0.0
    if not 0 < value <= 30 * 86400:
        raise ValueError(text)
    return value


def web_address(text: str, *, prefix_only: bool) -> SplitResult:
    """An http or https address; of a service's own without query. Raises ValueError."""
    parts = urlsplit(text)
    fits = (
        parts.port != 0
        and "@" not in parts.netloc
        and not parts.fragment
        and not (prefix_only and parts.query)
    )
    if (
        not fits
        or not re.fullmatch(r"[!-~]+", text)
        or parts.scheme not in ("http", "https")
        or not parts.hostname
    ):
        raise ValueError
    return parts


SETTINGS = (
    *("server", "key_file", "folder", "name", "time_zone", "every", "timeout", "unreachable_after"),
    *("escalate_after", "escalate_to", "default", "also", "people", "mail", "beat"),
)


def read_config(path: Path, *, follows: bool) -> Config:
    """The configuration, checked as a whole. Raises Wrong."""
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise Wrong(f"{path} can't be read: {error}") from None
    try:
        return config_of(Table(values, "", SETTINGS), follows=follows)
    except Wrong as wrong:
        raise Wrong(f"{path}: {wrong}") from None


def config_of(top: Table, *, follows: bool) -> Config:
    people = people_of(top)
    if not top.texts("default"):
        raise Wrong("default is missing: name who is told where an alert names nobody")
    for name in ("default", "also", "escalate_to"):
        for person in top.texts(name):
            if person not in people:
                raise Wrong(
                    f"{name} names {person!r}, who is not among people: {', '.join(people) or 'nobody'}"
                )
    mail = mail_of(top.part("mail", ("host", "port", "security", "user", "password_file", "from", "ca_file")))
    if mail is None and any(person.mail for person in people.values()):
        raise Wrong("mail is missing: give the mail server as [mail] with host, security and from")
    beat = top.part("beat", ("file", "address"))
    states = os.environ.get("XDG_STATE_HOME", "")
    state = Path(states) if states.startswith("/") else Path.home() / ".local" / "state"
    return Config(
        server=top.address("server") if follows or top.holds("server") else None,
        key_file=top.path_of("key_file"),
        folder=top.path_of("folder") or state / "weirbook-notify",
        name=top.text("name", "notify", r"[a-z0-9]+(-[a-z0-9]+)*"),
        zone=zone_of(top),
        every=top.span("every", "10s"),
        timeout=top.span("timeout", "20s"),
        unreachable_after=timedelta(seconds=top.span("unreachable_after", "10m")),
        escalate_after=timedelta(seconds=top.span("escalate_after", "30m")),
        escalate_to=top.texts("escalate_to"),
        default=top.texts("default"),
        also=top.texts("also"),
        people=people,
        mail=mail,
        beat_file=beat.path_of("file"),
        beat_address=beat.address("address") if beat.holds("address") else None,
    )


def people_of(top: Table) -> dict[str, Person]:
    everybody = top.part("people", None)
    people = {}
    for name in everybody.names():
        if not re.fullmatch(r"[A-Za-z0-9_-]+", name):
            raise Wrong(f"people.{plain(name)!r}: a name is made of letters, digits and hyphens")
        one = everybody.part(name, ("mail", "command"))
        if one.holds("mail") == one.holds("command"):
            raise Wrong(f"people.{name} must have either mail or command")
        command = one.texts("command")
        if one.holds("command") and not command:
            raise one.refuse("command", 'a list of words, such as ["/usr/local/bin/ring", "bea"]')
        people[name] = Person(name, one.mail_address("mail") if one.holds("mail") else "", command)
    return people


def mail_of(table: Table) -> Mail | None:
    if not list(table.names()):
        return None
    host = table.text("host", pattern=r"[A-Za-z0-9.:\-]+")
    security = table.text("security", "starttls")
    if security not in PORTS:
        raise table.refuse("security", '"starttls", "tls" or "none"')
    if security == "none" and host not in LOOPBACK:
        raise Wrong(
            'mail.security "none" is only for a mail server on this machine: write "starttls" or "tls"'
        )
    mail = Mail(
        host=host,
        port=table.port("port", PORTS[security]),
        security=security,
        user=table.text("user", ""),
        password_file=table.path_of("password_file"),
        sender=table.mail_address("from"),
        ca_file=table.path_of("ca_file"),
    )
    if mail.user and mail.password_file is None and not os.environ.get(PASSWORD):
        raise Wrong(f"mail.user needs a password: give mail.password_file or set {PASSWORD}")
    return mail


def zone_of(top: Table) -> tzinfo | None:
    name = top.text("time_zone", "")
    try:
        return zoneinfo.ZoneInfo(name) if name else None
    except (OSError, ValueError, zoneinfo.ZoneInfoNotFoundError):
        raise top.refuse("time_zone", "a zone that this machine knows, such as Europe/Lisbon") from None


def secret(file: Path | None, variable: str) -> str:
    """A key or password, read anew each time, so that a mended one is found. Raises OSError, ValueError."""
    text = (file.read_text("utf-8") if file else os.environ.get(variable, "")).strip()
    if not text or not text.isprintable():
        raise ValueError(f"{file or variable} holds nothing that can be a key or password")
    return text


class Store:
    """One JSON object on disk, replaced as a whole. For one process at a time."""

    def __init__(self, folder: Path, name: str) -> None:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._path = folder / f"{name}.json"
        self._lock = os.open(folder / f"{name}.lock", os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise OSError(f"another notify.py is at work in {folder}") from error
        self._written = b""
        self.state: Json = {"outbox": {}, "untold": {}}
        if self._path.exists():
            self._load()

    def save(self) -> bool:
        """Put the state on disk, if it has changed; False if the disk won't take it."""
        text = json.dumps(self.state, ensure_ascii=True, indent=1).encode()
        if text == self._written:
            return True
        try:
            replace(self._path, text)
        except OSError as error:
            say(f"can't write {self._path} ({error}); after a restart some of it is told again")
            return False
        self._written = text
        return True

    def _load(self) -> None:
        text = self._path.read_bytes()
        try:
            state = json.loads(text)
            fits = all(isinstance(state[name], dict) for name in ("outbox", "untold"))
        except (ValueError, LookupError, TypeError):
            fits = False
        if fits:
            self.state, self._written = state, text
            return
        # A damaged disk: begin as after a lost log, which tells the keeper what is open.
        say(f"{self._path} is damaged; it is kept as {self._path.name}.spoiled")
        self._path.replace(self._path.with_name(f"{self._path.name}.spoiled"))
        self.state["spoiled"] = True


def replace(path: Path, text: bytes, mode: int = 0o600) -> None:
    """Write a file so that a crash leaves the old one or the new one. Raises OSError."""
    new = path.with_name(f"{path.name}.new")
    with open(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode), "wb") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    new.replace(path)
    directory = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(directory)
    finally:
        os.close(directory)


class Kept(Exception):
    """The service could not be asked: try again. `after` the seconds it asked for; `key` where only a better key
    helps."""

    def __init__(self, message: str, *, after: float = 0.0, key: bool = False) -> None:
        super().__init__(message)
        self.after = after
        self.key = key


class LogLost(Exception):
    """The service no longer knows the place in the log up to which we have read."""


def ask(
    address: SplitResult, method: str, path: str, headers: dict[str, str], body: bytes | None, timeout: float
) -> tuple[int, http.client.HTTPMessage, bytes]:
    """One request; status, headers, body. Raises OSError, HTTPException, UnicodeError."""
    connect = http.client.HTTPSConnection if address.scheme == "https" else http.client.HTTPConnection
    connection = connect(address.hostname or "", address.port, timeout=timeout)
    try:
        connection.request(method, path, body, headers)
        response = connection.getresponse()
        return response.status, response.headers, response.read(LONGEST_REPLY)
    finally:
        connection.close()


class Service:
    """The three requests to Weirbook. All raise Kept unless it answers as it promises."""

    def __init__(self, server: SplitResult, key_file: Path | None, timeout: float) -> None:
        self._server = server
        self._key_file = key_file
        self._timeout = timeout
        self.url = server.geturl().rstrip("/")

    def changes(self, since: str) -> tuple[list[Json], str, bool]:
        """Entries behind a cursor, the cursor behind them, and whether there are more. Raises LogLost too."""
        body = self._ask("GET", f"/v1/changes?{urlencode({'since': since, 'limit': PAGE})}")
        items, cursor = _items(body), body.get("cursor")
        if not isinstance(cursor, str) or not cursor or (body.get("more") and cursor == since):
            raise Kept("this is no answer of Weirbook's; check server")
        return items, cursor, body.get("more") is True

    def open_alerts(self) -> list[Json]:
        """Every open alert."""
        found: list[Json] = []
        query = {"open": "true"}
        while True:
            body = self._ask("GET", f"/v1/alerts?{urlencode(query)}")
            found += _items(body)
            following = body.get("next")
            if not following or following == query.get("cursor"):
                return found
            query["cursor"] = str(following)

    def beat(self, name: str, cursor: str) -> None:
        """Let the service know that somebody follows, and how far."""
        self._ask("PUT", f"/v1/followers/{quote(name, safe='')}", {"cursor": cursor})

    def _ask(self, method: str, path: str, body: Json | None = None) -> Json:
        try:
            key = secret(self._key_file, KEY)
            if not re.fullmatch(r"[!-~]+", key):
                raise ValueError("it holds spaces or letters that no key has")
        except (OSError, ValueError) as error:
            raise Kept(f"no key: {error}. Give key_file or set {KEY}", key=True) from None
        headers = {"Authorization": f"Bearer {key}", "Accept": f"{JSON}, {PROBLEM_JSON}"}
        headers |= {"Content-Type": JSON} if body is not None else {}
        text = json.dumps(body).encode() if body is not None else None
        path = self._server.path.rstrip("/") + path
        try:
            status, got, answer = ask(self._server, method, path, headers, text, self._timeout)
        except (OSError, http.client.HTTPException, UnicodeError) as error:
            raise Kept(f"no answer from {self.url} ({error or type(error).__name__})") from None
        return self._judged(status, got, answer)

    def _judged(self, status: int, got: http.client.HTTPMessage, answer: bytes) -> Json:
        body: object = None
        if got.get_content_type() in (JSON, PROBLEM_JSON):
            try:
                body = json.loads(answer)
            except ValueError:
                body = None
        told = body if isinstance(body, dict) else {}
        message = plain(told.get("detail") or told.get("title") or f"status {status}")[:300]
        if status in (401, 403):
            raise Kept(f"the key is not accepted ({message}). It needs the helper role", key=True)
        if status == 410:
            raise LogLost(message)
        if status in (408, 429) or status >= 500:
            after = wait_of(got.get("Retry-After", ""))
            raise Kept(f"the service can't answer now ({message})", after=after)
        if status != 200 or not isinstance(body, dict):
            raise Kept(f"this is no answer of Weirbook's ({message}); check server")
        return body


def _items(body: Json) -> list[Json]:
    items = body.get("items")
    if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
        raise Kept("this is no answer of Weirbook's; check server")
    return items


def wait_of(retry_after: str) -> float:
    """Retry-After (RFC 9110, 10.2.3): seconds or a date; 0 where there is none."""
    try:
        value = float(retry_after)
    except ValueError:
        try:
            value = email.utils.parsedate_to_datetime(retry_after).timestamp() - time.time()
        except ValueError:
            return 0.0
    return min(max(value, 0.0), LONGEST_RETRY_AFTER) if math.isfinite(value) else 0.0


@dataclass(frozen=True)
class Words:
    """How the messages are worded: by which clock, and how to acknowledge at which server."""

    zone: tzinfo | None
    url: str

    def time(self, instant: object) -> str:
        return moment(instant).astimezone(self.zone).strftime("%Y-%m-%d %H:%M %Z")

    def message(self, notices: Sequence[Json]) -> tuple[str, str]:
        """Subject and text of one message; what wants somebody stands first."""
        ordered = sorted(notices, key=lambda notice: not wants_somebody(notice))
        subject = self.subject(ordered[0])
        if len(ordered) > 1:
            subject += f" (and {len(ordered) - 1} more)"
        shown = ordered[:MOST_IN_ONE_MESSAGE]
        parts = [self.alert(one) if "alert" in one else str(one["text"]) for one in shown]
        if len(shown) < len(ordered):
            parts.append(
                f"And {len(ordered) - len(shown)} more: {self.url}/v1/alerts?open=true lists what is open."
            )
        return subject, "\n\n".join(parts) + "\n"

    def subject(self, notice: Json) -> str:
        if "alert" not in notice:
            return shortened(notice["subject"])
        return shortened(f"{head_of(notice)}: {notice['place']}: {notice['words']}")

    def alert(self, notice: Json) -> str:
        """What, where, since when, what came of it, and how to acknowledge."""
        events = notice["events"]
        lines = [notice["words"], f"{notice['place']}, since {self.time(notice['since'])}."]
        if over_already(notice):
            lines.append("It opened and closed again before you could be told.")
        for event in events:
            if event["what"] == "opened" and len(events) == 1:
                continue
            by = f" by {event['who']}" if event["who"] else ""
            line = f"{TOLD_AS[event['what']]} {self.time(event['at'])}{by}."
            lines.append(plain(f"{line} {event['words'].replace(notice['words'], '')}"))
        if wants_somebody(notice):
            lines += ["Acknowledge:", self.acknowledge(notice["alert"])]
        return "\n".join(lines)

    def acknowledge(self, alert: str) -> str:
        """A line to paste into a shell where WEIRBOOK_KEY is set."""
        address = shlex.quote(f"{self.url}/v1/alerts/{quote(alert, safe='')}")
        return (
            f'curl -X PATCH {address} -H "Authorization: Bearer ${KEY}"'
            f" -H 'If-Match: *' -H 'Content-Type: {JSON}' -d '{{\"acknowledged\": true}}'"
        )


def head_of(notice: Json) -> str:
    last = notice["events"][-1]["what"]
    return "Over already" if over_already(notice) else HEADS[last]


def over_already(notice: Json) -> bool:
    whats = [event["what"] for event in notice["events"]]
    return bool(whats[0] == "opened" and whats[-1] == "closed")


def wants_somebody(notice: Json) -> bool:
    if "alert" not in notice:
        return True
    last: str = notice["events"][-1]["what"]
    return last in (*CALLS, UNANSWERED, "reopened")


def shortened(text: str) -> str:
    text = plain(text)
    return text if len(text) <= LONGEST_SUBJECT else f"{text[: LONGEST_SUBJECT - 1]}…"


def moment(text: object) -> datetime:
    """An instant of the service's; now where it is none, since an alert with a bad time is still an alert."""
    try:
        found = datetime.fromisoformat(str(text))
        return found if found.tzinfo else found.replace(tzinfo=UTC)
    except ValueError:
        return datetime.now(UTC)


def told_field(item: Json, name: str) -> str:
    """What a field of the record became, if the entry tells; else nothing."""
    told = item.get("fields")
    fields = [one for one in told if isinstance(one, dict)] if isinstance(told, list) else []
    return next((str(one["after"]) for one in fields if one.get("field") == name and one.get("after")), "")


def stamp() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def age(instant: str) -> timedelta:
    """How long ago; nothing for what lies ahead, as after a clock was set back."""
    return max(timedelta(0), datetime.now(UTC) - moment(instant))


def length(span: timedelta) -> str:
    minutes = int(span.total_seconds() // 60)
    return f"{minutes // 60} h {minutes % 60} min" if minutes >= 60 else f"{minutes} min"


class Untold(Exception):
    """A message was not taken."""


class Teller:
    """Keeps what is to be told to each person in the store until it was taken."""

    def __init__(self, config: Config, store: Store, words: Words) -> None:
        self._config = config
        self._store = store
        self._words = words
        self._outbox: dict[str, list[Json]] = store.state["outbox"]
        self._untold: dict[str, Json] = store.state["untold"]
        self._failures: dict[str, int] = {}
        self._not_before: dict[str, float] = {}
        for gone in [name for name in self._outbox if name not in config.people]:
            for notice in self._outbox.pop(gone):
                self._put(config.default, notice)
        for gone in [name for name in self._untold if name not in config.people]:
            del self._untold[gone]

    def everybody_for(self, handles: Iterable[str]) -> list[str]:
        """Who is told for these handles: for one that has no entry the default, for one who can't be told for long
        a stand-in as well; `also` hears of everything."""
        chosen: list[str] = []
        for handle in handles:
            if handle not in self._config.people:
                chosen += self._config.default
                continue
            chosen.append(handle)
            if self._untold.get(handle, {}).get("passed_on"):
                chosen += self._stand_in()
        return list(dict.fromkeys([*chosen, *self._config.also]))

    def trouble(self, subject: str, text: str) -> None:
        """Tell the default about the watch itself."""
        say(f"{subject}. {text}")
        self._put(self.everybody_for(self._config.default), {"subject": subject, "text": text, "at": stamp()})

    def alert(self, people: Iterable[str], alert: str, known: Json, event: Json) -> None:
        """Tell what happened to an alert; what a person was not yet told of it goes into the same words."""
        for person in people:
            box = self._outbox.setdefault(person, [])
            waiting = next((one for one in box if one.get("alert") == alert), None)
            if waiting:
                waiting["events"].append(event)
                continue
            about = {name: known[name] for name in ("place", "words", "since")}
            box.append({"alert": alert, **about, "events": [event]})

    def tell(self) -> bool:
        """Send what waits, to all at once, each person in one message; whether all of it was told, or passed on."""
        self._pass_on()
        now = time.monotonic()
        due = [name for name in self._outbox if now >= self._not_before.get(name, 0.0)]
        with ThreadPoolExecutor(max_workers=max(1, min(len(due), 16))) as pool:
            sending = {pool.submit(self.send, name, self._outbox[name]): name for name in due}
            for sent in as_completed(sending):
                self._settle(sending[sent], sent.exception())
        return all(self._untold.get(name, {}).get("passed_on") for name in self._outbox)

    def send(self, name: str, notices: Sequence[Json]) -> None:
        """One message to one person. Raises Untold."""
        person = self._config.people[name]
        subject, text = self._words.message(notices)
        try:
            if person.mail:
                assert self._config.mail is not None
                send_mail(self._config.mail, person.mail, subject, text, self._config.timeout)
            else:
                run_command(person, subject, text, notices, self._config.timeout)
        except smtplib.SMTPAuthenticationError as error:
            # What the server says to a login may repeat parts of it.
            message = f"the mail server does not accept mail.user and its password ({error.smtp_code})"
            raise Untold(message) from None
        except (OSError, smtplib.SMTPException, subprocess.SubprocessError, ValueError) as error:
            raise Untold(plain(error) or type(error).__name__) from None

    def _put(self, people: Iterable[str], notice: Json) -> None:
        for person in people:
            self._outbox.setdefault(person, []).append(notice)

    def _settle(self, name: str, trouble: BaseException | None) -> None:
        if trouble is None:
            say(f"told {name}: {self._words.message(self._outbox.pop(name))[0]}")
            self._failures.pop(name, None)
            self._untold.pop(name, None)
            self._store.save()
        elif isinstance(trouble, Untold):
            failures = self._failures[name] = self._failures.get(name, 0) + 1
            wait = min(LONGEST_WAIT, self._config.every * 2.0 ** min(failures, 30))
            self._not_before[name] = time.monotonic() + wait
            self._untold.setdefault(name, {"since": stamp(), "passed_on": False})
            say(f"{name} can't be told now: {trouble}; it is kept and tried again")
        else:
            raise trouble

    def _pass_on(self) -> None:
        """What could not be told to somebody for long is told to somebody else as well."""
        for name, untold in self._untold.items():
            others = self._stand_in()
            if untold["passed_on"] or not others or age(untold["since"]) < self._config.unreachable_after:
                continue
            untold["passed_on"] = True
            since = self._words.time(untold["since"])
            subject, text = self._words.message(self._outbox[name])
            text = f"{name} can't be told since {since}. What was meant for {name}:\n\n{text}"
            self._put(others, {"subject": f"{name} can't be told: {subject}", "text": text, "at": stamp()})
        self._store.save()

    def _stand_in(self) -> list[str]:
        """The first who can be told, none where nobody can."""
        order = (*self._config.default, *self._config.also, *self._config.escalate_to)
        return [name for name in order if name not in self._untold][:1]


def send_mail(mail: Mail, to: str, subject: str, text: str, timeout: float) -> None:
    """Raises OSError, SMTPException, ValueError unless the mail server took it."""
    message = EmailMessage()
    message["From"], message["To"], message["Subject"] = mail.sender, to, subject
    message["Date"] = email.utils.localtime()
    message["Message-ID"] = email.utils.make_msgid(domain=mail.sender.rpartition("@")[2])
    # RFC 3834: no holiday reply is to come back.
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(text)
    password = secret(mail.password_file, PASSWORD) if mail.user else ""
    trust = ssl.create_default_context(cafile=mail.ca_file) if mail.security != "none" else None
    server = (
        smtplib.SMTP_SSL(mail.host, mail.port, timeout=timeout, context=trust)
        if mail.security == "tls"
        else smtplib.SMTP(mail.host, mail.port, timeout=timeout)
    )
    with server:
        if mail.security == "starttls":
            server.starttls(context=trust)
        if mail.user:
            server.login(mail.user, password)
        server.send_message(message)


def run_command(person: Person, subject: str, text: str, notices: Sequence[Json], timeout: float) -> None:
    """Raises OSError, SubprocessError unless the command took it."""
    alerts = [notice for notice in notices if "alert" in notice]
    # The command has no use for this program's secrets.
    environment = {name: value for name, value in os.environ.items() if name not in (KEY, PASSWORD)}
    environment |= {
        "WEIRBOOK_SUBJECT": subject,
        "WEIRBOOK_PERSON": person.name,
        "WEIRBOOK_PLACES": " ".join(dict.fromkeys(str(notice["place"]) for notice in alerts)),
        "WEIRBOOK_ALERTS": " ".join(str(notice["alert"]) for notice in alerts),
    }
    done = subprocess.run(
        person.command, input=text.encode(), stdout=subprocess.DEVNULL, env=environment, timeout=timeout
    )
    if done.returncode:
        raise subprocess.SubprocessError(f"{person.command[0]} ended with status {done.returncode}")


class Notifier:
    """Takes the log's alerts into the outbox, and watches the watch."""

    def __init__(self, config: Config, service: Service, store: Store, teller: Teller, words: Words) -> None:
        self._config = config
        self._service = service
        self._store = store
        self._teller = teller
        self._words = words
        self._state = store.state
        self._alerts: dict[str, Json] = self._state.setdefault("alerts", {})
        self._trouble: Kept | None = None
        self._failures = 0
        self._not_before = 0.0
        self._beaten: float | None = None
        self.stop = threading.Event()

    def run(self) -> int:
        """Rounds until stopped; the program's exit status."""
        while not self.stop.is_set():
            self.round()
            if self._trouble and self._trouble.key:
                say(f"{self._trouble}; stopped")
                return NO_KEY
            self.stop.wait(self._config.every)
        say("stopped")
        return ALL_TOLD

    def once(self) -> int:
        whole = self.round()
        if self._trouble and self._trouble.key:
            say(f"{self._trouble}; stopped")
            return NO_KEY
        return ALL_TOLD if whole else LATER

    def round(self) -> bool:
        """Ask, tell, beat; whether all of it went well."""
        asks = time.monotonic() >= self._not_before
        if asks:
            self._trouble = self._tried(self._look)
        whole = self._store.save()
        whole = self._teller.tell() and whole
        if asks and self._trouble is None and whole and self._beat_is_due():
            self._trouble = self._tried(self._beat)
        if asks:
            self._space_out()
        says = self._note_whether_watched()
        whole = self._store.save() and whole
        if says:
            whole = self._teller.tell()
        return whole and self._trouble is None

    def _tried(self, step: Any) -> Kept | None:
        try:
            step()
        except Kept as kept:
            return kept
        except LogLost as lost:
            # Only the log itself answers for it, in the next round.
            return Kept(str(lost))
        return None

    def _space_out(self) -> None:
        """After a failure wait twice as long as the last time, and as long as the service asks."""
        if self._trouble is None:
            self._failures = 0
            return
        wait = min(LONGEST_WAIT, self._config.every * 2.0 ** min(self._failures, 30))
        self._failures += 1
        self._not_before = time.monotonic() + max(wait, self._trouble.after)

    def _look(self) -> None:
        self._follow()
        self._escalate()

    def _follow(self) -> None:
        """Take everything new into the outbox. Raises Kept; what came before it is taken then."""
        cursor = self._state.get("cursor")
        try:
            if cursor is None:
                return self._begin(lost=bool(self._state.get("spoiled")))
            more = True
            while more and not self.stop.is_set():
                items, cursor, more = self._service.changes(cursor)
                for item in items:
                    self._take(item)
                self._state["cursor"] = cursor
                if more:
                    self._store.save()
        except LogLost:
            self._begin(lost=True)

    def _begin(self, *, lost: bool) -> None:
        """Start from now, and say what is open. The cursor goes first: what opens in between comes twice."""
        _, cursor, _ = self._service.changes("now")
        now = datetime.now(UTC)
        lines, alerts = [], {}
        for found in self._service.open_alerts():
            known = {
                "place": plain(found.get("place") or "room"),
                "words": plain(found.get("reason") or "An alert is open."),
                "since": str(found.get("opened_at")),
            }
            id = str(found.get("id"))
            people = self._teller.everybody_for(self._config.default)
            before = self._alerts.get(id, {"told": [], "check_at": self._check_after(now.isoformat())})
            told = list(dict.fromkeys([*before["told"], *people]))
            alerts[id] = known | {"told": told, "check_at": before["check_at"]}
            seen = "" if found.get("acknowledged_at") else f"\n{self._words.acknowledge(id)}"
            lines.append(
                f"{known['place']}, since {self._words.time(known['since'])}: {known['words']}{seen}"
            )
        is_open = "Open now:\n\n" + "\n\n".join(lines) if lines else "No alert is open now."
        subject = "The watch over the room begins"
        why = "From now on you are told of alerts."
        if lost:
            subject = "The log of the room was lost"
            why = (
                "The service's record was brought back from a copy, or this notifier's own notes were damaged: "
                "what happened since it last looked may never have been told. Look at the room."
            )
        if alerts:
            subject += f"; {len(alerts)} open"
        self._teller.trouble(subject, f"{why}\n\n{is_open}")
        self._alerts.clear()
        self._alerts.update(alerts)
        self._state["cursor"] = cursor
        self._state.pop("spoiled", None)

    def _take(self, item: Json) -> None:
        """One entry of the log. Is lenient about all but what makes it an alert's."""
        what, alert = item.get("what"), str(item.get("subject"))
        if item.get("noun") != "alert" or what not in WHATS:
            return
        at = moment(item.get("at")).isoformat()
        words = plain(item.get("words") or "")
        known = self._alerts.get(alert)
        if known is None:
            about = {"place": plain(item.get("place") or "room"), "words": words or "No words were given."}
            known = about | {"since": told_field(item, "began") or at, "told": [], "check_at": None}
        if what in CALLS:
            self._alerts[alert] = known
        if what in ("opened", "reopened", "changed"):
            known["check_at"] = self._check_after(at)
        elif what in ("escalated", "acknowledged"):
            known["check_at"] = None
        elif what == "closed":
            self._alerts.pop(alert, None)
        people = self._people_of(item, what, known["told"])
        known["told"] = list(dict.fromkeys([*known["told"], *people]))
        who = "" if what in (*CALLS, "closed") else plain(item.get("who") or "")
        self._teller.alert(people, alert, known, {"what": what, "at": at, "who": who, "words": words})

    def _people_of(self, item: Json, what: str, told: Sequence[str]) -> list[str]:
        named = item.get("tell")
        handles = [str(one) for one in named] if isinstance(named, list) else []
        if what in CALLS:
            handles = handles or list(self._config.default)
        elif what == "owned":
            handles += [owner] if (owner := told_field(item, "owner")) else []
        elif what == "closed" or (what != "changed" and len(told) > 1):
            # Where one alone was told, it is that one who acknowledged or muted.
            handles += told
        return self._teller.everybody_for(handles)

    def _check_after(self, since: str) -> str | None:
        if not self._config.escalate_to:
            return None
        return (moment(since) + self._config.escalate_after).isoformat()

    def _escalate(self) -> None:
        """Tell escalate_to of what is open and nobody acknowledged, if the service has not escalated it."""
        now = datetime.now(UTC)
        due = [
            id for id, known in self._alerts.items() if known["check_at"] and moment(known["check_at"]) <= now
        ]
        if not due:
            return
        still_open = {str(alert.get("id")): alert for alert in self._service.open_alerts()}
        people = self._teller.everybody_for(self._config.escalate_to)
        for id in due:
            known, alert = self._alerts[id], still_open.get(id)
            known["check_at"] = None
            if alert is None or alert.get("acknowledged_at"):
                continue
            if alert.get("mute_until") and moment(alert["mute_until"]) > now:
                known["check_at"] = moment(alert["mute_until"]).isoformat()
                continue
            known["told"] = list(dict.fromkeys([*known["told"], *people]))
            event = {"what": UNANSWERED, "at": now.isoformat(), "who": "", "words": ""}
            self._teller.alert(people, id, known, event)

    def _note_whether_watched(self) -> bool:
        """Say once when the service can't be asked for long, and once when it can again; whether it said so."""
        away = self._state.get("away")
        if self._trouble is None:
            if away is None:
                return False
            del self._state["away"]
            if away["told"]:
                since = self._words.time(away["since"])
                text = f"{self._service.url} answers again; it was away since {since}. What was missed is told now."
                self._teller.trouble("The room is watched again", text)
            else:
                say("the service answers again")
            return True
        if away is None:
            say(f"{self._trouble}; trying again")
            away = self._state["away"] = {"since": stamp(), "told": False}
        waits = age(away["since"]) < self._config.unreachable_after and not self._trouble.key
        if away["told"] or waits:
            return False
        away["told"] = True
        self._teller.trouble(
            "The room can't be watched", self._why_not_watched(away["since"], str(self._trouble))
        )
        return True

    def _why_not_watched(self, since: str, why: str) -> str:
        lines = [
            f"For {length(age(since))}, since {self._words.time(since)}: {why}.",
            "Until this is mended no alert can reach anyone. Silence is not safety: look at the room.",
        ]
        lines += [f"Open when last heard: {one['place']}: {one['words']}" for one in self._alerts.values()]
        return "\n".join(lines)

    def _beat_is_due(self) -> bool:
        return self._beaten is None or time.monotonic() - self._beaten >= BEAT_SECONDS

    def _beat(self) -> None:
        """Let the service and the outside know of a round that went well. Raises Kept."""
        self._service.beat(self._config.name, self._state["cursor"])
        self._beaten = time.monotonic()
        if self._config.beat_file:
            try:
                replace(self._config.beat_file, f"{stamp()}\n".encode(), 0o644)
            except OSError as error:
                say(f"can't write the beat file ({error})")
        if self._config.beat_address:
            call_out(self._config.beat_address, self._config.timeout)


def call_out(address: SplitResult, timeout: float) -> None:
    """Call an outside watchdog. Its address may hold a secret word, so that only its host is ever shown."""
    path = (address.path or "/") + (f"?{address.query}" if address.query else "")
    try:
        status, _, _ = ask(address, "GET", path, {}, None, timeout)
        trouble = "" if status < 400 else f"status {status}"
    except (OSError, http.client.HTTPException, UnicodeError) as error:
        trouble = type(error).__name__
    if trouble:
        say(f"the beat to {address.hostname} did not arrive ({trouble})")


def watch(file: Path, older_than: float, store: Store, teller: Teller, words: Words) -> int:
    """Tell the keeper once when a beat file grows old, and once when it is fresh again; the exit status."""
    dark: dict[str, str] = store.state.setdefault("dark", {})
    name = str(file.absolute())
    why = beat_trouble(file, older_than, words)
    if why and name not in dark:
        dark[name] = stamp()
        teller.trouble(
            "The watch over the room has stopped",
            f"{why}\nPower, network, the service or the notifier has failed there. "
            "No alert can reach anyone until it is mended: look at the room.",
        )
    elif not why and name in dark:
        text = f"The beats in {file} have come back; they had stopped by {words.time(dark.pop(name))}."
        teller.trouble("The watch over the room goes on", text)
    store.save()
    told = teller.tell()
    if why:
        say(why)
        return NOT_WELL
    return ALL_TOLD if told else LATER


def beat_trouble(file: Path, older_than: float, words: Words) -> str:
    """Why the beats can't be trusted, empty if they can. Of the file's own time and the one written in it the
    older counts: a copied file is younger than its beat."""
    try:
        written = datetime.fromisoformat(file.read_text("ascii").strip()).timestamp()
        changed = file.stat().st_mtime
    except (OSError, ValueError, UnicodeError) as error:
        return f"There is no beat to be read in {file} ({type(error).__name__})."
    now = time.time()
    if max(written, changed) > now + older_than:
        return f"The beat in {file} lies ahead of this machine's clock: set the clocks."
    last = min(written, changed)
    if now - last <= older_than:
        return ""
    at = words.time(datetime.fromtimestamp(last, UTC).isoformat())
    return f"The last beat in {file} is of {at}, {length(timedelta(seconds=now - last))} ago."


def try_out(config: Config, teller: Teller) -> int:
    """Tell everybody a trial message, and say who could be told."""
    text = "This is a trial: you would be told of alerts in the room this way. Nothing is to be done."
    status = ALL_TOLD
    for name in config.people:
        try:
            teller.send(
                name, [{"subject": "Trial: you would be told like this", "text": text, "at": stamp()}]
            )
            say(f"told {name}")
        except Untold as untold:
            say(f"{name} can't be told: {untold}")
            status = LATER
    return status


def span(text: str) -> float:
    try:
        return seconds(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no length of time such as 10m") from None


def options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False
    )
    add = parser.add_argument
    add("--config", type=Path, required=True, metavar="FILE", help="the configuration, see above")
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--once", action="store_true", help="one round, then end")
    way.add_argument("--try", action="store_true", dest="trial", help="tell everybody a trial message")
    way.add_argument("--watch", type=Path, metavar="FILE", help="look at a beat file, tell if it is old")
    add("--older-than", type=span, metavar="TIME", help="with --watch: how old a beat may be (10m)")
    chosen = parser.parse_args()
    if chosen.older_than and not chosen.watch:
        parser.error("--older-than goes with --watch")
    return chosen


def main() -> int:
    chosen = options()
    follows = chosen.watch is None and not chosen.trial
    try:
        config = read_config(chosen.config, follows=follows)
        if follows and config.key_file is None and not os.environ.get(KEY):
            raise Wrong(f"{chosen.config}: no key: give key_file or set {KEY}")
    except Wrong as wrong:
        say(str(wrong))
        return WRONG
    words = Words(config.zone, config.server.geturl().rstrip("/") if config.server else "")
    try:
        store = Store(config.folder, "follow" if follows else "watch" if chosen.watch else "trial")
    except OSError as error:
        say(f"can't use the folder: {error}")
        return NOT_WELL
    teller = Teller(config, store, words)
    if chosen.watch is not None:
        return watch(chosen.watch, chosen.older_than or 600.0, store, teller, words)
    if chosen.trial or config.server is None:
        return try_out(config, teller)
    if config.server.scheme == "http" and config.server.hostname not in LOOPBACK:
        say("without https the key can be read on the way")
    notifier = Notifier(config, Service(config.server, config.key_file, config.timeout), store, teller, words)
    for ending in (signal.SIGTERM, signal.SIGINT):
        # What is under way is finished, so that nothing is told twice.
        signal.signal(ending, lambda *_: notifier.stop.set())
    return notifier.once() if chosen.once else notifier.run()


if __name__ == "__main__":
    sys.exit(main())
