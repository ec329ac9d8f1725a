"""Opening a SQLite file the way each of our two files needs it."""

from __future__ import annotations

import os
import shutil
import sqlite3
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, cast

import peewee

from client.errors import CacheDamaged, DiskFull, StoreBusy, StoreFailed

Row = tuple[Any, ...]

_TO_READ: Final = {"locking_mode": "EXCLUSIVE", "query_only": 1}
"""Held exclusively, the index of the journal is kept in memory and needs no file
(sqlite.org/wal.html, "Use of WAL Without Shared-Memory")."""


class Sqlite:
    """A SQLite file with a numbered schema.

    Parameters
    ----------
    path
        The file; made when it is not there.
    migrations
        Each is a list of statements; entry n brings the file from version n to n + 1. Entries are
        only ever added.
    durable
        True: a commit is on the disk when it returns. False: it may be lost in a power cut.
    reading
        Open it for reading only and without any other file beside it, for when the disk has no room.
        No other program may have it open then.
    """

    def __init__(
        self, path: Path, migrations: Sequence[Sequence[str]], *, durable: bool, reading: bool = False
    ) -> None:
        self.path = path
        self.durable = durable
        # It is a write, and so tells on a disk without room at once whether there can be any.
        first_write = not path.exists() or not path.stat().st_size or no_room(path)
        if not reading:
            _make_private(path)
        self.db = peewee.SqliteDatabase(
            str(path),
            timeout=10,
            # auto_vacuum has to come first: once the journal is a WAL it can no longer be changed. In a file
            # that is there already it would wait for whoever writes.
            pragmas=_TO_READ
            if reading
            else {
                **({"auto_vacuum": "INCREMENTAL"} if first_write else {}),
                "journal_mode": "wal",
                "synchronous": "FULL" if durable else "NORMAL",
                "foreign_keys": 1,
            },
        )
        try:
            with self.guarded():
                self.db.connect(reuse_if_open=True)
                self._migrate(migrations)
        except StoreFailed as error:
            self.close()
            _let_go(error)
            raise

    def close(self) -> None:
        """Close this thread's connection."""
        if not self.db.is_closed():
            self.db.close()

    @contextmanager
    def guarded(self) -> Iterator[None]:
        """Turn what the database driver says into plain words.

        Raises
        ------
        StoreBusy, StoreFailed
            By what went wrong.
        """
        try:
            yield
        except (peewee.DatabaseError, sqlite3.Error) as error:
            said = _said(error)
            if "locked" in said or "busy" in said:
                raise StoreBusy(f"{self.path.name} is held by another program; try again") from error
            # Without room for its journal SQLite can only say that reading, opening or writing failed.
            vague = any(words in said for words in ("i/o", "unable to open", "readonly"))
            if "full" in said or (vague and no_room(self.path)):
                raise DiskFull(f"the disk is full; nothing was written to {self.path}; make room") from error
            if "malformed" in said or "not a database" in said:
                if not self.durable:
                    raise CacheDamaged(f"{self.path} cannot be read") from error
                raise StoreFailed(f"{self.path} is damaged; {self._put_aside()}") from error
            raise StoreFailed(f"{self.path} cannot be used: {error}") from error

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Everything in the block, or nothing of it; the write lock is taken at once."""
        with self.guarded(), self.db.atomic("IMMEDIATE"):
            yield

    def _execute(self, sql: str, values: Sequence[Any] = ()) -> sqlite3.Cursor:
        return cast("sqlite3.Cursor", self.db.execute_sql(sql, values))  # type: ignore[no-untyped-call]

    def run(self, sql: str, *values: Any) -> int:
        """Run a statement; the number of rows it changed."""
        with self.guarded():
            return self._execute(sql, values).rowcount

    def insert(self, sql: str, *values: Any) -> int:
        """Run an INSERT; the number of the new row."""
        with self.guarded():
            return cast("int", self._execute(sql, values).lastrowid)

    def rows(self, sql: str, *values: Any) -> list[Row]:
        """All rows of a query."""
        with self.guarded():
            return cast("list[Row]", self._execute(sql, values).fetchall())

    def row(self, sql: str, *values: Any) -> Row | None:
        """The first row of a query."""
        found = self.rows(sql, *values)
        return found[0] if found else None

    def value(self, sql: str, *values: Any) -> Any:
        """The first value of the first row; None when there is none."""
        found = self.row(sql, *values)
        return None if found is None else found[0]

    def meta(self, key: str) -> str | None:
        """A single remembered value."""
        return cast("str | None", self.value("SELECT value FROM meta WHERE key = ?", key))

    def set_meta(self, key: str, value: str | None) -> None:
        """Remember a single value; None forgets it."""
        if value is None:
            self.run("DELETE FROM meta WHERE key = ?", key)
            return
        self.run(
            "INSERT INTO meta (key, value) VALUES (?, ?)"
            " ON CONFLICT (key) DO UPDATE SET value = excluded.value",
            key,
            value,
        )

    def check(self) -> None:
        """Look for damage.

        Raises
        ------
        StoreFailed
            When there is; a copy of the damaged file was put aside first, and nothing is deleted.
        """
        found = self.rows("PRAGMA quick_check(5)")
        if [row[0] for row in found] != ["ok"]:
            faults = "; ".join(str(row[0]) for row in found)
            if not self.durable:
                raise CacheDamaged(f"{self.path}: {faults}")
            raise StoreFailed(f"{self.path} is damaged ({faults}); {self._put_aside()}")

    def _put_aside(self) -> str:
        try:
            stamp = datetime.fromtimestamp(self.path.stat().st_mtime, UTC).strftime("%Y%m%dT%H%M%SZ")
            aside = self.path.with_name(f"{self.path.name}.damaged-{stamp}")
            # Named by the time of the damage, so that trying again makes no further copies.
            if not aside.exists():
                for end in ("-wal", ""):
                    source = self.path.with_name(self.path.name + end)
                    if source.exists():
                        shutil.copy2(source, aside.with_name(aside.name + end))
        except OSError as error:
            return f"it could not be copied aside ({error.strerror}); do not delete it"
        return f"a copy is in {aside}; do not delete it; shearwright salvage brings over what can be read"

    def _migrate(self, migrations: Sequence[Sequence[str]]) -> None:
        version = self._version()
        if version > len(migrations):
            raise StoreFailed(
                f"{self.path} was written by a newer shearwright (version {version} of its layout, "
                f"{len(migrations)} is known here); update this one"
            )
        if version == len(migrations):
            return
        with self.db.atomic("IMMEDIATE"):
            # Asked again under the lock: another process may have done it meanwhile.
            for statements in migrations[self._version() :]:
                for statement in statements:
                    self._execute(statement)
            self._execute(f"PRAGMA user_version = {len(migrations)}")

    def _version(self) -> int:
        return cast("int", self.value("PRAGMA user_version"))


def _make_private(path: Path) -> None:
    """Make a file that is not there for its owner alone; SQLite makes its journals with the same mode."""
    # What stands in the way is told by SQLite right after, like all that may be wrong with the place.
    with suppress(OSError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT, 0o600))


_LEAST_ROOM = 128 * 1024
"""With less than this a store cannot be opened for writing [byte]."""


def no_room(path: Path) -> bool:
    """Whether the disk under a file is full."""
    try:
        return shutil.disk_usage(path.parent).free < _LEAST_ROOM
    except OSError:
        return False


def _let_go(error: BaseException | None) -> None:
    """Free the statements that an error holds: their file would stay locked for whoever opens it next."""
    while error is not None:
        traceback.clear_frames(error.__traceback__)
        error = error.__cause__ or error.__context__


def _said(error: BaseException | None) -> str:
    """All that was said, down to the first cause: a failed rollback hides why it was tried."""
    said = []
    while error is not None:
        said.append(str(error).lower())
        error = error.__cause__ or error.__context__
    return " ".join(said)


META = "CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT"
