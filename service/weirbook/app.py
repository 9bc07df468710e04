"""create_app: the only place where parts are wired."""

from __future__ import annotations

from flask import Flask, Response, current_app, request
from flask.typing import ResponseReturnValue
from sqlalchemy.exc import DBAPIError
from werkzeug.exceptions import HTTPException

from weirbook.config import Config
from weirbook.errors import Trouble
from weirbook.record.database import Database, database_of
from weirbook.web import problems, request_log
from weirbook.web.admission import Gate
from weirbook.web.api import describe
from weirbook.web.bodies import PlainRequest
from weirbook.web.docs import docs_blueprint
from weirbook.web.failures import Failures
from weirbook.web.health import health_blueprint
from weirbook.web.origins import allow_origin
from weirbook.web.perform import perform
from weirbook.web.proxy import BehindProxy


class Service(Flask):
    """The WSGI application. Each operation runs in one transaction that ends before its answer is sent."""

    request_class = PlainRequest
    database: Database
    settings: Config
    gate: Gate

    def dispatch_request(self) -> ResponseReturnValue:
        if request.routing_exception is not None or request.url_rule is None:
            self.raise_routing_exception(request)
        if request.method == "OPTIONS":
            return self.make_default_options_response()
        view = self.view_functions[request.url_rule.endpoint]
        declared = getattr(view, "operation", None)
        if declared is None:
            return super().dispatch_request()
        return perform(declared, self.database, self.settings, request.view_args or {})


def create_app(config: Config, database: Database | None = None) -> Service:
    """The application over a database that is already migrated."""
    app = Service("weirbook", static_folder=None)
    app.settings = config
    app.database = database or database_of(config)
    app.gate = Gate(config.queue_cap)
    app.extensions["weirbook_failures"] = Failures(config.failures_per_minute)
    app.config["MAX_CONTENT_LENGTH"] = config.body_cap
    app.json.sort_keys = False  # type: ignore[attr-defined]
    app.url_map.strict_slashes = False
    app.register_error_handler(Trouble, problems.for_trouble)
    describe(app)
    app.register_error_handler(HTTPException, problems.for_http)
    app.register_error_handler(DBAPIError, problems.for_database)
    app.register_error_handler(Exception, problems.for_anything)
    app.register_blueprint(docs_blueprint())
    app.register_blueprint(health_blueprint(lambda: app.database))
    app.before_request(request_log.begin)
    app.before_request(app.gate.let_in)
    app.after_request(request_log.end)
    app.after_request(_guarding_headers)
    if config.trusted_proxy is not None:
        app.wsgi_app = BehindProxy(app.wsgi_app, config.trusted_proxy)  # type: ignore[method-assign]
    return app


GUARDING = {
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
}
"""Answers are data of one room: never guessed at, never kept by a cache in between, never shown as a page or within
one; and an address that holds a key is told to nobody. The documentation's page has a policy of its own."""


def _guarding_headers(response: Response) -> Response:
    for name, value in GUARDING.items():
        response.headers.setdefault(name, value)
    allow_origin(response, current_app.settings.cors_origins)  # type: ignore[attr-defined]
    return response
