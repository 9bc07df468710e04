"""Numbers with either decimal sign. Invariants: what a locale's rules write is read back, what may be two things is asked."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.errors import Invalid
from weirbook.spreadsheets.figures import decimal_signs, plain


def sign(*cells: str, separator: str = "tab", told: str | None = None) -> str | None:
    return decimal_signs({"value": list(enumerate(cells, start=2))}, separator, told)["value"].sign


@pytest.mark.parametrize(
    ("cells", "found"),
    [
        (["24,5"], "comma"),
        (["24.5"], "point"),
        (["1.234,5"], "comma"),
        (["1,234.5"], "point"),
        (["1.234.567"], "comma"),
        (["1,234,567"], "point"),
        (["0,123"], "comma"),
        (["0.123"], "point"),
        (["1234,567"], "comma"),
        (["1 234,567"], "comma"),
        (["1\u202f234.567"], "point"),
        (["1'234.567"], "point"),
        (["<0,05"], "comma"),
        (["10,5..20,5"], "comma"),
        (["24,5 °C"], "comma"),
        ([",5"], "comma"),
        (["1,234", "24,5"], "comma"),
        (["1,234", "24.5"], "point"),
        (["24", "-3", "10..20", ""], None),
        (["1 234"], None),
    ],
)
def test_the_decimal_sign_is_told_by_what_a_column_can_only_mean(cells, found):
    assert sign(*cells) == found


def test_a_column_that_contradicts_itself_is_refused_with_its_lines():
    with pytest.raises(
        Invalid, match=r"decimal commas \(line 2\) and decimal points \(lines 4, 5\)"
    ) as refusal:
        sign("24,5", "1,234", "24.5", "24.75")
    assert refusal.value.faults[0].pointer == "/decimal"
    assert sign("24,5", "24.5", told="comma") == "comma"


@pytest.mark.parametrize("cell", ["1,234", "1.234", "999,999", "<1.234"])
def test_what_may_be_a_thousand_or_a_little_over_one_is_asked(cell):
    with pytest.raises(Invalid, match=r"line 2: .*thousand.*decimal=comma or decimal=point"):
        sign(cell)


def test_other_columns_decide_what_one_leaves_open():
    columns = {"a": [(2, "1,234")], "b": [(2, "7,5")]}
    assert decimal_signs(columns, "tab")["a"].sign == "comma"
    assert "other columns" in decimal_signs(columns, "tab")["a"].why
    contrary = {**columns, "c": [(2, "7.5")]}
    with pytest.raises(Invalid, match="Column 'a', line 2"):
        decimal_signs(contrary, "tab")


def test_the_separator_decides_what_the_numbers_leave_open():
    assert sign("1.234", separator="comma") == "point"
    assert sign("1,234", separator="semicolon") == "comma"
    for cell, separator in (("1,234", "comma"), ("1.234", "semicolon")):
        with pytest.raises(Invalid):
            sign(cell, separator=separator)


@pytest.mark.parametrize(
    ("text", "decimal", "read"),
    [
        ("1.234,5", "comma", "1234.5"),
        ("1,234.5", "point", "1234.5"),
        ("1 234 567,25", "comma", "1234567.25"),
        ("1'234.5", "point", "1234.5"),
        ("1.234", "comma", "1234"),
        ("1,234", "comma", "1.234"),
        ("<0,05", "comma", "<0.05"),
        ("10,5..20", "comma", "10.5..20"),
        ("10..20", "comma", "10..20"),
        (" −3,5 ", "comma", "-3.5"),
        ("1,2E+03", "comma", "1.2E+03"),
        ("24,5 °C", "comma", "24.5 °C"),
        ("on", "comma", "on"),
        ("1 234", None, "1234"),
        (",5", "comma", ".5"),
    ],
)
def test_a_number_is_read_by_its_sign(text, decimal, read):
    assert plain(text, decimal) == read


@pytest.mark.parametrize(
    ("text", "decimal"), [("24.5", "comma"), ("24,5", "point"), ("1.23.456", "comma"), ("1,234.5,6", "point")]
)
def test_a_number_that_does_not_fit_is_refused(text, decimal):
    with pytest.raises(Invalid):
        plain(text, decimal)


@given(
    st.decimals(-(10**9), 10**9, allow_nan=False, places=2),
    st.sampled_from([("point", ","), ("point", "'"), ("comma", "."), ("comma", "\u202f"), ("comma", "")]),
)
def test_a_number_written_by_a_locale_s_rules_is_read_as_it_was(number, rules):
    """Python's own grouping writes the number, with the marks of the locale put in place of its own."""
    decimal, group = rules
    signs = {",": group, ".": {"point": ".", "comma": ","}[decimal]}
    text = "".join(signs.get(char, char) for char in f"{number:,}")
    assert sign(text) == decimal
    assert float(plain(text, decimal)) == float(number)


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12))
def test_a_number_of_our_own_csv_is_read_as_it_was(number):
    assert float(plain(repr(number), sign(repr(number), separator="comma"))) == number
