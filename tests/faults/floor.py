"""What happens at the benches of a story: logging, syncing, dying, clocks, backups, copies."""

from __future__ import annotations

import contextlib
import random
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import requests
from requests.adapters import BaseAdapter

from client.cache.clock import Ticks
from client.cache.outbox import Outbox
from client.cache.records import Records
from client.cache.sqlite import Sqlite
from client.errors import ClientError, DiskFull, InputWrong
from client.home import Home, StationSettings
from client.log.batch import Batch
from client.log.withdraw import log_withdrawn
from client.sync import SyncReport, sync_once
from client.wire import Patience
from client.workstation import Workstation
from tests.faults.centres import copy_sqlite
from tests.faults.drafts import draft


class Killed(BaseException):
    """The process is gone: nothing catches it, as nothing catches kill -9."""


@dataclass
class Bench:
    """A workstation and what happens to it."""

    name: str
    home: Home
    computer: str
    ahead: timedelta = timedelta()
    cut_off: bool = False
    busy: bool = False
    backups: list[Path] = field(default_factory=list)
    opened: Workstation | None = None
    offcuts: int = 0
    notices: list[str] = field(default_factory=list)


class _Line(BaseAdapter):
    """Hands the requests of one bench to the road."""

    def __init__(self, floor: Floor, bench: Bench) -> None:
        super().__init__()
        self.floor = floor
        self.bench = bench

    def send(self, request: requests.PreparedRequest, *_given: Any, **_more: Any) -> requests.Response:
        return self.floor.carry(self.bench, request)

    def close(self) -> None:
        """Nothing is held open."""


class Floor:
    """The part of a world that sits at the benches."""

    chance: random.Random
    seconds: float
    folder: Path
    tokens: dict[str, str]
    benches: list[Bench]
    promised: dict[str, datetime]
    to_kill: int

    if TYPE_CHECKING:

        def now(self) -> datetime: ...
        def sleep(self, seconds: float) -> None: ...
        def tell(self, words: str) -> None: ...
        def carry(self, bench: Bench, request: requests.PreparedRequest) -> requests.Response: ...
        def excuse_what_is_nowhere(self) -> None: ...

    def new_bench(self, name: str, computer: str) -> Bench:
        home = Home(self.folder / f"{name}-{computer}")
        home.write_settings(StationSettings("http://centre.test", name, "northgate"), self.tokens[name])
        return Bench(name, home, computer)

    def open(self, bench: Bench) -> Workstation:
        if bench.opened is None:
            settings = bench.home.settings()
            outbox = Outbox(
                bench.home,
                bench.name,
                now=lambda: self.now() + bench.ahead,
                ticks=lambda: Ticks("one", self.seconds),
                computer=bench.computer,
            )
            bench.opened = Workstation(bench.home, settings, outbox, Records(bench.home)).settled()
            if outbox.notice:
                self.tell(f"{bench.name}: {outbox.notice}")
                bench.notices.append(outbox.notice)
        return bench.opened

    def close(self, bench: Bench) -> None:
        if bench.opened is not None:
            bench.opened.close()
            bench.opened = None

    def step(self, bench: Bench) -> None:
        """Something happens at a bench, or its process dies of it."""
        if bench.busy:
            return
        bench.busy = True
        try:
            self.chance.choice(_HAPPENINGS)(self, bench)
        except Killed:
            self.close(bench)
        finally:
            self.to_kill = 0
            bench.busy = False

    def log(self, bench: Bench) -> None:
        if self.chance.random() < 0.2:
            self.to_kill = self.chance.randrange(1, 30)
        station = self.open(bench)
        for _ in range(self.chance.randrange(1, 5)):
            self._write_some(station)
            if self.chance.random() < 0.05:
                self.move_clock(bench)
        self.to_kill = 0
        self.seconds += self.chance.random() * 300

    def _write_some(self, station: Workstation) -> None:
        drafts = Batch(station)
        for _ in range(self.chance.randrange(1, 4)):
            draft(self.chance, drafts)
        logged = drafts.write()
        for one in logged.events:
            self.promised[one.event_id] = self.now()

    def fill_disk(self, bench: Bench) -> None:
        """The disk runs full while people log and sync, and somebody makes room."""
        station = self.open(bench)
        stores = station.outbox.sql, station.records.sql
        for one in stores:
            _limit(one, one.value("PRAGMA page_count") + self.chance.randrange(3))
        self.tell(f"{bench.name}: its disk runs full")
        try:
            for _ in range(20):
                before = station.outbox.latest(1)
                try:
                    self._write_some(station)
                except DiskFull:
                    assert station.outbox.latest(1) == before, "something was written, and yet refused"
                    self.tell(f"{bench.name}: no room for an entry")
                    break
            self.sync_sometimes(bench)
        finally:
            if bench.opened is station:
                for one in stores:
                    _limit(one, 1_000_000)

    def withdraw(self, bench: Bench) -> None:
        """Somebody at a bench finds an entry wrong; at a copied bench perhaps for the second time."""
        if self.chance.random() < 0.2:
            self.to_kill = self.chance.randrange(1, 30)
        station = self.open(bench)
        entries = station.outbox.latest(12)
        if not entries:
            return
        # Mostly it is a step that was logged twice.
        cuts = [one for one in entries if one.event["payload"].get("step") is not None]
        chosen = self.chance.choice(cuts if cuts and self.chance.random() < 0.5 else entries)
        with contextlib.suppress(InputWrong):
            logged = log_withdrawn(station, [chosen.row], "found to be wrong")
            for one in logged.events:
                self.promised[one.event_id] = self.now()
            self.tell(f"{bench.name}: {chosen.type} withdrawn")
        self.to_kill = 0

    def sync(self, bench: Bench, **halves: bool) -> SyncReport | ClientError:
        station = self.open(bench)
        wire = station.wire()
        wire._session.mount("http://", _Line(self, bench))
        patience = Patience(
            sleep=self.sleep, clock=lambda: self.seconds, chance=self.chance.random, tries=3, total_s=900
        )
        try:
            found: SyncReport | ClientError = sync_once(station, wire=wire, patience=patience, **halves)
        except ClientError as error:
            found = error
        finally:
            wire.close()
        return found

    def sync_sometimes(self, bench: Bench) -> None:
        if self.chance.random() < 0.2:
            self.to_kill = self.chance.randrange(1, 120)
        halves = self.chance.choice([{}, {}, {}, {"pull": False}, {"push": False}])
        found = self.sync(bench, **halves)
        self.to_kill = 0
        told = found if isinstance(found, ClientError) else found.problem or "done"
        self.tell(f"{bench.name}: sync: {told}")
        if not isinstance(found, ClientError):
            for notice in found.notices:
                self.tell(f"{bench.name}: {notice}")

    def reopen(self, bench: Bench) -> None:
        self.close(bench)
        self.open(bench)

    def kill_now(self, bench: Bench) -> None:
        raise Killed

    def move_clock(self, bench: Bench) -> None:
        # An hour is what a clock is off by that does not know of summer time.
        hours = self.chance.choice([-3, -1, 1, 24, -24, -24 * 400, 24 * 4000, 0])
        bench.ahead = timedelta(hours=hours)
        self.tell(f"{bench.name}: its clock is now {hours} h off")

    def toggle_network(self, bench: Bench) -> None:
        bench.cut_off = not bench.cut_off
        self.tell(f"{bench.name}: {'cut off' if bench.cut_off else 'connected'}")

    def offer_aside(self, bench: Bench) -> None:
        self.open(bench).outbox.retry_aside()

    def back_up_bench(self, bench: Bench) -> None:
        self.open(bench)
        place = self.folder / f"backup-{bench.home.folder.name}-{len(bench.backups)}"
        place.mkdir()
        copy_sqlite(bench.home.store_file, place / "station.sqlite3")
        shutil.copy(bench.home.mark_file, place / "mark.json")
        bench.backups.append(place)

    def restore_bench(self, bench: Bench) -> None:
        if not bench.backups or self.chance.random() < 0.5:
            return
        self.close(bench)
        place = self.chance.choice(bench.backups)
        for end in ("", "-wal", "-shm"):
            Path(f"{bench.home.store_file}{end}").unlink(missing_ok=True)
        shutil.copy(place / "station.sqlite3", bench.home.store_file)
        with_mark = self.chance.random() < 0.5
        if with_mark:
            shutil.copy(place / "mark.json", bench.home.mark_file)
        self.tell(f"{bench.name}: put back from {place.name}, {'with' if with_mark else 'without'} its mark")
        self.excuse_what_is_nowhere()

    def copy_laptop(self, bench: Bench) -> None:
        if len(self.benches) > 4 or self.chance.random() < 0.6:
            return
        self.close(bench)
        same_computer = self.chance.random() < 0.5
        twin = self.new_bench(bench.name, f"copy-{len(self.benches)}")
        for name in ("station.sqlite3", "mark.json"):
            source = bench.home.folder / name
            if not source.exists():
                return
        copy_sqlite(bench.home.store_file, twin.home.store_file)
        shutil.copy(bench.home.mark_file, twin.home.mark_file)
        if same_computer:
            twin.computer = bench.computer
        self.benches.append(twin)
        self.tell(f"{bench.name}: copied to {twin.home.folder.name}, {'same' if same_computer else 'other'}")


def _limit(one: Sqlite, pages: int) -> None:
    """Let a store grow to so many pages, as a disk does that has no more room."""
    one.value(f"PRAGMA max_page_count = {pages}")


_HAPPENINGS: Final[list[Callable[[Floor, Bench], None]]] = [
    *[Floor.log] * 8,
    *[Floor.sync_sometimes] * 8,
    Floor.withdraw,
    Floor.reopen,
    Floor.kill_now,
    Floor.move_clock,
    Floor.fill_disk,
    Floor.toggle_network,
    Floor.offer_aside,
    *[Floor.back_up_bench] * 2,
    Floor.restore_bench,
    Floor.copy_laptop,
]
