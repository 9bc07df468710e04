"""Numbers as people write them: which sign is the decimal one, by the evidence of whole columns.

"24,5" can only be a decimal comma and "1.234,5" too; "1,234" may be a thousand or a little over one, so that it alone
decides nothing. A wrong guess would be out by a thousand: what stays open is asked back.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from weirbook.errors import Fault, Invalid

POINT, COMMA = "point", "comma"
SIGNS = {POINT: ".", COMMA: ","}
_OTHER = {POINT: COMMA, COMMA: POINT}
LINES_NAMED = 5
LONGEST = 120
"""Characters of a cell that is read as a number; more are words."""

_GROUP_MARKS = "'’ \u00a0\u2009\u202f"
_NUMERAL = re.compile(
    rf"(?<![\w.,])[.,]?[0-9]+(?:[.,][0-9]+|['’][0-9]+|[{_GROUP_MARKS}][0-9]{{3}}(?![0-9]))*(?![0-9])"
)
_PLAIN = re.compile(r"[<>]?[+-]?[0-9]+")
_POINTED = re.compile(r"[<>]?[+-]?[0-9]{1,15}(?:\.[0-9]{1,20})?")
_GROUPED = {mark: re.compile(rf"[0-9]{{1,3}}(?:{re.escape(mark)}[0-9]{{3}})+") for mark in ".,"}
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-"})


@dataclass(frozen=True)
class DecimalSign:
    """The decimal sign of a column, and why it was taken; None where no number in it has a sign at all."""

    sign: str | None
    why: str


@dataclass
class _Evidence:
    """The lines on which a column's numbers can have but one decimal sign, and those where either is possible."""

    certain: dict[str, list[int]] = field(default_factory=lambda: {POINT: [], COMMA: []})
    open: list[int] = field(default_factory=list)
    commas: int = 0
    points: int = 0


def decimal_signs(
    columns: Mapping[str, Sequence[tuple[int, str]]], separator: str, told: str | None = None
) -> Mapping[str, DecimalSign]:
    """The decimal sign of each column, given its cells with their lines.

    By what the column itself can only mean; else by what the other columns mean; else by the separator: a file parted by
    commas has points where no comma is in its numbers, one parted by semicolons commas where no point is.
    Raises Invalid, naming lines, for a column that contradicts itself and for one that stays open.
    """
    if told is not None:
        return {name: DecimalSign(told, "told") for name in columns}
    found = {name: _evidence(cells) for name, cells in columns.items()}
    for name, one in found.items():
        if one.certain[POINT] and one.certain[COMMA]:
            raise Invalid(_contradiction(name, one), faults=[Fault("/decimal", _contradiction(name, one))])
    elsewhere = {sign for one in found.values() for sign in SIGNS if one.certain[sign]}
    return {name: _decided(name, one, elsewhere, separator, found.values()) for name, one in found.items()}


def _evidence(cells: Iterable[tuple[int, str]]) -> _Evidence:
    evidence = _Evidence()
    for line, text in cells:
        if not text or len(text) > LONGEST or _PLAIN.fullmatch(text):
            continue
        for part in text.split(".."):
            for match in _NUMERAL.finditer(part):
                signs = _possible(match.group())
                if not signs:
                    continue
                evidence.commas += "," in match.group()
                evidence.points += "." in match.group()
                if len(signs) == 1:
                    evidence.certain[signs[0]].append(line)
                else:
                    evidence.open.append(line)
    return evidence


@lru_cache(maxsize=4096)
def _possible(numeral: str) -> tuple[str, ...]:
    """The decimal signs that a numeral can be written with: none where it has no sign or makes no sense."""
    bare = re.sub(rf"[{_GROUP_MARKS}]", "", numeral)
    commas, points = bare.count(","), bare.count(".")
    if not commas and not points:
        return ()
    if commas and points:
        last = COMMA if bare.rindex(",") > bare.rindex(".") else POINT
        whole, _, _ = bare.rpartition(SIGNS[last])
        return (last,) if _GROUPED[SIGNS[_OTHER[last]]].fullmatch(whole) else ()
    used = COMMA if commas else POINT
    if commas + points > 1:
        return (_OTHER[used],) if _GROUPED[SIGNS[used]].fullmatch(bare) else ()
    whole, _, rest = bare.partition(SIGNS[used])
    may_group = len(rest) == 3 and 1 <= len(whole) <= 3 and not whole.startswith("0")
    return (used, _OTHER[used]) if may_group else (used,)


def _decided(
    name: str, one: _Evidence, elsewhere: set[str], separator: str, all_columns: Iterable[_Evidence]
) -> DecimalSign:
    for sign in SIGNS:
        if one.certain[sign]:
            return DecimalSign(sign, f"line {one.certain[sign][0]} can be read no other way")
    if not one.open:
        return DecimalSign(None, "its numbers have no decimal sign")
    if len(elsewhere) == 1:
        return DecimalSign(next(iter(elsewhere)), "as in the other columns")
    commas, points = sum(each.commas for each in all_columns), sum(each.points for each in all_columns)
    if not elsewhere and separator == "comma" and not commas:
        return DecimalSign(POINT, "commas part the columns and none is in a number")
    if not elsewhere and separator == "semicolon" and not points:
        return DecimalSign(
            COMMA, "semicolons part the columns, as where the comma is decimal, and no point is in a number"
        )
    message = (
        f"Column '{name}', {_lines(one.open)}: a number like 1,234 or 1.234 may be a thousand or a little over one, and "
        "nothing else in the file tells. Say decimal=comma or decimal=point."
    )
    raise Invalid(message, faults=[Fault("/decimal", message)])


def _contradiction(name: str, one: _Evidence) -> str:
    return (
        f"Column '{name}' has decimal commas ({_lines(one.certain[COMMA])}) and decimal points "
        f"({_lines(one.certain[POINT])}). Write them one way, or say decimal=comma or decimal=point: rows written the other "
        "way are then refused."
    )


def _lines(lines: Sequence[int]) -> str:
    unlike = list(dict.fromkeys(lines))
    named = ", ".join(map(str, unlike[:LINES_NAMED]))
    more = f" and {len(unlike) - LINES_NAMED} more" if len(unlike) > LINES_NAMED else ""
    return f"line {named}" if len(unlike) == 1 else f"lines {named}{more}"


def plain(text: str, sign: str | None) -> str:
    """A cell with its numbers as programs write them: no marks for thousands, a decimal point: "<1.234,5" as "<1234.5".

    Raises Invalid for a number that does not fit the sign.
    """
    if sign == POINT and _POINTED.fullmatch(text):
        return text
    text = text.strip().translate(_MINUS)
    if len(text) > LONGEST:
        raise Invalid(f"'{text[:40]}…' is no number.")
    if _PLAIN.fullmatch(text):
        return text
    spell: Callable[[re.Match[str]], str] = lambda match: _spelt(match.group(), sign)  # noqa: E731
    return "..".join(_NUMERAL.sub(spell, part) for part in text.split(".."))


def _spelt(numeral: str, sign: str | None) -> str:
    bare = re.sub(rf"[{_GROUP_MARKS}]", "", numeral)
    if "." not in bare and "," not in bare:
        return bare
    possible = _possible(numeral)
    if not possible:
        raise Invalid(f"'{numeral[:40]}' is not a number: its marks for thousands don't stand at thousands.")
    sign = sign or possible[0]
    if sign not in possible:
        raise Invalid(
            f"'{numeral[:40]}' has a decimal {_OTHER[sign]}, and this column a decimal {sign}. Write it like the others."
        )
    return bare.replace(SIGNS[_OTHER[sign]], "").replace(SIGNS[sign], ".")
