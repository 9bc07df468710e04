"""The server: one process that writes, some threads, quiet logs."""

from __future__ import annotations

import gc
import signal
from typing import Any, Protocol

import click
from waitress.server import BaseWSGIServer, create_server

from weirbook.config import Config
from weirbook.record.database import WAITING_WRITERS
from weirbook.record.media.kinds import KINDS
from weirbook.web.admission import Gate
from weirbook.web.request_log import set_up_logs
from weirbook.web.spool import Pot, channel_with

THREADS = WAITING_WRITERS + 4
"""More than may wait for their turn to write, so that readers are answered meanwhile."""
YOUNG = 50_000
"""New objects before the youngest are looked through: a summary makes some ten thousand rows and drops them all."""
CONNECTIONS = 400
"""Open ones, idle or not, before the next must wait: well under the 1024 files that a process may usually open."""
READ_BYTES = 64 * 1024
"""Taken from a connection at once: about a thousand readings, where the server would ask eight times for them."""
BODY_BUFFER = 1024 * 1024
ANSWER_BUFFER = 64 * 1024 * 1024
"""Beyond the longest answer: a temporary file for one would leave its caller waiting for ever where the disk is full."""


def _end(*_: object) -> None:
    """A service manager's word to end: like Ctrl-C, what is under way is answered first."""
    raise KeyboardInterrupt


class Served(Protocol):
    """What is served: an application with a gate that wants to know how many wait."""

    settings: Config
    gate: Gate

    def __call__(self, environ: Any, start_response: Any) -> Any: ...


def run_server(app: Served, host: str, port: int) -> None:
    """Serve until interrupted. Raises click.ClickException where the address is taken."""
    settings = app.settings
    sockets: dict[int, Any] = {}
    set_up_logs(settings.log)
    try:
        server = create_server(
            app,
            sockets,
            host=host,
            port=port,
            threads=THREADS,
            connection_limit=CONNECTIONS,
            ident=None,
            # Left in for web/proxy.py, which believes one address only.
            clear_untrusted_proxy_headers=settings.trusted_proxy is None,
            # Of lines; what else is longer than the body cap is refused by web/spool.py.
            max_request_body_size=settings.bodies_cap,
            recv_bytes=READ_BYTES,
            inbuf_overflow=BODY_BUFFER,
            outbuf_overflow=ANSWER_BUFFER,
            channel_timeout=60,
        )
    except OSError as trouble:
        raise click.ClickException(
            f"{host}:{port} can't be listened on: {trouble.strerror}. Choose another --port."
        ) from None
    channel = channel_with(
        Pot(settings.bodies_cap), settings.body_cap, dict.fromkeys(KINDS, settings.file_cap)
    )
    for one in sockets.values():
        if isinstance(one, BaseWSGIServer):
            one.channel_class = channel
    app.gate.waiting = lambda: len(server.task_dispatcher.queue)
    signal.signal(signal.SIGTERM, _end)
    # What stands after the start stays to the end. Walked at each collection, it doubled the time of a summary.
    gc.collect()
    gc.freeze()
    gc.set_threshold(YOUNG)
    shown = f"[{host}]" if ":" in host else host
    try:
        click.echo(
            f"Weirbook serves http://{shown}:{server.effective_port}  (documentation at /docs; Ctrl-C ends it)",
            err=True,
        )
        server.run()
    except KeyboardInterrupt:
        pass  # told to end before the server's own loop, which hears it too, had begun
    finally:
        server.close()
