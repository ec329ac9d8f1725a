"""Taking in what stations write down: each event exactly once, in the order of its chain.

A push is one transaction: its events, their effects and the roll-ups are stored together or not at
all. A bad event is stored with a reason and does not stop the rest; a fork or a gap stops the push.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final, Literal, NamedTuple, TypeAlias
from zoneinfo import ZoneInfo

from peewee import SQL, OperationalError

from schemas.events import event_hash
from schemas.problems import FieldError
from service.store import bulk, effects, records, withdrawn
from service.store.books import Books
from service.store.chains import CHAIN, BrokenChain, Fork, Gap, Reached, reached, read_chain, save_chain
from service.store.database import Question, ask_all, copying_beside, database, is_damaged
from service.store.judging import (
    ABSURD_TIME,
    FAULT,
    GARBLED,
    Checked,
    corrected_time,
    judge,
    kept_errors,
    zone_in,
)
from service.store.models import Event

log = logging.getLogger("shearwright.events")

State: TypeAlias = Literal["applied", "repeat", "kept", "quarantined"]


class Result(NamedTuple):
    """What became of one event; `notes` say what its station should know besides."""

    epoch: str
    seq: int
    state: State
    errors: tuple[FieldError, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Sender:
    station: str
    site: str
    clock_ahead: timedelta
    now: datetime


def push(
    station: str, site: str, events: Sequence[Mapping[str, Any]], *, sent_at: datetime, now: datetime
) -> tuple[tuple[Result, ...], Reached]:
    """Take in a run of events.

    Parameters
    ----------
    events
        As they came over the wire; their envelopes keep the contract.
    sent_at, now
        The station's clock when it sent, and the centre's now.

    Raises
    ------
    BrokenChain
        A :class:`Fork` or a :class:`Gap`; nothing was stored.
    """
    # What needs no other event is looked at before anybody has to wait.
    epochs = dict.fromkeys(event["epoch"] for event in events)
    has = {epoch: reached(station, epoch).has_to_seq for epoch in epochs}
    checked = [Checked(event) for event in events]
    for one in checked:
        if one.seq > has[one.epoch]:
            one.look()
    sender = _Sender(station, site, sent_at - now, now)
    try:
        with records.writing():
            results, chains = _in_one_go(checked, has, sender)
    except (BrokenChain, OperationalError):
        raise
    except Exception as error:
        if is_damaged(error):
            raise
        log.exception("events of %s could not be applied together; each is tried alone", sender.station)
        with records.writing():
            results, chains = _each_alone(checked, has, sender)
    last = chains[events[-1]["epoch"]] if events else reached(station)
    return tuple(results), last


_Taken: TypeAlias = tuple[list[Result], dict[str, Reached]]
"""What became of the events, and how far their chains are now."""


def _in_one_go(checked: Sequence[Checked], has: Mapping[str, int], sender: _Sender) -> _Taken:
    chains: dict[str, Reached] = {}
    results = _Run(sender, chains, has).take(checked)
    return results, chains


def _each_alone(checked: Sequence[Checked], has: Mapping[str, int], sender: _Sender) -> _Taken:
    chains: dict[str, Reached] = {}
    results: list[Result] = []
    for one in checked:
        before = dict(chains)
        try:
            with database.atomic():
                results += _Run(sender, chains, has).take([one])
        except (BrokenChain, OperationalError):
            raise
        except Exception as error:
            if is_damaged(error):
                raise
            chains.clear()
            chains.update(before)
            # A fault of ours must not keep back everything that this station wrote down after it.
            log.exception("event %s of %s could not be applied", one.event_id, sender.station)
            results += _Run(sender, chains, has).take([Checked(one.event, (FAULT,))])
    return results, chains


_Row: TypeAlias = tuple[Any, ...]
_COLUMNS: Final = (
    *("station", "site", "epoch", "seq", "event_id", "type", "document"),
    *("hash", "received_at", "clock_ahead_ms", "corrected_at", "day", "state", "errors", "machine", "heat"),
    *effects.NO_PLACE,
)
"""Of the table of events, those that are written when one comes in."""

_SENT_TOGETHER: Final = 125
"""Rows after which PostgreSQL is given them, to take in while those of the next events are made."""


class _Run:
    """Taking in events of one push: asks the store once about all of them, and writes once.

    `has` is how far the centre had each epoch before anybody had to wait; it may have more by now.
    """

    def __init__(self, sender: _Sender, chains: dict[str, Reached], has: Mapping[str, int]) -> None:
        self._sender = sender
        self._chains = chains
        self._has = has
        self._ahead_ms = round(sender.clock_ahead / timedelta(milliseconds=1))
        self._zone = ZoneInfo("UTC")
        self._books = Books()
        self._rows: list[_Row] = []
        self._hashes: dict[tuple[str, int], str] = {}
        self._known: dict[str, list[tuple[int | None, Mapping[str, Any]]]] = {}
        self._stored: dict[tuple[str, int], Any] = {}

    def take(self, checked: Sequence[Checked]) -> list[Result]:
        self._ask(checked)
        results = []
        with copying_beside():
            for one in checked:
                results.append(self._take(one))
                if len(self._rows) >= _SENT_TOGETHER:
                    self._send_rows()
            self._write_down()
        return results

    def _send_rows(self) -> None:
        bulk.insert_columns(Event, _COLUMNS, zip(*self._rows, strict=True))
        self._rows.clear()

    def _write_down(self) -> None:
        self._send_rows()
        self._books.close(self._save_chains)
        self._books = Books()

    def _save_chains(self) -> None:
        sender = self._sender
        for chain in self._chains.values():
            save_chain(chain, sender.station, sender.site, sender.clock_ahead, sender.now)

    def _ask(self, checked: Sequence[Checked]) -> None:
        """What the store has of these events already, and of the records that they are about."""
        station, site = self._sender.station, self._sender.site
        epochs = dict.fromkeys(one.epoch for one in checked)
        unread = [epoch for epoch in epochs if epoch not in self._chains]
        fresh = [one for one in checked if one.seq > self._has[one.epoch]]
        places = (
            place
            for one in fresh
            if one.look() == ()
            for place in effects.touched(one.event["type"], one.event["payload"], site)
        )
        known, renamed, found, blades, *chains = ask_all(
            *_under_their_ids(fresh),
            *self._books.expecting((("site", site), *places)),
            *((CHAIN, (station, epoch)) for epoch in unread),
        )
        self._note_known(known, renamed)
        self._books.expected(found, blades)
        self._zone = zone_in(self._books.find("site", site, deleted_too=True))
        read = [read_chain(rows, epoch) for epoch, rows in zip(unread, chains, strict=True)]
        self._chains.update(zip(unread, read, strict=True))
        for epoch in epochs:
            has = self._chains[epoch].has_to_seq
            if seqs := [one.seq for one in checked if one.seq <= has and one.epoch == epoch]:
                text, given = bulk.among("seq", seqs)
                stored = Event.select(Event.id, Event.seq, Event.hash, Event.state).where(
                    Event.station == station, Event.epoch == epoch, SQL(text, given)
                )
                self._stored.update({(epoch, row.seq): row for row in stored})
        # What came in quarantine before may be right now, as one that was damaged on the way.
        if late := [one for one in checked if one.seq <= self._has[one.epoch] and self._may_be_new(one)]:
            self._note_known(*ask_all(*_under_their_ids(late)))

    def _note_known(self, known: Sequence[tuple[Any, ...]], renamed: Sequence[tuple[Any, ...]]) -> None:
        # Those that a person gave an id of their own come after; of these there are hardly ever any.
        for row, event_id, document in (*known, *sorted(renamed)):
            self._known.setdefault(event_id, []).append((row, json.loads(document)))

    def _may_be_new(self, one: Checked) -> bool:
        row = self._stored.get((one.epoch, one.seq))
        return row is None or row.state == "quarantined"

    def _take(self, one: Checked) -> Result:
        event, epoch, seq = one.event, one.epoch, one.seq
        chain = self._chains[epoch]
        if seq <= chain.has_to_seq:
            return self._again(one, chain)
        if seq > chain.has_to_seq + 1:
            raise Gap(
                chain,
                f"event {seq} came, and the centre has this epoch up to {chain.has_to_seq}: "
                f"send from {chain.has_to_seq + 1} on",
            )
        if event["prev_hash"] != chain.last_hash:
            raise Fork(
                chain,
                f"event {seq} does not follow event {chain.has_to_seq} as the centre has it: "
                "begin a new epoch and send again",
            )
        self._chains[epoch] = Reached(epoch, seq, event["hash"])
        self._hashes[epoch, seq] = event["hash"]
        result, row = self._settle(one)
        self._rows.append(row)
        return result

    def _again(self, one: Checked, chain: Reached) -> Result:
        event, epoch, seq = one.event, one.epoch, one.seq
        row = self._stored.get((epoch, seq))
        has = row.hash if row is not None else self._hashes.get((epoch, seq))
        if has != event["hash"]:
            raise Fork(
                chain,
                f"event {seq} is not the one that the centre has under this number: "
                "begin a new epoch and send again",
            )
        if row is not None and row.state == "quarantined":
            row = Event.get_by_id(row.id)
        if (
            row is not None
            and row.state == "quarantined"
            # What a person dismissed, or its station withdrew, is not applied after all.
            and row.dismissed_at is None
            and one.look() != (GARBLED,)
            and _garbled(row)
        ):
            # What came first was damaged on the way; this is the right one under the same hash.
            return self._replace(one, row)
        return Result(epoch, seq, "repeat", notes=withdrawn.notes_again(event, self._books))

    def _replace(self, one: Checked, row: Any) -> Result:
        others = [entry for entry in self._known.get(row.event_id, []) if entry[0] != row.id]
        self._known[row.event_id] = others
        del self._stored[row.epoch, row.seq]
        result, values = self._settle(one)
        Event.update(**dict(zip(_COLUMNS, values, strict=True))).where(Event.id == row.id).execute()
        # The same again within this push is a repeat of what stands now.
        self._stored[row.epoch, row.seq] = Event.get_by_id(row.id)
        return result

    def _earlier(self, event_id: str) -> tuple[Mapping[str, Any], ...]:
        return tuple(document for _, document in self._known.get(event_id, ()))

    def _settle(self, one: Checked) -> tuple[Result, _Row]:
        """What becomes of an event, and the row that keeps it."""
        event, sender, event_id = one.event, self._sender, one.event_id
        state, outcome = judge(self._earlier(event_id), event, one.look())
        corrected = day = None
        if not outcome:
            corrected = corrected_time(event["happened_at"], sender.clock_ahead)
            if corrected is not None:
                day = corrected.astimezone(self._zone).date().isoformat()
            elif state != "again":
                state, outcome = "quarantined", (ABSURD_TIME,)
        heat = machine = None
        place, notes = effects.NO_PLACE, tuple[str, ...]()
        if state == "applied" and corrected is not None:
            if event["type"] == withdrawn.TYPE:
                # It looks into the store for the event that it names, which may have come just before.
                self._write_down()
            happening = effects.Happening(
                event_id=event_id,
                station=sender.station,
                site=sender.site,
                type=event["type"],
                payload=event["payload"],
                day=day or "",
                at=corrected,
                now=sender.now,
            )
            try:
                applied = withdrawn.apply(happening, self._books)
            except effects.EffectRefused as refused:
                self._books.undo()
                state, outcome = "quarantined", (refused.error,)
            else:
                self._books.accept(applied.counted, applied.cut)
                heat, machine = applied.heat, applied.machine
                place, notes = applied.place, applied.notes
        errors = kept_errors(outcome) if outcome else None
        row = (
            *(sender.station, sender.site, one.epoch, one.seq, event_id, event["type"], one.text or event),
            *(event["hash"], sender.now, self._ahead_ms, corrected, day, state, errors, machine, heat),
            *map(place.__getitem__, effects.NO_PLACE),
        )
        if state != "again":
            self._known.setdefault(event_id, []).append((None, event))
        told: State = "repeat" if state == "again" else state
        if state == "again":
            notes = withdrawn.notes_again(event, self._books)
        return Result(one.epoch, one.seq, told, outcome, notes), row


def _garbled(row: Any) -> bool:
    return row.corrected_payload is None and event_hash(row.document) != row.hash


def _under_their_ids(checked: Sequence[Checked]) -> tuple[Question, Question]:
    """The questions for what came under the same event_ids before, and for what got another one since."""
    ids = [one.event_id for one in checked]
    (by_id, these), (by_first_id, those) = bulk.among("event_id", ids), bulk.among("came_as", ids)
    return (
        (f"SELECT id, event_id, document FROM event WHERE {by_id} AND state <> 'again' ORDER BY id", these),  # noqa: S608
        (f"SELECT id, came_as, document FROM event WHERE {by_first_id}", those),  # noqa: S608
    )
