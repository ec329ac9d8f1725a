"""Many rows at once: written by one statement, and asked for by one."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any, Final

import peewee
from peewee import BigIntegerField, BooleanField, Field, IntegerField, TextField

from service.store.database import copy_in, database, is_postgresql
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
    if rows:
        insert_columns(model, list(rows[0]), ([row[name] for row in rows] for name in rows[0]), conflict)


def insert_columns(
    model: type[Base], names: Sequence[str], columns_of: Iterable[Sequence[Any]], conflict: str = ""
) -> None:
    """Insert rows as :func:`insert` does, given column by column; where there is no row, there is none."""
    insertion(model, names, columns_of, conflict)()


def insertion(
    model: type[Base], names: Sequence[str], columns_of: Iterable[Sequence[Any]], conflict: str = ""
) -> Callable[[], None]:
    """What inserts rows as :func:`insert_columns` does when it is called; it has only to send them then."""
    given = list(columns_of)
    if not given:
        return _nothing
    fields = [model._meta.fields[name] for name in names]
    written = [
        list(_written(field, values)) if isinstance(field, _WRITTEN_OTHERWISE) else values
        for field, values in zip(fields, given, strict=True)
    ]
    columns = ", ".join(f'"{field.column_name}"' for field in fields)
    table = f'"{model._meta.table_name}" ({columns})'
    # Names of ours, and marks for what comes from outside.
    if not is_postgresql():
        marks = ", ".join("?" * len(fields))
        rows = list(zip(*written, strict=True))
        return partial(_run_for_each, f"INSERT INTO {table} VALUES ({marks}) {conflict}", rows)  # noqa: S608
    if not conflict:
        return partial(copy_in, f"COPY {table} FROM STDIN", list(zip(*written, strict=True)))
    # One statement that carries all rows: the server plans it once, not for every row. Each column
    # comes as one list, which is faster to write than a list, or an object, for every row.
    own = ", ".join(f"c{place}" for place in range(len(fields)))
    typed = ", ".join(f"c{place}::{_KINDS[type(field)]}" for place, field in enumerate(fields))
    lists = ", ".join([_ELEMENTS] * len(fields))
    source = f"SELECT {typed} FROM ROWS FROM ({lists}) AS given ({own})"  # noqa: S608
    return partial(_run, f"INSERT INTO {table} {source} {conflict}", list(map(_AS_JSON, written)))


def _nothing() -> None:
    """There is no row."""


def _run(sql: str, given: Sequence[Any]) -> None:
    with peewee.__exception_wrapper__:  # type: ignore[attr-defined]
        database.cursor().execute(sql, given)


def _run_for_each(sql: str, rows: Sequence[Sequence[Any]]) -> None:
    with peewee.__exception_wrapper__:  # type: ignore[attr-defined]
        database.cursor().executemany(sql, rows)


_ELEMENTS: Final = "json_array_elements_text(%s::json)"
_AS_JSON: Final = json.JSONEncoder(separators=(",", ":"), allow_nan=False).encode

_KINDS: Final[dict[type[Field], str]] = {
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
        if values and all(type(value) is str for value in values):
            # The same, and many times faster to write than a list of the driver.
            return f"{column} = ANY(ARRAY(SELECT {_ELEMENTS}))", [_AS_JSON(values)]
        return f"{column} = ANY(%s)", [list(values)]
    return f"{column} IN (SELECT value FROM json_each(?))", [json.dumps(list(values))]  # noqa: S608
