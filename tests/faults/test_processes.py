"""Real processes on real databases: killed with -9 in loops, and a line that is cut at any byte.

Everything is on 127.0.0.1. The loops are short here; SHEARWRIGHT_FAULT_ROUNDS makes them longer.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest

from client.home import Home, StationSettings
from client.sync import sync_once
from client.wire import Patience
from client.workstation import workstation_at
from tests.service.shop import machine, sheet

ROOT = Path(__file__).resolve().parents[2]
ROUNDS = int(os.environ.get("SHEARWRIGHT_FAULT_ROUNDS", "4"))

# A station's work: log, tell what is on the disk, sync, again and again until it is killed.
BENCH = """
import sys
from pathlib import Path
from client.log.without_plan import log_taken
from client.errors import ClientError
from client.home import Home
from client.sync import sync_once
from client.wire import Patience
from client.workstation import workstation_at

with workstation_at(Home(Path(sys.argv[1]))) as station:
    machine = station.machine("bench-3m")
    for _ in range(int(sys.argv[2])):
        logged = log_taken(station, "SH-A", 1, machine)
        print(logged.events[0].event_id, flush=True)
        try:
            sync_once(station, patience=Patience(total_s=5, tries=2))
        except ClientError:
            pass
"""


class Centre:
    """The service as a process of its own, on a database of either kind."""

    def __init__(self, address: str, folder: Path) -> None:
        self.address = address
        self.folder = folder
        self.port = 0
        self.process: subprocess.Popen[str] | None = None

    def command(self, *words: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "service.cli", "--database", self.address, *words],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout.strip()

    def fill(self) -> None:
        shop = self.folder / "shop.json"
        records = {
            "sites": [{"id": "northgate", "name": "Northgate", "time_zone": "Europe/London"}],
            "machines": [machine()],
            "stock": [sheet(quantity=100_000)],
        }
        shop.write_text(json.dumps(records))
        self.command("load", str(shop))
        self.token = self.command("token", "make", "--scope", "plan", "--scope", "report")

    def start(self) -> None:
        self.process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "service.cli",
                "--database",
                self.address,
                "serve",
                "--port",
                str(self.port),
            ],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        assert self.process.stdout is not None
        said = self.process.stdout.readline()
        assert "listening at" in said, said + self.process.stdout.read()
        self.port = int(said.split(":")[-1].split("/")[0])

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait(20)
            assert self.process.stdout is not None
            self.process.stdout.close()
            self.process = None

    def get(self, path: str) -> Any:
        asked = urllib.request.Request(
            f"http://127.0.0.1:{self.port}/v1{path}", headers={"Authorization": f"Bearer {self.token}"}
        )
        with urllib.request.urlopen(asked, timeout=30) as answer:
            return json.loads(answer.read())


class Line:
    """A line on loopback to the centre that breaks after a number of bytes, in either direction."""

    def __init__(self, port_of: Callable[[], int], chance: random.Random) -> None:
        self.port_of = port_of
        self.chance = chance
        self.sound = False
        self.cuts = 0
        self.server = socket.create_server(("127.0.0.1", 0))
        self.port = self.server.getsockname()[1]
        self.ended = threading.Event()
        self.thread = threading.Thread(target=self._listen, daemon=True)
        self.thread.start()

    def _listen(self) -> None:
        self.server.settimeout(0.2)
        while not self.ended.is_set():
            with contextlib.suppress(OSError):
                near, _ = self.server.accept()
                threading.Thread(target=self._carry, args=(near,), daemon=True).start()

    def _carry(self, near: socket.socket) -> None:
        # Some connections break at once, most within what an exchange takes, some never.
        left = None if self.sound else self.chance.choice([0, 60, 300, 800, 1500, 4000, 9000, 10**9])
        try:
            far = socket.create_connection(("127.0.0.1", self.port_of()), timeout=5)
        except OSError:
            near.close()
            return
        budget = [left if left is None else self.chance.randrange(left + 1)]
        ways = [
            threading.Thread(target=self._pump, args=(one, other, budget), daemon=True)
            for one, other in ((near, far), (far, near))
        ]
        for way in ways:
            way.start()
        for way in ways:
            way.join(60)
        for end in (near, far):
            end.close()

    def _pump(self, one: socket.socket, other: socket.socket, budget: list[int | None]) -> None:
        try:
            while data := one.recv(2048):
                if budget[0] is not None:
                    data, cut = data[: budget[0]], len(data) > budget[0]
                    budget[0] -= len(data)
                    other.sendall(data)
                    if cut:
                        self.cuts += 1
                        break
                else:
                    other.sendall(data)
        except OSError:
            pass
        for end in (one, other):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def end(self) -> None:
        self.ended.set()
        self.thread.join(5)
        self.server.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def centre(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Centre]:
    name = f"faults_{uuid.uuid4().hex}"
    address, base = str(tmp_path / "centre.sqlite3"), ""
    if request.param == "postgresql":
        base = request.getfixturevalue("postgresql")
        with psycopg.connect(base, autocommit=True) as server:
            server.execute(f"CREATE DATABASE {name}")
        front, _, options = base.partition("?")
        address = f"{front.rsplit('/', 1)[0]}/{name}" + (f"?{options}" if options else "")
    made = Centre(address, tmp_path)
    made.fill()
    made.start()
    try:
        yield made
    finally:
        made.kill()
        if base:
            with psycopg.connect(base, autocommit=True) as server:
                server.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def bench(centre: Centre, tmp_path: Path) -> Callable[..., Home]:
    def made(name: str, port: int) -> Home:
        home = Home(tmp_path / name)
        token = centre.command(
            "token", "make", "--scope", "station", "--site", "northgate", "--station", name
        )
        home.write_settings(StationSettings(f"http://127.0.0.1:{port}", name, "northgate"), token)
        with workstation_at(home) as station:
            for _ in range(20):
                if sync_once(station, patience=Patience(total_s=10)).complete:
                    return home
        raise AssertionError("the first sync does not come through")

    return made


def work(home: Home, events: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", BENCH, str(home.folder), str(events)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def told_by(process: subprocess.Popen[str]) -> list[str]:
    out, err = process.communicate(timeout=120)
    assert process.returncode in {0, -9}, err
    # The last line may be cut short when the process was killed while it wrote.
    return [line for line in out.split("\n") if len(line) == 36]


def settle_and_reckon(centre: Centre, homes: list[Home], told: list[str]) -> None:
    logged: list[str] = []
    for home in homes:
        settings = home.settings()
        home.write_settings(
            StationSettings(f"http://127.0.0.1:{centre.port}", settings.station, settings.site), home.token()
        )
    for home in homes:
        with workstation_at(home) as station:
            station.outbox.sql.check()
            report = sync_once(station, patience=Patience(total_s=60))
            assert report.complete, report.problem
            assert (report.counts.pending, report.counts.quarantined) == (0, 0)
            logged += [one.event_id for one in station.outbox.all_events()]
    assert set(told) <= set(logged), "lost at a station"
    assert len(set(logged)) == len(logged)
    left = centre.get("/stock/northgate/SH-A")["quantity"]
    assert 100_000 - left == len(logged), "lost or doubled at the centre"
    for home in homes:
        with workstation_at(home) as station:
            assert sync_once(station, patience=Patience(total_s=60)).complete
            assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == left
    centre.command("audit")


@pytest.mark.timeout(0)
def test_stations_and_centre_killed_again_and_again_lose_and_double_nothing(
    centre: Centre, bench: Callable[..., Home]
) -> None:
    chance = random.Random(1)
    homes = [bench(name, centre.port) for name in ("ng-1", "ng-2")]
    told: list[str] = []
    killed = 0
    for turn in range(ROUNDS):
        running = [work(home, 60) for home in homes]
        time.sleep(1.0 + chance.random() * 1.5)
        if turn % 2:
            centre.kill()
            time.sleep(chance.random() * 0.3)
            centre.start()
            time.sleep(chance.random() * 0.5)
        for one in running:
            one.kill()
        killed += len(running)
        for one in running:
            told += told_by(one)
    assert told, "nobody was quick enough to log anything"
    settle_and_reckon(centre, homes, told)


@pytest.mark.timeout(0)
def test_a_line_cut_at_any_byte_loses_and_doubles_nothing(centre: Centre, bench: Callable[..., Home]) -> None:
    line = Line(lambda: centre.port, random.Random(2))
    try:
        line.sound = True
        homes = [bench(name, line.port) for name in ("ng-1", "ng-2")]
        line.sound = False
        running = [work(home, 5 * ROUNDS) for home in homes]
        told = [one for process in running for one in told_by(process)]
        assert len(told) == 2 * 5 * ROUNDS
        assert line.cuts > ROUNDS, "the line was not cut"
    finally:
        line.end()
    settle_and_reckon(centre, homes, told)


@pytest.mark.timeout(0)
def test_two_copies_of_the_client_started_by_mistake_neither_double_nor_spoil_anything(
    centre: Centre, bench: Callable[..., Home]
) -> None:
    home = bench("ng-1", centre.port)
    running = [work(home, 25) for _ in range(2)]
    told = [one for process in running for one in told_by(process)]
    assert len(told) == 50
    with workstation_at(home) as station:
        seqs = [one.seq for one in station.outbox.all_events()]
        assert seqs == list(range(1, 51)), "one chain, whoever wrote"
        assert len(station.outbox.epochs()) == 1
    settle_and_reckon(centre, [home], told)
