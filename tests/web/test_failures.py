"""Wrong keys are held back by key and by address, in bounded space, and nobody is kept out by a stranger."""

from __future__ import annotations

import threading

import pytest
from harness import Caller, MakeCaller

from weirbook.app import Service
from weirbook.errors import TooMany
from weirbook.web.failures import FAR_BEYOND, REMEMBERED, Failures

PER_MINUTE = 30
HERE, THERE = "192.0.2.1", "192.0.2.2"  # addresses for documentation (RFC 5737)


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def failures(clock: Clock) -> Failures:
    return Failures(PER_MINUTE, clock)


def fails(failures: Failures, key: str, address: str = HERE) -> bool:
    """One attempt with a wrong key; whether it was merely refused, not held back."""
    try:
        failures.refuse_unlooked(key, address)
        failures.note(key, address)
    except TooMany:
        return False
    return True


def test_one_key_that_keeps_failing_is_held_back_before_its_address(failures: Failures) -> None:
    tried = [fails(failures, "dead") for _ in range(200)]
    assert tried.count(True) == 10 and all(tried[:10])
    assert fails(failures, "another")
    assert not fails(failures, "dead", THERE)


def test_many_keys_from_one_address_are_held_back_together(failures: Failures) -> None:
    tried = [fails(failures, f"key {number}") for number in range(PER_MINUTE + 20)]
    assert tried == [True] * PER_MINUTE + [False] * 20
    assert fails(failures, "first from there", THERE)


def test_what_was_held_back_may_try_again_after_the_time_it_was_told(
    failures: Failures, clock: Clock
) -> None:
    for number in range(PER_MINUTE):
        failures.note(f"key {number}", HERE)
    with pytest.raises(TooMany) as told:
        failures.note("one more", HERE)
    clock.now += told.value.wait_s - 0.5
    assert told.value.wait_s > 1
    assert not fails(failures, "too soon")
    clock.now += 60
    assert fails(failures, "in time")


def test_a_good_key_passes_an_address_past_its_limit(failures: Failures) -> None:
    for number in range(PER_MINUTE * 2):
        fails(failures, f"key {number}")
    failures.refuse_unlooked("good, never seen here", HERE)


def test_far_past_its_limit_only_keys_that_were_good_lately_pass(failures: Failures, clock: Clock) -> None:
    failures.note_good("good")
    for number in range(PER_MINUTE * (FAR_BEYOND + 1)):
        fails(failures, f"key {number}")
    failures.refuse_unlooked("good", HERE)
    failures.refuse_unlooked("a stranger", THERE)
    with pytest.raises(TooMany) as told:
        failures.refuse_unlooked("a stranger", HERE)
    clock.now += told.value.wait_s
    failures.refuse_unlooked("a stranger", HERE)


def test_a_key_that_stops_being_good_is_a_stranger_again(failures: Failures) -> None:
    failures.note_good("revoked since")
    failures.note("revoked since", HERE)
    for number in range(PER_MINUTE * (FAR_BEYOND + 1)):
        fails(failures, f"key {number}")
    with pytest.raises(TooMany):
        failures.refuse_unlooked("revoked since", HERE)


def test_what_is_remembered_is_bounded(failures: Failures) -> None:
    for number in range(REMEMBERED + 500):
        fails(failures, f"key {number}", f"address {number}")
        failures.note_good(f"good {number}")
    for kept in (failures._by_key._known, failures._by_address._known, failures._good):
        assert len(kept) == REMEMBERED
    assert "key 0" not in failures._by_key._known


def test_many_threads_count_right(failures: Failures) -> None:
    passed: list[bool] = []

    def try_some(mark: int) -> None:
        passed.extend(fails(failures, f"{mark} {number}") for number in range(20))

    threads = [threading.Thread(target=try_some, args=(mark,)) for mark in range(8)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert passed.count(True) == PER_MINUTE


def knock(nobody: Caller, secret: str, address: str = "127.0.0.1") -> int:
    answered = nobody.client.get(
        "/v1/room", headers={"Authorization": f"Bearer {secret}"}, environ_overrides={"REMOTE_ADDR": address}
    )
    if answered.status_code == 429:
        assert answered.mimetype == "application/problem+json"
        assert answered.get_json()["type"] == "urn:weirbook:problem:too-many-failures"
        assert int(answered.headers["Retry-After"]) >= 1
    return answered.status_code


def test_wrong_keys_hear_429_and_the_keeper_at_the_same_address_is_answered(
    caller: MakeCaller, keeper: Caller
) -> None:
    nobody = caller(None)
    heard = [knock(nobody, f"wb_{number}") for number in range(PER_MINUTE + 20)]
    assert heard[:PER_MINUTE] == [401] * PER_MINUTE
    assert heard[-1] == 429
    assert keeper.get("/v1/room").status_code == 200
    heard = [knock(nobody, f"wb_{number}") for number in range(PER_MINUTE * FAR_BEYOND)]
    assert set(heard) == {429}
    assert keeper.get("/v1/room").status_code == 200
    assert knock(nobody, "wb_elsewhere", "192.0.2.9") == 401


def test_a_revoked_key_that_never_stops_is_refused_without_a_look_into_the_database(
    app: Service, caller: MakeCaller, keeper: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    helper = caller("helper", name="Gone helper")
    keeper.delete("/v1/keys/gone-helper")
    assert [helper.get("/v1/room").status_code for _ in range(10)] == [401] * 10
    monkeypatch.setattr(app.database, "read", lambda: pytest.fail("looked"))
    assert helper.get("/v1/room").status_code == 429


def test_a_good_key_used_where_it_may_not_is_no_failure(caller: MakeCaller, furnished: Caller) -> None:
    viewer = caller("viewer")
    nobody = caller(None)
    for _ in range(40):
        assert nobody.get(f"/v1/tanks?format=csv&key={viewer.secret}").status_code == 401
        assert viewer.post("/v1/systems", {"name": "X"}).status_code == 403
        assert nobody.get("/v1/room").status_code == 401
    assert viewer.get("/v1/room").status_code == 200
