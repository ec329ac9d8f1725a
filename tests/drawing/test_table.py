"""Tables that a spreadsheet opens: nothing in them may be run."""

import csv
import io

import pytest

from service.drawing.table import csv_text


# How text begins that must be disarmed: OWASP, "CSV Injection" (from memory).
@pytest.mark.parametrize("begins", ["=", "+", "-", "@", "\t", "\r"])
def test_text_that_begins_like_a_formula_is_only_shown(begins):
    (row,) = csv.reader(io.StringIO(csv_text([[f"{begins}1+1", "FR-100"]]), newline=""))
    assert row == [f"'{begins}1+1", "FR-100"]


def test_numbers_stay_numbers_and_separators_inside_text_separate_nothing():
    text = csv_text([["a", "b"], [-5, 'x, "y"\nz'], [None, -0.5]])
    assert list(csv.reader(io.StringIO(text, newline=""))) == [["a", "b"], ["-5", 'x, "y"\nz'], ["", "-0.5"]]
