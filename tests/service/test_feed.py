"""The feed: nothing is skipped whoever writes, a beginner gets what stands, cursors grow old in words."""

from __future__ import annotations

import random
import threading
import time
import uuid
from datetime import timedelta
from email.utils import format_datetime
from typing import Any

import psycopg
import pytest

from schemas.problems import CURSOR_GONE
from service.store import feed, records
from service.store.ages import Ages
from service.store.database import connected, database, open_database
from service.store.migrate import migrate
from service.store.models import Centre, Pulled, Record
from tests.service.shop import NOW, Service, Station, machine, sheet


def pull(service: Service, cursor: str | None, scope: str = "station", limit: int = 2) -> tuple[Any, str]:
    """Everything since a cursor, page by page."""
    changes, more = [], True
    while more:
        query = {"limit": limit} | ({"cursor": cursor} if cursor else {})
        answer = service.get("/sync/changes", scope, query_string=query)
        assert answer.status_code == 200, answer.text
        changes += answer.json["changes"]
        cursor, more = answer.json["cursor"], answer.json["more"]
    assert cursor is not None
    return changes, cursor


def names(changes: Any) -> list[tuple[str, str]]:
    return [(one["kind"], one["id"]) for one in changes]


def test_no_reader_skips_a_change_however_many_write_and_whenever_they_commit(address: str) -> None:
    """Twelve writers that hold back their commits at random, six readers that page in between.

    A reader follows each record's revisions; at the end each has the last of every one, and positions
    only ever grew.
    """
    open_database(address)
    migrate()
    writers, rounds, keys = 12, 12, 9
    done = threading.Event()
    faults: list[BaseException] = []
    seen: list[dict[str, int]] = [{} for _ in range(6)]

    def guarded(work: Any, *arguments: Any) -> None:
        try:
            with connected():
                work(*arguments)
        except BaseException as fault:
            faults.append(fault)

    def write(number: int) -> None:
        chance = random.Random(number)
        for _ in range(rounds):
            pause = chance.random() * 0.01
            try:
                with database.atomic():
                    for _ in range(chance.randint(1, 3)):
                        key = f"G-{chance.randrange(keys)}"
                        records.write("material", key, {}, site=None, by=f"w{number}", now=NOW)
                        time.sleep(pause)
                    if chance.random() < 0.2:
                        records.remove("material", f"G-{chance.randrange(keys)}", by="w", now=NOW)
                    if chance.random() < 0.2:
                        raise ZeroDivisionError
            except ZeroDivisionError:
                continue  # what is rolled back gives its positions back

    def read(mine: dict[str, int], limit: int) -> None:
        chance, place = random.Random(limit), feed.Place()
        while True:
            last = done.is_set()
            page = feed.changes(place, site="northgate", limit=limit)
            assert page.position >= place.position
            for change in page.changes:
                assert mine.get(change.key, 0) < change.revision, (
                    "a revision came twice, or an older one after"
                )
                mine[change.key] = change.revision
            place = page.place
            if last and not page.more:
                return
            time.sleep(chance.random() * 0.004)

    readers = [
        threading.Thread(target=guarded, args=(read, mine, index + 1)) for index, mine in enumerate(seen)
    ]
    threads = [threading.Thread(target=guarded, args=(write, number)) for number in range(writers)]
    for thread in (*readers, *threads):
        thread.start()
    for thread in threads:
        thread.join()
    done.set()
    for thread in readers:
        thread.join()
    assert faults == []
    with connected():
        stands = {row.key: row.revision for row in Record.select()}
    assert len(stands) == keys
    assert seen == [stands] * 6


def test_a_bare_sequence_would_have_skipped_a_late_commit(postgresql: str) -> None:
    """Why positions are given under a lock: the same readers on a sequence lose a row. PostgreSQL."""
    table = f"bare_{uuid.uuid4().hex}"
    with psycopg.connect(postgresql, autocommit=True) as reader:
        reader.execute(f"CREATE TABLE {table} (id BIGSERIAL PRIMARY KEY)")
        with psycopg.connect(postgresql) as slow, psycopg.connect(postgresql) as quick:
            slow.execute(f"INSERT INTO {table} DEFAULT VALUES")
            quick.execute(f"INSERT INTO {table} DEFAULT VALUES")
            quick.commit()
            after = max(number for (number,) in reader.execute(f"SELECT id FROM {table}").fetchall())
            slow.commit()
        assert reader.execute(f"SELECT id FROM {table} WHERE id > {after}").fetchall() == []
        assert reader.execute(f"SELECT count(*) FROM {table}").fetchone() == (2,)
        reader.execute(f"DROP TABLE {table}")


def test_a_beginner_gets_what_stands_and_not_what_was(service: Service) -> None:
    service.ask("DELETE", "/stock/northgate/SH-A", headers={"If-Match": '"1"'})
    service.put("/machines/far-2m", machine("far-2m"), headers={"If-Match": '"1"'})
    service.put("/machines/far-2m", machine("far-2m", "fell-road"), headers={"If-Match": '"2"'})
    with connected():
        for name, days in (("old", 61), ("young", 59)):
            records.write("plan", name, {}, site="northgate", by="test", now=NOW - timedelta(days=days))
    changes, cursor = pull(service, None, limit=1)
    assert names(changes) == [("site", "northgate"), ("machine", "bench-3m"), ("plan", "young")]
    assert pull(service, cursor)[0] == []
    # A plan that is touched again comes, however old it was.
    with connected():
        records.write("plan", "old", {"again": 1}, site="northgate", by="test", now=NOW)
    assert names(pull(service, cursor)[0]) == [("plan", "old")]


def test_what_changes_while_a_beginner_reads_comes_after(service: Service) -> None:
    for number in range(4):
        service.post("/stock", sheet(f"SH-{number}"))
    first = service.get("/sync/changes", "station", query_string={"limit": 2}).json
    assert first["more"]
    service.ask("DELETE", "/stock/northgate/SH-3", headers={"If-Match": '"1"'})
    service.ask("DELETE", "/machines/bench-3m", headers={"If-Match": '"1"'})
    service.post("/stock", sheet("SH-new"))
    service.put("/stock/northgate/SH-0", sheet("SH-0", quantity=1), headers={"If-Match": '"1"'})
    rest, cursor = pull(service, first["cursor"])
    have: dict[tuple[str, str], Any] = {}
    for one in (*first["changes"], *rest):
        have[one["kind"], one["id"]] = one["record"]
    there = {name for name, record in have.items() if record is not None}
    assert there == {
        ("site", "northgate"),
        *(("stock", f"northgate/{ref}") for ref in ("SH-A", "SH-0", "SH-1", "SH-2", "SH-new")),
    }
    assert have["stock", "northgate/SH-0"]["quantity"] == 1
    assert pull(service, cursor)[0] == []


def test_a_first_pull_of_a_large_shop_comes_in_pages_of_bounded_size(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(feed, "PAGE_LETTERS", 20_000)
    with connected():
        for number in range(300):
            document = {"x": "y" * (200 + number)}
            records.write("program", f"P-{number:03}", document, site=None, by="test", now=NOW)
    cursor, sizes, found = None, [], []
    while True:
        query = {"limit": 1000} | ({"cursor": cursor} if cursor else {})
        answer = service.get("/sync/changes", "station", query_string=query)
        sizes.append(len(answer.data))
        found += [one["id"] for one in answer.json["changes"] if one["kind"] == "program"]
        cursor = answer.json["cursor"]
        if not answer.json["more"]:
            break
    assert found == [f"P-{number:03}" for number in range(300)]
    assert len(sizes) > 4
    # Besides the documents: the frame around each.
    assert max(sizes) < 20_000 + 300 * 120


def test_departures_of_a_whole_site_come_in_pages_too(service: Service) -> None:
    with connected():
        for number in range(7):
            records.write("program", f"P-{number}", {}, site="northgate", by="test", now=NOW)
    _, cursor = pull(service, None)
    with connected():
        for number in range(7):
            records.move("program", f"P-{number}", "fell-road", now=NOW)
        records.move("program", "P-3", "northgate", now=NOW)
        records.move("program", "P-4", None, now=NOW)
    page = service.get("/sync/changes", "station", query_string={"cursor": cursor, "limit": 2}).json
    assert len(page["changes"]) == 2
    changes, _ = pull(service, cursor)
    gone = {one["id"] for one in changes if one["deleted"]}
    assert gone == {f"P-{number}" for number in (0, 1, 2, 5, 6)}
    assert {one["id"] for one in changes if not one["deleted"]} == {"P-3", "P-4"}


def test_nobody_sees_what_is_of_another_site(service: Service) -> None:
    service.secrets["there"] = service.token("station", site="fell-road", station="fr-1")
    service.post("/stock", sheet("SH-F", site="fell-road"))
    here, there = (set(names(pull(service, None, scope)[0])) for scope in ("station", "there"))
    assert here & there == set()
    assert ("stock", "fell-road/SH-F") in there - here


def test_a_cursor_as_it_was_first_given_is_still_taken(service: Service) -> None:
    from service.api.paging import write_cursor

    with connected():
        old = write_cursor(records.centre_epoch(), 2)
    assert names(pull(service, old, "plan")[0])[0][0] == "machine"


def test_a_first_pull_that_takes_longer_than_deletions_are_kept_begins_anew(service: Service) -> None:
    first = service.get("/sync/changes", "station", query_string={"limit": 1}).json
    service.post("/stock", sheet("SH-B"))
    service.ask("DELETE", "/stock/northgate/SH-B", headers={"If-Match": '"1"'})
    service.clock.now += timedelta(days=200)
    with connected():
        assert feed.forget_deletions(Ages(), service.clock.now) == 1
        assert feed.forget_deletions(Ages(), service.clock.now) == 0
    answer = service.get("/sync/changes", "station", query_string={"cursor": first["cursor"]})
    assert answer.status_code == 410
    assert answer.content_type == "application/problem+json"
    assert "leave the cursor out" in answer.json["detail"]
    changes, cursor = pull(service, None)
    assert names(changes)[0] == ("site", "northgate")
    assert pull(service, cursor)[0] == []


def test_a_cursor_beyond_what_the_centre_has_is_answered_in_words(service: Service) -> None:
    """As after its database was put back from a backup, and nobody said so."""
    with connected():
        backup = Centre.get_by_id(1).position
    service.post("/stock", sheet("SH-B"))
    _, cursor = pull(service, None)
    begun = service.get("/sync/changes", "station", query_string={"limit": 1}).json["cursor"]
    with connected(), database.atomic():
        Record.delete().where(Record.position > backup).execute()
        Centre.update(position=backup).execute()
    for place in (cursor, begun):
        answer = service.get("/sync/changes", "station", query_string={"cursor": place})
        assert answer.status_code == 410
        assert answer.json["type"] == CURSOR_GONE
        assert "database is one of an earlier time: leave the cursor out" in answer.json["detail"]
    # What came meanwhile under the same positions would have been left out by the old cursor.
    service.post("/stock", sheet("SH-C"))
    assert ("stock", "northgate/SH-C") in names(pull(service, None)[0])


def test_deletions_are_forgotten_in_bounded_steps(service: Service) -> None:
    with connected():
        for number in range(5):
            records.write("material", f"M{number}", {}, site=None, by="test", now=NOW)
            records.remove("material", f"M{number}", by="test", now=NOW)
        later = NOW + timedelta(days=181)
        assert [feed.forget_deletions(Ages(), later, most=2) for _ in range(4)] == [2, 2, 1, 0]


def test_a_pull_says_how_far_a_station_is_and_what_its_clock_says(service: Service) -> None:
    ahead = format_datetime(NOW + timedelta(minutes=7), usegmt=True)
    service.get("/sync/changes", "station", headers={"Date": ahead})
    with connected():
        row = Pulled.get()
        assert (row.station, row.site, row.clock_ahead_ms) == ("ng-1", "northgate", 420_000)
        first = row.position
    service.push([Station().cut()])
    service.clock.now += timedelta(hours=1)
    service.get("/sync/changes", "station")
    with connected():
        row = Pulled.get()
        assert row.position > first
        assert row.heard_at == service.clock.now
        assert row.clock_ahead_ms == 420_000
    told = service.get("/sync/stations/ng-1", "station").json["pulled"]
    assert told == {"heard_at": service.clock.now.isoformat(), "clock_ahead_ms": 420_000}
    service.secrets["other"] = service.token("station", site="northgate", station="ng-2")
    assert service.get("/sync/stations/ng-2", "other").json["pulled"] is None


def test_a_station_sees_its_own_site_and_all_materials(service: Service) -> None:
    seen = service.get("/sync/changes", "station").json
    assert {(change["kind"], change["id"]) for change in seen["changes"]} == {
        ("site", "northgate"),
        ("machine", "bench-3m"),
        ("stock", "northgate/SH-A"),
    }
    everything = service.get("/sync/changes").json
    assert ("machine", "far-2m") in {(one["kind"], one["id"]) for one in everything["changes"]}
    assert (
        service.get("/sync/changes", "station", query_string={"cursor": seen["cursor"]}).json["changes"] == []
    )


def test_the_feed_tells_of_changes_deletions_and_moves(service: Service) -> None:
    _, cursor = pull(service, None)
    service.put("/stock/northgate/SH-A", sheet(quantity=4), headers={"If-Match": '"1"'})
    service.ask("DELETE", "/stock/northgate/SH-A", headers={"If-Match": '"2"'})
    service.put("/machines/bench-3m", machine(site="fell-road"), headers={"If-Match": '"1"'})
    service.put("/machines/far-2m", machine("far-2m"), headers={"If-Match": '"1"'})
    changes, cursor = pull(service, cursor)
    told = {(one["kind"], one["id"]): one for one in changes}
    assert told["stock", "northgate/SH-A"]["deleted"]
    assert told["stock", "northgate/SH-A"]["record"] is None
    assert told["machine", "bench-3m"]["deleted"]
    assert told["machine", "far-2m"]["record"]["site"] == "northgate"
    assert pull(service, cursor)[0] == []
    # And back again.
    service.put("/machines/bench-3m", machine(), headers={"If-Match": '"2"'})
    (back,), _ = pull(service, cursor)
    assert not back["deleted"]


def test_a_cursor_of_another_centre_epoch_begins_anew(service: Service) -> None:
    first = service.get("/sync/changes", "station").json
    with connected():
        database.execute_sql("UPDATE centre SET epoch = 'restored'")
    second = service.get("/sync/changes", "station", query_string={"cursor": first["cursor"]}).json
    assert second["centre_epoch"] == "restored" != first["centre_epoch"]
    assert second["changes"] == first["changes"]
    cursor = second["cursor"]
    assert service.get("/sync/changes", "station", query_string={"cursor": cursor}).json["changes"] == []


def test_a_reader_of_the_feed_never_skips_what_commits_late(service: Service) -> None:
    """Writers commit in any order and slowly; one reader goes on and on, and sees every record."""
    writers, each = 6, 8
    done = threading.Event()
    seen: set[str] = set()

    def write(number: int) -> None:
        with connected():
            for index in range(each):
                with database.atomic():
                    key = f"G-{number}-{index}"
                    records.write("material", key, {"grade": key}, site=None, by="test", now=NOW)
                    if index % 3 == number % 3:
                        done.wait(0.01)

    def read() -> None:
        position = 0
        with connected():
            while True:
                last = done.is_set()
                page = feed.changes(position, site="northgate", limit=3)
                seen.update(change.key for change in page.changes)
                position = page.position
                if last and not page.more:
                    return

    reader = threading.Thread(target=read)
    reader.start()
    threads = [threading.Thread(target=write, args=(number,)) for number in range(writers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    done.set()
    reader.join()
    wanted = {f"G-{number}-{index}" for number in range(writers) for index in range(each)}
    assert wanted <= seen
