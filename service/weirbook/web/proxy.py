"""Behind a reverse proxy: whose word on the caller's address is believed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from werkzeug.middleware.proxy_fix import ProxyFix

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment


class BehindProxy:
    """Takes the caller's address and scheme from X-Forwarded-For and -Proto, of requests that `proxy` itself brings.

    Of several addresses the last counts: the proxy wrote it, whatever stands before it the caller may have made up.
    """

    def __init__(self, application: WSGIApplication, proxy: str) -> None:
        self._as_sent = application
        self._as_told = ProxyFix(application, x_for=1, x_proto=1)
        self._proxy = proxy

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        believed = environ.get("REMOTE_ADDR") == self._proxy
        return (self._as_told if believed else self._as_sent)(environ, start_response)
