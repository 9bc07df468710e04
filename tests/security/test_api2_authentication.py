"""API2:2023 Broken authentication.

tests/web/test_access.py: every operation wants a key, wrong, revoked and expired ones are refused, and where one may
stand in the address. tests/web/test_failures.py: how often wrong ones may be tried. tests/web/test_request_id.py: none
enters the log. Here: what a key is, how it is kept, and every other way of showing one.
"""

from __future__ import annotations

import hashlib
import re

import pytest
from harness import Caller, MakeCaller, on_both_engines

from weirbook.actions.make_key import revoke_key
from weirbook.app import Service
from weirbook.record.access import AccessKey, hash_of, new_secret
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.record.names import find


def test_a_key_is_256_random_bits() -> None:
    made = {new_secret() for _ in range(1000)}
    assert len(made) == 1000
    for secret in made:
        # 43 letters of 6 bits (RFC 4648, base64url without padding) hold 256 bits.
        assert re.fullmatch(r"wb_[A-Za-z0-9_-]{43}", secret)
    for place in range(3, 45):
        assert len({secret[place] for secret in made}) > 32


def test_a_key_is_kept_as_its_sha_256() -> None:
    """The digest of "abc" as FIPS 180-4's examples give it."""
    assert hash_of("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_no_secret_stands_in_the_database(app: Service, caller: MakeCaller, keeper: Caller) -> None:
    made = keeper.post("/v1/keys", {"name": "Screen", "role": "viewer"}, Idempotency_Key="once")
    secrets = [keeper.secret, made.get_json()["key"], caller("helper").secret]
    Caller(app.test_client(), secrets[1]).get("/v1/room")
    file = app.database.file
    assert file is not None
    kept = b"".join(one.read_bytes() for one in file.parent.glob(f"{file.name}*"))
    for secret in secrets:
        assert secret is not None
        assert hashlib.sha256(secret.encode()).hexdigest().encode() in kept
        assert secret.encode() not in kept
        assert secret.removeprefix("wb_").encode() not in kept


def test_a_secret_is_shown_once(keeper: Caller) -> None:
    made = keeper.post("/v1/keys", {"name": "Screen", "role": "viewer"}, Idempotency_Key="once")
    secret = made.get_json()["key"]
    for path in ("/v1/keys", "/v1/keys?format=csv", "/v1/keys/screen", made.headers["Location"]):
        shown = keeper.get(path).get_data(as_text=True)
        assert "screen" in shown
        assert secret not in shown and hash_of(secret) not in shown
    again = keeper.post("/v1/keys", {"name": "Screen", "role": "viewer"}, Idempotency_Key="once")
    assert again.status_code == 409
    assert secret not in again.get_data(as_text=True)


@pytest.mark.parametrize(
    "change",
    [
        str.upper,
        str.lower,
        hash_of,
        lambda secret: secret[:-1],
        lambda secret: secret + "A",
        lambda secret: secret + "=",
        lambda secret: secret.removeprefix("wb_"),
        lambda secret: f'"{secret}"',
        lambda secret: f"{secret}, {secret}",
        lambda secret: f"{secret}\x00",
        lambda secret: secret[:10] + "%",
        lambda secret: "' OR '1'='1",
        lambda secret: "x" * 100_000,
        lambda secret: "ключ",
    ],
)
def test_nothing_but_the_whole_key_opens(keeper: Caller, change: object) -> None:
    assert keeper.secret is not None
    changed = change(keeper.secret)  # type: ignore[operator]
    nobody = Caller(keeper.client, None)
    assert nobody.get("/v1/room", Authorization=f"Bearer {changed}").status_code == 401


@pytest.mark.parametrize("name", ["X-Api-Key", "Api-Key", "X-Auth-Token", "Cookie", "Proxy-Authorization"])
def test_no_other_header_opens(keeper: Caller, name: str) -> None:
    nobody = Caller(keeper.client, None)
    for said in (keeper.secret, f"Bearer {keeper.secret}", f"key={keeper.secret}"):
        assert nobody.client.get("/v1/room", headers={name: said}).status_code == 401


def test_no_body_and_no_other_query_key_opens(caller: MakeCaller, keeper: Caller) -> None:
    nobody = caller(None)
    link = caller("viewer", for_links=True).secret
    for name in ("token", "access_token", "api_key", "Key"):
        assert nobody.get(f"/v1/tanks?format=csv&{name}={link}").status_code == 401
    assert nobody.post("/v1/systems", {"name": "X", "key": keeper.secret}).status_code == 401


@on_both_engines
def test_a_key_revoked_by_another_process_ends_at_once(
    app: Service, caller: MakeCaller, room_id: int
) -> None:
    helper = caller("helper", name="Gone helper")
    assert helper.get("/v1/room").status_code == 200
    assert helper.get("/v1/room").status_code == 200
    elsewhere = Database(app.database.url.render_as_string(False))
    with elsewhere.write() as session:
        enter_room(session, room_id)
        revoke_key(session, find(session, AccessKey, "gone-helper"), now=now_ms())
    elsewhere.dispose()
    assert helper.get("/v1/room").status_code == 401
    assert helper.post("/v1/journal", {"words": "x"}).status_code == 401


def test_a_request_with_two_keys_goes_by_the_header_alone(caller: MakeCaller, keeper: Caller) -> None:
    link = caller("viewer", for_links=True).secret
    viewer = caller("viewer")
    assert viewer.post(f"/v1/systems?key={keeper.secret}", {"name": "X"}).status_code == 403
    wrong = caller(None).get(f"/v1/systems?format=csv&key={link}", Authorization="Bearer wb_wrong")
    assert wrong.status_code == 401
