"""What was cut alike on a machine within an hour: what the wear of a blade is reckoned from.

A turn, a measurement or a regrind falls within an hour, wherever it comes in between; the cuts of such an
hour are read one by one, and all others are told apart by their hour alone. So nothing has to be split when
one of them comes late, is withdrawn or put right.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, Final, NamedTuple

from schemas.edge_log import cut_place, hundredths
from service.store import bulk
from service.store.blade_states import thousandths
from service.store.database import ask, tell
from service.store.models import CutSum
from service.store.standing import Standing, standing

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_HOUR: Final = timedelta(hours=1)


def hour_of(at: datetime) -> int:
    """The hour of a moment, counted from 1970 in UTC.

    >>> hour_of(datetime(1970, 1, 2, 3, 59, tzinfo=UTC))
    27
    """
    return (at - _EPOCH) // _HOUR


def begin_of(hour: int) -> datetime:
    """When an hour begins."""
    return _EPOCH + hour * _HOUR


class CutKey(NamedTuple):
    """What a sum is for; sizes in hundredths of a millimetre, `edge` 0 where the event did not say it."""

    machine: str
    hour: int
    edge: int
    material: str
    thickness: int
    start_at: int
    cut_length: int


class Worn(NamedTuple):
    """Events, strokes, and millimetres of the rated plate."""

    events: int
    strokes: int
    equivalent_mm: int

    def plus(self, more: Worn) -> Worn:
        """Both together."""
        return Worn(
            self.events + more.events,
            self.strokes + more.strokes,
            self.equivalent_mm + more.equivalent_mm,
        )


NOTHING: Final = Worn(0, 0, 0)


def added_by(event_type: str, payload: Mapping[str, Any], at: datetime) -> tuple[CutKey, Worn] | None:
    """What an event adds; None when it is no cut."""
    if event_type != "cuts.made":
        return None
    key = CutKey(
        payload["machine"],
        hour_of(at),
        payload.get("blade_edge") or 0,
        payload["material"],
        hundredths(payload["thickness_mm"]),
        *cut_place(payload),
    )
    return key, Worn(1, int(payload["strokes"]), thousandths(payload["equivalent_m"]))


def taken_off(added: tuple[CutKey, Worn] | None) -> tuple[CutKey, Worn] | None:
    """The same, taken off again."""
    return None if added is None else (added[0], Worn(*(-figure for figure in added[1])))


def add_all(sums: Mapping[CutKey, Worn]) -> None:
    """Add to the sums of many keys, within the caller's transaction."""
    rows = [{**key._asdict(), **worn._asdict()} for key, worn in sorted(sums.items())]
    bulk.insert(CutSum, rows, _ADDING)


_KEY: Final = ", ".join(CutKey._fields)
_ADDING: Final = f"ON CONFLICT ({_KEY}) DO UPDATE SET " + ", ".join(
    f"{name} = cut_sum.{name} + excluded.{name}" for name in Worn._fields
)


class Recount:
    """The sums, counted anew."""

    def __init__(self) -> None:
        self.sums: dict[CutKey, Worn] = {}

    def add(self, event: Standing) -> None:
        """Count an event."""
        added = added_by(event.type, event.payload, event.at)
        if added is not None:
            key, worn = added
            self.sums[key] = self.sums.get(key, NOTHING).plus(worn)


def recount() -> dict[CutKey, Worn]:
    """The sums, counted anew from the events that were applied."""
    counted = Recount()
    for event in standing("type = 'cuts.made'"):
        counted.add(event)
    return counted.sums


class CutDifference(NamedTuple):
    """A sum that is not what a recount gives."""

    key: CutKey
    measure: str
    kept: int
    counted: int


def differences(counted: Mapping[CutKey, Worn]) -> list[CutDifference]:
    """Where the kept sums differ from a recount, within the caller's state of the store."""
    width = len(CutKey._fields)
    rows = ask(f"SELECT {_KEY}, {', '.join(Worn._fields)} FROM cut_sum")  # noqa: S608 - names of ours
    kept = {CutKey(*row[:width]): Worn(*row[width:]) for row in rows}
    return [
        CutDifference(key, name, *figures)
        for key in sorted({*kept, *counted})
        for name, *figures in zip(
            Worn._fields, kept.get(key, NOTHING), counted.get(key, NOTHING), strict=True
        )
        if figures[0] != figures[1]
    ]


def rebuild(counted: Mapping[CutKey, Worn]) -> None:
    """Put a recount in the place of the kept sums, within the caller's transaction."""
    tell("DELETE FROM cut_sum")
    add_all(counted)
