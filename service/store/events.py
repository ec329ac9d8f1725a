"""Taking in what stations write down: each event exactly once, in the order of its chain.

A push is one transaction: its events, their effects and the roll-ups are stored together or not at
all. A bad event is stored with a reason and does not stop the rest; a fork or a gap stops the push.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final, Literal, TypeAlias
from zoneinfo import ZoneInfo

from peewee import OperationalError

from schemas.events import FIRST_HASH, event_hash, payload_errors
from schemas.problems import FieldError
from service.store import effects, records
from service.store.database import database
from service.store.models import Chain, Event

log = logging.getLogger("shearwright.events")

State: TypeAlias = Literal["applied", "repeat", "kept", "quarantined"]

CLOCK_SLACK: Final = timedelta(seconds=2)
"""A difference of clocks up to this is the way the message took, and is not corrected."""

_FIRST_YEAR, _LAST_YEAR = 2000, 2199


@dataclass(frozen=True, slots=True)
class Result:
    """What became of one event."""

    epoch: str
    seq: int
    state: State
    errors: tuple[FieldError, ...] = ()


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
    with database.atomic():
        records.lock_writes()
        sender = _Sender(station, site, _zone_of(site), sent_at - now, now)
        chains: dict[str, Reached] = {}
        results = []
        for event in events:
            epoch = event["epoch"]
            if epoch not in chains:
                chains[epoch] = reached(station, epoch)
            result, chains[epoch] = _take(event, chains[epoch], sender)
            results.append(result)
        for chain in chains.values():
            _save_chain(chain, sender)
        last = chains[events[-1]["epoch"]] if events else reached(station)
    return tuple(results), last


def reached(station: str, epoch: str | None = None) -> Reached:
    """How far the centre has an epoch of a station; of the one begun last when none is named."""
    chains = [chain for chain in all_reached(station) if epoch in {None, chain.epoch}]
    return chains[-1] if chains else Reached(epoch, 0, FIRST_HASH)


def all_reached(station: str) -> list[Reached]:
    """How far the centre has each epoch of a station, in the order they began."""
    rows = Chain.select().where(Chain.station == station).order_by(Chain.started_at, Chain.epoch)
    return [
        Reached(row.epoch, row.has_to_seq, row.last_hash, row.clock_ahead_ms, row.heard_at) for row in rows
    ]


def _take(event: Mapping[str, Any], chain: Reached, sender: _Sender) -> tuple[Result, Reached]:
    epoch, seq = event["epoch"], int(event["seq"])
    if seq <= chain.has_to_seq:
        return _again(event, chain, sender), chain
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
    stored = _store(event, sender)
    return stored, Reached(epoch, seq, event["hash"])


def _again(event: Mapping[str, Any], chain: Reached, sender: _Sender) -> Result:
    epoch, seq = event["epoch"], int(event["seq"])
    row = Event.get_or_none((Event.station == sender.station) & (Event.epoch == epoch) & (Event.seq == seq))
    if row is None or row.hash != event["hash"]:
        raise Fork(
            chain,
            f"event {seq} is not the one that the centre has under this number: "
            "begin a new epoch and send again",
        )
    garbled = event_hash(row.document) != row.hash
    if garbled and event_hash(event) == event["hash"]:
        # What came first was damaged on the way; this is the right one under the same hash.
        Event.delete().where(Event.id == row.id).execute()
        return _store(event, sender)
    return Result(epoch, seq, "repeat")


def _store(event: Mapping[str, Any], sender: _Sender) -> Result:
    errors = _errors(event, sender.station)
    corrected = day = None
    if not errors:
        corrected = corrected_time(event["happened_at"], sender.clock_ahead)
        if corrected is None:
            errors = [FieldError("/happened_at", f"a time from {_FIRST_YEAR} to {_LAST_YEAR} is wanted")]
        else:
            day = corrected.astimezone(sender.zone).date().isoformat()
    state: str = "quarantined"
    if not errors:
        state, errors = _outcome(event, sender, day or "", corrected or sender.now)
    Event.insert(
        station=sender.station,
        site=sender.site,
        epoch=event["epoch"],
        seq=int(event["seq"]),
        event_id=event["event_id"],
        type=event["type"],
        document=dict(event),
        hash=event["hash"],
        received_at=sender.now,
        clock_ahead_ms=round(sender.clock_ahead / timedelta(milliseconds=1)),
        corrected_at=corrected,
        day=day,
        state=state,
        errors=[{"pointer": error.pointer, "message": error.message} for error in errors] or None,
    ).execute()
    told: State = "repeat" if state == "again" else state  # type: ignore[assignment]
    return Result(event["epoch"], int(event["seq"]), told, tuple(errors))


def _errors(event: Mapping[str, Any], station: str) -> list[FieldError]:
    if event_hash(event) != event["hash"]:
        return [FieldError("/hash", "the hash is not that of the event")]
    return payload_errors(event["type"], event["payload"]) or []


def _outcome(
    event: Mapping[str, Any], sender: _Sender, day: str, at: datetime
) -> tuple[str, list[FieldError]]:
    earlier = Event.get_or_none((Event.event_id == event["event_id"]) & (Event.state != "again"))
    if earlier is not None:
        same = all(
            earlier.document[name] == event[name] for name in ("station", "happened_at", "type", "payload")
        )
        if same:
            return "again", []
        return "quarantined", [FieldError("/event_id", "another event came under this event_id before")]
    if payload_errors(event["type"], event["payload"]) is None:
        return "kept", []
    return _applied(
        effects.Happening(
            event_id=event["event_id"],
            station=sender.station,
            site=sender.site,
            type=event["type"],
            payload=event["payload"],
            day=day,
            at=at,
            now=sender.now,
        )
    )


def _applied(happening: effects.Happening) -> tuple[str, list[FieldError]]:
    try:
        with database.atomic():
            effects.apply(happening)
    except effects.EffectRefused as refused:
        return "quarantined", [refused.error]
    except OperationalError:
        raise
    except Exception:
        # A fault of ours must not keep back everything that this station wrote down after it.
        log.exception("event %s of %s could not be applied", happening.event_id, happening.station)
        fault = FieldError("", "a fault of the service kept it from being applied; its log says more")
        return "quarantined", [fault]
    return "applied", []


def retry(event_row: int, now: datetime) -> Result | None:
    """Try again to apply an event that was quarantined or kept; None when there is none of that number."""
    with database.atomic():
        records.lock_writes()
        row = Event.get_or_none((Event.id == event_row) & (Event.state.in_(("kept", "quarantined"))))
        if row is None:
            return None
        errors = _errors(row.document, row.station)
        if not errors and payload_errors(row.type, row.document["payload"]) is None:
            return Result(row.epoch, row.seq, "kept")
        if not errors and row.corrected_at is None:
            errors = [FieldError(**error) for error in row.errors or ()]
        state = "quarantined"
        taken = Event.select().where(
            Event.event_id == row.event_id, Event.id != row.id, Event.state == "applied"
        )
        if not errors and taken.exists():
            errors = [FieldError("/event_id", "another event came under this event_id before")]
        if not errors:
            state, errors = _applied(
                effects.Happening(
                    event_id=row.event_id,
                    station=row.station,
                    site=row.site,
                    type=row.type,
                    payload=row.document["payload"],
                    day=row.day or "",
                    at=row.corrected_at,
                    now=now,
                )
            )
        Event.update(
            state=state,
            errors=[{"pointer": error.pointer, "message": error.message} for error in errors] or None,
        ).where(Event.id == row.id).execute()
    return Result(row.epoch, row.seq, "applied" if state == "applied" else "quarantined", tuple(errors))


def corrected_time(happened_at: str, clock_ahead: timedelta) -> datetime | None:
    """A station's time, corrected by how far its clock was ahead when it sent; None when absurd."""
    try:
        moment = datetime.fromisoformat(happened_at).astimezone(UTC)
        if abs(clock_ahead) > CLOCK_SLACK:
            moment -= clock_ahead
    except (ValueError, OverflowError):
        return None
    return moment if _FIRST_YEAR <= moment.year <= _LAST_YEAR else None


def _zone_of(site: str) -> ZoneInfo:
    kept = records.find("site", site, deleted_too=True)
    return ZoneInfo(kept.document["time_zone"] if kept else "UTC")


def _save_chain(chain: Reached, sender: _Sender) -> None:
    ahead = round(sender.clock_ahead / timedelta(milliseconds=1))
    Chain.insert(
        station=sender.station,
        epoch=chain.epoch,
        site=sender.site,
        has_to_seq=chain.has_to_seq,
        last_hash=chain.last_hash,
        started_at=sender.now,
        heard_at=sender.now,
        clock_ahead_ms=ahead,
    ).on_conflict(
        conflict_target=[Chain.station, Chain.epoch],
        update={
            Chain.site: sender.site,
            Chain.has_to_seq: chain.has_to_seq,
            Chain.last_hash: chain.last_hash,
            Chain.heard_at: sender.now,
            Chain.clock_ahead_ms: ahead,
        },
    ).execute()
