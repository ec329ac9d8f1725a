"""A clock that was put forward or back, noticed at the workstation itself.

Every look at the clock is kept beside a count of seconds that no one can set. Where the two part, the
clock was moved, and a new reckoning begins; each event remembers by which reckoning it was timed. At
the push the centre is told, run by run, what that clock would show now, and corrects by it. Times that
were written down are never changed.
"""

from __future__ import annotations

import json
import sys
import time
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final, cast

from client.cache.sqlite import Sqlite

CLOCK_TABLES: Final = (
    """CREATE TABLE clock (
        number INTEGER PRIMARY KEY,
        began_at TEXT NOT NULL,
        shift_ms INTEGER NOT NULL
    ) STRICT""",
    "ALTER TABLE event ADD COLUMN clock INTEGER NOT NULL DEFAULT 0",
)

MOVED: Final = timedelta(seconds=120)
"""A difference below this is drift, or the time a step took."""

FAR: Final = timedelta(days=366)
"""A station that seems to have stood still for longer has more likely a wrong clock."""


@dataclass(frozen=True, slots=True)
class Ticks:
    """Seconds since the computer was started; `boot` names that start, None where nothing does."""

    boot: str | None
    seconds: float


def ticks_now() -> Ticks:
    """The count of the computer itself, sleep included."""
    if not sys.platform.startswith("linux"):
        return Ticks(None, time.monotonic())
    try:
        boot = Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
        return Ticks(boot, time.clock_gettime(time.CLOCK_BOOTTIME))
    except OSError:
        return Ticks(None, time.monotonic())


def look(sql: Sqlite, now: datetime, ticks: Ticks) -> tuple[int, timedelta]:
    """Look at the clock, within the caller's transaction.

    Returns
    -------
    The number of the reckoning that holds now, and by how much the clock was just moved (mostly nothing).
    """
    number, _ = current(sql)
    moved = _moved(sql, now, ticks)
    if moved:
        number += 1
        shift = current(sql)[1] + moved
        sql.run(
            "INSERT INTO clock (number, began_at, shift_ms) VALUES (?, ?, ?)",
            number,
            now.isoformat(),
            round(shift / timedelta(milliseconds=1)),
        )
    sql.set_meta(
        "clock_seen", json.dumps({"at": now.isoformat(), "boot": ticks.boot, "seconds": ticks.seconds})
    )
    return number, moved


def current(sql: Sqlite) -> tuple[int, timedelta]:
    """The newest reckoning, and by how much the clock was moved in all up to it."""
    found = sql.row("SELECT number, shift_ms FROM clock ORDER BY number DESC LIMIT 1")
    return (0, timedelta()) if found is None else (found[0], timedelta(milliseconds=found[1]))


def shift_since(sql: Sqlite, number: int) -> timedelta:
    """By how much the clock was moved since a reckoning."""
    then = cast("int", sql.value("SELECT shift_ms FROM clock WHERE number = ?", number) or 0)
    return current(sql)[1] - timedelta(milliseconds=then)


OFFSET_AT: Final = "clock_offset_at"
"""Under which the store keeps by which reckoning the centre's clock was seen last."""


def note_offset(sql: Sqlite, offset: timedelta) -> None:
    """Keep by how much the centre's clock is ahead of ours, as the last exchange showed it."""
    sql.set_meta("clock_offset_s", f"{offset.total_seconds():.3f}")
    sql.set_meta(OFFSET_AT, str(current(sql)[0]))


def offset_now(sql: Sqlite) -> timedelta | None:
    """By how much the centre's clock is ahead of ours; None before the first exchange.

    Where our clock was moved since, that is known and counts.
    """
    found = sql.meta("clock_offset_s")
    if found is None:
        return None
    at = sql.meta(OFFSET_AT)
    since = timedelta() if at is None else shift_since(sql, int(at))
    return timedelta(seconds=float(found)) - since


def _moved(sql: Sqlite, now: datetime, ticks: Ticks) -> timedelta:
    try:
        seen = json.loads(sql.meta("clock_seen") or "{}")
        passed = now - datetime.fromisoformat(seen["at"])
        boot, seconds = seen["boot"], float(seen["seconds"])
    except (KeyError, ValueError, TypeError):
        return timedelta()
    if boot is not None and boot == ticks.boot:
        moved = passed - timedelta(seconds=ticks.seconds - seconds)
        return moved if abs(moved) > MOVED else timedelta()
    # Started anew since: how long it stood still is not known, but not less than no time.
    return passed if passed < -MOVED or passed > FAR else timedelta()


def in_words(moved: timedelta) -> str:
    """How a clock was moved.

    >>> in_words(timedelta(hours=-3))
    'put back by 3 h'
    """
    return f"put {'forward' if moved > timedelta() else 'back'} by {span(moved)}"


def span(time: timedelta) -> str:
    """A time, either way, in a unit that suits it.

    >>> span(timedelta(seconds=-3)), span(timedelta(minutes=5)), span(timedelta(days=-1)), span(timedelta(3))
    ('3.0 s', '5 min', '24 h', '3 days')
    """
    seconds = abs(time).total_seconds()
    minutes = round(seconds / 60)
    if seconds < 90:
        return f"{seconds:.1f} s"
    if minutes < 120:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return f"{round(minutes / 60)} h"
    return f"{round(minutes / 1440)} days"
