"""The notifier against the service itself: what a reading sets off, until the mail has come."""

import pytest
from clients.notifying import BEGUN, MailServer, Watch


@pytest.fixture
def mail(tmp_path):
    server = MailServer(tmp_path)
    yield server.start()
    server.stop()


@pytest.fixture
def watch(tmp_path, mail):
    watch = Watch(tmp_path, mail.port)
    yield watch
    for process in watch.started:
        process.kill()
        process.communicate()


@pytest.fixture(scope="module")
def service(serve):
    return serve().start()


def read(service, value):
    sent = service.ask("/v1/readings", service.keeper_key, {"gauge": "leak", "value": value})
    assert sent.status == 200, sent.text


def test_a_leak_is_told_by_mail_from_its_opening_over_its_acknowledgement_to_its_close(service, watch, mail):
    for name in ("Ana", "Bea"):
        service.make("/v1/helpers", {"name": name})
    service.make(
        "/v1/gauges",
        {"name": "Leak", "parameter": "leak", "place": "sumps/rack", "alarm": {"owner": "ana"}},
    )
    read(service, "off")
    key = service.make("/v1/keys", {"name": "House mail", "role": "helper"})["key"]
    config = watch.config(service.port, also=["bea"])
    process = watch.start(config, WEIRBOOK_KEY=key)
    watch.until(lambda: mail.subjects() == [BEGUN])

    read(service, "on")
    watch.until(lambda: mail.to("ana"), 30)
    (letter,) = mail.to("ana")
    assert letter.subject.startswith("Alert: sumps/rack: ") and "leak" in letter.subject
    (alert,) = service.ask("/v1/alerts?open=true", service.keeper_key).json["items"]
    assert f"/v1/alerts/{alert['id']}" in letter.text
    assert alert["reason"] in letter.text

    path, wanted = f"/v1/alerts/{alert['id']}", {"acknowledged": True}
    seen = service.ask(path, service.keeper_key, wanted, "PATCH", **{"If-Match": "*"})
    assert seen.status == 200, seen.text
    watch.until(lambda: len(mail.to("ana")) == 2, 30)
    assert mail.subjects("ana")[1].startswith("Seen to: sumps/rack: ")
    assert "by keeper." in mail.to("ana")[1].text

    read(service, "off")
    watch.until(lambda: len(mail.to("ana")) == 3, 30)
    assert mail.subjects("ana")[2].startswith("Over: sumps/rack: ")
    assert [subject.partition(":")[0] for subject in mail.subjects("bea")] == [
        BEGUN,
        "Alert",
        "Seen to",
        "Over",
    ]
    (follower,) = service.ask("/v1/followers", service.keeper_key).json["items"]
    assert follower["name"] == "notify"
    assert watch.ended(process)[0] == 0


def test_a_key_without_the_helper_role_is_told_and_ends_it(service, watch, mail):
    key = service.make("/v1/keys", {"name": "Looker", "role": "viewer"})["key"]
    status, said = watch.run(watch.config(service.port), WEIRBOOK_KEY=key)
    assert status == 3
    assert "It needs the helper role" in said and key not in said
    assert mail.subjects() == [BEGUN, "The room can't be watched"]


def test_a_cursor_of_another_record_starts_anew_with_what_is_open(service, serve, watch, mail):
    key = service.make("/v1/keys", {"name": "House mail", "role": "helper"})["key"]
    assert watch.run(watch.config(service.port), "--once", WEIRBOOK_KEY=key)[0] == 0
    other = serve().start()
    key = other.make("/v1/keys", {"name": "House mail", "role": "helper"})["key"]
    assert watch.run(watch.config(other.port), "--once", WEIRBOOK_KEY=key)[0] == 0
    assert mail.subjects() == [BEGUN, "The log of the room was lost"]
