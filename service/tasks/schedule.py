"""When jobs run, and that exactly one process runs them.

What is due is told by the table of jobs and not by the memory of a process, so that a restart neither
skips nor repeats a run. A process may run jobs while it holds the lease; one that dies lets it go by
not saying so again.
"""

from __future__ import annotations

import logging
import os
import socket
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from uuid import uuid4

from apscheduler.schedulers.background import BackgroundScheduler

from service.store import models as m
from service.store import records
from service.store.ages import Ages
from service.store.database import connected
from service.tasks.jobs import JOBS, Job

log = logging.getLogger("shearwright.jobs")

LOOKS_EVERY: Final = timedelta(minutes=1)
"""How often a process looks whether a job is due."""

LEASE: Final = timedelta(minutes=5)
"""How long a process that runs jobs may be silent before another takes over."""

_LONGEST: Final = timedelta(hours=6)
"""A run that has not ended by then was cut off, and is begun again."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How a job stands: its last run, when it is due next, and whether that was missed."""

    name: str
    says: str
    started_at: datetime | None
    ended_at: datetime | None
    outcome: str | None
    words: str | None
    due_at: datetime | None
    overdue: bool


class Schedule:
    """The jobs of one process.

    Attributes
    ----------
    holder
        The name of this process in the lease.
    """

    def __init__(self, ages: Ages, clock: Callable[[], datetime], jobs: Sequence[Job] = JOBS) -> None:
        self._ages = ages
        self._clock = clock
        self._jobs = jobs
        self._timer: Any = None
        self.holder = f"{socket.gethostname()}:{os.getpid()}:{uuid4().hex[:8]}"

    def start(self) -> None:
        """Look for due jobs from now on, in a thread of its own."""
        # A machine that slept through a tick looks as soon as it wakes: so no grace time; a tick that
        # takes longer than a minute keeps the next one from starting.
        self._timer = BackgroundScheduler(
            timezone="UTC", job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1}
        )
        self._timer.add_job(self._safely, "interval", seconds=LOOKS_EVERY.total_seconds())
        self._timer.add_job(self._safely)
        self._timer.start()

    def stop(self) -> None:
        """Look no more, and let another process have the lease."""
        if self._timer is not None:
            self._timer.shutdown(wait=True)
            self._timer = None
        with connected(), records.writing():
            m.Lease.delete().where(m.Lease.holder == self.holder).execute()

    def _safely(self) -> None:
        try:
            self.look()
        except Exception:
            # A database that is away now may be there in a minute.
            log.exception("the jobs could not be looked at")

    def look(self) -> list[str]:
        """Run what is due, when this process holds the lease; the names of what was run."""
        run = []
        for job in self._jobs:
            with connected():
                if not self._begin(job):
                    continue
                run.append(job.name)
                self._end(job, *self._work(job))
        return run

    def _work(self, job: Job) -> tuple[str, str]:
        try:
            return job.work(self._ages, self._clock())
        except Exception as fault:
            log.exception("the job %s failed", job.name)
            return "failed", f"it failed ({type(fault).__name__}); the log of the service says more"

    def _begin(self, job: Job) -> bool:
        """Take the lease, and mark the job as begun when it is due; both at once or neither."""
        now = self._clock()
        before = m.Job.get_or_none(m.Job.name == job.name)
        if before is not None and now < _due(before, job):
            return False
        with records.writing():
            lease = m.Lease.get_or_none(m.Lease.name == "jobs")
            if lease is not None and lease.holder != self.holder and lease.held_to > now:
                return False
            held = {"holder": self.holder, "held_to": now + LEASE}
            m.Lease.insert(name="jobs", **held).on_conflict(
                conflict_target=[m.Lease.name],
                update={m.Lease.holder: self.holder, m.Lease.held_to: now + LEASE},
            ).execute()
            row = m.Job.get_or_none(m.Job.name == job.name)
            if row is not None and now < _due(row, job):
                return False
            begun = {"started_at": now, "ended_at": None, "outcome": None, "words": None}
            if row is None:
                m.Job.insert(name=job.name, **begun).execute()
            else:
                m.Job.update(**begun).where(m.Job.name == job.name).execute()
        return True

    def _end(self, job: Job, outcome: str, words: str) -> None:
        now = self._clock()
        done = {} if outcome == "failed" else {"done_at": now}
        with records.writing():
            m.Job.update(ended_at=now, outcome=outcome, words=words, **done).where(
                m.Job.name == job.name
            ).execute()


def _due(row: Any, job: Job) -> datetime:
    if row.ended_at is None:
        return row.started_at + _LONGEST  # type: ignore[no-any-return]
    # A run that failed is tried again within the hour.
    wait = job.every if row.outcome != "failed" else min(job.every, timedelta(hours=1))
    return row.started_at + wait  # type: ignore[no-any-return]


def standing(now: datetime, jobs: Sequence[Job] = JOBS) -> list[Standing]:
    """How every job stands, for a person and for a monitor."""
    rows: Mapping[str, Any] = {row.name: row for row in m.Job.select()}
    found = []
    for job in jobs:
        row = rows.get(job.name)
        if row is None:
            found.append(Standing(job.name, job.says, None, None, None, None, None, overdue=False))
            continue
        last = row.done_at or row.started_at
        found.append(
            Standing(
                name=job.name,
                says=job.says,
                started_at=row.started_at,
                ended_at=row.ended_at,
                outcome=row.outcome,
                words=row.words,
                due_at=_due(row, job),
                overdue=now - last > 2 * job.every,
            )
        )
    return found
