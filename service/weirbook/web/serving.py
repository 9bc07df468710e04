"""The server: one process that writes, some threads, quiet logs."""

from __future__ import annotations

import signal

import click
from flask import Flask
from waitress.server import create_server

from weirbook.record.database import WAITING_WRITERS

THREADS = WAITING_WRITERS + 4
"""More than may wait for their turn to write, so that readers are answered meanwhile."""
CONNECTIONS = 400
"""Open ones, idle or not, before the next must wait: well under the 1024 files that a process may usually open."""
BODY_BUFFER = 1024 * 1024
ANSWER_BUFFER = 64 * 1024 * 1024
"""Beyond the longest answer: a temporary file for one would leave its caller waiting for ever where the disk is full."""


def _end(*_: object) -> None:
    """A service manager's word to end: like Ctrl-C, what is under way is answered first."""
    raise KeyboardInterrupt


def run_server(app: Flask, host: str, port: int) -> None:
    """Serve until interrupted. Raises click.ClickException where the address is taken."""
    try:
        server = create_server(
            app,
            host=host,
            port=port,
            threads=THREADS,
            connection_limit=CONNECTIONS,
            ident=None,
            clear_untrusted_proxy_headers=True,
            max_request_body_size=app.config["MAX_CONTENT_LENGTH"],
            inbuf_overflow=BODY_BUFFER,
            outbuf_overflow=ANSWER_BUFFER,
            channel_timeout=60,
        )
    except OSError as trouble:
        raise click.ClickException(
            f"{host}:{port} can't be listened on: {trouble.strerror}. Choose another --port."
        ) from None
    signal.signal(signal.SIGTERM, _end)
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
