"""Looking into the events: what was not applied, stock that does not add up, cuts of an edge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from service.store.models import Discrepancy, Event


@dataclass(frozen=True, slots=True)
class HeldEvent:
    """An event in quarantine, or of a type that is not known yet."""

    id: int
    state: str
    station: str
    site: str
    received_at: datetime
    errors: tuple[Mapping[str, str], ...]
    event: Mapping[str, Any]


def waiting_of(station: str, limit: int) -> list[Any]:
    """Events of a station that are not applied, in the order they came; dismissed ones are settled."""
    return list(
        Event.select(Event.epoch, Event.seq, Event.state, Event.errors)
        .where(Event.state.in_(("kept", "quarantined")), Event.dismissed_at.is_null())
        .where(Event.station == station)
        .order_by(Event.id)
        .limit(limit)
    )


def not_applied(after: int, limit: int) -> list[HeldEvent]:
    """Events that wait, in the order they came."""
    rows = (
        Event.select()
        .where(Event.state.in_(("kept", "quarantined")), Event.id > after)
        .order_by(Event.id)
        .limit(limit)
    )
    return [
        HeldEvent(
            row.id, row.state, row.station, row.site, row.received_at, tuple(row.errors or ()), row.document
        )
        for row in rows
    ]


@dataclass(frozen=True, slots=True)
class Written:
    """What was written down of a blade: a cut, a turn, a measurement."""

    at: datetime
    type: str
    payload: Mapping[str, Any]


def story_of(machine: str) -> list[Written]:
    """Cuts, turns and measurements on a machine, in the order of their times."""
    kinds = ("cuts.made", "blade.turned", "edge.measured")
    rows = Event.select().where(Event.type.in_(kinds), Event.state == "applied")
    return [
        Written(row.corrected_at, row.type, row.document["payload"])
        for row in rows.order_by(Event.corrected_at, Event.id).iterator()
        if row.document["payload"]["machine"] == machine
    ]


def count_not_applied() -> int:
    """How many events wait."""
    count: int = Event.select().where(Event.state.in_(("kept", "quarantined"))).count()
    return count


def discrepancies(after: int, limit: int) -> list[Any]:
    """Stock discrepancies, in the order they were noted."""
    return list(Discrepancy.select().where(Discrepancy.id > after).order_by(Discrepancy.id).limit(limit))
