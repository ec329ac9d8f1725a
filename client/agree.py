"""Comparing notes with the centre after a push: whether it still has all of ours, and what waits there."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from client.cache.lost import lost_words
from client.cache.outbox import Outbox, Waiting
from client.push import Pushed, noted_centre, whole
from client.wire import Patience, Wire, retrying


def compare(outbox: Outbox, wire: Wire, patience: Patience, done: Pushed) -> None:
    """Offer again what the centre has lost, and learn what it applied or could not apply meanwhile.

    Raises
    ------
    CentreAway, CentreRefuses
        As the service answers.
    """
    station = retrying(lambda: wire.get(f"/v1/sync/stations/{outbox.station}"), patience).document
    centre_epoch = station.get("centre_epoch")
    if isinstance(centre_epoch, str) and noted_centre(outbox, wire, patience, centre_epoch, done):
        return
    told = _told(station)
    # Beyond a hash that is not ours a copy of this store wrote; what is pending will find that out.
    ours = {
        epoch: told.get(epoch, (0, None))[0]
        for epoch in outbox.epochs()
        if epoch not in told or outbox.hash_at(epoch, told[epoch][0]) == told[epoch][1]
    }
    lost = outbox.offer_what_is_lost(ours)
    if lost:
        done.offered_again += lost
        done.notices.append(
            f"the centre has less of this station than it once said: {lost} events are offered again"
        )
    epoch_before = outbox.epoch
    lost_now = outbox.hold_against({epoch: seq for epoch, (seq, _) in told.items()})
    done.notices += map(lost_words, lost_now)
    if outbox.epoch != epoch_before:
        done.notices.append(
            "the store here ends before what the centre has of it (was it put back, or copied?): a new epoch "
            "was begun"
        )
    waiting = station.get("waiting")
    if not isinstance(waiting, list):
        return  # a centre of an earlier version does not tell
    settled, held = outbox.note_waiting(
        [one for entry in waiting if (one := _waiting(entry)) is not None],
        {epoch: seq for epoch, (seq, _) in told.items()},
        complete=station.get("waiting_more") is False,
    )
    if settled:
        done.notices.append(f"the centre settled {_events(settled)} that waited there")
    if held:
        done.notices.append(f"not applied at the centre yet: {_events(held)}; shearwright status tells why")


def _events(count: int) -> str:
    return "1 event" if count == 1 else f"{count} events"


def _told(station: Mapping[str, Any]) -> dict[str, tuple[int, Any]]:
    """By epoch, how far the centre has it and the hash of the last event."""
    return {
        entry["epoch"]: (whole(entry.get("has_to_seq")), entry.get("last_hash"))
        for entry in station.get("epochs") or []
        if isinstance(entry, Mapping) and isinstance(entry.get("epoch"), str)
    }


def _waiting(entry: Any) -> Waiting | None:
    if not isinstance(entry, Mapping) or entry.get("state") not in {"kept", "quarantined"}:
        return None
    errors = entry.get("errors")
    return Waiting(
        str(entry.get("epoch")),
        whole(entry.get("seq")),
        entry["state"],
        json.dumps(errors) if errors else None,
    )
