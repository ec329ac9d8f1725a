"""The top level is fixed, and holds nothing that a run left behind."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "service", "client", "schemas", "tests", "deploy"}


def kept_files() -> list[str]:
    if not (ROOT / ".git").exists():
        pytest.skip("this is no checkout")
    told = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True)
    return [name for name in told.stdout.split("\0") if name]


def test_nothing_else_is_kept_at_the_top() -> None:
    kept = {name.split("/")[0] for name in kept_files()}
    assert {name for name in kept if not name.startswith(".")} == TOP


def test_no_database_is_kept() -> None:
    for name in kept_files():
        with (ROOT / name).open("rb") as file:
            assert file.read(16) != b"SQLite format 3\0", name
