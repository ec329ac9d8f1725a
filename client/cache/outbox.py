"""The outbox: every event written down at this workstation, in a chain, until long after it was sent.

An event row holds the whole event as canonical JSON and is never changed again; only its state is
(:mod:`client.cache.written`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from client.cache.answers import Answers
from client.cache.clock import CLOCK_TABLES, Ticks, in_words, look, shift_since, ticks_now
from client.cache.decided import DECISION_TABLES
from client.cache.lost import Lost, known_losses, name_lost
from client.cache.plans import PLAN_TABLES, SPOILED_TABLES, SUM_TABLES
from client.cache.sqlite import META, Sqlite
from client.cache.stock import STOCK_TABLES
from client.cache.written import Counts, Draft, State, Waiting, Written, utc_text
from client.errors import InputWrong
from client.home import Home
from client.ids import computer_fingerprint, uuid7
from schemas.events import EventSchema, event_hash, payload_errors
from schemas.problems import field_errors
from service.engine.fingerprint import canonical_json

__all__ = ["CONTRACT", "Counts", "Draft", "Outbox", "State", "Waiting", "Written", "utc_text"]

CONTRACT: Final = 1
"""Version of the contract that new events are written by."""

KEEP_DAYS: Final = 90
"""How long an acknowledged event stays here, so that it can be offered again."""

_MIGRATIONS: Final[tuple[tuple[str, ...], ...]] = (
    (
        META,
        """CREATE TABLE epoch (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            epoch TEXT NOT NULL UNIQUE,
            began_at TEXT NOT NULL,
            why TEXT NOT NULL,
            last_seq INTEGER NOT NULL DEFAULT 0,
            last_hash TEXT NOT NULL
        ) STRICT""",
        """CREATE TABLE event (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            event_id TEXT NOT NULL,
            epoch TEXT NOT NULL REFERENCES epoch (epoch),
            seq INTEGER NOT NULL CHECK (seq >= 1),
            type TEXT NOT NULL,
            happened_at TEXT NOT NULL,
            body BLOB NOT NULL,
            hash TEXT NOT NULL,
            contract INTEGER NOT NULL,
            state TEXT NOT NULL DEFAULT 'pending'
                CHECK (state IN ('pending', 'taken', 'kept', 'quarantined', 'aside', 'reissued')),
            answer TEXT,
            answered_at TEXT,
            UNIQUE (epoch, seq),
            UNIQUE (epoch, event_id)
        ) STRICT""",
        "CREATE INDEX event_by_state ON event (state, epoch, seq)",
        *PLAN_TABLES,
        *STOCK_TABLES,
    ),
    (*SPOILED_TABLES,),
    (*CLOCK_TABLES,),
    (*DECISION_TABLES, *SUM_TABLES),
)


class Outbox(Answers):
    """The store of one workstation, opened.

    Opening compares the store with the mark beside it; `notice` then says in words when a new epoch
    had to be begun. Opened for `reading` only, it is left as it is.
    """

    def __init__(
        self,
        home: Home,
        station: str,
        *,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        ticks: Callable[[], Ticks] = ticks_now,
        computer: str | None = None,
        why: str | None = None,
        reading: bool = False,
    ) -> None:
        home.make()
        self.home = home
        self.station = station
        self.now = now
        self.ticks = ticks
        self.computer = computer or computer_fingerprint()
        self.notice: str | None = None
        self.why = why
        self.sql = Sqlite(home.store_file, _MIGRATIONS, durable=True, reading=reading)
        if not reading and self.doubt() is not None:
            with home.writing():
                self.settle_epoch()

    def close(self) -> None:
        """Close this thread's connection."""
        self.sql.close()

    # --- writing -------------------------------------------------------------------------------

    def write(
        self, drafts: Sequence[Draft], effects: Callable[[Sequence[int]], None] | None = None
    ) -> list[Written]:
        """Write events and their local effects: all of them, on the disk, or none.

        Parameters
        ----------
        drafts
            In the order they happened.
        effects
            Called inside the transaction with the row numbers of the events.

        Raises
        ------
        InputWrong
            When a payload does not keep the contract; nothing is written.
        """
        for draft in drafts:
            self._refuse_bad(draft)
        with self.home.writing():
            # A second process may have begun a new epoch, or the store been exchanged, since we opened it.
            if self.doubt() is not None:
                self.settle_epoch()
            with self.sql.transaction():
                clock, happened_at = self._look_at_clock()
                rows = [
                    self.append(draft.type, draft.payload, happened_at, str(uuid7()), clock)
                    for draft in drafts
                ]
                if effects is not None:
                    effects(rows)
            self.move_mark()
        return self.by_rows(rows)

    def reissue(self, epoch: str, from_seq: int, why: str) -> str:
        """Write all unacknowledged events of `epoch` from `from_seq` on again, under another epoch.

        That is the newest one, or a new one when `epoch` is the newest. The old rows stay.

        Returns
        -------
        The epoch under which they are now.
        """
        with self.home.writing():
            with self.sql.transaction():
                self._reissue(epoch, from_seq, why)
            self.move_mark()
        return self.epoch

    def _reissue(self, epoch: str, from_seq: int, why: str) -> None:
        if self.epoch == epoch:
            self.begin_epoch(why)
        for written in self._query(
            "WHERE epoch = ? AND seq >= ? AND state = 'pending' ORDER BY seq", epoch, from_seq
        ):
            self._write_again(written)

    def retry_aside(self) -> int:
        """Write again what the centre did not take in, so that it is offered once more; how many.

        What was withdrawn meanwhile is not: the centre could not apply the withdrawal of what it lacks.
        """
        with self.home.writing():
            with self.sql.transaction():
                taken_back = {
                    one.event["payload"]["event_id"]
                    for one in self.of_type("log.withdrawn", after=0)
                    if one.sound
                }
                held = [
                    one
                    for one in self._query("WHERE state = 'aside' ORDER BY id")
                    if one.event_id not in taken_back
                ]
                if any(written.epoch == self.epoch for written in held):
                    self.begin_epoch("what was put aside is offered again")
                for written in held:
                    self._write_again(written)
            self.move_mark()
        return len(held)

    def _write_again(self, written: Written) -> None:
        row = self.append(
            written.type, written.event["payload"], written.happened_at, written.event_id, written.clock
        )
        self.sql.run("UPDATE event SET state = 'reissued' WHERE id = ?", written.row)
        self.sql.run("UPDATE stock_change SET event = ? WHERE event = ?", row, written.row)

    def append(
        self, event_type: str, payload: Mapping[str, Any], happened_at: str, event_id: str, clock: int
    ) -> int:
        """Put an event at the end of the chain, within the caller's transaction; its row number."""
        found = self.sql.row("SELECT epoch, last_seq, last_hash FROM epoch ORDER BY number DESC LIMIT 1")
        assert found is not None
        epoch, seq, prev_hash = found[0], found[1] + 1, found[2]
        event: dict[str, Any] = {
            "event_id": event_id,
            "station": self.station,
            "epoch": epoch,
            "seq": seq,
            "happened_at": happened_at,
            "type": event_type,
            "payload": payload,
            "prev_hash": prev_hash,
        }
        event["hash"] = event_hash(event)
        messages = EventSchema().validate(event)
        if messages:
            raise InputWrong("; ".join(f"{e.pointer}: {e.message}" for e in field_errors(messages)))
        row = self.sql.insert(
            "INSERT INTO event (event_id, epoch, seq, type, happened_at, body, hash, contract, clock)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            event_id,
            epoch,
            seq,
            event_type,
            happened_at,
            canonical_json(event),
            event["hash"],
            CONTRACT,
            clock,
        )
        self.sql.run(
            "UPDATE epoch SET last_seq = ?, last_hash = ? WHERE epoch = ?", seq, event["hash"], epoch
        )
        return row

    def _look_at_clock(self) -> tuple[int, str]:
        """The reckoning of the clock that holds, and its time; a clock that was moved is told."""
        now = self.now()
        clock, moved = look(self.sql, now, self.ticks())
        if moved:
            self.notice = (
                f"the clock of this computer was {in_words(moved)}; times are corrected with the centre's "
                "clock, and stay as they were written"
            )
        return clock, utc_text(now)

    def sent_at(self, clock: int) -> str:
        """What the clock by which events were timed would show now."""
        with self.home.writing(), self.sql.transaction():
            self._look_at_clock()
            return utc_text(self.now() - shift_since(self.sql, clock))

    def _refuse_bad(self, draft: Draft) -> None:
        errors = payload_errors(draft.type, draft.payload)
        if errors is None:
            raise InputWrong(f"there is no kind of entry {draft.type!r}")
        if errors:
            said = "; ".join(f"{e.pointer.removeprefix('/payload/')}: {e.message}" for e in errors)
            raise InputWrong(f"not written: {said}")

    # --- beside the centre ---------------------------------------------------------------------

    def hold_against(self, centre: Mapping[str, int], agreed: Collection[str] = ()) -> list[Lost]:
        """Hold how far the centre has each epoch against the store; the losses that this tells of anew.

        An epoch of which the centre has more than the store ends here: its next number was given out
        before. Of those that are `agreed` the last event that the centre has is here, by its hash.
        """

        def here_to(epoch: str) -> int | None:
            return centre.get(epoch, 0) if epoch in agreed else self.here_to(epoch)

        with self.home.writing():
            with self.sql.transaction():
                ours = dict.fromkeys([*self.epochs(), *(one.epoch for one in known_losses(self.sql))], 0)
                told = [
                    lost
                    for epoch, has in {**ours, **centre}.items()
                    for lost in name_lost(self.sql, epoch, here_to(epoch), has)
                ]
                if centre.get(self.epoch, 0) > (here_to(self.epoch) or 0):
                    self._reissue(self.epoch, 1, "the centre has more of this station than the store")
            self.move_mark()
        return told

    def tidy(self, keep_days: int = KEEP_DAYS, most: int = 2000) -> int:
        """Drop the oldest acknowledged events past their age, at most `most` at once; how many went.

        What is pending, in quarantine or aside always stays. The chain goes on from the epoch's own record.
        """
        before = utc_text(self.now() - timedelta(days=keep_days))
        with self.home.writing():
            with self.sql.transaction():
                gone = self.sql.run(
                    "DELETE FROM event WHERE id IN (SELECT id FROM event"
                    " WHERE state IN ('taken', 'kept', 'reissued')"
                    " AND coalesce(answered_at, happened_at) < ? AND happened_at < ?"
                    " AND seq < (SELECT last_seq FROM epoch WHERE epoch.epoch = event.epoch)"
                    " ORDER BY id LIMIT ?)",
                    before,
                    before,
                    most,
                )
                self.sql.run(
                    "DELETE FROM stock_change WHERE settled = 1 AND event NOT IN (SELECT id FROM event)"
                )
            if gone:
                self.sql.run("PRAGMA incremental_vacuum(1000)")
        return gone
