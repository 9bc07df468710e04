"""The helper's client, run as its users run it, against a small server that answers as the service promises."""

import importlib.util
import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

import pytest

CLIENT = Path(__file__).parents[2] / "openapi" / "clients" / "tick.py"
CHANGE, FLOSS, PRUNE = (f"01936c5e-8f00-7000-8000-00000000000{n}" for n in (1, 2, 3))


def instant(text):
    return datetime.fromisoformat(text)


def written(moment):
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def due_item(task, title, now, due, occurrence=None, **more):
    """A row of the due list, in a room whose clock runs two hours ahead of UTC."""
    local = (due + timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M")
    return {
        "task": task,
        "title": title,
        "about": None,
        "helper": None,
        "instructions": None,
        "expected_minutes": None,
        "occurrence": occurrence or local,
        "due": written(due),
        "due_local": local,
        "state": "due" if due > now - timedelta(hours=12) else "overdue",
        "late_minutes": max(0, int((now - due).total_seconds() // 60)),
        "opens_at": written(due - timedelta(days=1)),
        "overdue_from": written(due + timedelta(hours=12)),
        "earlier_open": 0,
    } | more


def problem(status, slug, detail, **more):
    kind = f"urn:weirbook:problem:{slug}"
    return status, {"type": kind, "title": "Refused", "status": status, "detail": detail, **more}


class Door(BaseHTTPRequestHandler):
    """GET /v1/tasks/due and POST /v1/tasks/ID/completions; `server.verdict` may answer in their place."""

    def do_GET(self):
        self.server.asked.append(dict(parse_qsl(urlsplit(self.path).query)))
        verdict = self.server.verdict(self) if self.server.verdict else None
        if verdict:
            return self.answer(*verdict)
        done = {
            (one["task"], one["occurrence"]) for one in self.server.completions if one["undone_at"] is None
        }
        items = [item for item in self.server.items if (item["task"], item["occurrence"]) not in done]
        return self.answer(200, {"on": "2026-11-25", "items": items})

    def do_POST(self):
        fake = self.server
        sent = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        fake.posted.append(sent)
        verdict = fake.verdict(self) if fake.verdict else None
        if verdict:
            return self.answer(*verdict)
        with fake.guard:
            verdict = self.judge(self.path.split("/")[3], sent)
        fake.before_answer()
        return self.answer(*verdict)

    def judge(self, task, sent):
        key = self.headers["Authorization"].removeprefix("Bearer ")
        completions = self.server.completions
        if any(one["id"] == sent["id"] and one["undone_at"] for one in completions):
            return problem(409, "completion-undone", "This completion was undone by keeper.")
        for one in completions:
            if (one["task"], one["occurrence"]) == (task, sent["occurrence"]) and not one["undone_at"]:
                if one["recorded_by"] == key and one["id"] == sent["id"]:
                    return 200, one
                detail = f"{one['recorded_by']} did it already, on 2026-11-25 at 09:12 by the room's clock."
                return problem(409, "already-completed", detail, completion=one)
        if (task, sent["occurrence"]) not in {(one["task"], one["occurrence"]) for one in self.server.items}:
            return problem(422, "invalid", "There is no such occurrence.")
        completion = {"task": task, "recorded_by": key, "undone_at": None, **sent}
        completions.append(completion)
        return 201, completion

    def answer(self, status, body, kind=None):
        text = body if isinstance(body, bytes) else json.dumps(body).encode()
        usual = "application/json" if status < 300 else "application/problem+json"
        self.send_response(status)
        self.send_header(
            "Content-Type", kind or ("text/html; charset=utf-8" if isinstance(body, bytes) else usual)
        )
        self.send_header("Content-Length", str(len(text)))
        self.end_headers()
        self.wfile.write(text)

    def log_message(self, *_):
        pass


class FakeService(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self):
        super().__init__(("127.0.0.1", 0), Door)
        self.guard = threading.Lock()
        self.asked, self.posted, self.completions = [], [], []
        self.verdict = None
        self.before_answer = lambda: None
        now = self.now = datetime.now(UTC)
        yesterday, earlier, later = (
            now + timedelta(**by) for by in ({"hours": -30}, {"minutes": -125, "seconds": -20}, {"hours": 1})
        )
        self.items = [
            due_item(CHANGE, "Water change, 30 %", now, yesterday, "2026-11-24", about="systems/rill"),
            due_item(FLOSS, "Change the floss", now, earlier, helper="bea"),
            due_item(PRUNE, "Trim the watercress", now, later, "01936c5e-8f00-7000-8000-0000000000aa"),
        ]

    def handle_error(self, request, client_address):
        """A client that was killed has closed its end: expected here."""


@pytest.fixture
def fake():
    with FakeService() as fake:
        thread = threading.Thread(target=fake.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        thread.start()
        yield fake
        fake.shutdown()


class Phone:
    """A helper's machine: the client on one folder, and what it kept there."""

    def __init__(self, folder, port, key):
        self.folder, self.port, self.key = folder, port, key
        self.started = []

    def start(self, *words, port=None, key=None, small_files=False, environment=()):
        server = f"http://127.0.0.1:{port or self.port}"
        command = [sys.executable, str(CLIENT), *words]
        if "--folder" not in words:
            command += ["--folder", str(self.folder)]
        if small_files:
            command = ["sh", "-c", 'ulimit -f 1; exec "$@"', "sh", *command]
        told = {"WEIRBOOK_SERVER": server, "WEIRBOOK_KEY": self.key if key is None else key}
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | told | dict(environment),
        )
        self.started.append(process)
        return process

    def __call__(self, *words, **how):
        """Exit status, what was shown, what was said of trouble."""
        process = self.start(*words, **how)
        shown, said = process.communicate(timeout=30)
        return process.returncode, shown, said

    def queue(self):
        return self._lines("queue.jsonl")

    def refused(self):
        return self._lines("refused.jsonl")

    def _lines(self, name):
        return [json.loads(line) for line in (self.folder / name).read_text().splitlines()]

    def until(self, condition):
        deadline = time.monotonic() + 15
        while not condition():
            assert time.monotonic() < deadline, "waited too long"
            time.sleep(0.01)


@pytest.fixture
def phones(fake, tmp_path):
    """Makes a helper's machine; ends what it started."""
    made = []

    def make(key="ana", listed=True):
        made.append(Phone(tmp_path / key, fake.server_port, key))
        if listed:
            assert made[-1]("due")[0] == 0
        return made[-1]

    yield make
    for process in (process for phone in made for process in phone.started):
        process.kill()
        process.communicate()


@pytest.fixture
def phone(phones):
    """A machine that has fetched the list."""
    return phones()


@pytest.fixture
def client():
    """The client as a module, for what can't be seen from outside."""
    spec = importlib.util.spec_from_file_location("tick", CLIENT)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_the_list_has_a_number_title_place_local_time_and_lateness_for_each(fake, phone):
    status, shown, said = phone("due")
    assert (status, said) == (0, "")
    head, *lines = shown.splitlines()
    assert head == "Due on 2026-11-25:"
    change, floss, prune = [
        f"{instant(item['due']) + timedelta(hours=2):%Y-%m-%d %H:%M}" for item in fake.items
    ]
    assert lines == [
        f"1. Water change, 30 %, systems/rill, due {change}, 1 d 6 h late, overdue",
        f"2. Change the floss, due {floss}, 2 h 5 min late, for bea",
        f"3. Trim the watercress, due {prune}",
    ]


def test_instructions_are_shown_when_asked_for_and_can_not_steer_the_terminal(fake, phone):
    fake.items[0] |= {
        "title": "Sweep\x1b[2J the floor",
        "instructions": "Siphon first.\nThen\x07 refill.",
        "expected_minutes": 40,
        "earlier_open": 3,
    }
    assert "Siphon" not in phone("due")[1]
    shown = phone("due", "--long")[1]
    assert "     takes about 40 min\n     Siphon first.\n     Then refill.\n" in shown
    assert "3 earlier open" in shown
    assert all(character.isprintable() for character in shown.replace("\n", ""))


def test_the_day_and_the_helper_are_asked_for_and_named(fake, phone):
    status, shown, _ = phone("due", "--on", "2026-11-29", "--helper", "bea")
    assert status == 0
    assert fake.asked[-1] == {"on": "2026-11-29", "helper": "bea"}
    assert shown.startswith("Due on 2026-11-25 for bea:\n")


def test_a_helper_that_is_not_known_is_said_and_the_list_stays(fake, phone):
    fake.verdict = lambda _: problem(422, "invalid", "There is no helper 'cleo'.")
    assert phone("due", "--helper", "cleo") == (2, "", "tick: There is no helper 'cleo'.\n")
    fake.verdict = None
    assert phone("done", "1")[0] == 0


def test_a_tick_is_told_with_an_id_of_its_own_and_the_moment_it_was_made(fake, phone):
    before = datetime.now(UTC)
    status, shown, said = phone("done", "1", "2", "--by", "bea", "--note", "Floss black.")
    assert (status, said) == (0, "")
    assert [line.partition(" (")[0] for line in shown.splitlines()] == [
        "Told: Water change, 30 %",
        "Told: Change the floss",
    ]
    assert [(one["task"], one["occurrence"]) for one in fake.completions] == [
        (CHANGE, "2026-11-24"),
        (FLOSS, fake.items[1]["occurrence"]),
    ]
    assert len({one["id"] for one in fake.posted}) == 2
    for sent in fake.posted:
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", sent["done_at"])
        assert before - timedelta(seconds=1) < instant(sent["done_at"]) <= datetime.now(UTC)
        assert (sent["outcome"], sent["by"], sent["note"]) == ("done", "bea", "Floss black.")
        assert "readings" not in sent
    assert phone.queue() == phone.refused() == []


def test_skipping_says_so_and_a_past_instant_may_be_given(fake, phone):
    assert phone("skip", "2", "--at", "2026-11-24T22:30+02:00")[0] == 0
    assert (fake.posted[0]["outcome"], fake.posted[0]["done_at"]) == ("skipped", "2026-11-24T20:30:00.000Z")


def test_numbers_stay_those_of_the_last_list_until_it_is_fetched_anew(fake, phone):
    assert phone("done", "1")[0] == 0
    assert phone("done", "2")[0] == 0
    assert [one["task"] for one in fake.completions] == [CHANGE, FLOSS]
    assert phone("due")[1].splitlines()[1].startswith("1. Trim the watercress")


def test_a_number_that_is_not_on_the_list_ticks_nothing_at_all(fake, phone):
    for numbers in (["7"], ["0"], ["-1"], ["1", "4"], ["x"], ["1.5"], []):
        status, shown, said = phone("done", *numbers)
        assert (status, shown) == (2, "")
        assert said
    assert fake.posted == phone.queue() == []


def test_without_a_list_nothing_can_be_ticked(fake, phones, closed_port):
    phone = phones(listed=False)
    status, _, said = phone("done", "1")
    assert status == 2
    assert "First: tick.py due" in said
    status, shown, said = phone("due", port=closed_port)
    assert (status, shown) == (75, "")
    assert "No list was fetched before." in said


def test_the_same_number_again_adds_nothing(fake, phone, closed_port):
    assert phone("done", "1", "1", port=closed_port)[0] == 75
    status, _, said = phone("done", "1", port=closed_port)
    assert status == 75
    assert "Ticked before, nothing added: Water change, 30 %" in said
    assert phone("send")[0] == 0
    status, _, said = phone("skip", "1")
    assert status == 0
    assert "Ticked before" in said
    assert len(fake.posted) == 1


def test_ticks_made_offline_wait_and_are_told_once_in_order_as_they_were_stamped(fake, phone, closed_port):
    status, shown, said = phone("done", "2", port=closed_port)
    assert (status, shown) == (75, "")
    assert "No answer from the server" in said and "1 tick waits on disk, nothing is lost." in said
    assert phone("skip", "1", port=closed_port)[0] == 75
    waiting = [tick["send"] for tick in phone.queue()]
    assert [one["outcome"] for one in waiting] == ["done", "skipped"]
    time.sleep(0.02)
    assert phone("done", "3")[0] == 0
    assert fake.posted[:2] == waiting
    assert [one["task"] for one in fake.completions] == [FLOSS, CHANGE, PRUNE]
    assert phone("send") == (0, "", "")
    assert len(fake.posted) == 3


def test_offline_the_last_list_is_shown_with_its_age_and_without_what_is_ticked(fake, phone, closed_port):
    assert phone("done", "1")[0] == 0
    assert phone("done", "3", port=closed_port)[0] == 75
    path = phone.folder / "list.json"
    listed = json.loads(path.read_text())
    listed["fetched_at"] = (datetime.now(UTC) - timedelta(hours=3, minutes=20, seconds=30)).isoformat()
    path.write_text(json.dumps(listed))
    status, shown, said = phone("due", port=closed_port)
    assert status == 75
    assert "No answer from the server" in said
    old, head, floss, waits = shown.splitlines()
    assert (old, head) == ("The last list, 3 h 20 min old:", "Due on 2026-11-25:")
    assert floss.startswith("2. Change the floss")
    assert waits == "1 tick waits to be told: tick.py send"


def test_a_fetched_list_leaves_out_what_still_waits_to_be_told(phone, closed_port):
    assert phone("done", "1", port=closed_port)[0] == 75
    lines = phone("due")[1].splitlines()
    assert [line[:11] for line in lines] == ["Due on 2026", "1. Change t", "2. Trim the", "1 tick wait"]


def test_an_answer_lost_after_the_tick_was_stored_is_asked_for_again_and_nothing_doubles(fake, phone):
    answered = threading.Event()
    fake.before_answer = lambda: None if len(fake.posted) > 1 else answered.wait(20)
    status, _, said = phone("done", "1", "--timeout", "0.3")
    answered.set()
    assert status == 75
    assert "timed out" in said
    assert len(fake.completions) == len(phone.queue()) == 1
    status, shown, _ = phone("send")
    assert status == 0
    assert shown.startswith("Told: Water change, 30 %")
    assert fake.posted[0] == fake.posted[1]
    assert len(fake.completions) == 1
    assert phone.queue() == phone.refused() == []


def test_an_answer_lost_under_a_key_that_was_renewed_since_is_known_as_our_own(fake, phone):
    answered = threading.Event()
    fake.before_answer = lambda: answered.wait(20)
    assert phone("done", "1", "--timeout", "0.3")[0] == 75
    answered.set()
    assert phone("send", key="ana-renewed")[0] == 0
    assert len(fake.completions) == 1
    assert phone.refused() == []


def test_a_client_killed_between_the_queue_and_the_network_tells_it_the_next_time(fake, phone, tmp_path):
    """The key comes through a pipe that nobody writes to: the tick is on disk and not a byte is sent."""
    os.mkfifo(tmp_path / "key")
    process = phone.start("done", "1", "--key-file", str(tmp_path / "key"))
    phone.until(phone.queue)
    process.send_signal(signal.SIGKILL)
    process.wait(10)
    assert fake.posted == []
    (waiting,) = phone.queue()
    assert phone("send")[0] == 0
    assert fake.posted == [waiting["send"]]
    assert len(fake.completions) == 1


def test_a_client_killed_between_sending_and_the_answer_doubles_nothing(fake, phone):
    taken, over = threading.Event(), threading.Event()

    def hold_the_answer():
        taken.set()
        over.wait(20)

    fake.before_answer = hold_the_answer
    process = phone.start("done", "1", "2")
    assert taken.wait(15)
    process.send_signal(signal.SIGKILL)
    process.wait(10)
    over.set()
    assert len(phone.queue()) == 2
    fake.before_answer = lambda: None
    assert phone("send")[0] == 0
    assert [one["task"] for one in fake.completions] == [CHANGE, FLOSS]


def test_a_tick_is_on_disk_before_anything_is_sent(client, fake, phone, monkeypatch):
    synced = []
    monkeypatch.setattr(client.os, "fsync", lambda file: synced.append(os.readlink(f"/proc/self/fd/{file}")))
    folder = client.Folder(phone.folder)
    synced.clear()
    tick = {"task": CHANGE, "words": "Water change", "send": {"id": "1", "occurrence": "2026-11-24"}}
    folder.keep([tick])
    assert synced == [str(phone.folder / "queue.jsonl")]
    assert folder.waiting() == [tick]


def test_the_second_of_two_helpers_is_told_who_was_first_and_when(fake, phones):
    ana, bea = phones("ana"), phones("bea")
    assert ana("done", "2")[0] == 0
    status, shown, said = bea("done", "2", "1")
    assert status == 3
    assert "Somebody was first: Change the floss" in said
    assert "ana did it already, on 2026-11-25 at 09:12 by the room's clock." in said
    assert shown.startswith("Told: Water change")
    assert [one["recorded_by"] for one in fake.completions] == ["ana", "bea"]
    assert bea.queue() == []
    (refused,) = bea.refused()
    assert refused["type"] == "already-completed"
    assert refused["tick"]["task"] == FLOSS
    assert "Ticked before" in bea("done", "2")[2]


def test_a_late_retry_never_brings_back_what_was_undone(fake, phone):
    answered = threading.Event()
    fake.before_answer = lambda: answered.wait(20)
    assert phone("done", "1", "--timeout", "0.3")[0] == 75
    answered.set()
    fake.completions[0]["undone_at"] = written(datetime.now(UTC))
    status, _, said = phone("send")
    assert status == 3
    assert "undone by keeper" in said
    assert [one["undone_at"] is None for one in fake.completions] == [False]
    assert [line["type"] for line in phone.refused()] == ["completion-undone"]
    assert phone("send") == (0, "", "")
    assert len(fake.posted) == 2
    # A person may tick it anew: that is another tick, under another id.
    assert phone("done", "1")[0] == 0
    assert fake.completions[1]["id"] != fake.completions[0]["id"]


@pytest.mark.parametrize("status", [400, 404, 409, 422])
def test_a_refused_tick_is_set_aside_with_its_reason_and_the_others_are_told(fake, phone, status):
    def verdict(request):
        if CHANGE in request.path:
            errors = [{"pointer": "/readings/0/value", "message": "999 mg/L can't be."}]
            return problem(status, "invalid", "Some values can't be taken.", errors=errors)
        return None

    fake.verdict = verdict
    ended, shown, said = phone("done", "1", "2")
    assert ended == 3
    assert "Refused: Water change, 30 %" in said
    assert "Some values can't be taken. 999 mg/L can't be." in said
    assert shown.startswith("Told: Change the floss")
    fake.verdict = None
    assert phone("send") == (0, "", "")
    assert [one["task"] for one in fake.completions] == [FLOSS]
    assert phone.queue() == []
    assert [line["tick"]["task"] for line in phone.refused()] == [CHANGE]
    shown = phone("queue")[1]
    assert "Nothing waits." in shown
    assert re.search(r"Water change, 30 % \(due .*\) done: Some values can't be taken\.", shown)


def test_a_tick_that_was_set_aside_when_the_client_was_killed_is_not_sent_again(fake, phone, closed_port):
    assert phone("done", "1", port=closed_port)[0] == 75
    line = {"type": "invalid", "message": "No.", "tick": phone.queue()[0]}
    (phone.folder / "refused.jsonl").write_text(json.dumps(line) + "\n")
    assert phone("send") == (0, "", "")
    assert fake.posted == []


@pytest.mark.parametrize("status", [401, 403])
def test_a_key_that_is_not_accepted_keeps_the_tick_until_it_is_mended(fake, phone, status, tmp_path):
    def only_the_new_key(request):
        if request.headers["Authorization"] == "Bearer new-key":
            return None
        return problem(status, "no-key", "This key was revoked.")

    fake.verdict = only_the_new_key
    ended, _, said = phone("done", "1")
    assert ended == 75
    assert "This key was revoked." in said and "Mend the key." in said
    (tmp_path / "key").write_text("new-key\n")
    assert phone("send", "--key-file", str(tmp_path / "key"))[0] == 0
    assert len(fake.completions) == 1
    assert phone.refused() == []


@pytest.mark.parametrize("key", ["", "two words", "schlüssel"])
def test_a_tick_is_kept_also_while_there_is_no_key_that_can_be_one(fake, phone, key):
    status, _, said = phone("done", "1", environment={"WEIRBOOK_KEY": key})
    assert status == 75
    assert "WEIRBOOK_KEY" in said
    assert len(phone.queue()) == 1
    assert phone("send")[0] == 0


@pytest.mark.parametrize(
    "answer",
    [
        (200, b"<h1>please log in to this network</h1>"),
        (200, {"id": "another"}),
        (201, {"items": []}),
        (204, b""),
        (301, b"moved"),
        (400, b"<h1>plain request on a secure port</h1>"),
        (404, b"<h1>nothing here</h1>"),
        (404, {"detail": "nothing here"}, "application/json"),
        (*problem(422, "invalid", "Not of the kind that problems are."), "application/json"),
        (409, b"<h1>conflict</h1>"),
        (422, {"type": "about:blank", "title": "Some other service", "status": 422}),
        problem(404, "http-404", "There is no such path."),
        problem(405, "http-405", "GET can be used here."),
        (408, b""),
        (429, b"slow down"),
        problem(429, "busy", "Slow down."),
        (502, b"<h1>bad gateway</h1>"),
        problem(503, "busy", "Busy, try again."),
        (503, [1]),
    ],
)
def test_an_answer_that_is_not_the_services_word_on_the_tick_settles_nothing(fake, phone, answer):
    fake.verdict = lambda _: answer
    status, shown, said = phone("done", "1", "2")
    assert (status, shown) == (75, "")
    assert "2 ticks wait on disk, nothing is lost." in said
    assert len(fake.posted) == 1
    assert len(phone.queue()) == 2
    assert phone.refused() == []
    fake.verdict = None
    assert phone("send")[0] == 0
    assert len(fake.completions) == 2


@pytest.mark.parametrize(
    "answer",
    [
        (200, b"<h1>please log in to this network</h1>"),
        (200, {"on": "2026-11-25", "items": [{"title": "Another list"}]}),
        (404, b"<h1>nothing here</h1>"),
        (502, b"<h1>bad gateway</h1>"),
    ],
)
def test_an_answer_that_is_no_list_leaves_the_last_one_in_use(fake, phone, answer):
    fake.verdict = lambda _: answer
    status, shown, said = phone("due")
    assert status == 75
    assert said
    assert shown.startswith("The last list, 0 min old:\n") and "3. Trim the watercress" in shown
    fake.verdict = None
    assert phone("done", "3")[0] == 0
    assert [one["task"] for one in fake.completions] == [PRUNE]


def test_a_tick_that_the_service_trips_over_does_not_hold_up_the_others(fake, phone):
    fake.verdict = lambda request: (
        problem(500, "fault", "A fault of its own.") if CHANGE in request.path else None
    )
    assert phone("done", "1", "2")[0] == 75
    assert [one["task"] for one in fake.completions] == [FLOSS]
    assert [tick["task"] for tick in phone.queue()] == [CHANGE]
    assert phone.refused() == []


def test_a_line_of_the_queue_that_a_crash_cut_off_costs_no_other(fake, phone, closed_port):
    assert phone("done", "1", port=closed_port)[0] == 75
    path = phone.folder / "queue.jsonl"
    whole = path.read_bytes()
    path.write_bytes(whole + b"\0\0\n" + whole[:70])
    status, _, said = phone("done", "2")
    assert status == 0
    assert "cut off" in said
    assert [one["task"] for one in fake.completions] == [CHANGE, FLOSS]
    assert [line["type"] for line in phone.refused()] == ["spoiled-line", "spoiled-line"]
    assert phone.queue() == []
    assert phone("queue")[0] == 0


def test_a_tick_behind_a_line_without_its_end_stays_whole(fake, phone, closed_port):
    """A tick's line that a crash left without its last byte, and a refused one cut in its middle."""
    assert phone("done", "1", port=closed_port)[0] == 75
    queue, refused = phone.folder / "queue.jsonl", phone.folder / "refused.jsonl"
    queue.write_bytes(queue.read_bytes().rstrip())
    refused.write_text('{"type": "inv')
    fake.verdict = lambda request: problem(422, "invalid", "No.") if FLOSS in request.path else None
    assert phone("done", "2")[0] == 3
    assert [one["task"] for one in fake.completions] == [CHANGE]
    assert json.loads(refused.read_text().splitlines()[1])["tick"]["task"] == FLOSS
    assert phone("send") == (0, "", "")


def test_a_list_that_was_spoiled_is_no_list(phone, closed_port):
    (phone.folder / "list.json").write_text('{"on": "2026-')
    assert phone("done", "1")[0] == 2
    assert phone("due", port=closed_port)[0] == 75
    assert phone("due")[0] == phone("done", "1")[0] == 0


def test_a_folder_that_can_not_be_used_ticks_nothing(fake, phone):
    (phone.folder / "taken").write_text("a file")
    for folder in ("taken", "taken/below"):
        status, shown, said = phone("done", "1", "--folder", str(phone.folder / folder))
        assert (status, shown) == (1, "")
        assert "Can't use the folder, nothing was ticked" in said
    assert fake.posted == []


def test_a_disk_that_takes_no_tick_is_said_and_nothing_is_sent(fake, phone):
    """A limit on the size of files stands in for the full disk: both fail the write."""
    status, shown, said = phone("done", "1", "2", "--note", "x" * 2000, small_files=True)
    assert (status, shown) == (1, "")
    assert "nothing was ticked" in said
    assert fake.posted == phone.queue() == []


def test_a_disk_that_fills_up_after_the_tick_was_told_counts_it_once(fake, phone):
    """The list with the tick marked does not fit; the tick itself did."""
    status, _, said = phone("done", "1", small_files=True)
    assert len(fake.completions) == 1
    assert status == 75
    assert "What was ticked stays queued, and counts once." in said
    assert phone("send")[0] == 0
    assert len(fake.completions) == 1
    assert phone.queue() == []


def test_a_second_client_on_the_same_folder_stops_at_once(fake, phone):
    taken, over = threading.Event(), threading.Event()

    def hold_the_answer():
        taken.set()
        over.wait(20)

    fake.before_answer = hold_the_answer
    first = phone.start("done", "1")
    assert taken.wait(15)
    status, _, said = phone("done", "2")
    over.set()
    first.communicate(timeout=20)
    assert first.returncode == 0
    assert status == 1
    assert "another tick.py is at work" in said and "nothing was ticked" in said
    assert [one["task"] for one in fake.completions] == [CHANGE]


def test_what_may_not_be_done_yet_is_said_before_it_is_ticked_and_may_be_skipped(fake, phone):
    opens = fake.now + timedelta(minutes=30)
    fake.items[2]["opens_at"] = written(opens)
    shown = phone("due")[1]
    by_the_rooms_clock = f"{opens + timedelta(hours=2):%Y-%m-%d %H:%M}"
    assert f"not before {by_the_rooms_clock}" in shown
    status, _, said = phone("done", "1", "3")
    assert status == 2
    assert f"Trim the watercress may be done from {by_the_rooms_clock} on" in said
    assert fake.posted == phone.queue() == []
    assert phone("skip", "3")[0] == 0


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("12mg/L", 12, "mg/L"),
        ("12 mg/L NO3", 12, "mg/L NO3"),
        ("24.5degC", 24.5, "degC"),
        ("7.2", 7.2, None),
        (".5%", 0.5, "%"),
        ("1.5e-3g/L", 0.0015, "g/L"),
        ("5eq/L", 5, "eq/L"),
        ("-120 mV", -120, "mV"),
        ("<0.05mg/L", "<0.05", "mg/L"),
        (">160", ">160", None),
        ("10..20 mg/L", "10..20", "mg/L"),
        ("on", "on", None),
    ],
)
def test_a_reading_is_a_number_or_a_text_with_its_unit(client, text, value, unit):
    reading = {"place": "tanks/nursery", "parameter": "nitrate", "value": value}
    reading |= {} if unit is None else {"unit": unit}
    assert client.reading_of("tanks/nursery", "nitrate", text) == reading


def test_readings_are_taken_along_with_the_tick(fake, phone):
    nursery = ["--reading", "tanks/nursery"]
    assert phone("done", "1", *nursery, "redox", "-120 mV", *nursery, "ph", "7")[0] == 0
    assert fake.posted[0]["readings"] == [
        {"place": "tanks/nursery", "parameter": "redox", "value": -120, "unit": "mV"},
        {"place": "tanks/nursery", "parameter": "ph", "value": 7},
    ]


@pytest.mark.parametrize("text", ["24,5", "24,5degC", "warm", "", "nan", "1e999", "24.5.1", "12-14", "٢٤"])
def test_what_is_no_reading_is_refused(client, text):
    with pytest.raises(client.Wrong, match="reading"):
        client.reading_of("tanks/nursery", "nitrate", text)


def test_a_reading_that_is_none_ticks_nothing(fake, phone):
    status, _, said = phone("done", "1", "--reading", "tanks/nursery", "nitrate", "24,5")
    assert status == 2
    assert "decimal point" in said
    assert fake.posted == phone.queue() == []


def test_options_that_can_not_work_tick_nothing(fake, phone):
    reading = ["--reading", "tanks/nursery", "nitrate"]
    for words in (
        [],
        ["finish", "1"],
        ["done", "1", "--key", "secret"],
        ["done", "1", "--at", "2026-11-25T08:30"],
        ["done", "1", "--at", "this morning"],
        ["done", "1", "--at", "2199-01-01T00:00Z"],
        ["done", "1", *reading],
        ["done", "1", "2", *reading, "12"],
        ["skip", "1", *reading, "12"],
        ["done", "1", "--server", "ftp://weirbook.example"],
        ["done", "1", "--server", "http://a:b@weirbook.example"],
        ["done", "1", "--timeout", "0"],
        ["due", "--on", "2026-02-30"],
        ["due", "--on", "today"],
    ):
        assert phone(*words)[0] == 2, words
    assert fake.posted == phone.queue() == []


def test_without_a_server_only_the_queue_can_be_shown(phone, closed_port):
    assert phone("done", "1", port=closed_port)[0] == 75
    assert phone("send", environment={"WEIRBOOK_SERVER": ""})[0] == 2
    status, shown, _ = phone("queue", environment={"WEIRBOOK_SERVER": ""})
    assert status == 0
    assert shown.startswith("1 tick waits to be told:\nWater change, 30 % (due ")


def test_the_key_on_an_open_way_is_warned_of(phone, closed_port):
    """Another address of this machine stands in for one further away."""
    said = phone("due", "--server", f"http://127.0.0.2:{closed_port}")[2]
    assert "Without https the key can be read on the way." in said
    assert "https" not in phone("due")[2]


def test_the_folder_is_found_by_itself_and_is_the_persons_own(fake, phone, tmp_path):
    process = subprocess.run(
        [sys.executable, str(CLIENT), "due"],
        capture_output=True,
        timeout=30,
        env=os.environ
        | {
            "WEIRBOOK_SERVER": f"http://127.0.0.1:{fake.server_port}",
            "WEIRBOOK_KEY": "ana",
            "XDG_STATE_HOME": str(tmp_path / "state"),
        },
    )
    assert process.returncode == 0
    folder = tmp_path / "state" / "weirbook-tick"
    assert {file.name for file in folder.iterdir()} == {"list.json", "queue.jsonl", "refused.jsonl", "lock"}
    assert folder.stat().st_mode & 0o077 == 0
    assert all(file.stat().st_mode & 0o077 == 0 for file in folder.iterdir())


def test_a_reader_who_stops_reading_is_no_trouble(phone):
    process = phone.start("due")
    process.stdout.close()
    assert process.wait(15) == 75
    assert process.stderr.read() == ""
