"""CSV of an export: RFC 4180, UTF-8, no cell that a spreadsheet takes for a formula, and back again."""

import csv
import io

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from guide.papers.csv_tables import TABLES, Column, Table, csv_lines, defused, restored

TWO = Table("two", "", (Column("words", "string", ""), Column("number", "number", "")))


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1", "－1", "＋1", "＠x", "'=1", "'", "\0=1"]
)
def test_a_cell_that_begins_like_a_formula_gets_an_apostrophe(text: str) -> None:
    assert defused(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "01402", "2026-07-04", "a=b", "Long Harrow Lake", "Übersee", "a'b"])
def test_any_other_cell_is_left_as_it_is(text: str) -> None:
    assert defused(text) == text


@given(st.text())
@example("''=1")
def test_the_text_comes_back(text: str) -> None:
    assert restored(defused(text)) == text
    assert not defused(text).startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


@given(st.lists(st.tuples(st.text(st.characters(codec="utf-8", exclude_characters="\0")), st.floats(-1e6, 1e6))))
def test_what_is_written_is_read_again(rows: list[tuple[str, float]]) -> None:
    text = "".join(csv_lines(TWO, rows, most=2))
    assert text.startswith("words,number\r\n")
    read = list(csv.reader(io.StringIO(text.encode().decode(), newline="")))[1:]
    assert [(restored(words), float(number)) for words, number in read] == rows


def test_numbers_and_dates_are_no_text_and_stay() -> None:
    assert "".join(csv_lines(TWO, [("x", -8.24)])) == "words,number\r\nx,-8.24\r\n"


def test_columns_have_meanings_and_names_of_their_own() -> None:
    for table in TABLES:
        names = [column.name for column in table.columns]
        assert len(set(names)) == len(names)
        assert all(column.meaning for column in table.columns)
