"""Every file here names its source and how many independent published values it holds."""

import ast
import re
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FILES = sorted(path for path in HERE.glob("test_*.py") if path.name != Path(__file__).name)


def said(path):
    return ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""


def values_in(path):
    """The number behind ``Published values:``; a file that does not say it counts for nothing."""
    found = re.search(r"Published values: (\d+)\.", said(path))
    return int(found[1]) if found else 0


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_reference_says_its_source_its_values_and_its_tolerance(path):
    words = said(path)
    assert len(words.splitlines()[0]) > 30
    if values_in(path):
        assert "Tolerance:" in words


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_no_more_values_are_claimed_than_numbers_are_held_to(path):
    numbers = [
        node.value
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and type(node.value) in {int, float}
    ]
    assert values_in(path) <= len(numbers)


def test_there_are_at_least_forty_of_them():
    assert sum(values_in(path) for path in FILES) >= 40
