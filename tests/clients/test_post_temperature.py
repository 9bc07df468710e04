"""The sensor client, run as its users run it, against a small server that answers as the service promises."""

import os
import random
import re
import signal
import threading
import time
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

import pytest


def problem(status, detail, **headers):
    return status, {"type": "about:blank", "title": "Refused", "status": status, "detail": detail}, headers


def test_a_value_and_a_gauge_with_a_value_are_sent_with_the_instant_they_came(fake, probe):
    before = datetime.now(UTC)
    assert probe.once(fake.server_port, "24.5\npond-b -1.25e1\n\n") == (0, "")
    rows = [row for *_, rows in fake.requests for row in rows]
    assert [(row["gauge"], row["value"]) for row in rows] == [("pond-a", 24.5), ("pond-b", -12.5)]
    for row in rows:
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", row["at"])
        assert before - timedelta(seconds=1) < datetime.fromisoformat(row["at"]) < datetime.now(UTC)
    _, path, headers, _ = fake.requests[0]
    assert path == "/v1/readings?partial=true"
    assert headers["Authorization"] == "Bearer weirbook-test-key"
    assert headers["Content-Type"] == "application/json"
    assert probe.waiting() == []


def test_each_line_is_sent_while_the_loop_goes_on(fake, probe):
    process = probe.start(fake.server_port)
    for count in (1, 2, 3):
        probe.print(process, 20 + count)
        probe.until(lambda count=count: len(fake.values) == count)
    assert probe.finish(process) == (0, "")


def test_lines_of_one_millisecond_stay_separate_readings(fake, probe):
    assert probe.once(fake.server_port, "".join(f"{n}\n" for n in range(200)))[0] == 0
    assert fake.values == list(range(200))


def test_readings_taken_while_the_server_is_away_arrive_when_it_is_back(probe, closed_port, fake_at):
    process = probe.start(closed_port)
    probe.print(process, 21, 22, 23)
    probe.until(lambda: len(probe.waiting()) == 3)
    stamps = [row["at"] for row in probe.waiting()]
    with fake_at(closed_port) as fake:
        probe.until(lambda: fake.values == [21, 22, 23])
        assert sorted(at for _, at in fake.stored) == stamps
        probe.until(lambda: probe.waiting() == [])


def test_once_keeps_readings_for_the_next_start_while_the_server_is_away(fake, probe, closed_port):
    status, said = probe.once(closed_port, "21\n22\n")
    assert status == 75
    assert "no answer from the server" in said
    assert [row["value"] for row in probe.waiting()] == [21, 22]
    assert probe.once(fake.server_port, "23\n")[0] == 0
    assert fake.values == [21, 22, 23]


def test_a_client_killed_between_sending_and_the_answer_loses_nothing_and_stores_nothing_twice(fake, probe):
    taken, never = threading.Event(), threading.Event()

    def hold_the_answer():
        taken.set()
        never.wait(20)

    fake.before_answer = hold_the_answer
    process = probe.start(fake.server_port)
    probe.print(process, *range(20))
    assert taken.wait(10)
    probe.until(lambda: len(probe.waiting()) == 20)
    process.send_signal(signal.SIGKILL)
    process.wait(10)
    known = len(fake.values)
    assert known >= 1
    fake.before_answer = lambda: None
    never.set()
    assert probe.once(fake.server_port, "")[0] == 0
    assert fake.values == list(range(20))
    assert fake.repeated == known
    assert probe.waiting() == []


def test_what_was_spooled_when_the_client_was_killed_at_any_moment_arrives(fake, probe):
    chance = random.Random(4)
    spooled = set()

    def in_spool():
        return {row["value"] for row in probe.waiting()}

    for first in range(0, 320, 40):
        fake.verdict = None if chance.random() < 0.7 else lambda *_: problem(503, "busy")
        process = probe.start(fake.server_port)
        probe.print(process, *range(first, first + 40))
        probe.until(lambda first=first: first in in_spool() or first in fake.values)
        time.sleep(chance.uniform(0.0, 0.15))
        process.send_signal(signal.SIGKILL)
        process.wait(10)
        spooled |= {first} | in_spool()
    fake.verdict = None
    assert probe.once(fake.server_port, "")[0] == 0
    assert spooled <= set(fake.values)
    assert len(fake.values) == len(set(fake.values))
    assert probe.refused() == []


def test_a_reading_is_on_disk_before_anything_is_sent(client, tmp_path, monkeypatch):
    spool = client.Spool(tmp_path)
    synced = []
    monkeypatch.setattr(client.os, "fsync", lambda file: synced.append(os.readlink(f"/proc/self/fd/{file}")))
    reading = {"gauge": "pond-a", "value": 24.5, "at": "2026-11-25T10:00:00.000Z"}
    spool.take(reading)
    assert synced == [str(tmp_path / "readings.jsonl")]
    assert [entry.reading for entry in spool.pending(10)] == [reading]


def test_a_refused_reading_is_set_aside_with_its_reason_and_never_sent_again(fake, probe):
    assert probe.once(fake.server_port, "pond-a 21\nnowhere 5\npond-b 22\n")[0] == 0
    assert fake.values == [21, 22]
    (refused,) = probe.refused()
    assert refused["type"] == "unknown-gauge"
    assert "No gauge nowhere" in refused["message"]
    assert (refused["reading"]["gauge"], refused["reading"]["value"]) == ("nowhere", 5)
    fake.requests.clear()
    assert probe.once(fake.server_port, "23\n")[0] == 0
    assert [row["gauge"] for *_, rows in fake.requests for row in rows] == ["pond-a"]


@pytest.mark.parametrize("refusal", [401, 403])
def test_a_key_that_is_not_accepted_keeps_all_and_can_be_mended_without_a_restart(
    fake, probe, tmp_path, refusal
):
    key_file = tmp_path / "key"
    key_file.write_text("old-key\n")

    def only_the_new_key(rows, headers):
        return (
            None
            if headers["Authorization"] == "Bearer new-key"
            else problem(refusal, "This key was revoked.")
        )

    fake.verdict = only_the_new_key
    process = probe.start(fake.server_port, "--key-file", str(key_file), key=None)
    probe.print(process, 21, 22)
    probe.until(lambda: len(fake.requests) >= 2 and len(probe.waiting()) == 2)
    key_file.write_text("new-key\n")
    probe.until(lambda: fake.values == [21, 22])
    status, said = probe.finish(process)
    assert status == 0
    assert "key is not accepted (This key was revoked.)" in said
    assert probe.refused() == []


def test_a_batch_that_is_too_large_is_halved_until_it_fits(fake, probe, closed_port):
    assert probe.once(closed_port, "".join(f"{n}\n" for n in range(50)))[0] == 75
    fake.verdict = lambda rows, _: problem(413, "At most 7 readings.") if len(rows) > 7 else None
    assert probe.once(fake.server_port, "")[0] == 0
    assert fake.values == list(range(50))
    assert fake.repeated == 0
    assert probe.refused() == []


def test_a_busy_server_is_left_alone_for_as_long_as_it_asks(fake, probe):
    fake.verdict = lambda *_: (
        problem(503, "busy", **{"Retry-After": "2"}) if len(fake.requests) == 1 else None
    )
    process = probe.start(fake.server_port)
    probe.print(process, 21)
    probe.until(lambda: fake.values == [21])
    first, second = (moment for moment, *_ in fake.requests)
    assert second - first >= 1.9


@pytest.mark.parametrize("status", [400, 415, 422])
def test_a_request_refused_whole_is_narrowed_to_the_reading_to_blame(fake, probe, status, closed_port):
    assert probe.once(closed_port, "".join(f"{n}\n" for n in range(40)))[0] == 75

    def verdict(rows, _):
        bad = {row["value"] for row in rows} & {13, 31}
        return problem(status, "Value can't be read.") if bad else None

    fake.verdict = verdict
    assert probe.once(fake.server_port, "")[0] == 0
    assert fake.values == [n for n in range(40) if n not in (13, 31)]
    assert [(row["type"], row["reading"]["value"]) for row in probe.refused()] == [
        (f"status-{status}", 13),
        (f"status-{status}", 31),
    ]
    assert len(fake.requests) < 40


def test_a_size_limit_met_while_narrowing_loses_nothing(fake, probe, closed_port):
    assert probe.once(closed_port, "".join(f"{n}\n" for n in range(40)))[0] == 75

    def verdict(rows, _):
        if len(rows) > 25:
            return problem(422, "Too many kinds of trouble.")
        return problem(413, "At most 4 readings.") if len(rows) > 4 else None

    fake.verdict = verdict
    assert probe.once(fake.server_port, "")[0] == 0
    assert fake.values == list(range(40))


@pytest.mark.parametrize(
    "answer",
    [
        (400, b"<h1>plain request on a secure port</h1>"),
        (404, b"<h1>nothing here</h1>"),
        (301, b"moved"),
        (200, b"<h1>please log in to this network</h1>"),
        (200, {"sent": 2, "stored": 1, "repeated": 0, "refused": 0, "flagged": 0, "refusals": []}),
        (200, {"sent": 2, "stored": 1, "repeated": 0, "refused": 1, "flagged": 0, "refusals": []}),
        (200, {"sent": 2, "stored": 1, "repeated": 0, "refused": 1, "refusals": [{"index": 2}]}),
        (500, b""),
        (502, b"<h1>bad gateway</h1>"),
        (503, {"detail": "busy"}),
    ],
)
def test_an_answer_that_is_not_the_services_word_on_each_reading_keeps_them_all(
    fake, probe, answer, closed_port
):
    assert probe.once(closed_port, "21\n22\n")[0] == 75
    fake.verdict = lambda *_: answer
    assert probe.once(fake.server_port, "")[0] == 75
    assert [row["value"] for row in probe.waiting()] == [21, 22]
    assert probe.refused() == []


def test_a_server_that_never_answers_is_given_up_and_tried_again(fake, probe):
    answered = threading.Event()
    fake.before_answer = lambda: None if len(fake.requests) > 1 else answered.wait(20)
    process = probe.start(fake.server_port, "--timeout", "0.3")
    probe.print(process, 21)
    probe.until(lambda: len(fake.requests) >= 2 and probe.waiting() == [])
    answered.set()
    assert fake.values == [21]


def test_a_line_that_is_no_reading_is_set_aside_with_the_reason_and_the_rest_is_sent(fake, probe):
    bad = ["nan", "inf", "warm", "24,5", "pond-a", "1 2 3", "24.5C", "1e999", "0x10", "٢٤", "24.", "x" * 5000]
    status, said = probe.once(fake.server_port, "21\n" + "\n".join(bad) + "\n22\n24")
    assert status == 0
    assert fake.values == [21, 22]
    assert [row["line"] for row in probe.refused()] == [*bad[:-1], "x" * 80, "24"]
    assert all(row["type"] == "unreadable-line" and row["message"] for row in probe.refused())
    assert "decimal point" in probe.refused()[3]["message"]
    assert "cut off" in probe.refused()[-1]["message"]
    assert "'warm'" in said


def test_a_value_alone_needs_a_gauge_and_a_clock_that_was_never_set_stamps_nothing(
    client, tmp_path, monkeypatch
):
    with pytest.raises(client.Unreadable, match="--gauge"):
        client.parse_line("24.5", None)
    assert client.parse_line("pond-b 24.5", "pond-a") == ("pond-b", 24.5)
    monkeypatch.setattr(client.time, "time_ns", lambda: 12_345_000_000)
    spool = client.Spool(tmp_path)
    with open(tmp_path / "lines", "w+b") as lines:
        lines.write(b"24.5\n")
        lines.seek(0)
        client.take_lines(lines, spool, "pond-a")
    assert spool.pending(10) == []
    assert "clock is not set" in (tmp_path / "refused.jsonl").read_text()


def test_a_second_client_on_the_same_spool_stops_at_once(fake, probe):
    first = probe.start(fake.server_port)
    probe.print(first, 21)
    probe.until(lambda: fake.values == [21])
    status, said = probe.once(fake.server_port, "22\n")
    assert status == 1
    assert "another process is using" in said
    assert fake.values == [21]


def test_a_full_disk_makes_new_readings_wait_in_memory_until_sending_makes_room(fake, probe):
    """A limit on the size of files stands in for the full disk: both fail the write."""
    fake.verdict = lambda *_: problem(503, "busy")
    process = probe.start(fake.server_port, small_files=True)
    probe.print(process, *range(30))
    probe.until(lambda: len(fake.requests) >= 2)
    time.sleep(0.3)
    assert 1 <= len(probe.waiting()) < 30
    fake.verdict = None
    probe.until(lambda: fake.values == list(range(30)))
    status, said = probe.finish(process)
    assert status == 0
    assert "new readings wait in memory" in said
    assert probe.refused() == []


def test_lines_that_neither_disk_nor_service_took_are_counted_as_lost(probe, closed_port):
    status, said = probe.once(closed_port, "".join(f"{n}\n" for n in range(30)), small_files=True)
    assert status == 1
    lost = int(re.search(r"(\d+) lines were lost", said).group(1))
    assert lost + len(probe.waiting()) == 30


def test_a_spool_line_that_a_crash_spoiled_is_set_aside_and_its_neighbours_are_sent(fake, probe, closed_port):
    assert probe.once(closed_port, "21\n22\n")[0] == 75
    path = probe.spool / "readings.jsonl"
    first, second = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(first + b"\0\0\0\n" + second + first[:20])
    assert probe.once(fake.server_port, "23\n")[0] == 0
    assert fake.values == [21, 22, 23]
    assert [row["type"] for row in probe.refused()] == ["spoiled-line", "spoiled-line"]


@pytest.mark.parametrize("position", ["99999", "7", "-3", "", "x"])
def test_a_position_that_fits_no_line_sends_all_again(fake, probe, position, closed_port):
    assert probe.once(closed_port, "21\n22\n")[0] == 75
    (probe.spool / "position").write_text(position)
    assert probe.once(fake.server_port, "")[0] == 0
    assert fake.values == [21, 22]


def test_a_restart_goes_on_behind_what_was_handled(fake, probe, closed_port):
    assert probe.once(closed_port, "21\n22\n23\n")[0] == 75
    path = probe.spool / "readings.jsonl"
    (probe.spool / "position").write_text(str(len(path.read_bytes().splitlines(keepends=True)[0])))
    assert probe.once(fake.server_port, "")[0] == 0
    assert fake.values == [22, 23]


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ([], None),
        (["--key", "secret"], "some-key"),
        (["--server", "ftp://x"], "some-key"),
        (["--server", "http://a:b@c"], "some-key"),
    ],
)
def test_options_that_can_not_work_are_refused_at_once(probe, more, key, closed_port):
    assert probe.once(closed_port, "", *more, key=key)[0] == 2


def test_retry_after_may_be_a_date_and_is_never_believed_beyond_an_hour(client):
    seconds_of = client._seconds_of
    assert seconds_of("120") == 120
    assert 50 < seconds_of(format_datetime(datetime.now(UTC) + timedelta(minutes=1), usegmt=True)) <= 60
    assert seconds_of("99999999") == 3600
    assert [seconds_of(text) for text in ("", "soon", "-5", "nan", "inf")] == [0, 0, 0, 0, 0]
