"""A shop in one process that misfortune befalls by chance: what comes of it depends on a number alone.

Stations are real workstations on real SQLite files, the centre is the real application on a real
database. Between them lies a road that loses, doubles, delays and cuts what it carries. Time is the
world's own, and every choice comes from one generator, so that the same number tells the same story.
"""

from __future__ import annotations

import contextlib
import random
import shutil
import sqlite3
import tempfile
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from unittest import mock

import psycopg.errors
import requests
from peewee import OperationalError

import client.cache.epochs as epochs_module
import client.cache.outbox as outbox_module
import service.store.records as records_module
from client.cache.sqlite import Sqlite as Store
from client.errors import ClientError
from service.app import Config, create_app
from service.store import tokens
from service.store.database import connected, database
from service.store.models import Event
from tests.faults.centres import CentreStore, Sqlite, folder_for_worlds, hang_up
from tests.faults.floor import Bench, Floor, Killed
from tests.faults.office import Office
from tests.faults.reckoning import reckon_bench, reckon_centre
from tests.faults.road import Road
from tests.service.shop import NOW

BEGIN = NOW

BEGINNINGS = (
    BEGIN,
    BEGIN,
    # The nights before and after summer time begins in London, and the one in which it ends.
    datetime(2026, 3, 28, 23, 20, tzinfo=UTC),
    datetime(2026, 3, 29, 22, 20, tzinfo=UTC),
    datetime(2026, 10, 24, 22, 20, tzinfo=UTC),
)


class World(Office, Road, Floor):
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
        self.begin = self.chance.choice(BEGINNINGS)
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
        self.backups: list[tuple[str, dict[str, tuple[int, dict[str, Any]]]]] = []
        self.calm = False
        self.machines = 1
        self.set_by_hand: dict[str, tuple[int, dict[str, Any]]] = {}
        self.no_room = False
        self._patches = contextlib.ExitStack()
        self._patch()
        self.centre = centre(BEGIN)
        self.start_centre()
        with connected():
            self.tokens = {
                name: tokens.make(name, ["station"], now=BEGIN, site="northgate", station=name)[1]
                for name in (f"ng-{number + 1}" for number in range(benches))
            }
            self.admin = tokens.make("admin", ["admin"], now=BEGIN)[1]
        self.benches = [self.new_bench(name, f"pc-{name}") for name in self.tokens]

    # --- time and chance -----------------------------------------------------------------------

    def now(self) -> datetime:
        return self.begin + timedelta(seconds=self.seconds)

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
        execute, mark = Store._execute, epochs_module.write_mark
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

    def start_centre(self) -> None:
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
            if world.no_room and given[0].startswith("INSERT INTO chain"):
                raise OperationalError("no room") from psycopg.errors.DiskFull("no room")
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
            self.deliver_late()
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
