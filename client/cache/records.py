"""The cache: records as the centre last sent them. May be deleted at will."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, cast

from marshmallow import EXCLUDE, Schema, ValidationError

from client.cache.bodies import json_object
from client.cache.sqlite import META, Sqlite
from client.changes import changed_fields
from client.errors import CacheDamaged, StoreFailed
from client.home import Home
from schemas.problems import field_errors
from schemas.records import MachineSchema, MaterialSchema, StockSchema
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import StockItem

_MIGRATIONS: Final[tuple[tuple[str, ...], ...]] = (
    (
        META,
        """CREATE TABLE record (
            kind TEXT NOT NULL,
            id TEXT NOT NULL,
            revision INTEGER NOT NULL,
            sweep INTEGER NOT NULL,
            body TEXT NOT NULL,
            PRIMARY KEY (kind, id)
        ) STRICT, WITHOUT ROWID""",
    ),
    # The SHA-256 of a record as it came; none of records that an earlier version took.
    ("ALTER TABLE record ADD COLUMN sum TEXT",),
)


@dataclass(frozen=True, slots=True)
class Change:
    """What a pull changed. `fields` are the names of fields that differ, for records that were there."""

    kind: str
    id: str
    what: str
    fields: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Position:
    """How far the feed was read, in which life of the centre, and in which sweep of the cache."""

    cursor: str | None
    centre_epoch: str | None
    sweep: int


class Records:
    """The cache of one workstation, opened."""

    def __init__(self, home: Home, *, reading: bool = False) -> None:
        home.make()
        self.home = home
        self.sql = Sqlite(home.cache_file, _MIGRATIONS, durable=False, reading=reading)

    def close(self) -> None:
        """Close this thread's connection."""
        self.sql.close()

    # --- reading -------------------------------------------------------------------------------

    def record(self, kind: str, record_id: str) -> dict[str, Any] | None:
        """One record.

        Raises
        ------
        CacheDamaged
            When it is not as it came any more; so do all that read records.
        """
        found = self.sql.row("SELECT body, sum FROM record WHERE kind = ? AND id = ?", kind, record_id)
        return None if found is None else _whole(kind, record_id, *found)

    def revision(self, kind: str, record_id: str) -> int:
        """Revision of a record; 0 when it is not here."""
        found = self.sql.value("SELECT revision FROM record WHERE kind = ? AND id = ?", kind, record_id)
        return cast("int", found or 0)

    def records(self, kind: str) -> list[tuple[str, dict[str, Any]]]:
        """All records of a kind with their ids, by id."""
        found = self.sql.rows("SELECT id, body, sum FROM record WHERE kind = ? ORDER BY id", kind)
        return [(record_id, _whole(kind, record_id, body, sum_then)) for record_id, body, sum_then in found]

    def damaged(self) -> list[str]:
        """Records that are not as they came any more, by kind and id."""
        found = self.sql.rows("SELECT kind, id, body, sum FROM record ORDER BY kind, id")
        return [f"{kind} {record_id}" for kind, record_id, *kept in found if _sound(*kept) is None]

    def counts(self) -> dict[str, int]:
        """Number of records by kind."""
        return dict(self.sql.rows("SELECT kind, count(*) FROM record GROUP BY kind ORDER BY kind"))

    def machine(self, machine_id: str) -> Machine | None:
        """A machine profile."""
        body = self.record("machine", machine_id)
        return (
            None if body is None else cast("Machine", _understood(MachineSchema, "machine", machine_id, body))
        )

    def machines(self) -> list[Machine]:
        """All machine profiles, by id."""
        return [
            cast("Machine", _understood(MachineSchema, "machine", record_id, body))
            for record_id, body in self.records("machine")
        ]

    def materials(self) -> list[Material]:
        """The shop's own grades."""
        return [
            cast("Material", _understood(MaterialSchema, "material", record_id, body))
            for record_id, body in self.records("material")
        ]

    def stock(self, site: str | None) -> list[StockItem]:
        """Stock as the centre last sent it, of one site (None: of all)."""
        return [
            cast("StockItem", _understood(StockSchema, "stock", record_id, body))
            for record_id, body in self.records("stock")
            if site is None or body.get("site") in {None, site}
        ]

    @property
    def position(self) -> Position:
        """How far the feed was read."""
        return Position(self.sql.meta("cursor"), self.sql.meta("centre_epoch"), self._count("sweep", 1))

    @property
    def settled_to(self) -> int:
        """Row of the store up to which these records include every event."""
        return self._count("settled_to", 0)

    def _count(self, name: str, first: int) -> int:
        kept = self.sql.meta(name)
        if kept is not None and not kept.isdecimal():
            raise CacheDamaged(f"{name} says {kept!r}")
        return first if kept is None else int(kept)

    @property
    def as_of(self) -> str | None:
        """The centre's time at the last complete pull."""
        return self.sql.meta("as_of")

    # --- writing -------------------------------------------------------------------------------

    def take_page(
        self,
        changes: Iterable[Mapping[str, Any]],
        *,
        cursor: str,
        centre_epoch: str,
        last: bool,
        server_time: str,
        settled_to: int,
    ) -> list[Change]:
        """Take a page of the change feed and its cursor, together.

        Parameters
        ----------
        changes
            As the contract has them.
        cursor, centre_epoch, server_time
            As the page says.
        last
            Whether the page ends the feed: records that were not sent since a resync began then go.
        settled_to
            Row of the store up to which events were acknowledged before the pull began.
        """
        done: list[Change] = []
        with self.sql.transaction():
            sweep = self.position.sweep
            for change in changes:
                told = self._take(change, sweep)
                if told is not None:
                    done.append(told)
            self.sql.set_meta("cursor", cursor)
            self.sql.set_meta("centre_epoch", centre_epoch)
            if last:
                stale = self.sql.rows("SELECT kind, id FROM record WHERE sweep < ? ORDER BY kind, id", sweep)
                if self.sql.meta("resync") is not None:
                    for kind, record_id in stale:
                        self.sql.run("DELETE FROM record WHERE kind = ? AND id = ?", kind, record_id)
                        done.append(Change(kind, record_id, "gone"))
                    self.sql.set_meta("resync", None)
                self.sql.set_meta("as_of", server_time)
                self.sql.set_meta("settled_to", str(settled_to))
        return done

    def settle_to(self, row: int) -> None:
        """Say that events after a row are not in these records."""
        self.sql.set_meta("settled_to", str(row))

    def begin_resync(self) -> None:
        """Read the feed from its beginning. Records stay in use until the whole feed has come in."""
        with self.sql.transaction():
            self.sql.set_meta("cursor", None)
            self.sql.set_meta("centre_epoch", None)
            highest = self.sql.value("SELECT coalesce(max(sweep), 0) FROM record")
            self.sql.set_meta("sweep", str(highest + 1))
            self.sql.set_meta("resync", "running")

    def _take(self, change: Mapping[str, Any], sweep: int) -> Change | None:
        kind, record_id = change["kind"], change["id"]
        row = self.sql.row("SELECT body, sum FROM record WHERE kind = ? AND id = ?", kind, record_id)
        # One that is damaged is new when it comes again.
        before = None if row is None else _sound(*row)
        if change["deleted"]:
            self.sql.run("DELETE FROM record WHERE kind = ? AND id = ?", kind, record_id)
            return Change(kind, record_id, "gone") if row is not None else None
        after = change["record"]
        body = json.dumps(after)
        self.sql.run(
            "INSERT INTO record (kind, id, revision, sweep, body, sum) VALUES (?, ?, ?, ?, ?, ?)"
            " ON CONFLICT (kind, id) DO UPDATE SET"
            " revision = excluded.revision, sweep = excluded.sweep, body = excluded.body, sum = excluded.sum",
            kind,
            record_id,
            change["revision"],
            sweep,
            body,
            _sum(body),
        )
        if before is None:
            return Change(kind, record_id, "new")
        differing = changed_fields(before, after)
        return Change(kind, record_id, "changed", differing) if differing else None


def _whole(kind: str, record_id: str, body: str, sum_then: str | None) -> dict[str, Any]:
    found = _sound(body, sum_then)
    if found is None:
        raise CacheDamaged(f"the {kind} {record_id} is not as it came any more")
    return found


def _sound(body: str, sum_then: str | None) -> dict[str, Any] | None:
    """A record as it came; None: it changed on the disk."""
    if sum_then is not None and sum_then != _sum(body):
        return None
    return json_object(body)


def _sum(body: str) -> str:
    return hashlib.sha256(body.encode("utf-8", "surrogatepass")).hexdigest()


def _understood(schema: type[Schema], kind: str, record_id: str, body: Mapping[str, Any]) -> Any:
    try:
        # What a newer centre adds to a record (who changed it, when) is no concern of a plan.
        return schema(unknown=EXCLUDE).load(body)
    except ValidationError as error:
        said = "; ".join(f"{e.pointer}: {e.message}" for e in field_errors(error.messages))
        raise StoreFailed(
            f"the {kind} {record_id} from the centre is not understood here ({said}); "
            "this workstation may need an update"
        ) from error
