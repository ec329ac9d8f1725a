"""Records that go down to the stations; :mod:`service.store.feed` tells of their changes.

Every write takes the next feed position from the one row of ``centre`` in its own transaction. That
row stays locked until the commit, so positions become visible in the order they were given, and a
reader can never pass one that commits late.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime
from typing import Any, Final, NamedTuple
from uuid import uuid4

from peewee import SQL

from service.store import bulk
from service.store.blade_states import set_by_hand
from service.store.database import Question, ask, database, tell, together
from service.store.models import BladeSet, Centre, Departure, Record, Version

VERSIONED: Final = frozenset({"machine", "program"})
"""Kinds of which every revision is kept, and every write that came too late."""


class Kept(NamedTuple):
    """A record as it stands.

    `revision` counts from 1 and goes on over a deletion. The revisions from `run_from` on were all
    written by the station that `changed_by` names; it is one more than `revision` when none wrote that.
    `by_hand`: the one by which the pieces of a stock item were last counted, or set by hand; `counted_at`
    when that was, unless it was when the item was entered.
    """

    kind: str
    key: str
    site: str | None
    revision: int
    deleted: bool
    document: dict[str, Any]
    changed_by: str
    run_from: int
    by_hand: int | None = None
    counted_at: datetime | None = None


class StaleRevision(Exception):  # noqa: N818 - reads as what it says
    """The record does not stand at the expected revision. `kept` is what stands, None when nothing does."""

    def __init__(self, kept: Kept | None) -> None:
        super().__init__("the record has changed")
        self.kept = kept


def centre_epoch() -> str:
    """The epoch of the centre: another one after it was restored from a backup."""
    [(epoch,)] = ask("SELECT epoch FROM centre WHERE id = 1")
    return str(epoch)


def renew_epoch() -> str:
    """Give the centre a new epoch, after its database was put back from a backup."""
    epoch = str(uuid4())
    Centre.update(epoch=epoch).where(Centre.id == 1).execute()
    return epoch


@contextmanager
def writing() -> Iterator[None]:
    """Within this block nobody else writes: what is read here still holds when it is acted on."""
    with ExitStack() as transaction:
        with together():
            transaction.enter_context(database.atomic())
            lock_writes()
        yield


def lock_writes() -> None:
    """Wait for other writers, and keep them waiting until this transaction ends.

    Every transaction that writes records or events begins with this, so that they can never wait
    for each other in a ring.
    """
    if not database.in_transaction():
        raise RuntimeError("lock_writes is called within a transaction")
    tell("UPDATE centre SET position = position WHERE id = 1")


def find(kind: str, key: str, *, deleted_too: bool = False) -> Kept | None:
    """The record of that kind and key."""
    kept = next(_where("kind = %s AND key = %s", kind, key), None)
    return None if kept is None or (kept.deleted and not deleted_too) else kept


def text(kind: str, key: str) -> str | None:
    """The document of a record as its text; None when there is none or it was deleted."""
    rows = ask("SELECT document FROM record WHERE kind = %s AND key = %s AND NOT deleted", kind, key)
    return rows[0][0] if rows else None


def texts(kind: str) -> list[str]:
    """The documents of every record of a kind as their texts, in the order of their keys."""
    return [
        row[0]
        for row in ask("SELECT document FROM record WHERE kind = %s AND NOT deleted ORDER BY key", kind)
    ]


def asked_for(kinds: Iterable[str], keys: Iterable[str]) -> Question:
    """The question for records of these kinds that have one of these keys, deleted ones too."""
    (of_kinds, these), (of_keys, those) = bulk.among("kind", sorted(kinds)), bulk.among("key", sorted(keys))
    return _question(f"{of_kinds} AND {of_keys}", *these, *those)


def asked_for_all(kind: str) -> Question:
    """The question for all records of a kind."""
    return _question("kind = %s AND NOT deleted ORDER BY key", kind)


def listed(kind: str, *, after: str = "", limit: int | None = None, site: str | None = None) -> list[Kept]:
    """Records of a kind in the order of their keys, those after `after`."""
    wanted, given = "kind = %s AND NOT deleted", [kind]
    if after:
        wanted, given = wanted + " AND key > %s", [*given, after]
    if site is not None:
        wanted, given = wanted + " AND site = %s", [*given, site]
    some = "" if limit is None else f" LIMIT {limit:d}"
    return list(_where(f"{wanted} ORDER BY key{some}", *given))


def write(
    kind: str,
    key: str,
    document: dict[str, Any],
    *,
    site: str | None,
    by: str,
    now: datetime,
    expected: int | None = None,
    counted: bool = False,
) -> Kept:
    """Write a record and tell the feed.

    Parameters
    ----------
    expected
        The revision that must stand; 0: there must be none; None: whatever stands.
    counted
        Whether the pieces of a stock item were counted, be it that they are as many as before.

    Raises
    ------
    StaleRevision
        When another revision stands.
    """
    with writing():
        before = find(kind, key, deleted_too=True)
        _expect(before, expected)
        revision = before.revision + 1 if before else 1
        # No revision of it is a station's own, whatever the name of the token is like.
        run_from = revision + 1
        by_hand, counted_at = (before.by_hand, before.counted_at) if before else (None, None)
        if kind == "stock" and (counted or _sets_pieces(before, document)):
            by_hand, counted_at = revision, now if before and not before.deleted else None
        kept = Kept(kind, key, site, revision, False, document, by, run_from, by_hand, counted_at)
        write_kept(before, kept, now=now)
        if kind in VERSIONED:
            Version.insert(**version_of(kept, now)).execute()
        if kind == "blade":
            was = None if before is None or before.deleted else before.document
            by_a_person = set_by_hand(key, revision, was, document)
            bulk.insert(BladeSet, [] if by_a_person is None else [by_a_person])
    return kept


def _sets_pieces(before: Kept | None, document: dict[str, Any]) -> bool:
    return before is None or before.deleted or before.document["quantity"] != document["quantity"]


def version_of(kept: Kept, now: datetime) -> dict[str, Any]:
    """A revision as it is kept when others have followed."""
    return {
        "kind": kept.kind,
        "key": kept.key,
        "revision": kept.revision,
        "document": kept.document,
        "written_by": kept.changed_by,
        "written_at": now,
        "stale": False,
    }


def keep_stale(
    kind: str, key: str, document: dict[str, Any], *, based_on: int, by: str, now: datetime
) -> int:
    """Keep a write that came too late as a copy that a person can see; the same again is kept once."""
    with writing():
        late = Version.select().where(
            Version.kind == kind,
            Version.key == key,
            Version.revision == based_on,
            Version.stale == True,  # noqa: E712 - SQL
            Version.written_by == by,
        )
        for row in late.order_by(Version.id):
            if row.document == document:
                return int(row.id)
        values = version_of(Kept(kind, key, None, based_on, False, document, by, based_on), now)
        return int(Version.create(**{**values, "stale": True}).id)


def versions(kind: str, key: str, after: int, limit: int) -> list[Any]:
    """Revisions of a record and late writes to it, in the order they came."""
    rows = Version.select().where(Version.kind == kind, Version.key == key, Version.id > after)
    return list(rows.order_by(Version.id).limit(limit))


def write_kept(before: Kept | None, kept: Kept, *, now: datetime) -> None:
    """Write down what a record has become, and tell the feed; within a transaction that holds the lock."""
    _take_position()
    tell(
        _SAVE,
        *(kept.kind, kept.key, kept.site, kept.revision, _WRITE_DOCUMENT(kept.document)),
        *(_WRITE_TIME(now), kept.changed_by, kept.run_from, kept.by_hand, _WRITE_TIME(kept.counted_at)),
    )
    if before is not None:
        _tell_departure(before, kept.site, kept.revision, now)


_WRITE_DOCUMENT: Final[Callable[[Any], Any]] = Record.document.db_value
_WRITE_TIME: Final[Callable[[Any], Any]] = Record.counted_at.db_value

_SAVE: Final = (
    "INSERT INTO record (kind, key, site, revision, document, changed_at, changed_by, run_from, by_hand,"
    " counted_at, deleted, position)"
    " VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, false, (SELECT position FROM centre WHERE id = 1))"
    " ON CONFLICT (kind, key) DO UPDATE SET site = excluded.site, revision = excluded.revision,"
    " document = excluded.document, changed_at = excluded.changed_at, changed_by = excluded.changed_by,"
    " run_from = excluded.run_from, by_hand = excluded.by_hand, counted_at = excluded.counted_at,"
    " deleted = excluded.deleted, position = excluded.position"
)


def remove(kind: str, key: str, *, by: str, now: datetime, expected: int | None = None) -> Kept | None:
    """Mark a record as deleted and tell the feed; None when there was none.

    Raises
    ------
    StaleRevision
        When another revision stands than `expected`.
    """
    with writing():
        before = find(kind, key)
        if before is None:
            return None
        _expect(before, expected)
        revision = before.revision + 1
        run_from = revision + 1
        _take_position()
        Record.update(
            deleted=True,
            revision=revision,
            run_from=run_from,
            position=_POSITION,
            changed_at=now,
            changed_by=by,
        ).where(Record.kind == kind, Record.key == key).execute()
    return Kept(kind, key, before.site, revision, True, before.document, by, run_from)


def move(kind: str, key: str, site: str | None, *, now: datetime) -> None:
    """Let a record belong to another site and tell the feed; its revision and content stay as they are."""
    with writing():
        before = find(kind, key)
        if before is None or before.site == site:
            return
        _take_position()
        Record.update(site=site, position=_POSITION).where(Record.kind == kind, Record.key == key).execute()
        _tell_departure(before, site, before.revision, now)


def _tell_departure(before: Kept, site: str | None, revision: int, now: datetime) -> None:
    if before.site != site and site is not None:
        _take_position()
        Departure.insert(
            kind=before.kind,
            key=before.key,
            site=before.site,
            revision=revision,
            position=_POSITION,
            moved_at=now,
        ).execute()


def all_of(kind: str, site: str | None = None) -> Iterator[dict[str, Any]]:
    """The documents of every record of a kind."""
    for kept in listed(kind, site=site):
        yield kept.document


def _take_position() -> None:
    tell("UPDATE centre SET position = position + 1 WHERE id = 1")


_POSITION: Final = SQL("(SELECT position FROM centre WHERE id = 1)")
"""The one that was taken last. It is not read first, so that nobody waits for the answer."""


def _expect(before: Kept | None, expected: int | None) -> None:
    standing = before if before is not None and not before.deleted else None
    if expected is not None and expected != (standing.revision if standing else 0):
        raise StaleRevision(standing)


def _where(condition: str, *given: Any) -> Iterator[Kept]:
    """Records that meet a condition of ours."""
    sql, values = _question(condition, *given)
    yield from read(ask(sql, *values))


def _question(condition: str, *given: Any) -> Question:
    # A condition of ours, with marks for what comes from outside.
    return f"SELECT {_COLUMNS} FROM record WHERE {condition}", given  # noqa: S608


def read(rows: Iterable[tuple[Any, ...]]) -> Iterator[Kept]:
    """Records as a question for them is answered."""
    for kind, key, site, revision, deleted, document, changed_by, run_from, by_hand, counted in rows:
        content, at = json.loads(document), None if counted is None else _READ_TIME(counted)
        yield Kept(kind, key, site, revision, bool(deleted), content, changed_by, run_from, by_hand, at)


_COLUMNS: Final = "kind, key, site, revision, deleted, document, changed_by, run_from, by_hand, counted_at"

_READ_TIME: Final[Callable[[Any], Any]] = Record.counted_at.python_value
