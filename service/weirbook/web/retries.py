"""POSTs that are safe to repeat: the answer is kept for a day under the caller's Idempotency-Key."""

from __future__ import annotations

import hashlib

import msgspec
import sqlalchemy as sa
from flask import Request, Response, request
from sqlalchemy.orm import Session

from weirbook.errors import Conflict, Malformed
from weirbook.record.access import KeptAnswer
from weirbook.web.access import Caller


def token_of(request: Request) -> str | None:
    """The Idempotency-Key that a request carries, if any. Raises Malformed."""
    token = request.headers.get("Idempotency-Key")
    if token is not None and (not 1 <= len(token) <= 200 or not token.isascii() or not token.isprintable()):
        raise Malformed("An Idempotency-Key has 1 to 200 printable ASCII characters.")
    return token


def kept_answer(
    session: Session, caller: Caller, token: str, since_ms: int, *, replays: bool
) -> Response | None:
    """The answer kept for this token since then; None the first time.

    Raises Conflict if another request used the token, or where the answer held a secret that is not kept.
    """
    session.execute(
        sa.delete(KeptAnswer).where(KeptAnswer.room_id == caller.room_id, KeptAnswer.created_at_ms < since_ms)
    )
    kept = session.get(KeptAnswer, (caller.room_id, caller.key_id, token))
    if kept is None:
        return None
    if kept.request_hash != _request_hash():
        raise Conflict(
            "This Idempotency-Key was used for another request. Take a new one.", slug="token-reused"
        )
    if not replays:
        raise Conflict(
            "This was done already, and its secret is not kept, so it can't be shown again.",
            slug="not-replayed",
        )
    response = Response(kept.body, kept.status)
    response.headers.update(msgspec.json.decode(kept.headers))
    response.headers["Idempotent-Replay"] = "true"
    return response


def keep_answer(
    session: Session, caller: Caller, token: str, response: Response, now: int, *, replays: bool
) -> None:
    """Keep an answer in the transaction that it answers for."""
    carried = {
        name: response.headers[name]
        for name in ("Content-Type", "Location", "ETag")
        if name in response.headers
    }
    session.add(
        KeptAnswer(
            room_id=caller.room_id,
            key_id=caller.key_id,
            token=token,
            request_hash=_request_hash(),
            status=response.status_code,
            headers=msgspec.json.encode(carried).decode(),
            body=response.get_data() if replays else b"",
            created_at_ms=now,
        )
    )
    session.flush()


def _request_hash() -> str:
    told = f"{request.method} {request.full_path} {request.mimetype}\n".encode()
    return hashlib.sha256(told + request.get_data(cache=True)).hexdigest()
