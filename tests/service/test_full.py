"""The centre's disk is full: a push says so, is taken as a whole or not at all, and goes again later."""

from __future__ import annotations

from typing import Any

from service.store import audits
from service.store.database import connected, database, is_postgresql
from service.store.models import Chain, Event, Record
from tests.service.shop import Service, Station

FULL = (
    "CREATE FUNCTION no_room() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
    " RAISE EXCEPTION 'could not extend file' USING ERRCODE = 'disk_full'; END $$"
)


def fill_up(service: Service) -> None:
    """Let no page be added any more: on SQLite by its own limit, on PostgreSQL by the server's own error."""
    with connected():
        if is_postgresql():
            database.execute_sql(FULL)
            # The last that a push writes but for its chain, so that all the rest was written before.
            database.execute_sql(
                "CREATE TRIGGER no_room BEFORE INSERT ON tally_of_machine EXECUTE FUNCTION no_room()"
            )
        else:
            ((pages,),) = database.execute_sql("PRAGMA page_count").fetchall()
            database.obj.pragma("max_page_count", pages, permanent=True)


def make_room(service: Service) -> None:
    with connected():
        if is_postgresql():
            database.execute_sql("DROP TRIGGER no_room ON tally_of_machine")
        else:
            database.obj.pragma("max_page_count", 1_000_000, permanent=True)


def state() -> Any:
    with connected():
        records = [(row.key, row.revision, row.document) for row in Record.select().order_by(Record.key)]
        return records, Event.select().count(), [(row.epoch, row.has_to_seq) for row in Chain.select()]


def test_a_push_to_a_full_disk_changes_nothing_and_goes_again(service: Service, station: Station) -> None:
    assert service.push([station.cut()]).status_code == 200
    before = state()
    fill_up(service)
    events = [station.cut(heat="H" * 40, operator=f"{number:050}") for number in range(200)]
    answer = service.push(events)
    assert answer.status_code == 507, answer.text
    assert (answer.json["type"], answer.headers["Retry-After"]) == ("/problems/no-room", "60")
    assert state() == before
    with connected():
        assert audits.audit() == []
    # What only reads goes on.
    assert service.get("/sync/changes", "station").status_code == 200
    make_room(service)
    answer = service.push(events)
    assert {result["state"] for result in answer.json["results"]} == {"applied"}
    with connected():
        assert Event.select().count() == 201
        assert audits.audit() == []
