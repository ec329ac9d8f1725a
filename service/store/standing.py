"""The events that stand, each with the payload that counts: what every sum is counted anew from."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any, Final, NamedTuple

from service.store.database import ask
from service.store.models import Event

_AT_A_TIME: Final = 2000


class Standing(NamedTuple):
    """An applied event; where a person corrected its payload, that is what counts."""

    id: int
    event_id: str
    type: str
    site: str
    day: str
    machine: str
    at: datetime
    plan_id: str | None
    step: int | None
    pieces: int | None
    blade: str | None
    blade_edge: int | None
    record_revision: int | None
    blade_before: Any
    payload: Any


_COLUMNS: Final = (
    "id, event_id, type, site, day, machine, corrected_at, plan_id, step, pieces, blade, blade_edge,"
    " record_revision, blade_before, document, corrected_payload"
)
_AT: Final = Standing._fields.index("at")
_READ_TIME: Final[Callable[[Any], Any]] = Event.corrected_at.python_value


def standing(wanted: str = "true", *given: Any) -> Iterator[Standing]:
    """Applied events in the order they came, some at a time, as a store may hold more than memory.

    Parameters
    ----------
    wanted
        SQL of ours that they must meet, with marks for what is `given`.
    """
    query = (
        f"SELECT {_COLUMNS} FROM event WHERE state = 'applied' AND {wanted} AND id > %s"  # noqa: S608 - ours
        f" ORDER BY id LIMIT {_AT_A_TIME}"
    )
    after = 0
    while rows := ask(query, *given, after):
        yield from map(_read, rows)
        after = rows[-1][0]


def in_order_of_record(blade: str) -> Iterator[Standing]:
    """What was applied to a blade, in the order of the revisions that it gave the record."""
    query = (
        f"SELECT {_COLUMNS} FROM event WHERE blade = %s AND state = 'applied'"  # noqa: S608 - names of ours
        " AND (record_revision > %s OR (record_revision = %s AND id > %s))"
        f" ORDER BY record_revision, id LIMIT {_AT_A_TIME}"
    )
    revision, after = -(2**62), 0
    while rows := ask(query, blade, revision, revision, after):
        found = [_read(row) for row in rows]
        yield from found
        revision, after = found[-1].record_revision or 0, found[-1].id


def _read(row: tuple[Any, ...]) -> Standing:
    *own, before, document, corrected = row
    own[_AT] = _READ_TIME(own[_AT])
    payload = json.loads(corrected) if corrected else json.loads(document)["payload"]
    return Standing._make((*own, None if before is None else json.loads(before), payload))


def payload_of(row: Any) -> Any:
    """The payload that counts of a row of events: as a person corrected it, else as it came."""
    return row.corrected_payload or row.document["payload"]
