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
class MadeCut:
    """Strokes that were made with an edge, as they were written down."""

    at: datetime
    payload: Mapping[str, Any]


def cuts_on(machine: str, edge: int, since: datetime | None) -> list[MadeCut]:
    """Cuts made on a machine with one edge, since it was put to work; in the order of their times."""
    rows = Event.select().where(Event.type == "cuts.made", Event.state == "applied")
    if since is not None:
        rows = rows.where(Event.corrected_at >= since)
    made = []
    for row in rows.order_by(Event.corrected_at, Event.id).iterator():
        payload = row.document["payload"]
        if payload["machine"] == machine and payload.get("blade_edge") in {None, edge}:
            made.append(MadeCut(row.corrected_at, payload))
    return made


def count_not_applied() -> int:
    """How many events wait."""
    count: int = Event.select().where(Event.state.in_(("kept", "quarantined"))).count()
    return count


def discrepancies(after: int, limit: int) -> list[Any]:
    """Stock discrepancies, in the order they were noted."""
    return list(Discrepancy.select().where(Discrepancy.id > after).order_by(Discrepancy.id).limit(limit))
