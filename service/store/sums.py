"""What sums are kept of, for what, from what, and how rows are added to a table of them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final, NamedTuple, TypeAlias

from service.store import bulk
from service.store.database import ask
from service.store.models import Tally

MEASURES: Final = (
    "events",
    "parts",
    "parts_mg",
    "parts_timed",
    "scrap_pieces",
    "scrap_mg",
    "taken_pieces",
    "taken_mg",
    "offcut_pieces",
    "offcut_mg",
    "strokes",
    "cut_hundredths",
    "equivalent_mm",
    "milliseconds",
)


class Counted(NamedTuple):
    """What sums need of an event that was applied; `times` -1: it was withdrawn, and is taken off again."""

    type: str
    payload: Mapping[str, Any]
    site: str
    day: str
    at: datetime
    times: int = 1


class Key(NamedTuple):
    """What a sum is for. `reason` is empty but for scrap; `thickness` is in hundredths of a millimetre."""

    site: str
    machine: str
    material: str
    thickness: int
    reason: str
    day: str


def add_to(table: type[Tally], sums: Mapping[Key, Mapping[str, int]]) -> None:
    """Add to the sums of many keys in a table, within the caller's transaction."""
    rows = [(*key, *(measures.get(name, 0) for name in MEASURES)) for key, measures in sorted(sums.items())]
    name = table._meta.table_name
    added = ", ".join(f"{measure} = {name}.{measure} + excluded.{measure}" for measure in MEASURES)
    conflict = f"ON CONFLICT ({', '.join(Key._fields)}) DO UPDATE SET {added}"
    bulk.insert_columns(table, (*Key._fields, *MEASURES), zip(*rows, strict=True), conflict)


NAMES: Final = ", ".join((*Key._fields, *MEASURES))
"""The columns of such a table."""

Figures: TypeAlias = tuple[int, ...]
"""A sum of each measure."""


def kept_in(table: type[Tally]) -> dict[Key, Figures]:
    """Every sum of a table."""
    width = len(Key._fields)
    rows = ask(f"SELECT {NAMES} FROM {table._meta.table_name}")  # noqa: S608 - names of ours
    return {Key(*row[:width]): tuple(map(int, row[width:])) for row in rows}
