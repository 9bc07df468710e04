"""Nothing is answered before it is on the disk, seen in the server's system calls.

A kill leaves the system's cache alone, so it can't show that; a trace can. Needs strace and leave to trace.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import time
from pathlib import Path

import pytest
from faults.served import START, Line, readings, serving

from weirbook.config import sqlite_url

CALLS = "pwrite64,write,fsync,fdatasync,recvfrom,sendto"
POSTS = 20

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed"),
]


def test_every_answer_follows_the_sync_of_what_it_acknowledges(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    template, secret = furnished_template
    file, trace = tmp_path / "room.db", tmp_path / "trace"
    shutil.copy(template, file)
    with serving(sqlite_url(file), tmp_path / "log") as server, Line(server.port, secret) as line:
        line("GET", "/v1/tanks/nursery")  # notes the key's use, which would sync too
        command = [
            "strace",
            "-f",
            "-y",
            "-e",
            f"trace={CALLS}",
            "-o",
            str(trace),
            "-p",
            str(server.process.pid),
        ]
        tracer = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        assert tracer.stderr is not None
        if "attached" not in tracer.stderr.readline():
            tracer.kill()
            pytest.skip("tracing is not allowed here")
        time.sleep(0.3)
        for number in range(POSTS):
            assert line("POST", "/v1/readings", readings([START + number * 1000])).status == 200
        tracer.terminate()
        tracer.communicate()
    steps = steps_of(trace.read_text())
    assert re.fullmatch(r"(?:R(?:W+S)+A)+", steps) and steps.count("A") == POSTS, steps


def steps_of(trace: str) -> str:
    """What befell callers and the log of transactions, in order: Request, Written, Synced, Answered."""
    kinds = {
        "R": re.compile(r'recvfrom.*"POST /v1/readings'),
        "W": re.compile(r"pwrite64\(\d+<[^>]*room\.db-wal>"),
        "S": re.compile(r"f(?:data)?sync(?:\(\d+<[^>]*room\.db-wal>| resumed>)\) += 0"),
        "A": re.compile(r'sendto\(.*"HTTP/1\.1 200'),
    }
    return "".join(kind for row in trace.splitlines() for kind, seen in kinds.items() if seen.search(row))
