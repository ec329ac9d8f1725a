"""The workstation after a long time without the network: 100 000 events to send, and what that takes.

    python tests/benchmarks/station.py [--events 100000] [--database postgresql://…]

A process of its own for each part, so that the peak of memory is that part's own. The service listens on
loopback, on SQLite unless told otherwise. Prints a table and, with --json FILE, writes the figures.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from client.cache.outbox import Draft, Outbox  # noqa: E402 - after the path
from client.export import export_log  # noqa: E402
from client.home import Home, StationSettings  # noqa: E402
from client.sync import sync_once  # noqa: E402
from client.wire import Patience  # noqa: E402
from client.workstation import workstation_at  # noqa: E402

SITE = {"id": "northgate", "name": "Northgate", "time_zone": "Europe/London"}
MACHINE = {
    "id": "bench-3m",
    "name": "Bench shear, 3 m",
    "site": "northgate",
    "cutting_length_mm": 3000,
    "rating": {"thickness_mm": 6},
    "rake": {"low_deg": 1.5, "high_deg": 1.5},
    "gap": {"low_mm": 0.05, "high_mm": 0.6},
    "back_gauge": {"low_mm": 5, "high_mm": 1000},
    "hold_down": {"clamping_depth_mm": 45},
}


def draft(number: int) -> Draft:
    """A typical event of about 700 bytes."""
    part = {"ref": f"P{number % 40}", "length_mm": 600.0, "width_mm": 300.0, "quantity": 4, "mass_kg": 16.956}
    payload = {
        "machine": "bench-3m",
        "material": "S235JR",
        "thickness_mm": 3.0,
        "cut_length_mm": 300.0,
        "strokes": 4,
        "equivalent_m": 0.6,
        "parts": [{**part, "order_ref": "W-1042"}],
        "minutes": 2.5,
        "operator": "ab",
        "heat": "H123",
    }
    return Draft("cuts.made", payload)


def part_log(folder: Path, count: int) -> dict[str, Any]:
    """Write the backlog: most of it many at a time, the last thousand one by one as at the shear."""
    begun = datetime.now(UTC) - timedelta(days=30)
    number = 0
    box = Outbox(Home(folder), "ng-1", now=lambda: begun + timedelta(seconds=number * 20))
    while number < count - 1000:
        size = min(500, count - 1000 - number)
        box.write([draft(number + place) for place in range(size)])
        number += size
    singles = []
    for _ in range(min(1000, count)):
        at = time.perf_counter()
        box.write([draft(number)])
        singles.append(time.perf_counter() - at)
        number += 1
    singles.sort()
    return {
        "one event written, median ms": round(1000 * singles[len(singles) // 2], 2),
        "one event written, 99 of 100 within ms": round(1000 * singles[len(singles) * 99 // 100], 2),
        "store MB": round(box.home.store_file.stat().st_size / 1e6, 1),
    }


def part_open(folder: Path, count: int) -> dict[str, Any]:
    """Open the store and count, as `shearwright status` does."""
    with workstation_at(Home(folder)) as station:
        counts = station.outbox.counts()
    assert counts.pending == count
    return {}


def part_check(folder: Path, count: int) -> dict[str, Any]:
    """Look through the whole store for damage."""
    with workstation_at(Home(folder)) as station:
        station.outbox.sql.check()
    return {}


def part_push(folder: Path, count: int) -> dict[str, Any]:
    """Send it all."""
    with workstation_at(Home(folder)) as station:
        wire = station.wire()
        sent: list[int] = []
        ask = wire._ask

        def counting(method: str, path: str, **given: Any) -> Any:
            sent.append(len(given.get("data") or b""))
            return ask(method, path, **given)

        wire._ask = counting  # type: ignore[method-assign]
        report = sync_once(station, wire=wire, patience=Patience(total_s=3600))
        wire.close()
        assert report.complete, report.problem
        assert report.pushed.applied == count, report.pushed
        raw = station.outbox.sql.value("SELECT sum(length(body)) FROM event")
    return {
        "requests": len(sent),
        "MB sent": round(sum(sent) / 1e6, 2),
        "MB of events": round(raw / 1e6, 1),
        "largest body kB": round(max(sent) / 1e3, 1),
    }


def part_idle(folder: Path, count: int) -> dict[str, Any]:
    """A sync with nothing to say."""
    with workstation_at(Home(folder)) as station:
        assert sync_once(station).complete
    return {}


def part_export(folder: Path, count: int) -> dict[str, Any]:
    """Write the log to a file."""
    with workstation_at(Home(folder)) as station:
        assert export_log(station, folder / "log.ndjson").events == count
    return {}


PARTS = {
    "log": part_log,
    "open": part_open,
    "check": part_check,
    "push": part_push,
    "idle sync": part_idle,
    "export": part_export,
}


def service_command(database: str, *words: str) -> str:
    """Run the service's command."""
    done = subprocess.run(
        [sys.executable, "-m", "service.cli", "--database", database, *words],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def measured(part: str, folder: Path, count: int) -> dict[str, Any]:
    """A part in a process of its own."""
    words = [sys.executable, str(Path(__file__).resolve()), "--part", part, "--home", str(folder)]
    done = subprocess.run(
        [*words, "--events", str(count)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise SystemExit(done.stderr)
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def main() -> None:
    """Measure, or be the process of one part."""
    reader = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else None)
    reader.add_argument("--events", type=int, default=100_000)
    reader.add_argument("--database", help="an empty PostgreSQL database; else SQLite")
    reader.add_argument("--json", type=Path)
    reader.add_argument("--part", choices=PARTS)
    reader.add_argument("--home", type=Path)
    given = reader.parse_args()
    if given.part:
        base = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        at = time.perf_counter()
        found = PARTS[given.part](given.home, given.events)
        seconds = time.perf_counter() - at
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        figures = {
            "s": round(seconds, 2),
            "peak MB": round(peak / 1024),
            "above start MB": round((peak - base) / 1024),
        }
        print(json.dumps({**figures, **found}))
        return
    with tempfile.TemporaryDirectory(prefix="shearwright-bench-") as place:
        folder = Path(place)
        database = given.database or str(folder / "centre.sqlite3")
        shop = folder / "shop.json"
        shop.write_text(json.dumps({"sites": [SITE], "machines": [MACHINE]}))
        service_command(database, "load", str(shop))
        token = service_command(
            database, "token", "make", "--scope", "station", "--site", "northgate", "--station", "ng-1"
        )
        serving = subprocess.Popen(
            [sys.executable, "-m", "service.cli", "--database", database, "serve", "--port", "0"],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ},
        )
        try:
            assert serving.stdout is not None
            port = int(serving.stdout.readline().split(":")[-1].split("/")[0])
            home = Home(folder / "home")
            home.write_settings(StationSettings(f"http://127.0.0.1:{port}", "ng-1", "northgate"), token)
            figures = {part: measured(part, home.folder, given.events) for part in PARTS}
        finally:
            serving.terminate()
            serving.wait(20)
    print(f"{given.events} events, {'PostgreSQL' if given.database else 'SQLite'} at the centre")
    for part, found in figures.items():
        print(f"{part:<10}" + "; ".join(f"{name} {value}" for name, value in found.items()))
    if given.json:
        given.json.write_text(json.dumps(figures, indent=1) + "\n")


if __name__ == "__main__":
    main()
