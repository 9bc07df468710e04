"""Readings out of a keeper's spreadsheet: recognised, tried, stored once; what may mean two things is asked back."""

from __future__ import annotations

import gzip
from datetime import datetime, timedelta
from typing import Any

import pytest
from harness import FURNITURE, Caller, MakeCaller, made, on_both_engines
from import_scenes import refusals, send, stored, told, tried, verdicts
from werkzeug.test import TestResponse

GAUGE = "nursery-temperature"
WIDE = (
    "Datum;Tank;Temperature (°C);pH;NO3 (mg/L)\r\n"
    "24.11.2025 18:00;Nursery;24,6;7,2;12\r\n"
    ";;;;\r\n"
    "25.11.2025 07:30;nursery;24,4;;<5\r\n"
).replace("Datum", "Date")


def readings(caller: Caller, gauge: str) -> list[dict[str, Any]]:
    span = "from=2000-01-01T00:00:00Z&to=2026-01-01T00:00:00Z"
    items: list[dict[str, Any]] = caller.get(f"/v1/readings?gauge={gauge}&{span}").get_json()["items"]
    return items


def count(caller: Caller) -> int:
    return len(readings(caller, GAUGE))


def long(*rows: str, header: str = "gauge,at,value") -> str:
    return "\n".join([header, *rows])


@on_both_engines
def test_a_dry_run_tells_every_verdict_and_stores_nothing(furnished: Caller) -> None:
    answer = tried(furnished, "readings", WIDE)
    assert answer["dry_run"] is True and answer["stored"] == 0
    counted = {"rows": 2, "blank": 1, "values": 5, "new": 5, "repeated": 0, "refused": 0, "flagged": 0}
    assert answer["counts"] == counted
    assert verdicts(answer) == [(2, "new")] * 3 + [(4, "new")] * 2
    assert answer["rows"][0]["becomes"] == {
        "place": "tanks/nursery",
        "parameter": "temperature",
        "value": 24.6,
        "unit": "degC",
        "at": "2025-11-24T18:00:00Z",
    }
    assert answer["rows"][4]["becomes"]["value"] == "<5"
    assert answer["made_gauges"] == [
        "nursery-temperature-by-hand",
        "nursery-ph-by-hand",
        "nursery-nitrate-by-hand",
    ]
    handles = [one["handle"] for one in furnished.get("/v1/gauges").get_json()["items"]]
    assert handles == [GAUGE]
    assert [
        one["what"] for one in furnished.get("/v1/changes").get_json()["items"] if one["noun"] == "reading"
    ] == []


@on_both_engines
def test_a_real_run_stores_and_the_same_file_again_is_repeated(furnished: Caller) -> None:
    assert stored(furnished, "readings", WIDE)["stored"] == 5
    again = stored(furnished, "readings", WIDE)
    assert again["stored"] == 0
    assert again["counts"]["repeated"] == 5
    kept = readings(furnished, "nursery-nitrate-by-hand")
    assert [(one["at"], one["value"], one["unit"], one["qualifier"]) for one in kept] == [
        ("2025-11-24T18:00:00Z", 12, "mg/L NO3", None),
        ("2025-11-25T07:30:00Z", 5, "mg/L NO3", "below"),
    ]


def test_what_was_recognised_is_said(furnished: Caller) -> None:
    recognised = tried(furnished, "readings", WIDE.encode("cp1252"))["recognised"]
    assert recognised["encoding"]["value"] == "windows-1252"
    assert recognised["words"] == ["(°C)"]
    assert recognised["separator"]["value"] == "semicolon"
    assert {one["column"]: one["value"] for one in recognised["decimals"]} == {
        "Temperature (°C)": "comma",
        "pH": "comma",
        "NO3 (mg/L)": None,
    }
    assert recognised["date_order"]["value"] is None  # 24 and 25 can only be days
    assert recognised["time_zone"] == "Europe/Lisbon"
    assert [one["field"] for one in recognised["columns"]][:2] == ["at", "tank"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_a_file_in_any_encoding_is_the_same_file(furnished: Caller, encoding: str) -> None:
    stored(furnished, "readings", WIDE)
    assert tried(furnished, "readings", WIDE.encode(encoding))["counts"]["repeated"] == 5


def test_a_charset_in_the_content_type_is_believed_unless_it_is_utf_8(furnished: Caller) -> None:
    body = "date,tank,ph\n2025-11-24,Nürsery,7.2\n"
    furnished.patch("/v1/tanks/nursery", {"name": "Nürsery"})
    for charset, encoding in (("macintosh", "mac-roman"), ("utf-8", "cp1252"), ("ISO-8859-1", "latin-1")):
        answered = send(
            furnished, "readings", body.encode(encoding), {"Content_Type": f"text/csv; charset={charset}"}
        )
        assert verdicts(told(answered)) == [(2, "new")], charset
    unknown = send(furnished, "readings", body, {"Content_Type": "text/csv; charset=klingon"})
    assert unknown.status_code == 400


def test_a_refused_row_stops_a_real_run_and_partial_stores_the_others(furnished: Caller) -> None:
    body = long(f"{GAUGE},2025-11-24,24.5", "nowhere,2025-11-24,24.5", f"{GAUGE},2025-11-25,200")
    refused = send(furnished, "readings", body, dry_run="false")
    assert refused.status_code == 422
    problem = refused.get_json()
    assert problem["type"] == "urn:weirbook:problem:rows-refused"
    assert [one["pointer"] for one in problem["errors"]] == ["/3/gauge", "/4"]
    assert problem["import"]["counts"]["refused"] == 2 and problem["import"]["stored"] == 0
    assert count(furnished) == 0
    answer = stored(furnished, "readings", body, partial="true")
    assert answer["stored"] == count(furnished) == 1
    assert "There is no gauge 'nowhere'" in refusals(answer)[3]
    assert "impossible" in refusals(answer)[4]


def test_another_value_at_the_same_instant_is_a_conflict(furnished: Caller) -> None:
    stored(furnished, "readings", long(f"{GAUGE},2025-11-24 10:00,24.5"))
    answer = tried(
        furnished, "readings", long(f"{GAUGE},2025-11-24 10:00,25.5", f"{GAUGE},2025-11-24 10:00,24.5")
    )
    assert verdicts(answer) == [(2, "refused"), (3, "repeated")]
    assert answer["rows"][0]["type"] == "reading-conflict"


def test_what_is_implausible_is_stored_and_said(furnished: Caller) -> None:
    answer = tried(furnished, "readings", long(f"{GAUGE},2025-11-24 10:00,45"))
    assert answer["counts"]["flagged"] == 1
    assert "plausible" in answer["rows"][0]["message"]


@pytest.mark.parametrize(
    ("header", "row", "unit", "value"),
    [
        ("place,parameter,at,value,unit", "nursery,temperature,2025-11-24,76.1,degF", "degF", 76.1),
        ("place,parameter,at,value [degF]", "Nursery,Temp,2025-11-24,76.1", "degF", 76.1),
        ("tank,parameter,at,value", "Nursery,temperature,2025-11-24,76.1 degF", "degF", 76.1),
        ("tank,at,Temperature (degF)", "tanks/nursery,2025-11-24,76.1", "degF", 76.1),
        ("tank,at,KH (dKH)", "nursery,2025-11-24,5", "dKH", 5),
        ("gauge,at,value", f"{GAUGE},2025-11-24,24", "degC", 24),
        ("gauge,at,value", "Nursery Temperature,2025-11-24,24", "degC", 24),
        ("at,Nursery temperature", "2025-11-24,24", "degC", 24),
        (f"at,{GAUGE}", "2025-11-24,24", "degC", 24),
    ],
)
def test_a_unit_stands_in_its_column_in_the_header_behind_the_number_or_is_the_gauge_s(
    furnished: Caller, header: str, row: str, unit: str, value: float
) -> None:
    [told_row] = tried(furnished, "readings", long(row, header=header))["rows"]
    assert (told_row["verdict"], told_row["becomes"]["unit"], told_row["becomes"]["value"]) == (
        "new",
        unit,
        value,
    )


def test_a_unit_that_does_not_say_of_what_is_refused_with_the_choice(furnished: Caller) -> None:
    refused = send(furnished, "readings", "at,tank,Nitrate (mg/L)\n2025-11-24,nursery,12\n")
    assert refused.status_code == 422
    assert "mg/L NO3 or mg/L NO3-N" in refused.get_json()["detail"]


def test_a_column_without_a_unit_is_noted(furnished: Caller) -> None:
    answer = tried(furnished, "readings", "at,tank,hardness\n2025-11-24,nursery,12\n")
    assert "says no unit" in answer["notes"][0]


def test_dates_that_may_be_two_days_are_asked_and_can_be_said(furnished: Caller) -> None:
    body = long(f"{GAUGE},03/04/2025,24.5", f"{GAUGE},05/04/2025,24.6")
    refused = send(furnished, "readings", body)
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/date_order"
    days = [
        [row["becomes"]["at"][:10] for row in tried(furnished, "readings", body, date_order=order)["rows"]]
        for order in ("dmy", "mdy")
    ]
    assert days == [["2025-04-03", "2025-04-05"], ["2025-03-04", "2025-05-04"]]


def test_a_day_without_time_is_noon_by_the_room_s_clock_unless_said(furnished: Caller) -> None:
    """Lisbon is an hour ahead of UTC in July."""
    body = long(f"{GAUGE},2025-07-04,24.5")
    assert tried(furnished, "readings", body)["rows"][0]["becomes"]["at"] == "2025-07-04T11:00:00Z"
    said = tried(furnished, "readings", body, time_of_day="07:30")
    assert said["rows"][0]["becomes"]["at"] == "2025-07-04T06:30:00Z"
    assert said["recognised"]["days_without_time"] == "07:30"


@pytest.mark.parametrize(
    "at",
    [
        "2025-07-04T12:30:00+01:00",
        "2025-07-04 11:30Z",
        "4.7.2025 12:30",
        "Jul 4, 2025 12:30 PM",
        "4-Jul-25 12:30",
    ],
)
def test_one_instant_written_in_many_ways_is_the_same_reading(furnished: Caller, at: str) -> None:
    stored(furnished, "readings", long(f"{GAUGE},2025-07-04T11:30:00Z,24.5"))
    assert verdicts(tried(furnished, "readings", long(f'{GAUGE},"{at}",24.5'))) == [(2, "repeated")]


def test_date_and_time_may_stand_in_two_columns(furnished: Caller) -> None:
    body = long(f"{GAUGE},04.07.2025,12:30,24.5", header="gauge,date,time,value")
    assert tried(furnished, "readings", body)["rows"][0]["becomes"]["at"] == "2025-07-04T11:30:00Z"


def test_decimal_signs_that_contradict_each_other_are_refused_with_their_lines(furnished: Caller) -> None:
    body = "gauge;at;value\n" + "\n".join(
        f"{GAUGE};2025-11-{day};{value}" for day, value in ((24, "24,5"), (25, "24.6"))
    )
    refused = send(furnished, "readings", body)
    assert refused.status_code == 422
    [error] = refused.get_json()["errors"]
    assert error["pointer"] == "/decimal"
    assert "line 2" in error["message"] and "line 3" in error["message"]
    answer = tried(furnished, "readings", body, decimal="comma")
    assert verdicts(answer) == [(2, "new"), (3, "refused")]


def test_thousands_are_read_where_the_file_tells(furnished: Caller) -> None:
    body = 'at;tank;conductivity (uS/cm);ph\n24.11.2025;nursery;1.234;7,2\n25.11.2025;nursery;"1.234,5";7\n'
    rows = tried(furnished, "readings", body)["rows"]
    assert [row["becomes"]["value"] for row in rows if row["becomes"]["parameter"] == "conductivity"] == [
        1234,
        1234.5,
    ]


def test_rows_and_cells_that_are_at_fault_are_refused_by_line_and_column(furnished: Caller) -> None:
    body = long(
        f"{GAUGE},2025-11-24,24.5,extra",
        f"{GAUGE},yesterday,24.5",
        f"{GAUGE},2025-11-25,warm",
        f"{GAUGE},45987,24.5",
        f"{GAUGE},2025-11-26,",
        f"{GAUGE},2099-11-26,24.5",
        ",2025-11-27,24.5",
    )
    answer = tried(furnished, "readings", body)
    said = refusals(answer)
    assert "header has 3" in said[2]
    assert "no date" in said[3]
    assert "not a reading" in said[4]
    assert "day number" in said[5]
    assert 6 not in said
    assert "ahead" in said[7]
    assert "Name a gauge" in said[8]
    assert [row["column"] for row in answer["rows"]] == [None, "at", None, "at", None, None]


def test_names_that_two_things_share_are_asked_back(furnished: Caller) -> None:
    made(furnished, "tanks", {**FURNITURE[1][1], "handle": "second"})
    said = refusals(tried(furnished, "readings", "at,tank,ph\n2025-11-24,NURSERY,7\n2025-11-24,nursery,7\n"))
    assert set(said) == {2}
    assert "tanks/nursery or tanks/second" in said[2]


def test_our_own_csv_comes_back_as_it_went(furnished: Caller) -> None:
    body = long(
        "tanks/nursery,ph,7.2,2025-11-24T10:00:00Z",
        "tanks/nursery,nitrate,<5,2025-11-24T10:00:00Z",
        "tanks/nursery,nitrate,10..20,2025-11-25T10:00:00Z",
        "tanks/nursery,temperature,-1.5,2025-11-25T10:00:00Z",
        header="place,parameter,value,at",
    )
    stored(furnished, "readings", body)
    stored(furnished, "readings", long(f"{GAUGE},2025-11-24 10:00,24.5", f"{GAUGE},2025-11-24 11:00,45"))
    offset = {"gauge": "nursery-nitrate-by-hand", "offset": 1}
    furnished.patch(
        "/v1/gauges/nursery-nitrate-by-hand", {"offset": "1 mg/L NO3", "effective_at": "2025-01-01T00:00:00Z"}
    )
    assert offset
    total = 0
    for gauge in ("nursery-ph-by-hand", "nursery-nitrate-by-hand", "nursery-temperature-by-hand", GAUGE):
        span = "from=2025-01-01T00:00:00Z&to=2026-01-01T00:00:00Z"
        out = furnished.get(f"/v1/readings?gauge={gauge}&{span}&format=csv").get_data()
        answer = stored(furnished, "readings", out)
        assert answer["counts"]["refused"] == answer["counts"]["new"] == 0, answer["rows"]
        total += answer["counts"]["repeated"]
        assert {"implausible", "excluded"} <= {one["column"] for one in answer["recognised"]["unused"]}
    assert total == 6


def test_every_verdict_is_told_as_csv(furnished: Caller) -> None:
    body = long(
        *(f"{GAUGE},2025-11-24 {n // 60:02d}:{n % 60:02d},24.5" for n in range(100)), f"{GAUGE},never,1"
    )
    as_json = tried(furnished, "readings", body)
    assert as_json["not_listed"] == 80
    answered = send(furnished, "readings", body, {"Accept": "text/csv"})
    lines = answered.get_data(as_text=True).splitlines()
    assert answered.content_type == "text/csv; charset=utf-8"
    assert lines[0] == "line,column,verdict,type,message,becomes"
    assert len(lines) == 102
    assert lines[1].startswith(
        "2,,new,,,gauge: nursery-temperature; value: 24.5; unit: degC; at: 2025-11-24T00:00:00Z"
    )
    assert lines[-1].startswith("102,at,refused,bad-row,")
    csv = {"Accept": "text/csv"}
    real = send(furnished, "readings", body, csv, dry_run="false", partial="true").get_data(as_text=True)
    assert real.splitlines()[1:] == [one.replace(",,new,", ",,stored,", 1) for one in lines[1:]]


def test_of_readings_values_are_told_apart_from_rows(furnished: Caller) -> None:
    body = "Date,Tank,Temperature (°C),pH\n2025-11-24 18:00,Nursery,24.6,7.1\n2025-11-25 18:00,Nursery,x,y\n"
    answer = tried(furnished, "readings", body)
    assert [answer["counts"][name] for name in ("rows", "values", "new", "refused")] == [2, 4, 2, 2]
    refused = send(furnished, "readings", body, dry_run="false").get_json()
    assert refused["detail"].startswith("2 values can't be taken")
    assert {row["verdict"] for row in refused["import"]["rows"]} == {"new", "refused"}


def test_a_file_may_come_packed(furnished: Caller) -> None:
    answered = send(furnished, "readings", gzip.compress(WIDE.encode()), {"Content_Encoding": "gzip"})
    assert told(answered)["counts"]["new"] == 5


@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        (b"", 400, "empty"),
        (b"\xef\xbb\xbf\r\n", 400, "empty"),
        (b"PK\x03\x04rest", 400, "workbook"),
        (b"gauge,at,value\nx,\x00,1\n", 400, "Line 2: there is a NUL"),
        (b'gauge,at,value\nx,"2025,1\n', 400, "Line 2: a quote is opened"),
        (b"gauge,at,value\nx,2025-11-24," + b"9" * 200_000, 400, "longer than"),
        (b"gauge;at,value\n1;2,3\n", 400, "separator="),
        (
            b"gauge,value\nx,1\n",
            422,
            "A column 'at' is missing: When: a date, with a time if known. The file has:",
        ),
        (b"gauge,at\nx,2025-11-24\n", 422, "No column holds readings"),
        (b"gauge,at,value,VALUE\nx,2025-11-24,1,2\n", 422, "both mean value"),
        (b"gauge,at,value\n" + b"x,2025-11-24,1\n" * 100_001, 413, "More than 100000 rows"),
    ],
)
def test_a_file_that_can_not_be_taken_is_refused_with_what_to_do(
    furnished: Caller, body: bytes, status: int, words: str
) -> None:
    refused = send(furnished, "readings", body)
    assert refused.status_code == status, refused.get_data(as_text=True)
    assert words in refused.get_json()["detail"]


def test_another_media_type_and_unknown_words_are_refused(furnished: Caller) -> None:
    assert send(furnished, "readings", "{}", {"Content_Type": "application/json"}).status_code == 415
    for key, value in (
        ("decimal", "dot"),
        ("time_of_day", "noon"),
        ("encoding", "ebcdic"),
        ("dryrun", "false"),
    ):
        refused: TestResponse = send(furnished, "readings", WIDE, **{key: value})
        assert refused.status_code == 422, key
        assert refused.get_json()["errors"][0]["pointer"] == f"/{key}"


def test_only_a_keeper_brings_in_and_every_reader_sees_the_columns(
    caller: MakeCaller, furnished: Caller
) -> None:
    for role in ("helper", "viewer"):
        assert send(caller(role), "readings", WIDE).status_code == 403
        shown = caller(role).get("/v1/imports/readings").get_json()
        assert {"gauge", "at", "value"} <= {one["name"] for one in shown["columns"]}


@pytest.mark.parametrize("kind", ["readings", "journal", "species", "stock-entries"])
def test_the_template_is_a_file_that_can_be_tried(furnished: Caller, kind: str) -> None:
    template = furnished.get(f"/v1/imports/{kind}?format=csv")
    assert template.content_type == "text/csv; charset=utf-8"
    answer = tried(furnished, kind, template.get_data())
    assert answer["recognised"]["unused"] == []
    assert answer["counts"]["rows"] == 1
    if kind in ("readings", "species", "journal"):
        assert answer["counts"]["new"] == 1, answer["rows"]


def test_a_place_for_all_rows_is_said_in_the_query(furnished: Caller) -> None:
    body = "date,ph\n2025-11-24,7.2\n"
    assert "place" in refusals(tried(furnished, "readings", body))[2]
    [row] = tried(furnished, "readings", body, place="tanks/nursery")["rows"]
    assert row["becomes"]["place"] == "tanks/nursery"


@pytest.mark.slow
def test_a_hundred_thousand_readings_are_stored_and_then_repeated(furnished: Caller) -> None:
    start = datetime(2025, 5, 1)  # minutes of ten weeks in which no clock is changed
    rows = [
        f"{GAUGE};{start + timedelta(minutes=n):%d.%m.%Y %H:%M};{20 + n % 50 // 10},{n % 10}"
        for n in range(100_000)
    ]
    body = "\n".join(["gauge;at;value", *rows])
    assert stored(furnished, "readings", body)["stored"] == 100_000
    assert stored(furnished, "readings", body)["counts"]["repeated"] == 100_000


def test_some_thousand_readings_are_stored_the_quick_way_and_counted_alike(furnished: Caller) -> None:
    """Of plain numbers of a sensor, and of the same file with one test by hand, which has all of it judged."""
    start = datetime(2025, 1, 1)
    rows = [
        f"{GAUGE},,,{start + timedelta(minutes=10 * n):%Y-%m-%dT%H:%M:%SZ},{20 + n % 50 / 10}"
        for n in range(3000)
    ]
    header = "gauge,tank,parameter,at,value"
    assert stored(furnished, "readings", long(*rows, header=header))["stored"] == 3000
    judged = [*rows, ",nursery,ph,2025-01-01,7"]
    answer = stored(furnished, "readings", long(*judged, header=header))
    assert (answer["counts"]["repeated"], answer["counts"]["new"]) == (3000, 1)
    assert [one["value"] for one in readings(furnished, GAUGE)[:3]] == [20, 20.1, 20.2]
