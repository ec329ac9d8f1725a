"""One workstation, opened: its settings, what it wrote down, and the records it works from."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, tzinfo
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from client.cache.outbox import Outbox
from client.cache.plans import kept_plan, kept_plans
from client.cache.records import Records
from client.cache.stock import open_changes, rack_now
from client.errors import CacheDamaged, ClientError, DiskFull, InputWrong, NotSetUp, StoreFailed
from client.home import Home, StationSettings
from client.wire import PLAN_S, Wire
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.materials_table import UnknownMaterial, material_named
from service.engine.order import StockItem

_SHORTEST_ID = 4
"""Letters of a plan's id that are wanted at least."""


@dataclass(frozen=True, slots=True)
class Workstation:
    """Settings, store and cache of one workstation."""

    home: Home
    settings: StationSettings
    outbox: Outbox
    records: Records
    sure: bool = False
    """Whether the operator stands by figures that look wrong."""
    full: DiskFull | None = None
    """Why it is open for reading only; None: it is open for writing."""

    def zone(self) -> tzinfo:
        """The time zone of this station's site; UTC where it is not known here."""
        try:
            site = self.records.record("site", self.settings.site) or {}
            return ZoneInfo(str(site["time_zone"]))
        except (KeyError, ValueError, OSError, CacheDamaged):
            return UTC  # nothing was pulled yet, or this computer does not know the zone

    def wire(self) -> Wire:
        """The way to its service."""
        return Wire(self.settings.server, self.home.token(), now=self.outbox.now)

    def plan_wire(self) -> Wire:
        """The way to its service for planning there."""
        return Wire(self.settings.server, self.home.plan_token(), timeout_s=PLAN_S)

    def rack(self, site: str | None = None) -> list[StockItem]:
        """Sheets and offcuts at a site as they are now, with what was done here since the last pull."""
        records = self.records.stock(site or self.settings.site)
        return rack_now(records, open_changes(self.outbox.sql, self.records.settled_to))

    def rack_of(self, machine: Machine) -> list[StockItem]:
        """What a plan for this machine may be cut from."""
        if machine.site is None:
            return []  # as at the centre, where stock lies at sites
        return [item for item in self.rack(machine.site) if item.quantity > 0]

    def machine(self, machine_id: str) -> Machine:
        """A machine by its id.

        Raises
        ------
        InputWrong
            When it is not in the cache; the message names those that are.
        NotSetUp
            When there are none at all.
        """
        found = self.records.machine(machine_id)
        if found is None:
            known = ", ".join(record_id for record_id, _ in self.records.records("machine"))
            if not known:
                raise self.lacking("machines")
            raise InputWrong(f"no machine is known by the id {machine_id!r}; known are {known}")
        return found

    def lacking(self, what: str) -> NotSetUp:
        """The error of a cache that is empty, or lacks a kind of record."""
        why = "nothing was pulled yet, or the cache was deleted" if self.records.as_of is None else ""
        return NotSetUp(
            f"there are no records of {what} here{': ' + why if why else ''}; run shearwright pull"
        )

    def material(self, grade: str) -> Material:
        """A grade by its name: the shop's own first.

        Raises
        ------
        InputWrong
            When it is not known.
        """
        try:
            return material_named(grade, self.records.materials())
        except UnknownMaterial as error:
            if self.records.as_of is None:
                raise self.lacking(f"{grade!r} and other grades of the shop") from error
            raise InputWrong(str(error)) from error

    def plan_named(self, start: str) -> str:
        """The whole id of the plan whose id begins so.

        Raises
        ------
        InputWrong
            When none does, or several do.
        """
        known = {plan.id for plan in kept_plans(self.outbox.sql)}
        known |= {plan_id for plan_id, _ in self.records.records("plan")}
        if start in known:
            return start
        found = sorted(
            plan_id for plan_id in known if plan_id.startswith(start) and len(start) >= _SHORTEST_ID
        )
        if len(found) == 1:
            return found[0]
        if found:
            raise InputWrong(f"{start!r} may be {' or '.join(found)}; write more of it")
        if len(start) < _SHORTEST_ID:
            raise InputWrong(
                f"at least {_SHORTEST_ID} letters of a plan's id are wanted, not {start!r}; "
                "shearwright plans lists them"
            )
        raise InputWrong(f"no plan is known by the id {start!r}; shearwright plans lists them")

    def plan_document(self, plan_id: str) -> dict[str, Any]:
        """A plan made here or at the centre.

        Raises
        ------
        InputWrong
            When there is none by that id.
        StoreFailed
            When the one kept here is damaged, and the centre's is not here.
        """
        try:
            found = kept_plan(self.outbox.sql, plan_id)
        except StoreFailed:
            # Damaged; the same plan may have come from the centre.
            found = self.records.record("plan", plan_id)
            if found is None:
                raise
            return found
        found = found or self.records.record("plan", plan_id)
        if found is None:
            raise InputWrong(f"no plan is known by the id {plan_id!r}; shearwright plans lists them")
        return found

    def settled(self) -> Workstation:
        """Bring the cache in line with the store; the workstation itself.

        A store that was put back gives out row numbers again; the cache, which did not go back, would
        take new events for ones that its records include.
        """
        last = self.outbox.last_row()
        if self.records.settled_to > last:
            self.records.settle_to(last)
        return self

    def close(self) -> None:
        """Close this thread's connections."""
        self.outbox.close()
        self.records.close()


@contextmanager
def workstation_at(home: Home, *, sure: bool = False, reading: bool = False) -> Iterator[Workstation]:
    """Open the workstation of a folder; for one who is only `reading`, a full disk is no hindrance.

    Raises
    ------
    NotSetUp, StoreFailed, StoreBusy
        When it cannot be opened.
    """
    settings = home.settings()
    try:
        station = _opened(home, settings, sure)
    except DiskFull as full:
        if not reading:
            raise
        station = _opened_for_reading(home, settings, full)
    try:
        yield station
    finally:
        station.close()


def _opened(home: Home, settings: StationSettings, sure: bool) -> Workstation:
    with ExitStack() as opened:
        outbox = Outbox(home, settings.station)
        opened.callback(outbox.close)
        records = _records(home, outbox)
        opened.callback(records.close)
        station = Workstation(home, settings, outbox, records, sure).settled()
        opened.pop_all()
    return station


def _records(home: Home, outbox: Outbox) -> Records:
    """The cache; one that cannot even be opened is put aside, so that work and sending go on."""
    try:
        records = Records(home)
        try:
            _ = records.settled_to
        except CacheDamaged:
            records.close()
            raise
        return records
    except CacheDamaged:
        with home.writing():
            aside = put_cache_aside(home)
        outbox.notice = (
            f"what the centre sent could not be read any more and was put aside as {aside}; shearwright pull "
            "fetches it anew"
        )
        return Records(home)


def put_cache_aside(home: Home) -> Path:
    """Make room for a new cache; the file as it was, which nothing needs.

    Raises
    ------
    StoreFailed
        When it cannot be moved.
    """
    aside = home.cache_file.with_name(f"{home.cache_file.name}.damaged")
    try:
        for end in ("-wal", "-shm"):
            Path(f"{home.cache_file}{end}").unlink(missing_ok=True)
        if home.cache_file.exists():
            home.cache_file.replace(aside)
    except OSError as error:
        raise StoreFailed(f"{home.cache_file} cannot be moved: {error.strerror}") from error
    return aside


def _opened_for_reading(home: Home, settings: StationSettings, full: DiskFull) -> Workstation:
    try:
        outbox = Outbox(home, settings.station, reading=True)
        try:
            return Workstation(home, settings, outbox, Records(home, reading=True), full=full)
        except ClientError:
            outbox.close()
            raise
    except ClientError as error:
        raise full from error
