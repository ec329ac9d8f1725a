"""Syncing at intervals until told to stop, at once when the service is back, and never two at a time."""

from __future__ import annotations

import logging
import signal
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final
from urllib.parse import urlsplit

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED, JobEvent
from apscheduler.schedulers.background import BackgroundScheduler

from client.errors import CentreAway, ClientError
from client.home import Home
from client.sync import SyncReport, sync_once
from client.wire import Patience
from client.workstation import workstation_at

EVERY_S: Final = 60.0
KNOCK_S: Final = 5.0
"""How often an absent service is knocked at; a knock is a connection without a word [s]."""

TOTAL_S: Final = 120.0
"""Longest time of one exchange, all its tries together [s]."""

HANG_S: Final = TOTAL_S + 90.0
"""An exchange that has not ended after this hangs, whatever it waits for: no wait in it is as long [s]."""

_STOP_WAIT_S: Final = 5.0
_JOB: Final = "sync"

log = logging.getLogger("shearwright.sync")

Told = Callable[["SyncReport | ClientError"], None]


@dataclass
class Watch:
    """What the jobs of a schedule know of each other; times by :func:`time.monotonic`."""

    began_at: float | None = None
    away: bool = False
    not_before: float = 0.0

    def hangs(self, now: float) -> bool:
        """Whether an exchange is under way for longer than one can take."""
        began_at = self.began_at
        return began_at is not None and now - began_at > HANG_S


def sync_now(home: Home, told: Told, watch: Watch | None = None) -> None:
    """One exchange in a thread of its own connections; every outcome is told, none is raised."""
    seen = watch or Watch()
    if time.monotonic() < seen.not_before:
        return  # the service asked for this pause
    seen.began_at = time.monotonic()
    try:
        with workstation_at(home) as station:
            outcome: SyncReport | ClientError = sync_once(station, patience=Patience(total_s=TOTAL_S))
    except ClientError as error:
        outcome = error
    finally:
        seen.began_at = None
    problem = outcome if isinstance(outcome, ClientError) else outcome.problem
    seen.away = isinstance(problem, CentreAway)
    wait_s = problem.wait_s if isinstance(problem, CentreAway) else None
    seen.not_before = time.monotonic() + min(wait_s or 0.0, 3600.0)
    told(outcome)


def answers(server: str, timeout_s: float = 3.0) -> bool:
    """Whether somebody listens at the address of the service."""
    parts = urlsplit(server)
    port = parts.port or (443 if parts.scheme == "https" else 80)
    try:
        with socket.create_connection((parts.hostname or "", port), timeout=timeout_s):
            return True
    except OSError:
        return False


def scheduler_for(
    home: Home, told: Told, every_s: float = EVERY_S, *, watch: Watch | None = None, knock_s: float = KNOCK_S
) -> BackgroundScheduler:
    """A scheduler, not started yet, that syncs at once, then at intervals, and when the service is back.

    Parameters
    ----------
    home
        The workstation's folder.
    told
        Called with what each exchange did, from another thread.
    every_s
        Interval [s]; a tenth of it is jitter, so that stations do not all call at once.
    watch
        For who wants to know whether an exchange hangs.
    knock_s
        How often to look whether an absent service is back [s].
    """
    seen = watch or Watch()
    scheduler = BackgroundScheduler(timezone=UTC)
    scheduler.add_job(
        sync_now,
        "interval",
        args=(home, told, seen),
        id=_JOB,
        seconds=every_s,
        jitter=every_s / 10,
        next_run_time=datetime.now(UTC) + timedelta(milliseconds=1),
        max_instances=1,
        coalesce=True,
        # A laptop that slept through a run does it on waking, however late.
        misfire_grace_time=None,
    )

    def knock() -> None:
        if seen.away and answers(home.settings().server):
            seen.away = False
            scheduler.modify_job(_JOB, next_run_time=datetime.now(UTC))

    scheduler.add_job(
        knock,
        "interval",
        id="knock",
        seconds=knock_s,
        jitter=knock_s / 5,
        max_instances=1,
        coalesce=True,
        misfire_grace_time=None,
    )
    scheduler.add_listener(_unusual, EVENT_JOB_ERROR | EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES)
    return scheduler


def run_until_stopped(home: Home, told: Told, every_s: float = EVERY_S) -> None:
    """Sync at intervals until SIGINT or SIGTERM; a running exchange is let finish for a short while.

    Raises
    ------
    ClientError
        When an exchange hangs. The process then ends, so that whoever keeps it running starts it anew.
    """
    stop = threading.Event()

    def stopping(_number: int, _frame: object) -> None:
        stop.set()

    before = {number: signal.signal(number, stopping) for number in (signal.SIGINT, signal.SIGTERM)}
    watch = Watch()
    scheduler = scheduler_for(home, told, every_s, watch=watch)
    scheduler.start()
    try:
        while not stop.wait(0.2):
            if watch.hangs(time.monotonic()):
                raise ClientError(
                    f"an exchange with the service hangs for more than {HANG_S:.0f} s: ended, to be "
                    "started anew; nothing is lost"
                )
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
