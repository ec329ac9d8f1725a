"""What the centre said of the events of a store: acknowledged, lost there, or waiting there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast

from client.cache.decided import Decision, take_decisions
from client.cache.epochs import Epochs
from client.cache.lost import losses_seen
from client.cache.written import State, Waiting, utc_text


class Answers(Epochs):
    """The states of events as the centre's answers change them."""

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

    def lost_seen(self) -> int:
        """Tell no longer of the losses that the centre was asked for; how many."""
        with self.home.writing(), self.sql.transaction():
            return losses_seen(self.sql)

    def here_to(self, epoch: str) -> int | None:
        """Up to which number the store has what the centre has of an epoch; None: it has no such epoch."""
        last = self.sql.value("SELECT last_seq FROM epoch WHERE epoch = ?", epoch)
        first_other = self.sql.value(
            "SELECT min(seq) FROM event WHERE epoch = ? AND state IN ('pending', 'aside', 'reissued')", epoch
        )
        if last is None:
            return None
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

    def note_decisions(self, told: Sequence[Decision]) -> list[Decision]:
        """Keep what persons at the centre decided; those decisions that are new here."""
        with self.home.writing(), self.sql.transaction():
            return take_decisions(self.sql, told)

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
