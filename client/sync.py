"""One exchange with the centre: what was written down goes up, then records come down."""

from __future__ import annotations

import time
from contextlib import closing
from dataclasses import dataclass, field

from client.agree import compare
from client.cache.outbox import Counts, utc_text
from client.cache.records import Change
from client.errors import CacheDamaged, CentreAway, CentreRefuses, ClientError
from client.pull import pull_records, refuse_other_token
from client.push import Push, Pushed
from client.wire import Patience, Wire
from client.workstation import Workstation, put_cache_aside, workstation_at


@dataclass(frozen=True, slots=True)
class SyncReport:
    """What an exchange did.

    Attributes
    ----------
    pushed
        What became of the events sent.
    changes
        What the pull changed.
    counts
        The outbox afterwards.
    problem
        Why it did not come to its end; None when it did.
    """

    pushed: Pushed
    changes: tuple[Change, ...]
    counts: Counts
    problem: ClientError | None = None
    notices: tuple[str, ...] = field(default=())

    @property
    def complete(self) -> bool:
        """Whether everything pending was sent and all records came in."""
        return self.problem is None


def sync_once(
    station: Workstation,
    *,
    wire: Wire | None = None,
    patience: Patience | None = None,
    push: bool = True,
    pull: bool = True,
    wait_s: float = 0.0,
) -> SyncReport:
    """Send what is pending, then fetch what is new. Other commands may log meanwhile.

    Parameters
    ----------
    station
        The workstation.
    wire, patience
        The way to the service and how long to try; their defaults when left out.
    push, pull
        Which halves to do.
    wait_s
        How long to wait for another sync of this station to end [s].

    Returns
    -------
    SyncReport
        Also when the service is away or refuses: `problem` then says so. Nothing is ever lost by it.

    Raises
    ------
    StoreBusy
        When another sync is running.
    NotSetUp, StoreFailed
        When this workstation's own files fail.
    """
    road = wire or station.wire()
    waits = patience or Patience()
    road.ends_at = time.monotonic() + waits.total_s
    sending = Push(station.outbox, road, waits)
    changes: list[Change] = []
    problem: ClientError | None = None
    with station.home.syncing(wait_s):
        try:
            _note(station, "tried")
            if pull and (not push or station.records.position.cursor is None):
                refuse_other_token(station.outbox, road, waits, station.settings.site)
            if push:
                sending.run()
                before = sending.done.offered_again, station.outbox.epoch
                compare(station.outbox, road, waits, sending.done)
                if before != (sending.done.offered_again, station.outbox.epoch):
                    sending.run()
                _note(station, "sent")
            if pull:
                offered = sending.done.offered_again
                changes = pull_records(station.records, station.outbox, road, waits, sending.done)
                if push and sending.done.offered_again > offered:
                    # The pull told of a centre put back: what it lacks goes at once, and comes back.
                    sending.run()
                    changes += pull_records(station.records, station.outbox, road, waits, sending.done)
                _note(station, "fetched")
            if push and pull:
                _note(station, "sync")
            station.outbox.sql.set_meta("last_problem", None)
            station.outbox.tidy()
        except (CentreAway, CentreRefuses) as error:
            problem = error
            station.outbox.sql.set_meta("last_problem", str(error))
        finally:
            if wire is None:
                road.close()
    return SyncReport(
        sending.done, tuple(changes), station.outbox.counts(), problem, tuple(sending.done.notices)
    )


def pull_anew(station: Workstation, *, patience: Patience | None = None) -> SyncReport:
    """Fetch all records anew. Those that are here stay in use until all have come in.

    A cache that cannot even be written any more is put aside, once the service has answered.

    Raises
    ------
    As :func:`sync_once`.
    """
    try:
        station.records.begin_resync()
        return sync_once(station, patience=patience, push=False)
    except CacheDamaged:
        with closing(station.wire()) as wire:
            refuse_other_token(station.outbox, wire, patience or Patience(), station.settings.site)
    station.records.close()
    put_cache_aside(station.home)
    with workstation_at(station.home) as fresh:
        return sync_once(fresh, patience=patience, push=False)


def _note(station: Workstation, what: str) -> None:
    station.outbox.sql.set_meta(f"last_{what}", utc_text(station.outbox.now()))
