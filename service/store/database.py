"""Opening the database: a path is SQLite, ``postgresql://…`` is PostgreSQL.

A process works with one database at a time: the models are bound to :data:`database`.
"""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from typing import Any, Final, TypeAlias
from urllib.parse import unquote, urlsplit

import peewee
import psycopg
from peewee import Database, DatabaseProxy, OperationalError, SqliteDatabase
from playhouse.pool import MaxConnectionsExceeded
from playhouse.postgres_ext import PooledPsycopg3Database

database: Final = DatabaseProxy()

Question: TypeAlias = tuple[str, Sequence[Any]]
"""SQL of ours, with ``%s`` for each of its values."""

WAIT_S: Final = 30
"""How long a writer waits for another one, on SQLite, before it gives up [s]."""

PUT_BACK: Final = (
    "put it back from a backup, then run shearwright-service restored: stations offer again what it lacks"
)
"""What is to be done about a database that is damaged."""

PRAGMAS: Final = (
    ("journal_mode", "wal"),
    ("synchronous", "full"),
    ("foreign_keys", 1),
)


class DatabaseAddressError(ValueError):
    """The address names no database; the message says what is wanted."""


class _CopyIn(threading.local):
    """The COPY that the connection of a thread is busy with, if any."""

    def __init__(self) -> None:
        self._sql: str | None = None
        self._running = ExitStack()
        self._write_row: Callable[[Sequence[Any]], None]
        self.goes_on = False

    def send(self, sql: str, rows: Iterable[Sequence[Any]]) -> None:
        if sql != self._sql:
            # To ask for a cursor ends what ran before.
            copy = database.cursor().copy(sql)
            self._write_row, self._sql = self._running.enter_context(copy).write_row, sql
        for row in rows:
            self._write_row(row)
        if not self.goes_on:
            self.end()

    def end(self) -> None:
        """Wait until all rows are in."""
        self._sql = None
        with peewee.__exception_wrapper__:  # type: ignore[attr-defined]
            self._running.close()


_COPY_IN: Final = _CopyIn()


class _Pool(PooledPsycopg3Database):  # type: ignore[misc]
    def cursor(self, named_cursor: Any = None) -> Any:
        """A cursor for the next statement, which a connection takes only after the end of a COPY."""
        _COPY_IN.end()
        return super().cursor(named_cursor)

    def connect(self, reuse_if_open: bool = False) -> Any:
        """Connect; to wait in vain for a connection is told like a server that does not answer."""
        try:
            return super().connect(reuse_if_open)
        except MaxConnectionsExceeded as error:
            raise OperationalError(str(error)) from error


def open_database(address: str, *, most_connections: int = 20) -> Database:
    """Bind the models to the database at `address`; connections are opened where they are used.

    Raises
    ------
    DatabaseAddressError
        When the address is neither a path nor a PostgreSQL URL.
    """
    made = _opened(address, most_connections)
    database.initialize(made)
    return made


def is_postgresql() -> bool:
    """Whether the bound database is PostgreSQL."""
    return not isinstance(database.obj, SqliteDatabase)


def ask(sql: str, *given: Any) -> list[tuple[Any, ...]]:
    """The rows that SQL of ours answers with; ``%s`` stands for each value, on both databases.

    For what every request asks: to have peewee write such a question anew takes longer than to
    answer it. Values go as the database has them.
    """
    rows: list[tuple[Any, ...]] = _executed(sql, given).fetchall()
    return rows


def tell(sql: str, *given: Any) -> None:
    """Run SQL of ours that answers nothing, like :func:`ask`."""
    _executed(sql, given)


def ask_all(*questions: Question) -> list[list[tuple[Any, ...]]]:
    """What :func:`ask` answers to each of several questions, all sent before the first answer is read."""
    with together():
        sent = [_executed(sql, tuple(given)) for sql, given in questions]
        return [cursor.fetchall() for cursor in sent]


@contextmanager
def together() -> Iterator[None]:
    """Within this block statements go to PostgreSQL without waiting for the answer to the one before.

    The server runs them in their order all the same. What goes wrong may be told by a later statement,
    or at the end of the block; nothing after it is run. COPY has no place in it.
    """
    if not is_postgresql() or not psycopg.Pipeline.is_supported():
        yield
        return
    _COPY_IN.end()
    with peewee.__exception_wrapper__, database.connection().pipeline():  # type: ignore[attr-defined]
        yield


def copy_in(sql: str, rows: Iterable[Sequence[Any]]) -> None:
    """Send rows to PostgreSQL by a COPY of ours."""
    with peewee.__exception_wrapper__:  # type: ignore[attr-defined]
        _COPY_IN.send(sql, rows)


@contextmanager
def copying_beside() -> Iterator[None]:
    """Within this block nobody waits until PostgreSQL has taken in what :func:`copy_in` sends.

    More rows by the same SQL join those before. Any other statement waits for their end first, and so does
    the end of the block; what goes wrong with them is told there.
    """
    _COPY_IN.goes_on = True
    try:
        yield
    finally:
        # After an error too, so that the connection takes the statement which takes everything back.
        _COPY_IN.goes_on = False
        _COPY_IN.end()


def _executed(sql: str, given: tuple[Any, ...]) -> Any:
    return database.execute_sql(sql if is_postgresql() else sql.replace("%s", "?"), given)


def is_full(error: BaseException) -> bool:
    """Whether a database said that there is no room left for what was to be written."""
    return _says(error, {sqlite3.SQLITE_FULL}, (psycopg.errors.DiskFull,))


def is_damaged(error: BaseException) -> bool:
    """Whether a database said that what is on its disk cannot be what was written there."""
    return _says(
        error,
        {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB},
        (psycopg.errors.DataCorrupted, psycopg.errors.IndexCorrupted),
    )


def _says(error: BaseException, codes: Collection[int], kinds: tuple[type[BaseException], ...]) -> bool:
    """Whether an error, or one behind it, has one of SQLite's codes or is of PostgreSQL's kinds."""
    said: BaseException | None = error
    while said is not None:
        code = getattr(said, "sqlite_errorcode", None)
        if isinstance(said, kinds) or (code is not None and code & 0xFF in codes):
            return True
        said = said.__cause__ or said.__context__
    return False


@contextmanager
def connected() -> Iterator[None]:
    """Within this block the thread has a connection; one that was open before stays open."""
    opened = database.connect(reuse_if_open=True)
    try:
        yield
    finally:
        if opened:
            database.close()


def _opened(address: str, most_connections: int) -> Database:
    scheme = urlsplit(address).scheme if "://" in address else ""
    if scheme in {"postgresql", "postgres"}:
        return _postgresql(address, most_connections)
    if scheme == "sqlite":
        address = unquote(address.removeprefix("sqlite:///"))
    elif scheme:
        raise DatabaseAddressError(
            f"{scheme}:// is no database known here; a path, sqlite:///path or postgresql://… is wanted"
        )
    if not address or address == ":memory:":
        raise DatabaseAddressError("the path of a file is wanted; a database in memory is not kept")
    file = Path(address)
    if not file.parent.is_dir():
        raise DatabaseAddressError(f"{address}: there is no folder {file.parent}; make it first")
    if not file.exists() or file.stat().st_size == 0:
        _make_file(file)
    return SqliteDatabase(address, pragmas=PRAGMAS, timeout=WAIT_S, lock_type="IMMEDIATE", autoconnect=False)


def _make_file(file: Path) -> None:
    # For its owner alone, like the journals, which SQLite makes with the mode of their database
    # (sqlite.org/src, findCreateFileMode in os_unix.c); one that is there already stays as it is.
    os.close(os.open(file, os.O_WRONLY | os.O_CREAT, 0o600))
    # auto_vacuum takes effect only before the journal is switched to WAL and the first table is made,
    # and setting it waits for whoever writes: so it is set here, and not by every connection.
    with closing(sqlite3.connect(file, timeout=WAIT_S)) as made:
        made.execute("PRAGMA auto_vacuum = 2")
        made.execute("PRAGMA journal_mode = wal")


def _postgresql(address: str, most_connections: int) -> Database:
    parts = urlsplit(address)
    name = unquote(parts.path.lstrip("/"))
    if not name:
        raise DatabaseAddressError("the PostgreSQL address lacks the name of the database after the host")
    # The whole address goes to the driver, so that its options (sslmode, host=socket) hold.
    made: Database = _Pool(
        address, max_connections=most_connections, stale_timeout=300, timeout=WAIT_S, autoconnect=False
    )
    return made
