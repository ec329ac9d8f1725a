"""What persons decided about the events of a station, as the station is told of it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from schemas.payloads import PAYLOADS_VERSION
from service.store.database import connected, database
from service.store.models import DISMISSED, WAITS, Event
from tests.service.shop import NOW, Service, Station, cuts_made, piece, sheet
from tests.service.test_attention import correct, held
from tests.service.test_steps import step_cut


@pytest.fixture
def other(service: Service) -> Station:
    """Another station of the same site."""
    service.secrets["ng-2"] = service.token("station", site="northgate", station="ng-2")
    return Station("ng-2")


def decided(service: Service, station: str = "ng-1", scope: str = "station") -> list[dict[str, Any]]:
    answer = service.get(f"/sync/stations/{station}", scope)
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json["decided"]
    return found


def test_a_correction_and_a_dismissal_are_told_with_who_when_and_why(
    service: Service, station: Station, other: Station
) -> None:
    service.push([station.write("cuts.made", cuts_made(strokes=-1)) for _ in range(2)])
    assert decided(service) == []
    first, second = held(service)
    service.clock.now += timedelta(hours=1)
    correct(service, first["id"], payload=cuts_made(strokes=5))
    service.clock.now += timedelta(hours=1)
    service.post(f"/sync/quarantine/{second['id']}/dismiss", {"words": "logged twice"})
    newest, older = decided(service)
    assert (newest["kind"], newest["outcome"], newest["seq"]) == ("dismissed", "dismissed", 2)
    assert (newest["by"], newest["words"]) == ("admin", "logged twice")
    assert (older["kind"], older["outcome"], older["seq"]) == ("corrected", "applied", 1)
    assert older["at"] == (NOW + timedelta(hours=1)).isoformat()
    assert older["epoch"] == station.epoch
    assert (older["about"], older["counted"]) == (None, None)
    assert decided(service, "ng-2", "ng-2") == []
    service.clock.now += timedelta(days=91)
    assert decided(service) == [], "the station has dropped the entries by then"


def test_a_settled_discrepancy_is_told_to_the_station_that_noted_it(
    service: Service, station: Station, other: Station
) -> None:
    service.post("/stock", sheet("LAST", quantity=1))
    service.push([station.write("stock.taken", {**piece(), "ref": "LAST"})])
    service.push([other.write("stock.taken", {**piece(), "ref": "LAST"})], "ng-2")
    (open_one,) = service.get("/sync/discrepancies", "plan").json["items"]
    assert decided(service, "ng-2", "ng-2") == []
    body = {"words": "one lay on an unmarked pile", "counted": 3}
    service.post(f"/sync/discrepancies/{open_one['id']}/settle", body, "plan")
    (told,) = decided(service, "ng-2", "ng-2")
    assert (told["kind"], told["seq"], told["counted"]) == ("settled", 1, 3)
    assert told["about"] == "stock short: northgate/LAST: taken 1, on the books 0"
    assert (told["by"], told["words"]) == ("plan", body["words"])
    assert decided(service) == []


def test_a_step_cut_too_often_is_told_to_every_station_that_cut_it(
    service: Service, station: Station, other: Station
) -> None:
    service.push([step_cut(station)])
    service.push([step_cut(other)], "ng-2")
    (open_one,) = service.get("/sync/discrepancies", "plan").json["items"]
    service.post(f"/sync/discrepancies/{open_one['id']}/settle", {"words": "four were spoiled"}, "plan")
    for name, scope in (("ng-1", "station"), ("ng-2", "ng-2")):
        (told,) = decided(service, name, scope)
        assert told["about"].startswith("step over: northgate/plan ")
        assert told["seq"] == 1


def test_what_a_station_withdrew_itself_is_no_decision_of_the_centre(
    service: Service, station: Station
) -> None:
    cut = station.cut()
    service.push([cut])
    gone = station.write("log.withdrawn", {"event_id": cut["event_id"], "reason": "wrong plan"})
    assert service.push([gone]).json["results"][0]["state"] == "applied"
    assert decided(service) == []


def test_the_newest_are_told_where_there_are_many(
    service: Service, station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.api.sync.MOST_DECIDED", 2)
    service.push([station.write("cuts.made", cuts_made(strokes=-1)) for _ in range(3)])
    for one in held(service):
        service.clock.now += timedelta(minutes=1)
        service.post(f"/sync/quarantine/{one['id']}/dismiss", {"words": "no"})
    assert [one["seq"] for one in decided(service)] == [3, 2]


def test_to_tell_of_many_takes_no_more_questions_than_to_tell_of_few(
    small: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A station asks at every sync."""
    station = Station()
    small.push([station.write("stock.taken", {**piece(), "ref": "GONE"}) for _ in range(9)])
    noted = small.get("/sync/discrepancies", "plan").json["items"]
    asked: list[str] = []
    run = type(database.obj).execute_sql

    def counted(self: Any, sql: str, *more: Any) -> Any:
        asked.append(sql)
        return run(self, sql, *more)

    def questions() -> int:
        asked.clear()
        with monkeypatch.context() as while_asking:
            while_asking.setattr(type(database.obj), "execute_sql", counted)
            decided(small)
        return len(asked)

    counts = []
    for some in (noted[:2], noted[2:]):
        for one in some:
            body = {"words": "never entered"}
            assert small.post(f"/sync/discrepancies/{one['id']}/settle", body, "plan").status_code == 200
        counts.append(questions())
    assert len(decided(small)) == 9
    assert counts[0] == counts[1] > 0


@pytest.mark.parametrize(
    ("wanted", "by"), [(WAITS, "event_waiting"), (DISMISSED, "event_dismissed")], ids=["waits", "dismissed"]
)
def test_what_waits_is_found_without_looking_at_every_event(small: Service, wanted: Any, by: str) -> None:
    """SQLite takes an index of some rows only for a question that has its very words."""
    sql, given = Event.select().where(wanted, Event.id > 0).order_by(Event.id).sql()
    with connected():
        plan = database.execute_sql(f"EXPLAIN QUERY PLAN {sql}", given).fetchall()
    assert any(by in row[-1] for row in plan)


def test_the_centre_tells_which_events_it_knows(service: Service) -> None:
    assert service.get("/sync/stations/ng-1", "station").json["payloads_version"] == PAYLOADS_VERSION
