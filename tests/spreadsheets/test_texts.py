"""Encodings are told apart by what the Unicode Standard fixes (marks, UTF-8's pattern) and Python's codecs as the other side."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.errors import Malformed
from weirbook.spreadsheets.texts import ENCODINGS, decoded

TABLE = "tank;wort\r\nGröße;Äschen, 24 °C\r\n"


@pytest.mark.parametrize(
    ("body", "encoding"),
    [
        (TABLE.encode(), "utf-8"),
        (b"\xef\xbb\xbf" + TABLE.encode(), "utf-8"),
        (b"\xff\xfe" + TABLE.encode("utf-16-le"), "utf-16-le"),
        (b"\xfe\xff" + TABLE.encode("utf-16-be"), "utf-16-be"),
        (TABLE.encode("utf-16-le"), "utf-16-le"),
        (TABLE.encode("utf-16-be"), "utf-16-be"),
        (TABLE.encode("cp1252"), "windows-1252"),
    ],
)
def test_an_encoding_is_recognised_and_said(body, encoding):
    found = decoded(body)
    assert (found.text, found.encoding) == (TABLE, encoding)
    assert found.why != "told"
    assert found.words == ("Größe", "Äschen", "°C")


@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0\ufeff"), min_size=1))
def test_any_text_in_utf_8_is_read_as_it_was(text):
    if text.strip(" \t\r\n"):
        body = ("a," + text).encode()
        assert decoded(body).text == "a," + text
        assert decoded(b"\xef\xbb\xbf" + body).text == "a," + text


@pytest.mark.parametrize("name", ENCODINGS)
def test_an_encoding_that_is_told_is_taken(name):
    text = "a;b\r\nwarm;24\r\n"
    found = decoded(text.encode(ENCODINGS[name]), name)
    assert found.text == text
    assert found.why == "told"


def test_a_letter_of_one_byte_is_read_by_the_alphabet_told():
    """ISO 8859-15 and Windows-1250 put other letters at A4 and B3 than Windows-1252."""
    assert decoded(b"a\r\n\xa4\xb3", "iso-8859-15").text == "a\r\n€³"
    assert decoded(b"a\r\n\xa4\xb3", "windows-1250").text == "a\r\n¤ł"


@pytest.mark.parametrize(
    ("body", "message"),
    [
        (b"", "empty"),
        (b"\r\n \t\r\n", "empty"),
        (b"\xef\xbb\xbf\r\n", "empty"),
        (b"PK\x03\x04...", "workbook.*Save the table as CSV"),
        (b"\xd0\xcf\x11\xe0...", "workbook"),
        (b"\xff\xfe\x00\x00a\x00\x00\x00", "UTF-32"),
        (b"a,b\r\n1,x\x00y\r\n" + b"words" * 50, "Line 2: .*NUL"),
        ("a\nGröße\nMüller\n".encode() + b"K\xe4se\n", "Line 4: the file is UTF-8 up to here"),
        (b"a\nx\n\x81\x8d\n", r"Line 3: the file can't be read as windows-1252"),
        (b"\xff\xfe" + "a".encode("utf-16-le") + b"b", "can't be read as utf-16-le"),
    ],
)
def test_a_file_that_is_none_is_refused_with_what_to_do(body, message):
    with pytest.raises(Malformed, match=re.compile(message, re.DOTALL)):
        decoded(body)


def test_a_mark_that_contradicts_what_was_told_is_said():
    with pytest.raises(Malformed, match="mark of utf-8, not of windows-1252"):
        decoded(b"\xef\xbb\xbfa,b\n", "windows-1252")


def test_a_told_encoding_that_does_not_fit_is_refused_with_its_line():
    with pytest.raises(Malformed, match="Line 2: the file can't be read as utf-8"):
        decoded(b"a\nK\xe4se\n", "utf-8")


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_a_mark_shows_also_where_letters_are_not_latin(encoding):
    """Three of ten characters have no zero byte."""
    assert decoded("бак;24,5\r\n".encode(encoding)).encoding == encoding
