"""The notifier, run as its users run it, between a small stand-in for the service and a mail server of its own."""

import importlib.util
import json
import os
import random
import re
import signal
import stat
import sys
import threading
import time
import uuid
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from clients.notifying import BEGUN, CLIENT, KEY, MailServer, Watch

PEM = Path(__file__).parent / "loopback.pem"
PASSWORD = "pass word 17"
LEAK = "The leak contact under the rack reads on."
LIFETIME = "/called/with-a-secret-word"


def problem(status, word, detail="Refused.", **headers):
    kind = f"urn:weirbook:problem:{word}"
    return status, {"type": kind, "title": "Refused", "status": status, "detail": detail}, headers


class Door(BaseHTTPRequestHandler):
    """The log, the open alerts and the followers; `server.verdict` may answer in their place."""

    def do_GET(self):
        fake, asked = self.server, urlsplit(self.path)
        query = parse_qs(asked.query)
        fake.asked.append(self.path)
        if asked.path.startswith("/called"):
            return self.answer(204, None)
        if verdict := fake.verdict(self):
            return self.answer(*verdict)
        with fake.guard:
            if asked.path == "/v1/alerts":
                assert query["open"] == ["true"]
                found = list(fake.open.values())
                first = int(query.get("cursor", ["0"])[0])
                more = str(first + 2) if len(found) > first + 2 else None
                return self.answer(200, {"items": found[first : first + 2], "next": more})
            return self.answer(*fake.page(query["since"][0], int(query["limit"][0])))

    def do_PUT(self):
        sent = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        if verdict := self.server.verdict(self):
            return self.answer(*verdict)
        self.server.heard.append((self.path, sent["cursor"]))
        return self.answer(200, {})

    def answer(self, status, body, headers=()):
        text = b"" if body is None else json.dumps(body).encode()
        self.send_response(status)
        self.send_header("Content-Type", "application/json" if status < 300 else "application/problem+json")
        self.send_header("Content-Length", str(len(text)))
        for name, value in dict(headers).items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()
        self.wfile.write(text)

    def log_message(self, *_):
        pass


class FakeService(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, port=0):
        super().__init__(("127.0.0.1", port), Door)
        self.guard = threading.Lock()
        self.asked, self.heard, self.log, self.open = [], [], [], {}
        self.life, self.page_size = "first", 200
        self.verdict = lambda door: None

    def handle_error(self, request, client_address):
        """A client that was killed has closed its end: expected here."""

    def page(self, since, limit):
        if since == "now":
            return 200, {"items": [], "cursor": self.cursor(len(self.log)), "more": False}
        life, _, number = since.partition(":")
        if life != self.life:
            return problem(410, "cursor-lost", "This cursor is of another log.")
        first = int(number)
        items = self.log[first : first + min(limit, self.page_size)]
        end = first + len(items)
        return 200, {"items": items, "cursor": self.cursor(end), "more": end < len(self.log)}

    def cursor(self, number):
        return f"{self.life}:{number}"

    def write(self, what, alert, words=LEAK, *, tell=(), noun="alert", place="tanks/nursery", **more):
        entry = {
            "number": len(self.log) + 1,
            "at": datetime.now(UTC).isoformat(),
            "what": what,
            "noun": noun,
            "subject": alert,
            "origin": f"/v1/alerts/{alert}",
            "who": "Weirbook",
            "key": None,
            "place": place,
            "words": words,
            "tell": list(tell),
            "fields": [],
        }
        self.log.append(entry | more)

    def opens(self, words=LEAK, tell=(), **more):
        """An alert opens; its id."""
        alert, now = str(uuid.uuid4()), datetime.now(UTC).isoformat()
        more = {"fields": [{"field": "began", "before": None, "after": "2026-11-25T20:58:00+00:00"}]} | more
        with self.guard:
            self.open[alert] = {
                "id": alert,
                "cause": "contact",
                "place": "tanks/nursery",
                "gauge": "leak",
                "reason": words,
                "opened_at": now,
                "closed_at": None,
                "acknowledged_at": None,
                "mute_until": None,
            }
            self.write("opened", alert, words, tell=tell, **more)
        return alert

    def closes(self, alert, words="The leak contact reads off again."):
        with self.guard:
            del self.open[alert]
            self.write("closed", alert, words)


@contextmanager
def running(port=0):
    fake = FakeService(port)
    threading.Thread(target=fake.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()
    try:
        yield fake
    finally:
        fake.shutdown()
        fake.server_close()


@pytest.fixture
def fake():
    with running() as fake:
        yield fake


@pytest.fixture(scope="module")
def mail_server(tmp_path_factory):
    server = MailServer(tmp_path_factory.mktemp("mail"))
    yield server
    server.stop()


@pytest.fixture
def mail(mail_server):
    """One mail server for all these tests, begun anew behind those that end it, its box empty."""
    mail_server.file.unlink(missing_ok=True)
    if mail_server.options:
        mail_server.stop()
    return mail_server if mail_server.process else mail_server.start()


@pytest.fixture
def watch(tmp_path, mail):
    watch = Watch(tmp_path, mail.port)
    yield watch
    for process in watch.started:
        process.kill()
        process.communicate()


def test_the_first_start_says_what_is_open_and_tells_nothing_of_the_past(fake, watch, mail):
    old = fake.opens("Ammonia has been high for 3 h.")
    for _ in range(3):
        fake.opens("Something else.")
    fake.closes(fake.opens("Long over."))
    watch.begun(fake.server_port)
    (letter,) = mail.letters()
    assert letter.to == ["keeper@weirbook.example"]
    assert letter.subject == f"{BEGUN}; 4 open"
    assert "Ammonia has been high for 3 h." in letter.text and old in letter.text
    assert "Long over." not in letter.text
    assert fake.heard == [("/v1/followers/notify", "first:6")]


def test_an_alert_is_told_once_to_those_it_names_with_what_a_keeper_needs_at_night(fake, watch, mail):
    config = watch.begun(fake.server_port)
    alert = fake.opens(tell=["ana", "bea"])
    assert watch.run(config, "--once")[0] == 0
    assert watch.run(config, "--once") == (0, "")
    assert mail.subjects("bea") == [f"Alert: tanks/nursery: {LEAK}"]
    (letter,) = mail.to("ana")
    assert letter.subject == f"Alert: tanks/nursery: {LEAK}"
    assert letter.headers["From"] == "room@weirbook.example"
    assert letter.headers["Auto-Submitted"] == "auto-generated"
    what, where, _, how = letter.text.strip().splitlines()
    assert what == LEAK
    assert where == "tanks/nursery, since 2026-11-25 20:58 UTC."
    assert how == (
        f"curl -X PATCH http://127.0.0.1:{fake.server_port}/v1/alerts/{alert}"
        " -H \"Authorization: Bearer $WEIRBOOK_KEY\" -H 'If-Match: *'"
        " -H 'Content-Type: application/json' -d '{\"acknowledged\": true}'"
    )
    assert mail.subjects("keeper") == [BEGUN]


def test_who_is_named_by_nobody_or_not_known_here_stands_with_the_default_and_also_hears_all(
    fake, watch, mail
):
    config = watch.begun(fake.server_port, also=["bea"])
    fake.opens("One.")
    fake.opens("Two.", tell=["cai"])
    fake.opens("Three.", tell=["ana"])
    assert watch.run(config, "--once")[0] == 0
    texts = {name: mail.to(name)[-1].text for name in ("keeper", "ana", "bea")}
    assert {name: re.findall(r"^(?:One|Two|Three)\.", text, re.M) for name, text in texts.items()} == {
        "keeper": ["One.", "Two."],
        "ana": ["Three."],
        "bea": ["One.", "Two.", "Three."],
    }


def test_several_items_of_a_round_go_in_one_mail_with_what_wants_somebody_first(fake, watch, mail):
    config = watch.begun(fake.server_port)
    over = fake.opens("Warm.")
    assert watch.run(config, "--once")[0] == 0
    fake.closes(over, "Cool again.")
    fake.opens("The sump is low.")
    fake.opens("The return pump stands.")
    assert watch.run(config, "--once")[0] == 0
    letter = mail.to("keeper")[-1]
    assert letter.subject == "Alert: tanks/nursery: The sump is low. (and 2 more)"
    places = [
        letter.text.index(words) for words in ("The sump is low.", "The return pump stands.", "Cool again.")
    ]
    assert places == sorted(places)
    assert letter.text.count("curl") == 2


def test_what_was_told_is_told_closed_and_what_came_and_went_meanwhile_is_told_as_such(fake, watch, mail):
    config = watch.begun(fake.server_port)
    told = fake.opens("Warm.", tell=["ana"])
    assert watch.run(config, "--once")[0] == 0
    fake.closes(told, "Cool again.")
    fake.closes(fake.opens("A knock on the leak contact.", tell=["bea"]))
    assert watch.run(config, "--once")[0] == 0
    assert mail.subjects("ana")[1] == "Over: tanks/nursery: Warm."
    assert "Closed " in mail.to("ana")[1].text and "Cool again." in mail.to("ana")[1].text
    (letter,) = mail.to("bea")
    assert letter.subject == "Over already: tanks/nursery: A knock on the leak contact."
    assert "opened and closed again before you could be told" in letter.text
    assert "curl" not in letter.text


def test_an_acknowledgement_is_told_to_those_who_also_heard_the_alarm(fake, watch, mail):
    config = watch.begun(fake.server_port)
    shared, alone = fake.opens("Shared.", tell=["ana", "bea"]), fake.opens("Alone.")
    assert watch.run(config, "--once")[0] == 0
    for alert in (shared, alone):
        fake.write("acknowledged", alert, who="Ana's phone")
    owner = {"field": "owner", "before": None, "after": "bea"}
    fake.write("owned", alone, who="Ana's phone", fields=[owner])
    assert watch.run(config, "--once")[0] == 0
    assert mail.subjects("ana")[-1] == "Seen to: tanks/nursery: Shared."
    assert "by Ana's phone" in mail.to("ana")[-1].text
    assert len(mail.to("keeper")) == 2
    assert "Handed over" in mail.to("bea")[-1].text


def test_what_it_does_not_know_in_the_log_is_passed_over(fake, watch, mail):
    config = watch.begun(fake.server_port)
    fake.write("opened", "1", noun="tank")
    fake.write("sung", "2")
    fake.write("made", "3")
    fake.log.append({"noun": "alert", "what": ["opened"]})
    fake.opens("Warm\r\nBcc: all@weirbook.example\x1b[2J", place=None, at="when?", tell="ana")
    assert watch.run(config, "--once")[0] == 0
    (_, letter) = mail.to("keeper")
    assert letter.subject == "Alert: room: Warm Bcc: all@weirbook.example [2J"
    assert len(mail.letters()) == 2


def test_a_long_log_is_read_to_its_end_page_by_page(fake, watch, mail):
    config = watch.begun(fake.server_port)
    fake.page_size = 7
    for number in range(40):
        fake.opens(f"Number {number}.")
    assert watch.run(config, "--once")[0] == 0
    letter = mail.to("keeper")[-1]
    assert letter.subject.endswith("(and 39 more)")
    assert "And 10 more: " in letter.text
    assert watch.notes()["cursor"] == "first:40"


def test_a_loop_tells_as_the_log_grows_and_ends_cleanly_when_asked(fake, watch, mail):
    process = watch.start(watch.config(fake.server_port))
    for count in (1, 2, 3):
        watch.until(lambda count=count: len(mail.letters()) == count)
        fake.opens(f"Number {count}.")
    watch.until(lambda: len(mail.letters()) == 4)
    status, said = watch.ended(process)
    assert status == 0
    assert said.endswith("notify: stopped\n")
    assert "told keeper: Alert: tanks/nursery: Number 3." in said


def test_while_the_mail_server_is_away_nothing_is_lost_and_nothing_beats(fake, watch, mail, tmp_path):
    beat = tmp_path / "beat"
    config = watch.begun(fake.server_port, beat={"file": str(beat)})
    before = beat.read_text()
    mail.stop()
    fake.opens("First.")
    status, said = watch.run(config, "--once")
    assert status == 75
    assert "keeper can't be told now" in said
    process = watch.start(config)
    watch.until(lambda: watch.notes()["cursor"] == "first:1")
    fake.opens("Second.")
    watch.until(lambda: watch.notes()["cursor"] == "first:2")
    assert beat.read_text() == before
    assert len(fake.heard) == 1
    mail.start()
    watch.until(lambda: len(mail.letters()) >= 2 and watch.notes()["outbox"] == {})
    watch.until(lambda: beat.read_text() != before)
    watch.ended(process)
    (_, *letters) = mail.letters()
    assert "First." in letters[0].text and "Second." in "".join(letter.text for letter in letters)
    assert fake.heard[-1] == ("/v1/followers/notify", "first:2")


def test_who_can_not_be_told_holds_up_nobody_and_is_stood_in_for_after_a_while(fake, watch, mail):
    mail.stop()
    mail.start("--refuse", "ana")
    config = watch.begun(fake.server_port, unreachable_after="0.5s")
    fake.opens(tell=["ana", "bea"])
    process = watch.start(config)
    watch.until(lambda: mail.subjects("bea") == [f"Alert: tanks/nursery: {LEAK}"])
    watch.until(lambda: len(mail.to("keeper")) == 2)
    letter = mail.to("keeper")[1]
    assert letter.subject == f"ana can't be told: Alert: tanks/nursery: {LEAK}"
    assert LEAK in letter.text and "curl" in letter.text
    fake.opens("A second one.", tell=["ana"])
    watch.until(lambda: mail.subjects("keeper")[2:] == ["Alert: tanks/nursery: A second one."])
    assert mail.to("ana") == []
    mail.stop()
    mail.start()
    watch.until(lambda: mail.to("ana"))
    watch.ended(process)
    assert "A second one." in mail.to("ana")[0].text


def test_a_notifier_killed_before_it_could_note_that_it_told_tells_again(fake, watch, mail, tmp_path):
    """The command takes the message and kills its caller: what is kept on disk still holds it."""
    told = tmp_path / "told"
    script = f"import os, sys; open({str(told)!r}, 'a').write(sys.stdin.read()); os.kill(os.getppid(), 9)"
    watch.people["ana"] = {"command": [sys.executable, "-c", script]}
    config = watch.begun(fake.server_port)
    fake.opens(tell=["ana"])
    assert watch.run(config, "--once")[0] == -9
    assert told.read_text().count("curl") == 1
    watch.people["ana"] = {"mail": "ana@weirbook.example"}
    assert watch.run(watch.config(fake.server_port), "--once")[0] == 0
    assert mail.subjects("ana") == [f"Alert: tanks/nursery: {LEAK}"]


def test_killed_at_any_moment_it_misses_nothing(fake, watch, mail):
    chance = random.Random(4)
    config = watch.begun(fake.server_port, every="0.02s")
    opened = 0
    for _ in range(8):
        fake.asked.clear()
        process = watch.start(config)
        watch.until(lambda: fake.asked)
        until = time.monotonic() + chance.uniform(0.0, 0.25)
        while time.monotonic() < until:
            fake.opens(f"Number {opened}.", tell=[chance.choice(("keeper", "ana", "bea"))])
            opened += 1
            time.sleep(0.02)
        process.send_signal(signal.SIGKILL)
        process.wait(10)
    assert watch.run(config, "--once")[0] == 0
    told = {int(n) for letter in mail.letters() for n in re.findall(r"^Number (\d+)\.$", letter.text, re.M)}
    assert opened > 20
    assert told == set(range(opened))


def test_that_the_room_can_not_be_watched_is_told_once_and_again_when_it_is(fake, watch, mail):
    config = watch.begun(fake.server_port, unreachable_after="0.6s")
    fake.opens("Warm.", tell=["ana"])
    assert watch.run(config, "--once")[0] == 0
    began = time.monotonic()
    fake.verdict = lambda door: problem(503, "busy", "Too much to do.")
    process = watch.start(config)
    watch.until(lambda: len(mail.to("keeper")) == 2)
    assert time.monotonic() - began > 0.6
    letter = mail.to("keeper")[1]
    assert letter.subject == "The room can't be watched"
    assert "Too much to do." in letter.text and "Silence is not safety" in letter.text
    assert "Open when last heard: tanks/nursery: Warm." in letter.text
    time.sleep(0.5)
    assert watch.ended(process)[0] == 0
    fake.verdict = lambda door: None
    assert watch.run(config, "--once")[0] == 0
    assert mail.subjects("keeper") == [BEGUN, "The room can't be watched", "The room is watched again"]


def test_runs_by_cron_count_together_how_long_the_service_is_away(watch, mail, fake, closed_port):
    watch.begun(fake.server_port)
    config = watch.config(closed_port, unreachable_after="0.4s")
    assert watch.run(config, "--once")[0] == 75
    assert mail.subjects() == [BEGUN]
    time.sleep(0.4)
    assert watch.run(config, "--once")[0] == 75
    assert watch.run(config, "--once")[0] == 75
    assert mail.subjects() == [BEGUN, "The room can't be watched"]
    with running(closed_port):
        assert watch.run(config, "--once")[0] == 0
    assert mail.subjects()[2:] == ["The room is watched again"]


def test_a_service_that_reads_but_can_not_write_does_not_count_as_watched(fake, watch, mail):
    config = watch.begun(fake.server_port, unreachable_after="0.2s")
    fake.verdict = lambda door: problem(507, "store", "The disk is full.") if door.command == "PUT" else None
    process = watch.start(config)
    watch.until(lambda: len(mail.letters()) == 2)
    watch.ended(process)
    assert "The disk is full." in mail.letters()[1].text


def test_the_service_is_left_alone_for_as_long_as_it_asks(fake, watch, mail):
    config = watch.begun(fake.server_port)
    fake.verdict = lambda door: problem(429, "busy", Retry_After="1")
    fake.asked.clear()
    process = watch.start(config)
    watch.until(lambda: len(fake.asked) == 1)
    asked_at = time.monotonic()
    watch.until(lambda: len(fake.asked) == 2)
    assert time.monotonic() - asked_at > 0.9
    watch.ended(process)


@pytest.mark.parametrize(("status", "detail"), [(401, "This key was revoked."), (403, "Helpers only.")])
def test_a_key_that_is_not_accepted_ends_it_and_is_told_once(fake, watch, mail, status, detail):
    config = watch.begun(fake.server_port)
    fake.verdict = lambda door: problem(status, "no-key", detail)
    for _ in range(2):
        ended, said = watch.run(config)
        assert ended == 3
        assert detail in said and KEY not in said
    assert mail.subjects() == [BEGUN, "The room can't be watched"]
    assert detail in mail.letters()[1].text and "It needs the helper role" in mail.letters()[1].text


@pytest.mark.parametrize(
    "answer", [(200, ["no"]), (200, {"items": [1], "cursor": "x"}), (404, {}), (200, {"items": []})]
)
def test_an_answer_that_is_not_the_services_moves_nothing(fake, watch, mail, answer):
    config = watch.begun(fake.server_port)
    fake.verdict = lambda door: answer
    status, said = watch.run(config, "--once")
    assert status == 75
    assert "no answer of Weirbook's" in said
    assert watch.notes()["cursor"] == "first:0"


def test_after_a_lost_log_the_keeper_is_told_so_and_what_is_open(fake, watch, mail):
    config = watch.begun(fake.server_port)
    fake.opens("Before the loss.")
    assert watch.run(config, "--once")[0] == 0
    fake.life, fake.log = "second", fake.log * 3
    fake.opens("Opened unseen.")
    assert watch.run(config, "--once")[0] == 0
    letter = mail.letters()[-1]
    assert letter.subject == "The log of the room was lost; 2 open"
    assert "Before the loss." in letter.text and "Opened unseen." in letter.text
    fake.opens("Afterwards.")
    assert watch.run(config, "--once")[0] == 0
    assert mail.subjects()[-1] == "Alert: tanks/nursery: Afterwards."


def test_damaged_notes_are_kept_aside_and_count_as_a_lost_log(fake, watch, mail):
    config = watch.begun(fake.server_port)
    (watch.state / "follow.json").write_text('{"outbox": {')
    assert watch.run(config, "--once")[0] == 0
    assert mail.subjects()[-1] == "The log of the room was lost"
    assert (watch.state / "follow.json.spoiled").read_text() == '{"outbox": {'


def test_what_nobody_acknowledges_is_passed_on_once(fake, watch, mail):
    config = watch.begun(fake.server_port, escalate_to=["bea"], escalate_after="0.5s")
    ignored, seen, over, passed_on = (
        fake.opens(f"{word}.") for word in ("Ignored", "Seen", "Over", "Passed on")
    )
    muted = fake.opens("Muted.")
    process = watch.start(config)
    watch.until(lambda: len(mail.to("keeper")) == 2)
    assert mail.to("bea") == []
    # Acknowledged and closed without a word in the log: the list of open alerts is believed.
    now = datetime.now(UTC)
    fake.open[seen]["acknowledged_at"] = now.isoformat()
    fake.open[muted]["mute_until"] = (now + timedelta(seconds=1.2)).isoformat()
    del fake.open[over]
    fake.write("escalated", passed_on, "Now told to ana too. Passed on.", tell=["ana"])
    watch.until(lambda: len(mail.to("bea")) == 2)
    time.sleep(0.3)
    assert watch.ended(process)[0] == 0
    head = "Nobody has answered: tanks/nursery:"
    assert mail.subjects("ana") == [f"{head} Passed on."]
    assert re.search(
        r"^Passed on, as nobody had acknowledged it .* UTC\. Now told to ana too\.$",
        mail.to("ana")[0].text,
        re.M,
    )
    assert mail.subjects("bea") == [f"{head} Ignored.", f"{head} Muted."]
    assert ignored in mail.to("bea")[0].text


def test_beats_go_to_a_file_and_an_address_whose_path_is_never_shown(
    fake, watch, mail, tmp_path, closed_port
):
    beat = tmp_path / "beat"
    address = f"http://127.0.0.1:{fake.server_port}{LIFETIME}?word=hush"
    watch.begun(fake.server_port, beat={"file": str(beat), "address": address})
    assert fake.asked[-1] == f"{LIFETIME}?word=hush"
    written = datetime.fromisoformat(beat.read_text().strip())
    assert timedelta(0) <= datetime.now(UTC) - written < timedelta(seconds=10)
    assert stat.S_IMODE(beat.stat().st_mode) & 0o444 == 0o444
    away = f"http://127.0.0.1:{closed_port}{LIFETIME}"
    config = watch.config(fake.server_port, beat={"address": away})
    status, said = watch.run(config, "--once")
    assert status == 0
    assert "the beat to 127.0.0.1 did not arrive" in said
    assert "secret" not in said


def test_stopped_beats_are_told_once_and_so_is_their_return(watch, mail, tmp_path):
    beat = tmp_path / "beat"
    config = watch.config(1, server=None)
    look = ("--watch", str(beat), "--older-than", "10m")

    def beats(ago):
        moment = datetime.now(UTC) - timedelta(seconds=ago)
        beat.write_text(moment.isoformat() + "\n")

    assert watch.run(config, *look)[0] == 1
    assert mail.subjects() == ["The watch over the room has stopped"]
    beats(0)
    assert watch.run(config, *look)[0] == 0
    beats(599)
    assert watch.run(config, *look)[0] == 0
    # Freshly copied, but of an old beat.
    beats(660)
    status, said = watch.run(config, *look)
    assert status == 1
    assert "11 min ago" in said
    assert watch.run(config, *look)[0] == 1
    beats(-660)
    assert "ahead of this machine's clock" in watch.run(config, *look)[1]
    beats(0)
    os.utime(beat, (time.time() - 700,) * 2)
    assert watch.run(config, *look)[0] == 1
    assert mail.subjects() == [
        "The watch over the room has stopped",
        "The watch over the room goes on",
        "The watch over the room has stopped",
    ]


def test_a_watch_that_can_not_tell_tries_again_at_its_next_run(watch, mail, tmp_path):
    config = watch.config(1, server=None)
    mail.stop()
    for _ in range(2):
        assert watch.run(config, "--watch", str(tmp_path / "beat"))[0] == 1
    mail.start()
    assert watch.run(config, "--watch", str(tmp_path / "beat"))[0] == 1
    assert mail.subjects() == ["The watch over the room has stopped"]


def test_a_command_gets_the_message_without_a_shell_and_without_the_secrets(fake, watch, mail, tmp_path):
    note = tmp_path / "note.json"
    script = (
        "import json, os, sys; json.dump([sys.argv[1:], sys.stdin.read(), dict(os.environ)],"
        f" open({str(note)!r}, 'w'))"
    )
    watch.people["ana"] = {"command": [sys.executable, "-c", script, "$HOME; ring"]}
    config = watch.begun(fake.server_port)
    alert = fake.opens(tell=["ana"])
    assert watch.run(config, "--once", WEIRBOOK_MAIL_PASSWORD=PASSWORD)[0] == 0
    words, text, environment = json.loads(note.read_text())
    assert words == ["$HOME; ring"]
    assert text.startswith(LEAK)
    assert environment["WEIRBOOK_SUBJECT"] == f"Alert: tanks/nursery: {LEAK}"
    assert environment["WEIRBOOK_PERSON"] == "ana"
    assert environment["WEIRBOOK_ALERTS"] == alert
    assert environment["WEIRBOOK_PLACES"] == "tanks/nursery"
    assert not {"WEIRBOOK_KEY", "WEIRBOOK_MAIL_PASSWORD"} & environment.keys()


@pytest.mark.parametrize("command", [["/nowhere/ring"], [sys.executable, "-c", "raise SystemExit(4)"]])
def test_a_command_that_fails_is_run_again(fake, watch, mail, command, tmp_path):
    watch.people["ana"] = {"command": command}
    config = watch.begun(fake.server_port)
    fake.opens(tell=["ana"])
    status, said = watch.run(config, "--once")
    assert status == 75
    assert "ana can't be told now" in said
    done = tmp_path / "done"
    watch.people["ana"] = {"command": ["touch", str(done)]}
    assert watch.run(watch.config(fake.server_port), "--once")[0] == 0
    assert done.exists()


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_mail_goes_over_tls_after_a_login_and_neither_password_nor_key_is_shown(
    fake, watch, mail, tmp_path, security
):
    mail.stop()
    mail.start(f"--{security}", str(PEM), "--login", "room", PASSWORD)
    password = tmp_path / "password"
    password.write_text("something else\n")
    settings = {"security": security, "user": "room", "password_file": str(password), "ca_file": str(PEM)}
    config = watch.config(fake.server_port, mail=settings)
    status, said = watch.run(config, "--try")
    assert status == 75
    assert "does not accept mail.user and its password (535)" in said
    password.write_text(f"{PASSWORD}\n")
    status, more = watch.run(config, "--try")
    assert status == 0, more
    assert watch.run(config, "--once")[0] == 0
    assert [letter.secure for letter in mail.letters()] == [True] * 4
    assert mail.subjects("ana") == ["Trial: you would be told like this"]
    kept = (watch.state / "follow.json").read_text()
    for secret in (PASSWORD, "something else", KEY):
        assert secret not in said + more + kept
    # Without the certificate of its own making the mail server is not trusted.
    del settings["ca_file"]
    status, said = watch.run(watch.config(fake.server_port, mail=settings), "--try")
    assert status == 75
    assert "certificate verify failed" in said
    assert len(mail.letters()) == 4


def test_a_second_notifier_on_the_same_folder_stops_at_once(fake, watch, mail):
    config = watch.config(fake.server_port)
    watch.start(config)
    watch.until(lambda: mail.letters())
    status, said = watch.run(config, "--once")
    assert status == 1
    assert "another notify.py is at work" in said


def test_a_disk_that_takes_nothing_stops_the_beats_but_not_the_telling(fake, watch, mail, client):
    config = client.read_config(watch.config(fake.server_port), follows=True)
    words = client.Words(config.zone, "http://weirbook.example")
    store = client.Store(config.folder, "follow")
    teller = client.Teller(config, store, words)
    service = client.Service(config.server, None, config.timeout)
    notifier = client.Notifier(config, service, store, teller, words)
    assert notifier.round()
    client.replace = no_space
    fake.opens()
    notifier._beaten = None
    assert not notifier.round()
    assert not notifier.round()
    assert mail.subjects() == [BEGUN, f"Alert: tanks/nursery: {LEAK}"]
    assert len(fake.heard) == 1


def no_space(*_):
    raise OSError(28, "No space left on device")


@pytest.fixture
def client(monkeypatch):
    monkeypatch.setenv("WEIRBOOK_KEY", KEY)
    spec = importlib.util.spec_from_file_location("notify", CLIENT)
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, "notify", module)
    spec.loader.exec_module(module)
    return module


def test_nothing_is_sent_before_it_is_on_disk(fake, watch, client, monkeypatch):
    config = client.read_config(watch.config(fake.server_port), follows=True)
    words = client.Words(config.zone, "http://weirbook.example")
    store = client.Store(config.folder, "follow")
    teller = client.Teller(config, store, words)
    seen = []
    monkeypatch.setattr(client, "send_mail", lambda *_: seen.append(watch.notes()))
    client.Notifier(config, client.Service(config.server, None, 5.0), store, teller, words).round()
    (kept,) = seen
    assert kept["cursor"] == "first:0"
    assert [notice["subject"] for notice in kept["outbox"]["keeper"]] == [BEGUN]


BAD = [
    ("", 'nothing = "x"', "nothing is not known here"),
    ("", "password = 'hush-hush'", "mail.password is not known here"),
    ('default = ["keeper"]', 'default = ["kepper"]', "default names 'kepper', who is not among people"),
    ('default = ["keeper"]', "", "default is missing"),
    ('every = "0.1s"', 'every = "often"', "every must be a length of time"),
    ('every = "0.1s"', "every = 10", "every must be a text in quotes"),
    ('"none"', '"plain"', 'mail.security must be "starttls", "tls" or "none"'),
    ('host = "127.0.0.1"', 'host = "mail.weirbook.example"', 'mail.security "none" is only for'),
    ('mail = "ana@weirbook.example"', "", "people.ana must have either mail or command"),
    ('mail = "ana@weirbook.example"', 'mail = "ana"', "people.ana.mail must be one mail address"),
    ('mail = "ana@weirbook.example"', "command = []", "people.ana.command must be a list of words"),
    ('time_zone = "UTC"', 'time_zone = "Atlantis/Deep"', "time_zone must be a zone"),
    ('server = "http', 'server = "ftp', "server must be an address"),
    ("server = ", "# ", "server is missing"),
    ('from = "room@weirbook.example"', 'user = "room"', "mail.from is missing"),
    ("[beat]", "[beat", "can't be read"),
]


@pytest.mark.parametrize(("old", "new", "message"), BAD)
def test_a_configuration_that_can_not_work_is_refused_with_what_to_write(watch, client, old, new, message):
    path = watch.config(8080)
    text = path.read_text()
    if not old:
        old = text.splitlines()[0] if "nothing" in new else "[mail]"
        new = f"{old}\n{new}"
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(client.Wrong) as refused:
        client.read_config(path, follows=True)
    assert message in str(refused.value)
    assert str(path) in str(refused.value)
    assert "hush" not in str(refused.value)


def test_options_and_configurations_that_can_not_work_end_it_at_once(watch):
    config = watch.config(8080)
    assert watch.run(config, "--older-than", "5m")[0] == 2
    assert watch.run(config, "--watch", "beat", "--older-than", "soon")[0] == 2
    status, said = watch.run(watch.folder / "nowhere.toml")
    assert status == 2
    assert "nowhere.toml can't be read" in said
    status, said = watch.run(config, WEIRBOOK_KEY="")
    assert status == 2
    assert "give key_file or set WEIRBOOK_KEY" in said


def test_the_example_in_the_help_is_a_configuration_that_works(client, tmp_path):
    example = client.__doc__.partition("The configuration is one TOML file:")[2].partition("Everything but")[
        0
    ]
    path = tmp_path / "notify.toml"
    path.write_text(example)
    config = client.read_config(path, follows=True)
    assert config.people["bea"].command == ("/usr/local/bin/ring", "bea")
    assert config.escalate_after == timedelta(minutes=30)
    assert config.mail.port == 587
