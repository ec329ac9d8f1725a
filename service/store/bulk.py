"""Many rows at once, by one statement that the driver prepares once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from peewee import __exception_wrapper__  # type: ignore[attr-defined]

from service.store.database import database, is_postgresql
from service.store.models import Base


def insert(model: type[Base], rows: Sequence[Mapping[str, Any]], conflict: str = "") -> None:
    """Insert rows that all have the same columns, within the caller's transaction.

    Parameters
    ----------
    conflict
        SQL that follows, such as ``ON CONFLICT … DO UPDATE …``; of ours, never of a request.
    """
    if not rows:
        return
    meta = model._meta
    fields = [meta.fields[name] for name in rows[0]]
    mark = "%s" if is_postgresql() else "?"
    columns = ", ".join(f'"{field.column_name}"' for field in fields)
    marks = ", ".join(mark for _ in fields)
    text = f'INSERT INTO "{meta.table_name}" ({columns}) VALUES ({marks}) {conflict}'  # noqa: S608 - names of ours
    write = [field.db_value for field in fields]
    values = [tuple(to(value) for to, value in zip(write, row.values(), strict=True)) for row in rows]
    with __exception_wrapper__:
        database.cursor().executemany(text, values)
