"""After a salvage entries keep their numbers where the chain is whole; those that are missing are named."""

from __future__ import annotations

import shutil
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from client.cache.clock import note_offset, offset_now
from client.cache.lost import losses
from client.cache.outbox import Draft, Outbox
from client.salvage import salvage
from client.sync import sync_once
from client.workstation import workstation_at
from schemas.events import FIRST_HASH
from tests.client.epochs import new_epoch
from tests.client.test_lost import status
from tests.client.test_salvage import flushed, spoil

PAYLOAD = {"machine": "bench-3m", "gauge_mm": 300.0}


def log(station, count, first=0):
    return [
        station.outbox.write([Draft("gauge.measured", {**PAYLOAD, "measured_mm": 301 + number})])[0]
        for number in range(first, first + count)
    ]


def standing(home):
    """Number in the log, epoch, number in the chain and state of all that is kept, as they were written."""
    with workstation_at(home) as station:
        events = list(station.outbox.all_events())
    assert all(one.sound for one in events)
    return [(one.row, one.epoch, one.seq, one.hash, one.state) for one in events]


def damage(home, measured):
    """One entry, by what was measured, wherever it lies in the file."""
    flushed(home)
    data = home.store_file.read_bytes()
    wrong = data.replace(f'"measured_mm":{measured}'.encode(), f'"measured_mm":9{str(measured)[1:]}'.encode())
    assert wrong != data
    home.store_file.write_bytes(wrong)


def chained(box, epoch):
    """Whether the events of an epoch hang together, from its beginning, without a hole."""
    events = [one.event for one in box.all_events() if one.epoch == epoch]
    first = (events[0]["seq"], events[0]["prev_hash"]) == (1, FIRST_HASH)
    return first and all(
        (after["seq"], after["prev_hash"]) == (before["seq"] + 1, before["hash"])
        for before, after in pairwise(events)
    )


def test_a_whole_store_keeps_every_number_state_and_chain(home, station):
    log(station, 3)
    new_epoch(station.outbox)
    written = log(station, 4)
    states = {written[0].row: ("taken", None), written[1].row: ("quarantined", "[]")}
    station.outbox.answered(states)
    station.outbox.reissue(written[2].epoch, 4, "for the test")
    epochs = station.outbox.epochs()
    before = standing(home)
    station.close()
    done = salvage(home, "bench1")
    assert (done.renumbered, done.unread) == (0, [])
    assert standing(home) == before
    with workstation_at(home) as opened:
        assert opened.outbox.epochs()[:-1] == epochs, "in their order, and a new one for what comes"
        assert all(chained(opened.outbox, epoch) for epoch in epochs)
        assert log(opened, 1)[0].seq == 1
        assert losses(opened.outbox.sql) == []


def test_what_follows_a_hole_is_renumbered_and_the_hole_is_named_until_the_centre_was_asked(
    service, connected
):
    with connected(service) as station:
        sync_once(station)
        log(station, 2)
        sync_once(station)
        rows = [one.row for one in log(station, 6, first=2)]
        epoch, home = station.outbox.epoch, station.home
    damage(home, 305)
    done = salvage(home, "bench1")
    assert (done.events, done.pending, done.renumbered) == (7, 5, 3)
    assert any(words == "entry 5" for words in done.unread)
    assert "entry 5 of this station may be missing here" in status(home)
    with connected(service) as station:
        kept = [one for one in station.outbox.all_events() if one.epoch == epoch and one.state != "reissued"]
        assert [one.seq for one in kept] == [1, 2, 3, 4]
        assert [one.row for one in kept[2:]] == rows[:2]
        # Who wrote a number down comes by it to the same entry, and nothing else has the missing one's.
        assert station.outbox.by_rows([rows[2]]) == []
        for row, seq in zip(rows[3:], (6, 7, 8), strict=True):
            (old,) = station.outbox.by_rows([row])
            assert (old.epoch, old.seq, old.state) == (epoch, seq, "reissued")
        assert chained(station.outbox, station.outbox.epoch), "the others hang together anew"
        report = sync_once(station)
        assert report.complete
        assert (report.pushed.applied, report.counts.pending) == (5, 0)
        (told,) = [one for one in report.notices if "this station" in one]
        assert told == "neither here nor at the centre: entry 5 of this station; write it down again"
        assert sync_once(station).notices == ()


def test_what_the_centre_acknowledged_keeps_its_number_beyond_a_hole(service, connected):
    with connected(service) as station:
        sync_once(station)
        log(station, 6)
        sync_once(station)
        home = station.home
    before = standing(home)
    damage(home, 303)
    done = salvage(home, "bench1")
    assert (done.events, done.pending, done.renumbered) == (5, 0, 0)
    assert standing(home) == [one for one in before if one[2] != 3]
    with connected(service) as station:
        report = sync_once(station)
        wanted = (
            "the centre has entry 3 of this station, and this store lacks it: do not write it down again; "
            "that is all of them"
        )
        assert wanted in report.notices
        assert (report.pushed.repeats, report.counts.pending) == (0, 0)


@pytest.mark.parametrize("hole", [False, True])
def test_events_of_which_only_the_bytes_are_left_are_repeats_and_never_called_lost(service, connected, hole):
    with connected(service) as station:
        sync_once(station)
        log(station, 6)
        sync_once(station)
        home = station.home
    if hole:
        damage(home, 303)
    flushed(home)
    spoil(home, 0)
    done = salvage(home, "bench1")
    assert (done.events, done.renumbered) == ((5, 3) if hole else (6, 0))
    with connected(service) as station:
        report = sync_once(station)
        assert report.complete
        assert (report.pushed.applied, report.counts.pending) == (0, 0)
        told = [one for one in report.notices if "this station" in one]
        wanted = (
            "the centre has entry 3 of this station, and this store lacks it: do not write it down again; "
            "that is all of them"
        )
        assert told == ([wanted] if hole else [])


def test_numbers_that_only_the_mark_knows_are_named(home, station, tmp_path):
    """The damaged store is an old one: what was written after it is known by the mark alone."""
    log(station, 3)
    station.close()
    flushed(home)
    shutil.copy(home.store_file, tmp_path / "old")
    with workstation_at(home) as opened:
        log(opened, 2, first=3)
        first = opened.outbox.epoch
        new_epoch(opened.outbox)
        second = log(opened, 4, first=5)[0].epoch
    for end in ("-wal", "-shm"):
        Path(f"{home.store_file}{end}").unlink(missing_ok=True)
    shutil.copy(tmp_path / "old", home.store_file)
    done = salvage(home, "bench1")
    assert done.events == 3
    assert "entries 4 to 5" in done.unread
    assert "entries 6 to 9" in done.unread
    with workstation_at(home) as opened:
        lost = [(one.epoch, one.first, one.last) for one in losses(opened.outbox.sql)]
    assert lost == [(first, 4, 5), (second, 1, 4)]


def test_without_a_mark_it_is_said_that_the_end_is_not_known(home, station):
    log(station, 3)
    station.close()
    home.mark_file.unlink()
    done = salvage(home, "bench1")
    assert "how far its numbers went, as the mark beside it is gone" in done.unread


def test_a_copy_put_aside_before_brings_back_what_was_named_as_lost(home, station, tmp_path):
    log(station, 3)
    station.close()
    flushed(home)
    aside = tmp_path / "aside.sqlite3"
    shutil.move(home.store_file, aside)
    with workstation_at(home) as opened:
        assert "entries 1 to 3" in (opened.outbox.notice or "")
        log(opened, 1, first=7)
    done = salvage(home, "bench1", aside)
    assert (done.events, done.renumbered, done.unread) == (3, 0, [])
    assert "missing" not in status(home)
    box = Outbox(home, "bench1")
    try:
        assert box.counts().pending == 4
        assert all(chained(box, epoch) for epoch in box.epochs()[:1])
    finally:
        box.close()


def test_what_is_found_in_the_bytes_alone_keeps_its_number_in_the_log(home, station):
    """Its tables cannot be read; the mark tells by how much the log is ahead of the epoch."""
    written = log(station, 2)
    new_epoch(station.outbox)
    written += log(station, 3)
    station.close()
    flushed(home)
    with home.store_file.open("r+b") as file:
        file.write(b"\xff" * 200)
    done = salvage(home, "bench1")
    assert done.events == 5
    with workstation_at(home) as opened:
        for one in written:
            (here,) = opened.outbox.by_rows([one.row])
            assert (here.event_id, here.seq) == (one.event_id, one.seq)
        assert log(opened, 1)[0].row == written[-1].row + 1


def test_entries_brought_between_others_leave_each_its_number_when_only_the_bytes_are_left(
    home, station, tmp_path
):
    """What a new store wrote has the first numbers, and what the old one wrote came after it."""
    log(station, 5)
    station.close()
    flushed(home)
    aside = tmp_path / "aside.sqlite3"
    shutil.move(home.store_file, aside)
    home.mark_file.unlink()
    with workstation_at(home) as opened:
        log(opened, 2, first=7)
    salvage(home, "bench1", aside)
    with workstation_at(home) as opened:
        log(opened, 1, first=9)
        written = {one.row: one.event_id for one in opened.outbox.all_events()}
    flushed(home)
    with home.store_file.open("r+b") as file:
        file.write(b"\xff" * 200)
    assert salvage(home, "bench1").events == 8
    with workstation_at(home) as opened:
        kept = list(opened.outbox.all_events())
    assert {one.event_id for one in kept} == set(written.values())
    # No number that a person wrote down leads to another entry.
    assert [one.row for one in kept if written.get(one.row, one.event_id) != one.event_id] == []


def test_nothing_is_given_out_twice_or_lost_unnamed_when_a_salvage_was_ended_in_the_middle(
    home, station, tmp_path, monkeypatch
):
    """The power fails when the new store is begun; the copy put aside ends before the mark did."""
    log(station, 3)
    station.close()
    flushed(home)
    shutil.copy(home.store_file, tmp_path / "old")
    with workstation_at(home) as opened:
        last = log(opened, 2, first=3)[-1].row
    for end in ("-wal", "-shm"):
        Path(f"{home.store_file}{end}").unlink(missing_ok=True)
    shutil.copy(tmp_path / "old", home.store_file)

    def ended(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("client.salvage.adopt", ended)
        with pytest.raises(KeyboardInterrupt):
            salvage(home, "bench1")
    aside = min(home.store_file.parent.glob("*.salvaged-*"))
    done = salvage(home, "bench1", aside)
    assert (done.events, done.unread) == (3, ["entries 4 to 5"])
    again = salvage(home, "bench1", aside)
    assert (again.events, again.known_already) == (0, 3)
    with workstation_at(home) as opened:
        assert log(opened, 1)[0].row == last + 1
        (lost,) = losses(opened.outbox.sql)
    assert (lost.first, lost.last, lost.row) == (4, 5, 4)


def test_how_far_the_clock_is_off_is_known_after_a_salvage_too(home, station):
    """Put forward by an hour, seen to be an hour ahead, and put back: then it goes right."""
    log(station, 1)
    sql = station.outbox.sql
    sql.run("INSERT INTO clock (number, began_at, shift_ms) VALUES (1, '2026-11-25T12:00:00+00:00', 3600000)")
    note_offset(sql, timedelta(hours=-1))
    sql.run("INSERT INTO clock (number, began_at, shift_ms) VALUES (2, '2026-11-25T13:00:00+00:00', 0)")
    assert offset_now(sql) == timedelta()
    station.close()
    salvage(home, "bench1")
    with workstation_at(home) as opened:
        assert offset_now(opened.outbox.sql) == timedelta()
