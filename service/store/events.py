"""Taking in what stations write down: each event exactly once, in the order of its chain.

A push is one transaction: its events, their effects and the roll-ups are stored together or not at
all. A bad event is stored with a reason and does not stop the rest; a fork or a gap stops the push.
"""

from __future__ import annotations

import hashlib
import json
import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final, Literal, TypeAlias
from zoneinfo import ZoneInfo

from peewee import SQL, OperationalError

from schemas.events import FIRST_HASH, event_hash, payload_errors
from schemas.problems import FieldError
from service.engine.fingerprint import canonical_json
from service.store import bulk, effects, records, withdrawn
from service.store.books import Books
from service.store.database import ask, database, tell
from service.store.models import Chain, Event, Written

log = logging.getLogger("shearwright.events")

State: TypeAlias = Literal["applied", "repeat", "kept", "quarantined"]
_Kept: TypeAlias = Literal["applied", "again", "kept", "quarantined"]

CLOCK_SLACK: Final = timedelta(seconds=2)
"""A difference of clocks up to this is the way the message took, and is not corrected."""

_FIRST_YEAR, _LAST_YEAR = 2000, 2199


@dataclass(frozen=True, slots=True)
class Result:
    """What became of one event; `notes` say what its station should know besides."""

    epoch: str
    seq: int
    state: State
    errors: tuple[FieldError, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reached:
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


@dataclass(frozen=True, slots=True)
class _Sender:
    station: str
    site: str
    zone: ZoneInfo
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
    has = {epoch: reached(station, epoch).has_to_seq for epoch in {event["epoch"] for event in events}}
    checked = [_Checked(event) for event in events]
    for one in checked:
        if one.seq > has[one.epoch]:
            one.look()
    with records.writing():
        sender = _Sender(station, site, zone_of(site), sent_at - now, now)
        chains: dict[str, Reached] = {}
        results = _in_one_go(checked, chains, sender)
        for chain in chains.values():
            _save_chain(chain, sender)
        last = chains[events[-1]["epoch"]] if events else reached(station)
    return tuple(results), last


def _in_one_go(checked: Sequence[_Checked], chains: dict[str, Reached], sender: _Sender) -> list[Result]:
    try:
        with database.atomic():
            return _Run(sender, chains).take(checked)
    except (BrokenChain, OperationalError):
        raise
    except Exception:
        log.exception("events of %s could not be applied together; each is tried alone", sender.station)
    chains.clear()
    results = []
    for one in checked:
        before = dict(chains)
        try:
            with database.atomic():
                results += _Run(sender, chains).take([one])
        except (BrokenChain, OperationalError):
            raise
        except Exception:
            chains.clear()
            chains.update(before)
            # A fault of ours must not keep back everything that this station wrote down after it.
            log.exception("event %s of %s could not be applied", one.event_id, sender.station)
            results += _Run(sender, chains).take([_Checked(one.event, (FAULT,))])
    return results


FAULT: Final = FieldError("", "a fault of the service kept it from being applied; its log says more")


def reached(station: str, epoch: str | None = None) -> Reached:
    """How far the centre has an epoch of a station; of the one begun last when none is named."""
    rows = ask(_LAST_CHAIN, station) if epoch is None else ask(_CHAIN, station, epoch)
    for of_epoch, has, last_hash, ahead, heard in rows:
        return Reached(of_epoch, has, last_hash, ahead, Chain.heard_at.python_value(heard))
    return Reached(epoch, 0, FIRST_HASH)


_CHAINS: Final = (
    "SELECT epoch, has_to_seq, last_hash, clock_ahead_ms, heard_at FROM chain WHERE station = %s "
)
_CHAIN: Final = _CHAINS + "AND epoch = %s"
_LAST_CHAIN: Final = _CHAINS + "ORDER BY started_at DESC, epoch DESC LIMIT 1"


def all_reached(station: str) -> list[Reached]:
    """How far the centre has each epoch of a station, in the order they began."""
    rows = Chain.select().where(Chain.station == station).order_by(Chain.started_at, Chain.epoch)
    return [_reached(row) for row in rows]


def _reached(row: Any) -> Reached:
    return Reached(row.epoch, row.has_to_seq, row.last_hash, row.clock_ahead_ms, row.heard_at)


class _Checked:
    """An event, and what is wrong with it by itself, looked at once when it is first asked."""

    __slots__ = ("_errors", "_looked", "epoch", "event", "event_id", "seq", "text")

    def __init__(self, event: Mapping[str, Any], errors: tuple[FieldError, ...] | None = None) -> None:
        self.event = event
        self.event_id: str = event["event_id"]
        self.epoch: str = event["epoch"]
        self.seq = int(event["seq"])
        self.text: Written | None = None
        self._errors = errors
        self._looked = errors is not None

    def look(self) -> tuple[FieldError, ...] | None:
        """Every error, or none; None: its type is not known here."""
        if not self._looked:
            self.text = Written(canonical_json(self.event).decode("ascii"))
            self._errors = _errors_of(self.event, self.text)
            self._looked = True
        return self._errors


GARBLED: Final = FieldError("/hash", "the hash is not that of the event")


def _errors_of(event: Mapping[str, Any], text: str) -> tuple[FieldError, ...] | None:
    # The text that is kept is that of the hash but for the hash itself, so it need not be written twice.
    without = text.replace(f'"hash":"{event["hash"]}",', "", 1)
    quick = hashlib.sha256(without.encode("ascii")).hexdigest()
    if quick != event["hash"] and event_hash(event) != event["hash"]:
        return (GARBLED,)
    errors = payload_errors(event["type"], event["payload"])
    return None if errors is None else tuple(errors)


class _Run:
    """Taking in events of one push: asks the store once about all of them, and writes once."""

    def __init__(self, sender: _Sender, chains: dict[str, Reached]) -> None:
        self._sender = sender
        self._chains = chains
        self._ahead_ms = round(sender.clock_ahead / timedelta(milliseconds=1))
        self._books = Books()
        self._rows: list[dict[str, Any]] = []
        self._written = 0
        self._known: dict[str, list[tuple[int | None, Mapping[str, Any]]]] = {}
        self._stored: dict[tuple[str, int], Any] = {}

    def take(self, checked: Sequence[_Checked]) -> list[Result]:
        self._ask(checked)
        results = [self._take(one) for one in checked]
        self._write_down()
        return results

    def _write_down(self) -> None:
        bulk.insert(Event, self._rows[self._written :])
        self._written = len(self._rows)
        self._books.close()
        self._books = Books()

    def _ask(self, checked: Sequence[_Checked]) -> None:
        """What the store has of these events already, in a query for each kind of question."""
        station = self._sender.station
        for epoch in dict.fromkeys(one.epoch for one in checked):
            if epoch not in self._chains:
                self._chains[epoch] = reached(station, epoch)
            has = self._chains[epoch].has_to_seq
            seqs = [one.seq for one in checked if one.seq <= has and one.epoch == epoch]
            if seqs:
                text, given = bulk.among("seq", seqs)
                found = Event.select(Event.id, Event.seq, Event.hash, Event.state).where(
                    Event.station == station, Event.epoch == epoch, SQL(text, given)
                )
                self._stored.update({(epoch, row.seq): row for row in found})
        fresh = [one for one in checked if self._may_be_new(one)] if self._stored else checked
        text, given = bulk.among("event_id", [one.event_id for one in fresh])
        known = f"SELECT id, event_id, document FROM event WHERE {text} AND state <> 'again' ORDER BY id"  # noqa: S608
        for row, event_id, document in ask(known, *given):
            self._known.setdefault(event_id, []).append((row, json.loads(document)))
        # Those that a person gave an id of their own; of these there are hardly ever any.
        text, given = bulk.among("came_as", [one.event_id for one in fresh])
        renamed = ask(f"SELECT id, came_as, document FROM event WHERE {text}", *given)  # noqa: S608
        for row, event_id, document in sorted(renamed):
            self._known.setdefault(event_id, []).append((row, json.loads(document)))
        self._books.expect(
            place
            for one in fresh
            if one.look() == ()
            for place in effects.touched(one.event["type"], one.event["payload"], self._sender.site)
        )

    def _may_be_new(self, one: _Checked) -> bool:
        row = self._stored.get((one.epoch, one.seq))
        return row is None or row.state == "quarantined"

    def _take(self, one: _Checked) -> Result:
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
        return self._store(one)

    def _again(self, one: _Checked, chain: Reached) -> Result:
        event, epoch, seq = one.event, one.epoch, one.seq
        row = self._stored.get((epoch, seq))
        has = row.hash if row is not None else self._hash_in_run(epoch, seq)
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
            and row.withdrawn_by is None
            and one.look() != (GARBLED,)
            and _garbled(row)
        ):
            # What came first was damaged on the way; this is the right one under the same hash.
            return self._replace(one, row)
        return Result(epoch, seq, "repeat", notes=withdrawn.notes_again(event, self._books))

    def _hash_in_run(self, epoch: str, seq: int) -> str | None:
        own = (row["hash"] for row in self._rows if (row["epoch"], row["seq"]) == (epoch, seq))
        return next(own, None)

    def _replace(self, one: _Checked, row: Any) -> Result:
        others = [entry for entry in self._known.get(row.event_id, []) if entry[0] != row.id]
        self._known[row.event_id] = others
        del self._stored[row.epoch, row.seq]
        result = self._store(one)
        values = self._rows.pop()
        Event.update(**values).where(Event.id == row.id).execute()
        # The same again within this push is a repeat of what stands now.
        self._stored[row.epoch, row.seq] = Event.get_by_id(row.id)
        return result

    def _earlier(self, event_id: str) -> tuple[Mapping[str, Any], ...]:
        return tuple(document for _, document in self._known.get(event_id, ()))

    def _store(self, one: _Checked) -> Result:
        event, sender, event_id = one.event, self._sender, one.event_id
        state, outcome = judge(self._earlier(event_id), event, one.look())
        corrected = day = None
        if not outcome:
            corrected = corrected_time(event["happened_at"], sender.clock_ahead)
            if corrected is None:
                state, outcome = "quarantined", (ABSURD_TIME,)
            else:
                day = corrected.astimezone(sender.zone).date().isoformat()
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
                self._books.accept(applied.added, applied.cut, applied.worn)
                heat, machine = applied.heat, applied.machine
                place, notes = applied.place, applied.notes
        self._rows.append(
            {
                "station": sender.station,
                "site": sender.site,
                "epoch": one.epoch,
                "seq": one.seq,
                "event_id": event_id,
                "type": event["type"],
                "document": one.text or event,
                "hash": event["hash"],
                "received_at": sender.now,
                "clock_ahead_ms": self._ahead_ms,
                "corrected_at": corrected,
                "day": day,
                "state": state,
                "errors": kept_errors(outcome) if outcome else None,
                "machine": machine,
                "heat": heat,
                **place,
            }
        )
        if state != "again":
            self._known.setdefault(event_id, []).append((None, event))
        told: State = "repeat" if state == "again" else state
        if state == "again":
            notes = withdrawn.notes_again(event, self._books)
        return Result(one.epoch, one.seq, told, outcome, notes)


def _garbled(row: Any) -> bool:
    return row.corrected_payload is None and event_hash(row.document) != row.hash


def judge(
    earlier: Sequence[Mapping[str, Any]],
    event: Mapping[str, Any],
    errors: tuple[FieldError, ...] | None,
) -> tuple[_Kept, tuple[FieldError, ...]]:
    """What is to become of an event before its effect is tried.

    Parameters
    ----------
    earlier
        The events that came before under this event_id.
    errors
        What is wrong with it by itself; None: its type is not known.
    """
    if errors:
        return "quarantined", errors
    for one in earlier:
        if all(one[name] == event[name] for name in ("station", "happened_at", "type", "payload")):
            return "again", ()
    if earlier:
        return "quarantined", (TAKEN_ID,)
    return ("kept" if errors is None else "applied"), ()


TAKEN_ID: Final = FieldError(
    "/event_id",
    "another event came under this event_id before; where both happened, "
    "a person takes this one in under an id of its own",
)
ABSURD_TIME: Final = FieldError("/happened_at", f"a time from {_FIRST_YEAR} to {_LAST_YEAR} is wanted")


def kept_errors(errors: Sequence[FieldError]) -> list[dict[str, str]] | None:
    """Errors as they are kept beside an event; None when there are none."""
    return [{"pointer": error.pointer, "message": error.message} for error in errors] or None


def corrected_time(happened_at: str, clock_ahead: timedelta) -> datetime | None:
    """A station's time, corrected by how far its clock was ahead when it sent; None when absurd."""
    try:
        moment = datetime.fromisoformat(happened_at).astimezone(UTC)
        if abs(clock_ahead) > CLOCK_SLACK:
            moment -= clock_ahead
    except (ValueError, OverflowError):
        return None
    return moment if _FIRST_YEAR <= moment.year <= _LAST_YEAR else None


def zone_of(site: str) -> ZoneInfo:
    """The time zone on the wall of a site."""
    kept = records.find("site", site, deleted_too=True)
    return ZoneInfo(kept.document["time_zone"] if kept else "UTC")


def _save_chain(chain: Reached, sender: _Sender) -> None:
    ahead = round(sender.clock_ahead / timedelta(milliseconds=1))
    now = Chain.heard_at.db_value(sender.now)
    tell(
        _SAVE_CHAIN,
        *(sender.station, chain.epoch, sender.site, chain.has_to_seq, chain.last_hash, now, now, ahead),
    )


_SAVE_CHAIN: Final = (
    "INSERT INTO chain (station, epoch, site, has_to_seq, last_hash, started_at, heard_at, clock_ahead_ms)"
    " VALUES (%s, %s, %s, %s, %s, %s, %s, %s)"
    " ON CONFLICT (station, epoch) DO UPDATE SET site = excluded.site,"
    " has_to_seq = excluded.has_to_seq, last_hash = excluded.last_hash, heard_at = excluded.heard_at,"
    " clock_ahead_ms = excluded.clock_ahead_ms"
)
