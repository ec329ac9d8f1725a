"""A damaged store: what can be read comes over, what cannot is named, and nothing is deleted."""

import shutil
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from client.cache.clock import Ticks
from client.cache.outbox import Draft, Outbox
from client.cli import cli
from client.errors import StoreFailed
from client.log.machine import log_gauge
from client.log.step import log_step
from client.log.without_plan import log_taken
from client.planning import plan_here
from client.salvage import salvage
from client.sync import sync_once
from client.workstation import workstation_at

PAGE = 4096


def flushed(home):
    """Everything from the journal into the file itself."""
    with sqlite3.connect(home.store_file) as store:
        store.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()


def log(station, count, operator="ab"):
    machine = station.machine("bench-3m")
    return [
        log_gauge(station, machine, 30_000, 30_000 + n, operator=operator).events[0].event_id
        for n in range(count)
    ]


def ids(home):
    with workstation_at(home) as station:
        return {one.event_id for one in station.outbox.all_events()}


def spoil(home, first, pages=1):
    with home.store_file.open("r+b") as file:
        file.seek(PAGE * first)
        file.write(b"\xa5" * PAGE * pages)


def test_a_whole_store_comes_over_whole(home, stocked, order_document):
    kept = plan_here(stocked, order_document)
    log_step(stocked, kept.id, 1)
    logged = set(log(stocked, 20)) | {one.event_id for one in stocked.outbox.all_events()}
    rack = stocked.rack()
    stocked.close()
    done = salvage(home, "bench1")
    assert done.unread == []
    assert (done.events, done.pending) == (len(logged), len(logged))
    assert ids(home) == logged
    with workstation_at(home) as station:
        assert station.rack() == rack
        assert station.plan_document(kept.id)["order_ref"] == "W-1042"
        assert station.outbox.counts().pending == len(logged)
        assert station.outbox.sql.value("SELECT count(*) FROM step_done") == 1
        assert done.aside.exists()


@pytest.mark.parametrize("place", range(1, 40, 3))
def test_whatever_page_is_damaged_all_others_come_over(home, stocked, place):
    logged = log(stocked, 120, operator="x" * 60)
    stocked.close()
    flushed(home)
    if PAGE * place >= home.store_file.stat().st_size:
        pytest.fail("the store is smaller than the test thinks")
    before = home.store_file.read_bytes()
    # What a page of the table of events can take with it: the events in it.
    most = 1 + PAGE // 500
    spoil(home, place)
    damaged = home.store_file.read_bytes()
    assert damaged != before
    done = salvage(home, "bench1")
    here = ids(home)
    assert here <= set(logged)
    assert len(logged) - len(here) <= most
    if len(here) < len(logged):
        assert any("entries" in words or "number" in words for words in done.unread), done.unread
    assert done.aside.read_bytes() == damaged
    with workstation_at(home) as station:
        station.outbox.sql.check()
        assert log(station, 1)[0] not in logged


def test_a_store_without_its_first_page_is_searched_byte_by_byte(home, stocked):
    logged = set(log(stocked, 50))
    stocked.close()
    flushed(home)
    spoil(home, 0)
    with pytest.raises(StoreFailed, match="shearwright salvage"):
        Outbox(home, "bench1")
    done = salvage(home, "bench1")
    assert ids(home) == logged
    assert done.unread


def test_a_second_salvage_brings_nothing_twice(home, stocked):
    logged = set(log(stocked, 10))
    stocked.close()
    aside = salvage(home, "bench1").aside
    again = salvage(home, "bench1", aside)
    assert (again.events, again.known_already) == (0, 10)
    assert ids(home) == logged


def test_another_stations_store_is_not_taken_for_ours(home, stocked):
    log(stocked, 3)
    stocked.close()
    done = salvage(home, "bench2")
    assert done.events == 0
    assert len(done.unread) >= 3


def test_an_event_changed_by_a_single_sign_is_not_taken(home, stocked):
    log(stocked, 3)
    stocked.close()
    flushed(home)
    data = home.store_file.read_bytes()
    home.store_file.write_bytes(data.replace(b'"measured_mm":300.01', b'"measured_mm":399.01'))
    done = salvage(home, "bench1")
    assert done.events == 2
    assert any("number 2" in words or "entry 2" in words for words in done.unread)


def test_after_a_salvage_the_centre_has_everything_once(service, connected):
    with connected(service) as station:
        sync_once(station)
        machine = station.machine("bench-3m")
        log_taken(station, "SH-A", 1, machine)
        sync_once(station)
        log_taken(station, "SH-A", 2, machine)
        home = station.home
    flushed(home)
    spoil(home, 0)
    salvage(home, "bench1")
    with connected(service) as station:
        assert "damaged" in station.outbox.sql.value("SELECT why FROM epoch ORDER BY number DESC LIMIT 1")
        report = sync_once(station)
        assert report.complete
        # Read from bytes alone the first is not known to be acknowledged: it is offered, and is a repeat.
        assert (report.pushed.applied, report.pushed.repeats) == (1, 1)
        assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 5
    assert {
        item["ref"]: item["quantity"] for item in service.get("/v1/stock", service.plan_token())["items"]
    }["SH-A"] == 5


def test_a_salvage_that_stops_half_way_can_be_run_again(home, stocked, monkeypatch):
    logged = set(log(stocked, 10))
    stocked.close()
    monkeypatch.setattr("client.salvage.adopt", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        salvage(home, "bench1")
    monkeypatch.undo()
    (aside,) = home.folder.glob("station.sqlite3.salvaged-*[0-9]")
    salvage(home, "bench1", aside)
    assert ids(home) == logged


def test_a_folder_that_cannot_be_written_is_said_and_nothing_is_changed(home, stocked, monkeypatch):
    log(stocked, 3)
    stocked.close()
    before = home.store_file.read_bytes()

    def full(*_given):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shutil, "copy2", full)
    with pytest.raises(StoreFailed, match="No space left on device; nothing was changed"):
        salvage(home, "bench1")
    assert home.store_file.read_bytes() == before


def test_the_command_tells_what_it_did(shearwright, home, stocked):
    log(stocked, 4)
    stocked.close()
    flushed(home)
    spoil(home, 0)
    done = shearwright(home.folder, "status")
    assert done.returncode == 8
    assert "shearwright salvage" in done.stderr
    done = shearwright(home.folder, "salvage")
    assert done.returncode == 0, done.stderr
    assert "brought over: 4 entries, 4 of them to be sent" in done.stdout
    assert "could not be read: " in done.stdout
    assert "do not delete it" in done.stdout
    assert list(Path(home.folder).glob("station.sqlite3.salvaged-*"))
    assert shearwright(home.folder, "status").returncode == 0


@pytest.mark.parametrize("into", ["a new store", "one that is in use since"])
def test_what_was_timed_by_a_clock_that_was_moved_keeps_its_reckoning(home, into):
    """It was logged with the clock a day ahead; then the clock was set right; then the store was damaged."""
    begin = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    off, seconds = timedelta(days=1), 0.0

    def opened():
        return Outbox(
            home,
            "bench1",
            now=lambda: begin + timedelta(seconds=seconds) + off,
            ticks=lambda: Ticks("one", seconds),
        )

    drafts = [Draft("gauge.measured", {"machine": "bench-3m", "gauge_mm": 1.0, "measured_mm": 1.0})]
    box = opened()
    (early,) = box.write(drafts)
    off, seconds = timedelta(), 600.0
    (late,) = box.write(drafts)
    assert (early.clock, late.clock) == (0, 1)
    box.close()
    flushed(home)
    if into == "a new store":
        salvage(home, "bench1")
    else:
        aside = home.store_file.with_name("station.sqlite3.damaged-1")
        home.store_file.rename(aside)
        home.mark_file.unlink()
        box = opened()
        box.write(drafts)
        # Moved in its own time, too, which must not be confused with the moves of before.
        off, seconds = timedelta(hours=5), 1200.0
        box.write(drafts)
        box.close()
        salvage(home, "bench1", aside)
    box = opened()
    try:
        for one in box.all_events():
            if one.event_id not in {early.event_id, late.event_id}:
                continue
            # What the clock that timed it would show now: the centre takes the difference off its time.
            shown = datetime.fromisoformat(box.sent_at(one.clock))
            ahead = shown - (begin + timedelta(seconds=seconds))
            assert ahead == (timedelta(days=1) if one.event_id == early.event_id else timedelta())
    finally:
        box.close()


def test_a_sound_store_is_not_salvaged_by_mistake(home, stocked):
    log(stocked, 2)
    epochs = stocked.outbox.epochs()
    stocked.close()
    words = ["--home", str(home.folder), "salvage"]
    refused = CliRunner().invoke(cli, words)
    assert refused.exit_code == 3
    assert "no damage is found in the store in use, and nothing was done" in refused.stderr
    with workstation_at(home) as station:
        assert station.outbox.epochs() == epochs
    assert CliRunner().invoke(cli, [*words, "--sure"]).exit_code == 0


def test_an_entry_that_changed_is_damage_enough_to_salvage(home, stocked):
    log(stocked, 2)
    (last,) = stocked.outbox.latest(1)
    body = last.body.replace(b'"bench-3m"', b'"bench-9m"')
    stocked.outbox.sql.run("UPDATE event SET body = ? WHERE id = ?", body, last.row)
    stocked.close()
    done = CliRunner().invoke(cli, ["--home", str(home.folder), "salvage"])
    assert done.exit_code == 0, done.output
    assert "brought over: 1 entr" in done.output
