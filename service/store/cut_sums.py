"""What was cut alike on a machine within an hour: what the wear of a blade is reckoned from.

A turn, a measurement or a regrind falls within an hour, wherever it comes in between; the cuts of such an
hour are read one by one, and all others are told apart by their hour alone. So nothing has to be split when
one of them comes late, is withdrawn or put right.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, Final, NamedTuple, TypeAlias

from schemas.edge_log import cut_place, hundredths
from service.store import bulk
from service.store.blade_states import thousandths
from service.store.database import ask, tell
from service.store.models import CutSum, Event
from service.store.standing import Standing, standing
from service.store.sums import Counted

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


def added_up(events: Iterable[Counted]) -> dict[CutKey, Worn]:
    """What events add to the sums of their keys."""
    sums: dict[CutKey, Worn] = {}
    for event in events:
        added = added_by(event.type, event.payload, event.at)
        if added is not None:
            key, worn = added
            if event.times != 1:
                worn = Worn(*(event.times * figure for figure in worn))
            sums[key] = sums[key].plus(worn) if key in sums else worn
    return sums


def adding(sums: Mapping[CutKey, Worn]) -> Callable[[], None]:
    """What adds to the sums of many keys when it is called, within the caller's transaction."""
    rows = [key + worn for key, worn in sorted(sums.items())]
    names = (*CutKey._fields, *Worn._fields)
    return bulk.insertion(CutSum, names, zip(*rows, strict=True), _ADDING)


_KEY: Final = ", ".join(CutKey._fields)
_ADDING: Final = f"ON CONFLICT ({_KEY}) DO UPDATE SET " + ", ".join(
    f"{name} = cut_sum.{name} + excluded.{name}" for name in Worn._fields
)


_Hour: TypeAlias = tuple[str, int]
_MIXED: Final = 2**64


class Recount:
    """The sums, counted anew: of each hour of a machine a mark of what they come to, and for what.

    There may be as many sums as events, and more than memory holds; the sums themselves are counted where
    the mark of an hour is not that of what is kept.
    """

    def __init__(self) -> None:
        self._hours: dict[_Hour, int] = {}

    def add(self, event: Standing) -> None:
        """Count an event."""
        added = added_by(event.type, event.payload, event.at)
        if added is not None:
            _mix(self._hours, *added)

    def differences(self) -> list[CutDifference]:
        """Where the kept sums differ, within the caller's state of the store."""
        kept: dict[_Hour, int] = {}
        for key, worn in _kept():
            _mix(kept, key, worn)
        odd = sorted(hour for hour in {*kept, *self._hours} if kept.get(hour, 0) != self._hours.get(hour, 0))
        return [found for hour in odd for found in _differences_in(hour)]


def _mix(hours: dict[_Hour, int], key: CutKey, worn: Worn) -> None:
    # What is added up for a sum and what is added event by event come to the same mark.
    mark = sum(figure * hash((key, place)) for place, figure in enumerate(worn))
    hour = key.machine, key.hour
    hours[hour] = (hours.get(hour, 0) + mark) % _MIXED


def _kept(wanted: str = "true", *given: Any) -> Iterator[tuple[CutKey, Worn]]:
    width = len(CutKey._fields)
    columns = f"{_KEY}, {', '.join(Worn._fields)}"
    query = (
        f"SELECT {columns} FROM cut_sum WHERE {wanted} AND ({_KEY}) > ({_MARKS})"  # noqa: S608 - names of ours
        f" ORDER BY {_KEY} LIMIT {_AT_A_TIME}"
    )
    after: tuple[Any, ...] = ("", -1, 0, "", 0, 0, 0)
    while rows := ask(query, *given, *after):
        yield from ((CutKey(*row[:width]), Worn(*row[width:])) for row in rows)
        after = rows[-1][:width]


_MARKS: Final = ", ".join(["%s"] * len(CutKey._fields))


def _differences_in(hour: _Hour) -> Iterator[CutDifference]:
    machine, number = hour
    counted: dict[CutKey, Worn] = {}
    write_time: Callable[[Any], Any] = Event.corrected_at.db_value
    ends = write_time(begin_of(number)), write_time(begin_of(number + 1))
    within = "type = 'cuts.made' AND machine = %s AND corrected_at >= %s AND corrected_at < %s"
    for event in standing(within, machine, *ends):
        _count(counted, event)
    kept = dict(_kept("machine = %s AND hour = %s", machine, number))
    for key in sorted({*kept, *counted}):
        figures = zip(Worn._fields, kept.get(key, NOTHING), counted.get(key, NOTHING), strict=True)
        yield from (CutDifference(key, name, was, right) for name, was, right in figures if was != right)


def _count(sums: dict[CutKey, Worn], event: Standing) -> None:
    added = added_by(event.type, event.payload, event.at)
    if added is not None:
        key, worn = added
        sums[key] = sums.get(key, NOTHING).plus(worn)


class CutDifference(NamedTuple):
    """A sum that is not what a recount gives."""

    key: CutKey
    measure: str
    kept: int
    counted: int


def rebuild() -> None:
    """Put a recount in the place of the kept sums, within the caller's transaction."""
    tell("DELETE FROM cut_sum")
    sums: dict[CutKey, Worn] = {}
    for event in standing("type = 'cuts.made'"):
        _count(sums, event)
        if len(sums) >= _MOST_HELD:
            adding(sums)()
            sums.clear()
    adding(sums)()


_AT_A_TIME: Final = 2000
_MOST_HELD: Final = 20_000
