"""What pages of other addresses may do in a browser: nothing, unless their origin is listed (WHATWG Fetch, CORS).

Keys travel in a header that a page must set itself, never in cookies, so credentials are never allowed.
"""

from __future__ import annotations

from flask import Response, request

READ_BY_PAGES = "ETag, Location, Retry-After, X-Request-Id"
SENT_BY_PAGES = (
    "Authorization, Content-Type, Content-Encoding, Idempotency-Key, If-Match, If-None-Match, X-Request-Id"
)
METHODS = "GET, HEAD, POST, PUT, PATCH, DELETE"
KEPT_S = 600


def allow_origin(response: Response, origins: tuple[str, ...]) -> None:
    """Say so where the asking page's origin is one of those listed, letter by letter."""
    if not origins:
        return
    response.vary.add("Origin")
    origin = request.headers.get("Origin")
    if origin not in origins:
        return
    response.headers["Access-Control-Allow-Origin"] = origin
    response.headers["Access-Control-Expose-Headers"] = READ_BY_PAGES
    if request.method == "OPTIONS" and "Access-Control-Request-Method" in request.headers:
        response.headers["Access-Control-Allow-Methods"] = METHODS
        response.headers["Access-Control-Allow-Headers"] = SENT_BY_PAGES
        response.headers["Access-Control-Max-Age"] = str(KEPT_S)
