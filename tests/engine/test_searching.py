"""Words read out of any text, questions that can't be wrong, weights held to SQLite's own bm25(), and snippets."""

from __future__ import annotations

import sqlite3
import unicodedata
from contextlib import closing

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from weirbook.engine.searching import (
    PICTURES,
    SHOWN_WORDS,
    TERMS_CAP,
    TITLE_WEIGHT,
    WORD_CAP,
    Term,
    read_question,
    relevance,
    snippet,
    spaced,
    spans_of,
    words_of,
)

ANY = st.text(max_size=80)
PLAIN = st.text('ab c-"é', max_size=30)


def said(question: str) -> tuple[list[str], list[str]]:
    read = read_question(question)
    return [one.text() for one in read.wanted], [one.text() for one in read.unwanted]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Moss, tied to WOOD!", ["moss", "tied", "to", "wood"]),
        ("Crème brûlée", ["creme", "brulee"]),
        ("e\u0301tang \u00e9tang", ["etang", "etang"]),  # the accent apart, and as one with its letter
        ("Straße, ΣΊΣΥΦΟΣ", ["strasse", "σισυφοσ"]),  # Unicode: full case folding of sharp s and final sigma
        ("pH-7 at 24.5 °C", ["ph", "7", "at", "24", "5", "c"]),
        ("\ufb01lter fil\u00adter", ["filter", "filter"]),  # a ligature, a soft hyphen
        ("水草の水", ["水", "草", "の", "水"]),
        ("fry 🐟🐟", ["fry", "🐟", "🐟"]),
        ("", []),
        ("… — * \" ' : ( ) « » \x00", []),
    ],
)
def test_words_are_read_without_case_accents_and_punctuation(text: str, words: list[str]) -> None:
    assert words_of(text) == words


@given(ANY)
@example("a" * 500)
@example("é" * 500)
def test_words_hold_nothing_that_a_store_could_part_or_misread(text: str) -> None:
    for word in words_of(text):
        assert 0 < len(word) <= WORD_CAP
        for char in word:
            picture = any(first <= ord(char) <= last for first, last in PICTURES)
            assert picture or char.isalnum() or unicodedata.category(char) in ("Mn", "Mc")
            assert not char.isspace()


@given(ANY)
def test_folding_what_is_folded_changes_nothing(text: str) -> None:
    words = words_of(text)
    assert words_of(" ".join(words)) == words


@given(ANY)
def test_the_places_of_words_are_those_of_the_words(text: str) -> None:
    spans = list(spans_of(text))
    assert [word for word, _, _ in spans] == words_of(text)
    for word, start, end in spans:
        assert 0 <= start < end <= len(text)
        assert word in " ".join(words_of(text[start:end])) or len(word) == WORD_CAP
    assert [start for _, start, _ in spans] == sorted(start for _, start, _ in spans)


@given(ANY, ANY)
def test_words_apart_are_read_as_each_by_itself(one: str, other: str) -> None:
    assert words_of(f"{one} {other}") == words_of(one) + words_of(other)


@pytest.mark.parametrize(
    ("question", "wanted", "unwanted"),
    [
        ("moss", ["moss…"], []),
        ("Moss on wood", ["moss", "on", "wood…"], []),
        ('"on wood" moss', ['"on wood"', "moss…"], []),
        ('moss "on wood"', ["moss", '"on wood"'], []),
        ("moss -stone", ["moss…"], ["stone"]),
        ('moss -"on stone" ti', ["moss", "ti…"], ['"on stone"']),
        ("-stone", [], ["stone"]),
        ("pH-7", ['"ph 7"'], []),
        ("co-operative", ['"co operative…"'], []),
        ("“on wood” x", ['"on wood"', "x"], []),
        ("moss moss moss", ["moss", "moss…"], []),
        ("a AND b OR c NOT d NEAR(e, 5)", ["a", "and", "b", "or", "c", "not", "d", '"near e"', "5"], []),
        ('unbalanced "quote here', ["unbalanced", "quote", "here…"], []),
        ('title:moss* ^x {a b}:c "', ['"title moss"', "x", "a", '"b c"'], []),
        ("* - -- \" '", [], []),
        ("水草", ['"水 草"'], []),
    ],
)
def test_a_question_is_read_in_plain_words(question: str, wanted: list[str], unwanted: list[str]) -> None:
    assert said(question) == (wanted, unwanted)


def test_words_beyond_those_that_count_are_counted() -> None:
    read = read_question(" ".join(f"w{number}" for number in range(TERMS_CAP + 7)))
    assert (len(read.wanted), read.ignored) == (TERMS_CAP, 7)
    assert not any(term.begins for term in read.wanted)
    long = read_question('"' + " ".join(f"w{number}" for number in range(TERMS_CAP + 5)) + '"')
    assert (len(long.wanted[0].words), long.ignored) == (TERMS_CAP, 5)


@given(st.text(max_size=200))
def test_no_question_is_wrong(text: str) -> None:
    read = read_question(text)
    assert len(read.wanted) + len(read.unwanted) <= TERMS_CAP
    heard = [word for term in (*read.wanted, *read.unwanted) for word in term.words]
    assert set(heard) <= set(words_of(text.translate(dict.fromkeys(map(ord, "“”„‟«»＂"), " "))))
    assert all(term.words for term in (*read.wanted, *read.unwanted))


def padded(text: str) -> str:
    return spaced(text.split())


WORD = st.sampled_from(["moss", "mossy", "wood", "stone"])
RECORD = st.tuples(st.lists(WORD, max_size=3), st.lists(WORD, min_size=1, max_size=12))


@given(st.lists(RECORD, min_size=2, max_size=8))
def test_one_word_is_weighed_as_sqlites_own_bm25_does(records: list[tuple[list[str], list[str]]]) -> None:
    """SQLite multiplies by how rare the word is, the same for all records, and turns the sign."""
    texts = [(" ".join(title), " ".join(body)) for title, body in records]
    with closing(sqlite3.connect(":memory:")) as store:
        store.execute("CREATE VIRTUAL TABLE t USING fts5(title, body, tokenize='ascii')")
        store.executemany("INSERT INTO t VALUES (?, ?)", texts)
        theirs = dict(
            store.execute(
                f"SELECT rowid, -bm25(t, {TITLE_WEIGHT}, 1.0) FROM t WHERE t MATCH 'moss'"
            ).fetchall()
        )
    mean = sum(len(title) + len(body) for title, body in records) / len(records)
    wanted = (Term(("moss",)),)
    ours = {
        number: relevance(padded(title), padded(body), wanted, mean)
        for number, (title, body) in enumerate(texts, 1)
    }
    assert {number for number, weight in ours.items() if weight} == set(theirs)
    if theirs:
        factor = theirs[min(theirs)] / ours[min(theirs)]
        assert factor > 0
        for number, weight in theirs.items():
            assert weight == pytest.approx(factor * ours[number], rel=1e-9)


def test_what_weighs_more() -> None:
    def weight(title: str, body: str, *terms: Term) -> float:
        return relevance(padded(title), padded(body), terms, 6)

    moss, begins = Term(("moss",)), Term(("moss",), begins=True)
    assert weight("moss", "fern", moss) > weight("fern", "moss", moss)
    assert weight("", "moss and moss", moss) > weight("", "moss and fern", moss)
    assert weight("", "moss", moss) > weight("", "moss among very many other words here", moss)
    assert weight("", "moss", begins) > weight("", "mosses", begins) > weight("", "fern", begins) == 0
    assert (
        weight("", "tied on wood", Term(("on", "wood")))
        > weight("", "wood tied on", Term(("on", "wood")))
        == 0
    )
    assert weight("", "moss moss fern", moss) == weight("", "moss fern moss", moss)


def test_a_snippet_shows_where_most_of_the_words_stand() -> None:
    far = "water " * 100 + "the Moss held on WOOD all winter " + "water " * 100
    shown, most = snippet(far, read_question("moss wood").wanted)
    assert most == 2
    assert "the «Moss» held on «WOOD» all winter" in shown
    assert shown.startswith("…water") and shown.endswith("water…")
    assert len(words_of(shown)) == SHOWN_WORDS


@pytest.mark.parametrize(
    ("text", "question", "shown"),
    [
        ("Moss on wood.", "moss", "«Moss» on wood."),
        ("Mosses here", "moss", "«Mosses» here"),
        ("Mosses here", '"moss"', "Mosses here"),
        ("tied on wood, not wood", '"on wood"', "tied «on wood», not wood"),
        ("Crème 24 °C", "creme", "«Crème» 24 °C"),
        ("cre\u0300me", "creme", "«cre\u0300me»"),
        ("a «mark» <b>", "mark", "a ‹«mark»› <b>"),
        ("two\n\nlines  here", "lines", "two «lines» here"),
        ("水草", "草", "水«草»"),
        ("", "x", ""),
        ("...", "x", ""),
        ("(moss)", "nothing", "(moss)"),
    ],
)
def test_a_snippet_marks_what_was_found(text: str, question: str, shown: str) -> None:
    assert snippet(text, read_question(question).wanted)[0] == shown


@given(st.text("ab é\n«»-", max_size=300), PLAIN)
def test_a_snippet_is_the_text_but_for_its_marks(text: str, question: str) -> None:
    shown, count = snippet(text, read_question(question).wanted)
    bare = shown.replace("«", "").replace("»", "").strip("…")
    assert " ".join(bare.split()) in " ".join(text.replace("«", "‹").replace("»", "›").split())
    assert shown.count("«") == shown.count("»")
    assert (count > 0) == ("«" in shown)
