"""create_app: the only place where parts are wired."""

from __future__ import annotations

from typing import Any

from flask import Flask, Response, request
from flask.typing import ResponseReturnValue
from sqlalchemy.exc import DBAPIError
from werkzeug.exceptions import HTTPException

from weirbook.config import Config
from weirbook.errors import Trouble
from weirbook.record.database import Database
from weirbook.web import problems
from weirbook.web.api import describe
from weirbook.web.docs import docs_blueprint
from weirbook.web.operations import perform


class Service(Flask):
    """The WSGI application. Each operation runs in one transaction that ends before its answer is sent."""

    database: Database
    settings: Config

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
    app.database = database or Database(config.database_url)
    app.config["MAX_CONTENT_LENGTH"] = config.body_cap
    app.json.sort_keys = False  # type: ignore[attr-defined]
    app.url_map.strict_slashes = False
    app.register_error_handler(Trouble, problems.for_trouble)
    describe(app)
    app.register_error_handler(HTTPException, problems.for_http)
    app.register_error_handler(DBAPIError, problems.for_database)
    app.register_error_handler(Exception, problems.for_anything)
    app.register_blueprint(docs_blueprint())
    app.after_request(_plain_headers)
    return app


def _plain_headers(response: Response) -> Response:
    """Answers are data of one room: never guessed at, never kept by a cache in between."""
    headers: dict[str, Any] = {"X-Content-Type-Options": "nosniff", "Cache-Control": "no-store"}
    for name, value in headers.items():
        response.headers.setdefault(name, value)
    return response
