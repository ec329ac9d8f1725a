"""Taking over events that were read out of another store of the same station.

Entries keep their numbers, in the log and in their chain, as far as the chain is whole: up to what the
centre has acknowledged, and beyond that as long as each follows the one before by number and hash. What
comes after a hole is written again under the newest epoch, with the same event_id, since the centre
takes no chain with a hole in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import accumulate
from typing import Any, Final, cast

from client.cache.clock import OFFSET_AT, current
from client.cache.outbox import CONTRACT, Outbox, State, utc_text
from client.cache.stock import StockChange, change_of, note_change
from schemas.events import FIRST_HASH
from service.engine.fingerprint import canonical_json

_SETTLED: Final = frozenset({"taken", "kept", "quarantined"})


@dataclass(frozen=True, slots=True)
class Found:
    """An event found in another store, with the state it had there.

    `clock` is the reckoning there that timed it, `row` its number in the log there; both are None where
    only the event itself could be read.
    """

    event: dict[str, Any]
    state: State
    answer: str | None
    clock: int | None = None
    row: int | None = None

    @property
    def epoch(self) -> str:
        """Its epoch."""
        return cast("str", self.event["epoch"])

    @property
    def seq(self) -> int:
        """Its number in the epoch."""
        return cast("int", self.event["seq"])


@dataclass(frozen=True, slots=True)
class OldEpoch:
    """An epoch as the other store has it."""

    epoch: str
    began_at: str
    why: str
    last_seq: int


@dataclass(slots=True)
class StoreRead:
    """All that was read out of another store: events, epochs in their order, rows of other tables."""

    found: list[Found] = field(default_factory=list)
    epochs: list[OldEpoch] = field(default_factory=list)
    side: dict[str, list[dict[str, Any]]] = field(default_factory=dict)


@dataclass(slots=True)
class Adopted:
    """How many events were taken over, and of them are to be sent or have new numbers; how many were here."""

    taken: int = 0
    pending: int = 0
    renumbered: int = 0
    known: int = 0


def adopt(outbox: Outbox, read: StoreRead) -> Adopted:
    """Take over what was read out of another store of this station, all of it or nothing."""
    done = Adopted()
    with outbox.home.writing():
        with outbox.sql.transaction():
            clocks = _adopt_clocks(outbox, read.side.get("clock", ()))
            order = _order(read)
            found = _as_they_count(outbox, read.found, order, done)
            keeping = [one for one in found if _keeps(outbox, one)]
            if any(one.epoch == outbox.epoch for one in keeping):
                outbox.begin_epoch("events read out of another store come before what is written from now on")
            _adopt_epochs(outbox, read, keeping, order)
            whole = _whole_chains(outbox, keeping)
            # Those with a number in the log first, so that no other takes it.
            for one in sorted(whole, key=lambda one: (one.row is None, one.row, order[one.epoch], one.seq)):
                row = _adopt_row(outbox, one, _clock(outbox, one, clocks))
                if one.state != "reissued":
                    _adopt_change(outbox, row, one.event, settled=one.state in _SETTLED)
            # What is written again below gets a number of its own, and not one that another had.
            outbox.pass_over(max((one.row for one in found if one.row is not None), default=0))
            kept = {id(one) for one in whole}
            for one in found:
                if id(one) not in kept and one.state != "reissued":
                    clock = _clock(outbox, one, clocks)
                    event = one.event
                    row = outbox.append(
                        event["type"], event["payload"], event["happened_at"], event["event_id"], clock
                    )
                    _adopt_change(outbox, row, event, settled=False)
                    done.renumbered += 1
                    if _keeps(outbox, one):
                        # As with all that is written again, the old number remembers what stood there.
                        _adopt_row(outbox, replace(one, state="reissued"), clock)
            done.taken = sum(one.state != "reissued" for one in found)
            done.pending = done.taken - sum(one.state in {*_SETTLED, "aside"} for one in whole)
            for table, rows in read.side.items():
                if table != "clock":
                    _adopt_side(outbox, table, [_by_clocks(row, clocks) for row in rows])
            if not _told_by_mark(outbox):
                outbox.begin_epoch("events read out of another store lie between those here")
                # More numbers of the log than of all epochs: by that the mark tells nothing of those before.
                outbox.pass_over(max(outbox.last_row(), sum(outbox.last_numbers().values())) + 1)
        outbox.move_mark()
    return done


def _told_by_mark(outbox: Outbox) -> bool:
    """Whether entries have the numbers in the log that will be read out of the mark.

    That is of the newest epoch up to the last number given out, and of all one after another where no
    number was passed over.
    """
    last, row = outbox.last_numbers(), outbox.last_row()
    begun = dict(zip(last, accumulate(last.values(), initial=0), strict=False))
    if sum(last.values()) != row:
        begun = {outbox.epoch: row - last[outbox.epoch]}
    places = outbox.sql.rows("SELECT id, epoch, seq FROM event")
    return all(number == begun[epoch] + seq for number, epoch, seq in places if epoch in begun)


def _order(read: StoreRead) -> dict[str, int]:
    """The place of each epoch; those of which only events are left come last, as they happened."""
    named = [one.epoch for one in read.epochs]
    by_time = sorted(read.found, key=lambda one: (one.event["happened_at"], one.seq))
    return {epoch: place for place, epoch in enumerate(dict.fromkeys([*named, *(o.epoch for o in by_time)]))}


def _as_they_count(
    outbox: Outbox, found: Sequence[Found], order: Mapping[str, int], done: Adopted
) -> list[Found]:
    """What is not here yet, as it happened; of one event under several epochs only the newest counts."""
    here = {
        event_id for (event_id,) in outbox.sql.rows("SELECT event_id FROM event WHERE state <> 'reissued'")
    }
    newest: dict[str, Found] = {}
    # One that was written again counts only where the newer one was not found.
    for one in sorted(found, key=lambda one: (one.state != "reissued", order[one.epoch], one.seq)):
        newest[one.event["event_id"]] = one
    counted = []
    for one in sorted(found, key=lambda one: (one.event["happened_at"], order[one.epoch], one.seq)):
        event_id = one.event["event_id"]
        if event_id in here:
            done.known += one is newest[event_id]
        elif one is newest[event_id]:
            # Its newer row is gone: it is to be sent again.
            counted.append(replace(one, state="pending") if one.state == "reissued" else one)
        else:
            counted.append(replace(one, state="reissued"))
    return counted


def _keeps(outbox: Outbox, one: Found) -> bool:
    """Whether nothing else has its number here."""
    return not outbox.sql.value("SELECT 1 FROM event WHERE epoch = ? AND seq = ?", one.epoch, one.seq)


def _whole_chains(outbox: Outbox, found: Sequence[Found]) -> list[Found]:
    """Those that can keep their numbers: all that the centre has, and what follows it without a hole."""
    kept: list[Found] = []
    for epoch in dict.fromkeys(one.epoch for one in found):
        chain = {
            seq: (held, state)
            for seq, held, state in outbox.sql.rows(
                "SELECT seq, hash, state FROM event WHERE epoch = ?", epoch
            )
        }
        of_epoch = {}
        for one in found:
            if one.epoch == epoch and one.seq not in of_epoch:
                of_epoch[one.seq] = one
                chain[one.seq] = (one.event["hash"], one.state)
        reached = max((seq for seq, (_, state) in chain.items() if state in _SETTLED), default=0)
        last = chain[reached][0] if reached else FIRST_HASH
        while (following := of_epoch.get(reached + 1)) is not None or reached + 1 in chain:
            held, state = chain[reached + 1]
            if state != "pending" or (following is not None and following.event["prev_hash"] != last):
                break
            reached, last = reached + 1, held
        kept += [
            one
            for one in of_epoch.values()
            # What is not sent may stand anywhere.
            if one.seq <= reached or one.state in {"aside", "reissued"}
        ]
    return kept


def _adopt_epochs(outbox: Outbox, read: StoreRead, found: Sequence[Found], order: Mapping[str, int]) -> None:
    """Make the epochs that are not here, in their order, before all that are."""
    known = {one.epoch: one for one in read.epochs}
    here = set(outbox.epochs())
    missing = sorted({one.epoch for one in found} - here, key=lambda epoch: order[epoch], reverse=True)
    for epoch in missing:
        old = known.get(epoch)
        began_at = min(one.event["happened_at"] for one in found if one.epoch == epoch)
        outbox.sql.run(
            "INSERT INTO epoch (number, epoch, began_at, why, last_seq, last_hash)"
            " SELECT min(number) - 1, ?, ?, ?, 0, ? FROM epoch WHERE true",
            epoch,
            began_at if old is None else old.began_at,
            "read out of a damaged store" if old is None else f"{old.why}; read out of a damaged store",
            FIRST_HASH,
        )


def _adopt_row(outbox: Outbox, one: Found, clock: int) -> int:
    event = one.event
    outbox.sql.run(
        "UPDATE epoch SET last_seq = ?, last_hash = ? WHERE epoch = ? AND last_seq < ?",
        one.seq,
        event["hash"],
        one.epoch,
        one.seq,
    )
    free = one.row is not None and not outbox.sql.value("SELECT 1 FROM event WHERE id = ?", one.row)
    answered_at = None if one.state == "pending" else utc_text(outbox.now())
    return outbox.sql.insert(
        "INSERT INTO event (id, event_id, epoch, seq, type, happened_at, body, hash, contract, state, answer,"
        " answered_at, clock) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        one.row if free else None,
        event["event_id"],
        one.epoch,
        one.seq,
        event["type"],
        event["happened_at"],
        canonical_json(event),
        event["hash"],
        CONTRACT,
        one.state,
        one.answer,
        answered_at,
        clock,
    )


def _adopt_clocks(outbox: Outbox, rows: Sequence[Mapping[str, Any]]) -> dict[int, int]:
    """Take over the reckonings of another store; the number that each has here.

    They come before all of our own: what counts is by how much the clock was moved since, up to the
    last of theirs, with which ours begin.
    """
    if not rows:
        return {}
    # The reckoning that a store begins with has no row until the clock is moved.
    shifts = {0: 0} | {row["number"]: row["shift_ms"] for row in rows}
    began = {row["number"]: row["began_at"] for row in rows}
    outbox.sql.run(
        "INSERT OR IGNORE INTO clock (number, began_at, shift_ms) VALUES (0, ?, 0)", utc_text(outbox.now())
    )
    last = max(shifts)
    numbers = {last: 0}
    for number in sorted(set(shifts) - {last}, reverse=True):
        here = outbox.sql.value("SELECT min(number) - 1 FROM clock")
        outbox.sql.run(
            "INSERT INTO clock (number, began_at, shift_ms) VALUES (?, ?, ?)",
            here,
            began.get(number, ""),
            shifts[number] - shifts[last],
        )
        numbers[number] = cast("int", here)
    return numbers


def _clock(outbox: Outbox, one: Found, clocks: Mapping[int, int]) -> int:
    """The reckoning here that timed an event; the newest where nothing tells which it was."""
    here = None if one.clock is None else clocks.get(one.clock)
    return current(outbox.sql)[0] if here is None else here


def _by_clocks(row: Mapping[str, Any], clocks: Mapping[int, int]) -> Mapping[str, Any]:
    """A row of another table; what names a reckoning there names it by its number here."""
    if row.get("key") != OFFSET_AT:
        return row
    there = str(row["value"])
    # What the damage left of it need be no number; then the last reckoning there is as good as any.
    return {**row, "value": str(clocks.get(int(there), 0) if there.isdecimal() else 0)}


def _adopt_change(outbox: Outbox, row: int, event: Mapping[str, Any], *, settled: bool) -> None:
    """What the event did to the rack, from its payload."""
    change = change_of(event["type"], event["payload"])
    if event["type"] == "log.withdrawn":
        change = _turned_round(outbox, event["payload"]["event_id"])
    if change is not None:
        note_change(outbox.sql, row, change)
        if settled:
            outbox.sql.run("UPDATE stock_change SET settled = 1 WHERE event = ?", row)


def _turned_round(outbox: Outbox, event_id: str) -> StockChange | None:
    """What withdrawing an event did to the rack, where that event is here too."""
    row = outbox.sql.value("SELECT max(id) FROM event WHERE event_id = ? AND state <> 'reissued'", event_id)
    for one in outbox.by_rows([] if row is None else [row]):
        change = change_of(one.type, one.event["payload"])
        if change is not None:
            return StockChange(change.ref, -change.delta, change.item)
    return None


def _adopt_side(outbox: Outbox, table: str, rows: Sequence[Mapping[str, Any]]) -> None:
    # Only into an empty table: a second salvage must not count steps twice.
    if outbox.sql.value(f"SELECT 1 FROM {table} LIMIT 1") and table in {"step_done", "spoiled"}:  # noqa: S608 - a table of ours
        return
    for row in rows:
        names, marks = ", ".join(row), ", ".join("?" * len(row))
        outbox.sql.run(
            f"INSERT OR IGNORE INTO {table} ({names}) VALUES ({marks})",  # noqa: S608 - as above
            *row.values(),
        )
