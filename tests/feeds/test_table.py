"""CSV as RFC 4180 has it, and safe in a spreadsheet.

Read back with Python's csv module. Which first characters a spreadsheet takes for a formula is
OWASP's advice on CSV injection, from memory.
"""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.feeds.table import Cell, csv_bytes


def read(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))


def test_lines_end_in_crlf_and_cells_are_quoted_where_needed() -> None:
    # RFC 4180, section 2: rules 1, 3, 5, 6 and 7
    rows: list[list[Cell]] = [["a,b", 'say "so"', "two\r\nlines"], ["pläne", None, 1.5]]
    assert csv_bytes(["x", "y", "z"], rows) == (
        'x,y,z\r\n"a,b","say ""so""","two\r\nlines"\r\npläne,,1.5\r\n'.encode()
    )


@pytest.mark.parametrize("first", ["=", "+", "-", "@", "\t", "\r"])
def test_a_text_that_would_be_a_formula_is_disarmed(first: str) -> None:
    (_, (cell,)) = read(csv_bytes(["x"], [[f"{first}1+cmd|' /C calc'!A0"]]))
    assert cell == f"'{first}1+cmd|' /C calc'!A0"


@pytest.mark.parametrize("number", ["-12.50", "-3", "0.25", "17"])
def test_a_number_stays_a_number(number: str) -> None:
    assert read(csv_bytes(["x"], [[number], [float(number)]]))[1] == [number]


@pytest.mark.parametrize("text", ["-1-2", "-", "+1", "-1e5", "-.5", "-1\n=2", "=1"])
def test_what_is_nearly_a_number_is_a_text(text: str) -> None:
    assert read(csv_bytes(["x"], [[text]]))[1] == [f"'{text}"]


@given(st.lists(st.lists(st.text(), min_size=2, max_size=2)))
def test_what_is_written_is_read_again(rows: list[list[str]]) -> None:
    for cells, read_cells in zip(rows, read(csv_bytes(["x", "y"], rows))[1:], strict=True):
        for cell, shown in zip(cells, read_cells, strict=True):
            assert shown in {cell, f"'{cell}"}
            assert not shown.startswith(("=", "+", "@", "\t", "\r"))
