"""Getting out of a damaged store what can still be read, into a new one beside it.

The damaged files are put aside and never changed. Each event carries its own hash, so that what is read
is either as it was written or is not taken. First the tables are read, row by row round the damaged
pages; then the bytes of the file are searched for whole events that no table leads to any more.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import accumulate
from pathlib import Path
from typing import Any, Final

from client.cache.adopt import Found, OldEpoch, StoreRead, adopt
from client.cache.lost import Lost, found_again, note_lost
from client.cache.mark import Mark, read_mark
from client.cache.outbox import Outbox
from client.cache.records import Records
from client.errors import StoreFailed
from client.home import Home
from schemas.events import EventSchema, event_hash
from service.engine.fingerprint import canonical_json

_BEGIN: Final = b'{"epoch":"'
_LONGEST: Final = 4 * 1024 * 1024
"""Bytes within which an event that begins in the file is looked for."""

_SIDE_TABLES: Final = {
    "plan": ("id", "made_at", "order_ref", "machine", "body"),
    "step_done": ("plan_id", "step", "pieces"),
    "spoiled": ("plan_id", "ref", "quantity", "was_made"),
    "clock": ("number", "began_at", "shift_ms"),
    "decision": ("kind", "number", "at", "epoch", "seq", "words", "by_whom", "outcome", "about", "counted"),
    "meta": ("key", "value"),
}


@dataclass(slots=True)
class Salvaged:
    """What came out of a damaged store, in words for the person whose work it is."""

    aside: Path
    events: int = 0
    pending: int = 0
    renumbered: int = 0
    known_already: int = 0
    unread: list[str] = field(default_factory=list)


def salvage(home: Home, station: str, source: Path | None = None) -> Salvaged:
    """Bring the readable events of a damaged store into a new one; nothing is ever deleted.

    Parameters
    ----------
    home, station
        The workstation.
    source
        A damaged store that was put aside before; None: the store in use, which is put aside first.

    Raises
    ------
    StoreFailed
        When it cannot be copied aside, or a new store cannot be written.
    """
    with home.syncing(), home.logging():
        with home.writing():
            aside = source or _put_aside(home)
            done = Salvaged(aside)
            read = _read(aside, station, done)
            # A copy that was put aside before tells of its own time, and so does the mark beside it.
            mark = read_mark(home.mark_file if source is None else _mark_beside(source))
            ahead = _ahead(read, mark)
            # What was found in the bytes alone has the number in the log that its epoch tells.
            read.found = [
                replace(one, row=one.row or (one.seq + ahead[one.epoch] if one.epoch in ahead else None))
                for one in read.found
            ]
            if source is None:
                _clear(home)
        outbox = Outbox(home, station, why="the store was damaged, and what could be read was brought over")
        try:
            adopted = adopt(outbox, read)
            done.events, done.pending = adopted.taken, adopted.pending
            done.renumbered, done.known_already = adopted.renumbered, adopted.known
            if source is None and mark is None and adopted.taken:
                done.unread.append("how far its numbers went, as the mark beside it is gone")
            _name_missing(outbox, read, mark, done)
        finally:
            outbox.close()
        # Rows have other numbers now, and the cache must not take new events for ones that it includes.
        records = Records(home)
        try:
            records.settle_to(0)
        finally:
            records.close()
    return done


def damage_of(home: Home, station: str) -> str | None:
    """What is damaged in the store in use, in words; None: nothing that can be found."""
    try:
        outbox = Outbox(home, station)
    except StoreFailed as error:
        return str(error)
    try:
        outbox.sql.check()
        return next((one.damage for one in outbox.all_events() if not one.sound), None)
    except StoreFailed as error:
        return str(error)
    finally:
        outbox.close()


def _put_aside(home: Home) -> Path:
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
    store = home.store_file
    aside = store.with_name(f"{store.name}.salvaged-{stamp}")
    pairs = [(home.mark_file, _mark_beside(aside))]
    pairs += [(Path(f"{store}{end}"), Path(f"{aside}{end}")) for end in ("-wal", "")]
    try:
        for source, target in pairs:
            if source.exists():
                shutil.copy2(source, target)
                with target.open("rb") as copy:
                    os.fsync(copy.fileno())
    except OSError as error:
        raise StoreFailed(f"{store} cannot be copied aside: {error.strerror}; nothing was changed") from error
    return aside


def _mark_beside(aside: Path) -> Path:
    """The mark as it was when a store was put aside: the next salvage begins where one was ended."""
    return Path(f"{aside}-mark")


def _clear(home: Home) -> None:
    """Make room for a new store; the copies aside are on the disk."""
    try:
        # The journal first: left beside a new store it would be played into it.
        for end in ("-wal", "-shm", ""):
            Path(f"{home.store_file}{end}").unlink(missing_ok=True)
    except OSError as error:
        raise StoreFailed(f"{home.store_file} cannot be replaced: {error.strerror}") from error


def _read(source: Path, station: str, done: Salvaged) -> StoreRead:
    found: dict[tuple[str, int, str], Found] = {}
    read = StoreRead()
    # Read as a copy of its own, since opening it plays its journal in and would change it.
    work = source.with_name(f".{source.name}.reading")
    try:
        for end in ("-wal", ""):
            if Path(f"{source}{end}").exists():
                shutil.copyfile(f"{source}{end}", f"{work}{end}")
        with contextlib.closing(sqlite3.connect(work)) as store:
            # A store of an earlier version lacks some columns.
            timed = ("clock",) if _has_column(store, "event", "clock") else ()
            columns = ("id", "epoch", "seq", "state", "answer", "body", *timed)
            for row in _rows(store, "event", columns, done):
                one = _event(row["body"], station)
                if one is None:
                    done.unread.append(f"number {row['seq']} of epoch {str(row['epoch'])[:8]} is damaged")
                    continue
                found[one["epoch"], one["seq"], one["hash"]] = Found(
                    one, row["state"], row["answer"], row.get("clock"), row["id"]
                )
            rows = _rows(store, "epoch", ("number", "epoch", "began_at", "why", "last_seq"), done)
            read.epochs = [
                OldEpoch(row["epoch"], row["began_at"], row["why"], row["last_seq"])
                for row in sorted(rows, key=lambda row: row["number"])
            ]
            for table, columns in _SIDE_TABLES.items():
                summed = ("sum",) if table == "plan" and _has_column(store, "plan", "sum") else ()
                read.side[table] = list(_rows(store, table, (*columns, *summed), done))
    except (sqlite3.Error, OSError) as error:
        done.unread.append(f"its tables: {error}")
    finally:
        for end in ("", "-wal", "-shm"):
            Path(f"{work}{end}").unlink(missing_ok=True)
    for end in ("", "-wal"):
        for one in _events_in_bytes(Path(f"{source}{end}"), station):
            found.setdefault((one["epoch"], one["seq"], one["hash"]), Found(one, "pending", None))
    read.found = list(found.values())
    return read


def _has_column(store: sqlite3.Connection, table: str, column: str) -> bool:
    """Whether a table has a column; a store of an earlier version may lack it."""
    return any(row[1] == column for row in store.execute(f"PRAGMA table_info({table})"))


def _rows(
    store: sqlite3.Connection, table: str, columns: tuple[str, ...], done: Salvaged
) -> Iterator[dict[str, Any]]:
    """The rows of a table that can be read; round damaged pages one number after the other is tried."""
    names = ", ".join(columns)
    seen: set[int] = set()
    faults = 0
    for order in ("ASC", "DESC"):
        try:
            for row in store.execute(f"SELECT rowid, {names} FROM {table} ORDER BY rowid {order}"):  # noqa: S608 - names of this module
                if row[0] in seen:
                    break
                seen.add(row[0])
                yield dict(zip(columns, row[1:], strict=True))
            if order == "ASC":
                return
        except sqlite3.Error as error:
            faults += 1
            if "no such table" in str(error):
                return
    low, high = min(seen, default=1), max(seen, default=0)
    for number in range(low, high + 1):
        if number in seen:
            continue
        try:
            row = store.execute(f"SELECT {names} FROM {table} WHERE rowid = ?", (number,)).fetchone()  # noqa: S608 - as above
        except sqlite3.Error:
            continue
        if row is not None:
            yield dict(zip(columns, row, strict=True))
    if faults:
        done.unread.append(f"pages of the table {table}")


def _event(body: Any, station: str) -> dict[str, Any] | None:
    """An event that is whole by its own hash, keeps the contract, and is this station's."""
    try:
        event = json.loads(bytes(body))
        whole = (
            isinstance(event, dict)
            and not EventSchema().validate(event)
            and event_hash(event) == event["hash"]
            and event["station"] == station
        )
    except (ValueError, TypeError, RecursionError):
        return None
    return event if whole else None


def _events_in_bytes(path: Path, station: str) -> Iterator[dict[str, Any]]:
    try:
        data = path.read_bytes()
    except OSError:
        return
    reader = json.JSONDecoder()
    place = data.find(_BEGIN)
    while place >= 0:
        text = data[place : place + _LONGEST].partition(b"\0")[0].decode("ascii", errors="replace")
        with contextlib.suppress(ValueError, RecursionError):
            event, _ = reader.raw_decode(text)
            one = _event(canonical_json(event), station)
            if one is not None:
                yield one
        place = data.find(_BEGIN, place + 1)


def _name_missing(outbox: Outbox, read: StoreRead, mark: Mark | None, done: Salvaged) -> None:
    """Say which numbers were given out, by the store or by its mark, and are not here; the centre is asked.

    So that nothing can go missing unnamed, they are kept as losses until the centre told what it has.
    """
    have: dict[str, set[int]] = {}
    for epoch, seq in (*((one.epoch, one.seq) for one in read.found), *outbox.sql.rows(_NUMBERS)):
        have.setdefault(epoch, set()).add(seq)
    told = {one.epoch: one.last_seq for one in read.epochs}
    by_mark = {} if mark is None else mark.last
    ahead = _ahead(read, mark)
    lost: list[Lost] = []
    for epoch in dict.fromkeys([*told, *by_mark, *(one.epoch for one in read.found)]):
        numbers = have.get(epoch, set())
        end = max(numbers, default=0)
        last = max(told.get(epoch, 0), by_mark.get(epoch, 0), end)
        first = min(numbers, default=1)
        more = ahead.get(epoch)
        if first > 1:
            lost.append(
                Lost(epoch, 1, first - 1, closed=True, old=True, row=None if more is None else 1 + more)
            )
            if done.unread:
                named = _named(epoch, list(range(1, first)), more)
                done.unread.append(f"{named}, unless dropped before as old ones are")
        missing = [seq for seq in range(first, last + 1) if seq not in numbers]
        lost += [
            Lost(epoch, low, high, closed=high < end, row=None if more is None else low + more)
            for low, high in _run_ends(missing)
        ]
        if missing:
            done.unread.append(_named(epoch, missing, more))
    with outbox.home.writing(), outbox.sql.transaction():
        note_lost(outbox.sql, lost)
        found_again(outbox.sql, lambda epoch, seq: seq in have.get(epoch, ()))


def _ahead(read: StoreRead, mark: Mark | None) -> dict[str, int]:
    """By epoch, by how much the numbers of the log are ahead of its own; where that is one figure."""
    found: dict[str, set[int]] = {}
    for one in read.found:
        if one.row is not None:
            found.setdefault(one.epoch, set()).add(one.row - one.seq)
    ahead = {epoch: min(by) for epoch, by in found.items() if len(by) == 1}
    by_mark: dict[str, int] = {}
    if mark is not None and mark.row:
        by_mark[mark.epoch] = mark.row - mark.seq
        if sum(mark.last.values()) == mark.row:
            # No number of the log was passed over: each epoch began where the one before ended.
            by_mark = dict(zip(mark.last, accumulate(mark.last.values(), initial=0), strict=False))
    return ahead | {epoch: by for epoch, by in by_mark.items() if epoch not in found}


def _named(epoch: str, seqs: list[int], ahead: int | None) -> str:
    """Entries as the log numbers them; where nothing tells how, by the numbers by which they are sent."""
    if ahead is None:
        return f"number{'' if len(seqs) == 1 else 's'} {_runs(seqs)} of epoch {epoch[:8]}"
    return f"{'entry' if len(seqs) == 1 else 'entries'} {_runs([seq + ahead for seq in seqs])}"


_NUMBERS: Final = "SELECT epoch, seq FROM event"


def _run_ends(numbers: list[int]) -> list[tuple[int, int]]:
    """First and last of each run of numbers without a hole."""
    runs: list[tuple[int, int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1] = runs[-1][0], number
        else:
            runs.append((number, number))
    return runs


def _runs(numbers: list[int]) -> str:
    """Numbers as people write them.

    >>> _runs([3, 4, 5, 9])
    '3 to 5, 9'
    """
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in _run_ends(numbers))
