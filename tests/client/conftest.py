"""A small shop of ours (Quillmark Plateworks), stations in folders, and real services on loopback."""

from __future__ import annotations

import http.client
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from client.home import Home, StationSettings
from client.wire import Patience
from client.workstation import Workstation, workstation_at

ROOT = Path(__file__).resolve().parents[2]
CENTRE_EPOCH = "11111111-1111-4111-8111-111111111111"

MACHINE: dict[str, Any] = {
    "id": "bench-3m",
    "name": "Bench shear, 3 m",
    "site": "northgate",
    "cutting_length_mm": 3000,
    "rating": {"thickness_mm": 6},
    "rake": {"low_deg": 1.5, "high_deg": 1.5},
    "gap": {"low_mm": 0.05, "high_mm": 0.6, "step_mm": 0.05},
    "back_gauge": {"low_mm": 5, "high_mm": 1000, "accuracy_mm": 0.1},
    "hold_down": {"clamping_depth_mm": 45},
    "squaring_arm_mm": 1500,
    "relief": True,
    "sheet_support": True,
    "lifting": {"crane_kg": 2000},
}
STOCK: dict[str, Any] = {
    "site": "northgate",
    "ref": "SH-A",
    "length": 2500,
    "width": 1250,
    "quantity": 8,
    "material": "S235JR",
    "thickness": 3,
    "heat": "H123",
}
SITE: dict[str, Any] = {"id": "northgate", "name": "Northgate", "time_zone": "Europe/London"}


@pytest.fixture
def machine_record() -> dict[str, Any]:
    """A machine as the feed sends it."""
    return json.loads(json.dumps(MACHINE))


@pytest.fixture
def page() -> Callable[..., dict[str, Any]]:
    """A page of the change feed."""

    def made(changes: list[dict[str, Any]] | None = None, **said: Any) -> dict[str, Any]:
        default = [
            change("site", "northgate", SITE),
            change("machine", "bench-3m", MACHINE),
            change("stock", "northgate/SH-A", STOCK),
        ]
        return {
            "centre_epoch": CENTRE_EPOCH,
            "server_time": datetime.now(UTC).isoformat(),
            "cursor": "c1",
            "more": False,
            "changes": default if changes is None else changes,
            **said,
        }

    return made


def change(kind: str, record_id: str, record: dict[str, Any] | None, revision: int = 1) -> dict[str, Any]:
    return {
        "kind": kind,
        "id": record_id,
        "revision": revision,
        "deleted": record is None,
        "record": record,
    }


@pytest.fixture
def changed() -> Callable[..., dict[str, Any]]:
    """One entry of the change feed."""
    return change


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """A workstation's folder, set up."""
    made = Home(tmp_path / "home")
    made.write_settings(StationSettings("http://centre.test", "bench1", "northgate"), "secret-token")
    return made


@pytest.fixture
def station(home: Home) -> Iterator[Workstation]:
    """A workstation that never heard of its centre."""
    with workstation_at(home) as opened:
        yield opened


@pytest.fixture
def stocked(station: Workstation, page: Callable[..., dict[str, Any]]) -> Workstation:
    """A workstation with a machine and eight sheets in its cache."""
    sent = page()
    station.records.take_page(
        sent["changes"],
        cursor="c1",
        centre_epoch=CENTRE_EPOCH,
        last=True,
        server_time=sent["server_time"],
        settled_to=0,
    )
    return station


@pytest.fixture
def order_document() -> dict[str, Any]:
    """A plan request for what is on the rack."""
    return {
        "order_ref": "W-1042",
        "machine": "bench-3m",
        "parts": [
            {
                "ref": "P1",
                "length": 600,
                "width": 300,
                "quantity": 16,
                "material": "S235JR",
                "thickness": 3,
            },
            {
                "ref": "P2",
                "length": 400.5,
                "width": 200,
                "quantity": 7,
                "material": "S235JR",
                "thickness": 3,
            },
        ],
    }


@pytest.fixture
def hurry() -> Callable[..., Patience]:
    """Patience that never really waits."""

    def made(**given: Any) -> Patience:
        return Patience(**{"sleep": lambda _: None, "chance": lambda: 0.5, "tries": 3, **given})

    return made


# --- real services -------------------------------------------------------------------------------


class Service:
    """The service as a process of its own, on loopback, with an SQLite file."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.database = folder / "centre.sqlite3"
        self.process: subprocess.Popen[str] | None = None
        self.port = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def command(self, *words: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "service.cli", "--database", str(self.database), *words],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def load(self, **records: list[dict[str, Any]]) -> None:
        shop = self.folder / "shop.json"
        shop.write_text(json.dumps(records))
        self.command("load", str(shop))

    def station_token(self, station: str) -> str:
        return self.command(
            "token", "make", "--scope", "station", "--site", "northgate", "--station", station
        ).strip()

    def plan_token(self) -> str:
        return self.command("token", "make", "--scope", "plan", "--scope", "report").strip()

    def start(self) -> None:
        self.process = subprocess.Popen(
            [
                sys.executable, "-m", "service.cli", "--database", str(self.database),
                "serve", "--port", str(self.port),
            ],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        said = self.process.stdout.readline()
        assert "listening at" in said, said + self.process.stdout.read()
        self.port = int(said.split(":")[-1].split("/")[0])

    def stop(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait(10)
            assert self.process.stdout is not None
            self.process.stdout.close()
            self.process = None

    def get(self, path: str, token: str) -> dict[str, Any]:
        road = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        road.request("GET", path, headers={"Authorization": f"Bearer {token}"})
        answer = road.getresponse()
        body = json.loads(answer.read())
        road.close()
        assert answer.status == 200, body
        return body


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """A running service with a shop in it."""
    folder = tmp_path / "centre"
    folder.mkdir()
    made = Service(folder)
    made.load(sites=[SITE], machines=[MACHINE], stock=[STOCK])
    made.start()
    try:
        yield made
    finally:
        made.stop()


class Road(BaseHTTPRequestHandler):
    """Carries a request to the service, or loses it, as the test wants."""

    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        self._carry()

    def do_POST(self) -> None:
        self._carry()

    def _carry(self) -> None:
        server: Any = self.server
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        fault = server.faults.pop(0) if server.faults else None
        server.seen.append((self.command, self.path, fault))
        if fault == "lose request":
            self.close_connection = True
            return
        if fault == "unavailable":
            self._answer(503, {"Retry-After": "0"}, b"")
            return
        road = http.client.HTTPConnection("127.0.0.1", server.service.port, timeout=30)
        headers = {name: value for name, value in self.headers.items() if name.lower() != "host"}
        road.request(self.command, self.path, body, headers)
        answer = road.getresponse()
        said = answer.read()
        road.close()
        if fault == "lose answer":
            self.close_connection = True
            return
        if fault == "cut answer":
            self.send_response(answer.status)
            self.send_header("Content-Length", str(len(said)))
            self.end_headers()
            self.wfile.write(said[: len(said) // 2])
            self.close_connection = True
            return
        if fault == "twice":
            again = http.client.HTTPConnection("127.0.0.1", server.service.port, timeout=30)
            again.request(self.command, self.path, body, headers)
            said = again.getresponse().read()
            again.close()
        self._answer(answer.status, {"Content-Type": answer.headers["Content-Type"]}, said)

    def _answer(self, status: int, headers: dict[str, str], body: bytes) -> None:
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_args: Any) -> None:
        """Say nothing."""


@pytest.fixture
def bad_road(service: Service) -> Iterator[Any]:
    """A way to the service that loses what the test tells it to: `.faults`, one a request; `.url`."""
    server: Any = ThreadingHTTPServer(("127.0.0.1", 0), Road)
    server.daemon_threads = True
    server.service = service
    server.faults = []
    server.seen = []
    server.url = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)


@pytest.fixture
def connected(tmp_path: Path) -> Callable[..., Any]:
    """Open a workstation that belongs to a service."""

    @contextmanager
    def opened(service: Service, name: str = "bench1", url: str | None = None) -> Iterator[Workstation]:
        made = Home(tmp_path / f"station-{name}")
        if not made.settings_file.exists():
            token = service.station_token(name)
            made.write_settings(StationSettings(url or service.url, name, "northgate"), token)
        with workstation_at(made) as station:
            yield station

    return opened


@pytest.fixture
def shearwright() -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the command in a process of its own."""

    def run(home: Path, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "client.cli", "--home", str(home), *words],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
            env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        )

    return run


def wait_until(true: Callable[[], bool], seconds: float = 20.0) -> None:
    """Wait for something that another process does."""
    ends = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < ends, "waited in vain"
        time.sleep(0.02)


@pytest.fixture
def until() -> Callable[..., None]:
    """Wait for something that another process does."""
    return wait_until
