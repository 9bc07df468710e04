"""Words as search knows them: read out of any text, asked for in plain language, weighed and shown where found.

The same folding feeds every store, so that all of them find the same.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

WORD_CAP = 64
"""Characters of one word that count."""
WORDS_CAP = 16_000
"""Words of one text that count: PostgreSQL tells positions apart up to 16,383."""
TERMS_CAP = 32
"""Words and phrases of one question that count, and words of one phrase."""
SHORTEST_BEGINNING = 2
"""From how many characters on the last word also stands for longer ones: nearly everything begins with some letter."""
TITLE_WEIGHT = 10.0
"""What a word in a name or title counts, against one in the text. Our own choice."""
BEGINNING_WEIGHT = 0.5
"""What a word counts that only begins as the one sought. Our own choice."""
K1, B = 1.2, 0.75
"""How soon more of the same word counts no more, and how much longer texts are held back: the usual values."""
SHOWN_WORDS = 28
"""Words around a find that are shown."""
FINDS_CAP = 200
"""Finds in one text among which the part to show is chosen."""
BREAK = "\u00b6"
"""Stands between two fields of a record, so that no phrase reaches from one into the next; no word contains it."""

UNSPACED = ((0x2E80, 0x312F), (0x31A0, 0x9FFF), (0xF900, 0xFAFF), (0x20000, 0x3FFFF))
"""Han and kana. Each character is taken as a word, and those in a row as words in a row."""
PICTURES = ((0x2600, 0x27BF), (0x1F000, 0x1FAFF))

_ASCII = re.compile(r"[a-z0-9]+")
_QUOTES = str.maketrans(dict.fromkeys("“”„‟«»＂", '"'))
_PART = re.compile(r'(-?)"([^"]*)"|(\S+)')
_MARKS = str.maketrans("«»", "‹›")


@dataclass(frozen=True)
class Term:
    """One word, or several in a row; of the last also the beginning of a longer one, where `begins`."""

    words: tuple[str, ...]
    begins: bool = False

    def text(self) -> str:
        """As a person reads it."""
        said = " ".join(self.words) + ("…" if self.begins else "")
        return f'"{said}"' if len(self.words) > 1 else said


@dataclass(frozen=True)
class Question:
    """What must all be there, what must not, and how many words came too late to count."""

    wanted: tuple[Term, ...]
    unwanted: tuple[Term, ...]
    ignored: int = 0


def words_of(text: str) -> list[str]:
    """The words of a text as they are compared: without case, accents and punctuation."""
    if text.isascii():
        return [word[:WORD_CAP] for word in _ASCII.findall(text.lower())]
    return [word[:WORD_CAP] for word in "".join(map(_folded, text)).split()]


@lru_cache(maxsize=8192)
def _folded(char: str) -> str:
    """What a character gives to a word; a space where it parts words, nothing where it is passed over."""
    found = []
    for one in unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", char).casefold()):
        kind = unicodedata.category(one)
        if unicodedata.combining(one) or kind == "Cf" or 0xFE00 <= ord(one) <= 0xFE0F:
            continue
        if _is_a_word_alone(one):
            found.append(f" {one} ")
        else:
            found.append(one if one.isalnum() or kind in ("Mn", "Mc") else " ")
    return "".join(found)


def _is_a_word_alone(char: str) -> bool:
    """Characters of scripts that put no space between words, and pictures."""
    spans, number = (UNSPACED if char.isalnum() else PICTURES), ord(char)
    return any(first <= number <= last for first, last in spans)


def spans_of(text: str) -> Iterator[tuple[str, int, int]]:
    """The words of a text with where each begins and ends in it."""
    if text.isascii():
        for found in _ASCII.finditer(text.lower()):
            yield found[0][:WORD_CAP], found.start(), found.end()
        return
    word, start, end = "", 0, 0
    for index, char in enumerate(text):
        folded = _folded(char)
        if not folded and word:
            end = index + 1  # an accent that stands apart belongs to the letter before it
        for one in folded:
            if one != " ":
                word, start, end = word + one, start if word else index, index + 1
            elif word:
                yield word[:WORD_CAP], start, end
                word = ""
    if word:
        yield word[:WORD_CAP], start, end


def read_question(text: str) -> Question:
    """A question in plain words: all of them must be there, "these in a row", not -this; the last may go on.

    Everything else is text: there is no way to write it wrongly.
    """
    wanted: dict[Term, None] = {}
    unwanted: dict[Term, None] = {}
    ignored = 0
    parts = list(_parts(text))
    last = max((at for at, (_, refuses, _) in enumerate(parts) if not refuses), default=None)
    for at, (words, refuses, quoted) in enumerate(parts):
        if len(wanted) + len(unwanted) >= TERMS_CAP:
            ignored += len(words)
            continue
        ignored += max(0, len(words) - TERMS_CAP)
        whole = quoted or at != last or len(words) > TERMS_CAP or len(words[-1]) < SHORTEST_BEGINNING
        (unwanted if refuses else wanted)[Term(tuple(words[:TERMS_CAP]), not whole)] = None
    return Question(tuple(wanted), tuple(unwanted), ignored)


def _parts(text: str) -> Iterator[tuple[list[str], bool, bool]]:
    """What stands between the spaces or quotes of a question: its words, whether they are refused, whether quoted."""
    for part in _PART.finditer(text.translate(_QUOTES)):
        dash, quoted, bare = part.groups()
        if words := words_of(quoted if bare is None else bare):
            yield words, bool(dash) if bare is None else bare.startswith("-"), bare is None


def spaced(words: Iterable[str]) -> str:
    """Words with a space before and behind each, so that whole words and words in a row are counted by their text."""
    return "".join(f" {word} " for word in words)


def length_of(*texts: str) -> int:
    """How many words spaced texts hold."""
    return sum(text.count(" ") for text in texts) // 2


def relevance(title: str, body: str, wanted: Iterable[Term], mean_length: float) -> float:
    """How well a record answers. `title` and `body` are spaced words.

    Equation: the sum over the terms of f (k1 + 1) / (f + k1 (1 - b + b length / mean_length)), f counting a
    term in the title ten times.
    Shapes and units: none; lengths in words.
    Valid for: comparing answers to one question.
    Source: Robertson and Zaragoza (2009), The Probabilistic Relevance Framework: BM25 and Beyond, section 3,
    with weights of fields as in 3.6.
    Not covered: how rare a term is. All answers hold all terms, and counting a common one takes long.
    """
    held_back = K1 * (1 - B + B * length_of(title, body) / mean_length)
    total = 0.0
    for term in wanted:
        found = TITLE_WEIGHT * _times(term, title) + _times(term, body)
        total += found * (K1 + 1) / (found + held_back)
    return total


def _times(term: Term, text: str) -> float:
    sought = " " + "  ".join(term.words)
    exact = text.count(f"{sought} ")
    if not term.begins:
        return exact
    return exact + BEGINNING_WEIGHT * (text.count(sought) - exact)


def snippet(text: str, wanted: Sequence[Term]) -> tuple[str, int]:
    """The part of a text where most of the terms stand, each find between « and », and how many terms stand in it.

    The text's own « and » become ‹ and ›.
    """
    spans = list(spans_of(text))
    finds = _finds([word for word, _, _ in spans], wanted)[:FINDS_CAP]
    first = _best_start(finds, len(spans))
    last = min(first + SHOWN_WORDS, len(spans))
    if not spans:
        return "", 0
    start = 0 if first == 0 else spans[first][1]
    end = len(text) if last == len(spans) else spans[last - 1][2]
    pieces, at = ["" if first == 0 else "…"], start
    marked = _merged([(spans[a][1], spans[b - 1][2]) for _, a, b in finds if first <= a and b <= last])
    for begin, stop in marked:
        pieces += [text[at:begin].translate(_MARKS), "«", text[begin:stop].translate(_MARKS), "»"]
        at = stop
    pieces += [text[at:end].translate(_MARKS), "" if last == len(spans) else "…"]
    return " ".join("".join(pieces).split()), len({term for term, a, b in finds if first <= a and b <= last})


def _finds(words: Sequence[str], wanted: Sequence[Term]) -> list[tuple[int, int, int]]:
    """Which term stands where: its number, its first word, one past its last."""
    found = []
    for number, term in enumerate(wanted):
        head, size = term.words[0], len(term.words)
        alone = term.begins and size == 1
        for at, word in enumerate(words):
            if word != head and not (alone and word.startswith(head)):
                continue
            there = tuple(words[at : at + size])
            if there == term.words or (
                term.begins
                and len(there) == size
                and there[:-1] == term.words[:-1]
                and there[-1].startswith(term.words[-1])
            ):
                found.append((number, at, at + size))
    return sorted(found, key=lambda one: one[1])


def _best_start(finds: Sequence[tuple[int, int, int]], size: int) -> int:
    """The first word to show: a few before the find around which most different terms stand."""
    best, most = 0, 0
    for _, at, _ in finds:
        start = max(0, min(at - SHOWN_WORDS // 4, size - SHOWN_WORDS))
        count = len({number for number, a, b in finds if start <= a and b <= start + SHOWN_WORDS})
        if count > most:
            best, most = start, count
    return best


def _merged(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if found and start < found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((start, end))
    return found
