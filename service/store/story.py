"""The story of the blades of a machine: turns and measurements one by one, cuts as many at once as may be.

Cuts within an hour in which something else happened are read as they were written down; those of other
hours come added up, as :mod:`service.store.cut_sums` keeps them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Set
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, NamedTuple

from schemas.edge_log import cut_place, hundredths
from service.store.cut_sums import begin_of, hour_of
from service.store.database import ask
from service.store.models import Event


@dataclass(frozen=True, slots=True)
class Mark:
    """A turn or a measurement as it was written down; `number` is that of its event."""

    at: datetime
    number: int
    type: str
    payload: Mapping[str, Any]


class Cuts(NamedTuple):
    """Cuts that are alike, of `events` entries: one, or all of some hours, of which the first begins at `at`.

    `edge` None: with the edge at work. Sizes in hundredths of a millimetre, as they were written down.
    """

    at: datetime
    number: int
    edge: int | None
    material: str
    thickness: int
    start: int
    length: int
    events: int
    strokes: int
    equivalent_m: float


_READ_TIME: Final[Callable[[Any], Any]] = Event.corrected_at.python_value
_WRITE_TIME: Final[Callable[[Any], Any]] = Event.corrected_at.db_value
_LAST_HOUR: Final = 2**31 - 1


def marks_of(machine: str) -> list[Mark]:
    """Turns and measurements on a machine, in the order of their times."""
    rows = ask(
        "SELECT corrected_at, id, type, document, corrected_payload FROM event WHERE machine = %s"
        " AND state = 'applied' AND type IN ('blade.turned', 'edge.measured') ORDER BY corrected_at, id",
        machine,
    )
    return [Mark(_READ_TIME(at), number, kind, _payload(*said)) for at, number, kind, *said in rows]


def cuts_of(machine: str, exact: Set[int], since: int = 0) -> Iterator[Cuts]:
    """Cuts on a machine from an hour on, in the order of their times.

    Parameters
    ----------
    exact
        Hours of which each cut comes by itself; those of the hours between two of them come added up.
    """
    before = since - 1
    for first, last in _runs(sorted(hour for hour in exact if hour >= since)):
        yield from _added_up(machine, before, first)
        yield from _one_by_one(machine, first, last)
        before = last
    yield from _added_up(machine, before, _LAST_HOUR)


def _runs(hours: list[int]) -> list[tuple[int, int]]:
    """Hours that follow each other, from the first to the last.

    >>> _runs([1, 2, 3, 7])
    [(1, 3), (7, 7)]
    """
    found: list[tuple[int, int]] = []
    for hour in hours:
        if found and found[-1][1] == hour - 1:
            found[-1] = found[-1][0], hour
        else:
            found.append((hour, hour))
    return found


def _added_up(machine: str, after: int, to: int) -> Iterator[Cuts]:
    if to - after < 2:
        return
    rows = ask(
        "SELECT min(hour), edge, material, thickness, start_at, cut_length, sum(events), sum(strokes),"
        " sum(equivalent_mm) FROM cut_sum WHERE machine = %s AND hour > %s AND hour < %s AND events > 0"
        " GROUP BY edge, material, thickness, start_at, cut_length",
        machine,
        after,
        to,
    )
    for hour, edge, material, thickness, start, length, events, strokes, metres in rows:
        # PostgreSQL adds whole numbers up to decimals.
        yield Cuts(
            begin_of(hour),
            0,
            edge or None,
            material,
            thickness,
            start,
            length,
            int(events),
            int(strokes),
            int(metres) / 1000,
        )


def _one_by_one(machine: str, first: int, last: int) -> Iterator[Cuts]:
    rows = ask(
        "SELECT corrected_at, id, document, corrected_payload FROM event WHERE machine = %s"
        " AND state = 'applied' AND type = 'cuts.made' AND corrected_at >= %s AND corrected_at < %s"
        " ORDER BY corrected_at, id",
        machine,
        _WRITE_TIME(begin_of(first)),
        _WRITE_TIME(begin_of(last + 1)),
    )
    for at, number, *said in rows:
        payload = _payload(*said)
        start, length = cut_place(payload)
        yield Cuts(
            _READ_TIME(at),
            number,
            payload.get("blade_edge"),
            payload["material"],
            hundredths(payload["thickness_mm"]),
            start,
            length,
            1,
            payload["strokes"],
            payload["equivalent_m"],
        )


def _payload(document: str, corrected: str | None) -> Any:
    return json.loads(corrected) if corrected else json.loads(document)["payload"]


__all__ = ["Cuts", "Mark", "cuts_of", "hour_of", "marks_of"]
