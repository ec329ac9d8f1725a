"""Syncing by itself: at intervals, at once when the service is back, and never for ever."""

import socket
import threading
import time

import pytest

from client.cache.outbox import Draft
from client.errors import CentreAway, StoreBusy
from client.schedule import HANG_S, TOTAL_S, Watch, answers, scheduler_for, sync_now
from client.sync import SyncReport


def log(station):
    payload = {"machine": "bench-3m", "gauge_mm": 300.0, "measured_mm": 300.1}
    return station.outbox.write([Draft("gauge.measured", payload)])[0]


def test_a_service_that_comes_back_is_synced_with_at_once(service, connected, until):
    told = []
    with connected(service) as station:
        log(station)
        home = station.home
    service.stop()
    scheduler = scheduler_for(home, told.append, every_s=3600, knock_s=0.2)
    scheduler.start()
    try:
        until(lambda: len(told) == 1)
        assert isinstance(told[0], SyncReport)
        assert isinstance(told[0].problem, CentreAway)
        service.start()
        until(lambda: len(told) == 2)
        assert told[1].complete
        assert told[1].pushed.applied == 1
    finally:
        scheduler.shutdown(wait=True)


def test_a_pause_that_the_service_asks_for_is_kept_to_by_the_schedule_too(home, monkeypatch):
    told, calls = [], []

    def busy(*_given, **_more):
        calls.append(1)
        raise CentreAway("busy", 900)

    monkeypatch.setattr("client.schedule.sync_once", busy)
    watch = Watch()
    sync_now(home, told.append, watch)
    sync_now(home, told.append, watch)
    assert len(calls) == 1
    assert watch.away
    assert 890 < watch.not_before - time.monotonic() <= 900


def test_a_fault_of_our_own_does_not_look_like_a_running_exchange(home, monkeypatch):
    monkeypatch.setattr("client.schedule.sync_once", lambda *_given, **_more: 1 / 0)
    watch = Watch()
    with pytest.raises(ZeroDivisionError):
        sync_now(home, print, watch)
    assert watch.began_at is None


def test_an_exchange_that_takes_longer_than_all_its_waits_is_seen_to_hang():
    assert HANG_S > TOTAL_S
    watch = Watch()
    assert not watch.hangs(1e9)
    watch.began_at = 1000.0
    assert not watch.hangs(1000.0 + HANG_S)
    assert watch.hangs(1001.0 + HANG_S)


def test_a_program_whose_exchange_hangs_ends_and_says_so(home, monkeypatch):
    from client.errors import ClientError
    from client.schedule import run_until_stopped

    let_go = threading.Event()
    monkeypatch.setattr("client.schedule.HANG_S", 0.3)
    monkeypatch.setattr("client.schedule._STOP_WAIT_S", 0.1)
    monkeypatch.setattr("client.schedule.sync_once", lambda *_given, **_more: let_go.wait(20))
    try:
        with pytest.raises(ClientError, match="hangs for more than"):
            run_until_stopped(home, print)
    finally:
        let_go.set()


def test_a_second_scheduler_of_the_same_station_waits_its_turn(home):
    told = []
    with home.syncing():
        sync_now(home, told.append)
    assert isinstance(told[0], StoreBusy)


def test_knocking_tells_whether_somebody_listens():
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port = listening.getsockname()[1]
        assert answers(f"http://127.0.0.1:{port}")
    assert not answers(f"http://127.0.0.1:{port}", 0.5)


def test_the_backlog_and_the_last_success_are_shown(service, connected, shearwright):
    with connected(service) as station:
        log(station)
        folder = station.home.folder
    told = shearwright(folder, "pull").stdout
    assert "to be sent: 1 entry, the oldest of" in told
    told = shearwright(folder, "status").stdout
    assert "last sync        never" in told
    assert "all sent       never" in told
    assert "all fetched    20" in told
    assert shearwright(folder, "sync").returncode == 0
    told = shearwright(folder, "pull").stdout
    assert "to be sent: nothing" in told
    service.stop()
    assert shearwright(folder, "sync", "--seconds", "1").returncode == 5
    told = shearwright(folder, "status").stdout
    assert "cannot be reached" in told
    assert "last tried" in told
