"""Looking into the events: what was not applied, stock that does not add up, the story of a blade."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

from peewee import SQL

from service.store import bulk, effects, makers, rack, records, steps
from service.store.chains import sent_as
from service.store.judging import corrected_time, zone_of
from service.store.models import DISMISSED, WAITS, Correction, Discrepancy, Event


@dataclass(frozen=True, slots=True)
class HeldEvent:
    """An event in quarantine, of a type that is not known yet, or applied as a person corrected it."""

    id: int
    state: str
    station: str
    site: str
    received_at: datetime
    event_id: str
    errors: tuple[Mapping[str, str], ...]
    event: Mapping[str, Any]
    corrected_payload: Mapping[str, Any] | None
    corrections: tuple[Any, ...]


def waiting_of(station: str, limit: int) -> list[Any]:
    """Events of a station that are not applied, in the order they came; dismissed ones are settled."""
    return list(
        Event.select(Event.epoch, Event.seq, Event.state, Event.errors)
        .where(WAITS, Event.station == station)
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
            row.event_id,
            tuple(row.errors or ()),
            row.document,
            row.corrected_payload,
            tuple(found[row.id]),
        )
        for row in rows
    ]


_SHOWN: Final[dict[str, Callable[[], Any]]] = {
    "waiting": lambda: WAITS,
    "dismissed": lambda: DISMISSED,
    "corrected": lambda: (
        (Event.state == "applied") & Event.id.in_(Correction.select(Correction.event).distinct())
    ),
}


def count_not_applied(
    *, site: str | None = None, from_day: date | None = None, to_day: date | None = None
) -> int:
    """How many events wait, of a site and of days there; those whose day is not known are of every day."""
    waiting = _SHOWN["waiting"]()
    if site is not None:
        waiting &= Event.site == site
    if from_day is None and to_day is None:
        count: int = Event.select().where(waiting).count()
        return count
    first, last = (from_day or date.min).isoformat(), (to_day or date.max).isoformat()
    wanted = Event.site, Event.day, Event.document, Event.clock_ahead_ms
    days = (_day_of(row) for row in Event.select(*wanted).where(waiting).iterator())
    return sum(day is None or first <= day <= last for day in days)


def _day_of(row: Any) -> str | None:
    """The day of an event at its site; one that was refused for its payload was not given one."""
    if row.day is not None:
        return str(row.day)
    ahead = timedelta(milliseconds=row.clock_ahead_ms)
    at = corrected_time(row.document["happened_at"], ahead)
    return None if at is None else at.astimezone(zone_of(row.site)).date().isoformat()


def discrepancies(after: int, limit: int, show: str = "open") -> list[Any]:
    """What does not add up, in the order it was noted."""
    rows = Discrepancy.select().where(Discrepancy.id > after)
    if show != "all":
        rows = rows.where(Discrepancy.settled_at.is_null(show == "open"))
    return list(rows.order_by(Discrepancy.id).limit(limit))


@dataclass(frozen=True, slots=True)
class StepEvent:
    """An event that counts pieces of a step; `pieces` None: nobody knows how many."""

    event_id: str
    station: str
    at: datetime
    pieces: int | None
    epoch: str
    seq: int


def events_of_steps(rows: Sequence[Any]) -> dict[int, list[StepEvent]]:
    """By the number of each discrepancy of a step, the events that count pieces of that step."""
    of_steps = {row.id: (row.plan_id, row.step) for row in rows if row.plan_id is not None}
    if not of_steps:
        return {}
    text, given = bulk.among("plan_id", sorted({plan_id for plan_id, _ in of_steps.values()}))
    found: dict[tuple[Any, Any], list[StepEvent]] = {}
    for one in (
        Event.select(
            Event.event_id,
            Event.station,
            Event.epoch,
            Event.seq,
            Event.corrected_at,
            Event.plan_id,
            Event.step,
            Event.pieces,
        )
        .where(SQL(text, given), Event.state == "applied")
        .order_by(Event.id)
    ):
        told = StepEvent(one.event_id, one.station, one.corrected_at, one.pieces, one.epoch, one.seq)
        found.setdefault((one.plan_id, one.step), []).append(told)
    return {number: found.get(place, []) for number, place in of_steps.items()}


def entries_of(rows: Sequence[Any]) -> dict[str, Any]:
    """By its event_id, the event for which each discrepancy was noted."""
    if not rows:
        return {}
    text, given = bulk.among("event_id", sorted({row.event_id for row in rows}))
    wanted = Event.event_id, Event.station, Event.site, Event.epoch, Event.seq, Event.corrected_at
    found = Event.select(*wanted).where(SQL(text, given), Event.state != "again").order_by(Event.id.desc())
    return {one.event_id: one for one in found}


def entry_in_words(one: Any | None) -> str:
    """Which entry of which station a discrepancy was noted for, and when that happened."""
    if one is None:
        return "entry not kept"
    when = "" if one.corrected_at is None else f", {moment(one.corrected_at)}"
    return f"{sent_as(one.epoch, one.seq)} of {one.station} at {one.site}{when}"


def moment(at: datetime) -> str:
    """A time as people read it.

    >>> from datetime import UTC
    >>> moment(datetime(2026, 3, 2, 9, 15, tzinfo=UTC))
    '2026-03-02 09:15 UTC'
    """
    return f"{at.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def what_stays(events: Sequence[StepEvent], entry: Any | None) -> list[str]:
    """What settling leaves as it is, and which withdrawals would change it.

    `events` are those that count pieces of the step, `entry` is the one that it was noted for.
    """
    told = [
        "what was logged stays and counts in the reports as before; if an entry is wrong, it is withdrawn "
        "at the station that wrote it: shearwright log withdraw ENTRY --reason … (shearwright log list "
        "--as-sent tells which of its entries is which here)"
    ]
    for one in events:
        pieces = "an unknown number of" if one.pieces is None else one.pieces
        told.append(f"  {sent_as(one.epoch, one.seq)} of {one.station} counts {pieces} of the pieces")
    if not events and entry is not None:
        told.append(f"  it was noted for {entry_in_words(entry)}")
    return told


def about(row: Any) -> str:
    """What a discrepancy is about: stock of a site, or a step of a plan."""
    if row.ref is not None:
        return f"{row.site}/{row.ref}"
    return f"{row.site}/plan {row.plan_id} {steps.in_words(row.step)}"


def in_words(row: Any, events: Sequence[StepEvent]) -> str:
    """What does not add up; `events`: those that count pieces of the step."""
    if row.kind == "stock short":
        return f"taken {row.taken}, on the books {row.on_the_books}"
    if row.kind == "size differs":
        return "; ".join(
            f"{name} {_plain(both['taken'])} taken, {_plain(both['record'])} on the record"
            for name, both in sorted(row.differs.items())
        )
    if row.kind == rack.NO_RECORD:
        return f"{row.taken} put back on the rack, and no record has the name"
    if row.kind == effects.COUNTED_SINCE:
        what = f"{row.taken} taken" if row.taken > 0 else f"{-row.taken} stored"
        return f"{what} before the rack was counted, and told of afterwards; it was {row.on_the_books} then"
    if row.kind == steps.PLAN_DIFFERS:
        both = row.differs["step_pieces"]
        said, others = both["taken"], both["record"]
        return f"an entry has {said} pieces for the step, and the plan or other entries {others}"
    if row.kind == makers.MISSING:
        named = " and ".join(map(str, row.makers))
        return f"pieces cut {row.pieces_cut}, and nothing logged of step {named}, which makes its pieces"
    logged = ", ".join(f"{one.station} {'?' if one.pieces is None else one.pieces}" for one in events)
    return f"pieces cut {row.pieces_cut}, planned {row.pieces_planned} (counted now: {logged or 'none'})"


def _plain(value: float | str) -> str:
    """A size or a grade.

    >>> _plain(2500.0), _plain("S235JR")
    ('2500', 'S235JR')
    """
    return value if isinstance(value, str) else f"{value:g}"


class NothingToCount(Exception):  # noqa: N818 - reads as what it says
    """Pieces were counted for a discrepancy that is not about the rack."""


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
    NothingToCount
        When pieces were counted and it is not about the rack.
    """
    with records.writing():
        row = Discrepancy.get_or_none((Discrepancy.id == number) & Discrepancy.settled_at.is_null())
        if row is None:
            return None
        if row.ref is None and counted is not None:
            raise NothingToCount
        kept = None if row.ref is None else records.find("stock", f"{row.site}/{row.ref}")
        if counted and kept is None:
            raise NoSuchStock(row.ref)
        if counted is not None and kept is not None:
            document = {**kept.document, "quantity": counted}
            records.write("stock", kept.key, document, site=kept.site, by=by, now=now, counted=True)
        Discrepancy.update(
            settled_at=now, settled_by=by, settled_how="person", words=words, counted=counted
        ).where(Discrepancy.id == number).execute()
        return Discrepancy.get_by_id(number)
