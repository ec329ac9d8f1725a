"""What every table has: one database, and the kinds of field that both databases keep alike."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

from peewee import Field, Model, TextField

from service.store.database import database


class UtcDateTimeField(Field):
    """An aware time, kept in UTC: text of fixed width on SQLite, ``timestamptz`` on PostgreSQL."""

    field_type = "TEXT"

    def db_value(self, value: datetime | None) -> str | None:
        """Write a time; a naive one is refused, as nobody knows what it means."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time with its offset is wanted")
        in_utc = value if value.tzinfo is UTC else value.astimezone(UTC)
        return in_utc.isoformat(timespec="microseconds")

    def python_value(self, value: str | datetime | None) -> datetime | None:
        """Read a time."""
        if value is None:
            return None
        moment = datetime.fromisoformat(value) if isinstance(value, str) else value
        return moment.astimezone(UTC)


class Written(str):
    """A JSON document that was written as text already, as :class:`JsonField` would."""

    __slots__ = ()


class JsonField(TextField):
    """A JSON document as text in ASCII, so that every string of JSON can be kept on both databases."""

    def db_value(self, value: Any) -> str | None:
        """Write a document."""
        if value is None or isinstance(value, Written):
            return value
        return json.dumps(value, separators=(",", ":"), sort_keys=True, allow_nan=False)

    def python_value(self, value: str | None) -> Any:
        """Read a document."""
        return None if value is None else json.loads(value)


class Base(Model):
    """Bound to the database of the process."""

    class Meta:
        """One database."""

        database = database
