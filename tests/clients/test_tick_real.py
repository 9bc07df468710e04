"""The helper's client against the service itself, as a process that is killed and started again."""

import itertools
import json
import os
import re
import subprocess
import sys
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

CLIENT = Path(__file__).parents[2] / "openapi" / "clients" / "tick.py"
ROOM = ZoneInfo("Europe/Lisbon")
_numbers = itertools.count(1)


@pytest.fixture(scope="module")
def shared_service(serve):
    return serve()


@pytest.fixture
def service(shared_service):
    """The running service: one for all these tests, started again after those that end it."""
    if not shared_service.running:
        shared_service.start()
    return shared_service


@pytest.fixture
def helper(service):
    """The handle of a helper, whose work each test lists apart from that of the others."""
    return service.make("/v1/helpers", {"name": f"Helper {next(_numbers)}"})["handle"]


def by_the_clock(moment):
    return moment.astimezone(ROOM).strftime("%Y-%m-%dT%H:%M")


@pytest.fixture
def plan(service, helper):
    """Makes a task of the helper that was due an hour ago; its id."""

    def make(title, schedule=None):
        due = datetime.now(UTC) - timedelta(hours=1)
        wanted = {
            "title": title,
            "about": "systems/rill",
            "helper": helper,
            "schedule": schedule or {"kind": "once", "due": by_the_clock(due)},
            "effective_at": (due - timedelta(days=3)).isoformat(),
        }
        return service.make("/v1/tasks", wanted)["id"]

    return make


@dataclass
class Phone:
    """A helper's machine with a key of its own."""

    service: object
    folder: Path
    name: str
    handle: str
    key: str

    def __call__(self, *words, key=None):
        """Exit status, what was shown, what was said of trouble."""
        server = f"http://127.0.0.1:{self.service.port}"
        done = subprocess.run(
            [sys.executable, str(CLIENT), *words, "--folder", str(self.folder)],
            capture_output=True,
            text=True,
            timeout=30,
            env=os.environ | {"WEIRBOOK_SERVER": server, "WEIRBOOK_KEY": key or self.key},
        )
        return done.returncode, done.stdout, done.stderr

    def lines(self, name):
        return [json.loads(line) for line in (self.folder / name).read_text().splitlines()]

    def revoke(self):
        path = f"/v1/keys/{self.handle}"
        ended = self.service.ask(path, self.service.keeper_key, method="DELETE", **{"If-Match": "*"})
        assert ended.status == 204


@pytest.fixture
def phones(service, tmp_path):
    def make(name):
        made = service.make("/v1/keys", {"name": name, "role": "helper"})
        return Phone(service, tmp_path / name, name, made["handle"], made["key"])

    return make


@pytest.fixture
def phone(phones):
    return phones("Ana's phone")


def completions(service, task, undone="false"):
    found = service.ask(f"/v1/tasks/{task}/completions?undone={undone}", service.keeper_key)
    assert found.status == 200, found.text
    return found.json["items"]


def moment(text):
    return datetime.fromisoformat(text)


def test_what_is_due_is_listed_and_ticked_with_what_was_read_and_noted(service, helper, plan, phone):
    first = plan("Water change")
    second = plan("Feed the nursery")
    status, shown, said = phone("due", "--helper", helper)
    assert (status, said) == (0, "")
    head, feed, change = shown.splitlines()
    today = datetime.now(UTC).astimezone(ROOM).date()
    assert head == f"Due on {today} for {helper}:"
    assert feed.startswith("1. Feed the nursery, systems/rill, due ") and feed.endswith(f" for {helper}")
    assert re.search(r", 1 h [01] min late,", change)

    before = datetime.now(UTC)
    reading = ["--reading", "tanks/nursery", "nitrate", "12mg/L NO3"]
    status, shown, said = phone("done", "2", "--by", helper, "--note", "Clear water.", *reading)
    assert (status, said) == (0, "")
    assert shown.startswith("Told: Water change (due ")
    assert phone("skip", "1")[0] == 0

    (done,) = completions(service, first)
    assert (done["outcome"], done["by"], done["note"]) == ("done", helper, "Clear water.")
    assert done["recorded_by"] == "Ana's phone"
    assert before - timedelta(milliseconds=1) <= moment(done["done_at"]) <= datetime.now(UTC)
    (carried,) = done["readings"]
    assert carried["at"] == done["done_at"]
    latest = service.ask(f"/v1/readings?gauge={carried['gauge']}&limit=10", service.keeper_key).json["items"]
    assert [(item["at"], item["value"]) for item in latest] == [(done["done_at"], 12)]
    assert [one["outcome"] for one in completions(service, second)] == ["skipped"]
    assert phone("due", "--helper", helper)[1] == f"Nothing is due on {today} for {helper}.\n"
    assert phone.lines("queue.jsonl") == phone.lines("refused.jsonl") == []


def test_ticks_made_while_the_service_is_away_arrive_once_as_they_were_stamped(service, helper, plan, phone):
    tasks = [plan(title) for title in ("Change the floss", "Top up the sump")]
    assert phone("due", "--helper", helper)[0] == 0
    service.kill()
    assert [phone("done", number)[0] for number in ("2", "1")] == [75, 75]
    status, shown, _ = phone("due")
    assert status == 75
    assert "Nothing is due" in shown and "2 ticks wait" in shown
    waiting = [tick["send"] for tick in phone.lines("queue.jsonl")]
    service.start()
    assert phone("send")[0] == 0
    found = [completions(service, task) for task in reversed(tasks)]
    assert [[(one["id"], one["done_at"]) for one in each] for each in found] == [
        [(one["id"], one["done_at"])] for one in waiting
    ]


def test_the_second_of_two_helpers_is_told_who_was_first_and_when(service, helper, plan, phones):
    task = plan("Empty the settling section")
    ana, bea = phones("Ana's phone"), phones("Bea's tablet")
    assert ana("due", "--helper", helper)[0] == bea("due", "--helper", helper)[0] == 0
    assert ana("done", "1")[0] == 0
    status, _, said = bea("done", "1")
    assert status == 3
    (first,) = completions(service, task)
    assert first["recorded_by"] == "Ana's phone"
    clock = by_the_clock(moment(first["done_at"])).replace("T", " at ")
    assert "Somebody was first: Empty the settling section" in said
    assert "Ana's phone did it already" in said and clock in said
    assert [line["type"] for line in bea.lines("refused.jsonl")] == ["already-completed"]
    assert bea("send") == (0, "", "")


@pytest.fixture
def answer_lost(service, helper, phone):
    """A tick that the service has stored while the machine, never answered, still holds it in its queue."""

    def lose():
        assert phone("due", "--helper", helper)[0] == 0
        service.kill()
        assert phone("done", "1")[0] == 75
        queue = phone.folder / "queue.jsonl"
        asked = queue.read_bytes()
        service.start()
        assert phone("send")[0] == 0
        queue.write_bytes(asked)

    return lose


def test_a_tick_whose_answer_was_lost_is_told_again_and_counts_once(service, plan, phone, answer_lost):
    task = plan("Rinse the sponge")
    answer_lost()
    before = completions(service, task)
    status, shown, said = phone("send")
    assert (status, said) == (0, "")
    assert shown.startswith("Told: Rinse the sponge")
    assert completions(service, task) == before
    assert len(before) == 1


def test_a_tick_whose_answer_was_lost_is_known_again_under_a_new_key(
    service, plan, phone, phones, answer_lost
):
    task = plan("Rinse the strainer")
    answer_lost()
    phone.revoke()
    status, _, said = phone("send")
    assert status == 75
    assert "Mend the key." in said
    assert phone("send", key=phones("Ana's new phone").key)[0] == 0
    assert len(completions(service, task)) == 1
    assert phone.lines("queue.jsonl") == phone.lines("refused.jsonl") == []


def test_a_retry_that_comes_after_the_undoing_brings_nothing_back(service, plan, phone, answer_lost):
    task = plan("Sweep the floor")
    answer_lost()
    (completion,) = completions(service, task)
    path = f"/v1/tasks/{task}/completions/{completion['id']}"
    undone = service.ask(path, service.keeper_key, method="DELETE", **{"If-Match": "*"})
    assert undone.status == 204, undone.text
    assert phone("send")[0] == 3
    assert completions(service, task) == []
    assert [one["id"] for one in completions(service, task, undone="true")] == [completion["id"]]
    assert [line["type"] for line in phone.lines("refused.jsonl")] == ["completion-undone"]


def test_a_tick_with_a_reading_that_can_not_be_is_set_aside_whole(service, helper, plan, phone):
    task = plan("Test the water")
    assert phone("due", "--helper", helper)[0] == 0
    status, _, said = phone("done", "1", "--reading", "tanks/nursery", "ph", "77")
    assert status == 3
    assert "Refused: Test the water" in said and "77" in said
    assert completions(service, task) == []
    assert phone("done", "1", "--reading", "tanks/nursery", "ph", "7.7")[0] == 0
    assert len(completions(service, task)) == 1
    assert len(phone.lines("refused.jsonl")) == 1


def test_a_task_that_was_deleted_meanwhile_does_not_stop_the_queue(service, helper, plan, phone):
    gone, stays = plan("Dust the lights"), plan("Prune the cress")
    assert phone("due", "--helper", helper)[0] == 0
    ended = service.ask(f"/v1/tasks/{gone}", service.keeper_key, method="DELETE", **{"If-Match": "*"})
    assert ended.status == 204, ended.text
    status, shown, said = phone("done", "1", "2")
    assert status == 3
    assert "Refused: Dust the lights" in said
    assert shown.startswith("Told: Prune the cress")
    assert len(completions(service, stays)) == 1


def test_work_by_interval_is_ticked_again_when_it_is_due_again(service, helper, plan, phone):
    start = datetime.now(UTC) - timedelta(hours=30)
    task = plan("Siphon", {"kind": "interval", "every": "PT12H", "start": by_the_clock(start)})
    for days, hours in ((1, 5), (0, 2)):
        assert phone("due", "--helper", helper)[1].count("Siphon") == 1
        at = datetime.now(UTC) - timedelta(days=days, hours=hours)
        assert phone("done", "1", "--at", at.isoformat())[0] == 0
    assert len({one["occurrence"] for one in completions(service, task)}) == 2


def test_what_may_not_be_done_yet_is_said_as_the_service_says_it(service, helper, plan, phone):
    due = datetime.now(UTC) + timedelta(days=3)
    plan("Descale the pump", {"kind": "once", "due": by_the_clock(due)})
    on = due.astimezone(ROOM).date().isoformat()
    status, shown, _ = phone("due", "--helper", helper, "--on", on)
    assert status == 0
    opens = by_the_clock(due - timedelta(days=1)).replace("T", " ")
    assert f"not before {opens}" in shown
    status, _, said = phone("done", "1")
    assert status == 2
    assert f"may be done from {opens} on" in said
    assert phone("skip", "1")[0] == 0


def test_a_viewers_key_shows_the_list_and_keeps_the_tick(service, helper, plan, phone):
    task = plan("Wipe the glass")
    viewer = service.make("/v1/keys", {"name": "Looks on", "role": "viewer"})["key"]
    assert phone("due", "--helper", helper, key=viewer)[0] == 0
    assert phone("done", "1", key=viewer)[0] == 75
    assert completions(service, task) == []
    assert phone("send")[0] == 0
    assert len(completions(service, task)) == 1


def test_a_helper_that_is_not_known_is_said(phone):
    status, shown, said = phone("due", "--helper", "nobody-here")
    assert (status, shown) == (2, "")
    assert "nobody-here" in said
