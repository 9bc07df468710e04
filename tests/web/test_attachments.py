"""Photos and documents: sent, listed, shown, edited, deleted."""

from __future__ import annotations

import io
from functools import partial
from pathlib import Path

import pytest
from harness import Caller, MakeCaller, on_both_engines, pointers
from pictures import PDF, TRACES, dots, drawn, jpeg, notes, png, webp
from PIL import Image
from werkzeug.test import TestResponse

from weirbook.app import Service
from weirbook.record.files import Files

LISTED = "/v1/attachments"
OWN = f"{LISTED}/01936c5e-8f00-7000-8000-00000000aaaa"


@pytest.fixture
def files(app: Service) -> Files:
    assert app.database.files is not None
    return app.database.files


def send(
    caller: Caller,
    content: bytes,
    media: str,
    query: str = "",
    method: str = "POST",
    path: str = LISTED,
    **said: str,
) -> TestResponse:
    return caller(method, f"{path}{query}", content, Content_Type=media, **said)


def sent(caller: Caller, content: bytes, media: str = "image/jpeg", query: str = "") -> dict[str, object]:
    answered = send(caller, content, media, query)
    assert answered.status_code == 201, answered.get_data(as_text=True)
    shown: dict[str, object] = answered.get_json()
    return shown


def days_of(caller: Caller, query: str) -> list[str]:
    return [one["taken_at"][8:10] for one in caller.get(f"{LISTED}?{query}").get_json()["items"]]


def ids_of(caller: Caller, link: str) -> list[str]:
    return [one["id"] for one in caller.get(f"{LISTED}?link={link}").get_json()["items"]]


def stored(files: Files) -> list[Path]:
    """Every file that stands in its place, small pictures left out."""
    return sorted(
        file
        for file in files.root.rglob("*")
        if file.is_file() and "small" not in file.relative_to(files.root).parts
    )


@on_both_engines
def test_a_photo_is_sent_listed_shown_edited_and_deleted(furnished: Caller, files: Files) -> None:
    content = jpeg(drawn(200, 120), exif=notes())
    answered = send(furnished, content, "image/jpeg", "?place=tanks/nursery&words=Moss%20on%20the%20root")
    assert answered.status_code == 201
    row = answered.get_json()
    assert (row["place"], row["words"], row["author"]) == ("tanks/nursery", "Moss on the root", "keeper")
    assert (row["media_type"], row["width"], row["height"]) == ("image/jpeg", 200, 120)
    assert answered.headers["Location"] == f"{LISTED}/{row['id']}"
    here = answered.headers["Location"]
    assert furnished.get(here).get_json() == row
    assert furnished.get(LISTED).get_json()["items"] == [row]
    edited = furnished.patch(here, {"words": "Moss, four weeks on", "place": "sumps/rack"}, if_match='"1"')
    assert (edited.get_json()["words"], edited.get_json()["place"]) == ("Moss, four weeks on", "sumps/rack")
    assert edited.get_json()["sha256"] == row["sha256"]
    file = furnished.get(f"{here}/file")
    assert dots(file.get_data()) == dots(content)
    assert len(file.get_data()) == row["bytes"]
    assert furnished.delete(here, if_match='"2"').status_code == 204
    for path in (here, f"{here}/file", f"{here}/thumbnail"):
        assert furnished.get(path).status_code == 404
    assert [file for file in files.root.rglob("*") if file.is_file()] == []


@pytest.mark.parametrize(
    ("content", "media", "manner", "ending"),
    [
        (jpeg(), "image/jpeg", "inline", "jpg"),
        (png(), "image/png", "inline", "png"),
        (webp(), "image/webp", "inline", "webp"),
        (PDF, "application/pdf", "attachment", "pdf"),
    ],
)
def test_a_file_comes_back_as_what_it_is_and_can_do_nothing(
    furnished: Caller, content: bytes, media: str, manner: str, ending: str
) -> None:
    row = sent(furnished, content, media)
    answered = furnished.get(f"{LISTED}/{row['id']}/file")
    assert answered.status_code == 200
    assert answered.content_type == media
    headers = answered.headers
    assert headers["Content-Disposition"] == f'{manner}; filename="{row["id"]}.{ending}"'
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert {"sandbox", "default-src 'none'"} <= set(headers["Content-Security-Policy"].split("; "))
    assert headers["Cache-Control"] == "private, no-cache"


def test_a_browser_that_holds_a_file_is_not_sent_it_again(furnished: Caller) -> None:
    row = sent(furnished, jpeg())
    for path in (f"{LISTED}/{row['id']}/file", f"{LISTED}/{row['id']}/thumbnail?size=160"):
        first = furnished.get(path)
        again = furnished.get(path, If_None_Match=first.headers["ETag"])
        assert (again.status_code, again.get_data()) == (304, b"")
        assert furnished.get(path, If_None_Match='"other"').status_code == 200
    assert furnished("HEAD", path).get_data() == b""


@pytest.mark.parametrize(
    ("query", "largest"), [("?size=160", (160, 120)), ("", (480, 360)), ("?size=1280", (600, 450))]
)
@pytest.mark.parametrize(("make", "media"), [(jpeg, "image/jpeg"), (png, "image/png"), (webp, "image/webp")])
def test_a_thumbnail_is_small_and_never_larger_than_the_picture(
    furnished: Caller, make: object, media: str, query: str, largest: tuple[int, int]
) -> None:
    row = sent(furnished, make(drawn(600, 450)), media)  # type: ignore[operator]
    answered = furnished.get(f"{LISTED}/{row['id']}/thumbnail{query}")
    assert answered.content_type == "image/jpeg"
    assert Image.open(io.BytesIO(answered.get_data())).size == largest


def test_a_pdf_has_no_thumbnail_and_says_so(furnished: Caller) -> None:
    row = sent(furnished, PDF, "application/pdf")
    assert (row["width"], row["height"]) == (None, None)
    refused = furnished.get(f"{LISTED}/{row['id']}/thumbnail")
    assert refused.status_code == 404
    assert "no small picture" in refused.get_json()["detail"]


def test_other_sizes_of_thumbnails_are_not_made(furnished: Caller) -> None:
    row = sent(furnished, jpeg())
    refused = furnished.get(f"{LISTED}/{row['id']}/thumbnail?size=5000")
    assert pointers(refused) == ["/size"]


def test_a_lost_thumbnail_is_made_anew(furnished: Caller, files: Files) -> None:
    path = f"{LISTED}/{sent(furnished, jpeg(drawn(300, 200)))['id']}/thumbnail?size=160"
    first = furnished.get(path).get_data()
    for small in files.root.rglob("small/*/*"):
        small.unlink()
    assert furnished.get(path).get_data() == first
    assert len(list(files.root.rglob("small/*/*.jpg"))) == 3


@pytest.mark.parametrize("damage", ["gone", "changed"])
def test_a_file_that_is_gone_or_changed_is_never_passed_off_as_what_was_sent(
    furnished: Caller, files: Files, damage: str
) -> None:
    here = f"{LISTED}/{sent(furnished, jpeg())['id']}"
    (file,) = stored(files)
    file.unlink() if damage == "gone" else file.write_bytes(file.read_bytes()[:-1] + b"x")
    for small in files.root.rglob("small/*/*"):
        small.unlink()
    for path in (f"{here}/file", f"{here}/thumbnail"):
        refused = furnished.get(path)
        assert refused.status_code == 410
        assert "weirbook check" in refused.get_json()["detail"]
    assert furnished.get(here).status_code == 200


@on_both_engines
def test_the_same_file_twice_is_stored_once_and_stays_while_one_row_needs_it(
    furnished: Caller, files: Files
) -> None:
    first, second = sent(furnished, jpeg(), query="?words=one"), sent(furnished, jpeg(), query="?words=two")
    assert first["sha256"] == second["sha256"] and first["id"] != second["id"]
    (file,) = stored(files)
    assert file.name == f"{first['sha256']}.jpg" and file.parent.name == str(first["sha256"])[:2]
    assert furnished.delete(f"{LISTED}/{first['id']}").status_code == 204
    assert furnished.get(f"{LISTED}/{second['id']}/file").status_code == 200
    assert furnished.get(f"{LISTED}/{second['id']}/thumbnail").status_code == 200
    assert furnished.delete(f"{LISTED}/{second['id']}").status_code == 204
    assert stored(files) == []


@on_both_engines
def test_a_repeated_post_with_its_token_is_done_once(furnished: Caller, files: Files) -> None:
    first = send(furnished, jpeg(), "image/jpeg", Idempotency_Key="t1")
    again = send(furnished, jpeg(), "image/jpeg", Idempotency_Key="t1")
    assert again.get_json() == first.get_json()
    assert again.headers["Idempotent-Replay"] == "true"
    assert len(furnished.get(LISTED).get_json()["items"]) == 1
    assert len(stored(files)) == 1
    other = send(furnished, png(), "image/png", Idempotency_Key="t1")
    assert other.status_code == 409
    assert len(stored(files)) == 1, "what a refused request sent was left behind"


@on_both_engines
def test_an_id_of_ones_own_makes_a_photo_safe_to_send_again(furnished: Caller, files: Files) -> None:
    query = "?place=tanks/nursery&words=Fry"
    assert send(furnished, jpeg(), "image/jpeg", query, "PUT", OWN).status_code == 201
    again = send(furnished, jpeg(), "image/jpeg", query, "PUT", OWN)
    assert (again.status_code, again.get_json()["version"]) == (200, 1)
    for content, media, other in (
        (png(), "image/png", query),
        (jpeg(), "image/jpeg", "?place=tanks/nursery&words=Frying"),
        (jpeg(), "image/jpeg", "?place=room&words=Fry"),
    ):
        refused = send(furnished, content, media, other, "PUT", OWN)
        assert refused.status_code == 409
        assert refused.get_json()["type"] == "urn:weirbook:problem:id-taken"
    assert len(stored(files)) == 1


def test_photos_are_listed_by_place_and_time_newest_first(furnished: Caller) -> None:
    for place, day in (("tanks/nursery", 3), ("sumps/rack", 4), ("tanks/nursery", 5)):
        sent(furnished, jpeg(), query=f"?place={place}&taken_at=2026-11-0{day}T10:00:00Z")
    assert days_of(furnished, "") == ["05", "04", "03"]
    assert days_of(furnished, "place=tanks/nursery") == ["05", "03"]
    assert days_of(furnished, "from=2026-11-04T00:00:00Z") == ["05", "04"]
    assert days_of(furnished, "to=2026-11-04T10:00:00Z") == ["03"]
    page = furnished.get(f"{LISTED}?limit=2").get_json()
    assert days_of(furnished, f"limit=2&cursor={page['next']}") == ["03"]
    assert furnished.get(f"{LISTED}?format=csv").get_data(as_text=True).count("\r\n") == 4


def test_what_is_wrong_in_the_query_is_named(furnished: Caller, files: Files) -> None:
    for query, at in (
        ("?place=tanks/nowhere", "/place"),
        ("?place=nowhere", "/place"),
        ("?words=", "/words"),
        ("?taken_at=yesterday", "/taken_at"),
        ("?taken_at=2126-01-01T00:00:00Z", "/taken_at"),
        ("?colour=blue", "/colour"),
    ):
        assert pointers(send(furnished, jpeg(), "image/jpeg", query)) == [at]
    assert furnished.get(LISTED).get_json()["items"] == []
    assert stored(files) == []


def test_what_the_file_tells_can_not_be_edited(furnished: Caller) -> None:
    here = f"{LISTED}/{sent(furnished, jpeg())['id']}"
    for name in ("sha256", "bytes", "media_type", "width", "taken_at_from"):
        assert pointers(furnished.patch(here, {name: "x"})) == [f"/{name}"]


@pytest.mark.parametrize(
    ("role", "may_read", "may_send"),
    [("keeper", True, True), ("helper", True, True), ("viewer", True, False), ("sensor", False, False)],
)
def test_who_may_see_and_send(
    caller: MakeCaller, furnished: Caller, role: str, may_read: bool, may_send: bool
) -> None:
    here = f"{LISTED}/{sent(furnished, jpeg())['id']}"
    said = {"gauges": ["nursery-temperature"]} if role == "sensor" else {}
    other = caller(role, name="Other", **said)
    for path in (LISTED, here, f"{here}/file", f"{here}/thumbnail"):
        assert other.get(path).status_code == (200 if may_read else 403)
    assert send(other, jpeg(), "image/jpeg").status_code == (201 if may_send else 403)
    assert other.patch(here, {"words": "x"}).status_code == (200 if may_send else 403)
    assert other.delete(here).status_code == (204 if may_send else 403)


def test_a_key_for_links_may_stand_in_the_address_of_a_picture_and_no_other_key(
    caller: MakeCaller, furnished: Caller
) -> None:
    here = f"{LISTED}/{sent(furnished, jpeg())['id']}"
    link, viewer = caller("viewer", for_links=True).secret, caller("viewer", name="Screen").secret
    nobody = caller(None)
    for path in (f"{here}/file", f"{here}/thumbnail"):
        assert nobody.get(path).status_code == 401
        assert nobody.get(f"{path}?key={link}").status_code == 200
        assert nobody.get(f"{path}?key={viewer}").status_code == 401
    assert nobody.get(f"{here}?key={link}").status_code == 401


def test_the_log_tells_of_a_photo(furnished: Caller) -> None:
    here = f"{LISTED}/{sent(furnished, jpeg(), query='?place=tanks/nursery&words=Fry')['id']}"
    furnished.delete(here)
    told = [one for one in furnished.get("/v1/changes").get_json()["items"] if one["noun"] == "attachment"]
    assert [(one["what"], one["place"], one["words"]) for one in told] == [
        ("made", "tanks/nursery", "Fry"),
        ("deleted", "tanks/nursery", "Fry"),
    ]


@on_both_engines
def test_a_photo_belongs_to_other_records_and_is_found_by_them(furnished: Caller) -> None:
    entry = furnished.post("/v1/journal", {"words": "Moss on the root"}).get_json()["id"]
    row = sent(furnished, jpeg(), query=f"?link=journal/{entry}")
    other = sent(furnished, jpeg(drawn(seed=2)), query="?link=tanks/nursery")
    assert row["links"] == [f"journal/{entry}"]
    ids = partial(ids_of, furnished)
    assert ids(f"journal/{entry}") == [row["id"]]
    assert ids("tanks/nursery") == [other["id"]]
    both = {"links": [f"journal/{entry}", "tanks/nursery"]}
    assert furnished.patch(f"{LISTED}/{row['id']}", both).get_json()["links"] == both["links"]
    assert set(ids("tanks/nursery")) == {row["id"], other["id"]}
    refused = furnished.delete(f"/v1/journal/{entry}")
    assert refused.status_code == 409 and "1 attachment" in refused.get_json()["detail"]
    assert furnished.patch(f"{LISTED}/{row['id']}", {"links": None}).get_json()["links"] is None
    assert furnished.delete(f"/v1/journal/{entry}").status_code == 204


def test_links_that_lead_to_nothing_are_named(furnished: Caller, files: Files) -> None:
    for path in ("tanks/nowhere", f"journal/{OWN[-36:]}", "keys/keeper", "nonsense"):
        assert pointers(send(furnished, jpeg(), "image/jpeg", f"?link={path}")) == ["/link"]
        assert pointers(furnished.get(f"{LISTED}?link={path}")) == ["/link"]
    row = sent(furnished, jpeg())
    refused = furnished.patch(f"{LISTED}/{row['id']}", {"links": ["tanks/nursery", "tanks/nowhere"]})
    assert pointers(refused) == ["/links/1"]
    assert pointers(furnished.patch(f"{LISTED}/{row['id']}", {"links": ["tanks/nursery"] * 21})) == ["/links"]
    assert len(stored(files)) == 1


def test_an_entry_of_the_journal_shows_a_photo_by_its_link(furnished: Caller) -> None:
    row = sent(furnished, jpeg())
    entry = {"words": "See the photo", "links": [f"attachments/{row['id']}"]}
    assert furnished.post("/v1/journal", entry).status_code == 201
    refused = furnished.delete(f"{LISTED}/{row['id']}")
    assert refused.status_code == 409 and "1 journal entry" in refused.get_json()["detail"]
    assert furnished.get(f"{LISTED}/{row['id']}/file").status_code == 200


NOW = (
    1_795_608_000_000  # 2026-11-25T12:00:00Z; Lisbon's clocks show the same in winter, an hour more in summer
)


@pytest.fixture
def noon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("weirbook.web.perform.now_ms", lambda: NOW)


@pytest.mark.parametrize(
    ("within", "query", "at", "by"),
    [
        ({}, "", "2026-11-20T18:30:00Z", "camera"),
        ({0x9003: "2026:07:20 18:30:00"}, "", "2026-07-20T17:30:00Z", "camera"),
        ({0x9003: "2026:07:20 18:30:00", 0x9011: "-05:00"}, "", "2026-07-20T23:30:00Z", "camera"),
        ({0x9003: "2026:03:29 01:30:00"}, "", "2026-03-29T01:30:00Z", "camera"),
        ({}, "?taken_at=2026-11-01T08:00:00%2B01:00", "2026-11-01T07:00:00Z", "sent"),
        ({0x9003: "2031:01:01 00:00:00"}, "", "2026-11-25T12:00:00Z", "arrival"),
        ({0x9003: "1850:01:01 00:00:00"}, "", "2026-11-25T12:00:00Z", "arrival"),
        ({0x9003: "nonsense"}, "", "2026-11-25T12:00:00Z", "arrival"),
    ],
    ids=["winter", "summer", "own offset", "a skipped hour", "sent", "ahead", "before photography", "none"],
)
def test_when_a_photo_was_taken(
    furnished: Caller, noon: None, within: dict[int, str], query: str, at: str, by: str
) -> None:
    row = sent(furnished, jpeg(exif=notes(within=within)), query=query)
    assert (row["taken_at"], row["taken_at_from"]) == (at, by)


def test_a_wrong_clock_can_be_put_right(furnished: Caller, noon: None) -> None:
    here = f"{LISTED}/{sent(furnished, jpeg(exif=notes()))['id']}"
    same = furnished.patch(here, {"words": "Fry"}).get_json()
    assert (same["taken_at"], same["taken_at_from"]) == ("2026-11-20T18:30:00Z", "camera")
    moved = furnished.patch(here, {"taken_at": "2026-11-20T19:30:00Z"}).get_json()
    assert (moved["taken_at"], moved["taken_at_from"]) == ("2026-11-20T19:30:00Z", "sent")
    cleared = furnished.patch(here, {"taken_at": None}).get_json()
    assert (cleared["taken_at"], cleared["taken_at_from"]) == ("2026-11-25T12:00:00Z", "arrival")
    assert pointers(furnished.patch(here, {"taken_at": "2027-11-20T19:30:00Z"})) == ["/taken_at"]


def test_nothing_of_where_it_was_taken_reaches_the_disk_or_the_answer(
    app: Service, furnished: Caller, files: Files
) -> None:
    content = jpeg(drawn(300, 200), exif=notes(6), comment=b"DoNotKeep")
    row = sent(furnished, content)
    answers = [
        furnished.get(f"{LISTED}/{row['id']}{part}").get_data()
        for part in ("", "/file", "/thumbnail?size=1280")
    ]
    assert app.database.file is not None
    on_disk = [file.read_bytes() for file in app.database.file.parent.rglob("*") if file.is_file()]
    for trace in TRACES:
        assert not any(trace in told for told in [*answers, *on_disk])
    assert (row["width"], row["height"]) == (200, 300)
