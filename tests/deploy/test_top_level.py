"""The top level is fixed, and holds nothing that a run left behind."""

from __future__ import annotations

import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "service", "client", "schemas", "tests", "deploy"}


def test_nothing_else_is_kept_at_the_top() -> None:
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\0")
    kept = {name.split("/")[0] for name in listed if name}
    assert {name for name in kept if not name.startswith(".")} == TOP


def test_no_database_is_kept() -> None:
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\0")
    for name in filter(None, listed):
        with (ROOT / name).open("rb") as file:
            assert file.read(16) != b"SQLite format 3\0", name
