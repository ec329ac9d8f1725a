"""Syncing at intervals until told to stop."""

from __future__ import annotations

import logging
import signal
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Final

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED, JobEvent
from apscheduler.schedulers.background import BackgroundScheduler

from client.errors import ClientError
from client.home import Home
from client.sync import SyncReport, sync_once
from client.workstation import workstation_at

EVERY_S: Final = 60.0
_STOP_WAIT_S: Final = 5.0

log = logging.getLogger("shearwright.sync")


def sync_now(home: Home, told: Callable[[SyncReport | ClientError], None]) -> None:
    """One exchange in a thread of its own connections; every outcome is told, none is raised."""
    try:
        with workstation_at(home) as station:
            told(sync_once(station))
    except ClientError as error:
        told(error)


def scheduler_for(
    home: Home, told: Callable[[SyncReport | ClientError], None], every_s: float = EVERY_S
) -> BackgroundScheduler:
    """A scheduler, not started yet, that syncs at once and then at intervals.

    Parameters
    ----------
    home
        The workstation's folder.
    told
        Called with what each exchange did, from another thread.
    every_s
        Interval [s]; a tenth of it is jitter, so that stations do not all call at once.
    """
    scheduler = BackgroundScheduler(timezone=UTC)
    scheduler.add_job(
        sync_now,
        "interval",
        args=(home, told),
        id="sync",
        seconds=every_s,
        jitter=every_s / 10,
        next_run_time=datetime.now(UTC) + timedelta(milliseconds=1),
        max_instances=1,
        coalesce=True,
        # A laptop that slept through a run does it on waking, however late.
        misfire_grace_time=None,
    )
    scheduler.add_listener(_unusual, EVENT_JOB_ERROR | EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES)
    return scheduler


def run_until_stopped(
    home: Home, told: Callable[[SyncReport | ClientError], None], every_s: float = EVERY_S
) -> None:
    """Sync at intervals until SIGINT or SIGTERM; a running exchange is let finish for a short while."""
    stop = threading.Event()

    def stopping(_number: int, _frame: object) -> None:
        stop.set()

    before = {number: signal.signal(number, stopping) for number in (signal.SIGINT, signal.SIGTERM)}
    scheduler = scheduler_for(home, told, every_s)
    scheduler.start()
    try:
        while not stop.wait(0.2):
            pass
    finally:
        # Work on the disk is whole after each transaction, so an exchange may be left in the middle.
        ending = threading.Thread(target=scheduler.shutdown, kwargs={"wait": True}, daemon=True)
        ending.start()
        ending.join(_STOP_WAIT_S)
        for number, handler in before.items():
            signal.signal(number, handler)


def _unusual(event: JobEvent) -> None:
    fault = getattr(event, "exception", None)
    if fault is not None:
        log.error("a sync ended with a fault in the program: %s", fault)
    else:
        log.warning("a sync was passed over; the one before still runs")
