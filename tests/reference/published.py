"""Published instances as facts, and how tests read them.

Each file names who published the instances (`published`) and where each value beside them comes from
(`sources`). The form is the one that ``python -m tests.benchmarks.layouts FILE…`` reads: sizes in units
of the instance, `demand` or, where parts are worth something, `max_copies` and `value`.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent / "instances"
FILES = tuple(sorted(HERE.glob("*.json")))


def entries(name: str) -> list[dict[str, Any]]:
    """The instances of a file, `name` without its ending."""
    found: list[dict[str, Any]] = json.loads((HERE / f"{name}.json").read_text(encoding="utf-8"))["instances"]
    return found


def entry(name: str, instance: str) -> dict[str, Any]:
    """One instance of a file."""
    return next(one for one in entries(name) if one["name"] == instance)


def values(instance: dict[str, Any], *words: str) -> list[int]:
    """The values published beside an instance whose meaning has all of these words in it."""
    return [k["value"] for k in instance["known"] if all(word in k["meaning"] for word in words)]
