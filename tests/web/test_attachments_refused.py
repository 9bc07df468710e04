"""Uploads that are refused, and leave nothing behind. What content is refused: tests/actions/test_receive_file_refused.py."""

from __future__ import annotations

import errno
import gzip
import os
from collections.abc import Iterator

import pytest
from harness import Caller, pointers
from pictures import jpeg, png

from weirbook.app import Service
from weirbook.record.media import decoding
from weirbook.record.media.kinds import KINDS

LISTED = "/v1/attachments"


@pytest.fixture(autouse=True)
def nothing_stays(app: Service, furnished: Caller) -> Iterator[None]:
    """No test here stores anything."""
    yield
    assert furnished.get(LISTED).get_json()["items"] == []
    assert app.database.files is not None
    assert [one for one in app.database.files.root.rglob("*") if one.is_file()] == []


def refused(caller: Caller, content: bytes, media: str, status: int = 422, **said: str) -> str:
    answered = caller("POST", LISTED, content, Content_Type=media, **said)
    assert answered.status_code == status, answered.get_data(as_text=True)
    assert answered.content_type == "application/problem+json"
    return str(answered.get_json()["detail"])


@pytest.mark.parametrize(
    "media", ["", "text/html", "image/svg+xml", "application/json", "image/gif", "multipart/form-data"]
)
def test_other_content_types_are_not_taken(furnished: Caller, media: str) -> None:
    words = refused(furnished, jpeg(), media, 415)
    assert "image/jpeg, image/png, image/webp, application/pdf" in words


@pytest.mark.parametrize("media", KINDS)
def test_an_empty_body_is_refused(furnished: Caller, media: str) -> None:
    assert "empty" in refused(furnished, b"", media, 400)


def test_what_is_over_the_cap_is_refused_by_its_length_alone_or_as_it_comes(
    furnished: Caller, app: Service
) -> None:
    cap = app.settings.file_cap
    assert cap == 20 * 1024 * 1024
    answered = furnished.client.open(
        LISTED,
        method="POST",
        data=jpeg(),
        headers={"Authorization": f"Bearer {furnished.secret}", "Content-Type": "image/jpeg"},
        environ_overrides={"CONTENT_LENGTH": str(cap + 1)},
    )
    assert answered.status_code == 413
    assert "longer than the 20 MB" in answered.get_json()["detail"]


def test_what_unpacks_beyond_the_cap_is_refused(furnished: Caller, app: Service) -> None:
    packed = gzip.compress(jpeg() + b"\x00" * app.settings.file_cap)
    assert len(packed) < 100_000
    refused(furnished, packed, "image/jpeg", 413, Content_Encoding="gzip")


def test_pictures_longer_than_other_bodies_are_taken(furnished: Caller, app: Service) -> None:
    """Up to the check of its content: this one is none."""
    assert app.settings.body_cap < app.settings.file_cap
    content = b"\xff\xd8\xff" + b"\x00" * (app.settings.body_cap + 1000)
    assert "breaks off" in refused(furnished, content, "image/jpeg")


def test_where_there_is_no_folder_for_files_it_is_said(app: Service, furnished: Caller) -> None:
    files, app.database.files = app.database.files, None
    words = refused(furnished, jpeg(), "image/jpeg", 503)
    app.database.files = files
    assert "WEIRBOOK_FILES" in words


def test_a_full_or_read_only_disk_is_said(
    app: Service, furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("weirbook.record.files.os.fsync", full)
    assert "disk for files is full" in refused(furnished, jpeg(), "image/jpeg", 503)


def test_too_many_pictures_at_once_are_told_to_come_again(furnished: Caller) -> None:
    taken = [decoding._places.acquire(blocking=False) for _ in range(decoding.WAITING + 1)]
    try:
        assert all(taken)
        assert "again shortly" in refused(furnished, jpeg(), "image/jpeg", 503)
    finally:
        for _ in taken:
            decoding._places.release()


def test_content_of_another_kind_than_it_says_is_refused_at_the_whole_body(furnished: Caller) -> None:
    assert refused(furnished, png(), "image/jpeg") == (
        "This is a PNG, not a JPEG: send it as Content-Type image/png."
    )
    answered = furnished(
        "PUT", f"{LISTED}/01936c5e-8f00-7000-8000-00000000aaaa", png(), Content_Type="image/jpeg"
    )
    assert pointers(answered) == [""]
