"""Comparing notes with the centre after a push: whether it still has all of ours, and what waits there."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

from client.cache.decided import Decision, decision_words, entry_of
from client.cache.lost import lost_words
from client.cache.outbox import Outbox, Waiting
from client.push import Pushed, noted_centre, whole
from client.wire import Patience, Wire, retrying
from schemas.payloads import PAYLOADS_VERSION

CENTRE_KNOWS: Final = "centre_payloads_version"
"""Under which name the store keeps which events the centre knows."""

MOST_TOLD: Final = 10
"""Decisions of the centre that are told at once; the others are listed by a command."""


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
            f"the centre has less of this station than it once said: {_entries(lost)} offered again"
        )
    epoch_before = outbox.epoch
    agreed = {epoch for epoch, (seq, held) in told.items() if seq and outbox.hash_at(epoch, seq) == held}
    lost_now = outbox.hold_against({epoch: seq for epoch, (seq, _) in told.items()}, agreed)
    done.notices += map(lost_words, lost_now)
    if outbox.epoch != epoch_before:
        done.notices.append(
            "the store here ends before what the centre has of it (was it put back, or copied?): a new epoch "
            "was begun"
        )
    _hear_what_waits(outbox, station, {epoch: seq for epoch, (seq, _) in told.items()}, done)
    _hear_decisions(outbox, station, done)
    _hear_version(outbox, station, done)


def _hear_what_waits(
    outbox: Outbox, station: Mapping[str, Any], has: Mapping[str, int], done: Pushed
) -> None:
    waiting = station.get("waiting")
    if not isinstance(waiting, list):
        return  # a centre of an earlier version does not tell
    settled, held = outbox.note_waiting(
        [one for entry in waiting if (one := _waiting(entry)) is not None],
        has,
        complete=station.get("waiting_more") is False,
    )
    if settled:
        done.notices.append(f"the centre settled {_entries(settled)} that waited there")
    if held:
        done.notices.append(f"not applied at the centre yet: {_entries(held)}; shearwright status tells why")


def _hear_decisions(outbox: Outbox, station: Mapping[str, Any], done: Pushed) -> None:
    decided = station.get("decided")
    if not isinstance(decided, list):
        return  # as above
    new = outbox.note_decisions([one for entry in decided if (one := _decision(entry)) is not None])
    done.notices += [decision_words(one, entry_of(outbox.sql, one)) for one in new[-MOST_TOLD:]]
    if len(new) > MOST_TOLD:
        done.notices.append(
            f"{len(new) - MOST_TOLD} older decisions of the centre are new here too: shearwright decisions"
        )


def _hear_version(outbox: Outbox, station: Mapping[str, Any], done: Pushed) -> None:
    """Keep which events the centre knows; one that knows fewer than this station is told of once here."""
    knows = str(whole(station.get("payloads_version")))  # 0: of a version that does not tell
    if outbox.sql.meta(CENTRE_KNOWS) == knows:
        return
    outbox.sql.set_meta(CENTRE_KNOWS, knows)
    if (words := earlier_centre(knows)) is not None:
        done.notices.append(words)


def earlier_centre(knows: str | None) -> str | None:
    """What to say of a centre that knows fewer events than this station writes; None: nothing.

    >>> earlier_centre(str(PAYLOADS_VERSION)), earlier_centre(None)
    (None, None)
    """
    if knows is None or int(knows) >= PAYLOADS_VERSION:
        return None
    return (
        "the service at the centre is of an earlier version than this workstation: an entry with something "
        "it does not know yet goes into quarantine there. Nothing is lost: once the service is brought up "
        "to date, shearwright-service reapply --quarantined takes such entries in"
    )


def _decision(entry: Any) -> Decision | None:
    """A decision as it came; None for one that is not understood, such as a newer centre's."""
    if not isinstance(entry, Mapping) or entry.get("kind") not in {"corrected", "dismissed", "settled"}:
        return None
    counted, about = entry.get("counted"), entry.get("about")
    texts = [entry.get(name) for name in ("kind", "at", "epoch", "words", "by", "outcome")]
    if not all(isinstance(text, str) for text in texts):
        return None
    kind, at, epoch, words, by, outcome = map(str, texts)
    return Decision(
        kind,
        whole(entry.get("number")),
        at,
        epoch,
        whole(entry.get("seq")),
        words,
        by,
        outcome,
        about if isinstance(about, str) else None,
        None if counted is None else whole(counted),
    )


def _entries(count: int) -> str:
    return "1 entry" if count == 1 else f"{count} entries"


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
