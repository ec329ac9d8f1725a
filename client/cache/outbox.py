"""The outbox: every event written down at this workstation, in a chain, until long after it was sent.

An event row holds the whole event as canonical JSON and is never changed again; only its state is
(:mod:`client.cache.written`).
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final, cast

from client.cache.clock import CLOCK_TABLES, Ticks, in_words, look, shift_since, ticks_now
from client.cache.lost import Lost, forget_named, losses, lost_words, name_lost, note_lost
from client.cache.mark import Mark, read_mark, write_mark
from client.cache.plans import PLAN_TABLES, SPOILED_TABLES
from client.cache.sqlite import META, Sqlite
from client.cache.stock import STOCK_TABLES
from client.cache.written import Counts, Draft, EventRows, State, Waiting, Written, utc_text
from client.errors import InputWrong, StoreFailed
from client.home import Home
from client.ids import computer_fingerprint, uuid7
from schemas.events import FIRST_HASH, EventSchema, event_hash, payload_errors
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
)


_FIRST_USE: Final = "first use"


class Outbox(EventRows):
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
        self._why = why
        self.sql = Sqlite(home.store_file, _MIGRATIONS, durable=True, reading=reading)
        if not reading and self._doubt() is not None:
            with home.writing():
                self._settle_epoch()

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
            if self._doubt() is not None:
                self._settle_epoch()
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
            self._begin_epoch(why)
        for written in self._query(
            "WHERE epoch = ? AND seq >= ? AND state = 'pending' ORDER BY seq", epoch, from_seq
        ):
            self._write_again(written)

    def retry_aside(self) -> int:
        """Write again what the centre did not take in, so that it is offered once more; how many."""
        with self.home.writing():
            with self.sql.transaction():
                held = self._query("WHERE state = 'aside' ORDER BY id")
                if any(written.epoch == self.epoch for written in held):
                    self._begin_epoch("what was put aside is offered again")
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
            raise InputWrong(f"there is no event type {draft.type!r}")
        if errors:
            said = "; ".join(f"{e.pointer.removeprefix('/payload/')}: {e.message}" for e in errors)
            raise InputWrong(f"not written: {said}")

    # --- epochs --------------------------------------------------------------------------------

    @property
    def epoch(self) -> str:
        """The newest epoch."""
        return cast("str", self.sql.value("SELECT epoch FROM epoch ORDER BY number DESC LIMIT 1"))

    def epochs(self) -> list[str]:
        """All epochs, oldest first."""
        return [row[0] for row in self.sql.rows("SELECT epoch FROM epoch ORDER BY number")]

    def new_epoch(self, why: str) -> str:
        """Begin a new epoch; what is pending stays in its old one and is still sent."""
        with self.home.writing():
            with self.sql.transaction():
                self._begin_epoch(why)
            self._write_mark()
        return self.epoch

    def _begin_epoch(self, why: str) -> None:
        self.sql.run(
            "INSERT INTO epoch (epoch, began_at, why, last_hash) VALUES (?, ?, ?, ?)",
            str(uuid.uuid4()),
            utc_text(self.now()),
            why,
            FIRST_HASH,
        )

    def _doubt(self) -> str | None:
        """Why a new epoch is needed, or None when store and mark agree."""
        newest = self.sql.row("SELECT epoch, last_seq FROM epoch ORDER BY number DESC LIMIT 1")
        mark = read_mark(self.home.mark_file)
        if newest is None:
            return _FIRST_USE if mark is None else "the store is gone and an empty one took its place"
        if mark is None:
            return "the mark beside the store is missing"
        if mark.computer != self.computer:
            return "the store was brought here from another computer"
        last = self.sql.value("SELECT last_seq FROM epoch WHERE epoch = ?", mark.epoch)
        if last is None or last < mark.seq:
            return "the store was put back to an earlier state"
        return "the store was exchanged for another" if self._other_than(mark) else None

    def _settle_epoch(self) -> None:
        why = self._doubt()
        if why is None:
            return
        # Who brings a store over on purpose tells himself what did not come.
        lost = None if self._why else self._lost()
        why = self._why or why
        with self.sql.transaction():
            self._begin_epoch(why)
            if lost is not None:
                note_lost(self.sql, lost)
        self._write_mark()
        if why != _FIRST_USE:
            told = "" if lost is None else f"; {lost_words(lost)}"
            self.notice = f"{why}: a new epoch was begun, and what is pending here will be sent{told}"

    def _lost(self) -> Lost | None:
        """What the mark tells of entries that are not in the store."""
        mark = read_mark(self.home.mark_file)
        if mark is None or mark.seq < 1:
            return None
        last = self.sql.value("SELECT last_seq FROM epoch WHERE epoch = ?", mark.epoch) or 0
        if last < mark.seq:
            return Lost(mark.epoch, last + 1, mark.seq)
        # Of a store that was exchanged nobody knows from which number on it was another.
        return Lost(mark.epoch, 1, mark.seq) if self._other_than(mark) else None

    def _other_than(self, mark: Mark) -> bool:
        held = self.hash_at(mark.epoch, mark.seq)
        return held is not None and held != mark.hash

    def move_mark(self) -> None:
        """Move the mark after events that are on the disk; a failure must not be taken for theirs.

        A mark that stays behind is no doubt at the next opening, and the next event moves it.
        """
        try:
            self._write_mark()
        except StoreFailed as error:
            self.notice = f"what was logged is written; only the mark beside the store is not: {error}"

    def _write_mark(self) -> None:
        found = self.sql.row("SELECT epoch, last_seq, last_hash FROM epoch ORDER BY number DESC LIMIT 1")
        assert found is not None
        write_mark(self.home.mark_file, Mark(found[0], found[1], found[2], self.computer))

    # --- what the centre said ------------------------------------------------------------------

    def answered(self, states: Mapping[int, tuple[State, str | None]]) -> None:
        """Keep what became of events, by row number."""
        moment = utc_text(self.now())
        with self.home.writing(), self.sql.transaction():
            for row, (state, answer) in states.items():
                self.sql.run(
                    "UPDATE event SET state = ?, answer = ?, answered_at = ?"
                    " WHERE id = ? AND state <> 'reissued'",
                    state,
                    answer,
                    moment,
                    row,
                )

    def offer_again(self, epoch: str, after_seq: int) -> int:
        """Make acknowledged events after a number pending again; how many."""
        with self.home.writing(), self.sql.transaction():
            return self._offer_again(epoch, after_seq)

    def centre_changed(self, centre_epoch: str, lacks: Mapping[str, int]) -> int:
        """Keep the centre's new life and offer again, by epoch, what lies after a number; how many."""
        with self.home.writing(), self.sql.transaction():
            offered = sum(self._offer_again(epoch, after) for epoch, after in lacks.items())
            self.sql.set_meta("centre_epoch", centre_epoch)
        return offered

    def offer_what_is_lost(self, has: Mapping[str, int]) -> int:
        """Make acknowledged events pending that lie beyond what the centre has, by epoch; how many."""
        with self.home.writing(), self.sql.transaction():
            return sum(self._offer_again(epoch, seq) for epoch, seq in has.items())

    def hold_against(self, centre: Mapping[str, int]) -> list[Lost]:
        """Hold how far the centre has each epoch against the store; the losses that this tells of anew.

        An epoch of which the centre has more than the store ends here: its next number was given out
        before.
        """
        with self.home.writing():
            with self.sql.transaction():
                ours = dict.fromkeys([*self.epochs(), *(one.epoch for one in losses(self.sql))], 0)
                told = [
                    lost
                    for epoch, has in {**ours, **centre}.items()
                    for lost in name_lost(self.sql, epoch, self._here_to(epoch, has), has)
                ]
                if centre.get(self.epoch, 0) > self._here_to(self.epoch, 0):
                    self._reissue(self.epoch, 1, "the centre has more of this station than the store")
            self.move_mark()
        return told

    def lost_seen(self) -> int:
        """Tell no longer of the losses that the centre was asked for; how many."""
        with self.home.writing(), self.sql.transaction():
            return forget_named(self.sql)

    def _here_to(self, epoch: str, unknown: int) -> int:
        """Up to which number the store has what the centre has of an epoch; `unknown` where it has none."""
        last = self.sql.value("SELECT last_seq FROM epoch WHERE epoch = ?", epoch)
        first_other = self.sql.value(
            "SELECT min(seq) FROM event WHERE epoch = ? AND state IN ('pending', 'aside', 'reissued')", epoch
        )
        if last is None:
            return unknown
        return cast("int", last if first_other is None else first_other - 1)

    def note_waiting(
        self, waiting: Sequence[Waiting], has: Mapping[str, int], *, complete: bool
    ) -> tuple[int, int]:
        """Keep which acknowledged events wait at the centre, and which of them no longer do.

        An event that was written again under another epoch may wait under its old number: its newest
        row bears the state.

        Parameters
        ----------
        waiting
            What the centre did not apply.
        has
            By epoch, how far the centre has our events.
        complete
            Whether `waiting` is all; else nothing is concluded from what it does not name.

        Returns
        -------
        How many were settled, and how many are known to wait only now.
        """
        moment = utc_text(self.now())
        settled = held = 0
        with self.home.writing(), self.sql.transaction():
            named: set[str] = set()
            for one in waiting:
                event_id = self.sql.value(
                    "SELECT event_id FROM event WHERE epoch = ? AND seq = ?", one.epoch, one.seq
                )
                if event_id is None:
                    continue
                named.add(event_id)
                changed = self.sql.run(
                    "UPDATE event SET state = ?, answer = ?, answered_at = ? WHERE event_id = ?"
                    " AND state IN ('taken', 'kept', 'quarantined')"
                    " AND (state <> ? OR answer IS NOT ?)",
                    one.state,
                    one.answer,
                    moment,
                    event_id,
                    one.state,
                    one.answer,
                )
                held += changed
            known = self.sql.rows(
                "SELECT id, event_id, epoch, seq FROM event WHERE state IN ('kept', 'quarantined')"
            )
            for row, event_id, epoch, seq in known if complete else ():
                if event_id not in named and seq <= has.get(epoch, 0):
                    settled += self.sql.run(
                        "UPDATE event SET state = 'taken', answered_at = ? WHERE id = ?", moment, row
                    )
        return settled, held

    def _offer_again(self, epoch: str, after_seq: int) -> int:
        self.sql.run(
            "UPDATE stock_change SET settled = 0 WHERE event IN"
            " (SELECT id FROM event"
            " WHERE epoch = ? AND seq > ? AND state IN ('taken', 'kept', 'quarantined'))",
            epoch,
            after_seq,
        )
        return self.sql.run(
            "UPDATE event SET state = 'pending', answered_at = NULL"
            " WHERE epoch = ? AND seq > ? AND state IN ('taken', 'kept', 'quarantined')",
            epoch,
            after_seq,
        )

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
