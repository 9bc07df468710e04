"""Tables are held to RFC 4180 and to the formula starts listed in CWE-1236 and OWASP ASVS (SOURCES.md)."""

import csv
import io
import json
import math
import re
from datetime import date
from pathlib import Path
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.errors import Invalid, Malformed
from weirbook.tables import display_width, from_csv, number_text, to_csv, to_text

PUBLISHED = Path(__file__).parents[1] / "fixtures" / "published"


def published(name: str) -> list[dict[str, str]]:
    with open(PUBLISHED / name, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def written_cell(cell: object) -> str:
    """What a reader that knows nothing of Weirbook finds in the one cell of a written table."""
    return list(csv.reader(io.StringIO(to_csv(["cell"], [[cell]]), newline="")))[1][0]


@pytest.mark.parametrize("case", published("csv_quoting.csv"), ids=lambda case: case["rule"])
def test_records_are_quoted_as_rfc_4180_says(case):
    header, *rows = json.loads(case["records_json"])
    assert to_csv(header, rows).encode() == bytes.fromhex(case["expected_utf8_hex"])


@pytest.mark.parametrize("case", published("formula_injection.csv"), ids=lambda case: case["case_id"])
def test_text_that_a_spreadsheet_would_run_gets_an_apostrophe(case):
    cell = bytes.fromhex(case["cell_utf8_hex"]).decode()
    # The fixture writes control characters as escapes and is otherwise plain ASCII.
    expected = case["text_cell_neutralised_with_apostrophe"].encode("ascii").decode("unicode_escape")
    assert written_cell(cell) == expected
    assert (written_cell(cell) != cell) == (case["risky_wider_list"] == "true")


def test_a_column_name_that_looks_like_a_formula_is_made_safe_too():
    assert to_csv(["=cmd", "b"], []) == "'=cmd,b\r\n"


def test_a_negative_number_stays_a_number_and_negative_text_does_not():
    assert to_csv(["a", "b"], [[-3.5, "-3.5"]]) == "a,b\r\n-3.5,'-3.5\r\n"


def test_nothing_true_false_dates_and_ids_have_one_text_each():
    identity = UUID("0193629c-0000-7000-8000-000000000000")
    row = [None, True, False, date(2026, 11, 25), identity]
    assert to_csv("abcde", [row]).splitlines()[1] == f",true,false,2026-11-25,{identity}"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (78.39999999999999, "78.4"),
        (0.1 + 0.2, "0.3"),
        (24.0, "24"),
        (-0.0, "0"),
        (1 / 3, "0.333333333333"),
        (2 / 3, "0.666666666667"),
        (-17.5, "-17.5"),
        (1e-5, "1e-05"),
        (1234567.125, "1234567.125"),
        (999999999999.9, "1000000000000"),
        (1764064800123, "1764064800123"),
        (0, "0"),
    ],
)
def test_numbers_are_the_shortest_text_of_twelve_digits(value, text):
    """By hand from the rule: round to 12 significant digits, then the shortest decimal. Ints are exact."""
    assert number_text(value) == text


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_read_back_is_itself_to_twelve_digits(value):
    assert math.isclose(float(number_text(value)), value, rel_tol=5.1e-12, abs_tol=1e-320)
    assert not number_text(value).endswith(".0")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_none_is_never_written(value):
    with pytest.raises(ValueError, match="no place in a table"):
        to_csv(["a"], [[value]])


def test_a_cell_without_an_agreed_text_is_refused():
    with pytest.raises(TypeError, match="dict"):
        to_csv(["a"], [[{"value": 1}]])


@pytest.mark.parametrize("write", [to_csv, to_text])
def test_a_row_of_another_width_than_the_header_is_not_written(write):
    with pytest.raises(ValueError, match="1 cells under 2 columns"):
        write(["a", "b"], [["1"]])


WORDS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))


@given(st.lists(st.tuples(WORDS, WORDS)))
def test_what_was_written_is_read_back_with_only_the_apostrophes_added(rows):
    read = from_csv(to_csv(["first", "second"], rows))
    assert read.columns == ("first", "second")
    for row, (first, second) in zip(read.rows, rows, strict=True):
        for cell, text in ((row["first"], first), (row["second"], second)):
            assert cell == ("'" + text if text[:1] in tuple("=+-@\t\r\n") else text)


@pytest.mark.parametrize("case", published("csv_quoting.csv"), ids=lambda case: case["rule"])
def test_rfc_4180_records_are_read_as_they_were_meant(case):
    header, *rows = json.loads(case["records_json"])
    body = bytes.fromhex(case["expected_utf8_hex"]).decode()
    names = [f"c{place}" for place in range(len(header))]
    read = from_csv(",".join(names) + "\r\n" + body)
    assert [list(row.cells.values()) for row in read.rows] == [header, *rows]


def test_a_byte_order_mark_is_no_part_of_the_first_name():
    assert from_csv("\ufeffgauge,value\r\npond-a,24.5\r\n").columns == ("gauge", "value")


def test_semicolons_are_told_from_the_header_and_decimal_commas_understood():
    sheet = from_csv("gauge;value;note\r\npond-a;24,5;a, then b\r\npond-b;-3;\r\npond-c;;x\r\n")
    assert [row.number("value") for row in sheet.rows] == [24.5, -3.0, None]
    assert sheet.rows[0]["value"] == "24,5"
    assert sheet.rows[0]["note"] == "a, then b"


def test_a_semicolon_file_may_also_write_decimal_points():
    assert [row.number("value") for row in from_csv("gauge;value\na;24.5\nb;1e-3\n").rows] == [24.5, 0.001]


@pytest.mark.parametrize(
    ("cell", "plain"), [("<0,05", "<0.05"), ("24,5 °C", "24.5 °C"), ("0,02-0,05", "0.02-0.05")]
)
def test_decimal_commas_inside_a_qualified_value_can_be_read_plainly(cell, plain):
    assert from_csv(f"a;b\n1;{cell}\n").rows[0].plain("b") == plain


def test_a_column_that_mixes_commas_and_points_is_refused_where_it_is_asked_for():
    sheet = from_csv("a;b\n24,5;x\n1.234;y\n")
    assert sheet.rows[0].number("a") == 24.5
    with pytest.raises(Invalid, match=r'Line 3, column a: "1\.234" has a point') as refusal:
        sheet.rows[1].number("a")
    assert refusal.value.faults[0].pointer == "/a"


def test_a_decimal_comma_in_a_comma_file_is_refused_with_advice():
    with pytest.raises(Invalid, match=r"Line 2, column b.*semicolons"):
        from_csv('a,b\n1,"24,5"\n').rows[0].number("b")


@pytest.mark.parametrize(
    "cell", ["nan", "inf", "1e999", "1.234,5", "1,234,567", "0x10", "٣", "24.5 C", "--1", "1_0"]
)
def test_what_is_not_a_plain_number_is_not_taken_for_one(cell):
    with pytest.raises(Invalid, match="Line 2, column b"):
        from_csv(f"a;b\nx;{cell}\n").rows[0].number("b")


def test_line_numbers_count_lines_inside_quoted_cells_and_blank_lines():
    sheet = from_csv('a,b\r\n1,"two\r\nlines"\r\n\r\n3,4\r\n')
    assert [row.line for row in sheet.rows] == [2, 5]


def test_a_header_name_may_hold_a_line_break_or_the_other_delimiter_in_quotes():
    assert from_csv('"two\nlines";"a, b"\n1;2\n').columns == ("two\nlines", "a, b")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        ("\r\n\r\n", "empty"),
        ("a,b\n1,2\n3\n", r"Line 3: it has 1 cells and the header has 2"),
        ("a,b\n1,24,5\n", r"Line 2: it has 3 cells.*semicolons"),
        ("a,b\n1,x\0y\n", r"Line 2: .*NUL"),
        ("a,b,a\n1,2,3\n", r'Line 1: two columns are named "a"'),
        ("a,,b\n1,2,3\n", r"Line 1: column 2 has no name"),
        ("a;b,c\n1;2\n", r"Line 1: .*commas and semicolons"),
        ('a,b\n1,2\n3,"x\n', r"Line 3: the quotes"),
        ('a,b\n1,"x"y\n', r"Line 2: the quotes"),
    ],
)
def test_a_file_that_can_not_be_read_is_refused_with_its_line(text, message):
    with pytest.raises(Malformed, match=message):
        from_csv(text)


def test_a_text_table_sets_numbers_right_and_words_left():
    table = to_text(["gauge", "mean", "note"], [["pond-a", 24.5, "ok"], ["b", -3, None], ["c", None, "warm"]])
    assert table.endswith("\n")
    assert table.splitlines() == [
        "gauge   mean  note",
        "------  ----  ----",
        "pond-a  24.5  ok",
        "b         -3",
        "c             warm",
    ]


def test_alignment_can_be_said():
    table = to_text(["a", "bbb"], [["xx", 1]], align=["right", "left"])
    assert table.splitlines() == [" a  bbb", "--  ---", "xx  1"]


def test_wide_letters_take_two_columns_and_combining_marks_none():
    """Unicode Standard Annex 11: East Asian Wide and Fullwidth take two cells."""
    assert [display_width(text) for text in ("魚", "e\u0301", "abc", "Ａ")] == [2, 1, 3, 2]
    lines = to_text(["fish", "n"], [["魚魚", 1], ["abcd", 2]]).splitlines()
    assert [display_width(line) for line in lines] == [7, 7, 7, 7]


def test_a_long_note_is_wrapped_and_a_number_is_never_cut():
    note = "the return pump was lifted out, cleaned and set back at a lower step"
    table = to_text(["at", "turnovers_per_hour", "note"], [["2026-11-25", 123.456789, note]], width=40)
    assert "123.456789" in table
    assert all(display_width(line) <= 40 for line in table.splitlines())
    assert sorted(re.findall(r"[a-z]{4,}", note)) == sorted(
        word for line in table.splitlines()[2:] for word in re.findall(r"[a-z]{4,}", line)
    )


@given(st.lists(st.tuples(WORDS, WORDS, st.integers(-999, 999)), min_size=1, max_size=5), st.integers(30, 80))
def test_a_table_keeps_to_its_width_and_every_line_shows(rows, width):
    lines = to_text(["first", "second", "count"], rows, width=width).splitlines()
    assert all(display_width(line) <= width for line in lines)
    assert len(lines) >= len(rows) + 2


def test_control_characters_can_not_steer_the_terminal():
    assert to_text(["a"], [["x\x1b[2Jy\r\nz\u202e"]]).splitlines()[2] == "x [2Jy  z"


def test_an_empty_table_shows_its_header():
    assert to_text(["a", "b"], []) == "a  b\n-  -\n"
