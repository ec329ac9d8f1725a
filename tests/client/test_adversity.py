"""What can happen to a store: each is recognised, said plainly, and handled, and nothing is lost."""

import shutil
import sqlite3
import threading
from pathlib import Path

import pytest
from click.testing import CliRunner

from client.cache.outbox import Draft, Outbox
from client.cli import cli
from client.errors import StoreBusy, StoreFailed
from client.home import Home
from client.log.batch import Batch
from client.log.without_plan import log_taken
from client.sync import sync_once
from client.workstation import workstation_at


def draft(operator="ab"):
    return Draft(
        "gauge.measured",
        {"machine": "bench-3m", "gauge_mm": 1.0, "measured_mm": 1.0, "operator": operator},
    )


def test_what_is_on_the_disk_is_never_called_unwritten_when_only_the_mark_fails(home, station, monkeypatch):
    """A person who is told "the disk is full" logs again, and the cut would count twice."""

    def full(*_given):
        raise StoreFailed("mark.json cannot be written: No space left on device")

    monkeypatch.setattr("client.cache.epochs.write_mark", full)
    batch = Batch(station)
    batch.add("gauge.measured", draft().payload)
    logged = batch.write()
    assert len(logged.events) == 1
    assert any("is written; only the mark" in note for note in logged.notes)
    monkeypatch.undo()
    station.close()
    with workstation_at(home) as again:
        assert again.outbox.notice is None, "a mark that stays behind is no doubt"
        assert again.outbox.counts().pending == 1
        assert again.outbox.write([draft()])[0].seq == 2


def test_a_disk_that_fills_while_logging_says_so_and_keeps_all_or_nothing_of_a_step(stocked):
    sql = stocked.outbox.sql
    machine = stocked.machine("bench-3m")
    log_taken(stocked, "SH-A", 1, machine)
    sql.value(f"PRAGMA max_page_count = {sql.value('PRAGMA page_count') + 1}")

    def fill():
        for _ in range(500):
            log_taken(stocked, "SH-A", 1, machine)

    with pytest.raises(StoreFailed, match="disk is full; nothing was written"):
        fill()
    events = sql.value("SELECT count(*) FROM event")
    assert sql.value("SELECT count(*) FROM stock_change") == events
    sql.value("PRAGMA max_page_count = 100000")
    log_taken(stocked, "SH-A", 1, machine)
    sql.check()


def test_a_disk_that_is_full_while_syncing_loses_nothing(service, connected):
    with connected(service) as station:
        sync_once(station)
        machine = station.machine("bench-3m")
        for _ in range(3):
            log_taken(station, "SH-A", 1, machine)
        sql = station.outbox.sql
        plain = sql._execute

        def full(statement, values=()):
            if statement.startswith("UPDATE event SET state"):
                raise sqlite3.OperationalError("database or disk is full")
            return plain(statement, values)

        sql._execute = full
        with pytest.raises(StoreFailed, match="disk is full"):
            sync_once(station)
        del sql._execute
        assert station.outbox.counts().pending == 3, "the centre has them, and we do not know it yet"
        report = sync_once(station)
        assert (report.pushed.applied, report.pushed.repeats) == (0, 3)
        assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 5


def test_a_store_that_another_program_holds_is_said_to_be_held_and_nothing_is_written(station, monkeypatch):
    station.outbox.write([draft()])
    station.outbox.sql.run("PRAGMA busy_timeout = 100")
    other = sqlite3.connect(station.home.store_file, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        with pytest.raises(StoreBusy, match="held by another program; try again"):
            station.outbox.write([draft()])
    finally:
        other.execute("ROLLBACK")
        other.close()
    assert station.outbox.write([draft()])[0].seq == 2


@pytest.mark.parametrize("name", ["store_file", "cache_file"])
def test_whoever_only_reads_does_not_wait_for_whoever_writes(stocked, home, name):
    """The cache is written while records come in, the store while a run of events is acknowledged."""
    stocked.outbox.write([draft()])
    stocked.close()
    other = sqlite3.connect(getattr(home, name), isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        for words in (["status"], ["log", "list"], ["stock"], ["machines"]):
            done = CliRunner().invoke(cli, ["--home", str(home.folder), *words])
            assert done.exit_code == 0, done.output
    finally:
        other.execute("ROLLBACK")
        other.close()


def test_a_lock_that_another_shearwright_holds_is_waited_for_and_then_said(home, station, monkeypatch):
    monkeypatch.setattr("client.home.WRITER_WAIT_S", 0.2)
    held, let_go = threading.Event(), threading.Event()

    def hold():
        with home.writing():
            held.set()
            let_go.wait(10)

    thread = threading.Thread(target=hold)
    thread.start()
    held.wait(5)
    try:
        with pytest.raises(StoreBusy, match="another shearwright is writing"):
            station.outbox.write([draft()])
    finally:
        let_go.set()
        thread.join()
    assert station.outbox.counts().pending == 0


def test_a_store_that_is_no_store_is_said_to_be_damaged_and_kept(home):
    home.store_file.write_bytes(b"this is not a database, and longer than a hundred bytes " * 10)
    with pytest.raises(StoreFailed, match=r"is damaged; a copy is in .*shearwright salvage"):
        Outbox(home, "bench1")
    assert home.store_file.exists()
    assert list(home.folder.glob("*.damaged-*"))


def test_the_rack_is_right_after_a_store_was_put_back(service, connected, tmp_path):
    """Row numbers are given out again; the cache must not take new events for ones it includes."""
    with connected(service) as station:
        sync_once(station)
        machine = station.machine("bench-3m")
        log_taken(station, "SH-A", 1, machine)
        folder = station.home.folder
    shutil.copy(folder / "station.sqlite3", tmp_path / "backup")
    with connected(service) as station:
        for _ in range(3):
            log_taken(station, "SH-A", 1, machine)
        assert sync_once(station).complete
        assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 4
    for end in ("-wal", "-shm"):
        Path(f"{folder / 'station.sqlite3'}{end}").unlink(missing_ok=True)
    shutil.copy(tmp_path / "backup", folder / "station.sqlite3")
    with connected(service) as station:
        assert "put back" in (station.outbox.notice or "")
        log_taken(station, "SH-A", 2, machine)
        assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 2
        assert sync_once(station).complete
        assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 2


def test_the_rack_is_right_after_the_store_was_lost_and_the_cache_was_not(service, connected):
    with connected(service) as station:
        sync_once(station)
        machine = station.machine("bench-3m")
        for _ in range(3):
            log_taken(station, "SH-A", 1, machine)
        assert sync_once(station).complete
        folder = station.home.folder
    for end in ("", "-wal", "-shm"):
        Path(f"{folder / 'station.sqlite3'}{end}").unlink(missing_ok=True)
    with connected(service) as station:
        assert "gone" in (station.outbox.notice or "")
        log_taken(station, "SH-A", 1, machine)
        assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 4


def test_a_folder_copied_to_another_computer_and_used_there_ends_with_everything_counted_once(
    service, connected, tmp_path
):
    with connected(service) as station:
        sync_once(station)
        machine = station.machine("bench-3m")
        log_taken(station, "SH-A", 1, machine)
        folder = station.home.folder
    copy = tmp_path / "laptop"
    shutil.copytree(folder, copy)
    with connected(service) as station:
        log_taken(station, "SH-A", 1, machine)
        assert sync_once(station).complete
    with workstation_at(Home(copy)) as twin:
        # On this computer the copy looks like the original, so that only the centre can tell.
        log_taken(twin, "SH-A", 1, machine)
        report = sync_once(twin)
        assert report.complete
        assert any("a new epoch was begun" in notice for notice in report.notices)
    with connected(service) as station:
        assert sync_once(station).complete
        assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 5


def test_quarantine_is_told_in_words(service, connected, shearwright):
    with connected(service) as station:
        sync_once(station)
        station.outbox.write([Draft("gauge.measured", {**draft().payload, "machine": "bench-9m"})])
        assert sync_once(station).pushed.quarantined == 1
        folder = station.home.folder
    told = shearwright(folder, "status").stdout
    assert "(entry 1, at the centre): machine: no machine is known by the id 'bench-9m'" in told
