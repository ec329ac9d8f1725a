"""Many rows at once: written by one statement, and asked for by one."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import peewee
from peewee import BigIntegerField, BooleanField, Field, IntegerField, TextField

from service.store.database import database, is_postgresql
from service.store.models import Base, JsonField, UtcDateTimeField

_WRITTEN_OTHERWISE = (JsonField, UtcDateTimeField)
"""Fields whose values the databases do not take as they are."""


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
    columns = ", ".join(f'"{field.column_name}"' for field in fields)
    columns_of = [[row[name] for row in rows] for name in rows[0]]
    for values_of, field in zip(columns_of, fields, strict=True):
        if isinstance(field, _WRITTEN_OTHERWISE):
            values_of[:] = _written(field, values_of)
    table = f'"{meta.table_name}" ({columns})'
    # Names of ours, and marks for what comes from outside.
    with peewee.__exception_wrapper__:  # type: ignore[attr-defined]
        if not is_postgresql():
            marks = ", ".join("?" * len(fields))
            values = zip(*columns_of, strict=True)
            database.cursor().executemany(f"INSERT INTO {table} VALUES ({marks}) {conflict}", values)  # noqa: S608
        elif conflict:
            # One statement that carries all rows: the server plans it once, not for every row.
            names = ", ".join(f"{field.column_name} {_KINDS[type(field)]}" for field in fields)
            made = (
                f"INSERT INTO {table} SELECT {columns} FROM json_to_recordset(%s::json) AS given ({names})"  # noqa: S608
                f" {conflict}"
            )
            named = [field.column_name for field in fields]
            given = [dict(zip(named, row, strict=True)) for row in zip(*columns_of, strict=True)]
            database.cursor().execute(made, [json.dumps(given)])
        else:
            with database.cursor().copy(f"COPY {table} FROM STDIN") as copy:
                for row in zip(*columns_of, strict=True):
                    copy.write_row(row)


_KINDS: dict[type[Field], str] = {
    TextField: "text",
    JsonField: "text",
    IntegerField: "integer",
    BigIntegerField: "bigint",
    BooleanField: "boolean",
}
"""How PostgreSQL reads the values of a column."""


def _written(field: Any, values: Sequence[Any]) -> Iterator[Any]:
    """The values of a column as the database takes them; one that stands many times is written once."""
    last = made = None
    for value in values:
        if value is not last:
            last, made = value, field.db_value(value)
        yield made


def among(column: str, values: Sequence[Any]) -> tuple[str, list[Any]]:
    """SQL that asks whether a column has one of many values, with its parameters; the column is ours."""
    if is_postgresql():
        return f"{column} = ANY(%s)", [list(values)]
    return f"{column} IN (SELECT value FROM json_each(?))", [json.dumps(list(values))]  # noqa: S608
