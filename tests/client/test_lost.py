"""Entries that are gone from a store that was put back or lost are named, and never called safe."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from client.cache.lost import Lost, losses, lost_words
from client.cache.outbox import Draft
from client.cli import cli
from client.home import Home
from client.sync import sync_once
from client.workstation import workstation_at
from tests.client.epochs import new_epoch

PAYLOAD = {"machine": "bench-3m", "gauge_mm": 300.0, "measured_mm": 300.1}


def log(station, count):
    return [station.outbox.write([Draft("gauge.measured", PAYLOAD)])[0] for _ in range(count)]


def remove_store(folder):
    for end in ("", "-wal", "-shm"):
        Path(f"{folder / 'station.sqlite3'}{end}").unlink(missing_ok=True)


def put_back(copy, folder, names):
    remove_store(folder)
    for name in names:
        shutil.copy(copy / name, folder / name)


def status(home: Home, *words):
    return CliRunner().invoke(cli, ["--home", str(home.folder), "status", *words]).output


def test_a_store_that_is_gone_is_not_called_complete(home):
    with workstation_at(home) as station:
        log(station, 2)
    remove_store(home.folder)
    told = status(home)
    assert "entries 1 to 2 of this station may be missing here" in told
    assert "nothing is lost" not in told
    assert "entries 1 to 2 of this station may be missing here" in status(home, "--seen"), "not yet asked for"


def test_only_what_the_store_lacks_by_its_mark_is_named(home, tmp_path):
    with workstation_at(home) as station:
        log(station, 3)
    shutil.copytree(home.folder, tmp_path / "copy")
    with workstation_at(home) as station:
        log(station, 2)
    put_back(tmp_path / "copy", home.folder, ["station.sqlite3"])
    assert "entries 4 to 5 of this station may be missing here" in status(home)


@pytest.mark.parametrize("begun", [False, True], ids=["", "a new epoch had begun"])
def test_a_store_put_back_gives_no_number_of_the_log_out_twice(home, tmp_path, begun):
    """A person who wrote 4 down withdraws 4: that must not be another entry by now."""
    with workstation_at(home) as station:
        log(station, 1)
        new_epoch(station.outbox)
        log(station, 2)
    shutil.copytree(home.folder, tmp_path / "copy")
    with workstation_at(home) as station:
        assert [one.row for one in log(station, 2)] == [4, 5]
        if begun:
            new_epoch(station.outbox)
    put_back(tmp_path / "copy", home.folder, ["station.sqlite3"])
    with workstation_at(home) as station:
        named = "numbers 3 to 4 of epoch" if begun else "entries 4 to 5 of this station"
        assert named in (station.outbox.notice or "")
        assert log(station, 1)[0].row == 6
    remove_store(home.folder)
    with workstation_at(home) as station:
        assert "entry 6 of this station may be missing" in (station.outbox.notice or "")
        assert log(station, 1)[0].row == 7


def test_the_next_sync_names_what_the_centre_lacks_until_a_person_has_seen_it(service, connected):
    with connected(service) as station:
        sync_once(station)
        log(station, 2)
        sync_once(station)
        log(station, 3)
        home = station.home
    remove_store(home.folder)
    with connected(service) as station:
        notices = sync_once(station).notices
        lacking = "neither here nor at the centre: entries 3 to 5 of this station; write them down again"
        assert any("the centre has entries 1 to 2" in one and lacking in one for one in notices)
        assert not any(lacking in one for one in sync_once(station).notices), "told once"
    assert lacking in status(home), "kept until it was seen"
    assert lacking not in status(home, "--seen")
    assert "missing" not in status(home)


def test_a_store_lost_before_anything_was_sent_is_named_whole(service, connected):
    with connected(service) as station:
        log(station, 2)
        home = station.home
    remove_store(home.folder)
    with connected(service) as station:
        notices = sync_once(station).notices
    assert any("neither here nor at the centre: entries 1 to 2" in one for one in notices)


def test_a_store_lost_after_all_was_sent_lacks_nothing_at_the_centre(service, connected):
    with connected(service) as station:
        sync_once(station)
        log(station, 2)
        sync_once(station)
        home = station.home
    remove_store(home.folder)
    with connected(service) as station:
        notices = sync_once(station).notices
    assert any("the centre has entries 1 to 2" in one and "all of them" in one for one in notices)


@pytest.mark.parametrize("pending", [0, 1])
def test_a_whole_folder_put_back_is_noticed_although_it_agrees_with_itself(
    service, connected, tmp_path, pending
):
    with connected(service) as station:
        sync_once(station)
        log(station, 2)
        sync_once(station)
        log(station, pending)
        home = station.home
    shutil.copytree(home.folder, tmp_path / "copy")
    with connected(service) as station:
        log(station, 3)
        sync_once(station)
    put_back(tmp_path / "copy", home.folder, ["station.sqlite3", "mark.json", "cache.sqlite3"])
    with connected(service) as station:
        before = station.outbox.epoch
        report = sync_once(station)
        first = 3 + pending
        named = f"numbers {first} to {5 + pending} of epoch {before[:8]}"
        wanted = f"the centre has {named} of this station, and this store lacks them: do not write them down"
        gone = "what else was written down here and never sent is gone: write it down again"
        assert any(wanted in one and gone in one for one in report.notices)
        assert station.outbox.epoch != before, "the next number was given out before"
        assert report.counts.pending == 0
        log(station, 1)
        again = sync_once(station)
        assert (again.counts.pending, again.counts.reissued, again.notices) == (0, 0, ())
    assert wanted in status(home)


def test_what_was_seen_is_not_told_again_at_the_next_sync(service, connected):
    with connected(service) as station:
        sync_once(station)
        log(station, 2)
        sync_once(station)
        home = station.home
    remove_store(home.folder)
    with connected(service) as station:
        sync_once(station)
        assert station.outbox.lost_seen() == 1
        assert sync_once(station).notices == ()
    assert "missing" not in status(home)


def test_a_store_put_back_before_whole_epochs_names_each_by_its_mark(home, tmp_path):
    with workstation_at(home) as station:
        first = log(station, 2)[0].epoch
    shutil.copytree(home.folder, tmp_path / "copy")
    with workstation_at(home) as station:
        log(station, 1)
        new_epoch(station.outbox)
        second = log(station, 3)[0].epoch
        new_epoch(station.outbox)
        third = log(station, 4)[0].epoch
    put_back(tmp_path / "copy", home.folder, ["station.sqlite3"])
    with workstation_at(home) as station:
        lost = [(one.epoch, one.first, one.last) for one in losses(station.outbox.sql)]
    assert lost == [(first, 3, 3), (second, 1, 3), (third, 1, 4)]


def test_a_folder_put_back_before_a_whole_epoch_is_noticed_by_what_the_centre_lists(
    service, connected, tmp_path
):
    """Its store and mark agree, and the centre has no more of the epoch than they: only the next is gone."""
    with connected(service) as station:
        sync_once(station)
        log(station, 2)
        sync_once(station)
        home = station.home
    shutil.copytree(home.folder, tmp_path / "copy")
    with connected(service) as station:
        new_epoch(station.outbox)
        epoch = log(station, 3)[0].epoch
        sync_once(station)
    put_back(tmp_path / "copy", home.folder, ["station.sqlite3", "mark.json", "cache.sqlite3"])
    told = f"numbers 1 to 3 of epoch {epoch[:8]} of this station, which another store wrote"
    with connected(service) as station:
        assert any(told in one for one in sync_once(station).notices)
        assert not any(told in one for one in sync_once(station).notices), "told once"
        log(station, 1)
        assert sync_once(station).counts.pending == 0
    assert told in status(home)
    assert told not in status(home, "--seen")


def test_a_mark_of_an_earlier_version_is_read(home):
    with workstation_at(home) as station:
        log(station, 2)
    mark = json.loads(home.mark_file.read_text())
    del mark["earlier"], mark["row"]
    home.mark_file.write_text(json.dumps(mark))
    with workstation_at(home) as station:
        assert station.outbox.notice is None
        assert log(station, 1)[0].seq == 3


def test_a_station_that_agrees_with_its_centre_is_told_nothing(service, connected):
    with connected(service) as station:
        sync_once(station)
        log(station, 3)
        assert sync_once(station).notices == ()
        assert losses(station.outbox.sql) == []


def test_what_the_centre_tells_alone_leaves_open_what_was_not_sent():
    assert "what else was written down here and never sent is gone" in lost_words(
        Lost("e", 17, 18, has=18, by_mark=False)
    )
