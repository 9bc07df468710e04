"""Every recipe of SPREADSHEETS.md, as it stands on the page, against the service as a process."""

import csv
import io
import json
import re
import shlex
import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import quote, urlsplit

import pytest

PAGE = (Path(__file__).parents[2] / "openapi" / "clients" / "SPREADSHEETS.md").read_text(encoding="utf-8")
MONDAY = (datetime.now(UTC) - timedelta(days=datetime.now(UTC).weekday() + 7)).date()
NEXT_YEAR = f"{datetime.now(UTC).year + 1}-12-31"
ADDRESSES = sorted(set(re.findall(r"https://weirbook\.example(/v1/[^\s`\"]+)", PAGE)))
FORMULA = '=HYPERLINK("x"), "quoted"\nfern, 24,5 µS'


def filled(template, key):
    """A template of the page with a key and with the last full week in its places."""
    week = "{}-W{:02}".format(*MONDAY.isocalendar())
    return template.replace("2026-W47", week).replace("2026-11-16", f"{MONDAY}").replace("LINKKEY", key)


def address_of(part):
    """The one address on the page that holds a text."""
    (found,) = [address for address in ADDRESSES if part in address]
    return found


WEEK = address_of("/summaries/weekly?format=csv&key=")
ONE_WEEK = address_of("week=2026-W47")
TURNOVER = address_of("format=text")


@pytest.fixture(scope="module")
def service(serve):
    """A room with a week of readings, words that a spreadsheet would run, and numbers below zero."""
    service = serve().start()
    redox = {"name": "Redox", "parameter": "redox", "place": "tanks/nursery", "expected_interval": "1 h"}
    service.make("/v1/gauges", redox)
    noon = f"{MONDAY + timedelta(days=2)}T12:{{:02}}:00Z"
    temperatures = [("nursery-temperature", value) for value in (24.5, 24.25, 25.125)]
    redoxes = [("redox", value) for value in (-120.5, -80.25)]
    rows = [
        {"gauge": gauge, "value": value, "at": noon.format(minute)}
        for minute, (gauge, value) in enumerate(temperatures + redoxes)
    ]
    hand = {"place": "tanks/nursery", "parameter": "nitrate", "value": "<5", "at": noon.format(30)}
    service.make("/v1/readings", {"readings": [*rows, hand]})
    service.make("/v1/journal", {"place": "tanks/nursery", "words": FORMULA, "author": "@helper"})
    service.make("/v1/systems", {"name": "-Weir", "handle": "weir"})
    daily = {"kind": "calendar", "rule": "FREQ=DAILY", "start": f"{MONDAY}T08:00"}
    begun = f"{MONDAY}T00:00:00Z"
    service.make("/v1/tasks", {"title": "=Look round", "schedule": daily, "effective_at": begun})
    return service


@pytest.fixture(scope="module")
def link(service):
    """A link key, made by the very command that the page shows."""
    (command,) = re.findall(r"^ +weirbook (key add .*)$", PAGE, re.M)
    secret = service.command(*shlex.split(command.replace("2027-12-31", NEXT_YEAR)))
    assert secret.startswith("wb_")
    return secret


@pytest.fixture(scope="module")
def fetch(service, link):
    """The text at an address of the page, asked without any header as a spreadsheet does."""

    def fetch(template):
        found = service.ask(filled(template, link))
        assert found.status == 200, found.text
        kind = "text/plain" if "format=text" in template else "text/csv"
        assert found.kind == f"{kind}; charset=utf-8"
        return found.text

    return fetch


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


@pytest.mark.parametrize("address", ADDRESSES)
def test_every_address_of_the_page_gives_what_the_page_says(service, link, address):
    key = None if "key=" in address else service.make("/v1/keys", {"name": "Screen", "role": "viewer"})["key"]
    found = service.ask(filled(address, link), key)
    assert found.status == 200, found.text
    if "format=text" in address:
        assert found.kind == "text/plain; charset=utf-8"
        float(found.text)
        return
    assert found.kind == "text/csv; charset=utf-8"
    # RFC 4180, 2: lines end in CRLF, and every record has as many fields as the header.
    assert found.text.endswith("\r\n")
    header, *records = csv.reader(io.StringIO(found.text, newline=""), strict=True)
    assert records and all(len(record) == len(header) for record in records)


def test_the_week_as_csv_holds_each_gauge_with_the_numbers_that_were_posted(fetch):
    rows = {row["gauge"]: row for row in rows_of(fetch(WEEK))}
    warmth, redox, nitrate = rows["nursery-temperature"], rows["redox"], rows["nursery-nitrate-by-hand"]
    assert (warmth["system"], warmth["place"], warmth["unit"]) == ("rill", "tanks/nursery", "degC")
    assert [warmth[name] for name in ("count", "min", "max", "last")] == ["3", "24.25", "25.125", "25.125"]
    assert [redox[name] for name in ("count", "min", "max", "last")] == ["2", "-120.5", "-80.25", "-80.25"]
    assert (nitrate["last"], nitrate["qualified"]) == ("5", "1")
    assert warmth["target_low"] == warmth["minutes_outside"] == ""


def test_without_a_week_the_last_full_week_comes(fetch):
    named = rows_of(fetch(ONE_WEEK))
    assert named == [row for row in rows_of(fetch(WEEK)) if row["system"] == "rill"]
    assert any(row["count"] != "0" for row in named)


def test_the_columns_of_the_week_are_those_that_the_page_lists(fetch):
    (listed,) = re.findall(r"The week's columns, in this order: (.*?)\.", PAGE, re.S)
    assert re.findall(r"`(\w+)`", listed) == next(csv.reader(io.StringIO(fetch(WEEK))))


@pytest.mark.parametrize(
    "noun", ["systems", "tanks", "sumps", "sections", "pumps", "gauges", "targets", "journal"]
)
def test_the_lists_named_on_the_page_can_be_read_as_csv(service, fetch, noun):
    assert noun in PAGE
    shown = service.ask(f"/v1/{noun}", service.keeper_key).json["items"]
    assert len(rows_of(fetch(f"/v1/{noun}?format=csv&key=LINKKEY"))) == len(shown)


def test_a_quantity_fills_two_columns_and_a_shape_is_json_in_one(fetch):
    (tank,) = rows_of(fetch("/v1/tanks?format=csv&key=LINKKEY"))
    assert (tank["water_depth"], tank["water_depth_unit"]) == ("50", "cm")
    assert json.loads(tank["footprint"])["width"] == {"value": 50, "unit": "cm"}


def test_text_that_a_spreadsheet_would_run_comes_with_an_apostrophe_in_front(fetch):
    (entry,) = rows_of(fetch("/v1/journal?format=csv&key=LINKKEY"))
    assert (entry["words"], entry["author"]) == (f"'{FORMULA}", "'@helper")
    names = [row["name"] for row in rows_of(fetch("/v1/systems?format=csv&key=LINKKEY"))]
    assert names == ["Rill", "'-Weir"]


def test_a_single_answer_is_a_bare_number_in_the_unit_asked_for(fetch):
    # Tank 120 × 50 × 50 cm and return section 30 × 45 × 25 cm; a US gallon is 231 cubic inches
    # (NIST Special Publication 811, appendix B).
    litres = 120 * 50 * 50 / 1000 + 30 * 45 * 25 / 1000
    per_hour = 600 * 231 * 2.54**3 / 1000 / litres
    text = fetch(TURNOVER)
    assert re.fullmatch(r"[0-9]+\.[0-9]+\n", text)
    assert float(text) == pytest.approx(per_hour, rel=1e-11)
    assert fetch(TURNOVER.replace("1/h", quote("1/h", safe=""))) == text
    per_day = float(fetch(TURNOVER.replace("unit=1/h", "unit=1/d")))
    assert per_day == pytest.approx(24 * per_hour, rel=1e-11)


def test_a_question_that_can_not_be_answered_gives_no_number(service, link):
    unknown = service.ask(filled(TURNOVER.replace("/rill/", "/nowhere/"), link))
    wrong_unit = service.ask(filled(TURNOVER.replace("unit=1/h", "unit=L"), link))
    assert (unknown.status, wrong_unit.status) == (404, 422)
    assert {unknown.kind, wrong_unit.kind} == {"application/problem+json"}


def test_the_whole_answer_with_its_cautions_is_the_same_address_without_four_words(service):
    path = urlsplit(TURNOVER).path
    assert "without `result`, `unit`, `format` and `key`" in PAGE
    assert service.ask(path, service.keeper_key).json["cautions"]


def formula_address(service, key):
    """What the page's LibreOffice formula hands to WEBSERVICE, worked out by the rules of a spreadsheet."""
    (inner,) = re.findall(r"^ +=NUMBERVALUE\(WEBSERVICE\((.*)\); \"\.\"\)$", PAGE, re.M)
    cells = {"$Settings.$B$1": f"http://127.0.0.1:{service.port}/v1", "$Settings.$B$2": key}
    parts = []
    for word in inner.split(" & "):
        if encoded := re.fullmatch(r'ENCODEURL\("(.*)"\)', word):
            parts.append(quote(encoded[1], safe=""))
        else:
            parts.append(cells.get(word) or word.removeprefix('"').removesuffix('"'))
    return "".join(parts)


def test_the_formula_of_the_page_asks_the_same_question_as_the_table(service, link, fetch):
    asked = urlsplit(formula_address(service, link))
    assert service.ask(f"{asked.path}?{asked.query}").text == fetch(TURNOVER)


@pytest.mark.parametrize("role", ["keeper", "helper", "sensor", "viewer"])
def test_only_a_link_key_may_stand_in_an_address(service, role):
    wanted = {"name": f"Plain {role}", "role": role}
    if role == "sensor":
        wanted["gauges"] = ["redox"]
    key = service.make("/v1/keys", wanted)["key"]
    for address in (WEEK, TURNOVER):
        refused = service.ask(filled(address, key))
        assert (refused.status, refused.json["type"]) == (401, "urn:weirbook:problem:no-key")


def test_a_link_key_in_an_address_opens_no_json_and_changes_nothing(service, link):
    for address in (WEEK, TURNOVER):
        for as_json in (address.replace("&format=csv", ""), address.replace("&format=text", "")):
            if as_json != address:
                assert service.ask(filled(as_json, link)).status == 401
        assert service.ask(filled(address, link), Accept="application/json").status == 200
    before = service.ask("/v1/journal", service.keeper_key).text
    for path in ("/v1/journal", "/v1/readings", "/v1/keys", urlsplit(TURNOVER).path):
        for words in ("", "format=csv&", "format=text&"):
            assert service.ask(f"{path}?{words}key={link}", body={"words": "x"}).status == 401
    removed = service.ask(f"/v1/tanks/nursery?format=csv&key={link}", method="DELETE", **{"If-Match": "*"})
    assert removed.status == 401
    assert service.ask("/v1/journal", service.keeper_key).text == before
    assert service.ask(filled("/v1/keys?format=csv&key=LINKKEY", link)).status == 403


def test_a_revoked_link_key_stops_at_once_and_the_other_sheets_go_on(service, fetch):
    (body,) = re.findall(r"^ +(\{.*\"for_links\".*\})$", PAGE, re.M)
    body = body.replace("2027-12-31", NEXT_YEAR).replace("Week sheet", "Lost sheet")
    made = service.make("/v1/keys", json.loads(body))
    assert service.ask(filled(WEEK, made["key"])).status == 200
    assert service.command("key", "revoke", made["handle"]) == "lost-sheet is revoked."
    refused = service.ask(filled(WEEK, made["key"]))
    assert (refused.status, "revoked" in refused.text) == (401, True)
    assert rows_of(fetch(WEEK))

    again = service.make("/v1/keys", json.loads(body))
    path = f"/v1/keys/{again['handle']}"
    assert service.ask(path, service.keeper_key, method="DELETE", **{"If-Match": "*"}).status == 204
    assert service.ask(filled(WEEK, again["key"])).status == 401


def test_the_service_writes_no_key_of_an_address_to_its_log(service, link, fetch):
    fetch(WEEK)
    assert service.ask(f"/v1/nowhere?format=csv&key={link}").status == 404
    assert link not in service.said and "key=" not in service.said


@pytest.mark.skipif(not (shutil.which("curl") and shutil.which("bash")), reason="curl or bash is not here")
def test_the_curl_recipes_write_the_week_and_a_refusal_leaves_the_last_good_table(service, link, tmp_path):
    recipes = re.findall(r"^    curl .*?mv week\.csv\.part week\.csv$", PAGE, re.M | re.S)
    assert len(recipes) == 2
    (tmp_path / "weirbook-key.header").write_text(f"Authorization: Bearer {link}\n")
    table = tmp_path / "week.csv"

    def run(recipe, key):
        here = recipe.replace("https://weirbook.example", f"http://127.0.0.1:{service.port}")
        done = subprocess.run(
            ["bash", "-c", filled(here, key)], cwd=tmp_path, capture_output=True, timeout=30
        )
        return done.returncode

    for recipe in recipes:
        table.unlink(missing_ok=True)
        assert run(recipe, link) == 0
        assert rows_of(table.read_bytes().decode("utf-8"))
    good = table.read_bytes()
    assert run(recipes[0], "wb_wrong") != 0
    assert table.read_bytes() == good


def test_what_is_due_as_csv_names_each_open_time_of_a_task(fetch):
    rows = rows_of(fetch(address_of("/tasks/due")))
    assert {row["title"] for row in rows} == {"'=Look round"}
    assert rows[0]["state"] == "overdue"
    assert int(rows[0]["late_minutes"]) > 24 * 60
