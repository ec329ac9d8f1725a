"""Taking over events that were read out of another store of the same station."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from client.cache.clock import current
from client.cache.outbox import CONTRACT, Outbox, State, utc_text
from client.cache.stock import StockChange, change_of, note_change
from schemas.events import FIRST_HASH
from service.engine.fingerprint import canonical_json


@dataclass(frozen=True, slots=True)
class Found:
    """An event found in another store, with the state it had there.

    `clock` is the reckoning there that timed it; None where only the event itself could be read.
    """

    event: dict[str, Any]
    state: State
    answer: str | None
    clock: int | None = None


def adopt(
    outbox: Outbox, found: Sequence[Found], side: Mapping[str, Sequence[Mapping[str, Any]]]
) -> tuple[int, int, int]:
    """Take over what was read out of another store of this station, all of it or nothing.

    What the centre acknowledged keeps its epoch and number. Everything else is written again under
    the newest epoch, as the chain it stood in may have holes; the centre tells repeats by their ids.

    Returns
    -------
    How many events were taken over, how many of them are pending, and how many were here already.
    """
    taken = pending = known = 0
    with outbox.home.writing():
        with outbox.sql.transaction():
            clocks = _adopt_clocks(outbox, side.get("clock", ()))
            # Those that were written again come last: they count only where the newer row was not found.
            for one in sorted(found, key=lambda one: one.state == "reissued"):
                event = one.event
                if outbox.sql.value(
                    "SELECT 1 FROM event WHERE event_id = ? AND state <> 'reissued'", event["event_id"]
                ):
                    known += one.state != "reissued"
                    continue
                settled = one.state in {"taken", "kept", "quarantined"}
                taken += 1
                pending += not settled
                row = _adopt_row(outbox, one, clocks) if settled else _adopt_anew(outbox, one, clocks)
                _adopt_change(outbox, row, event, settled=settled)
            for table, rows in side.items():
                if table != "clock":
                    _adopt_side(outbox, table, rows)
        outbox.move_mark()
    return taken, pending, known


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


def _adopt_row(outbox: Outbox, one: Found, clocks: Mapping[int, int]) -> int:
    event = one.event
    if outbox.sql.value("SELECT 1 FROM event WHERE epoch = ? AND seq = ?", event["epoch"], event["seq"]):
        return _adopt_anew(outbox, one, clocks)
    outbox.sql.run(
        "INSERT INTO epoch (number, epoch, began_at, why, last_seq, last_hash)"
        " SELECT min(number) - 1, ?, ?, ?, 0, ? FROM epoch WHERE true ON CONFLICT (epoch) DO NOTHING",
        event["epoch"],
        event["happened_at"],
        "read out of a damaged store",
        FIRST_HASH,
    )
    outbox.sql.run(
        "UPDATE epoch SET last_seq = ?, last_hash = ? WHERE epoch = ? AND last_seq < ?",
        event["seq"],
        event["hash"],
        event["epoch"],
        event["seq"],
    )
    return outbox.sql.insert(
        "INSERT INTO event (event_id, epoch, seq, type, happened_at, body, hash, contract, state, answer,"
        " answered_at, clock) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        event["event_id"],
        event["epoch"],
        event["seq"],
        event["type"],
        event["happened_at"],
        canonical_json(event),
        event["hash"],
        CONTRACT,
        one.state,
        one.answer,
        utc_text(outbox.now()),
        _clock(outbox, one, clocks),
    )


def _adopt_anew(outbox: Outbox, one: Found, clocks: Mapping[int, int]) -> int:
    event, clock = one.event, _clock(outbox, one, clocks)
    return outbox.append(event["type"], event["payload"], event["happened_at"], event["event_id"], clock)


def _clock(outbox: Outbox, one: Found, clocks: Mapping[int, int]) -> int:
    """The reckoning here that timed an event; the newest where nothing tells which it was."""
    here = None if one.clock is None else clocks.get(one.clock)
    return current(outbox.sql)[0] if here is None else here


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
