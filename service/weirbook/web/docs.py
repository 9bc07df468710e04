"""/docs and /openapi.json: the documentation, with no address outside this service."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, current_app, redirect, request, send_from_directory
from msgspec import json
from swagger_ui_bundle import swagger_ui_path
from werkzeug.wrappers import Response as BaseResponse

PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Weirbook API</title>
<link rel="stylesheet" href="docs/assets/swagger-ui.css">
<link rel="icon" href="data:,">
</head>
<body>
<noscript>This page needs scripts. The same document as JSON: <a href="openapi.json">openapi.json</a></noscript>
<div id="documentation"></div>
<script src="docs/assets/swagger-ui-bundle.js"></script>
<script src="docs/start.js"></script>
</body>
</html>
"""
START = """SwaggerUIBundle({
  url: "openapi.json",
  dom_id: "#documentation",
  deepLinking: true,
  docExpansion: "none",
  validatorUrl: null,
  persistAuthorization: false,
});
"""
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


def document() -> dict[str, Any]:
    """The OpenAPI document of the application at hand."""
    found: dict[str, Any] = current_app.extensions["weirbook_api"].spec.to_dict()
    return found


def docs_blueprint() -> Blueprint:
    """The documentation page, its parts and the document."""
    blp = Blueprint("docs", "docs")

    @blp.get("/openapi.json")
    def openapi() -> Response:
        return Response(json.encode(document()), content_type="application/json")

    @blp.get("/docs")
    def docs() -> Response | BaseResponse:
        if request.path.endswith("/"):
            return redirect("../docs", 308)  # the page names its parts relative to /docs
        return Response(
            PAGE, content_type="text/html; charset=utf-8", headers={"Content-Security-Policy": POLICY}
        )

    @blp.get("/docs/start.js")
    def start() -> Response:
        return Response(START, content_type="text/javascript; charset=utf-8")

    @blp.get("/docs/assets/<path:name>")
    def assets(name: str) -> Response:
        return send_from_directory(str(swagger_ui_path), name)

    return blp
