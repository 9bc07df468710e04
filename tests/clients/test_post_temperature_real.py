"""The sensor client against the service itself, as a process that is killed and started again."""

import http.client
import itertools
import json
import threading
import time
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import quote

import pytest


@pytest.fixture(scope="module")
def shared_service(serve):
    return serve()


@pytest.fixture
def service(shared_service):
    """The running service: one for all these tests, started again after those that end it."""
    if not shared_service.running:
        shared_service.start()
    return shared_service


_numbers = itertools.count(1)


@pytest.fixture
def ponds(service):
    """The handles of two thermometers that nobody has read yet."""
    number = next(_numbers)
    handles = f"north-pond-{number}", f"south-pond-{number}"
    for handle in handles:
        wanted = {"name": handle, "parameter": "temperature", "place": "tanks/nursery"}
        service.make("/v1/gauges", wanted | {"expected_interval": "1 min"})
    return handles


def sensor_key(service, gauges):
    """The handle and the secret of a key that may post to these gauges."""
    made = service.make("/v1/keys", {"name": "Probe", "role": "sensor", "gauges": list(gauges)})
    return made["handle"], made["key"]


def revoke(service, handle):
    ended = service.ask(f"/v1/keys/{handle}", service.keeper_key, method="DELETE", **{"If-Match": "*"})
    assert ended.status == 204


def stored(service, gauge):
    """(at, value) of every reading of a gauge, oldest first."""
    now = datetime.now(UTC)
    first, last = (quote((now + timedelta(hours=hours)).isoformat()) for hours in (-1, 1))
    found = service.ask(f"/v1/readings?gauge={gauge}&from={first}&to={last}&limit=10000", service.keeper_key)
    assert found.status == 200, found.text
    return [(instant(item["at"]), item["value"]) for item in found.json["items"]]


def values(service, gauge):
    return [value for _, value in stored(service, gauge)]


def instant(text):
    return datetime.fromisoformat(text)


def spooled(probe):
    return [(instant(row["at"]), row["value"]) for row in probe.waiting()]


def test_each_line_arrives_once_in_order_and_with_the_value_it_was_given(service, ponds, probe):
    north, south = ponds
    lines = [15 + n / 100 for n in range(60)]
    process = probe.start(service.port, "--gauge", north, key=sensor_key(service, ponds)[1])
    for line in lines:
        probe.print(process, line)
    probe.print(process, f"{south} -1.25e-1")
    assert probe.finish(process) == (0, "")
    assert values(service, north) == lines
    assert values(service, south) == [-0.125]
    assert probe.waiting() == probe.refused() == []


def test_readings_taken_while_the_service_is_away_come_back_exactly_as_they_were_stamped(
    service, ponds, probe
):
    north, _ = ponds
    _, key = sensor_key(service, ponds)
    service.stop()
    process = probe.start(service.port, "--gauge", north, key=key)
    probe.print(process, 24.1, 24.17, 24.2)
    probe.until(lambda: len(probe.waiting()) == 3)
    stamped = spooled(probe)
    service.start()
    assert probe.finish(process)[0] == 0
    assert stored(service, north) == stamped
    assert [value for _, value in stamped] == [24.1, 24.17, 24.2]


def test_a_service_killed_again_and_again_in_the_stream_loses_nothing_and_doubles_nothing(
    service, ponds, probe
):
    north, _ = ponds
    process = probe.start(service.port, "--gauge", north, key=sensor_key(service, ponds)[1])
    lines = itertools.count()
    for taken in (20, 50):
        # Each time there are readings stored and readings on their way.
        while len(values(service, north)) < taken:
            probe.print(process, next(lines) / 4)
        service.kill()
        for _ in range(10):
            probe.print(process, next(lines) / 4)
        service.start()
    sent = next(lines)
    assert probe.finish(process)[0] == 0
    assert values(service, north) == [n / 4 for n in range(sent)]
    assert len({at for at, _ in stored(service, north)}) == sent
    assert probe.refused() == []


class HoldsAnswers(BaseHTTPRequestHandler):
    """Stands between client and service, hands the request on and keeps the answer to itself."""

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        onward = http.client.HTTPConnection("127.0.0.1", self.server.service_port, timeout=30)
        onward.request("POST", self.path, body, dict(self.headers))
        self.server.answers.append(json.loads(onward.getresponse().read()))
        onward.close()
        self.server.held.set()
        self.server.over.wait(30)

    def log_message(self, *_):
        pass


@pytest.fixture
def answer_holder(service):
    with ThreadingHTTPServer(("127.0.0.1", 0), HoldsAnswers) as between:
        between.service_port, between.answers = service.port, []
        between.held, between.over = threading.Event(), threading.Event()
        between.handle_error = lambda *_: None
        thread = threading.Thread(target=between.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        yield between
        between.over.set()
        between.shutdown()
        thread.join()


def test_a_client_killed_between_sending_and_the_answer_stores_nothing_twice_when_it_is_back(
    service, ponds, probe, answer_holder
):
    north, _ = ponds
    _, key = sensor_key(service, ponds)
    process = probe.start(answer_holder.server_port, "--gauge", north, key=key)
    probe.print(process, *range(20))
    assert answer_holder.held.wait(15)
    probe.until(lambda: len(probe.waiting()) == 20)
    process.kill()
    process.wait(10)
    stored_before, stamped = stored(service, north), spooled(probe)
    assert len(stored_before) == answer_holder.answers[0]["stored"] > 0

    assert probe.once(service.port, "20\n", "--gauge", north, key=key)[0] == 0
    assert stored(service, north)[: len(stored_before)] == stored_before
    assert stored(service, north)[:20] == stamped
    assert values(service, north) == list(range(21))


def test_refused_readings_are_set_aside_with_their_type_and_the_rest_is_stored(service, ponds, probe):
    north, south = ponds
    _, key = sensor_key(service, [north])
    lines = f"24.5\nno-such-gauge 24\n{north} 999\n{south} 24.6\n24.7\n"
    status, said = probe.once(service.port, lines, "--gauge", north, key=key)
    assert status == 0
    assert values(service, north) == [24.5, 24.7]
    assert values(service, south) == []
    refused = [(row["type"], row["reading"]["gauge"], row["reading"]["value"]) for row in probe.refused()]
    assert refused == [
        ("unknown-gauge", "no-such-gauge", 24),
        ("impossible-value", north, 999),
        ("not-allowed", south, 24.6),
    ]
    assert said.count("set aside") == 3


def test_a_batch_with_many_refused_readings_is_settled_whole(service, ponds, probe, closed_port):
    north, _ = ponds
    _, key = sensor_key(service, ponds)
    # More refused rows than a problem document would list.
    lines = "".join(f"no-such-gauge {n}\n{n / 10}\n" for n in range(110))
    assert probe.once(closed_port, lines, "--gauge", north, key=key)[0] == 75
    assert probe.once(service.port, "", key=key)[0] == 0
    assert [row["reading"]["value"] for row in probe.refused()] == list(range(110))
    assert values(service, north) == [n / 10 for n in range(110)]


def test_a_revoked_key_keeps_every_reading_until_the_key_file_is_mended(service, ponds, probe, tmp_path):
    north, _ = ponds
    handle, key = sensor_key(service, ponds)
    key_file = tmp_path / "probe.key"
    key_file.write_text(key + "\n")
    process = probe.start(service.port, "--gauge", north, "--key-file", str(key_file), key=None)
    probe.print(process, 24)
    probe.until(lambda: values(service, north) == [24])
    probe.until(lambda: probe.waiting() == [])

    revoke(service, handle)
    probe.print(process, 25, 26)
    probe.until(lambda: len(probe.waiting()) == 2)
    stamped = spooled(probe)
    time.sleep(0.5)
    assert values(service, north) == [24]
    assert spooled(probe) == stamped

    key_file.write_text(sensor_key(service, ponds)[1])
    probe.until(lambda: len(values(service, north)) == 3)
    status, said = probe.finish(process)
    assert status == 0
    assert "the key is not accepted" in said and "revoked" in said
    assert stored(service, north)[1:] == stamped
    assert probe.refused() == []


def test_a_key_that_was_revoked_before_the_start_loses_nothing_either(service, ponds, probe):
    north, _ = ponds
    handle, key = sensor_key(service, ponds)
    revoke(service, handle)
    assert probe.once(service.port, "24\n", "--gauge", north, key=key)[0] == 75
    assert values(service, north) == []
    assert probe.once(service.port, "25\n", "--gauge", north, key=sensor_key(service, ponds)[1])[0] == 0
    assert values(service, north) == [24, 25]
