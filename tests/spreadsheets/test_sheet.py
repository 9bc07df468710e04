"""A stranger's CSV, held to RFC 4180's records (fixtures/published/csv_quoting.csv) and to our own CSV out."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.errors import Malformed, TooLarge
from weirbook.spreadsheets.sheet import Sheet, compared, read_sheet
from weirbook.tables import FORMULA_STARTS, to_csv

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"


def published(name: str) -> list[dict[str, str]]:
    with open(PUBLISHED / name, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def sheet(text: str, **said: str) -> Sheet:
    return read_sheet(text.encode(), most_rows=1000, **said)


def cells(text: str, **said: str) -> list[list[str]]:
    return [list(one.cells) for one in sheet(text, **said).records]


@pytest.mark.parametrize("case", published("csv_quoting.csv"), ids=lambda case: case["rule"])
def test_rfc_4180_records_are_read_as_they_were_meant(case):
    header, *rows = json.loads(case["records_json"])
    names = ",".join(f"c{place}" for place in range(len(header)))
    read = cells(f"{names}\r\n" + bytes.fromhex(case["expected_utf8_hex"]).decode())
    assert read == [row for row in (header, *rows) if any(cell.strip() for cell in row)]


@pytest.mark.parametrize("case", published("formula_injection.csv"), ids=lambda case: case["case_id"])
def test_a_cell_that_our_csv_guarded_comes_back_as_it_was(case):
    """All but fi22: a text that itself begins with an apostrophe and = is the same in CSV as a guarded one."""
    cell = bytes.fromhex(case["cell_utf8_hex"]).decode()
    if "\0" in cell:  # fi11: no file with NUL is taken
        with pytest.raises(Malformed, match="NUL"):
            cells(to_csv(["a", "b"], [[cell, "x"]]))
        return
    [[read, _]] = cells(to_csv(["a", "b"], [[cell, "x"]]))
    assert read == ("=1+1" if case["case_id"] == "fi22" else cell)


WORDS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0\ufeff"))


@given(st.lists(st.tuples(WORDS, WORDS)), st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]))
def test_what_our_csv_writes_is_read_back_as_it_was(rows, encoding):
    kept = [row for row in rows if any(cell.strip() for cell in row)]
    kept = [row for row in kept if not any(c[:1] == "'" and c[1:2] in FORMULA_STARTS for c in row)]
    body = to_csv(["first", "second"], kept).encode(encoding)
    read = read_sheet(body, most_rows=1000)
    assert [tuple(one.cells) for one in read.records] == kept
    assert read.separator == "comma"


@given(
    st.lists(st.lists(WORDS.filter(str.strip), min_size=3, max_size=3), min_size=1, max_size=5),
    st.sampled_from(["comma", "semicolon", "tab"]),
)
def test_whatever_the_cells_hold_the_right_separator_is_found(rows, name):
    separator = {"comma": ",", "semicolon": ";", "tab": "\t"}[name]
    lines = [["a", "b", "c"], *rows]
    text = "\r\n".join(separator.join('"' + cell.replace('"', '""') + '"' for cell in line) for line in lines)
    assert sheet(text).separator == name


@pytest.mark.parametrize(
    ("text", "separator", "why"),
    [
        ("a,b\n1,2\n", "comma", "parts the header"),
        ("a;b\n1,5;2\n", "semicolon", "parts the header"),
        ("a\tb\n1,5\t2;3\n", "tab", "parts the header"),
        ("a, old;b\n1,5;2\n3;4\n", "semicolon", "every row alike"),
        ("a; old,b\n1,2\n3,4\n", "comma", "every row alike"),
        ("sep=;\na,b;c\n1;2\n", "semicolon", "first line says"),
        ("words\nfed, little\n", "comma", "only one column"),
    ],
)
def test_the_separator_is_recognised_and_said(text, separator, why):
    found = sheet(text)
    assert found.separator == separator
    assert why in found.separator_why


def test_a_separator_that_stays_open_is_asked_for_and_can_be_told():
    text = "a,b;c\n1,2;3\n"
    with pytest.raises(Malformed, match=r"comma and semicolon may part.*separator="):
        sheet(text)
    assert cells(text, separator="semicolon") == [["1,2", "3"]]


def test_a_single_column_may_hold_commas_when_quoted_only():
    found = sheet("words\nfed, little\n")
    assert "2 cells" in found.records[0].fault


def test_lines_are_counted_through_quotes_blank_lines_and_a_first_line_that_says_the_separator():
    found = sheet('sep=,\r\na,b\r\n1,"two\r\nlines"\r\n\r\n,\r\n3,4\r\n')
    assert [one.line for one in found.records] == [3, 7]
    assert found.blank == 2


def test_a_ragged_row_spoils_no_other_and_spare_empty_cells_are_no_fault():
    found = sheet("a,b\n1,2\n3\n4,5,,\n6,7,8\n")
    assert [bool(one.fault) for one in found.records] == [False, True, False, True]
    assert "1 cell and the header has 2" in found.records[1].fault
    assert "in quotes" in found.records[3].fault


def test_names_are_compared_without_case_spaces_and_the_unit_in_brackets():
    found = sheet("Temperature (°C);HAPPENED AT;pH;Water-Level [cm]; ;x()\n1;2;3;4;5;6\n")
    assert [(one.name, one.unit) for one in found.headings] == [
        ("temperature", "°C"),
        ("happened_at", None),
        ("ph", None),
        ("water_level", "cm"),
        ("x()", None),
    ]
    assert [one.place for one in found.headings] == [0, 1, 2, 3, 5]
    assert found.nameless == 1
    assert compared(" Straße  Nord ") == "strasse_nord"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('a,b\n1,2\n3,"x\n4,5\n', "Line 3: a quote is opened in this row and never closed"),
        ('a,b\n1,"' + "x\n" * 80_000, "Line 2: a cell.*longer than 131072.*never closed"),
        ('a,b\n1,"x"y\n', "Line 2: the quotes can't be followed"),
        (",,\n,,\n", "empty"),
        (",".join("x" * 201) + "\n", "at most 200"),
        ("a" + " " * 100_000 + "b,c\n", "each in at most 200 characters"),
    ],
)
def test_what_can_not_be_read_is_refused_with_its_line(text, message):
    with pytest.raises(Malformed, match=message):
        sheet(text)


def test_a_cell_of_ten_megabytes_is_refused():
    with pytest.raises(Malformed, match=r"Line 2: .*longer"):
        sheet("a,b\n1," + "x" * 10_000_000 + "\n")


def test_more_rows_than_the_cap_are_refused():
    assert len(sheet("a\n" + "1\n" * 1000).records) == 1000
    with pytest.raises(TooLarge, match="More than 1000 rows"):
        sheet("a\n" + "1\n" * 1001)
