"""Whether a database may be used as it stands, without making or changing anything in it."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import unquote, urlsplit

from service.store.database import connected, database
from service.store.migrate import NewerDatabaseError, known_migrations


class NotReady(Exception):  # noqa: N818 - reads as what it says
    """There is no database, or one of another version; the message says which, and what to do."""


def refuse_absent(address: str, shown: str) -> None:
    """Refuse a path at which there is no file, before opening it would make one.

    Raises
    ------
    NotReady
        When there is none.
    """
    parts = urlsplit(address) if "://" in address else None
    if parts is not None and parts.scheme != "sqlite":
        return
    file = Path(address if parts is None else unquote(address.removeprefix("sqlite:///")))
    if not file.exists() or (file.is_file() and not file.stat().st_size):
        raise NotReady(_none_at(shown))


def refuse_unready(shown: str) -> None:
    """Refuse the bound database when it lacks a step of a migration, or has one that is not known.

    Raises
    ------
    NotReady
        When it was never made, or is older than this program.
    NewerDatabaseError
        When a newer version made it.
    """
    known = [step.name for step in known_migrations()]
    with connected():
        if not database.table_exists("migration"):
            raise NotReady(_none_at(shown))
        done = {name for (name,) in database.execute_sql("SELECT name FROM migration").fetchall()}
    if unknown := sorted(done.difference(known)):
        raise NewerDatabaseError(
            f"the database has the step {unknown[-1]}, which this version does not know; "
            "a newer version made it"
        )
    if not done.issuperset(known):
        raise NotReady(
            f"the database {shown} is older than this program; run shearwright-service migrate, "
            "after a backup"
        )


def _none_at(shown: str) -> str:
    return f"there is no database at {shown}; shearwright-service migrate or load makes one"
