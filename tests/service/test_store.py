"""The store's own promises, on both databases: tables, times, pragmas, the order of the feed."""

from __future__ import annotations

import os
import threading
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from peewee import IntegrityError

from service.store import answers, audits, records
from service.store import feed as feed_of
from service.store.database import DatabaseAddressError, connected, database, is_postgresql, open_database
from service.store.migrate import NewerDatabaseError, known_migrations, migrate
from service.store.models import TABLES, Chain, Event, Record, Tally
from tests.service.shop import NOW, Service, Station


def test_migrations_run_once_and_make_the_tables_of_the_models(address: str) -> None:
    open_database(address)
    names = [step.name for step in known_migrations()]
    assert migrate() == names
    assert migrate() == []
    with connected():
        for table in TABLES:
            meta = table._meta  # type: ignore[attr-defined]
            made = {column.name for column in database.get_columns(meta.table_name)}
            assert made == {field.column_name for field in meta.sorted_fields}, meta.table_name


def test_a_step_that_adds_a_sum_counts_it_from_the_events_there_are(
    service: Service, station: Station
) -> None:
    service.push([station.cut(), station.cut(minutes=None)])
    with connected():
        database.execute_sql("ALTER TABLE tally DROP COLUMN parts_timed")
        database.execute_sql("DELETE FROM migration WHERE name = 'm0002_parts_timed'")
    assert migrate() == ["m0002_parts_timed"]
    with connected():
        assert audits.audit() == []
        assert [row.parts_timed for row in Tally.select()] == [4]


def test_migrating_keeps_what_is_there(service: Service) -> None:
    before = service.get("/sync/changes").json
    assert migrate() == []
    after = service.get("/sync/changes").json
    assert (after["centre_epoch"], after["changes"]) == (before["centre_epoch"], before["changes"])


def test_a_database_of_a_newer_version_is_left_alone(address: str) -> None:
    open_database(address)
    migrate()
    with connected():
        database.execute_sql("INSERT INTO migration (name) VALUES ('m9999_later')")
    with pytest.raises(NewerDatabaseError, match="m9999_later"):
        migrate()


def test_many_processes_may_migrate_at_once(address: str) -> None:
    open_database(address)
    run: list[list[str]] = []
    threads = [threading.Thread(target=lambda: run.append(migrate())) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(map(len, run)) == [0, 0, 0, len(list(known_migrations()))]


def test_sqlite_is_opened_so_that_nothing_is_lost_in_a_power_cut(small: Service) -> None:
    with connected():
        found = {
            name: database.execute_sql(f"PRAGMA {name}").fetchone()[0]
            for name in ("auto_vacuum", "journal_mode", "synchronous", "foreign_keys")
        }
    assert found == {"auto_vacuum": 2, "journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


@pytest.mark.skipif(os.name != "posix", reason="files have no modes there")
def test_a_new_database_file_and_its_journals_are_for_their_owner_alone(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        open_database(str(tmp_path / "centre.sqlite3"))
        with connected():
            migrate()
            modes = {one.name: one.stat().st_mode & 0o777 for one in tmp_path.iterdir()}
    finally:
        os.umask(before)
    assert modes == dict.fromkeys((f"centre.sqlite3{end}" for end in ("", "-wal", "-shm")), 0o600)


def test_a_time_comes_back_as_it_was_and_a_naive_one_is_refused(service: Service) -> None:
    here = datetime(2026, 3, 29, 1, 30, 0, 123456, tzinfo=timezone(timedelta(hours=13)))
    with connected():
        epochs = []
        for index, moment in enumerate((here, NOW)):
            Chain.insert(
                station="s",
                epoch=str(index),
                site="x",
                has_to_seq=0,
                last_hash="",
                started_at=moment,
                heard_at=moment,
                clock_ahead_ms=-(2**40),
            ).execute()
        row = Chain.get(Chain.epoch == "0")
        assert row.started_at == here
        assert row.started_at.tzinfo == UTC
        assert row.clock_ahead_ms == -(2**40)
        epochs = [chain.epoch for chain in Chain.select().order_by(Chain.started_at)]
        assert epochs == ["1", "0"]
        with pytest.raises(ValueError, match="offset"):
            Chain.update(heard_at=datetime(2026, 1, 1)).execute()  # noqa: DTZ001 - the point of it


def test_the_tables_themselves_refuse_doubles_and_nonsense(service: Service) -> None:
    values = {
        "station": "s",
        "site": "x",
        "epoch": "e",
        "seq": 1,
        "event_id": "i",
        "type": "t",
        "document": {},
        "hash": "h",
        "received_at": NOW,
        "clock_ahead_ms": 0,
        "state": "applied",
    }
    with connected():
        Event.insert(**values).execute()
        for wrong in ({}, {"seq": 2}, {"seq": 0, "event_id": "j"}, {"seq": 3, "state": "lost"}):
            with pytest.raises(IntegrityError), database.atomic():
                Event.insert(**{**values, **wrong}).execute()
        Event.insert(**{**values, "seq": 2, "state": "again"}).execute()


def test_a_late_commit_is_not_passed_by_a_reader(service: Service) -> None:
    """The classic hole: a low number that becomes visible after a higher one. Here it cannot."""
    holding, release = threading.Event(), threading.Event()

    def write(key: str, hold: bool) -> None:
        with connected(), database.atomic():
            records.write("material", key, {"grade": key}, site=None, by="test", now=NOW)
            if hold:
                holding.set()
                release.wait(10)

    with connected():
        start = feed_of.changes(0, site=None, everything=True).position
    slow = threading.Thread(target=write, args=("slow", True))
    slow.start()
    assert holding.wait(10)
    quick = threading.Thread(target=write, args=("quick", False))
    quick.start()
    quick.join(0.3)
    with connected():
        page = feed_of.changes(start, site=None, everything=True)
        assert (page.changes, page.position) == ((), start)
    release.set()
    slow.join()
    quick.join()
    with connected():
        page = feed_of.changes(page.position, site=None, everything=True)
        assert [change.key for change in page.changes] == ["slow", "quick"]


def test_what_is_rolled_back_leaves_no_trace(service: Service) -> None:
    def fail() -> None:
        with database.atomic():
            records.write("material", "gone", {}, site=None, by="test", now=NOW)
            raise ZeroDivisionError

    with connected():
        before = feed_of.changes(0, site=None, everything=True)
        with pytest.raises(ZeroDivisionError):
            fail()
        assert feed_of.changes(0, site=None, everything=True) == before


def test_writers_at_once_give_every_record_a_place_of_its_own(service: Service) -> None:
    def write(number: int) -> None:
        with connected():
            for _ in range(5):
                records.write("material", f"M{number % 3}", {}, site=None, by="test", now=NOW)

    threads = [threading.Thread(target=write, args=(number,)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with connected():
        places = [row.position for row in Record.select()]
        assert len(set(places)) == len(places)
        assert [records.find("material", f"M{n}").revision for n in range(3)] == [10, 10, 10]  # type: ignore[union-attr]


def test_a_page_of_the_feed_holds_no_more_than_its_size_but_one(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    with connected():
        start = feed_of.changes(0, site=None, everything=True, limit=500).position
        monkeypatch.setattr(feed_of, "PAGE_LETTERS", 1000)
        for number, size in enumerate((400, 400, 400, 5000, 10)):
            records.write("plan", f"p{number}", {"x": "y" * size}, site=None, by="test", now=NOW)
        pages, position, more = [], start, True
        while more:
            page = feed_of.changes(position, site=None, everything=True)
            pages.append([change.key for change in page.changes])
            position, more = page.position, page.more
    assert pages == [["p0", "p1"], ["p2"], ["p3"], ["p4"]]


def test_work_under_one_key_is_done_once_however_many_ask(service: Service) -> None:
    done: list[int] = []
    told: list[object] = []

    def ask() -> None:
        def work() -> tuple[answers.Kept, object]:
            done.append(1)
            return answers.Kept("same", 201, {}, {"n": 1}), {"n": 1}

        with connected():
            told.append(answers.once("t", "k", found=lambda kept: kept.document, made=work, now=NOW))

    threads = [threading.Thread(target=ask) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(done) == 1
    assert told == [{"n": 1}] * 6


@pytest.mark.parametrize(
    ("wrong", "wanted"),
    [
        ("mysql://host/name", "a path, sqlite:///path or postgresql"),
        ("postgresql://host", "lacks the name of the database"),
        (":memory:", "the path of a file"),
        ("sqlite:///", "the path of a file"),
    ],
)
def test_an_address_of_no_database_is_refused_in_words(wrong: str, wanted: str) -> None:
    with pytest.raises(DatabaseAddressError, match=wanted):
        open_database(wrong)


def test_both_kinds_of_database_are_what_they_say(address: str) -> None:
    open_database(address)
    assert is_postgresql() == address.startswith("postgresql")
