"""Worked examples in docstrings are run, so that they stay true."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def with_examples() -> list[str]:
    return [
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        for room in ("service", "client", "schemas")
        for path in sorted((ROOT / room).rglob("*.py"))
        if ">>> " in path.read_text(encoding="utf-8")
    ]


@pytest.mark.parametrize("module", with_examples())
def test_worked_examples_hold(module: str) -> None:
    failed, tried = doctest.testmod(importlib.import_module(module))
    assert tried
    assert not failed
