"""Epochs: the runs of numbers that a store gives out, and when a new one has to begin.

A store that went back, or is not the one that was here, would give out numbers again that were given
out before. It is held against the mark beside it (:mod:`client.cache.mark`); where they disagree a new
epoch begins, and nothing is thrown away.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import datetime
from typing import Final, cast

from client.cache.lost import Lost, lost_words, note_lost
from client.cache.mark import Mark, read_mark, write_mark
from client.cache.written import EventRows, utc_text
from client.errors import StoreFailed
from client.home import Home
from schemas.events import FIRST_HASH

_FIRST_USE: Final = "first use"


class Epochs(EventRows):
    """The epochs of a store, and the mark that it is held against.

    `notice` says in words when a new epoch had to be begun, or the mark could not be moved.
    """

    home: Home
    now: Callable[[], datetime]
    computer: str
    notice: str | None
    why: str | None
    """Why a new epoch begins, where that is known beforehand."""

    @property
    def epoch(self) -> str:
        """The newest epoch."""
        return cast("str", self.sql.value("SELECT epoch FROM epoch ORDER BY number DESC LIMIT 1"))

    def epochs(self) -> list[str]:
        """All epochs, oldest first."""
        return [row[0] for row in self.sql.rows("SELECT epoch FROM epoch ORDER BY number")]

    def begin_epoch(self, why: str) -> None:
        """Begin a new epoch, within the caller's transaction; the mark is still to be written.

        What is pending stays in its old one and is still sent.
        """
        self.sql.run(
            "INSERT INTO epoch (epoch, began_at, why, last_hash) VALUES (?, ?, ?, ?)",
            str(uuid.uuid4()),
            utc_text(self.now()),
            why,
            FIRST_HASH,
        )

    def doubt(self) -> str | None:
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

    def settle_epoch(self) -> None:
        """Begin a new epoch where store and mark disagree, and say so; the caller holds the write lock."""
        why = self.doubt()
        if why is None:
            return
        # Who brings a store over on purpose tells himself what did not come.
        lost = [] if self.why else self._lost()
        why = self.why or why
        with self.sql.transaction():
            self.begin_epoch(why)
            note_lost(self.sql, lost)
        mark = read_mark(self.home.mark_file)
        if mark is not None:
            self.pass_over(mark.row)
        self.write_mark()
        if why != _FIRST_USE:
            told = "".join(f"; {lost_words(one)}" for one in lost)
            self.notice = f"{why}: a new epoch was begun, and what is pending here will be sent{told}"

    def pass_over(self, row: int) -> None:
        """Let the log go on after a number that was given out, so that none is given out twice.

        Persons write numbers down, and withdraw by them.
        """
        with self.sql.transaction():
            if row > self.last_row():
                self.sql.run("DELETE FROM sqlite_sequence WHERE name = 'event'")
                self.sql.run("INSERT INTO sqlite_sequence (name, seq) VALUES ('event', ?)", row)

    def _lost(self) -> list[Lost]:
        """What the mark tells of entries that are not in the store."""
        mark = read_mark(self.home.mark_file)
        if mark is None:
            return []
        here = self.last_numbers()
        lost = []
        for epoch, last in mark.last.items():
            first = here.get(epoch, 0) + 1
            # Within an epoch the numbers of the log go up with its own.
            row = mark.row - (last - first) if epoch == mark.epoch and mark.row else None
            if first <= last:
                lost.append(Lost(epoch, first, last, row=row))
        # Of a store that was exchanged nobody knows from which number on it was another.
        return [*lost, Lost(mark.epoch, 1, mark.seq)] if self._other_than(mark) else lost

    def last_numbers(self) -> dict[str, int]:
        """By epoch, oldest first, the last number given out in this store."""
        return dict(self.sql.rows("SELECT epoch, last_seq FROM epoch ORDER BY number"))

    def _other_than(self, mark: Mark) -> bool:
        held = self.hash_at(mark.epoch, mark.seq)
        return held is not None and held != mark.hash

    def move_mark(self) -> None:
        """Move the mark after events that are on the disk; a failure must not be taken for theirs.

        A mark that stays behind is no doubt at the next opening, and the next event moves it.
        """
        try:
            self.write_mark()
        except StoreFailed as error:
            self.notice = f"what was logged is written; only the mark beside the store is not: {error}"

    def write_mark(self) -> None:
        """Write how far the newest epoch is."""
        found = self.sql.row("SELECT epoch, last_seq, last_hash FROM epoch ORDER BY number DESC LIMIT 1")
        assert found is not None
        # Epochs in which nothing was written tell nothing of what is missing.
        earlier = {epoch: seq for epoch, seq in self.last_numbers().items() if seq and epoch != found[0]}
        write_mark(
            self.home.mark_file, Mark(found[0], found[1], found[2], self.computer, earlier, self.last_row())
        )
