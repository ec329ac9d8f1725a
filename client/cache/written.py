"""Events as they lie in the store of a workstation, and the questions that are asked of them.

===========  ======================================================================================
state        meaning
===========  ======================================================================================
pending      not acknowledged by the centre
taken        acknowledged: applied, or a repeat of what was applied before
kept         acknowledged: of a type the centre does not know yet; kept there until it does
quarantined  acknowledged: kept at the centre and not applied; a person must look
aside        the centre did not take it in at all; it waits here for a person, and for `retry`
reissued     written again under another epoch, because the centre holds another event under its
             number; this row only remembers
===========  ======================================================================================
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final, Literal, TypeAlias, cast

from client.cache.bodies import json_object
from client.cache.sqlite import Row, Sqlite
from client.errors import StoreFailed
from schemas.events import event_hash

DAMAGED: Final = "do not trust this disk; shearwright salvage brings over what is whole"

State: TypeAlias = Literal["pending", "taken", "kept", "quarantined", "aside", "reissued"]


@dataclass(frozen=True, slots=True)
class Draft:
    """An event before it has its place in the chain."""

    type: str
    payload: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Written:
    """An event that is on the disk.

    `row` is its number in the store, `body` its canonical JSON, `clock` the reckoning it was timed by.
    """

    row: int
    event_id: str
    epoch: str
    seq: int
    type: str
    happened_at: str
    hash: str
    body: bytes
    state: State
    answer: str | None
    clock: int

    @property
    def event(self) -> dict[str, Any]:
        """The whole event.

        Raises
        ------
        StoreFailed
            When it cannot be read any more.
        """
        found = json_object(self.body)
        if found is None:
            raise StoreFailed(self.damage)
        return found

    @property
    def sound(self) -> bool:
        """Whether it is as it was written, by its own hash."""
        event = json_object(self.body)
        if event is None:
            return False
        stands = {name: event.get(name) for name in ("event_id", "epoch", "seq", "type", "happened_at")}
        try:
            return event_hash(event) == self.hash == event.get("hash") and stands == {
                name: getattr(self, name) for name in stands
            }
        except ValueError:
            return False  # such as a figure that is none

    @property
    def damage(self) -> str:
        """What to say of it when it is not sound."""
        return f"entry {self.row} changed on the disk after it was written; {DAMAGED}"


@dataclass(frozen=True, slots=True)
class Counts:
    """Where the outbox stands. `oldest` is when the oldest pending event happened.

    `quarantined` counts what a person must look at: in quarantine at the centre, or put aside here.
    """

    pending: int
    taken: int
    kept: int
    quarantined: int
    reissued: int
    oldest: str | None


@dataclass(frozen=True, slots=True)
class Waiting:
    """An event that the centre has and did not apply, and why."""

    epoch: str
    seq: int
    state: Literal["kept", "quarantined"]
    answer: str | None


_COLUMNS: Final = "id, event_id, epoch, seq, type, happened_at, hash, body, state, answer, clock"


def _written(row: Row) -> Written:
    number, event_id, epoch, seq, event_type, happened_at, held, body, state, answer, clock = row
    return Written(
        number, event_id, epoch, seq, event_type, happened_at, held, bytes(body), state, answer, clock
    )


def utc_text(moment: datetime) -> str:
    """A time as RFC 3339 in UTC.

    >>> utc_text(datetime(2026, 3, 2, 7, 15, tzinfo=UTC))
    '2026-03-02T07:15:00.000000Z'
    """
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


class EventRows:
    """The events of a store, for reading."""

    sql: Sqlite

    def by_rows(self, rows: Sequence[int]) -> list[Written]:
        """The events of these row numbers."""
        return [found for row in rows for found in self._query("WHERE id = ?", row)]

    def pending(self, epoch: str, most: int) -> list[Written]:
        """The first pending events of an epoch, without a hole between them."""
        found = self._query("WHERE state = 'pending' AND epoch = ? ORDER BY seq LIMIT ?", epoch, most)
        for place, written in enumerate(found):
            if written.seq != found[0].seq + place:
                return found[:place]
        return found

    def unsound(self) -> list[Written]:
        """Events that the centre has not acknowledged and that changed on the disk, oldest first."""
        found = self._query("WHERE state IN ('pending', 'aside') ORDER BY id")
        return [one for one in found if not one.sound]

    def quarantined(self) -> list[Written]:
        """Events the centre could not apply or did not take in, oldest first."""
        return self._query("WHERE state IN ('quarantined', 'aside') ORDER BY id")

    def latest(self, most: int) -> list[Written]:
        """The newest events, newest first."""
        return self._query("ORDER BY id DESC LIMIT ?", most)

    def of_type(self, event_type: str, *, after: int) -> list[Written]:
        """Events of a type with a row number beyond one, in the order they were written."""
        return self._query("WHERE type = ? AND id > ? AND state <> 'reissued' ORDER BY id", event_type, after)

    def all_events(self) -> Iterable[Written]:
        """Every event kept here, in the order it was written."""
        row = 0
        while page := self._query("WHERE id > ? ORDER BY id LIMIT 500", row):
            yield from page
            row = page[-1].row

    def counts(self) -> Counts:
        """How many events are in which state."""
        by_state: dict[str, int] = dict(self.sql.rows("SELECT state, count(*) FROM event GROUP BY state"))
        oldest = self.sql.value("SELECT min(happened_at) FROM event WHERE state = 'pending'")
        return Counts(
            pending=by_state.get("pending", 0),
            taken=by_state.get("taken", 0),
            kept=by_state.get("kept", 0),
            quarantined=by_state.get("quarantined", 0) + by_state.get("aside", 0),
            reissued=by_state.get("reissued", 0),
            oldest=oldest,
        )

    def hash_at(self, epoch: str, seq: int) -> str | None:
        """The hash of an event, or None when it is not kept here."""
        return cast(
            "str | None", self.sql.value("SELECT hash FROM event WHERE epoch = ? AND seq = ?", epoch, seq)
        )

    def _query(self, rest: str, *values: Any) -> list[Written]:
        # `rest` is always a literal of this module; values go in as parameters.
        return [_written(row) for row in self.sql.rows(f"SELECT {_COLUMNS} FROM event {rest}", *values)]  # noqa: S608

    def last_row(self) -> int:
        """The highest row number that was ever given out in this store."""
        return cast(
            "int", self.sql.value("SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'event'")
        )

    def acknowledged_to(self) -> int:
        """Row number up to which every event is acknowledged; events after it may be on their way."""
        first = self.sql.value("SELECT min(id) FROM event WHERE state = 'pending'")
        if first is not None:
            return cast("int", first) - 1
        return cast("int", self.sql.value("SELECT coalesce(max(id), 0) FROM event"))
