"""Servers under the same load: the script and Weirbook on waitress, gunicorn and granian, as far as installed.

    python tests/benchmarks/servers.py [--quick]

One process, and as many threads each as the service itself has. Besides pace it shows how each one deals with
clients that dawdle, bodies far beyond the cap and idle connections.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.util
import itertools
import os
import socket
import sqlite3
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))  # this folder is no package

from contenders import MINUTE_MS, body_of, readings_of, weirbook_in
from lines import print_columns
from served import MB, Client, Served, post_all, serving

from weirbook.config import sqlite_url
from weirbook.record.database import now_ms
from weirbook.web.serving import THREADS

HERE = Path(__file__).parent
SERVERS = {
    "waitress": ("waitress", [str(HERE / "wsgi.py")]),
    "gunicorn": (
        "gunicorn",
        f"-m gunicorn -k gthread --threads {THREADS} -w 1 --keep-alive 60 -b 127.0.0.1:PORT wsgi:app".split(),
    ),
    "granian": (
        "granian",
        f"-m granian --interface wsgi --workers 1 --blocking-threads {THREADS} --no-ws "
        "--host 127.0.0.1 --port PORT wsgi:app".split(),
    ),
}
"""Module and command of each; gunicorn and granian find wsgi.py by PYTHONPATH."""
DAWDLERS, IDLERS, HUGE = THREADS + 2, 200, 300 * MB


def main() -> int:
    said = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    said.add_argument("--quick", action="store_true", help="a quarter of the work")
    part = 4 if said.parse_args().quick else 1
    present = [name for name, (module, _) in SERVERS.items() if importlib.util.find_spec(module)]
    for name in SERVERS.keys() - set(present):
        print(f"{name} is not installed here.", file=sys.stderr)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        with weirbook_in(folder, "template") as template:
            keys = template.posting, template.reading
        paces, manners = [], []
        for name in present:
            for app in ("script", "Weirbook"):
                paces.append(_pace(folder, name, app, keys[0], part))
                print(f"  … {' '.join(paces[-1])}", file=sys.stderr, flush=True)
            manners.append(_manners(folder, name, keys[1]))
            print(f"  … {' '.join(manners[-1])}", file=sys.stderr, flush=True)
    head = ("", "start", "idle", "1,000 a post", "", "singles, 1", "", "singles, 8", "", "after")
    print_columns([head, *paces])
    print()
    print_columns(
        [
            ("", f"{DAWDLERS} dawdling", f"{IDLERS} idle", "resident", "300 MB told", "300 MB chunked"),
            *manners,
        ]
    )
    return 0


@contextlib.contextmanager
def _on(folder: Path, server: str, app: str) -> Iterator[Served]:
    """One application on one server, over a fresh copy of the template."""
    file = folder / f"{server}-{app}.db"
    paths = [str(HERE), *filter(None, [os.environ.get("PYTHONPATH")])]
    environment = {
        "TMPDIR": str(folder),
        "PYTHONPATH": os.pathsep.join(paths),
        "READINGS_THREADS": str(THREADS),
    }
    if app == "script":
        environment["READINGS_DB"] = str(file)
    else:
        with (
            contextlib.closing(sqlite3.connect(folder / "template.db")) as template,
            contextlib.closing(sqlite3.connect(file)) as copy,
        ):
            template.backup(copy)
        environment["WEIRBOOK_DATABASE_URL"] = sqlite_url(file)
    port = _free_port()
    command = [sys.executable, *(one.replace("PORT", str(port)) for one in SERVERS[server][1])]
    with serving(command, environment, folder / f"{server}-{app}.log") as served:
        yield served


def _free_port() -> int:
    with socket.socket() as tried:
        tried.bind(("127.0.0.1", 0))
        return int(tried.getsockname()[1])


def _pace(folder: Path, server: str, app: str, key: Mapping[str, str], part: int) -> tuple[str, ...]:
    """Start, memory, readings a second and processor time a post."""
    minutes = itertools.count(now_ms() // MINUTE_MS - 10_000)
    path, headers = ("/readings", {}) if app == "script" else ("/v1/readings", key)
    with _on(folder, server, app) as served:
        cells = [f"{served.started_s:.2f} s", f"{served.resident_mb():.0f} MB"]
        for clients, each, count in ((1, 1000, 200 // part), (1, 1, 2000 // part), (8, 1, 2000 // part)):
            readings = readings_of(minutes, each * count)
            bodies = [body_of(readings[start : start + each]) for start in range(0, len(readings), each)]
            cpu = served.cpu_s()
            pace = post_all([Client(served.port, headers) for _ in range(clients)], path, bodies)
            cells.append(f"{len(readings) / pace.seconds:,.0f}/s")
            cells.append(f"{(served.cpu_s() - cpu) / len(bodies) * 1000:.2f} ms cpu")
        return (f"{app} on {server}", *cells, f"{served.resident_mb():.0f} MB")


def _manners(folder: Path, server: str, key: Mapping[str, str]) -> tuple[str, ...]:
    """How a keeper's GET fares beside dawdlers and idlers, and what a body of 300 MB costs."""
    with _on(folder, server, "Weirbook") as served:
        with _dawdling(served.port, key):
            beside_dawdlers = _asked(served.port, key)
        before = served.resident_mb()
        idlers = [socket.create_connection(("127.0.0.1", served.port)) for _ in range(IDLERS)]
        time.sleep(1)
        beside_idlers, grown = _asked(served.port, key), served.resident_mb()
        for one in idlers:
            one.close()
        told = _huge(served, key, chunked=False)
        chunked = _huge(served, key, chunked=True)
        return (server, beside_dawdlers, beside_idlers, f"{before:.0f} to {grown:.0f} MB", told, chunked)


def _asked(port: int, key: Mapping[str, str]) -> str:
    """Median and worst of some GETs on a connection of their own, or that none was answered."""
    taken = []
    client = Client(port, key, timeout_s=10)
    for _ in range(20):
        begun = time.perf_counter()
        try:
            client.get("/v1/room")
        except OSError as trouble:
            return f"not answered ({type(trouble).__name__})"
        taken.append((time.perf_counter() - begun) * 1000)
    return f"{statistics.median(taken):.1f} ms, worst {max(taken):.0f}"


@contextlib.contextmanager
def _dawdling(port: int, key: Mapping[str, str]) -> Iterator[None]:
    """More clients than threads, each sending its body at 30 bytes a second."""
    over = threading.Event()
    head = _head(key, "Content-Length: 3000")

    def dawdle() -> None:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port)) as line:
            line.sendall(head)
            while not over.wait(0.1):
                line.sendall(b"   ")

    threads = [threading.Thread(target=dawdle) for _ in range(DAWDLERS)]
    for thread in threads:
        thread.start()
    time.sleep(1)
    try:
        yield
    finally:
        over.set()
        for thread in threads:
            thread.join()


def _head(key: Mapping[str, str], length: str) -> bytes:
    lines = ["POST /v1/readings HTTP/1.1", "Host: 127.0.0.1", "Content-Type: application/json", length]
    return "\r\n".join([*lines, *(f"{name}: {value}" for name, value in key.items()), "", ""]).encode()


def _huge(served: Served, key: Mapping[str, str], *, chunked: bool) -> str:
    """What a body of 300 MB is answered with, how much of it was taken first, and what it cost."""
    piece = b" " * MB
    peak, spooled = [served.resident_mb()], [0.0]
    over = threading.Event()

    def watch() -> None:
        while not over.wait(0.02):
            peak.append(served.resident_mb())
            spooled.append(served.spooled_mb())

    watcher = threading.Thread(target=watch)
    watcher.start()
    sent, answer = 0, b""
    try:
        with socket.create_connection(("127.0.0.1", served.port), timeout=20) as line:
            line.sendall(_head(key, "Transfer-Encoding: chunked" if chunked else f"Content-Length: {HUGE}"))
            try:
                while sent < HUGE and not _readable(line):
                    line.sendall(b"%x\r\n%s\r\n" % (len(piece), piece) if chunked else piece)
                    sent += MB
                if chunked and sent == HUGE:
                    line.sendall(b"0\r\n\r\n")
            except OSError:
                pass
            with contextlib.suppress(OSError):
                answer = line.recv(200)
    finally:
        over.set()
        watcher.join()
    status = answer.split(b" ", 2)[1].decode() if answer else "cut off"
    grown = max(peak) - peak[0]
    return f"{status} after {sent // MB} MB, +{grown:.0f} MB held, {max(spooled):.0f} MB spooled"


def _readable(line: socket.socket) -> bool:
    line.setblocking(False)
    try:
        return bool(line.recv(1, socket.MSG_PEEK))
    except BlockingIOError:
        return False
    finally:
        line.settimeout(20)


if __name__ == "__main__":
    sys.exit(main())
