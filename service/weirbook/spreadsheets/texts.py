"""The bytes of a file to its text, in the encoding that they show or that was told."""

from __future__ import annotations

import re
from dataclasses import dataclass

from weirbook.errors import Malformed

ENCODINGS = {
    "utf-8": "utf-8",
    "utf-16": "utf-16",
    "utf-16-le": "utf-16-le",
    "utf-16-be": "utf-16-be",
    "windows-1252": "cp1252",
    "iso-8859-1": "latin-1",
    "iso-8859-15": "iso8859-15",
    "windows-1250": "cp1250",
    "windows-1251": "cp1251",
    "cp850": "cp850",
    "macintosh": "mac-roman",
}
"""The encodings that can be told, by the name they are told by, and Python's name for each."""

_MARKS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))
"""Byte-order marks. Source: the Unicode Standard, table 2-4."""
_UTF_32_MARKS = (b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")
_OTHER_FILES = {
    b"PK\x03\x04": "a workbook or another packed file",
    b"\xd0\xcf\x11\xe0": "an old workbook",
    b"%PDF": "a PDF",
    b"\x1f\x8b": "a gzip file that does not say so (Content-Encoding: gzip)",
}
_UTF_8_LETTER = re.compile(rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}|[\xf0-\xf4][\x80-\xbf]{3}")
_HIGH = re.compile(rb"[\x80-\xff]")
_UNUSUAL = re.compile(r"[^\x00-\x7f]")
_BESIDE = re.compile(r"[\s;,\"]")
_LINE_END = re.compile(r"\r\n|\r|\n")
_BYTE_LINE_END = re.compile(rb"\r\n|\r|\n")
SAMPLE = 8192
WORDS_SHOWN = 5
LETTERS_BESIDE = 20


@dataclass(frozen=True)
class Decoded:
    """A text, the encoding it was in, why that was taken, and some words beyond ASCII to check it by eye."""

    text: str
    encoding: str
    why: str
    words: tuple[str, ...]


def decoded(body: bytes, told: str | None = None) -> Decoded:
    """The text of a file, its byte-order mark dropped.

    Told nothing, the mark decides; without one two bytes a character (UTF-16) show by their zeros, UTF-8 by its
    pattern, and what is neither is taken for Windows-1252, of which ISO 8859-1 is a part as far as text goes.
    Raises Malformed, saying what to do, for an empty file, another kind of file, an encoding that can't be
    recognised or is contradicted, and NUL.
    """
    if not body.strip(b" \t\r\n"):
        raise Malformed("The file is empty. Its first line must name the columns.")
    for start, words in _OTHER_FILES.items():
        if body.startswith(start):
            raise Malformed(f"This is {words}, not CSV. Save the table as CSV and send that.")
    encoding, why = _recognised(body) if told is None else _as_told(body, told)
    text = _decode(body, encoding).removeprefix("\ufeff")
    if not text.strip():
        raise Malformed("The file is empty. Its first line must name the columns.")
    if "\0" in text:
        line = len(_LINE_END.findall(text, 0, text.index("\0"))) + 1
        raise Malformed(f"Line {line}: there is a NUL character in it. Save the table as CSV in UTF-8.")
    return Decoded(text, encoding, why, _words(text))


def _recognised(body: bytes) -> tuple[str, str]:
    if body.startswith(_UTF_32_MARKS):
        raise Malformed("The file is UTF-32. Save it as CSV in UTF-8.")
    if (marked := _marked(body)) is not None:
        return marked, "it begins with the byte-order mark"
    if (wide := _wide(body)) is not None:
        return wide, "every other byte is zero"
    try:
        body.decode("utf-8")
    except UnicodeDecodeError as trouble:
        _refuse_mixed(body, trouble.start)
        return (
            "windows-1252",
            "it is not UTF-8; one byte a letter does not tell which alphabet: check the words",
        )
    return "utf-8", "it can be read as UTF-8"


def _marked(body: bytes) -> str | None:
    return next((name for mark, name in _MARKS if body.startswith(mark)), None)


def _wide(body: bytes) -> str | None:
    """UTF-16 without a mark: in most scripts' tables nearly every second byte of separators and digits is zero."""
    sample = body[: SAMPLE // 2 * 2]
    half = max(1, len(sample) // 2)
    even, odd = sample[0::2].count(0) / half, sample[1::2].count(0) / half
    if odd > 0.3 and even < 0.05:
        return "utf-16-le"
    return "utf-16-be" if even > 0.3 and odd < 0.05 else None


def _refuse_mixed(body: bytes, first_bad: int) -> None:
    """Raise Malformed for what is mostly UTF-8: read as anything else its other letters would be garbled."""
    letters = _UTF_8_LETTER.findall(body)
    strange = len(_HIGH.findall(body)) - sum(map(len, letters))
    if len(letters) > strange:
        line = len(_BYTE_LINE_END.findall(body, 0, first_bad)) + 1
        raise Malformed(
            f"Line {line}: the file is UTF-8 up to here, and this line is not. Save it in one encoding, or say which "
            f"with encoding=: {', '.join(ENCODINGS)}."
        )


def _as_told(body: bytes, told: str) -> tuple[str, str]:
    marked = _marked(body)
    if told == "utf-16":
        return marked or _wide(body) or "utf-16-le", "told"
    if marked is not None and marked != told:
        raise Malformed(f"The file begins with the mark of {marked}, not of {told}. Leave encoding out.")
    return told, "told"


def _decode(body: bytes, encoding: str) -> str:
    try:
        return body.decode(ENCODINGS[encoding])
    except UnicodeDecodeError as trouble:
        line = len(_BYTE_LINE_END.findall(body, 0, trouble.start)) + 1
        raise Malformed(
            f"Line {line}: the file can't be read as {encoding}. Save it as CSV in UTF-8, or say its encoding with "
            f"encoding=: {', '.join(ENCODINGS)}."
        ) from None


def _words(text: str) -> tuple[str, ...]:
    """The first words with letters beyond ASCII; of long ones a piece, so that no cell is searched twice."""
    found: dict[str, None] = {}
    place = 0
    while len(found) < WORDS_SHOWN and (match := _UNUSUAL.search(text, place)):
        before = _BESIDE.split(text[max(0, match.start() - LETTERS_BESIDE) : match.start()])[-1]
        after = _BESIDE.split(text[match.start() : match.end() + LETTERS_BESIDE])[0]
        found[before + after] = None
        place = match.start() + max(1, len(after))
    return tuple(word for word in found if word)
