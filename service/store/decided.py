"""What persons decided about the events of a station, for the station to tell those who wrote them down."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from peewee import SQL, fn

from service.store import bulk, held
from service.store.models import Correction, Discrepancy, Event


@dataclass(frozen=True, slots=True)
class Decision:
    """A person's word on an event of a station.

    Attributes
    ----------
    kind
        corrected or dismissed: the event, which had not been applied; settled: what did not add up with it.
    number
        Of the correction, or of the discrepancy.
    epoch, seq
        The event.
    words, by, at
        Why, who and when.
    outcome
        What came of it: the state of the event after a correction, else the same as `kind`.
    about
        What did not add up; None: the decision is about the event itself.
    counted
        Pieces counted on the rack with it.
    """

    kind: str
    number: int
    epoch: str
    seq: int
    words: str
    by: str
    at: datetime
    outcome: str
    about: str | None = None
    counted: int | None = None


def decisions_on(station: str, since: datetime, most: int) -> list[Decision]:
    """What persons decided about the events of a station since a time, the newest `most`, newest first."""
    found = [*_of_events(station, since, most), *_of_discrepancies(station, since, most)]
    return sorted(found, key=lambda one: (one.at, one.kind, one.number), reverse=True)[:most]


def _of_events(station: str, since: datetime, most: int) -> Iterator[Decision]:
    # What the station itself withdrew is written in the same place, and needs no telling there.
    by_itself = (Correction.made_by == f"station {station}") & Event.withdrawn_by.is_null(False)
    rows: Any = (
        Correction.select(Correction, Event.epoch, Event.seq)
        .join(Event, on=(Event.id == Correction.event))
        .where(Event.station == station, Correction.made_at >= since, ~by_itself)
        .order_by(Correction.id.desc())
        .limit(most)
        .dicts()
    )
    for row in rows:
        yield Decision(
            "dismissed" if row["outcome"] == "dismissed" else "corrected",
            row["id"],
            row["epoch"],
            row["seq"],
            row["words"],
            row["made_by"],
            row["made_at"],
            row["outcome"],
        )


def _of_discrepancies(station: str, since: datetime, most: int) -> Iterator[Decision]:
    noted_for = fn.EXISTS(
        Event.select(Event.id).where(Event.event_id == Discrepancy.event_id, Event.station == station)
    )
    cut_here = fn.EXISTS(
        Event.select(Event.id).where(
            Event.plan_id == Discrepancy.plan_id, Event.step == Discrepancy.step, Event.station == station
        )
    )
    rows = list(
        Discrepancy.select()
        .where(SQL("settled_how = 'person'"), Discrepancy.settled_at >= since, noted_for | cut_here)
        .order_by(Discrepancy.settled_at.desc(), Discrepancy.id.desc())
        .limit(most)
    )
    events, here = held.events_of_steps(rows), _events_here(rows, station)
    for row in rows:
        event = here[row.id]
        yield Decision(
            "settled",
            row.id,
            event.epoch,
            event.seq,
            row.words or "",
            row.settled_by or "",
            row.settled_at,
            "settled",
            f"{row.kind}: {held.about(row)}: {held.in_words(row, events.get(row.id, []))}",
            row.counted,
        )


def _events_here(rows: Sequence[Any], station: str) -> dict[int, Any]:
    """By its number, the station's event that a discrepancy was noted for, else its newest of the step."""
    noted = {one.event_id: one for one in _newest_last("event_id", [row.event_id for row in rows], station)}
    others = [row for row in rows if row.event_id not in noted]
    of_step = {
        (one.plan_id, one.step): one
        for one in _newest_last("plan_id", [row.plan_id for row in others], station)
    }
    return {row.id: noted.get(row.event_id) or of_step[row.plan_id, row.step] for row in rows}


def _newest_last(column: str, values: Sequence[str], station: str) -> list[Any]:
    if not values:
        return []
    text, given = bulk.among(column, sorted(set(values)))
    wanted = Event.select(Event.epoch, Event.seq, Event.event_id, Event.plan_id, Event.step)
    return list(wanted.where(SQL(text, given), Event.station == station).order_by(Event.id))
