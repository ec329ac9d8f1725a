"""How far the centre has the events of each epoch of a station, and where a push does not follow that."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, Final, NamedTuple

from schemas.events import FIRST_HASH
from service.store.database import ask, tell
from service.store.models import Chain


class Reached(NamedTuple):
    """How far the centre has the events of an epoch; `epoch` None: it never heard of the station."""

    epoch: str | None
    has_to_seq: int
    last_hash: str
    clock_ahead_ms: int = 0
    heard_at: datetime | None = None


class BrokenChain(Exception):  # noqa: N818 - reads as what it says
    """The push does not follow what the centre has; nothing of it was taken."""

    def __init__(self, reached: Reached, words: str) -> None:
        super().__init__(words)
        self.reached = reached


class Fork(BrokenChain):
    """Another event has that number already, or the chain of hashes leads elsewhere."""


class Gap(BrokenChain):
    """Events are missing between what the centre has and what was pushed."""


def reached(station: str, epoch: str | None = None) -> Reached:
    """How far the centre has an epoch of a station; of the one begun last when none is named."""
    rows = ask(_LAST_CHAIN, station) if epoch is None else ask(CHAIN, station, epoch)
    return read_chain(rows, epoch)


def read_chain(rows: Sequence[tuple[Any, ...]], epoch: str | None) -> Reached:
    """What the answer to :data:`CHAIN` tells; nothing where it is empty."""
    for of_epoch, has, last_hash, ahead, heard in rows:
        return Reached(of_epoch, has, last_hash, ahead, Chain.heard_at.python_value(heard))
    return Reached(epoch, 0, FIRST_HASH)


_CHAINS: Final = (
    "SELECT epoch, has_to_seq, last_hash, clock_ahead_ms, heard_at FROM chain WHERE station = %s "
)
CHAIN: Final = _CHAINS + "AND epoch = %s"
"""The question for one epoch of a station."""
_LAST_CHAIN: Final = _CHAINS + "ORDER BY started_at DESC, epoch DESC LIMIT 1"


def sent_as(epoch: str, seq: int) -> str:
    """An entry by what it was sent as; the log of its station has a number of its own for it.

    >>> sent_as("01c046e3-9e13-4ea4-84c8-5457bafe9dc4", 3)
    'number 3 of epoch 01c046e3'
    """
    return f"number {seq} of epoch {epoch[:8]}"


def all_reached(station: str) -> list[Reached]:
    """How far the centre has each epoch of a station, in the order they began."""
    rows = Chain.select().where(Chain.station == station).order_by(Chain.started_at, Chain.epoch)
    return [_reached(row) for row in rows]


def _reached(row: Any) -> Reached:
    return Reached(row.epoch, row.has_to_seq, row.last_hash, row.clock_ahead_ms, row.heard_at)


def save_chain(chain: Reached, station: str, site: str, ahead: timedelta, now: datetime) -> None:
    """Keep how far a chain is; `ahead` is how far the clock of the station was ahead, `now` the time here."""
    heard = Chain.heard_at.db_value(now)
    tell(
        _SAVE_CHAIN,
        *(station, chain.epoch, site, chain.has_to_seq, chain.last_hash, heard, heard),
        round(ahead / timedelta(milliseconds=1)),
    )


_SAVE_CHAIN: Final = (
    "INSERT INTO chain (station, epoch, site, has_to_seq, last_hash, started_at, heard_at, clock_ahead_ms)"
    " VALUES (%s, %s, %s, %s, %s, %s, %s, %s)"
    " ON CONFLICT (station, epoch) DO UPDATE SET site = excluded.site,"
    " has_to_seq = excluded.has_to_seq, last_hash = excluded.last_hash, heard_at = excluded.heard_at,"
    " clock_ahead_ms = excluded.clock_ahead_ms"
)
