"""Sending what was written down, until the centre has it: at least once here, exactly once there."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from marshmallow import EXCLUDE, ValidationError

from client.cache.clock import note_offset
from client.cache.lost import sent_as
from client.cache.outbox import Outbox, State, Written
from client.entry_words import name_of
from client.errors import CentreAway, CentreRefuses, StoreFailed
from client.wire import Answer, Patience, Wire, retrying
from schemas.events import FIRST_HASH, MOST_EVENTS, PushAnswerSchema

MOST_BYTES: Final = 512 * 1024
"""Bytes of events in one push, unless a single event is larger."""

_PATH: Final = "/v1/sync/events"
_STATES: Final[dict[str, State]] = {
    "applied": "taken",
    "repeat": "taken",
    "kept": "kept",
    "quarantined": "quarantined",
}


@dataclass(slots=True)
class Pushed:
    """What a push did."""

    applied: int = 0
    repeats: int = 0
    kept: int = 0
    quarantined: int = 0
    offered_again: int = 0
    notices: list[str] = field(default_factory=list)


class Push:
    """One run of sending."""

    def __init__(self, outbox: Outbox, wire: Wire, patience: Patience) -> None:
        self.outbox = outbox
        self.wire = wire
        self.patience = patience
        self.done = Pushed()
        self._most = MOST_EVENTS
        self._holes: set[tuple[str, int]] = set()

    def run(self) -> Pushed:
        """Send everything pending, epoch by epoch, oldest first.

        Raises
        ------
        CentreAway, CentreRefuses
            When it cannot go on. What is not acknowledged stays pending.
        StoreFailed
            When the next event changed on the disk; it is not sent, nor what follows it.
        """
        again = True
        while again:
            again = False
            for epoch in self.outbox.epochs():
                while batch := self._batch(epoch):
                    if not self._send(batch):
                        again = True  # a new epoch came into being, or another life of the centre
                        break
        return self.done

    def _batch(self, epoch: str) -> list[Written]:
        batch = self.outbox.pending(epoch, self._most)
        size = 0
        for place, written in enumerate(batch):
            if not written.sound:
                if not place:
                    raise StoreFailed(f"{written.damage}; it was not sent, nor what follows it")
                return batch[:place]
            size += len(written.body)
            # The time of sending is told once for a run, by the clock that timed all of it.
            if place and (size > MOST_BYTES or written.clock != batch[0].clock):
                return batch[:place]
        return batch

    def _send(self, batch: list[Written]) -> bool:
        """Send a batch and keep the answer; False when the order of sending has to be thought over."""
        events = [written.event for written in batch]

        def ask() -> Answer:
            # The clock is read anew for each attempt: the centre reckons from it how far ours is off.
            sent_at = self.outbox.sent_at(batch[0].clock)
            document = {"station": self.outbox.station, "sent_at": sent_at, "events": events}
            return self.wire.post(_PATH, document)

        try:
            answer = retrying(ask, self.patience)
        except CentreRefuses as refusal:
            if refusal.status == 409 and "has_to_seq" in refusal.problem:
                return self._forked(batch, refusal.problem)
            if not _names_event(refusal):
                raise
            if len(batch) > 1:
                # One event may be at fault for all: smaller and smaller, so that the others get through.
                self._most = len(batch) // 2
                return True
            return self._set_aside(batch[0], refusal)
        return self._keep(batch, answer)

    def _keep(self, batch: list[Written], answer: Answer) -> bool:
        try:
            said: dict[str, Any] = PushAnswerSchema(unknown=EXCLUDE).load(_in_our_words(answer.document))
        except ValidationError as error:
            raise CentreAway(f"the answer to a push is not understood: {error}") from error
        note_clock(self.outbox, answer, said["server_time"])
        has = said["has_to_seq"] if said["epoch"] in {None, batch[0].epoch} else 0
        results = {(r["epoch"], r["seq"]): r for r in said["results"]}
        states: dict[int, tuple[State, str | None]] = {}
        for written in batch:
            result = results.get((written.epoch, written.seq))
            if result is None or written.seq > has:
                continue
            errors = result.get("errors")
            states[written.row] = (_STATES[result["state"]], json.dumps(errors) if errors else None)
            self._count(result["state"])
        if not states:
            raise CentreAway("the centre answered a push and has none of it; it goes again next time")
        self.outbox.answered(states)
        self.done.notices += said.get("notes") or ()
        if noted_centre(self.outbox, self.wire, self.patience, said["centre_epoch"], self.done):
            return False
        self._most = min(MOST_EVENTS, 2 * self._most)
        return True

    def _count(self, state: str) -> None:
        done = self.done
        done.applied += state == "applied"
        done.repeats += state == "repeat"
        done.kept += state == "kept"
        done.quarantined += state == "quarantined"

    def _set_aside(self, written: Written, refusal: CentreRefuses) -> bool:
        """Put a single event aside that the centre does not take in at all, so that the rest can go on."""
        self._most = MOST_EVENTS
        told = json.dumps(refusal.problem.get("errors") or [{"pointer": "", "message": str(refusal)}])
        self.outbox.answered({written.row: ("aside", told)})
        # The chain has a hole there now, which the centre would not pass: what follows goes by another.
        self.outbox.reissue(written.epoch, written.seq + 1, f"number {written.seq} was not taken in")
        self.done.quarantined += 1
        self.done.notices.append(
            f"entry {written.row} ({name_of(written.type)}) is not taken in and waits here: {refusal}; "
            "once that is cured, shearwright retry offers it again"
        )
        return False

    def _forked(self, batch: list[Written], problem: Mapping[str, Any]) -> bool:
        """Find where our chain and the centre's part, and go on from there. Nothing is thrown away."""
        epoch, first = batch[0].epoch, batch[0].seq
        has, last_hash = whole(problem.get("has_to_seq")), problem.get("last_hash")
        ours = FIRST_HASH if has == 0 else self.outbox.hash_at(epoch, has)
        if ours == last_hash and has < first - 1 and (epoch, has) not in self._holes:
            # No fork: the centre has less than it once had. Offer what it lacks.
            self._holes.add((epoch, has))
            if self.outbox.hash_at(epoch, has + 1) is not None:
                self.done.offered_again += self.outbox.offer_again(epoch, has)
                return True
        if len(batch) > 1:
            # What comes before the fork may be a repeat; halve until the first event that differs is alone.
            self._most = len(batch) // 2
            return True
        self._most = MOST_EVENTS
        self.outbox.reissue(epoch, first, f"the centre holds other entries from number {min(first, has)} on")
        self.done.notices.append(
            f"the centre holds other entries of this station from {sent_as(epoch, first, first)} on (was its "
            "store copied or put back?): a new epoch was begun, and what the centre lacks is sent under it"
        )
        return False


def _in_our_words(document: Mapping[str, Any]) -> dict[str, Any]:
    """An answer in the states of this version: a newer centre's own ones count as kept there."""
    results = document.get("results")
    if not isinstance(results, list):
        return dict(document)
    return {
        **document,
        "results": [
            {**one, "state": "kept"} if isinstance(one, dict) and one.get("state") not in _STATES else one
            for one in results
        ],
    }


def _names_event(refusal: CentreRefuses) -> bool:
    """Whether a refusal lies with an event and not with the way we ask."""
    if refusal.status == 413:
        return True
    errors = refusal.problem.get("errors")
    return refusal.status in {400, 422} and any(
        str(error.get("pointer", "")).startswith("/events/")
        for error in (errors if isinstance(errors, list) else ())
        if isinstance(error, dict)
    )


def noted_centre(outbox: Outbox, wire: Wire, patience: Patience, centre_epoch: str, done: Pushed) -> bool:
    """Compare the centre's life with the one known; True when it changed and events are offered again."""
    known = outbox.sql.meta("centre_epoch")
    if known == centre_epoch:
        return False
    if known is None:
        outbox.sql.set_meta("centre_epoch", centre_epoch)
        return False
    station = retrying(lambda: wire.get(f"/v1/sync/stations/{outbox.station}"), patience).document
    lacks = _lacking(outbox, station)
    offered = outbox.centre_changed(centre_epoch, lacks)
    done.offered_again += offered
    entries = "1 entry" if offered == 1 else f"{offered} entries"
    done.notices.append(f"the centre was put back to an earlier state: it may lack {entries}, offered again")
    return True


def _lacking(outbox: Outbox, station: Mapping[str, Any]) -> dict[str, int]:
    """By epoch, the number after which the centre lacks our events. In doubt all: a repeat does no harm."""
    has: dict[str, tuple[int, Any]] = {}
    for entry in [station, *(station.get("epochs") or [])]:
        if isinstance(entry, Mapping) and isinstance(entry.get("epoch"), str):
            has[entry["epoch"]] = (whole(entry.get("has_to_seq")), entry.get("last_hash"))
    lacks = {}
    for epoch in outbox.epochs():
        seq, last_hash = has.get(epoch, (0, None))
        agreed = seq > 0 and outbox.hash_at(epoch, seq) == last_hash
        lacks[epoch] = seq if agreed else 0
    return lacks


def note_clock(outbox: Outbox, answer: Answer, server_time: str) -> None:
    """Keep how far our clock is from the centre's."""
    try:
        theirs = datetime.fromisoformat(server_time)
    except ValueError:
        return
    if theirs.tzinfo is None:
        return
    middle = answer.sent_at + (answer.received_at - answer.sent_at) / 2
    note_offset(outbox.sql, theirs - middle)


def whole(value: Any) -> int:
    """A count that came over the wire; 0 for anything that is none."""
    return value if isinstance(value, int) and not isinstance(value, bool) and value > 0 else 0
