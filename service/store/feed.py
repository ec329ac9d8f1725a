"""The feed: what changed since a reader last asked, in the order of positions.

A reader asks from a position on and is told every record that changed since, as it is now. A reader
that begins gets a first pull: what stands, page by page, without deletions and without old plans; all
that changes while it reads comes after. Deletions are told until they are forgotten; a position from
before that is refused, and the reader begins anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from peewee import fn

from service.store import records
from service.store.ages import Ages
from service.store.models import Centre, Departure, Pulled, Record

PAGE_LETTERS: Final = 4_000_000
"""About how much a page of the feed may hold; a single larger record still comes, alone."""

_AT_A_TIME: Final = 500
_NOTED_AGAIN_AFTER: Final = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a reader is: it has everything up to `position`, of a first pull that goes to `first_to`."""

    position: int = 0
    first_to: int = 0


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of the feed; `document` is None when the record is gone for this reader."""

    kind: str
    key: str
    revision: int
    document: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class Page:
    """A page of the feed, and the place to ask from next."""

    changes: tuple[Change, ...]
    place: Place
    more: bool

    @property
    def position(self) -> int:
        """How far the reader has the feed."""
        return self.place.position


class PlaceGone(Exception):  # noqa: N818 - reads as what it says
    """Deletions after this place are forgotten; the reader must begin anew."""


class PlaceAhead(PlaceGone):
    """The place lies beyond all that the centre has: its database is one of an earlier time."""


def begin() -> Place:
    """The place of a reader that has nothing."""
    return Place(0, int(Centre.get_by_id(1).position))


def changes(
    place: Place | int,
    *,
    site: str | None,
    everything: bool = False,
    limit: int = 200,
    plans_since: datetime | None = None,
) -> Page:
    """A page of the feed.

    Parameters
    ----------
    site
        The reader's site: it sees this site's records and those of no site.
    everything
        For a reader who sees all sites.
    plans_since
        In a first pull, plans that were last changed before this are left out; None: none is.

    Raises
    ------
    PlaceGone
        When the place lies before what is remembered of deletions, or is a :class:`PlaceAhead`.
    """
    if isinstance(place, int):
        place = Place(place)
    # The top is read first: what commits later lies above it and comes with the next page.
    centre = Centre.get_by_id(1)
    top: int = centre.position
    if max(place.position, place.first_to) > top:
        # No reader was ever given such a place by what stands here now. To let it wait until positions
        # have caught up would leave out whatever changes until then.
        raise PlaceAhead
    if place.first_to > place.position:
        page = _first_page(place, top, _seen(site, everything), limit, plans_since)
    else:
        page = _next_page(place.position, top, site, everything, limit)
    # Read after the page: what was forgotten while it was read is not in it.
    horizon: int = Centre.get_by_id(1).horizon
    if max(place.position, place.first_to) < horizon:
        raise PlaceGone
    return page


def _seen(site: str | None, everything: bool) -> Any:
    return None if everything else (Record.site == site) | Record.site.is_null()


def _first_page(place: Place, top: int, seen: Any, limit: int, plans_since: datetime | None) -> Page:
    wanted = (Record.position > place.position) & (Record.position <= place.first_to)
    wanted &= Record.deleted == False  # noqa: E712 - SQL
    if plans_since is not None:
        wanted &= (Record.kind != "plan") | (Record.changed_at >= plans_since)
    if seen is not None:
        wanted &= seen
    found, more = _records(wanted, limit)
    changes = tuple(change for _, change in found)
    if more:
        return Page(changes, Place(found[-1][0], place.first_to), True)
    return Page(changes, Place(place.first_to), place.first_to < top)


def _next_page(
    after: int,
    top: int,
    site: str | None,
    everything: bool,
    limit: int,
) -> Page:
    wanted = (Record.position > after) & (Record.position <= top)
    seen = _seen(site, everything)
    if seen is not None:
        wanted &= seen
    found, more = _records(wanted, limit)
    # Departures as far as the records of this page go.
    to = found[-1][0] if more else top
    if not everything:
        gone = _departed(after, to, site, limit + 1)
        found = sorted([*found, *gone], key=lambda entry: entry[0])
        if len(found) > limit:
            found, more = found[:limit], True
            to = found[-1][0]
    return Page(tuple(change for _, change in found), Place(to if more else max(top, after)), more)


def _records(wanted: Any, limit: int) -> tuple[list[tuple[int, Change]], bool]:
    """The next records, no more than fit a page, and whether there are more."""
    limit = _fitting(wanted, limit)
    rows = list(Record.select().where(wanted).order_by(Record.position).limit(limit + 1))
    found = [
        (row.position, Change(row.kind, row.key, row.revision, None if row.deleted else row.document))
        for row in rows[:limit]
    ]
    return found, len(rows) > limit


def _fitting(wanted: Any, limit: int) -> int:
    """How many of the next records, at least one, stay within the size of a page."""
    size = 0
    sizes: Any = Record.select(fn.LENGTH(Record.document)).where(wanted).order_by(Record.position)
    for count, (length,) in enumerate(sizes.limit(limit).tuples()):
        size += length
        if count and size > PAGE_LETTERS:
            return count
    return limit


def _departed(after: int, to: int, site: str | None, limit: int) -> list[tuple[int, Change]]:
    """What is no longer seen from this site; a record that came back, or to all sites, is not gone."""
    here = Record.select(Record.key).where(
        Record.kind == Departure.kind,
        Record.key == Departure.key,
        (Record.site == site) | Record.site.is_null(),
    )
    left = (
        Departure.select()
        .where(Departure.position > after, Departure.position <= to)
        .where((Departure.site == site) | Departure.site.is_null(), ~fn.EXISTS(here))
        .order_by(Departure.position)
        .limit(limit)
    )
    return [(row.position, Change(row.kind, row.key, row.revision, None)) for row in left]


def note_pull(station: str, site: str, place: Place, *, now: datetime, clock_ahead: timedelta | None) -> None:
    """Note how far a station has the feed, and what its clock says; not more often than makes sense."""
    ahead = None if clock_ahead is None else round(clock_ahead / timedelta(milliseconds=1))
    before = Pulled.get_or_none(Pulled.station == station)
    if before is not None and before.position == place.position:
        recent = now - before.heard_at < _NOTED_AGAIN_AFTER
        if recent and (ahead is None or before.clock_ahead_ms is not None):
            return
    if ahead is None and before is not None:
        ahead = before.clock_ahead_ms
    values = {"site": site, "heard_at": now, "position": place.position, "clock_ahead_ms": ahead}
    Pulled.insert(station=station, **values).on_conflict(
        conflict_target=[Pulled.station],
        update={getattr(Pulled, name): value for name, value in values.items()},
    ).execute()


def pulled(station: str) -> Any | None:
    """When a station last asked for records; None when it never did."""
    return Pulled.get_or_none(Pulled.station == station)


def forget_deletions(ages: Ages, now: datetime, *, most: int = _AT_A_TIME) -> int:
    """Forget deletions and moves that are older than their age, and set the horizon to the last of them.

    Returns
    -------
    How many were forgotten; `most` when there may be more.
    """
    before = now - ages.days("deletions")
    with records.writing():
        gone = list(
            Record.select(Record.kind, Record.key, Record.position)
            .where(Record.deleted == True, Record.changed_at < before)  # noqa: E712 - SQL
            .order_by(Record.position)
            .limit(most)
        )
        left = list(
            Departure.select(Departure.id, Departure.position)
            .where(Departure.moved_at < before)
            .order_by(Departure.position)
            .limit(most - len(gone))
        )
        if not gone and not left:
            return 0
        for row in gone:
            Record.delete().where(Record.kind == row.kind, Record.key == row.key).execute()
        Departure.delete().where(Departure.id.in_([row.id for row in left])).execute()
        last = max([row.position for row in gone] + [row.position for row in left])
        Centre.update(horizon=last).where(Centre.id == 1, Centre.horizon < last).execute()
    return len(gone) + len(left)


def remove_old_plans(ages: Ages, now: datetime, *, most: int = _AT_A_TIME) -> int:
    """Delete plans that are older than their age; none when no age is set."""
    if not ages.plans:
        return 0
    old = (
        Record.select(Record.key)
        .where(Record.kind == "plan", Record.deleted == False)  # noqa: E712 - SQL
        .where(Record.changed_at < now - ages.days("plans"))
        .order_by(Record.position)
        .limit(most)
    )
    removed = [records.remove("plan", row.key, by="retention", now=now) for row in list(old)]
    return sum(kept is not None for kept in removed)
