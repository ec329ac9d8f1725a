"""Looking into the events: what was not applied, stock that does not add up, the story of a blade."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from service.store import records
from service.store.models import Correction, Discrepancy, Event


@dataclass(frozen=True, slots=True)
class HeldEvent:
    """An event in quarantine, of a type that is not known yet, or applied as a person corrected it."""

    id: int
    state: str
    station: str
    site: str
    received_at: datetime
    errors: tuple[Mapping[str, str], ...]
    event: Mapping[str, Any]
    corrected_payload: Mapping[str, Any] | None
    corrections: tuple[Any, ...]


def waiting_of(station: str, limit: int) -> list[Any]:
    """Events of a station that are not applied, in the order they came; dismissed ones are settled."""
    return list(
        Event.select(Event.epoch, Event.seq, Event.state, Event.errors)
        .where(Event.state.in_(("kept", "quarantined")), Event.dismissed_at.is_null())
        .where(Event.station == station)
        .order_by(Event.id)
        .limit(limit)
    )


def not_applied(after: int, limit: int, show: str = "waiting") -> list[HeldEvent]:
    """Events that wait, or that a person dismissed or corrected, in the order they came."""
    rows = list(Event.select().where(_SHOWN[show](), Event.id > after).order_by(Event.id).limit(limit))
    found: dict[int, list[Any]] = {row.id: [] for row in rows}
    for one in Correction.select().where(Correction.event.in_(list(found))).order_by(Correction.id):
        found[one.event].append(one)
    return [
        HeldEvent(
            row.id,
            row.state,
            row.station,
            row.site,
            row.received_at,
            tuple(row.errors or ()),
            row.document,
            row.corrected_payload,
            tuple(found[row.id]),
        )
        for row in rows
    ]


def _open() -> Any:
    return Event.state.in_(("kept", "quarantined"))


_SHOWN: Final[dict[str, Callable[[], Any]]] = {
    "waiting": lambda: _open() & Event.dismissed_at.is_null(),
    "dismissed": lambda: _open() & Event.dismissed_at.is_null(False),
    "corrected": lambda: (
        (Event.state == "applied") & Event.id.in_(Correction.select(Correction.event).distinct())
    ),
}


@dataclass(frozen=True, slots=True)
class Written:
    """What was written down of a blade: a cut, a turn, a measurement."""

    at: datetime
    type: str
    payload: Mapping[str, Any]


def story_of(machine: str) -> list[Written]:
    """Cuts, turns and measurements on a machine, in the order of their times."""
    kinds = ("cuts.made", "blade.turned", "edge.measured")
    rows = (
        Event.select(Event.corrected_at, Event.type, Event.document, Event.corrected_payload)
        .where(Event.machine == machine, Event.type.in_(kinds), Event.state == "applied")
        .order_by(Event.corrected_at, Event.id)
    )
    return [
        Written(row.corrected_at, row.type, row.corrected_payload or row.document["payload"])
        for row in rows.iterator()
    ]


def count_not_applied() -> int:
    """How many events wait."""
    count: int = Event.select().where(_SHOWN["waiting"]()).count()
    return count


def discrepancies(after: int, limit: int, show: str = "open") -> list[Any]:
    """Stock discrepancies, in the order they were noted."""
    rows = Discrepancy.select().where(Discrepancy.id > after)
    if show != "all":
        rows = rows.where(Discrepancy.settled_at.is_null(show == "open"))
    return list(rows.order_by(Discrepancy.id).limit(limit))


class NoSuchStock(Exception):  # noqa: N818 - reads as what it says
    """Pieces were counted of a stock item that has no record."""


def settle(number: int, *, words: str, counted: int | None, by: str, now: datetime) -> Any | None:
    """Settle a discrepancy, and set the books right; None when none of that number is open.

    Parameters
    ----------
    counted
        Pieces that lie on the rack now; None: the books stay as they are.

    Raises
    ------
    NoSuchStock
        When pieces were counted and no stock item has that name.
    """
    with records.writing():
        row = Discrepancy.get_or_none((Discrepancy.id == number) & Discrepancy.settled_at.is_null())
        if row is None:
            return None
        kept = records.find("stock", f"{row.site}/{row.ref}")
        if counted and kept is None:
            raise NoSuchStock(row.ref)
        if counted is not None and kept is not None:
            document = {**kept.document, "quantity": counted}
            records.write("stock", kept.key, document, site=kept.site, by=by, now=now)
        Discrepancy.update(settled_at=now, settled_by=by, words=words, counted=counted).where(
            Discrepancy.id == number
        ).execute()
        return Discrepancy.get_by_id(number)
