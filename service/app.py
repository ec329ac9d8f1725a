"""The service as a WSGI application."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from typing import Any, Self

from flask import Flask, request

from service.api.attention import attention
from service.api.checks import checks
from service.api.keys import keys
from service.api.lifting import lifting
from service.api.loading import load_shop
from service.api.openapi import openapi_document
from service.api.operating import operating
from service.api.operations import Operation
from service.api.plans import plans
from service.api.problems import register_errors
from service.api.reports import reports
from service.api.shear import shear
from service.api.shop import SHELVES
from service.api.sync import sync
from service.api.wear import wear
from service.store.ages import Ages
from service.store.database import database, open_database
from service.store.migrate import migrate

__all__ = ["Config", "all_operations", "contract", "create_app", "load_shop"]


def now_utc() -> datetime:
    """The clock of the service."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Config:
    """What can be set, and its defaults.

    Attributes
    ----------
    database
        A path, or ``postgresql://…``.
    host, port
        Where to listen.
    most_body_bytes
        Largest body taken.
    most_order_lines
        Most lines of parts and stock planned within a request.
    ages
        How long what may go is kept.
    most_connections
        Most connections to PostgreSQL at once; each request that is being answered holds one.
    """

    database: str = "shearwright.sqlite3"
    host: str = "127.0.0.1"
    port: int = 8080
    most_body_bytes: int = 8 * 1024 * 1024
    most_order_lines: int = 400
    most_connections: int = 20
    ages: Ages = field(default_factory=Ages)
    clock: Callable[[], datetime] = now_utc

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> Self:
        """Read SHEARWRIGHT_DATABASE, _HOST, _PORT, _MOST_BODY_BYTES and _MOST_ORDER_LINES.

        Raises
        ------
        ValueError
            Naming the variable and what is wanted.
        """
        given: dict[str, Any] = {}
        for name in ("database", "host"):
            if text := environment.get(f"SHEARWRIGHT_{name.upper()}"):
                given[name] = text
        for name, most in (("port", 65_535), ("most_body_bytes", 2**31), ("most_order_lines", 20_000)):
            variable = f"SHEARWRIGHT_{name.upper()}"
            if text := environment.get(variable):
                if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= most:
                    raise ValueError(f"{variable}: a whole number from 1 to {most} is wanted, not {text!r}")
                given[name] = int(text)
        return cls(**given, ages=Ages.from_environment(environment))


def contract() -> dict[str, Any]:
    """The OpenAPI document."""
    return openapi_document(all_operations())


def all_operations() -> list[Operation]:
    """Every operation of the contract."""
    resources = [
        operating,
        plans,
        checks,
        shear,
        wear,
        lifting,
        *(shelf.operations() for shelf in SHELVES),
        keys,
        sync,
        attention,
        reports,
    ]
    return [operation for resource in resources for operation in resource.all]


def create_app(config: Config | None = None, *, prepare: bool = True) -> Flask:
    """Make the application; the database is opened and, unless told otherwise, brought up to date."""
    config = config or Config.from_environment()
    open_database(config.database, most_connections=config.most_connections)
    if prepare:
        migrate()
    app = Flask("shearwright", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = config.most_body_bytes
    app.config["MOST_ORDER_LINES"] = config.most_order_lines
    app.config["CLOCK"] = config.clock
    app.config["AGES"] = config.ages
    app.url_map.merge_slashes = False
    register_errors(app)
    operations = all_operations()
    for operation in operations:
        operation.add_to(app)
    app.config["OPERATIONS"] = operations
    app.config["OPENAPI"] = cache(lambda: openapi_document(operations))
    # What is open to all asks no token of the database, and answers when there is none.
    closed = {operation.name for operation in operations if operation.scopes}

    @app.before_request
    def _connect() -> None:
        if request.endpoint in closed:
            database.connect(reuse_if_open=True)

    @app.teardown_request
    def _close(error: BaseException | None) -> None:
        if not database.is_closed():
            database.close()

    return app
