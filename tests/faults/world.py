"""A shop in one process that misfortune befalls by chance: what comes of it depends on a number alone.

Stations are real workstations on real SQLite files, the centre is the real application on a real
database. Between them lies a road that loses, doubles, delays and cuts what it carries. Time is the
world's own, and every choice comes from one generator, so that the same number tells the same story.
"""

from __future__ import annotations

import contextlib
import gzip
import io
import json
import random
import shutil
import sqlite3
import tempfile
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from unittest import mock

import requests
from requests.adapters import BaseAdapter
from requests.structures import CaseInsensitiveDict
from werkzeug.test import EnvironBuilder

import client.cache.epochs as epochs_module
import client.cache.outbox as outbox_module
import service.store.records as records_module
from client.cache.clock import Ticks
from client.cache.outbox import Outbox
from client.cache.records import Records
from client.cache.sqlite import Sqlite as Store
from client.errors import ClientError, InputWrong
from client.home import Home, StationSettings
from client.log.batch import Batch
from client.log.withdraw import log_withdrawn
from client.sync import SyncReport, sync_once
from client.wire import Patience
from client.workstation import Workstation
from service.app import Config, create_app
from service.store import tokens
from service.store.database import connected, database
from service.store.models import Event
from tests.faults.centres import CentreStore, Sqlite, copy_sqlite, folder_for_worlds, hang_up
from tests.faults.drafts import draft
from tests.faults.office import Office
from tests.faults.reckoning import reckon_bench, reckon_centre
from tests.service.shop import NOW

BEGIN = NOW


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


class _Road(BaseAdapter):
    """Carries the requests of one bench."""

    def __init__(self, world: World, bench: Bench) -> None:
        super().__init__()
        self.world = world
        self.bench = bench

    def send(self, request: requests.PreparedRequest, *_given: Any, **_more: Any) -> requests.Response:
        return self.world.carry(self.bench, request)

    def close(self) -> None:
        """Nothing is held open."""


class World(Office):
    """Benches, a centre, the road between them, and what was promised to the people at the benches."""

    def __init__(
        self,
        seed: int,
        *,
        benches: int = 3,
        misfortune: float = 0.3,
        centre: Callable[[datetime], CentreStore] = Sqlite,
    ) -> None:
        self.chance = random.Random(seed)
        self.misfortune = misfortune
        self.seconds = 0.0
        self.folder = Path(tempfile.mkdtemp(prefix="shearwright-world-", dir=folder_for_worlds()))
        self.promised: dict[str, datetime] = {}
        self.came_late: set[str] = set()
        self.excused: set[str] = set()
        self.refused: set[str] = set()
        self.late: list[tuple[Bench, requests.PreparedRequest]] = []
        self.story: list[str] = []
        self.depth = 0
        self.to_kill = 0
        self.to_crash = 0
        self.backups: list[str] = []
        self.calm = False
        self.machines = 1
        self._patches = contextlib.ExitStack()
        self._patch()
        self.centre = centre(BEGIN)
        self._start_centre()
        with connected():
            self.tokens = {
                name: tokens.make(name, ["station"], now=BEGIN, site="northgate", station=name)[1]
                for name in (f"ng-{number + 1}" for number in range(benches))
            }
            self.admin = tokens.make("admin", ["admin"], now=BEGIN)[1]
        self.benches = [self._bench(name, f"pc-{name}") for name in self.tokens]

    # --- time and chance -----------------------------------------------------------------------

    def now(self) -> datetime:
        return BEGIN + timedelta(seconds=self.seconds)

    def sleep(self, seconds: float) -> None:
        self.seconds += seconds

    def _uuid(self) -> uuid.UUID:
        return uuid.UUID(int=self.chance.getrandbits(128), version=4)

    def _patch(self) -> None:
        """Let every name come from chance, and let the process die where it writes."""
        enter = self._patches.enter_context
        names = mock.Mock(wraps=uuid, uuid4=self._uuid)
        enter(mock.patch.object(epochs_module, "uuid", names))
        enter(mock.patch.object(outbox_module, "uuid7", self._uuid))
        enter(mock.patch.object(records_module, "uuid4", self._uuid))
        execute, mark, commit = Store._execute, epochs_module.write_mark, None
        world = self

        def executing(one: Store, sql: str, values: Any = ()) -> Any:
            world._maybe_die()
            done = execute(one, sql, values)
            if not sql.startswith(("SELECT", "PRAGMA")):
                world._maybe_die()
            return done

        def marking(path: Path, found: Any) -> None:
            world._maybe_die()
            mark(path, found)
            world._maybe_die()

        del commit
        enter(mock.patch.object(Store, "_execute", executing))
        enter(mock.patch.object(epochs_module, "write_mark", marking))

    def _maybe_die(self) -> None:
        if self.to_kill:
            self.to_kill -= 1
            if not self.to_kill:
                self.tell("killed")
                raise Killed

    def tell(self, words: str) -> None:
        self.story.append(f"{self.seconds:9.1f} {'  ' * self.depth}{words}")

    # --- the centre ----------------------------------------------------------------------------

    def _start_centre(self) -> None:
        hang_up()
        self.app = create_app(Config(database=self.centre.address, clock=self.now), prepare=False)
        one = database.obj
        execute, commit = one.execute_sql, one.commit
        world = self

        def maybe_crash() -> None:
            if world.to_crash:
                world.to_crash -= 1
                if not world.to_crash:
                    world.tell("the centre crashes")
                    raise Killed

        def executing(*given: Any, **more: Any) -> Any:
            maybe_crash()
            return execute(*given, **more)

        def committing() -> None:
            maybe_crash()
            commit()
            maybe_crash()

        one.execute_sql, one.commit = executing, committing

    def ask(self, method: str, path: str, document: Any = None) -> Any:
        answer = self.app.test_client().open(
            f"/v1{path}", method=method, json=document, headers={"Authorization": f"Bearer {self.admin}"}
        )
        assert answer.status_code < 500, answer.text
        return answer

    def deliver(self, request: requests.PreparedRequest, cut: bool = False) -> requests.Response:
        """Put a request before the application; `cut`: its body breaks off, and the line with it."""
        headers = dict(request.headers)
        headers.pop("Connection", None)
        body = request.body or b""
        assert isinstance(body, bytes)
        builder = EnvironBuilder(
            path=(request.path_url or "/").partition("?")[0],
            query_string=(request.path_url or "").partition("?")[2],
            method=request.method or "GET",
            headers=headers,
            data=body,
        )
        environ = builder.get_environ()
        if cut and body:
            environ["wsgi.input"] = io.BytesIO(body[: self.chance.randrange(len(body))])
        try:
            answer = self.app.test_client().open(environ)
        except Killed:
            self.to_crash = 0
            self._start_centre()
            raise requests.ConnectionError("the centre is gone") from None
        if cut:
            assert answer.status_code < 500, f"a body cut short gave {answer.status_code}"
            raise requests.ConnectionError("the line broke")
        assert answer.status_code != 500, answer.text
        made = requests.Response()
        made.status_code = answer.status_code
        made.headers = CaseInsensitiveDict(answer.headers.items())
        made.raw = io.BytesIO(answer.data)
        made.request = request
        made.url = request.url or ""
        return made

    # --- the road ------------------------------------------------------------------------------

    def carry(self, bench: Bench, request: requests.PreparedRequest) -> requests.Response:
        self.seconds += self.chance.random()
        if not self.calm:
            self._meanwhile()
        if bench.cut_off:
            raise requests.ConnectionError("no network")
        if self.calm or self.chance.random() >= self.misfortune:
            return self.deliver(request)
        fate = self.chance.choice(
            ["away", "answer lost", "twice", "late", "body cut", "answer cut", "crash", "busy", "kill"]
        )
        self.tell(f"{bench.name}: {request.method} {fate}")
        if fate == "twice":
            self.deliver(request)
            return self.deliver(request)
        if fate == "answer lost":
            self.deliver(request)
        elif fate == "late":
            self.late.append((bench, request))
            raise requests.Timeout("no answer in time")
        elif fate == "body cut":
            return self.deliver(request, cut=True)
        elif fate == "answer cut":
            answer = self.deliver(request)
            whole = answer.raw.getvalue()
            answer.raw = io.BytesIO(whole[: self.chance.randrange(len(whole) or 1)])
            return answer
        elif fate == "crash":
            self.to_crash = self.chance.randrange(1, 60)
            try:
                self.deliver(request)
            finally:
                self.to_crash = 0
        elif fate == "busy":
            answer = requests.Response()
            answer.status_code, answer.raw = 503, io.BytesIO(b"")
            answer.headers["Retry-After"] = "1"
            return answer
        elif fate == "kill":
            answer = self.deliver(request)
            self.to_kill = self.chance.randrange(1, 25)
            return answer
        raise requests.ConnectionError("the line broke")

    def _meanwhile(self) -> None:
        """While one bench waits for an answer others go on, and old letters arrive."""
        if self.depth < 2 and self.chance.random() < 0.25:
            self.depth += 1
            try:
                self.step(self.chance.choice(self.benches))
            finally:
                self.depth -= 1
        while self.late and self.chance.random() < 0.4:
            self._deliver_late()

    def _deliver_late(self) -> None:
        bench, request = self.late.pop(self.chance.randrange(len(self.late)))
        self.tell(f"{bench.name}: an old {request.method} arrives")
        body = request.body or b""
        assert isinstance(body, bytes)
        if body:
            packed = request.headers.get("Content-Encoding") == "gzip"
            events = json.loads(gzip.decompress(body) if packed else body)["events"]
            self.came_late |= {event["event_id"] for event in events}
        with contextlib.suppress(requests.RequestException):
            self.deliver(request)

    # --- the benches ---------------------------------------------------------------------------

    def _bench(self, name: str, computer: str) -> Bench:
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
            drafts = Batch(station)
            for _ in range(self.chance.randrange(1, 4)):
                draft(self.chance, drafts)
            logged = drafts.write()
            for one in logged.events:
                self.promised[one.event_id] = self.now()
        self.to_kill = 0
        self.seconds += self.chance.random() * 300

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
        wire._session.mount("http://", _Road(self, bench))
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
        hours = self.chance.choice([-3, 1, 24, -24 * 400, 24 * 4000, 0])
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
        twin = self._bench(bench.name, f"copy-{len(self.benches)}")
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

    # --- the reckoning -------------------------------------------------------------------------

    def excuse_what_is_nowhere(self) -> None:
        """What a restore took from the last store that had it cannot be asked of anybody."""
        here: set[str] = set()
        for bench in self.benches:
            # A process that died while it made its store has written nothing down yet.
            with (
                contextlib.suppress(sqlite3.OperationalError),
                contextlib.closing(sqlite3.connect(bench.home.store_file)) as store,
            ):
                here |= {row[0] for row in store.execute("SELECT event_id FROM event")}
        with connected():
            here |= {row.event_id for row in Event.select(Event.event_id)}
        self.excused |= {one for one in self.promised if one not in here}

    def settle(self) -> None:
        """Calm: letters arrive, cables are in, and everybody syncs until nothing is left to say."""
        self.calm = True
        self.to_kill = self.to_crash = 0
        self.tell("calm")
        while self.late:
            self._deliver_late()
        self.cure()
        for turn in range(8):
            left = 0
            for bench in self.benches:
                bench.cut_off = False
                self.reopen(bench)
                found = self.sync(bench)
                assert not isinstance(found, ClientError), found
                assert found.problem is None, found.problem
                for notice in found.notices:
                    self.tell(f"{bench.name}: {notice}")
                left += found.counts.pending + len(found.changes) + found.pushed.applied
                left += found.pushed.quarantined + found.pushed.offered_again
            self.cure()
            if not left and turn:
                break
        else:
            raise AssertionError("the stations and the centre never come to rest")

    def reckon(self) -> None:
        """Everything promised is there once; chains are whole; sums are right; all know the same."""
        with connected():
            reckon_centre(self)
            for bench in self.benches:
                reckon_bench(self, bench)

    def end(self) -> None:
        for bench in self.benches:
            self.close(bench)
        hang_up()
        self.centre.end()
        self._patches.close()
        shutil.rmtree(self.folder, ignore_errors=True)


_HAPPENINGS: list[Callable[[World, Bench], None]] = [
    *[World.log] * 8,
    *[World.sync_sometimes] * 8,
    World.withdraw,
    World.reopen,
    World.kill_now,
    World.move_clock,
    World.toggle_network,
    World.offer_aside,
    *[World.back_up_bench] * 2,
    World.restore_bench,
    World.copy_laptop,
]


def tell_a_story(seed: int, steps: int = 40, *, centre: Callable[[datetime], CentreStore] = Sqlite) -> World:
    """Live through a story, and settle what came of it; `centre` makes the database of the centre.

    Raises
    ------
    AssertionError
        With the story, when something was lost, doubled or left apart.
    """
    world = World(seed, centre=centre)
    try:
        for _ in range(steps):
            if world.chance.random() < 0.15:
                world.office()
            world.step(world.chance.choice(world.benches))
        world.settle()
        world.reckon()
    except BaseException as fault:
        told = "\n".join(world.story)
        raise AssertionError(f"seed {seed}: {fault!r}\n{told}") from fault
    finally:
        world.end()
    return world


__all__ = ["UTC", "Killed", "World", "tell_a_story"]
