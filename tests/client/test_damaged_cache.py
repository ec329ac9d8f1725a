"""A cache that is damaged is called so, with what to do; it never stops what is written down and sent."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from client.cli import cli
from client.errors import CacheDamaged
from client.log.without_plan import log_taken
from client.sync import pull_anew, sync_once
from client.workstation import workstation_at

ADVICE = "shearwright pull --anew fetches all records anew"


def change(station, old, new, kind="machine"):
    """As a bad sector does."""
    body = station.records.sql.value("SELECT body FROM record WHERE kind = ?", kind)
    assert old in body
    station.records.sql.run("UPDATE record SET body = ? WHERE kind = ?", body.replace(old, new), kind)


def run(home, *words):
    return CliRunner().invoke(cli, ["--home", str(home.folder), *words])


@pytest.mark.parametrize(
    ("old", "new"), [('"cutting_length_mm": 3000', '"cutting_length_mm": 9000'), ("{", "[")]
)
def test_a_record_that_changed_is_not_worked_with(stocked, home, old, new):
    change(stocked, old, new)
    with pytest.raises(CacheDamaged, match="the machine bench-3m is not as it came any more"):
        stocked.machine("bench-3m")
    stocked.close()
    for words in (["machines"], ["log", "gauge", "--gauge", "300", "--measured", "300.1"]):
        done = run(home, *words)
        assert done.exit_code == 8, done.output
        assert ADVICE in done.stderr
        assert "a fault in the program" not in done.stderr
    told = run(home, "status")
    assert told.exit_code == 0
    assert "machine bench-3m" in told.stdout
    assert ADVICE in told.stdout


def test_every_kind_of_record_is_looked_at_and_only_those_that_changed_are_named(stocked):
    assert stocked.records.damaged() == []
    change(stocked, "Northgate", "Southgate", kind="site")
    assert stocked.records.damaged() == ["site northgate"]
    assert str(stocked.zone()) == "UTC", "the site is not trusted, and nothing is stopped by it"


def test_pull_anew_puts_damaged_records_right_and_keeps_what_was_written_down(service, connected):
    with connected(service) as station:
        sync_once(station)
        log_taken(station, "SH-A", 1, station.machine("bench-3m"))
        change(station, '"cutting_length_mm": 3000', '"cutting_length_mm": 9000')
        report = pull_anew(station)
        assert report.complete
        assert [(one.kind, one.what) for one in report.changes] == [("machine", "new")]
        assert station.machine("bench-3m").cutting_length == 300_000
        assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 7
        assert report.counts.pending == 1


def test_pull_anew_without_the_service_leaves_the_records_as_they_are(stocked, hurry):
    report = pull_anew(stocked, patience=hurry(tries=1))
    assert not report.complete
    assert stocked.machine("bench-3m").id == "bench-3m"


def test_a_cache_that_is_no_database_is_put_aside_and_sending_goes_on(service, connected):
    with connected(service) as station:
        sync_once(station)
        log_taken(station, "SH-A", 1, station.machine("bench-3m"))
        home = station.home
    home.cache_file.write_bytes(b"this is not a database, and longer than a hundred bytes " * 100)
    done = run(home, "sync")
    assert done.exit_code == 0, done.output
    assert "put aside as" in done.stderr
    with workstation_at(home) as station:
        assert station.outbox.counts().pending == 0
        assert station.machine("bench-3m").id == "bench-3m"
        assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 7


def test_a_cache_with_damaged_pages_is_put_aside_by_pull_anew(service, connected):
    with connected(service) as station:
        sync_once(station)
        home = station.home
        station.records.sql.run("PRAGMA wal_checkpoint(TRUNCATE)")
        page = station.records.sql.value("SELECT rootpage FROM sqlite_master WHERE name = 'record'")
    with home.cache_file.open("r+b") as file:
        file.seek(4096 * (page - 1))
        file.write(b"\xa5" * 4096)
    assert run(home, "machines").exit_code == 8
    done = run(home, "pull", "--anew")
    assert done.exit_code == 0, done.output
    assert "machine bench-3m new" in done.stdout
    assert run(home, "machines").exit_code == 0


def test_a_count_that_is_no_number_is_no_fault_of_the_program(stocked, home):
    stocked.records.sql.set_meta("settled_to", "4x")
    stocked.close()
    done = run(home, "stock")
    assert done.exit_code == 4, done.output
    assert "put aside" in done.stderr
    assert "shearwright pull" in done.stderr
