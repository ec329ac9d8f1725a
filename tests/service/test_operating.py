"""Whether the service lives and is ready, also when its database is not there."""

from __future__ import annotations

import threading

import pytest
from click.testing import CliRunner

from service import cli
from service.app import Config, create_app
from service.store import database as store
from service.store.database import connected, is_postgresql
from tests.service.shop import Service

NOWHERE = "postgresql://nobody@127.0.0.1:1/nothing?connect_timeout=1"


def test_a_service_without_its_database_lives_and_says_that_it_is_not_ready() -> None:
    http = create_app(Config(database=NOWHERE), prepare=False).test_client()
    assert http.get("/v1/health/live").json == {"live": True}
    for path in ("/v1/openapi.json", "/v1/docs"):
        assert http.get(path).status_code == 200
    ready = http.get("/v1/health/ready")
    assert (ready.status_code, ready.json["title"]) == (503, "Not ready")
    assert http.get("/v1/plans", headers={"Authorization": "Bearer x"}).status_code == 503


def test_a_service_with_its_database_is_ready(service: Service) -> None:
    answer = service.get("/health/ready", None)
    assert answer.status_code == 200
    assert answer.json["database"] == ("postgresql" if is_postgresql() else "sqlite")


def test_who_finds_every_connection_taken_is_told_to_come_again(
    postgresql: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "WAIT_S", 1)
    http = create_app(Config(database=postgresql, most_connections=1), prepare=False).test_client()
    taken, told = threading.Event(), threading.Event()

    def hold() -> None:
        with connected():
            taken.set()
            told.wait(30)

    holder = threading.Thread(target=hold)
    holder.start()
    taken.wait(30)
    try:
        answer = http.get("/v1/plans", headers={"Authorization": "Bearer x"})
    finally:
        told.set()
        holder.join()
        store.database.obj.close_all()
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "5")


def test_a_server_with_many_threads_has_a_connection_for_each(
    monkeypatch: pytest.MonkeyPatch, postgresql: str
) -> None:
    made: list[Config] = []

    class EnoughSeenError(Exception):
        pass

    def seen(config: Config, *, prepare: bool) -> None:
        made.append(config)
        raise EnoughSeenError

    monkeypatch.setattr(cli, "create_app", seen)
    monkeypatch.setattr(cli, "prepared", lambda _: [])
    CliRunner().invoke(cli.main, ["--database", postgresql, "serve", "--threads", "40"])
    assert [config.most_connections for config in made] == [40]
