"""Every schema that was released comes forward with its data, on both databases, to what a fresh one is."""

from __future__ import annotations

import json
import sqlite3
import uuid
from contextlib import closing
from pathlib import Path
from typing import Any

import psycopg
import pytest

from service.store import audits, held
from service.store.database import connected, database, is_postgresql, open_database
from service.store.migrate import TYPES, Migration, known_migrations, migrate
from service.store.models import TABLES
from tests.service.shop import Service, Station

DUMPS = Path(__file__).parent / "schemas_before"
"""Dumps of databases as they were, written once by the code of their time and never changed."""

RELEASED = ("m0001", "m0003", "m0006", "m0007", "m0008")


def _restore(address: str, dump: str) -> None:
    if "://" in address:
        with psycopg.connect(address, autocommit=True) as server:
            # Without parameters the whole script goes to the server as one simple query.
            server.execute((DUMPS / f"{dump}.postgresql.sql").read_text(encoding="utf-8"))
    else:
        with closing(sqlite3.connect(address)) as file:
            file.executescript((DUMPS / f"{dump}.sqlite.sql").read_text(encoding="utf-8"))


def _columns() -> dict[str, Any]:
    if is_postgresql():
        rows = database.execute_sql(
            "SELECT table_name, column_name, data_type, is_nullable, column_default, collation_name,"
            " is_identity FROM information_schema.columns WHERE table_schema = 'public'"
        ).fetchall()
        return {f"{row[0]}.{row[1]}": row[2:] for row in rows}
    tables = [name for (name,) in database.execute_sql("SELECT name FROM sqlite_master WHERE type = 'table'")]
    return {
        f"{table}.{row[1]}": row[2:]
        for table in tables
        for row in database.execute_sql(f"PRAGMA table_info({table})").fetchall()
    }


def _rules() -> set[Any]:
    """Indexes and constraints, as the database words them."""
    if is_postgresql():
        rows = database.execute_sql(
            "SELECT c.relname, k.conname, pg_get_constraintdef(k.oid) FROM pg_constraint k"
            " JOIN pg_class c ON c.oid = k.conrelid JOIN pg_namespace n ON n.oid = c.relnamespace"
            " WHERE n.nspname = 'public'"
            " UNION SELECT tablename, indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'"
        ).fetchall()
        return set(rows)
    rows = database.execute_sql("SELECT type, tbl_name, name, sql FROM sqlite_master").fetchall()
    # A dump quotes the names of tables that it makes.
    return {(*row[:3], None if row[3] is None else " ".join(row[3].replace('"', "").split())) for row in rows}


def _emptied(address: str, tmp_path: Path) -> str:
    if "://" not in address:
        return str(tmp_path / "fresh.sqlite3")
    with psycopg.connect(address, autocommit=True) as server:
        server.execute("DROP SCHEMA public CASCADE")
        server.execute("CREATE SCHEMA public")
    return address


@pytest.mark.parametrize("dump", RELEASED)
def test_a_database_of_an_earlier_release_becomes_what_a_fresh_one_is(
    address: str, tmp_path: Path, dump: str
) -> None:
    _restore(address, dump)
    open_database(address)
    names = [step.name for step in known_migrations()]
    assert migrate() == [name for name in names if name[:5] > dump]
    with connected():
        brought = _columns(), _rules()
    if is_postgresql():
        database.obj.close_all()
    open_database(_emptied(address, tmp_path))
    assert migrate() == names
    with connected():
        assert (_columns(), _rules()) == brought


@pytest.mark.parametrize("address", ["postgresql"], indirect=True)
def test_postgresql_knows_what_new_columns_hold_from_the_start(address: str) -> None:
    """Of a column that it knows nothing of it reads a whole table where an index is there for it."""
    _restore(address, "m0003")
    open_database(address)
    migrate()
    with connected():
        rows = database.execute_sql(
            "SELECT attname FROM pg_stats WHERE schemaname = 'public' AND tablename = 'event'"
        ).fetchall()
    assert {name for (name,) in rows} >= {"came_as", "plan_id", "step", "withdrawn_by"}


@pytest.mark.parametrize("dump", RELEASED)
def test_the_data_of_an_earlier_release_is_all_there_and_goes_on(address: str, dump: str) -> None:
    _restore(address, dump)
    open_database(address)
    tables = ["record", "departure", "chain", "event", "tally", "discrepancy", "token", "kept_answer"]
    if dump >= "m0003":
        tables += ["correction", "version", "pulled", "job", "lease"]
    with connected():
        before = {
            table: database.execute_sql(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables
        }
        documents = database.execute_sql("SELECT id, document, hash FROM event ORDER BY id").fetchall()
    assert min(before.values()) > 0
    migrate()
    with connected():
        for table in TABLES:
            list(table.select())
        after = {
            table: database.execute_sql(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables
        }
        # What was logged of a step at two stations shows once it is looked at.
        over = {"discrepancy": before["discrepancy"] + (dump == "m0003")}
        assert after == before | over
        assert (
            database.execute_sql("SELECT id, document, hash FROM event ORDER BY id").fetchall() == documents
        )
        assert audits.audit() == []
        assert audits.mend() == []
        assert [one.state for one in held.not_applied(0, 10)] == ["quarantined", "kept"]
        short, *over_plan = (
            one for one in held.discrepancies(0, 10) if one.kind in {"stock short", "step over"}
        )
        assert (short.kind, short.ref, short.settled_at) == ("stock short", "SH-Z", None)
        heats = database.execute_sql("SELECT type FROM event WHERE heat = 'H123' ORDER BY id").fetchall()
        assert heats == [("cuts.made",), ("stock.taken",), ("offcut.stored",)]
        machines = database.execute_sql("SELECT DISTINCT machine FROM event WHERE state = 'applied'")
        assert sorted(machines.fetchall()) == [("bench-3m",), ("far-2m",)]
        if dump >= "m0003":
            dismissed = 2 + 2 * (dump >= "m0006")
            assert [one.state for one in held.not_applied(0, 10, "dismissed")] == ["quarantined"] * dismissed
            (corrected,) = held.not_applied(0, 10, "corrected")
            assert corrected.corrections[0].words == "the machine was bench-3m"
            (settled,) = held.discrepancies(0, 10, "settled")
            assert (settled.ref, settled.words, settled.counted) == ("SH-C", "counted", 2)
            # Step 1 has one piece, and was logged at ng-2 and ng-3; step 2 has one piece and eight strokes.
            (one,) = over_plan
            assert (one.kind, one.step, one.pieces_cut, one.pieces_planned) == ("step over", 1, 2, 1)
            told = held.events_of_steps([one])[one.id]
            assert [(event.station, event.pieces) for event in told] == [("ng-2", 1), ("ng-3", 1)]
            rows = database.execute_sql("SELECT step, pieces, planned FROM step_cut ORDER BY step")
            assert rows.fetchall() == [(1, 2, 1), (2, 1, 1)]
            gone = database.execute_sql(
                "SELECT type FROM event WHERE withdrawn_by IS NOT NULL ORDER BY id"
            ).fetchall()
            later = [("cuts.made",), ("blade.turned",)] if dump >= "m0006" else []
            assert gone == [("scrap.made",), *later]
        else:
            assert over_plan == []
        blades = database.execute_sql(
            "SELECT DISTINCT blade FROM event WHERE type = 'cuts.made' AND state = 'applied'"
            " AND machine IN (SELECT key FROM record WHERE kind = 'blade')"
        )
        assert sorted(blades.fetchall()) == [("bench-3m",), ("far-2m",)]
        moved = database.execute_sql("SELECT count(*) FROM departure WHERE moved_at IS NULL").fetchone()
        assert moved == (0,)
    service = Service(address)
    service.secrets["station"] = service.token("station", site="northgate", station="ng-1")
    answer = service.push([Station().cut()])
    assert [one["state"] for one in answer.json["results"]] == ["applied"]
    assert service.get("/reports/throughput", query_string={"by": "site"}).json["rows"][1]["parts"] == 12


def _copied(event: int, **changes: Any) -> None:
    """Another event of the store, but for some columns."""
    names = [one.name for one in database.get_columns("event") if one.name != "id"]
    columns = ", ".join(names)
    ((*values,),) = database.execute_sql(f"SELECT {columns} FROM event WHERE id = {event}").fetchall()
    changed = dict(zip(names, values, strict=True)) | changes
    marks = ", ".join(["%s" if is_postgresql() else "?"] * len(names))
    database.execute_sql(f"INSERT INTO event ({columns}) VALUES ({marks})", list(changed.values()))


def test_what_a_person_dismissed_was_not_withdrawn_by_a_station(address: str) -> None:
    """Another station, or this one, may have written down something else under the same event_id."""
    _restore(address, "m0003")
    open_database(address)
    clash = '[{"message":"another event came under this event_id before","pointer":"/event_id"}]'
    with connected():
        ((gone,),) = database.execute_sql(
            "SELECT id FROM event WHERE type = 'scrap.made' AND dismissed_at IS NOT NULL"
        ).fetchall()
        with database.atomic():
            _copied(gone, station="fr-1", errors=clash, hash="1" * 64, seq=100)
            _copied(gone, errors=clash, hash="2" * 64, seq=100)
            # Its withdrawal named another event at first, and a person put that right.
            _copied(gone, event_id=str(uuid.UUID(int=1)), hash="3" * 64, seq=101)
            ((withdrawal,),) = database.execute_sql(
                "SELECT id FROM event WHERE type = 'log.withdrawn'"
            ).fetchall()
            right = json.dumps({"event_id": str(uuid.UUID(int=1)), "reason": "logged twice"})
            _copied(withdrawal, event_id=str(uuid.UUID(int=2)), corrected_payload=right, seq=102)
    migrate()
    with connected():
        rows = database.execute_sql(
            "SELECT station, event_id, seq FROM event WHERE withdrawn_by IS NOT NULL ORDER BY id"
        ).fetchall()
        assert [(station, seq) for station, _, seq in rows] == [("ng-2", 7), ("ng-2", 101)]
        waiting = held.not_applied(0, 10, "dismissed")
    service = Service(address)
    (clashed,) = (one for one in waiting if one.station == "fr-1")
    answer = service.post(
        f"/sync/quarantine/{clashed.id}/correct", {"as_new": True, "words": "both happened"}
    )
    # It is for a person still.
    assert answer.status_code == 200, answer.text


def _steps_of_migrating(withdrawals: int) -> int:
    """Steps that SQLite takes to bring so many withdrawals forward, counted and not timed."""
    with closing(sqlite3.connect(":memory:")) as store:
        steps, taken = list(known_migrations()), [0]

        def run(step: Migration) -> None:
            for statement in step.statements:
                store.execute(statement.format(**TYPES["sqlite"]))

        for step in steps[:3]:
            run(step)
        insert = (
            "INSERT INTO event (station, site, epoch, seq, event_id, type, document, hash, received_at,"
            " clock_ahead_ms, state, dismissed_at, errors)"
            " VALUES ('s', 'n', 'e', ?, ?, ?, ?, 'h', 't', 0, ?, ?,"
            """ '[{"message":"withdrawn by its station: x"}]')"""
        )
        for number in range(1, withdrawals + 1):
            named = json.dumps({"payload": {"event_id": f"cut {number:06}"}})
            store.execute(insert, (2 * number, f"cut {number:06}", "cuts.made", "{}", "quarantined", "t"))
            store.execute(insert, (2 * number + 1, f"gone {number}", "log.withdrawn", named, "applied", None))

        def count() -> int:
            taken[0] += 1
            return 0

        store.set_progress_handler(count, 100)
        run(steps[3])
        found = store.execute("SELECT count(*) FROM event WHERE withdrawn_by IS NOT NULL").fetchone()
        assert found == (withdrawals,)
    return taken[0]


def test_twice_as_many_withdrawals_come_forward_in_twice_the_steps() -> None:
    assert _steps_of_migrating(1000) < 2.5 * _steps_of_migrating(500)


@pytest.mark.parametrize("dump", ["m0006", "m0007"])
def test_a_blade_of_an_earlier_release_goes_on_as_it_was_set_by_hand(address: str, dump: str) -> None:
    """Until m0007 what was set by hand was not kept; a withdrawal of before it leaves what it should."""
    _restore(address, dump)
    service = Service(address)
    service.secrets["four"] = service.token("station", site="northgate", station="ng-4")
    with connected():
        ((epoch, seq, last),) = database.execute_sql(
            "SELECT epoch, has_to_seq, last_hash FROM chain WHERE station = 'ng-4'"
        ).fetchall()
        cut, turn = (
            event
            for (event,) in database.execute_sql(
                "SELECT event_id FROM event WHERE station = 'ng-4' AND state = 'applied'"
                " AND seq IN (3, 4) ORDER BY seq"
            ).fetchall()
        )
    before = service.get("/blades/bench-3m").json
    assert (before["edge"], before["used_m"]) == (3, [10, 9.1, 3.25, 0])
    station = Station("ng-4", epoch)
    station.seq, station.last = seq, last
    for gone in (cut, turn):
        event = station.write("log.withdrawn", {"event_id": gone, "reason": "found to be wrong"})
        assert service.push([event], "four").json["results"][0]["state"] == "applied"
    after = service.get("/blades/bench-3m").json
    # 1.5 m less of what was set by hand; and what was cut since on edge 3 was cut on the one before.
    assert (after["edge"], after["used_m"]) == (2, [8.5, 12.35, 0, 0])
    with connected():
        assert audits.audit() == []
