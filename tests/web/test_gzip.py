"""Bodies that come packed: unpacked as they are read, under the same cap, and refused where they are not sound."""

from __future__ import annotations

import gzip
import io
import json
import random
import tracemalloc
from typing import Any

import pytest
from harness import Caller
from werkzeug.test import TestResponse

from weirbook.app import Service
from weirbook.errors import Malformed, TooLarge
from weirbook.web.bodies import Unpacked

GAUGE = "nursery-temperature"
READINGS = [{"gauge": GAUGE, "value": 24 + n / 10, "at": f"2025-11-20T10:{n:02d}:00Z"} for n in range(20)]
AS_JSON = json.dumps({"readings": READINGS}).encode()
AS_LINES = "\n".join(json.dumps(one) for one in READINGS).encode()
AS_CSV = "\n".join(
    ["gauge,value,at", *(f"{one['gauge']},{one['value']},{one['at']}" for one in READINGS)]
).encode()


def post(caller: Caller, body: bytes, media: str = "application/json", **headers: str) -> TestResponse:
    headers = {"Content_Type": media, "Content_Encoding": "gzip", **headers}
    return caller("POST", "/v1/readings", body, **headers)


def stored(caller: Caller) -> int:
    span = "from=2025-11-20T00:00:00Z&to=2025-11-21T00:00:00Z"
    return len(caller.get(f"/v1/readings?gauge={GAUGE}&{span}").get_json()["items"])


@pytest.mark.parametrize(
    ("media", "body"),
    [("application/json", AS_JSON), ("application/x-ndjson", AS_LINES), ("text/csv", AS_CSV)],
)
@pytest.mark.parametrize("encoding", ["gzip", "x-gzip", "GZIP", "gzip, identity"])
def test_readings_of_every_form_may_come_packed(
    furnished: Caller, media: str, body: bytes, encoding: str
) -> None:
    answer = post(furnished, gzip.compress(body), media, Content_Encoding=encoding)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    assert answer.get_json()["stored"] == stored(furnished) == len(READINGS)


def test_other_records_may_come_packed(furnished: Caller) -> None:
    packed = {"Content_Type": "application/json", "Content_Encoding": "gzip"}
    assert furnished("POST", "/v1/systems", gzip.compress(b'{"name": "Brook"}'), **packed).status_code == 201
    edit = gzip.compress(b'{"name": "Beck"}')
    assert furnished("PATCH", "/v1/systems/brook", edit, If_Match="*", **packed).get_json()["name"] == "Beck"
    asked = gzip.compress(b'{"volume": "800 L", "flow": "900 gal/h"}')
    assert furnished("POST", "/v1/calculators/turnover/answer", asked, **packed).status_code == 200


@pytest.mark.parametrize("encoding", ["identity", "", "Identity"])
def test_a_plain_body_may_say_that_it_is_one(furnished: Caller, encoding: str) -> None:
    assert post(furnished, AS_JSON, Content_Encoding=encoding).status_code == 200


@pytest.mark.parametrize("encoding", ["br", "deflate", "zstd", "gzip, gzip", "gzip, br", "\u00e9"])
@pytest.mark.parametrize("media", ["application/json", "application/x-ndjson"])
def test_another_packing_is_refused_and_what_is_taken_is_named(
    furnished: Caller, encoding: str, media: str
) -> None:
    refused = post(furnished, gzip.compress(AS_JSON), media, Content_Encoding=encoding)
    assert refused.status_code == 415
    assert refused.headers["Accept-Encoding"] == "gzip"
    assert "gzip" in refused.get_json()["detail"]
    assert stored(furnished) == 0


def test_another_media_type_is_refused_without_a_word_on_packings(furnished: Caller) -> None:
    refused = post(furnished, AS_JSON, "text/html", Content_Encoding="identity")
    assert refused.status_code == 415
    assert "Accept-Encoding" not in refused.headers


def spoilt() -> dict[str, bytes]:
    whole = gzip.compress(AS_JSON)
    middle = len(whole) // 2
    return {
        "nothing": b"",
        "no gzip": AS_JSON,
        "half": whole[:middle],
        "without its last byte": whole[:-1],
        "a header alone": whole[:10],
        "a wrong checksum": whole[:-8] + bytes([whole[-8] ^ 1]) + whole[-7:],
        "a wrong length": whole[:-1] + bytes([whole[-1] ^ 1]),
        "junk behind": whole + b"junk",
        "zeros behind": whole + bytes(16),
        "half of a second member behind": whole + whole[:middle],
    }


@pytest.mark.parametrize("why", spoilt())
@pytest.mark.parametrize("media", ["application/json", "application/x-ndjson"])
def test_a_broken_gzip_is_refused(furnished: Caller, why: str, media: str) -> None:
    refused = post(furnished, spoilt()[why], media)
    assert refused.status_code == 400
    assert refused.get_json()["type"] == "urn:weirbook:problem:malformed"
    assert stored(furnished) == 0


def test_a_body_is_unpacked_up_to_the_cap_and_no_further(
    app: Service, furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(app.config, "MAX_CONTENT_LENGTH", len(AS_JSON))
    assert post(furnished, gzip.compress(AS_JSON)).status_code == 200
    refused = post(furnished, gzip.compress(AS_JSON + b" "))
    assert refused.status_code == 413
    assert refused.get_json()["type"] == "urn:weirbook:problem:too-large"


def bomb(megabytes: int) -> bytes:
    packed = io.BytesIO()
    with gzip.open(packed, "wb") as out:
        for _ in range(megabytes):
            out.write(bytes(2**20))
    return packed.getvalue()


@pytest.mark.parametrize(
    ("media", "status", "megabytes"),
    [("application/json", 413, 20), ("text/csv", 413, 20), ("application/x-ndjson", 413, 4)],
)
def test_a_bomb_takes_no_memory_to_speak_of(
    app: Service, furnished: Caller, media: str, status: int, megabytes: int
) -> None:
    """A body may take its cap of 16 MB; a line that never ends not even a megabyte."""
    packed = bomb(200)
    tracemalloc.start()
    try:
        refused = post(furnished, packed, media)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert refused.status_code == status
    assert peak < megabytes * 2**20


def test_the_same_request_packed_or_plain_is_done_once_under_its_token(furnished: Caller) -> None:
    first = post(furnished, gzip.compress(AS_JSON), Idempotency_Key="a")
    for body, encoding in ((gzip.compress(AS_JSON, 1), "gzip"), (AS_JSON, "identity")):
        again = post(furnished, body, Content_Encoding=encoding, Idempotency_Key="a")
        assert again.get_data() == first.get_data()
        assert again.headers["Idempotent-Replay"] == "true"
    other = post(furnished, gzip.compress(AS_JSON + b" "), Idempotency_Key="a")
    assert other.get_json()["type"] == "urn:weirbook:problem:token-reused"


def test_what_was_packed_in_any_pieces_is_unpacked_to_what_it_was() -> None:
    """Against Python's own gzip, in members of every size, read in steps of every size, cut anywhere."""
    chance = random.Random(20_251_120)
    for _ in range(150):
        parts = [
            chance.randbytes(chance.randrange(60)) * chance.choice([0, 1, 2000])
            for _ in range(chance.randrange(1, 4))
        ]
        packed = [gzip.compress(part, chance.randrange(1, 10)) for part in parts]
        whole, plain = b"".join(packed), b"".join(parts)
        step = chance.choice([1, 7, 8192, 200_000]) if len(plain) < 10_000 else 8192
        assert gzip.decompress(whole) == plain
        assert io.BufferedReader(Unpacked(io.BytesIO(whole), None), step).read() == plain
        assert Unpacked(io.BytesIO(whole), len(plain)).read() == plain
        if plain:
            with pytest.raises(TooLarge):
                Unpacked(io.BytesIO(whole), len(plain) - 1).read()
        cut = chance.randrange(1, len(whole))
        if cut not in {sum(map(len, packed[:count])) for count in range(1, len(packed))}:
            with pytest.raises(Malformed):
                Unpacked(io.BytesIO(whole[:cut]), None).read()


def test_a_body_without_a_packing_is_not_unpacked(furnished: Caller) -> None:
    answer: Any = furnished("POST", "/v1/readings", gzip.compress(AS_JSON), Content_Type="application/json")
    assert answer.status_code == 400
