"""The database of a centre in a story: begun, backed up, put back; on either kind of server."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
import uuid
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any, Final, Protocol

import psycopg

from service.app import Config, create_app
from service.store import tokens
from service.store.database import connected, database
from tests.service.shop import machine

MANY: Final = 100_000
"""Sheets on the rack: so many that no story takes the last one."""


def folder_for_worlds() -> str | None:
    """Memory instead of a disk, where there is some: a story writes much and keeps nothing."""
    return "/dev/shm" if os.access("/dev/shm", os.W_OK) else None


class CentreStore(Protocol):
    """Where a centre keeps what it has."""

    address: str

    def back_up(self) -> str:
        """Keep its present state; the name of the backup."""

    def put_back(self, backup: str) -> None:
        """Put it back to a backup. Nobody is connected."""

    def end(self) -> None:
        """Remove it and its backups. Nobody is connected."""


class Sqlite:
    """A file, and copies of it."""

    def __init__(self, begin: datetime) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="shearwright-centre-", dir=folder_for_worlds()))
        self._file = self._folder / "centre.sqlite3"
        self._backups = 0
        self.address = str(self._file)
        shutil.copy(_made_once("sqlite", lambda: _sqlite_template(begin)), self._file)

    def back_up(self) -> str:
        """Copy the file."""
        self._backups += 1
        place = self._folder / f"backup-{self._backups}.sqlite3"
        copy_sqlite(self._file, place)
        return place.name

    def put_back(self, backup: str) -> None:
        """Copy a copy to its place."""
        for end in ("", "-wal", "-shm"):
            Path(f"{self._file}{end}").unlink(missing_ok=True)
        shutil.copy(self._folder / backup, self._file)

    def end(self) -> None:
        """Remove the folder."""
        shutil.rmtree(self._folder, ignore_errors=True)


class Postgresql:
    """A database of a server, and databases made from it as templates."""

    def __init__(self, begin: datetime, server: str) -> None:
        self._server = server
        template = _made_once(server, lambda: _postgresql_template(server, begin))
        self._name = f"world_{uuid.UUID(bytes=os.urandom(16)).hex}"
        self._backups: list[str] = []
        self.address = _named(server, self._name)
        _do(server, f"CREATE DATABASE {self._name} TEMPLATE {template}")

    def back_up(self) -> str:
        """Make a database from this one; the connections to it are let go before."""
        hang_up()
        name = f"{self._name}_{len(self._backups) + 1}"
        _do(self._server, f"CREATE DATABASE {name} TEMPLATE {self._name}")
        self._backups.append(name)
        return name.removeprefix(f"{self._name}_")

    def put_back(self, backup: str) -> None:
        """Make this one anew from a backup."""
        _do(
            self._server,
            f"DROP DATABASE {self._name} WITH (FORCE)",
            f"CREATE DATABASE {self._name} TEMPLATE {self._name}_{backup}",
        )

    def end(self) -> None:
        """Drop all of them."""
        _do(self._server, *(f"DROP DATABASE {name} WITH (FORCE)" for name in (self._name, *self._backups)))


def hang_up() -> None:
    """Let go of every connection of the process to the centre's database."""
    with contextlib.suppress(AttributeError):
        if not database.is_closed():
            database.close()
        if hasattr(database.obj, "close_all"):
            database.obj.close_all()


def copy_sqlite(source: Path, target: Path) -> None:
    """Copy a database that may be in use."""
    with (
        contextlib.closing(sqlite3.connect(source)) as one,
        contextlib.closing(sqlite3.connect(target)) as two,
    ):
        one.backup(two)


def _named(server: str, name: str) -> str:
    base, _, options = server.partition("?")
    return f"{base.rsplit('/', 1)[0]}/{name}" + (f"?{options}" if options else "")


def _do(server: str, *statements: str) -> None:
    with psycopg.connect(server, autocommit=True) as connection:
        for statement in statements:
            connection.execute(statement.encode("ascii"))


_TEMPLATES: dict[str, Any] = {}


def _made_once(name: str, make: Callable[[], Any]) -> Any:
    if name not in _TEMPLATES:
        _TEMPLATES[name] = make()
    return _TEMPLATES[name]


def _sqlite_template(begin: datetime) -> Path:
    place = Path(tempfile.mkdtemp(prefix="shearwright-centre-", dir=folder_for_worlds())) / "centre.sqlite3"
    _furnish(str(place), begin)
    with contextlib.closing(sqlite3.connect(place)) as made:
        made.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return place


def _postgresql_template(server: str, begin: datetime) -> str:
    name = f"world_template_{uuid.UUID(bytes=os.urandom(16)).hex}"
    _do(server, f"CREATE DATABASE {name}")
    _furnish(_named(server, name), begin)
    return name


def _furnish(address: str, begin: datetime) -> None:
    """A centre with a shop in it."""
    app = create_app(Config(database=address, clock=lambda: begin))
    with connected():
        admin = tokens.make("admin", ["admin"], now=begin)[1]
    for path, document in (
        ("sites", {"id": "northgate", "name": "Northgate", "time_zone": "Europe/London"}),
        ("machines", machine()),
        (
            "stock",
            {
                "site": "northgate",
                "ref": "SH-A",
                "length": 2500,
                "width": 1250,
                "quantity": MANY,
                "material": "S235JR",
                "thickness": 3,
            },
        ),
    ):
        answer = app.test_client().post(
            f"/v1/{path}", json=document, headers={"Authorization": f"Bearer {admin}"}
        )
        assert answer.status_code == 201, answer.text
    hang_up()


def forget_templates() -> None:
    """Remove what was made once; databases go with their server, or are dropped."""
    while _TEMPLATES:
        name, made = _TEMPLATES.popitem()
        if name == "sqlite":
            shutil.rmtree(made.parent, ignore_errors=True)
        else:
            _do(name, f"DROP DATABASE {made} WITH (FORCE)")
