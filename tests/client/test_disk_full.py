"""A full disk is called by its name, and the state of the store can still be read."""

from __future__ import annotations

import errno
import os
import shutil
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from client.cache.outbox import Draft
from client.cache.sqlite import Sqlite
from client.cli import cli
from client.errors import DiskFull
from client.home import write_whole
from client.planning import plan_here
from client.workstation import workstation_at


@pytest.fixture
def full(stocked, monkeypatch):
    """A disk with no room for the journal that every opening of the store needs."""

    def run(*words):
        return CliRunner().invoke(cli, ["--home", str(stocked.home.folder), *words])

    assert run("log", "gauge", "--gauge", "300", "--measured", "300.1").exit_code == 0
    stocked.close()
    # SQLite can only say that it could not open it, on a full disk as with something in the way.
    (stocked.home.folder / "station.sqlite3-shm").mkdir()
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=4096))
    return run


def test_a_command_that_writes_says_that_the_disk_is_full(full):
    done = full("log", "gauge", "--gauge", "300", "--measured", "300.2")
    assert done.exit_code == 8
    assert "the disk is full; nothing was written" in done.output
    assert "make room" in done.output


def test_status_still_tells_what_waits(full):
    done = full("status")
    assert done.exit_code == 8
    assert "station          bench1 at northgate" in done.output
    assert "pending          1" in done.output
    assert "the disk is full" in done.output


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["stock"], "SH-A"),
        (["machines"], "bench-3m"),
        (["log", "list"], "gauge measured"),
        (["plans"], "W-1042"),
        (["show", "PLAN"], "P1"),
    ],
)
def test_what_only_reads_works_on_a_full_disk(stocked, order_document, full, words, told):
    # Planned before the disk was full: the fixture put something in the way of opening it.
    in_the_way = stocked.home.folder / "station.sqlite3-shm"
    in_the_way.rmdir()
    with workstation_at(stocked.home) as station:
        plan_id = plan_here(station, order_document).id
    in_the_way.mkdir()
    done = full(*[plan_id if word == "PLAN" else word for word in words])
    assert done.exit_code == 0, done.output
    assert told in done.output
    assert "the disk is full: this can be read, and nothing can be written down" in done.output


def test_what_only_the_journal_holds_is_read_too(stocked, monkeypatch, tmp_path):
    """A copy as the disk has it while another program is at work: the entry is in the journal alone."""
    payload = {"machine": "bench-3m", "gauge_mm": 300.0, "measured_mm": 300.1}
    stocked.outbox.write([Draft("gauge.measured", payload)])
    copy = tmp_path / "copy"
    shutil.copytree(stocked.home.folder, copy)
    (copy / "station.sqlite3-shm").unlink()
    (copy / "station.sqlite3-shm").mkdir()
    assert (copy / "station.sqlite3-wal").stat().st_size > 0
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=4096))
    done = CliRunner().invoke(cli, ["--home", str(copy), "status"])
    assert "pending          1\n" in done.output
    assert done.exit_code == 8


def test_what_could_not_be_looked_at_is_unknown_and_not_none(full, stocked, monkeypatch):
    def refuse(*_given, **_more):
        raise DiskFull("the disk is full")

    monkeypatch.setattr(Sqlite, "__init__", refuse)
    done = full("status")
    assert done.exit_code == 8
    assert "pending          unknown" in done.output
    assert "quarantined      unknown" in done.output


def test_with_room_on_the_disk_the_fault_keeps_its_own_name(full, stocked, monkeypatch):
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=10**12))
    assert "pending          1\n" in full("status").output
    done = full("log", "gauge", "--gauge", "300", "--measured", "300.2")
    assert done.exit_code == 8
    assert "cannot be used: attempt to write a readonly database" in done.output
    assert "the disk is full" not in done.output
    (stocked.home.folder / "station.sqlite3-shm").rmdir()
    with workstation_at(stocked.home) as again:
        assert again.outbox.counts().pending == 1


def test_a_file_that_finds_no_room_is_told_as_a_full_disk(tmp_path, monkeypatch):
    def refuse(_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(DiskFull, match="the disk is full"):
        write_whole(tmp_path / "settings.json", b"{}")
    assert list(tmp_path.iterdir()) == []
