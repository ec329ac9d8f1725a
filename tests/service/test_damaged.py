"""The centre's database is damaged on the disk: it is said, and no entry is blamed for it."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner

from service.cli import main
from service.store.database import connected, database, is_postgresql
from service.store.models import Chain, Event
from tests.service.shop import Service, Station

DAMAGED = (
    "CREATE FUNCTION damaged() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
    " RAISE EXCEPTION 'invalid page in block 7' USING ERRCODE = 'data_corrupted'; END $$"
)


def spoil(service: Service, table: str) -> None:
    """Damage a table: on SQLite its last page, on PostgreSQL by the server's own error when it is written."""
    if is_postgresql():
        with connected():
            database.execute_sql(DAMAGED)
            database.execute_sql(
                f"CREATE TRIGGER damaged BEFORE INSERT ON {table} EXECUTE FUNCTION damaged()"
            )
        return
    if not database.is_closed():
        database.close()
    with closing(sqlite3.connect(service.address)) as file:
        file.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        ((size,),) = file.execute("PRAGMA page_size").fetchall()
        ((page,),) = file.execute(
            "SELECT max(pageno) FROM dbstat WHERE name = ? AND pagetype = 'leaf'", (table,)
        ).fetchall()
    with Path(service.address).open("r+b") as out:
        out.seek((page - 1) * size)
        out.write(b"\xff" * size)


def test_a_push_that_meets_damage_puts_no_event_into_quarantine(service: Service, station: Station) -> None:
    """Stored without its effect it would be acknowledged, and blamed for what is no fault of its own."""
    assert service.push([station.cut()]).status_code == 200
    spoil(service, "tally")
    answer = service.push([station.cut()])
    assert answer.status_code == 500, answer.text
    assert "the database of the service is damaged" in answer.json["detail"]
    with connected():
        assert Event.select().count() == 1
        assert [row.has_to_seq for row in Chain.select()] == [1]


@pytest.mark.parametrize(
    "words", [("audit",), ("export-entries", "--before", "2027-01-01", "--out", "events.jsonl")], ids=" ".join
)
def test_a_command_that_meets_damage_says_what_to_do(
    small: Service, station: Station, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    assert small.push([station.cut() for _ in range(40)]).status_code == 200
    spoil(small, "event")
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(main, ["--database", small.address, *words])
    assert done.exit_code == 1
    (line,) = done.output.splitlines()
    assert "cannot be used: database disk image is malformed; put it back from a backup" in line
    assert "shearwright-service restored" in line
    assert not (tmp_path / "events.jsonl").exists()


def test_damage_that_is_met_at_the_opening_is_told_once(small: Service) -> None:
    if not database.is_closed():
        database.close()
    with Path(small.address).open("r+b") as out:
        out.write(b"\xff" * 100_000)
    done = CliRunner().invoke(main, ["--database", small.address, "audit"])
    assert done.exit_code == 1
    (line,) = done.output.splitlines()
    assert line.count("cannot be used") == 1
